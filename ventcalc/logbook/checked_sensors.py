"""
What checks of the probes are worth: how far the readings can be trusted, and what to take off them.

A probe held against ice water or a salt is known better than one as it was shipped, until it has
drifted. The margin against wetting rests on pulp, plenum and return together, so one of them that
nobody checked leaves the bay's own uncertainty as it is.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from ventcalc.bay.description import Bay, Sensors
from ventcalc.logbook.kinds import Line, SensorCheck
from ventcalc.logbook.probe_checks import ProbeOffset, probe_offset

__all__ = ["CheckedSensors", "checked_sensors"]

ICE_BATH, SALT_CHECK = 0.1, 0.012
"""Standard uncertainty right after a check; an assumption of this project, no source. [K, 0-1]"""
WARM_DRIFT, HUMID_DRIFT = 0.05, 0.005
"""Random walk of a probe in a month, likewise an assumption. [K, 0-1]"""
MOST_OFF = 5.0, 0.15
"""A probe that is further off is broken, or its check was mistyped: nothing is corrected by it;
common practice, no source. [K, 0-1]"""
DAY, MONTH = 86400.0, 30.4375 * 86400.0
"""[s]"""
_AIR = {"plenum": "plenum", "supply": "plenum", "return": "return", "outside": "outside"}
_FILLERS = re.compile(r"\b(probe|sensor|air|temp|temperature|rh|humidity|c|f)\b|[^a-z0-9]+")


@dataclass(frozen=True, kw_only=True, slots=True)
class CheckedSensors:
    """How far the readings of a time can be trusted."""

    sensors: Sensors
    """Standard uncertainty by the checks, never above the bay's own."""
    offsets: Mapping[str, float]
    """Reading less truth, by key of a file of readings and ``pulp probe 1`` ...; [K, 0-1]."""
    checked: tuple[str, ...] = ()
    """Names of the probes whose checks count, in words."""
    unchecked: tuple[str, ...] = ()
    """Probes without a check, for want of which an uncertainty stays the bay's own."""
    remarks: tuple[str, ...] = ()
    """Checks that cannot be used, a line each."""


def checked_sensors(
    bay: Bay, checks: Sequence[Line[SensorCheck]], time: float, pulp_probes: int
) -> CheckedSensors:
    """Uncertainty and offsets of a bay's probes by the checks that were done up to a time."""
    newest: dict[str, ProbeOffset] = {}
    remarks: list[str] = []
    for line in sorted(checks, key=lambda line: line.time):
        if line.time <= time:
            found = probe_offset(line.entry, line.time)
            remarks += _place(found, pulp_probes, newest)
    pulp = [f"pulp probe {k}" for k in range(1, pulp_probes + 1)]
    warm_probes, humid_probes = [*pulp, "plenum_temp_c"], ["plenum_rh", "return_rh"]
    warm = _trust(newest, warm_probes, time, ICE_BATH, WARM_DRIFT)
    humid = _trust(newest, humid_probes, time, SALT_CHECK, HUMID_DRIFT)
    if not pulp:
        warm = math.inf
    return CheckedSensors(
        sensors=Sensors(
            temperature=min(warm, bay.sensors.temperature),
            humidity=min(humid, bay.sensors.humidity),
        ),
        offsets={key: _offset(key, one) for key, one in newest.items()},
        checked=tuple(_words(key) for key in newest),
        unchecked=tuple(
            _words(key) for key in (*warm_probes, *humid_probes) if newest and key not in newest
        ),
        remarks=tuple(dict.fromkeys(remarks)),
    )


def _place(found: ProbeOffset, pulp_probes: int, newest: dict[str, ProbeOffset]) -> list[str]:
    """Put a check to the probes that its name means; says why where it cannot."""
    keys = _keys(found.probe, pulp_probes)
    if not keys:
        return [
            f"a check of {found.probe!r} counts for no probe; name it plenum, return, outside, "
            "bottom, top or pulp 1, pulp 2 ... from the bottom"
        ]
    remarks = []
    for key, most in zip(keys, MOST_OFF, strict=False):
        size = _offset(key, found)
        if math.isnan(size):
            continue
        newest.pop(key, None)
        if abs(size) > most:
            remarks.append(
                f"the check of {_words(key)} shows it too far off to be corrected; look at the "
                "probe and the line, then check it anew"
            )
        else:
            newest[key] = found
    return remarks


def _keys(name: str, pulp_probes: int) -> tuple[str, ...]:
    """Keys of temperature and humidity of the probe that a name means; empty if none."""
    words = " ".join(_FILLERS.sub(" ", name.lower().replace("_", " ")).split())
    if words in _AIR:
        return f"{_AIR[words]}_temp_c", f"{_AIR[words]}_rh"
    if words == "ceiling":
        return ("ceiling_temp_c",)
    place = words.removeprefix("pulp").strip()
    middle = (pulp_probes + 1) // 2 if pulp_probes % 2 else 0
    number = {"bottom": 1, "top": pulp_probes, "middle": middle}.get(place, 0)
    if place.isdecimal():
        number = int(place)
    elif words == "pulp" and pulp_probes == 1:
        number = 1
    return (f"pulp probe {number}",) if 0 < number <= pulp_probes else ()


def _offset(key: str, check: ProbeOffset) -> float:
    return check.humidity_offset if key.endswith("_rh") else check.temperature_difference


def _trust(
    newest: Mapping[str, ProbeOffset], probes: Sequence[str], time: float, fresh: float, walk: float
) -> float:
    """Standard uncertainty of the worst of some probes, by whole days since its check; [any]."""
    if any(key not in newest for key in probes):
        return math.inf
    oldest = max((time - newest[key].time) // DAY * DAY for key in probes)
    return math.sqrt(fresh * fresh + walk * walk * oldest / MONTH)


def _words(key: str) -> str:
    """A probe for people."""
    return (
        key.replace("pulp probe", "pulp")
        .replace("_temp_c", " temperature")
        .replace("_rh", " humidity")
    )
