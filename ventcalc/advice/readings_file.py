"""Readings as JSON: keys carry their unit, ``null`` is missing."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

from ventcalc.advice.json_values import (
    finite_number,
    json_object,
    moment_of,
    shortened,
    unknown_key,
)
from ventcalc.advice.probe_history import PROBES, ProbeHistory, judged
from ventcalc.advice.probes import believed, pulp_of
from ventcalc.advice.readings import OUT_OF_ORDER, Readings
from ventcalc.bay.calendar import STAGES
from ventcalc.errors import BadInput

__all__ = [
    "KEYS",
    "ReadingsFile",
    "Told",
    "readings_from_dict",
    "readings_from_json",
    "readings_of",
    "told_from_dict",
    "told_of",
]

PULPS = "pulp_temps_c"
_PERCENT = re.compile(r"\s*(\d{1,3}(?:\.\d*)?)\s*%\s*")


@dataclass(frozen=True, kw_only=True, slots=True)
class _Key:
    """What one key may hold; the unit is that of the key."""

    low: float
    high: float
    unit: str
    slip: str


_OUTSIDE = _Key(low=-50, high=55, unit="°C", slip="°F or kelvin, perhaps?")
_INSIDE = _Key(low=-20, high=35, unit="°C", slip="°F or kelvin, perhaps?")
_CROP = _Key(low=-10, high=30, unit="°C", slip="°F, perhaps? then the key ends in _f")
_SHARE = _Key(low=0, high=1, unit="", slip="a percentage, perhaps? 80 % is 0.80")
KEYS: dict[str, _Key] = {
    "outside_temp_c": _OUTSIDE,
    "outside_rh": _SHARE,
    "return_temp_c": _INSIDE,
    "return_rh": _SHARE,
    "plenum_temp_c": _INSIDE,
    "plenum_rh": _SHARE,
    PULPS: _CROP,
    "ceiling_temp_c": _Key(low=-30, high=45, unit="°C", slip="°F or kelvin, perhaps?"),
    "co2_ppm": _Key(low=200, high=60000, unit="ppm", slip="a fraction or percent, perhaps?"),
    "pressure_pa": _Key(low=60e3, high=110e3, unit="Pa", slip="hPa or kPa, perhaps?"),
}
"""Keys beside ``time``, and the limits within which a reading is believed."""

_PROBES = {
    "outside_temp_c": "outside_temperature",
    "outside_rh": "outside_relative_humidity",
    "return_temp_c": "return_temperature",
    "return_rh": "return_relative_humidity",
    "plenum_temp_c": "plenum_temperature",
    "plenum_rh": "plenum_relative_humidity",
    "ceiling_temp_c": "ceiling_temperature",
    "co2_ppm": "co2",
    "pressure_pa": "pressure",
}
"""Kind of probe by key."""
TOLD = ("loaded_t", "stage", "crop_wet", "rot_share", "out_of_order", "people_inside")
"""Keys of what people tell; no probe knows it."""
CO2_TOP = "co2_top_ppm"
"""Top of the CO2 probe's range: a reading there means "at least"."""
_FAHRENHEIT = {f"{key[:-2]}_f": key for key in KEYS if key.endswith("_c")}
_KNOWN = ("time", "note", *KEYS, *_FAHRENHEIT, *TOLD, CO2_TOP)
_TONNES = _Key(low=0, high=20_000, unit="t", slip="kg or lb, perhaps?")
_PPM = _Key(low=1000, high=100_000, unit="ppm", slip="a fraction or percent, perhaps?")


@dataclass(frozen=True, kw_only=True, slots=True)
class ReadingsFile:
    """What a file of readings holds."""

    readings: Readings
    doubts: tuple[str, ...] = ()
    """What was not believed, one line each."""
    loaded: float = math.nan
    """Mass of crop in the bay, as told. [kg]"""
    pulp: tuple[float, ...] = ()
    """Every probe, bottom to top; NaN where it is not believed over time. [°C]"""
    note: str = ""


class Told(NamedTuple):
    """What people tell beside the probes."""

    words: dict[str, Any]
    """Fields of ``Readings``."""
    loaded: float
    """Mass of crop in the bay; NaN for not told. [kg]"""
    co2_top: float
    """Top of the CO2 probe's range; NaN for not told. [1]"""
    note: str


