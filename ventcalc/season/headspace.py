"""Air between pile and ceiling: fed by the pile, cooled by the roof, mixed with leaks."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from ventcalc import air
from ventcalc._ops import Ops
from ventcalc.advice.aims import CEILING_RESISTANCE, ceiling_temperature
from ventcalc.air import plain as plain_air
from ventcalc.air.plain import AIR_HEAT
from ventcalc.bay.description import Bay
from ventcalc.pile.bed import Bed
from ventcalc.pile.crop import transpiration_coefficient

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


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Headspace:
    """Quasi-steady state of the air above the pile."""

    temperature: Any
    """[°C]"""
    humidity_ratio: Any
    """[kg/kg dry air]"""
    ceiling: Any
    """Coldest spots of the ceiling. [°C]"""
    drip: Any
    """Water condensing on the plain ceiling. [kg/s]"""
    from_top: Any
    """Water from the top tubers, negative where they sweat, per pile floor. [kg/(m² s)]"""
    top_heat: Any
    """Heat into the top tubers by convection and radiation, per pile floor. [W/m²]"""


def leakage_flow(bay: Bay, volume: Any, share: Any, loaded: Any, ops: Ops) -> Any:
    """
    Volume flow through leaks, and through the truck door while the bay is filled or emptied.

    Parameters
    ----------
    bay : Bay
        The bay.
    volume : array-like
        Air that takes part. [m³]
    share : array-like
        Part of the floor that carries crop. [1]
    loaded : array-like
        Part of the crop loaded so far. [1]
    ops : Ops
        Carrier.

    Returns
    -------
    array
        Air change times volume. [m³/s]
    """
    open_ = (loaded < 1.0) | (share < 0.999)
    return bay.envelope.leakage * volume * ops.where(open_, TRUCK_DOORS, 1.0)


def headspace(
    *,
    bay: Bay,
    model: Bed,
    flow: Any,
    outlet_temperature: Any,
    outlet_humidity_ratio: Any,
    top: Any,
    curing: Any,
    share: Any,
    loaded: Any,
    outside_temperature: Any,
    outside_humidity_ratio: Any,
    roof_temperature: Any,
    ops: Ops,
) -> Headspace:
    """
    Balance of heat and water of the headspace.

    Parameters
    ----------
    bay : Bay
        The bay.
    model : Bed
        Its pile.
    flow : array-like
        Dry air that leaves the pile. [kg/s]
    outlet_temperature, outlet_humidity_ratio : array-like
        That air. [°C, kg/kg dry air]
    top : array-like
        Top tubers. [°C]
    curing : array-like
        Healing done. [s]
    share, loaded : array-like
        Part of the floor under crop, and part of the crop loaded so far. [1]
    outside_temperature, outside_humidity_ratio : array-like
        Outside air. [°C, kg/kg dry air]
    roof_temperature : array-like
        Outside air as the roof feels it, with sun and sky. [°C]
    ops : Ops
        Carrier.

    Returns
    -------
    Headspace
        Steady for these surroundings; the air itself holds next to no heat.
    """
    shell, area = bay.envelope, bay.pile.floor_area * share
    leak = 1.25 * leakage_flow(bay, shell.headspace_volume, share, loaded, ops)
    air_lost, roof_lost = leak * AIR_HEAT, shell.ceiling_u * shell.ceiling_area
    surface = TOP_EXCHANGE * area
    heat = flow * AIR_HEAT * outlet_temperature + surface * top
    heat = heat + air_lost * outside_temperature + roof_lost * roof_temperature
    warm = heat / (flow * AIR_HEAT + surface + air_lost + roof_lost)
    plain = warm - shell.ceiling_u * CEILING_RESISTANCE * (warm - roof_temperature)
    limit = plain_air.saturated(plain, model.pressure, ops)
    full = plain_air.saturated(top, model.pressure, ops)
    skin = transpiration_coefficient(curing, model.crop) * TOP_TUBERS
    skin = skin * model.bulk_density * model.tuber_diameter * model.pressure / air.MASS_RATIO
    free = flow * outlet_humidity_ratio + leak * outside_humidity_ratio
    moist = free / (flow + leak)
    sweats = moist > full
    trade = ops.where(sweats, TOP_VAPOUR_TRANSFER, skin)
    level = ops.where(sweats, 1.0, model.crop.water_activity) * full
    given, taken = free + trade * area * level, flow + leak + trade * area
    drips = given > limit * taken
    sink = ops.where(drips, CEILING_VAPOUR_TRANSFER * shell.ceiling_area, 0.0)
    moist = (given + sink * limit) / (taken + sink)
    return Headspace(
        temperature=warm,
        humidity_ratio=moist,
        ceiling=ceiling_temperature(bay, warm, roof_temperature),
        drip=sink * (moist - limit),
        from_top=trade * (level - moist),
        top_heat=TOP_EXCHANGE * (warm - top),
    )
