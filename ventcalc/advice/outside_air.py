"""May outside air cool the pile now, how much, through what opening, and what binds?"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from enum import IntEnum
from typing import Any

import numpy as np

from ventcalc._leaves import mapped
from ventcalc._ops import ARRAY, Ops, ops_for
from ventcalc.advice.aims import (
    dew_point_uncertainty,
    dry_air_flow,
    fan_power,
    humidity_aim,
    vapour_limit,
)
from ventcalc.air import plain as plain_air
from ventcalc.air.plain import AIR_HEAT
from ventcalc.bay.description import Bay, capacity_of
from ventcalc.equipment import plenum
from ventcalc.pile.crop import crop_for

__all__ = [
    "Binding",
    "OutsideAir",
    "Verdict",
    "judge",
]

FOG_LIMIT = 1.5e-4
"""
Fog that may enter the ducts. Tubers warmer than the air dry it within the first layers, which
the wetting margin makes sure of by counting the fog as vapour; more would drip in the plenum.
Common practice, no source. [kg/kg dry air]
"""


class Verdict(IntEnum):
    """Whether outside air may cool the pile."""

    UNKNOWN = -1
    FORBIDDEN = 0
    ALLOWED = 1


class Binding(IntEnum):
    """What stops outside air, or what holds the door."""

    NONE = 0
    NOTHING_TO_COOL = 1
    RAMP_LIMIT = 2
    MISSING_READING = 3
    NOT_COLD_ENOUGH = 4
    FREEZING = 5
    WETS_CROP = 6
    CEILING_DRIP = 7
    MIXING_FOG = 8


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class OutsideAir:
    """The verdict with its numbers; margins are positive when safe."""

    verdict: Any
    """Code of ``Verdict``."""
    binding: Any
    """Code of ``Binding``: why not, or what keeps the door from opening further."""
    fresh_fraction: Any
    """Part of the fans' air that would be fresh. [1]"""
    plenum_temperature: Any
    """[°C]"""
    plenum_humidity_ratio: Any
    """[kg/kg dry air]"""
    plenum_dew_point: Any
    """[°C]"""
    cooling: Any
    """Heat taken from the bay, sensible and latent, fan heat paid. [W]"""
    pile_rate: Any
    """Cooling of the whole pile that this heat would give. [K/s]"""
    cold_margin: Any
    """Pulp less offset less the coldest plenum that the outside air can give. [K]"""
    floor_margin: Any
    """Plenum above the supply floor. [K]"""
    wetting_margin: Any
    """Coldest exposed tuber above the dew point of the plenum's vapour and fog. [K]"""
    wetting_uncertainty: Any
    """Standard uncertainty of it. [K]"""
    drip_margin: Any
    """Ceiling above the plenum's dew point. [K]"""
    fog: Any
    """Liquid carried into the ducts. [kg/kg dry air]"""
    water_added: Any
    """Evaporated by the humidifier. [kg/s]"""


def _wetting_uncertainty(bay: Bay, supply: plenum.Supply, dew: Any, relative: Any, ops: Ops) -> Any:
    """
    Standard uncertainty of tuber less dew point.

    Air cannot be moister than saturated, so near saturation the humidity probe's error counts
    only as far as there is room for it, and the two temperatures are left.
    """
    thermometer = bay.sensors.temperature**2
    probe = dew_point_uncertainty(bay, supply.temperature, ops.maximum(relative, 0.05))
    room = ops.maximum(supply.temperature - dew, 0.0) / bay.control.confidence
    part = ops.minimum(ops.maximum(probe * probe - thermometer, 0.0), room * room)
    return (2.0 * thermometer + part) ** 0.5


