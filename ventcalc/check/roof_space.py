"""The heat that a roof space loses in winter, which a heater there must bring."""

from __future__ import annotations

from ventcalc import air
from ventcalc.bay.description import Bay
from ventcalc.building.envelope import conductance, heat_gain, leakage_mass_flow
from ventcalc.equipment.refrigeration import air_load

__all__ = ["ROOF_SPACE_ABOVE", "roof_space_loss"]

ROOF_SPACE_ABOVE = 1.0
"""Roof-space air above the crop; heat it when it is 0.75-1 K below: AHDB Storage Bulletin,
Nov 2014. [K]"""


def roof_space_loss(
    bay: Bay,
    *,
    rise: float,
    outside_temperature: float,
    outside_humidity_ratio: float,
    roof_temperature: float,
    pressure: float,
) -> float:
    """
    Heat lost through the ceiling and by leaks of the headspace, ``rise`` above the crop. [W]

    ``roof_temperature`` is sol-air; the crop's own heat is not counted.
    """
    shell, inside = bay.envelope, bay.schedule.holding_temperature
    ratio = air.humidity_ratio(inside, bay.limits.plenum_humidity, pressure)
    volume = air.specific_volume(inside, ratio, pressure)
    leak = air_load(
        mass_flow=leakage_mass_flow(shell.headspace_volume, shell.leakage, volume),
        outside_temperature=outside_temperature,
        outside_humidity_ratio=outside_humidity_ratio,
        inside_temperature=inside,
        inside_humidity_ratio=ratio,
        pressure=pressure,
    )
    ceiling = conductance(shell.ceiling_area, shell.ceiling_u)
    through = heat_gain(ceiling, roof_temperature, inside + rise)
    return -float(through + leak.sensible + leak.latent)
