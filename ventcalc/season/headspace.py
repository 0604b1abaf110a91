"""Air between pile and ceiling: fed by the pile, cooled by the roof, mixed with leaks."""

from __future__ import annotations

from typing import NamedTuple

from ventcalc.advice.setpoints import CEILING_RESISTANCE, ceiling_temperature
from ventcalc.air.fit import MASS_RATIO
from ventcalc.air.plain import AIR_HEAT, saturated
from ventcalc.bay.hourly import HourlyBay
from ventcalc.pile.crop import skin_transpiration
from ventcalc.pile.layers import Bed
from ventcalc.season.surroundings import Outside

__all__ = ["Headspace", "headspace", "leakage_flow"]

TOP_EXCHANGE = 5.0
"""Convection and radiation from pile top to headspace; common practice, no source. [W/(m² K)]"""
TOP_TUBERS = 1.5
"""Layers of tubers that trade water with the headspace; common practice, no source."""
TOP_VAPOUR_TRANSFER = 0.0025
"""Condensing coefficient on the pile top per humidity ratio, by Lewis' relation. [kg/(m² s)]"""
CEILING_VAPOUR_TRANSFER = 0.0035
"""Condensing coefficient on the ceiling per humidity ratio, likewise. [kg/(m² s)]"""
TRUCK_DOORS = 20.0
"""Air change with the truck door in use, over that of the shut bay; common practice, no source."""
FULL = 0.999
"""Part of the floor under crop below which the bay is being emptied. [1]"""
LEAK_DENSITY = 1.25
"""Of the air that leaks into the headspace. [kg/m³]"""


class Headspace(NamedTuple):
    """Quasi-steady state of the air above the pile."""

    temperature: float
    """[°C]"""
    humidity_ratio: float
    """[kg/kg dry air]"""
    ceiling: float
    """Coldest spots of the ceiling. [°C]"""
    drip: float
    """Water condensing on the plain ceiling. [kg/s]"""
    from_top: float
    """Water from the top tubers, negative where they sweat, per pile floor. [kg/(m² s)]"""
    top_heat: float
    """Heat into the top tubers by convection and radiation, per pile floor. [W/m²]"""


def leakage_flow(bay: HourlyBay, volume: float, share: float, loaded: float) -> float:
    """
    Volume flow through leaks, and through the truck door while the bay is filled or emptied.

    ``volume`` is the air that takes part [m³]; ``share`` and ``loaded`` as of ``BayState``. [m³/s]
    """
    open_door = loaded < 1.0 or share < FULL
    return bay.envelope.leakage * volume * (TRUCK_DOORS if open_door else 1.0)


def headspace(
    bay: HourlyBay,
    bed: Bed,
    flow: float,
    outlet_temperature: float,
    outlet_humidity_ratio: float,
    top: float,
    curing: float,
    share: float,
    loaded: float,
    outside: Outside,
    roof_temperature: float,
) -> Headspace:
    """
    Balance of heat and water of the headspace; the air itself holds next to no heat.

    Parameters
    ----------
    bay : HourlyBay
        The bay.
    bed : Bed
        Its pile.
    flow : float
        Dry air that leaves the pile. [kg/s]
    outlet_temperature, outlet_humidity_ratio : float
        That air. [°C, kg/kg dry air]
    top : float
        Top tubers. [°C]
    curing : float
        Healing done. [s]
    share, loaded : float
        Part of the floor under crop, and part of the crop loaded so far. [1]
    outside : Outside
        Outside air.
    roof_temperature : float
        Outside air as the roof feels it, with sun and sky. [°C]

    Returns
    -------
    Headspace
        Steady for these surroundings.
    """
    shell, area = bay.envelope, bay.pile.floor_area * share
    leak = LEAK_DENSITY * leakage_flow(bay, shell.headspace_volume, share, loaded)
    air_lost, roof_lost = leak * AIR_HEAT, shell.ceiling_u * shell.ceiling_area
    surface = TOP_EXCHANGE * area
    heat = flow * AIR_HEAT * outlet_temperature + surface * top
    heat += air_lost * outside.temperature + roof_lost * roof_temperature
    warm = heat / (flow * AIR_HEAT + surface + air_lost + roof_lost)
    plain = warm - shell.ceiling_u * CEILING_RESISTANCE * (warm - roof_temperature)
    limit = saturated(plain, bed.pressure)
    full = saturated(top, bed.pressure)
    free = flow * outlet_humidity_ratio + leak * outside.humidity_ratio
    if free / (flow + leak) > full:  # the top tubers sweat
        trade, level = TOP_VAPOUR_TRANSFER, full
    else:
        skin = skin_transpiration(curing, bed.crop) * TOP_TUBERS
        trade = skin * bed.bulk_density * bed.tuber_diameter * bed.pressure / MASS_RATIO
        level = bed.crop.water_activity * full
    given, taken = free + trade * area * level, flow + leak + trade * area
    sink = CEILING_VAPOUR_TRANSFER * shell.ceiling_area if given > limit * taken else 0.0
    moist = (given + sink * limit) / (taken + sink)
    return Headspace(
        temperature=warm,
        humidity_ratio=moist,
        ceiling=ceiling_temperature(bay, warm, roof_temperature),
        drip=sink * (moist - limit),
        from_top=trade * (level - moist),
        top_heat=TOP_EXCHANGE * (warm - top),
    )
