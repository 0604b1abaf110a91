"""The adviser behind the bridge; with ``memory`` its only door to ``ventcalc``."""

from __future__ import annotations

import functools
import math
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from msgspec import Struct
from msgspec.structs import replace

from firmware_bridge.bay.memory import (
    SOURCES,
    AdvisorMemory,
    as_done,
    as_seen,
    elapsed,
    held,
    remembered,
    without,
    without_noise,
)
from firmware_bridge.bay.safety import RUNNING, Targets
from firmware_bridge.codes import ACTIONS, TARGETS
from firmware_bridge.errors import BadConfig, BridgeError
from firmware_bridge.sensors.sample import ActualPositions, Sample, mean_of, pulp_keys
from firmware_bridge.wire.messages import Alarm
from ventcalc.advice.advise import Action, Advice, Memory, advise
from ventcalc.advice.alarms import alarms
from ventcalc.advice.fresh_air import PEOPLE_CO2
from ventcalc.advice.probes import believed, pulp_of
from ventcalc.advice.readings import Readings
from ventcalc.advice.reasons import reasons
from ventcalc.bay.calendar import STAGES, calendar_at
from ventcalc.bay.description import Bay
from ventcalc.bay.file import read_bay, starter_file
from ventcalc.bay.hourly import HourlyBay, hourly
from ventcalc.errors import VentcalcError
from ventcalc.season.installed import as_installed
from ventcalc.units import UnitSystem

__all__ = [
    "AdvisorResult",
    "Bay",
    "Season",
    "Words",
    "load_bay",
    "named",
    "readings_of",
    "request",
    "starter_bay",
    "trouble_of",
]

Words = Callable[[UnitSystem], tuple[str, ...]]
"""Reasons for people, the most important first, in the units asked for."""


LONGEST = 90
"""Letters of an alarm's text, with room for the bay's name."""
FIRST = 120
"""Letters of what to do first."""


class Season(Struct, frozen=True, kw_only=True):
    """Where a bay stands in its season, as the adviser takes it."""

    stage: str = ""
    """One of the library's ``STAGES``; empty before anything was advised."""
    day: int = 0
    """Of the season, 1 on the day of the first load; 0 where that is not known."""
    target: float = math.nan
    """Pulp temperature wanted. [°C]"""
    crop_co2: float = math.nan
    """Limit of the crop. [1]"""
    people_co2: float = math.nan
    """Limit of a working day for people. [1]"""


class AdvisorResult(Struct, frozen=True, kw_only=True):
    """What the adviser says; ``targets`` is None where it leaves it to the controller."""

    targets: Targets | None
    words: Words
    alarms: Callable[[], tuple[Alarm, ...]]
    """Put into words when somebody asks, like the reasons."""
    memory: AdvisorMemory
    season: Season


def load_bay(path: Path) -> Bay:
    """Read a bay, as installed; ``BadConfig`` with every problem, a line each."""
    try:
        return as_installed(read_bay(path))
    except VentcalcError as error:
        raise BadConfig(str(error).splitlines()) from None


def starter_bay() -> str:
    """A commented bay file with invented numbers, to begin with."""
    return starter_file("seed", "us")


def readings_of(
    sample: Sample,
    wall: float,
    told: Mapping[str, Any] | None = None,
    co2_top: float = math.inf,
) -> Readings:
    """A sample as the adviser wants it; NaN where there is no sound channel."""
    gases = [value for _, value in sample.sound.get("co2", ())]
    keys = [key for key in pulp_keys(sample) if key not in sample.ignore]
    bad = [key for key in keys if sample.faults.get(key, "odd") != "odd"]
    pulp = pulp_of([math.nan if key in bad else sample.values[key] for key in keys])
    heard = Readings(
        time=wall,
        outside_temperature=mean_of(sample, "outside_temperature"),
        outside_relative_humidity=mean_of(sample, "outside_relative_humidity"),
        return_temperature=mean_of(sample, "return_temperature"),
        return_relative_humidity=mean_of(sample, "return_relative_humidity"),
        plenum_temperature=mean_of(sample, "plenum_temperature"),
        ceiling_temperature=mean_of(sample, "ceiling_temperature"),
        co2=max(gases, default=math.nan),
        co2_at_least=max(gases, default=0.0) >= co2_top - 1e-9,
        pressure=mean_of(sample, "pressure"),
        pulp_bottom=pulp.pulp_bottom,
        pulp_top=pulp.pulp_top,
        pulp_mean=pulp.pulp_mean,
        pulp_coldest=pulp.pulp_coldest,
        pulp_odd=pulp.pulp_odd,
        pulp_odd_place=pulp.pulp_odd_place,
        pulp_probes=pulp.pulp_probes,
        **(told or {}),
    )
    found = believed(heard, mean_of(sample, "fan_speed") > RUNNING)[0]
    # Probes that are not believed are told by the bridge itself, by their keys.
    return found._replace(doubted=0) if found.doubted else found


