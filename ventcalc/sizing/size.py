"""
How large must everything in a bay be? Fans, ducts, doors, water, cold, heat and insulation.

Design states come out of a weather file's percentiles, loads out of the crop's calendar, and
every number keeps its formula, inputs, source and margin. It is arithmetic for an engineer to
check and sign, not a design: walls, electricity, pressure vessels and refrigerants have their
own licensed people and local codes.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from ventcalc.bay.description import Bay, Heater, Humidifier, Refrigeration
from ventcalc.check.check import PileCheck, check_pile
from ventcalc.check.crop_state import CropState, crop_states
from ventcalc.equipment.plant import HOTTEST_OUTSIDE
from ventcalc.errors import check_range
from ventcalc.sizing.air import (
    AirDesign,
    design_air,
    ducts_for,
    fans_for,
    holding_speed,
)
from ventcalc.sizing.air_rows import fan_rows, weather_rows
from ventcalc.sizing.carbon import FreshAir, design_fresh_air
from ventcalc.sizing.carbon_rows import fresh_air_rows, local_hour_text
from ventcalc.sizing.cooling import CoolingDesign, design_cooling
from ventcalc.sizing.cost import HUMIDIFIER_POWER, AutumnCost, autumn_cost
from ventcalc.sizing.cost_rows import outside_air_rows
from ventcalc.sizing.duct_rows import duct_rows
from ventcalc.sizing.heat_rows import cooling_rows, heat_rows, water_rows
from ventcalc.sizing.outside import OutsideAir, outside_air_alone
from ventcalc.sizing.record import Given, Size
from ventcalc.sizing.shell import ShellDesign, design_shell
from ventcalc.sizing.water import WaterDesign, design_humidifier
from ventcalc.sizing.weather import DesignStates, design_states
from ventcalc.units import UnitSystem
from ventcalc.weather import Weather

__all__ = ["CAUTIONS", "OF_WEATHER", "Given", "Size", "Sizing", "size_bay"]

USUAL_PRESSURE = 250.0
"""Least static pressure of usual systems, in air of 1.2 kg/m³ (from memory). [Pa]"""
OF_WEATHER = "Weather: "
"""What remarks on the file begin with."""
LEAST_HEATER = 500.0
"""Below it none is written into the bay. [W]"""

CAUTIONS = (
    "Not a design: figures for an engineer to check and sign. Local building, fire, electrical "
    "and pressure codes come first, and licensed people do that work.",
    "Refrigerants displace air; ammonia is toxic, hydrocarbons and mildly flammable fluids burn, "
    "CO2 suffocates. Only licensed technicians design, charge or open a circuit; leak alarms and "
    "ventilation of the machine room are part of it.",
    "Fans: guards on both sides, a lockable switch beside each, locked and tagged before anyone "
    "reaches in. Doors and exhaust open before fans start.",
    "Walls: a pile pushes its walls outward, the more with the square of its height. A licensed "
    "structural engineer must design walls, floor and ducts under the pile; nothing here does.",
    "People: crop gives off CO2 and takes oxygen. Gas tests before anyone goes in, never alone.",
    "Water in humidifiers can carry Legionella: drain, clean and treat as local rules ask.",
)
"""What to mind where the sizes are used."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Sizing:
    """A sized bay and all the working."""

    bay: Bay
    """As given."""
    sized: Bay
    """The same with the sizes in it."""
    weather_name: str
    sizes: tuple[Size, ...]
    """Every number with its working, by subject."""
    states: DesignStates
    crops: Mapping[str, CropState]
    air: AirDesign
    shell: ShellDesign
    water: WaterDesign
    cooling: CoolingDesign
    fresh_air: FreshAir
    alone: OutsideAir
    cost: AutumnCost
    check: PileCheck
    """The sized bay, filled to its height."""
    refrigeration_needed: bool
    """Whether outside air alone is not enough in this weather."""
    notes: tuple[str, ...]
    """What a reader should know, most weighty first."""

    def __getitem__(self, key: str) -> Size:
        """The size of that key."""
        return next(one for one in self.sizes if one.key == key)


