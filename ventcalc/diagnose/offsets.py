"""
Offsets of the probes, learnt from ordinary operation: a Kalman filter over the hours of a log.

Only one combination of offsets matters for wetting, that of plenum dew point less pulp. It is an
alarm and a number to look at, calibrated on simulated seasons; it moves a margin only where a site
asks for it (`margin`).
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ventcalc.bay.calendar import calendar_at
from ventcalc.bay.description import Bay
from ventcalc.bay.hourly import hourly
from ventcalc.diagnose.findings import Finding, stamp
from ventcalc.diagnose.hours import HOUR, hours_of, since
from ventcalc.diagnose.log import Log
from ventcalc.diagnose.offset_rows import (
    EXIT,
    GRID,
    PRIOR,
    SATURATED,
    STATES,
    STATION,
    Row,
    rows_of,
)
from ventcalc.diagnose.scene import DAY, Scene, scene_of
from ventcalc.units import UnitSystem, show

__all__ = ["PROBE_WORDS", "WETTING", "SensorOffsets", "offset_findings", "offsets_of",
           "sensor_offsets"]  # fmt: skip

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

WETTING = {"pulp": -1.0, "plenum": 0.97, "plenum_humidity": 0.158}
"""Of each offset in that of plenum dew point less pulp, near 4 °C and 95 %. [1, 1, K/%]"""
LONGEST = 300 * DAY
"""Of a longer log the end is taken. [s]"""
MONTH = 30.4375 * DAY
WALK = {**dict.fromkeys(STATES[:5], 0.05), **dict.fromkeys(STATES[5:8], 0.5)}
"""Random walk of the probes in a month; an assumption, no source. [K, % RH]"""
LASTS = {"duct": 10 * DAY, "bottom": 5 * DAY, "above": 3 * DAY, "exit": 5 * DAY}
"""How long an error of a balance lasts, to 1/e. [s]"""
FARTHEST = 25.0
"""Innovation squared over its variance, beyond which a row is left out. [1]"""
LATEST, UNLIKELY, MOST_LEFT_OUT = 24, 0.55, 0.25
"""So many rows whose mean innovation squared over its variance, or part left out, is above these
say that the balances do not hold; 0.35 is usual, since a row's own error is counted six times."""
SILENT = 7 * DAY
"""For so long after that nothing is told. [s]"""
FIRST_DAY = 25 * DAY
"""Since the first load, before which nothing is told. [s]"""
LEARNT = 0.48
"""Standard uncertainty of the combination from which on it is told; unlearnt it is 0.64. [K]"""
ALWAYS = {"wetting": 0.22, "temperature": 0.2, "humidity": 1.4}
"""What the balances get wrong all season long, beside what the filter knows of; found on 144
simulated seasons in six climates (``tests/benchmarks/offsets.py``). [K, K, % RH]"""
FEWEST = 100
"""Hours in which air left a healed pile under steady fans, before anything is told. [h]"""
FEWEST_BY_NIGHT = 20
"""Dark hours beside a forecast, a week of them, before the outside probe is told. [h]"""
DAMPEST = 0.5
"""Part of a week's hours with a plenum above 99.5 % from which on nothing is told. [1]"""
HIGHEST = 0.5
"""Of the lowest pulp probe over the floor; higher, it does not follow the supply. [m]"""
PROBE_WORDS = {"plenum_humidity": "Plenum humidity", "return_humidity": "Return humidity"}
"""Of what is told alone, for people; thermometers are known to each other only."""
SALT_FIRST = (
    "Check plenum and return humidity over wet salt, and write it down with `ventcalc log`."
)
BOTH_FIRST = (
    "Check humidity probes over wet salt, pulp and plenum probe in ice water; `ventcalc log` keeps "
    "what comes out."
)
SHADE_FIRST = "Check it in ice water; hang it in the shade, away from walls and exhaust."
_NEEDED = ("plenum_relative_humidity", "return_relative_humidity", "outside_temperature",
           "outside_relative_humidity", "door_opening")  # fmt: skip