def judge(
    *,
    bay: Bay,
    pressure: Any,
    fan_speed: Any,
    outside_temperature: Any,
    outside_humidity_ratio: Any,
    return_temperature: Any,
    return_humidity_ratio: Any,
    pulp: Any,
    pulp_coldest: Any,
    ceiling: Any,
    aim: Any,
    wanted: Any,
    ramping: Any,
) -> OutsideAir:
    """
    The outside-air verdict for cooling.

    Parameters
    ----------
    bay : Bay
        The bay.
    pressure : array-like
        Air pressure. [Pa]
    fan_speed : array-like
        Speed the fans would run at. [0-1]
    outside_temperature, outside_humidity_ratio : array-like
        Air outside. [°C, kg/kg dry air]
    return_temperature, return_humidity_ratio : array-like
        Air above the pile. [°C, kg/kg dry air]
    pulp, pulp_coldest : array-like
        The pulp to be cooled (the mean, or the top when the pile is to be evened out), and
        the coldest exposed tuber. [°C]
    ceiling : array-like
        Ceiling surface. [°C]
    aim : array-like
        Plenum temperature wanted; ``supply_aim`` gives it. [°C]
    wanted : array-like of bool
        Whether there is heat to take out.
    ramping : array-like of bool
        Whether the target is still above its final value.

    Returns
    -------
    OutsideAir
        Verdict, what binds, and every margin.

    Notes
    -----
    Cooling is decided on temperature against pulp with an offset; humidity decides only
    whether tubers, ceiling or air would get wet. A wetting margin smaller than ``confidence``
    standard uncertainties is UNKNOWN: near saturation it is no larger than sensor error.
    """
    ops = ops_for(outside_temperature, return_temperature, pulp, aim, pressure, bay.mass)

    def asked() -> OutsideAir:
        flow = dry_air_flow(bay, fan_speed, pressure)
        heat = fan_power(bay, fan_speed)
        capacity = capacity_of(bay.humidifier)
        humidity = humidity_aim(bay, ops)
        given = {
            "mass_flow": flow,
            "outside_temperature": outside_temperature,
            "outside_humidity_ratio": outside_humidity_ratio,
            "return_temperature": return_temperature,
            "return_humidity_ratio": return_humidity_ratio,
            "pressure": pressure,
            "heat": heat,
            "water_capacity": capacity,
        }
        fraction = plenum.fresh_fraction_for(
            wanted_temperature=aim, wanted_humidity=humidity, **given
        )
        # Outside air no colder than the return can only be judged with the door wide open.
        colder = outside_temperature < return_temperature
        fraction = ops.where(colder, fraction, 1.0)
        leak = bay.doors.leakage_fraction
        fraction = ops.minimum(ops.maximum(fraction, leak), bay.doors.largest_fraction)
        fraction = ops.where(ops.isnan(fraction), leak, fraction)
        given["vapour_limit"] = vapour_limit(bay, pulp_coldest, pressure, ops)
        fraction, supply, foggy = _without_fog(fraction, leak, humidity, given, ops)
        return _margins(bay, given, fraction, supply, foggy, pulp, pulp_coldest, ceiling, ops)

    # Nothing to cool: no numbers, no cost.
    idle = ops.branch(ramping, lambda: _RAMP_LIMIT, _NOTHING_TO_COOL)
    if ops is ARRAY:  # an element for each bay, whether or not any asks
        idle = mapped(lambda x: np.where(wanted, x, x), idle)
    verdict: OutsideAir = ops.branch(wanted, asked, idle)
    return verdict


_NOTHING_TO_COOL = OutsideAir(
    verdict=Verdict.FORBIDDEN,
    binding=Binding.NOTHING_TO_COOL,
    **dict.fromkeys(
        (f.name for f in fields(OutsideAir) if f.name not in ("verdict", "binding")), float("nan")
    ),
)
_RAMP_LIMIT = replace(_NOTHING_TO_COOL, binding=Binding.RAMP_LIMIT)


