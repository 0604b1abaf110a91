"""What the page says of one bay, as texts: the same for the first page and for the stream."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from firmware_bridge.bay import moist_air
from firmware_bridge.bay.decision import BayView
from firmware_bridge.bay.safety import Targets
from firmware_bridge.codes import TARGETS
from firmware_bridge.page.ahead import diagnosis_lines, outlook_lines, plan_lines
from firmware_bridge.page.first import (
    AlarmText,
    Figure,
    alarm_texts,
    doubted,
    figures,
    followed,
    season_words,
)
from firmware_bridge.page.pulp import PulpHours, Spark, spark
from firmware_bridge.page.words import (
    ACTION_TITLES,
    ANSWERS,
    FAULT_WORDS,
    KIND_NAMES,
    MODE_WORDS,
    NOTHING,
    TARGET_NAMES,
    Units,
    in_units,
    pile_names,
    quantity_of,
    reading_text,
)
from firmware_bridge.sensors.sample import POSITIONS, Sample, mean_of, pulp_keys, pulps_of

__all__ = ["CLOSE", "BayText", "Line", "bay_text", "dew_point_of", "margin_word", "sum_words"]

FEW = 6
"""So many bays are named in a line."""
CLOSE = 0.7
"""
Sensor error of a dew-point margin: 1 K of dew point is about 6.5 % of relative humidity near
saturation, and a humidity sensor errs by 3 to 5 %; common practice, no source. [K]
"""
_ANY_PRESSURE = 101325.0
"""A dew point from temperature and relative humidity does not depend on it. [Pa]"""


@dataclass(frozen=True, kw_only=True, slots=True)
class Line:
    """One row of a table."""

    key: str
    label: str
    value: str
    note: str = ""


@dataclass(frozen=True, kw_only=True, slots=True)
class BayText:
    """One bay in words."""

    name: str
    state: str
    """``advice``, ``watch`` (nothing is sent) or ``none``."""
    badge: str
    title: str
    short: str
    """The positions in one line."""
    mode: str
    answer: str
    """What the controller made of the advice."""
    words: tuple[str, ...]
    alarms: tuple[AlarmText, ...]
    positions: tuple[tuple[str, str, str, str, str], ...]
    """Target, its name, advised, accepted, actual."""
    pile: tuple[Line, ...]
    """From the top down."""
    heights: Mapping[str, float]
    """Of the pulp probes, by key, where known. [m]"""
    airs: tuple[Line, ...]
    margins: tuple[Line, ...]
    outlook: tuple[str, ...]
    """The days ahead in sentences; empty without a forecast."""
    plan: tuple[str, ...]
    """What the plan wants today and tomorrow, and whether advice follows it."""
    diagnosis: tuple[str, ...]
    """What the journal shows."""
    season: str
    """Stage and day."""
    followed: tuple[str, str]
    """``yes``, ``no``, empty or ``none``, and words."""
    figures: tuple[Figure, ...]
    """The few numbers that are looked at first."""
    doubted: str
    """Which readings, and why; empty for none."""
    spark: Spark | None
    since: float
    advised_age: float
    accepted_age: float
    reading_age: float

    def ages(self) -> dict[str, float]:
        """Ages by name. [s]"""
        return {
            "advised": self.advised_age,
            "accepted": self.accepted_age,
            "reading": self.reading_age,
            "since": self.since,
        }


def bay_text(
    view: BayView,
    late: float,
    units: Units,
    *,
    brief: bool = False,
    hours: PulpHours | None = None,
) -> BayText:
    """Put a bay into words; ``late`` is added to all ages [s], ``brief`` is for the overview."""
    advised = view.decision.targets
    state = "none" if advised is None else "watch" if view.mode == "observe" else "advice"
    badges = {"none": "No advice", "watch": "Only watched", "advice": "Advice"}
    if advised is None:
        title = f"No advice: {_reason(view, units)}"
        short = "The controller runs its own program."
        words: tuple[str, ...] = (f"{title}. {short}",)
    else:
        title = ACTION_TITLES.get(advised.why, advised.why)
        short = _short(advised)
        words = view.words(units)
    whole = None if brief else view.sample
    return BayText(
        name=view.name,
        state=state,
        badge=badges[state],
        title=title,
        short=short,
        mode=MODE_WORDS.get(view.mode, view.mode),
        answer=_answer(view),
        words=words,
        alarms=alarm_texts(view, units),
        positions=() if brief else _positions(view),
        pile=_pile(whole, units),
        heights={} if view.sample is None else view.sample.heights,
        airs=_airs(whole, units),
        margins=_margins(whole, units),
        outlook=() if brief else outlook_lines(view.week, units),
        plan=() if brief else plan_lines(view, units),
        diagnosis=() if brief else diagnosis_lines(view.diagnosis, units),
        season=season_words(view),
        followed=followed(view),
        figures=figures(view, hours, _outside_margin(view.sample, units), units),
        doubted=doubted(view.sample),
        spark=None if hours is None else spark(f"pile-{view.name}", hours, units),
        since=view.since + late,
        advised_age=view.advised_age + late,
        accepted_age=view.accepted_age + late,
        reading_age=view.reading_age + late,
    )


def sum_words(bays: Sequence[BayText]) -> str:
    """All bays in a line: where somebody must look."""
    names = [bay.name for bay in bays if any(not one.seen for one in bay.alarms)]
    silent = sum(bay.state == "none" for bay in bays)
    said = f"{len(bays)} bays" if len(bays) != 1 else "1 bay"
    if not names:
        said += ", no alarm"
    elif len(names) <= FEW:
        said += f"; look at {', '.join(names)}"
    else:
        said += f"; look at {', '.join(names[:FEW])} and {len(names) - FEW} more"
    return f"{said}; {silent} without advice." if silent else f"{said}."


def _reason(view: BayView, units: Units) -> str:
    return in_units(view.decision.text or view.decision.code, units)


def _short(advised: Targets) -> str:
    if advised.fan == 0.0:
        return "Fans off"
    parts = [
        f"{TARGET_NAMES[name]} {getattr(advised, name):.0%}"
        for name in TARGETS
        if name in ("fan", "door") or getattr(advised, name) > 0.0
    ]
    return ", ".join(parts)


def _answer(view: BayView) -> str:
    if view.mode == "observe":
        return "not asked: nothing is sent"
    if not view.answers:
        return "none, plain topics have no way for one"
    if view.accepted is None:
        return "no answer yet"
    code = str(view.accepted.code)
    return ANSWERS.get(code, code)


def _positions(view: BayView) -> tuple[tuple[str, str, str, str, str], ...]:
    rows = []
    for name in TARGETS:
        three = (
            getattr(view.decision.targets, name, math.nan),
            getattr(view.accepted, name, math.nan),
            getattr(view.actual, name),
        )
        said, taken, done = (
            reading_text(math.nan if value is None else value, "share", "metric") for value in three
        )
        rows.append((name, TARGET_NAMES[name], said, taken, done))
    return tuple(rows)


# --- readings --------------------------------------------------------------------------------


def _line(sample: Sample, key: str, label: str, units: Units) -> Line:
    fault = sample.faults.get(key, "")
    value = reading_text(sample.values[key], quantity_of(sample.kinds[key]), units)
    note = "not used" if key in sample.ignore else FAULT_WORDS.get(fault, fault)
    return Line(key=key, label=label, value=value, note=note)


def _keys(sample: Sample, kind: str) -> list[str]:
    return [key for key, one in sample.kinds.items() if one == kind]


def _pile(sample: Sample | None, units: Units) -> tuple[Line, ...]:
    if sample is None:
        return ()
    names = pile_names(pulp_keys(sample), sample.heights, units)
    return tuple(_line(sample, key, name, units) for key, name in reversed(names.items()))


def _airs(sample: Sample | None, units: Units) -> tuple[Line, ...]:
    if sample is None:
        return ()
    elsewhere = ("pulp_temperature", *POSITIONS.values())
    lines = []
    for kind, name in KIND_NAMES.items():
        keys = [] if kind in elsewhere else _keys(sample, kind)
        several = len(keys) > 1 or kind == "other"
        lines += [_line(sample, key, f"{name} ({key})" if several else name, units) for key in keys]
    return tuple(lines)


def dew_point_of(temperature: float, relative_humidity: float) -> float:
    """Dew point of air as it is measured. [°C]"""
    ratio = moist_air.humidity_ratio(temperature, relative_humidity, _ANY_PRESSURE)
    return moist_air.dew_point(ratio, _ANY_PRESSURE)


def margin_word(margin: float) -> str:
    """What a surface does in air with this dew-point margin, sensor error in mind. [K]"""
    if math.isnan(margin):
        return "not known"
    if margin > CLOSE:
        return "stays dry"
    return "would turn wet in it" if margin < -CLOSE else "too close to tell"


_AIRS = ("plenum", "return", "outside")


def _dew_point(sample: Sample, place: str) -> float:
    return dew_point_of(
        mean_of(sample, f"{place}_temperature"), mean_of(sample, f"{place}_relative_humidity")
    )


def _margins(sample: Sample | None, units: Units) -> tuple[Line, ...]:
    """Coldest pulp, and ceiling, above the dew points of the airs that may touch them."""
    if sample is None:
        return ()
    coldest = min(pulps_of(sample), default=math.nan)
    ceiling = mean_of(sample, "ceiling_temperature")
    pairs = [(f"{place}_pulp", coldest, "Coldest pulp", place) for place in _AIRS]
    if not math.isnan(ceiling):
        pairs.append(("return_ceiling", ceiling, "Ceiling", "return"))
    lines = []
    for key, surface, what, place in pairs:
        dew = _dew_point(sample, place)
        if math.isnan(dew) and place == "plenum":
            continue  # few plenums have a humidity sensor that lasts
        value = reading_text(surface - dew, "difference", units, sign=True)
        label = f"{what} above dew point of {place} air"
        note = margin_word(surface - dew)
        if value != NOTHING:
            note = f"{note}; dew point {reading_text(dew, 'temperature', units)}"
        lines.append(Line(key=key, label=label, value=value, note=note))
    return tuple(lines)


def _outside_margin(sample: Sample | None, units: Units) -> Figure | None:
    """The margin that decides most often."""
    if sample is None:
        return None
    margin = min(pulps_of(sample), default=math.nan) - _dew_point(sample, "outside")
    value = reading_text(margin, "difference", units, sign=True)
    label = "Dew-point margin"
    return Figure(
        key="margin", label=label, value=value, beside=f"outside air: {margin_word(margin)}"
    )
