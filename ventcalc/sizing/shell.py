"""Insulation that keeps walls and ceiling dry in the winter, and the heater that goes with it."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ventcalc import air
from ventcalc.bay.description import Bay
from ventcalc.building.ceiling import required_resistance
from ventcalc.building.envelope import SURFACE_RESISTANCE, conductance, heat_gain, leakage_mass_flow
from ventcalc.check.crop_state import CropState
from ventcalc.check.roof_space import ROOF_SPACE_ABOVE, roof_space_loss
from ventcalc.check.shell import STILL_CORNER
from ventcalc.equipment.refrigeration import air_load
from ventcalc.errors import BadInput
from ventcalc.pile.crop import crop_for
from ventcalc.sizing.weather import DesignStates

__all__ = ["TABLE", "ShellDesign", "design_shell", "table_resistance"]

TABLE = {
    "outside": (-40.0, -30.0, -20.0, -10.0),
    "wall": (5.6, 5.0, 4.2, 3.0),
    "ceiling": (7.0, 5.5, 5.0, 4.2),
}
"""Insulation for stores above 90 % by outside temperature, Canada Plan Service leaflet Q-6313,
1986. [°C] and [m² K/W]"""
MOST_RESISTANCE = 50.0
"""That a bay file takes. [m² K/W]"""
DAMPEST = 0.995
"""Most that is reckoned with for air damper than wanted. [0-1]"""
HEATER_RESERVE = 0.10
"""On the heater (common practice, no source). [1]"""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class ShellDesign:
    """Thermal resistances with surface films, per area of plain wall or ceiling; a heater."""

    wall_resistance: float
    """The greater of bare need and table. [m² K/W]"""
    wall_dry: float
    """At which the winter does not bring the wall to the dew point. [m² K/W]"""
    wall_moister: float
    """The same with the air damper by the sensors' standard uncertainty. [m² K/W]"""
    wall_still: float
    """At which a still corner stays dry too, by the standard's 0.25 m² K/W. [m² K/W]"""
    wall_table: float
    """Of the published table. [m² K/W]"""
    wall_u: float
    """As sized, or as the bay has it where that is better. [W/(m² K)]"""
    ceiling_resistance: float
    """As for the wall. [m² K/W]"""
    ceiling_dry: float
    """At its worst purlin or joint. [m² K/W]"""
    ceiling_moister: float
    """The same with the air damper by the sensors' standard uncertainty. [m² K/W]"""
    ceiling_still: float
    """As for the wall. [m² K/W]"""
    ceiling_table: float
    """[m² K/W]"""
    ceiling_u: float
    """[W/(m² K)]"""
    dew_point: float
    """Of the air inside. [°C]"""
    winter_loss: float
    """Through walls and ceiling, by leaks and the fresh air that CO2 asks for. [W]"""
    winter_balance: float
    """That loss less the heat of respiration: positive needs heat. [W]"""
    roof_space_loss: float
    """Through the ceiling and by leaks of the headspace, its air 1 K above the crop. [W]"""
    warm_up_heat: float
    """To warm the pile to its unloading temperature in time, less respiration. [W]"""
    heater: float
    """Capacity with its reserve. [W]"""


def table_resistance(part: str, outside_temperature: float) -> float:
    """
    Insulation of walls or ceiling by the published table, its end rows beyond it. [m² K/W]

    Canada Plan Service, leaflet Q-6313, 1986.
    """
    return float(np.interp(outside_temperature, TABLE["outside"], TABLE[part]))