def _at_best(given: dict[str, Any], supply: plenum.Supply, ops: Ops) -> Any:
    """
    Coldest plenum that the outside air can give.

    The supply itself where the door is wide open; where it modulates, undiluted outside air
    with the fans' heat, which is colder (or, dried air cooled by the humidifier, the supply).
    """
    undiluted = given["outside_temperature"] + given["heat"] / (given["mass_flow"] * AIR_HEAT)
    return ops.minimum(supply.temperature, undiluted)


def _without_fog(
    fraction: Any, leak: Any, humidity: Any, given: dict[str, Any], ops: Ops
) -> tuple[Any, plenum.Supply, Any]:
    """The widest opening up to ``fraction`` whose fog the ducts can dry."""
    supply = plenum.supply(fresh_fraction=fraction, humidity_wanted=humidity, **given)
    foggy = supply.fog > FOG_LIMIT

    def halved(span: tuple[Any, Any]) -> tuple[Any, Any]:
        low, high = span
        middle = 0.5 * (low + high)
        fog = plenum.supply(fresh_fraction=middle, humidity_wanted=0.0, **given).fog > FOG_LIMIT
        return ops.where(fog, low, middle), ops.where(fog, middle, high)

    def narrower() -> tuple[Any, plenum.Supply]:
        low, _ = ops.repeat(7, halved, (leak + 0.0 * fraction, fraction))
        return low, plenum.supply(fresh_fraction=low, humidity_wanted=humidity, **given)

    return *ops.branch(foggy, narrower, (fraction, supply)), foggy


def _margins(
    bay: Bay,
    given: dict[str, Any],
    fraction: Any,
    supply: plenum.Supply,
    foggy: Any,
    pulp: Any,
    pulp_coldest: Any,
    ceiling: Any,
    ops: Ops,
) -> OutsideAir:
    pressure, flow = given["pressure"], given["mass_flow"]
    dew = plain_air.dew_point(supply.humidity_ratio + supply.fog, pressure, ops)
    relative = plain_air.relative_humidity(supply.temperature, supply.humidity_ratio, pressure, ops)
    h_return = plain_air.enthalpy(given["return_temperature"], given["return_humidity_ratio"])
    h_supply = plain_air.enthalpy(supply.temperature, supply.humidity_ratio)
    cooling = flow * (h_return - h_supply)
    cold = pulp - bay.control.outside_offset - _at_best(given, supply, ops)
    floor = supply.temperature - bay.limits.plenum_floor
    wet = pulp_coldest - dew
    sigma = _wetting_uncertainty(bay, supply, dew, relative, ops)
    drip = ceiling - dew
    sure = bay.control.confidence * sigma
    where = ops.where
    missing = ops.isnan(cold + wet + floor)
    binding = where(foggy, Binding.MIXING_FOG, Binding.NONE)
    verdict = where(missing, Verdict.UNKNOWN, Verdict.ALLOWED)
    for stops, unsure, code in (
        (drip < -sure, drip < 0.0, Binding.CEILING_DRIP),
        (wet < -sure, wet < sure, Binding.WETS_CROP),
        (floor < 0.0, floor < 0.0, Binding.FREEZING),
        (cold < 0.0, cold < 0.0, Binding.NOT_COLD_ENOUGH),
    ):
        verdict = where(stops, Verdict.FORBIDDEN, where(unsure, Verdict.UNKNOWN, verdict))
        binding = where(stops | unsure, code, binding)
    verdict = where(missing, Verdict.UNKNOWN, verdict)
    binding = where(missing, Binding.MISSING_READING, binding)
    return OutsideAir(
        verdict=verdict,
        binding=binding,
        fresh_fraction=fraction,
        plenum_temperature=supply.temperature,
        plenum_humidity_ratio=supply.humidity_ratio,
        plenum_dew_point=dew,
        cooling=cooling,
        pile_rate=cooling / (bay.mass * crop_for(bay.use).specific_heat),
        cold_margin=cold,
        floor_margin=floor,
        wetting_margin=wet,
        wetting_uncertainty=sigma,
        drip_margin=drip,
        fog=supply.fog,
        water_added=supply.water_added,
    )