def size_bay(
    bay: Bay, *, airflow_per_tonne: float, weather: Weather, units: UnitSystem = "metric"
) -> Sizing:
    """
    Size the air system, humidifier, refrigeration, heater and insulation of a bay.

    Parameters
    ----------
    bay : Bay
        Site, pile, crop, calendar, areas and limits count; its equipment is sized anew, but its
        fan efficiency, lowest speed, coefficients, leaks and prices are kept.
    airflow_per_tonne : float
        Per tonne of crop in a full pile, 0.001-0.1. [m³/(s t)]
    weather : Weather
        A whole year, or at least the whole season.
    units : {"metric", "us"}
        Whose nominal sizes: ducts by 50 mm and motors of IEC, or ducts by 2 inches and NEMA.

    Returns
    -------
    Sizing
        For the full pile, whatever the lots weigh.

    Raises
    ------
    OutOfRange
        If the target is out of range.
    BadInput
        If the weather does not hold the season, or no insulation keeps the ceiling dry.

    Notes
    -----
    Refrigeration goes into the sized bay where the bay has some, or where outside air alone
    does not hold the pile in this weather.
    """
    hint = "give 20 cfm/ton as 0.0104"
    check_range("airflow_per_tonne", airflow_per_tonne, 1e-3, 0.1, "m3/(s t)", hint)
    states = design_states(bay, weather)
    crops = crop_states(bay, states.pressure)
    shell = design_shell(bay, states, crops["holding"])

    def sized_air(coil: bool) -> AirDesign:
        return design_air(
            bay, airflow_per_tonne=airflow_per_tonne, pressure=states.pressure, coil=coil,
            units=units,
        )  # fmt: skip

    air = sized_air(bay.refrigeration is not None)
    water = design_humidifier(bay, states, air)
    alone = outside_air_alone(bay, states, air, shell, water)
    needed = alone.verdict == "not enough"
    if needed and bay.refrigeration is None:
        air = sized_air(True)
        water = design_humidifier(bay, states, air)
    cooling = design_cooling(bay, states, air, shell, crops)
    cost = autumn_cost(bay, states, air, alone, cooling)
    cooled = needed or bay.refrigeration is not None
    fresh = design_fresh_air(bay, states, air, crops["filling"], alone, cooled=cooled)
    sized = replace(_sized(bay, air, shell, water, cooling, needed), control=fresh.control)
    outside = _outside(states)
    check = check_pile(sized, **outside)
    return Sizing(
        bay=bay,
        sized=sized,
        weather_name=weather.name,
        sizes=(
            *weather_rows(states),
            *fan_rows(bay, air, crops),
            *duct_rows(bay, air, crops),
            *fresh_air_rows(bay, states, fresh),
            *water_rows(bay, water),
            *cooling_rows(bay, cooling),
            *heat_rows(bay, shell),
            *outside_air_rows(bay, alone, cost),
        ),
        states=states,
        crops=crops,
        air=air,
        shell=shell,
        water=water,
        cooling=cooling,
        fresh_air=fresh,
        alone=alone,
        cost=cost,
        check=check,
        refrigeration_needed=needed,
        notes=(
            *_notes(bay, air, shell, crops, alone, cost),
            _carbon_note(bay, states, fresh),
            _check_note(check),
            "To check it again as here: ventcalc check FILE --winter "
            f'"{outside["winter_temperature"]:.1f} degC" --warm '
            f'"{outside["warm_temperature"]:.1f} degC".',
            *(f"{OF_WEATHER}{note}." for note in states.notes),
        ),
    )


def _outside(states: DesignStates) -> dict[str, float]:
    """What the check takes for outside: the design winter, and the warm day of filling."""
    warm = [day.mean_temperature for name, day in states.days.items() if name == "filling"]
    return {
        "winter_temperature": min(max(states.winter_temperature, -50.0), 10.0),
        "warm_temperature": min(max(warm[0] if warm else 18.0, 0.0), 40.0),
    }


def _sized(
    bay: Bay,
    air: AirDesign,
    shell: ShellDesign,
    water: WaterDesign,
    cooling: CoolingDesign,
    needed: bool,
) -> Bay:
    worst = cooling.cases[cooling.stage]
    plant = Refrigeration(
        capacity=cooling.capacity,
        coil_temperature_difference=min(max(worst.coil_temperature_difference, 0.5), 15.0),
        performance=cooling.rated_performance,
        refrigerant=cooling.refrigerant,
        design_outside_temperature=min(cooling.design_outside_temperature, HOTTEST_OUTSIDE),
    )
    power = bay.humidifier.power if bay.humidifier else HUMIDIFIER_POWER
    return replace(
        bay,
        fans=fans_for(air, bay),
        ducts=ducts_for(air, bay),
        envelope=replace(bay.envelope, wall_u=shell.wall_u, ceiling_u=shell.ceiling_u),
        humidifier=Humidifier(capacity=water.capacity, power=power),
        refrigeration=plant if needed or bay.refrigeration else None,
        heater=Heater(capacity=shell.heater) if shell.heater >= LEAST_HEATER else None,
    )