def request(
    bay: Bay,
    readings: Readings,
    memory: AdvisorMemory | None,
    actual: ActualPositions | None = None,
    fan_for: float = math.inf,
    steered: Bay | None = None,
    word: str = "",
) -> AdvisorResult:
    """
    Ask the adviser; without ``actual`` its advice is taken to be carried out.

    ``fan_for``: how long the fans run or stand [s]; ``steered``: the bay as a plan wants it taken
    in this hour, every rule stays; ``word``: what the plan wants and why.
    """
    actual = actual or ActualPositions()
    memory = as_seen(memory or AdvisorMemory(), actual, fan_for)
    readings, pulps = without_noise(memory, readings)
    asked = bay if steered is None else steered
    whole = hourly(asked, readings.time)
    advice, after = advise(whole, readings, memory.hourly)
    wanted = SOURCES.get(int(advice.action), "")
    step = elapsed(memory.hourly, after)
    line = held(bay, memory, wanted, step, actual)
    if line:
        kept = without(asked, readings, wanted)
        advice, after = advise(*kept, memory.hourly)
    after = as_done(bay, memory.hourly, after, actual)
    source = SOURCES.get(int(advice.action), "")
    targets = _targets(advice)
    advised = () if targets is None else tuple(getattr(targets, name) for name in TARGETS)
    return AdvisorResult(
        targets=targets,
        words=_words(asked, advice, line, word),
        alarms=functools.partial(_alarms, bay, advice, after),
        memory=replace(
            remembered(memory, after, source, step, actual), pulps=pulps, advised=advised
        ),
        season=_season(whole, advice),
    )


def _season(bay: HourlyBay, advice: Advice) -> Season:
    now = advice.situation
    stage = STAGES[now.stage]
    passed = calendar_at(bay, now.readings.time).now
    day = int(passed // 86400.0) + 1 if passed >= 0.0 and stage != "empty" else 0
    return Season(
        stage=stage,
        day=day,
        target=now.target,
        crop_co2=bay.limits.co2,
        people_co2=PEOPLE_CO2,
    )


def _targets(advice: Advice) -> Targets | None:
    if advice.action == Action.HANDS_OFF:
        return None
    air = float(advice.plenum_temperature)
    return Targets(
        fan=_thousandths(advice.fan_speed),
        door=_thousandths(advice.door_opening),
        water=_thousandths(advice.humidifier),
        cool=_thousandths(advice.refrigeration),
        heat=_thousandths(advice.heater),
        air=round(air, 2) if -5.0 <= air <= 30.0 else math.nan,
        why=ACTIONS[int(advice.action)],
    )


def _alarms(bay: Bay, advice: Advice, memory: Memory) -> tuple[Alarm, ...]:
    """Those of the library, as they travel: in metric units."""
    return tuple(
        Alarm(
            id=one.id,
            level=one.level,
            text=one.text[:LONGEST],
            since=one.since,
            first=one.first[:FIRST],
        )
        for one in alarms(advice, bay, memory)
    )


def named(found: Callable[[], tuple[Alarm, ...]], sample: Sample) -> tuple[Alarm, ...]:
    """The alarm of a pulp probe far from the others with its key: people look for its cable."""
    keys = ", ".join(key for key, fault in sample.faults.items() if fault == "odd")
    return tuple(
        replace(one, text=f"{keys}: {one.text}"[:LONGEST])
        if one.id == "probe_or_spot" and keys
        else one
        for one in found()
    )


_OUTSIDE_WORDS = "Outside air does not cool the pile now"


def _words(bay: Bay, advice: Advice, line: str, word: str) -> Words:
    """Found once, when somebody asks; the words of plan and of a source that waits come second."""

    @functools.cache
    def words(units: UnitSystem) -> tuple[str, ...]:
        first, *rest = reasons(advice, bay, units)
        if line:
            rest = [line, *(one for one in rest if not one.startswith(_OUTSIDE_WORDS))]
        return (first, *((word,) if word else ()), *rest)

    return words


def _thousandths(position: float) -> float:
    return round(float(position), 3)


def trouble_of(error: Exception) -> str:
    """Why something could not be worked out: a refusal's own words, or what broke."""
    if isinstance(error, VentcalcError | BridgeError):
        return "; ".join(str(error).splitlines())
    return f"{type(error).__name__}: {' '.join(f'{error}'.split())}"
