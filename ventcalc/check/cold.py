"""Whether a cooling plant carries a warm day by itself, at fill, pull-down and holding."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np

from ventcalc import air
from ventcalc.air.plain import EVAPORATION, FUSION_HEAT
from ventcalc.bay.description import Bay, capacity_of
from ventcalc.check.air_system import AirSystem
from ventcalc.check.cold_load import RUNNING_SHARE, WarmDay, cold_load, crop_water, speed_for_heat
from ventcalc.check.crop_state import CropState
from ventcalc.check.pile_heat import Outside
from ventcalc.check.record import (
    CANNOT_SAY,
    HEAT_DOUBT,
    Asides,
    Check,
    air_text,
    check_below,
    words,
)
from ventcalc.equipment.defrost import defrost
from ventcalc.equipment.refrigeration import Load

__all__ = ["PULL_DOWN", "cold_checks", "cold_loads", "warm_day"]

DAY = 86400.0
ROOF_RISE = 4.0
"""Roof in the sun above the air, mean of the day (common practice, no source). [K]"""
STAGES = (
    ("filling", "fill", "with the last load in"),
    ("cool_down", "pull_down", "as the pull-down begins"),
    ("holding", "holding", "while holding"),
)
PULL_DOWN = ("cold_fill", "cold_pull_down")
"""Checks in which outside air may do what the plant cannot: its nights are colder than pulp."""


def warm_day(temperature: float, relative_humidity: float, pressure: float) -> WarmDay:
    """Assumed before there is any weather: the roof 4 K warmer than the air."""
    humid = float(air.humidity_ratio(temperature, relative_humidity, pressure))
    return WarmDay(
        temperature=temperature,
        humidity_ratio=humid,
        roof_temperature=temperature + ROOF_RISE,
    )


def cold_loads(
    bay: Bay,
    system: AirSystem,
    crops: Mapping[str, CropState],
    mass: Any,
    day: WarmDay,
    pressure: float,
) -> Mapping[str, Load]:
    """Loads of a plant without any help from outside air: filling, cool_down and holding."""
    found = {}
    for stage, _, _ in STAGES:
        crop = crops[stage]
        need = speed_for_heat(bay, heat=crop.heat, airflow=system.airflow, density=system.density)
        given: dict[str, Any] = {
            "mass": mass,
            "airflow": system.airflow,
            "fan_power": system.electrical_power,
            "fan_speed": np.clip(need, bay.fans.minimum_speed, 1.0) if stage == "holding" else 1.0,
            "water": crop_water(bay, crop, mass),
            "pressure": pressure,
        }
        dry = cold_load(bay, crop, day, **given)
        found[stage] = cold_load(bay, crop, day, melting=_melting(bay, crop, dry), **given)
    return found


def _melting(bay: Bay, crop: CropState, load: Load) -> Any:
    """Heat that melting a day's frost leaves in the store, if the plant's coil freezes. [W]"""
    plant = bay.refrigeration
    surface = crop.temperature - (plant.coil_temperature_difference if plant else 0.0)
    if plant is None or surface >= 0.0:
        return 0.0
    frost = DAY * np.maximum(load.latent, 0.0) / (EVAPORATION + FUSION_HEAT)
    return frost * defrost(1.0, surface_temperature=surface).heat_to_store / DAY


def cold_checks(
    bay: Bay,
    system: AirSystem,
    crops: Mapping[str, CropState],
    mass: Any,
    outside: Outside,
    pressure: float,
) -> tuple[Check, ...]:
    """
    Checks of the cooling plant at fill, pull-down and holding.

    Where it falls short at fill or pull-down, or there is none, outside air must do the rest, and
    whether it does cannot be said here.
    """
    warm, humidity = outside.warm_temperature, outside.warm_humidity
    loads = cold_loads(bay, system, crops, mass, warm_day(warm, humidity, pressure), pressure)
    told = air_text(warm, humidity)
    return tuple(
        _row(
            bay,
            loads[name],
            words("cold_{stage}", stage=stage, when=when, outside=told, roof=ROOF_RISE),
        )
        for name, stage, when in STAGES
    )


def _row(bay: Bay, load: Load, told: dict[str, str]) -> Check:
    capacity = float(capacity_of(bay.refrigeration))
    made = check_below(
        load.capacity,
        capacity if capacity > 0.0 else np.nan,
        HEAT_DOUBT * load.parts["respiration"].sensible / RUNNING_SHARE,
        **told,
        asides=_parts(load),
    )
    if capacity <= 0.0:
        return replace(made, note="The bay has no refrigeration: outside air must do this. "
        "ventcalc size, with the weather of the site, says whether it does.")  # fmt: skip
    if np.all(np.isnan(np.asarray(load.total, float))):
        return replace(made, note="The airflow of the fans is not known.")
    if made.key not in PULL_DOWN:
        return made
    short = np.asarray(made.margin) < 0.0
    verdict = np.where(short, CANNOT_SAY, made.verdict)
    return replace(
        made,
        verdict=str(verdict) if verdict.ndim == 0 else verdict,
        by_height=False,
        note="The plant alone falls short on such a day: outside air of the night must do the "
        "rest; ventcalc size, with the weather of the site, says whether it does."
        if np.all(short)
        else "",
    )


def _parts(load: Load) -> Asides:
    """What the load consists of, sensible and latent together, and how much of it is latent."""
    parts = {name: part.sensible + part.latent for name, part in load.parts.items()}
    # Evaporation only turns sensible heat into latent.
    loads = {
        name.replace("_", " "): heat
        for name, heat in parts.items()
        if name != "evaporation" and np.any(heat != 0.0)
    }
    rows = {**loads, "all, mean of the day": load.total, "of it latent": load.latent}
    keys = {"all, mean of the day": "total", "of it latent": "latent"}
    return [
        (keys.get(name, name.replace(" ", "_")), name, heat + 0.0 * load.total, "W refrigeration")
        for name, heat in rows.items()
    ]