def readings_from_json(
    text: str,
    name: str = "readings",
    probes: dict[str, ProbeHistory] | None = None,
    zone: str = "",
) -> ReadingsFile:
    """Read the readings of one moment; a time without offset is local in ``zone``."""
    try:
        return readings_from_dict(json_object(text), probes, zone)
    except BadInput as error:
        raise BadInput(f"{name}: {problem}" for problem in error.problems) from None


def readings_from_dict(
    given: Mapping[str, Any],
    probes: dict[str, ProbeHistory] | None = None,
    zone: str = "",
    offsets: Mapping[str, float] | None = None,
) -> ReadingsFile:
    """
    Read the readings of one moment from a mapping.

    ``offsets`` are readings less truth, by key and by ``pulp probe 1`` ...: taken off what is read.
    """
    problems = [unknown_key(key, _KNOWN) for key in given if key not in _KNOWN]
    problems += [
        f"{f_key} and {c_key}: both given; keep one"
        for f_key, c_key in _FAHRENHEIT.items()
        if f_key in given and c_key in given
    ]
    time = moment_of(given.get("time"), problems, zone)
    value = {key: _reading(given, key, problems) for key in _PROBES}
    value["co2_ppm"] *= 1e-6
    pulps = _pulps(given, problems)
    told = _told_beside(given, problems)
    if problems:
        raise BadInput(problems)
    return readings_of(time, value, pulps, told, probes, offsets)


def readings_of(
    time: float,
    numbers: Mapping[str, float],
    pulps: Sequence[float],
    told: Told,
    probes: dict[str, ProbeHistory] | None = None,
    offsets: Mapping[str, float] | None = None,
) -> ReadingsFile:
    """The readings of one moment from numbers of ``KEYS``, CO2 a volume fraction, and pulp [°C]."""
    heard = {key: (kind, numbers.get(key, math.nan)) for key, kind in _PROBES.items()}
    heard |= {f"pulp probe {k}": ("pulp_temperature", t) for k, t in enumerate(pulps, start=1)}
    tops = {} if math.isnan(told.co2_top) else {"co2_ppm": told.co2_top}
    value, off = judged(heard, time, {} if probes is None else probes, tops)
    for name, offset in (offsets or {}).items():  # each probe was judged by what it told itself
        if name in value:
            true = value[name] - offset
            value[name] = min(max(true, 0.0), 1.0) if name.endswith("_rh") else true
    doubted = sum({1 << list(PROBES).index(heard[name][0]) for name in off})
    probed = tuple(value[f"pulp probe {k}"] for k in range(1, len(pulps) + 1))
    pulp = pulp_of(probed)
    readings, doubts = believed(
        Readings(
            time=time,
            outside_temperature=value["outside_temp_c"],
            outside_relative_humidity=value["outside_rh"],
            return_temperature=value["return_temp_c"],
            return_relative_humidity=value["return_rh"],
            plenum_temperature=value["plenum_temp_c"],
            plenum_relative_humidity=value["plenum_rh"],
            ceiling_temperature=value["ceiling_temp_c"],
            co2=value["co2_ppm"],
            pressure=value["pressure_pa"],
            **pulp._asdict(),
            co2_at_least=value["co2_ppm"] >= told.co2_top - 1e-9,
            **told.words,
            doubted=doubted,
        )
    )
    doubts = (*off.values(), *doubts)
    return ReadingsFile(
        readings=readings, doubts=doubts, loaded=told.loaded, pulp=probed, note=told.note
    )


def told_of(given: Mapping[str, Any]) -> Told:
    """Read what people tell beside the probes."""
    known = (*TOLD, CO2_TOP, "note")
    problems = [unknown_key(key, known) for key in given if key not in known]
    told = _told_beside(given, problems)
    if problems:
        raise BadInput(problems)
    return told


