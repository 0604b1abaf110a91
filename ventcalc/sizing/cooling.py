"""Refrigeration for the warm days of a season, without any help from outside air."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from ventcalc import air
from ventcalc.bay.description import Bay
from ventcalc.check.cold_load import RUNNING_SHARE, WarmDay, cold_load, crop_water
from ventcalc.check.crop_state import CropState
from ventcalc.equipment import coil, refrigerant_cycle, refrigerant_map
from ventcalc.equipment.defrost import defrost
from ventcalc.equipment.plant import AUXILIARIES
from ventcalc.equipment.refrigeration import Load
from ventcalc.errors import BadInput, VentcalcError
from ventcalc.pile.crop import crop_for
from ventcalc.sizing.air import AirDesign, holding_speed
from ventcalc.sizing.shell import ShellDesign
from ventcalc.sizing.water import dry_air_flow
from ventcalc.sizing.weather import DesignDay, DesignStates
from ventcalc.units import both

__all__ = [
    "REFERENCE_REFRIGERANT",
    "CoolingCase",
    "CoolingDesign",
    "design_cooling",
    "plant_performance",
]

RESERVE = 0.10
"""On the capacity (common practice, no source). [1]"""
MOTOR_EFFICIENCY = 0.90
"""Of the compressor's drive (common practice, no source). [0-1]"""
REFERENCE_REFRIGERANT = "R717"
"""For one figure of performance; the others are listed beside it."""
DEEPEST_COIL = 25.0
"""Below the air that enters, where the models of coil and plant end. [K]"""
DEFROSTS_ANEW = 86400.0
"""A day's frost is melted at once. [s]"""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class CoolingCase:
    """One warm day of the season with its crop."""

    stage: str
    day: DesignDay
    crop: CropState
    load: Load
    evaporation: float
    """Water that the crop loses. [kg/s]"""
    coil_temperature_difference: float
    """Entering air less coil surface at full capacity. [K]"""
    surface_temperature: float
    """Of the coil. [°C]"""
    evaporating_temperature: float
    """Of the refrigerant. [°C]"""
    condensing_temperature: float
    """In the warmest hour of that day. [°C]"""
    condensate: float
    """Water or frost that the coil takes, at full capacity. [kg/s]"""
    leaving_relative_humidity: float
    """Of the air behind the coil. [0-1]"""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class CoolingDesign:
    """A cooling plant; power is electrical, compressor and condenser."""

    capacity: float
    """To be installed. [W]"""
    stage: str
    """The case that asks most."""
    cases: Mapping[str, CoolingCase]
    """The worse of each stage's warm and humid day."""
    capacity_holding: float
    """What the same compressor gives with the pile at holding, the coil as far below it. [W]"""
    holding_evaporating_temperature: float
    """There. [°C]"""
    refrigerant: str
    """The bay's where it names one that works there, else that of reference."""
    design_outside_temperature: float
    """Warmest hour of the day that asks most. [°C]"""
    evaporating_temperature: float
    """At full capacity in the case that asks most. [°C]"""
    condensing_temperature: float
    """At the design outside temperature. [°C]"""
    rated_performance: float
    """At the rating point of the bay file: coil as for holding, design outside temperature. [1]"""
    performances: Mapping[str, float]
    """Cooling per electrical power by refrigerant, those that work at these temperatures. [1]"""
    left_out: Mapping[str, str]
    """Refrigerants that do not work there, and why."""
    performance: float
    """Of the refrigerant. [1]"""
    power: float
    """At full capacity. [W]"""


def design_cooling(
    bay: Bay,
    states: DesignStates,
    design: AirDesign,
    shell: ShellDesign,
    crops: Mapping[str, CropState],
) -> CoolingDesign:
    """
    Size refrigeration that could do without outside air: the greatest of the cases.

    A compressor draws in the same volume everywhere, and gives less the colder it evaporates: the
    case counts that asks for the greatest volume.

    20 h of compressor a day: National Horticulture Board (India), standard NHB-CS-Type 01-2010.
    """
    cases = {
        name: max(
            (
                _case(bay, states, design, shell, crops[name], day)
                for day in (
                    days[name] for days in (states.days, states.enthalpy_days) if name in days
                )
            ),
            key=lambda case: float(case.load.capacity),
        )
        for name in states.days
    }
    worst = max(cases.values(), key=lambda case: float(case.load.capacity))
    outside = max(case.day.highest_temperature for case in cases.values())
    condensing = float(refrigerant_cycle.condensing_temperature(outside))
    performances, left_out = _performances(worst.evaporating_temperature, condensing)
    named = bay.refrigeration.refrigerant if bay.refrigeration else REFERENCE_REFRIGERANT
    refrigerant = named if named in performances else REFERENCE_REFRIGERANT

    def volumetric(evaporating: float, condensing: float) -> float:
        made = refrigerant_cycle.cycle(
            refrigerant, evaporating_temperature=evaporating, condensing_temperature=condensing
        )
        return float(made.volumetric_cooling)

    each = {
        name: volumetric(case.evaporating_temperature, case.condensing_temperature)
        for name, case in cases.items()
    }
    # No plant where even warm days cool.
    volume = max(max(float(cases[name].load.capacity), 0.0) / each[name] for name in cases)
    capacity, performance = volume * each[worst.stage], performances[refrigerant]
    surface = bay.schedule.holding_temperature - worst.coil_temperature_difference
    cold = float(refrigerant_cycle.evaporating_temperature(surface))
    mild = cases.get("holding", worst).condensing_temperature
    return CoolingDesign(
        capacity=capacity,
        stage=worst.stage,
        cases=cases,
        capacity_holding=volume * volumetric(cold, mild),
        holding_evaporating_temperature=cold,
        refrigerant=refrigerant,
        design_outside_temperature=outside,
        evaporating_temperature=worst.evaporating_temperature,
        condensing_temperature=condensing,
        rated_performance=_performances(cold, condensing)[0].get(refrigerant, performance),
        performances=performances,
        left_out=left_out,
        performance=performance,
        power=capacity / performance,
    )