@dataclass(frozen=True, kw_only=True, eq=False)
class SensorOffsets:
    """Reading less truth of the probes of a bay, hour by hour, as far as a log shows it."""

    time: Array
    """Start of each hour, UTC since 1970-01-01. [s]"""
    offsets: dict[str, Array]
    """Temperatures in K, humidities in % RH by their names."""
    uncertainties: dict[str, Array]
    """Standard uncertainty of each."""
    wetting_difference: Array
    """Of plenum dew point less pulp: where it is below nothing, the crop is nearer to sweating than
    the probes say. [K]"""
    wetting_uncertainty: Array
    """[K]"""
    tells: Flags
    """Whether it can be told in each hour."""
    why_not: str
    """Why it cannot be told at the end of the log; empty where it can."""
    tells_outside: Flags
    """Whether the outside probe can be told, against a forecast or a station."""
    why_not_outside: str
    """Why it cannot be told at the end of the log; empty where it can."""


def sensor_offsets(bay: Bay, log: Log) -> SensorOffsets:
    """
    Learn the offsets of a bay's probes from its log.

    Parameters
    ----------
    bay : Bay
        As installed: with its fans at their operating point.
    log : Log
        Readings and positions of the season so far.

    Returns
    -------
    SensorOffsets
        Empty, with the reason, where the log lacks what is needed.

    Raises
    ------
    BadInput
        If the rows of the log are too far apart.

    Notes
    -----
    On simulated seasons with wrong respiration, transpiration and airflow no more than 17 % of
    cases lay beyond twice the uncertainty (``tests/benchmarks/offsets.py``).
    """
    return offsets_of(scene_of(bay, hours_of(log)), bay, log)


def offsets_of(scene: Scene, bay: Bay, log: Log) -> SensorOffsets:
    """The same from the hours of the log, of more than a season the last."""
    if log.time[-1] - log.time[0] > LONGEST:
        log = since(log, log.time[-1] - LONGEST)
        scene = scene_of(bay, hours_of(log))
    time = scene.hours.time
    lacks = _lacks(bay, log)
    if lacks:
        return _nothing(time, lacks)
    age = _ages(bay, time)
    with np.errstate(invalid="ignore", divide="ignore"):
        rows = rows_of(scene, age)
    c = np.array([WETTING.get(name, 0.0) for name in STATES])
    means, sigma, doubt, sound = _filter(time, rows, c)
    steady = np.cumsum(rows[EXIT].place >= 0)
    doubt = np.hypot(doubt, ALWAYS["wetting"])
    damp = _damp(scene)
    learnt = (doubt < LEARNT) & (steady >= FEWEST)
    tells = (age >= FIRST_DAY) & learnt & sound & (damp < DAMPEST)
    nights = np.cumsum(rows[STATION].place >= 0)
    return SensorOffsets(
        time=time,
        offsets={name: means[:, j] for j, name in enumerate(STATES[:8])},
        uncertainties={
            name: np.hypot(sigma[:, j], ALWAYS["humidity" if "humid" in name else "temperature"])
            for j, name in enumerate(STATES[:8])
        },
        wetting_difference=means @ c,
        wetting_uncertainty=doubt,
        tells=tells,
        why_not="" if tells[-1] else _why_not(age[-1], damp[-1], bool(sound[-1]), int(steady[-1])),
        tells_outside=nights >= FEWEST_BY_NIGHT,
        why_not_outside=_why_not_outside(log, int(nights[-1])),
    )


def _lacks(bay: Bay, log: Log) -> str:
    """What the log would have to hold; empty where it holds all."""
    lacks = [name.replace("_", " ") for name in _NEEDED if name not in log.values]
    if log.pulp.shape[1] < 2:
        lacks.append("pulp at the bottom and at the top")
    if lacks:
        return f"the log lacks {', '.join(lacks)}"
    if bay.humidifier is not None and "humidifier" not in log.values:
        return "the log does not say when the humidifier sprays"
    if log.heights is not None and log.heights[0] > HIGHEST:
        return f"the lowest pulp probe lies {log.heights[0]:.1f} m up, more than {HIGHEST} m"
    return ""