def design_shell(bay: Bay, states: DesignStates, holding: CropState) -> ShellDesign:
    """
    Insulate for a dry wall and ceiling at the winter temperature, and heat what is lacking.

    The bridge factor is that of the ceiling; walls are taken as plain. The roof is as cold as a
    clear night makes it. Never worse than what the bay has.
    """
    inside, wet = bay.schedule.holding_temperature, bay.limits.plenum_humidity
    plain = SURFACE_RESISTANCE["horizontal"], bay.envelope.bridge_factor * SURFACE_RESISTANCE["up"]
    wall, ceiling = _dry(bay, states, wet, plain)
    damper = _dry(bay, states, min(wet + bay.sensors.humidity, DAMPEST), plain)
    still = _dry(bay, states, wet, (STILL_CORNER, STILL_CORNER))
    _refuse_hopeless(bay, max(wall, ceiling))
    tables = [table_resistance(part, states.winter_temperature) for part in ("wall", "ceiling")]
    best = max(wall, tables[0]), max(ceiling, tables[1])
    wall_u = min(1.0 / best[0], bay.envelope.wall_u)
    ceiling_u = min(1.0 / best[1], bay.envelope.ceiling_u)
    loss, roof_space = _losses(bay, states, holding, wall_u, ceiling_u)
    warm_up = _warm_up(bay, holding)
    most = max(loss - holding.heat, roof_space, warm_up, 0.0)
    return ShellDesign(
        wall_resistance=best[0],
        wall_dry=wall,
        wall_moister=damper[0],
        wall_still=still[0],
        wall_table=tables[0],
        wall_u=wall_u,
        ceiling_resistance=best[1],
        ceiling_dry=ceiling,
        ceiling_moister=damper[1],
        ceiling_still=still[1],
        ceiling_table=tables[1],
        ceiling_u=ceiling_u,
        dew_point=float(
            air.dew_point(air.humidity_ratio(inside, wet, states.pressure), states.pressure)
        ),
        winter_loss=loss,
        winter_balance=loss - holding.heat,
        roof_space_loss=roof_space,
        warm_up_heat=warm_up,
        heater=most * (1.0 + HEATER_RESERVE),
    )


def _dry(
    bay: Bay, states: DesignStates, humidity: float, surfaces: tuple[float, float]
) -> tuple[float, float]:
    """Wall and ceiling that just stay dry; ``surfaces`` are their resistances. [m² K/W]"""
    wall, ceiling = required_resistance(
        inside_temperature=bay.schedule.holding_temperature,
        relative_humidity=humidity,
        pressure=states.pressure,
        outside_temperature=np.array([states.winter_temperature, states.winter_roof_temperature]),
        surface_resistance=np.array(surfaces),
    ).tolist()
    return wall, ceiling


def _refuse_hopeless(bay: Bay, resistance: float) -> None:
    if resistance > MOST_RESISTANCE:
        raise BadInput(
            f"limits.plenum_humidity = {bay.limits.plenum_humidity:g}: at the winter temperature "
            f"of this weather no insulation keeps the ceiling dry (RSI {resistance:.0f} needed); "
            "lower the humidity, or envelope.bridge_factor by breaking the purlins' bridges"
        )


def _losses(
    bay: Bay, states: DesignStates, holding: CropState, wall_u: float, ceiling_u: float
) -> tuple[float, float]:
    """Winter loss of the whole bay, and of the headspace alone. [W]"""
    shell, inside = bay.envelope, bay.schedule.holding_temperature
    cold, roof = states.winter_temperature, states.winter_roof_temperature
    ratio = air.humidity_ratio(inside, bay.limits.plenum_humidity, states.pressure)
    volume = air.specific_volume(inside, ratio, states.pressure)
    voids = bay.pile.volume * (1.0 - bay.pile.bulk_density / crop_for(bay.use).tuber_density)

    def by_air(mass_flow: float) -> float:
        heat = air_load(
            mass_flow=mass_flow,
            outside_temperature=cold,
            outside_humidity_ratio=states.winter_humidity_ratio,
            inside_temperature=inside,
            inside_humidity_ratio=ratio,
            pressure=states.pressure,
        )
        return -float(heat.sensible + heat.latent)

    leak = leakage_mass_flow(shell.headspace_volume + voids, shell.leakage, volume)
    change = max(leak, holding.fresh_airflow / volume)
    walls = heat_gain(conductance(shell.wall_area, wall_u), cold, inside)
    ceiling = conductance(shell.ceiling_area, ceiling_u)
    whole = -walls - heat_gain(ceiling, roof, inside) + by_air(change)
    roof_space = roof_space_loss(
        replace(bay, envelope=replace(shell, ceiling_u=ceiling_u)),
        rise=ROOF_SPACE_ABOVE,
        outside_temperature=cold,
        outside_humidity_ratio=states.winter_humidity_ratio,
        roof_temperature=roof,
        pressure=states.pressure,
    )
    return float(whole), roof_space


def _warm_up(bay: Bay, holding: CropState) -> float:
    """Between warm-up and first truck; the crop's own heat counts. [W]"""
    plan = bay.schedule
    first, last = (
        np.datetime64(f"2001-{day}") for day in (plan.warm_up_start, plan.unloading_start)
    )
    days = max(int((last - first).astype(int)) % 365, 1)
    rise = max(plan.warm_up_temperature - plan.holding_temperature, 0.0)
    wanted = bay.pile.capacity * crop_for(bay.use).specific_heat * rise / (days * 86400.0)
    return float(wanted - holding.heat)