def _told_beside(given: Mapping[str, Any], problems: list[str]) -> Told:
    note = given.get("note", "")
    if not isinstance(note, str):
        problems.append(f"note is {shortened(note)}; write a text in quotes")
    words = _told(given, problems)
    top = _number(given.get(CO2_TOP), CO2_TOP, _PPM, problems)
    tonnes = _number(given.get("loaded_t"), "loaded_t", _TONNES, problems)
    return Told(words, tonnes * 1000.0, top * 1e-6, note)


def told_from_dict(given: Mapping[str, Any], mass: float = math.nan) -> dict[str, Any]:
    """Read what people tell of a bay."""
    problems = [unknown_key(key, TOLD) for key in given if key not in TOLD]
    told = _told(given, problems)
    tonnes = _number(given.get("loaded_t"), "loaded_t", _TONNES, problems)
    if problems:
        raise BadInput(problems)
    return {**told, "loaded": min(tonnes * 1000.0 / mass, 1.0)}


def _told(given: Mapping[str, Any], problems: list[str]) -> dict[str, Any]:
    """What people tell of the bay."""
    told: dict[str, Any] = {}
    stage = given.get("stage")
    if stage is not None:
        if stage in STAGES:
            told["stage_told"] = STAGES.index(stage)
        else:
            problems.append(f"stage is {shortened(stage)}; write one of {', '.join(STAGES)}")
    for key in ("crop_wet", "people_inside"):
        value = given.get(key)
        if isinstance(value, bool):
            told[key] = value
        elif value is not None:
            problems.append(f"{key} is {shortened(value)}; write true or false")
    share = _number(given.get("rot_share"), "rot_share", _SHARE, problems)
    told["rot_share"] = 0.0 if math.isnan(share) else share
    broken = given.get("out_of_order")
    names = broken if isinstance(broken, list) else [] if broken is None else [broken]
    # Compared one by one: what a list holds may be what no table can be asked for.
    wrong = [name for name in names if name not in (*OUT_OF_ORDER,)]
    if wrong:
        problems.append(
            f"out_of_order holds {shortened(wrong[0])}; write a list of {', '.join(OUT_OF_ORDER)}"
        )
    told["out_of_order"] = 0 if wrong else sum({OUT_OF_ORDER[name] for name in names})
    return told


def _reading(given: Mapping[str, Any], key: str, problems: list[str]) -> float:
    f_key = f"{key[:-2]}_f"
    if key.endswith("_c") and key not in given and f_key in given:
        return _number(given[f_key], f_key, KEYS[key], problems)
    return _number(given.get(key), key, KEYS[key], problems)


def _number(value: Any, name: str, key: _Key, problems: list[str]) -> float:
    """A number in the key's unit; a Fahrenheit key is turned to °C before it is judged."""
    if value is None:
        return math.nan
    percent = _PERCENT.fullmatch(value) if key is _SHARE and isinstance(value, str) else None
    number = float(percent[1]) / 100.0 if percent else finite_number(value)
    if number is None:
        quotes = "; a number stands without quotes" if isinstance(value, str) else ""
        problems.append(f"{name} is {shortened(value)}, not a number{quotes}; null where missing")
        return math.nan
    fahrenheit = "_f" in name and key.unit == "°C"
    result = (number - 32.0) / 1.8 if fahrenheit else number
    if not key.low <= result <= key.high:
        low, high = (1.8 * x + 32 if fahrenheit else x for x in (key.low, key.high))
        unit = "°F" if fahrenheit else key.unit
        limits = f"{low:g} to {high:g}{' ' + unit if unit else ''}"
        slip = "°C or a broken sensor, perhaps?" if fahrenheit else key.slip
        problems.append(f"{name} is {number:g}; it must lie in {limits}; {slip}")
    return result


def _pulps(given: Mapping[str, Any], problems: list[str]) -> list[float]:
    f_key = f"{PULPS[:-2]}_f"
    name = f_key if f_key in given and PULPS not in given else PULPS
    value = given.get(name)
    if value is None:
        return [math.nan]
    if not isinstance(value, list) or not value:
        problems.append(
            f"{name} is {shortened(value)}; write a list, bottom to top, of at least one: "
            "[3.4, 3.9]"
        )
        return [math.nan]
    result = []
    for place, item in enumerate(value, start=1):
        result.append(_number(item, f"{name}: element {place}", KEYS[PULPS], problems))
    return result