def _why_not(age: float, damp: float, sound: bool, steady: int) -> str:
    if age < FIRST_DAY:
        return f"before day {FIRST_DAY / DAY:.0f} after the first load the skin is not healed"
    if damp >= DAMPEST:
        return f"the plenum reads above {SATURATED:.1%} in most hours"
    if not sound:
        return "the balances of heat and water do not close; a door, a probe or the airflow is off"
    return (
        f"{steady} h so far with steady fans, without coil, heater or fog, are too few; "
        f"{FEWEST} and more are needed"
    )


def _why_not_outside(log: Log, nights: int) -> str:
    if nights >= FEWEST_BY_NIGHT:
        return ""
    if "forecast_temperature" not in log.values:
        return "no forecast and no station stands beside it, the log has no column forecast_temp_c"
    return f"{nights} dark hours beside a forecast are too few; {FEWEST_BY_NIGHT} are needed"


def _nothing(time: Array, why: str) -> SensorOffsets:
    none, empty = np.full(len(time), np.nan), dict[str, Array]()
    never = np.zeros(len(time), dtype=bool)
    return SensorOffsets(
        time=time, offsets=empty, uncertainties=empty, wetting_difference=none,
        wetting_uncertainty=none, tells=never, why_not=why,
        tells_outside=never, why_not_outside=why,
    )  # fmt: skip


