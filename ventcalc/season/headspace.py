"""Air between pile and ceiling: fed by the pile, cooled by the roof, mixed with leaks."""

from __future__ import annotations

from typing import NamedTuple

from ventcalc.advice.setpoints import CEILING_RESISTANCE, ceiling_temperature
from ventcalc.air.fit import MASS_RATIO
from ventcalc.air.plain import (
    AIR_HEAT,
    EVAPORATION,
    GAS_CONSTANT,
    KELVIN,
    VAPOUR_HEAT,
    WATER_HEAT,
    saturated,
)
from ventcalc.bay.hourly import HourlyBay
from ventcalc.pile.crop import skin_transpiration
from ventcalc.pile.layers import Bed
from ventcalc.season.surroundings import Outside

__all__ = ["Headspace", "free_air", "headspace", "leak_share"]

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


class Headspace(NamedTuple):
    """Quasi-steady state of the air above the pile."""

    temperature: float
    """[°C]"""
    humidity_ratio: float
    """[kg/kg dry air]"""
    ceiling: float
    """Coldest spots of the ceiling. [°C]"""
    drip: float
    """Water condensing on the plain ceiling, which takes its heat. [kg/s]"""
    from_top: float
    """Water from the top tubers, negative where they sweat, per pile floor. [kg/(m² s)]"""
    top_heat: float
    """Into the top tubers: convection, radiation, and what that water takes. [W/m²]"""


def free_air(
    bay: HourlyBay, bed: Bed, share: float, temperature: float, humidity_ratio: float
) -> float:
    """Dry air above and in a pile that covers a share of the floor, at the state given. [kg]"""
    solid = bed.height * share * (1.0 - bed.porosity)
    volume = bay.envelope.headspace_volume + bay.pile.floor_area * (bay.pile.height - solid)
    density = bed.pressure / (GAS_CONSTANT * (temperature + KELVIN))
    return volume * density / (1.0 + humidity_ratio / MASS_RATIO)


def leak_share(bay: HourlyBay, share: float, loaded: float) -> float:
    """
    Part of the free air that leaks change, and the truck door while bay is filled or emptied.

    ``share`` and ``loaded`` as of ``BayState``. [1/s]
    """
    open_door = loaded < 1.0 or share < FULL
    return bay.envelope.leakage * (TRUCK_DOORS if open_door else 1.0)


def headspace(
    bay: HourlyBay,
    bed: Bed,
    flow: float,
    leak: float,
    outlet_temperature: float,
    outlet_humidity_ratio: float,
    top: float,
    pulp_mean: float,
    curing: float,
    share: float,
    outside: Outside,
    roof_temperature: float,
) -> Headspace:
    """Balance of heat and water of the headspace; the air itself holds next to no heat."""
    shell, area = bay.envelope, bay.pile.floor_area * share
    risen = flow * (AIR_HEAT + VAPOUR_HEAT * outlet_humidity_ratio)
    leaked = leak * (AIR_HEAT + VAPOUR_HEAT * outside.humidity_ratio)
    roof, surface = shell.ceiling_u * shell.ceiling_area, TOP_EXCHANGE * area
    heat = risen * outlet_temperature + surface * top
    heat += leaked * outside.temperature + roof * roof_temperature
    warm = heat / (risen + surface + leaked + roof)
    plain = warm - shell.ceiling_u * CEILING_RESISTANCE * (warm - roof_temperature)
    limit, full = saturated(plain, bed.pressure), saturated(top, bed.pressure)
    skin = skin_transpiration(curing, bed.crop) * TOP_TUBERS * area
    skin *= bed.bulk_density * bed.tuber_diameter * bed.pressure / MASS_RATIO
    level = bed.crop.water_activity * full
    given = flow * outlet_humidity_ratio + leak * outside.humidity_ratio + skin * level
    taken = flow + leak + skin
    ceiling, sweat = CEILING_VAPOUR_TRANSFER * shell.ceiling_area, TOP_VAPOUR_TRANSFER * area
    # The colder of ceiling and tubers takes its water first.
    if limit < full:
        given, taken = _condensed(given, taken, limit, ceiling)
        given, taken = _condensed(given, taken, full, sweat)
    else:
        given, taken = _condensed(given, taken, full, sweat)
        given, taken = _condensed(given, taken, limit, ceiling)
    moist = given / taken
    from_top = (skin * (level - moist) - sweat * max(moist - full, 0.0)) / area
    latent = EVAPORATION + VAPOUR_HEAT * warm - WATER_HEAT * pulp_mean
    return Headspace(
        temperature=warm,
        humidity_ratio=moist,
        ceiling=ceiling_temperature(bay, warm, roof_temperature),
        drip=ceiling * max(moist - limit, 0.0),
        from_top=from_top,
        top_heat=TOP_EXCHANGE * (warm - top) - latent * from_top,
    )


def _condensed(given: float, taken: float, level: float, transfer: float) -> tuple[float, float]:
    """The air's balance of water with a surface that takes what is above its saturation."""
    if given > level * taken:
        return given + transfer * level, taken + transfer
    return given, taken