def plant_performance(cycle_performance: Any) -> Any:
    """Cooling per electrical power of a plant, with the drive's losses and condenser fans. [1]"""
    return 1.0 / (1.0 / (cycle_performance * MOTOR_EFFICIENCY) + AUXILIARIES)


def _case(
    bay: Bay,
    states: DesignStates,
    design: AirDesign,
    shell: ShellDesign,
    crop: CropState,
    day: DesignDay,
) -> CoolingCase:
    water = crop_water(bay, crop, bay.pile.capacity)
    need = max(holding_speed(bay, design, crop), bay.fans.minimum_speed)
    speed = min(need, 1.0) if day.stage == "holding" else 1.0
    walls = replace(bay.envelope, wall_u=shell.wall_u, ceiling_u=shell.ceiling_u)
    outside = WarmDay(
        temperature=day.mean_temperature,
        humidity_ratio=day.humidity_ratio,
        roof_temperature=day.roof_temperature,
    )

    def asked(melting: float) -> Load:
        return cold_load(
            replace(bay, envelope=walls),
            crop,
            outside,
            mass=bay.pile.capacity,
            airflow=design.airflow,
            fan_power=design.power,
            fan_speed=speed,
            water=water,
            pressure=states.pressure,
            melting=melting,
            reserve=RESERVE,
        )

    load = asked(_defrost_heat(_at_coil(bay, states, design, crop, asked(0.0))))
    made = _at_coil(bay, states, design, crop, load)
    surface = float(made.surface_temperature)
    return CoolingCase(
        stage=day.stage,
        evaporating_temperature=float(refrigerant_cycle.evaporating_temperature(surface)),
        condensing_temperature=float(
            refrigerant_cycle.condensing_temperature(day.highest_temperature)
        ),
        day=day,
        crop=crop,
        load=load,
        evaporation=water,
        coil_temperature_difference=crop.temperature - surface,
        surface_temperature=surface,
        condensate=float(made.condensate),
        leaving_relative_humidity=float(made.relative_humidity),
    )


def _at_coil(
    bay: Bay, states: DesignStates, design: AirDesign, crop: CropState, load: Load
) -> coil.CoilAir:
    """The coil at full capacity in return air that has been through the pile."""
    kind = crop_for(bay.use)
    entering = {
        "temperature": crop.temperature,
        "humidity_ratio": float(
            kind.water_activity * air.saturation_humidity_ratio(crop.temperature, states.pressure)
        ),
        "pressure": states.pressure,
        "mass_flow": dry_air_flow(design, states.pressure),
    }
    surface = float(coil.coil_surface(heat=max(float(load.capacity), 0.0), **entering))
    below = crop.temperature - surface
    if below > DEEPEST_COIL:
        enough = 1.2 * design.airflow_per_tonne * below / DEEPEST_COIL
        raise BadInput(
            "the airflow is too small for refrigeration: its coil would stand "
            f"{both(below, 'delta_degC')} below the air; a target of "
            f"{both(enough, 'm3/(s t)')} would do"
        )
    return coil.coil(temperature_difference=below, **entering)


def _defrost_heat(made: coil.CoilAir) -> float:
    """Heat that melting a day's frost leaves in the store, as a mean. [W]"""
    if made.surface_temperature >= air.FREEZING:
        return 0.0
    frost = float(made.frost) * RUNNING_SHARE * DEFROSTS_ANEW
    one = defrost(frost, surface_temperature=float(made.surface_temperature))
    return float(one.heat_to_store) / DEFROSTS_ANEW


def _performances(evaporating: float, condensing: float) -> tuple[dict[str, float], dict[str, str]]:
    found: dict[str, float] = {}
    left_out: dict[str, str] = {}
    for name in refrigerant_cycle.REFRIGERANTS:
        try:
            made = refrigerant_map.usual_performance(name, evaporating, condensing)
        except VentcalcError as error:
            left_out[name] = str(error)
        else:
            found[name] = plant_performance(made)
    return found, left_out