def _ages(bay: Bay, time: Array) -> Array:
    """Of the crop in each hour, by whole days. [s]"""
    days, which = np.unique(time // DAY, return_inverse=True)
    noons = [(day + 0.5) * DAY for day in days.tolist()]
    ages = np.array([calendar_at(hourly(bay, noon), noon).now for noon in noons])
    found: Array = ages[which]
    return found


def _damp(scene: Scene) -> Array:
    """Part of the last week's running hours in which the plenum read as good as saturated. [1]"""
    relative = scene.hours.get("plenum_relative_humidity")
    counts = [np.cumsum(np.nan_to_num(x)) for x in (relative >= SATURATED, np.isfinite(relative))]
    back = np.searchsorted(scene.hours.time, scene.hours.time - 7 * DAY)
    wet, heard = (x - x[back] for x in counts)
    found: Array = wet / np.maximum(heard, 1.0)
    return found


def _filter(time: Array, rows: list[Row], c: Array) -> tuple[Array, Array, Array, Flags]:
    """State, its uncertainty and that of ``c`` · state after each hour; whether balances hold."""
    x, p = np.zeros(len(STATES)), np.diag([sd * sd for sd in PRIOR.values()])
    variances = [row.variance() for row in rows]
    means, sigma = np.empty((2, len(time), len(x)))
    doubt = np.empty(len(time))
    sound, silent_until = np.zeros(len(time), dtype=bool), -np.inf
    latest: deque[float] = deque(maxlen=LATEST)
    left_out: deque[bool] = deque(maxlen=LATEST)
    skin = STATES.index("skin")
    gaps = np.diff(time, prepend=time[0])
    ahead = {gap: _ahead(gap) for gap in np.unique(gaps).tolist()}
    for k in range(len(time)):
        keep, both, new = ahead[float(gaps[k])]
        x, p = keep * x, p * both + new
        for row, variance in zip(rows, variances, strict=True):
            j = row.place[k]
            if j < 0:
                continue
            g = int(np.argmin(np.abs(GRID - x[skin]))) if len(row.rest) > 1 else 0
            h = row.slopes[g, j]
            carried = p @ h
            total = float(h @ carried + variance[g, j])
            innovation = -float(row.rest[g, j] + h @ x)
            far = innovation * innovation > FARTHEST * total
            if row.judged:
                left_out.append(far)
            if far:
                continue
            if row.judged:
                latest.append(innovation * innovation / total)
            x = x + carried * (innovation / total)
            p = p - np.outer(carried, carried) / total
        if len(left_out) == LATEST and (
            sum(latest) > UNLIKELY * LATEST or sum(left_out) > MOST_LEFT_OUT * LATEST
        ):
            silent_until = time[k] + SILENT
        means[k], sigma[k], sound[k] = x, np.sqrt(np.diag(p)), time[k] >= silent_until
        doubt[k] = np.sqrt(c @ p @ c)
    return means, sigma, doubt, sound


def _ahead(gap: float) -> tuple[Array, Array, Array]:
    """Over a time [s]: probes walk, errors of the balances fade and come anew."""
    keep, new = np.ones(len(STATES)), np.zeros(len(STATES))
    for j, name in enumerate(STATES):
        if name in WALK:
            new[j] = WALK[name] ** 2 * gap / MONTH
        elif name in LASTS:
            keep[j] = np.exp(-gap / LASTS[name])
            new[j] = PRIOR[name] ** 2 * (1.0 - keep[j] ** 2)
    return keep, np.outer(keep, keep), np.diag(new)


def offset_findings(found: SensorOffsets, units: UnitSystem) -> list[Finding]:
    """
    What the end of a log shows of its probes, more than twice its uncertainty and worth a check.
    """
    findings = []
    for name in PROBE_WORDS:
        if name in found.offsets:
            size, doubt = found.offsets[name], found.uncertainties[name]
            words = PROBE_WORDS[name] + " probably reads {size} {way} (± {doubt})."
            findings += _told(found, found.tells, size, doubt, 2.0, words, SALT_FIRST, units, True)
    unsafe = np.minimum(found.wetting_difference, 0.0)
    words = (
        "The plenum's dew point is likely {size} nearer to the pulp than the probes say "
        "(± {doubt})."
    )
    findings += _told(
        found, found.tells, unsafe, found.wetting_uncertainty, 0.3, words, BOTH_FIRST, units, False,
    )  # fmt: skip
    if "outside" in found.offsets:
        words = "The outside probe probably reads {size} {way} (± {doubt}), against the forecast."
        findings += _told(
            found, found.tells_outside, found.offsets["outside"], found.uncertainties["outside"],
            1.0, words, SHADE_FIRST, units, False,
        )  # fmt: skip
    return findings


def _told(
    found: SensorOffsets,
    tells: Flags,
    size: Array,
    doubt: Array,
    least: float,
    words: str,
    first: str,
    units: UnitSystem,
    humid: bool,
) -> list[Finding]:
    """A finding where an offset has stood out up to the end of the log."""
    shows = tells & (np.abs(size) > 2.0 * doubt) & (np.abs(size) > least)
    if not shows[-1]:
        return []
    quiet = np.flatnonzero(tells & ~shows)
    start = int(quiet[-1]) + 1 if len(quiet) else 0
    start += int(np.argmax(shows[start:]))
    unit, scale = ("1 percent", 0.01) if humid else ("delta_degC", 1.0)
    told = {
        "size": show(scale * abs(float(size[-1])), unit, units, 1),
        "doubt": show(scale * float(doubt[-1]), unit, units, 1),
        "way": "high" if size[-1] > 0.0 else "low",
    }
    stamps = [stamp(float(found.time[k]) + (0.0 if k == start else HOUR)) for k in (start, -1)]
    hours = float(np.count_nonzero(shows[start:]))
    return [
        Finding(
            id="sensor_offset",
            rule="offset",
            level=3,
            place="",
            since=stamps[0],
            found=stamps[0],
            until=stamps[1],
            stands=True,
            sure="likely" if abs(size[-1]) > 3.0 * doubt[-1] else "possible",
            shown_hours=hours,
            able_hours=float(np.count_nonzero(tells[start:])),
            text=words.format(**told),
            first=first,
        )
    ]