def _notes(
    bay: Bay,
    air: AirDesign,
    shell: ShellDesign,
    crops: Mapping[str, CropState],
    alone: OutsideAir,
    cost: AutumnCost,
) -> tuple[str, ...]:
    share = alone.hours_below_target / alone.autumn_hours if alone.autumn_hours else 0.0
    outside = (
        f"Outside air alone is {alone.verdict} in this weather: {alone.hours_below_target:,.0f} of "
        f"{alone.autumn_hours:,.0f} autumn hours ({share:.0%}) are cold enough, cooling takes "
        f"{alone.fan_hours:,.0f} h of full fans, and the pile stands too warm for "
        f"{alone.late_hours:,.0f} of {alone.counted_hours:,.0f} h ("
        + ", ".join(
            f"{late:,.0f} of {counted:,.0f} in {stage.replace('_', '-')}"
            for stage, (late, counted) in alone.too_warm.items()
        )
        + ")"
    )
    endings = {
        "enough": "; refrigeration is optional",
        "nearly enough": "; refrigeration is optional, and would end that",
        "not enough": "; without refrigeration the calendar cannot be kept",
    }
    notes = [outside + endings[alone.verdict] + "."]
    if np.isnan(alone.pulp).any():
        notes.append(
            "On outside air alone the pile heats itself until the crop is lost: too little air "
            "for this crop in this weather."
        )
    way, plant = cost.outside_air, cost.refrigeration
    if way.energy_cost == way.energy_cost and plant.energy_cost == plant.energy_cost:
        notes.append(
            f"Electricity per cooling: refrigeration takes "
            f"{plant.energy_cost / way.energy_cost:.1f} times that of outside air; the crop that "
            "evaporates costs more than either."
        )
    need = holding_speed(bay, air, crops["holding"])
    if need > 1.0:
        notes.append(
            f"The target gives {1 / need:.0%} of the air that carries the settled crop's heat "
            "within the limit of spread, if nothing evaporates: a higher target is safer."
        )
    if air.standard_pressure < USUAL_PRESSURE:
        notes.append(
            f"The fans' pressure is {air.standard_pressure:.0f} Pa in air of 1.2 kg/m3; systems in "
            "use take 250-310 Pa (1.0-1.25 inH2O, from memory): louvres, dirty pads and turns that "
            "are not reckoned here. Draw the real system before the fans are bought."
        )
    if shell.wall_dry > 0.0:
        notes.append(
            f"Insulation is for {bay.limits.plenum_humidity:.0%} inside; air damper by the "
            f"sensors' error of {bay.sensors.humidity:.0%} would ask for "
            f"{shell.wall_moister / shell.wall_dry:.1f} times as much: hold the humidity, or warm "
            "the roof space in frost."
        )
    if shell.ceiling_dry > 8.0:
        notes.append(
            "So much ceiling insulation is asked for by the bridge factor: breaking the purlins' "
            "bridges or a warm roof space is cheaper."
        )
    if air.uniformity < 0.9:
        notes.append("Ports along a lateral are uneven: shorter laterals or a larger diameter.")
    return tuple(notes)


def _carbon_note(bay: Bay, states: DesignStates, fresh: FreshAir) -> str:
    """What the timer makes of CO2, and when it does not do."""
    control, limit = fresh.control, 1e6 * bay.limits.co2
    if fresh.hours_above == 0.0:
        ends = f"CO2 then stays below {limit:,.0f} ppm in every hour"
    else:
        ends = (
            f"CO2 then passes {limit:,.0f} ppm for {fresh.hours_above:,.0f} h of the season, while "
            "outside air is too cold or too warm for so much of it"
        )
    return (
        f"Fresh air by a timer that opens whenever it is due: {control.fresh_air_for / 60.0:.0f} "
        f"min after each rest of {control.fresh_air_every / 60.0:.0f} min, door "
        f"{control.fresh_air_opening:.0%} open at the lowest fan speed; {ends}; the greatest hour "
        f"is {local_hour_text(states, fresh.hour)} with {1e6 * fresh.highest:,.0f} ppm. The advice "
        "opens only where that neither wets nor warms the crop, so that CO2 may rise further; "
        "ventcalc season tells how far. Without a CO2 probe it opens by the clock, and dries more."
    )


def _check_note(check: PileCheck) -> str:
    """What the check of the sized bay says."""
    failed = [one.name for one in check.checks if np.any(one.verdict == "no")]
    if failed:
        return f"These checks fail for the sized bay: {'; '.join(failed)}."
    silent = sum(bool(np.any(one.verdict == "cannot say")) for one in check.checks)
    return (
        f"No check fails for the sized bay; {silent} of {len(check.checks)} cannot be "
        "judged: walls and floor are for a structural engineer, and what "
        "refrigeration does not do is for outside air."
    )
