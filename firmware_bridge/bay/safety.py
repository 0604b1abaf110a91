"""
The safety gate: a pure check of advice, independent of what made it.

It lets advice through or refuses it with a reason; it never trims, and any doubt is a refusal.
Its moist air is its own, so that one wrong formula cannot pass both adviser and gate.
"""

from __future__ import annotations

import math

from msgspec import Struct
from msgspec.structs import replace

from firmware_bridge.bay import moist_air
from firmware_bridge.codes import TARGETS
from firmware_bridge.config import Limits
from firmware_bridge.sensors.sample import Sample, mean_of, pulps_of

__all__ = [
    "RUNNING",
    "History",
    "Machine",
    "Refusal",
    "Targets",
    "check",
    "remember",
    "watch",
]

WETTING_TOLERANCE = 0.1
"""Two formulas of dew point may differ by as much. [K]"""
CHANGE = 0.05
"""A step of a position that counts as a change. [0-1]"""
RUNNING = 0.05
"""A machine that reports more than this runs. [0-1]"""
HOUR = 3600.0
FORGOTTEN = 600.0
"""After so long without advice nobody knows the positions: the controller ran itself. [s]"""


class Targets(Struct, frozen=True, kw_only=True):
    """Positions 0-1 as advised."""

    fan: float
    door: float
    water: float = 0.0
    cool: float = 0.0
    heat: float = 0.0
    air: float = math.nan
    """Supply air that the adviser expects. [°C]"""
    why: str = "rest"


class Machine(Struct, frozen=True, kw_only=True):
    """Whether a machine runs, and since when on the steady clock. [s]"""

    on: bool | None = None
    since: float = -math.inf
    measured: bool = False
    """Known from readings, and not only concluded from advice."""


class History(Struct, frozen=True, kw_only=True):
    """What went before, on the steady clock. [s]"""

    sent: Targets | None = None
    """Last advice that was sent, None after ``none``."""
    sent_at: float = -math.inf
    last: Targets | None = None
    """The same, but ``none`` does not end it."""
    fan: Machine = Machine()
    cool: Machine = Machine()
    changes: tuple[float, ...] = ()
    """When positions changed within the last hour. [s]"""


class Refusal(Struct, frozen=True, kw_only=True):
    """Why not."""

    code: str
    """One of ``codes.NONE_REASONS``."""
    text: str


def check(
    targets: Targets,
    sample: Sample,
    history: History,
    limits: Limits,
    now: float,
    people_inside: bool = False,
) -> Refusal | None:
    """Check advice against the envelope by what was measured; None lets it through."""
    refusal = _range(targets) or _combination(targets, limits)
    if refusal is not None:
        return refusal
    mixed = _mixed(targets, sample, limits) if targets.fan > 0.0 else None
    return (
        (_starts(targets, history) if people_inside else None)
        or _freezing(targets, sample, limits, mixed)
        or (None if people_inside else _wetting(targets, sample, limits, mixed))
        or _times(targets, history, limits, now)
        or _speed(targets, history, limits, now)
        or _changes(targets, history, limits, now)
    )


def _range(targets: Targets) -> Refusal | None:
    for name in TARGETS:
        value = getattr(targets, name)
        if not 0.0 <= value <= 1.0:
            return Refusal(code="range", text=f"{name} is {value:g}; it must lie in 0 to 1")
    return None


def _combination(targets: Targets, limits: Limits) -> Refusal | None:
    opens = targets.door > limits.door_shut
    if targets.fan == 0.0 and (opens or targets.water > 0.0 or targets.cool > 0.0):
        text = "door, humidifier or refrigeration without a fan"
    elif 0.0 < targets.fan < limits.fan_least:
        text = f"fan at {targets.fan:.0%}, below its lowest speed"
    elif targets.cool > 0.0 and targets.heat > 0.0:
        text = "refrigeration and heater at once"
    else:
        return None
    return Refusal(code="combination", text=text)


def _starts(targets: Targets, history: History) -> Refusal | None:
    """While people are inside only what is known to run may go on."""
    begins = targets.fan > 0.0 and history.fan.on is not True
    if not (begins or targets.water > 0.0 or targets.cool > 0.0 or targets.heat > 0.0):
        return None
    return Refusal(code="combination", text="people are inside; nothing may be started")


Mixed = tuple[float, float, float]
"""Supply air at its coldest [°C], its humidity ratio at its wettest, and the pressure [Pa]."""


def _mixed(targets: Targets, sample: Sample, limits: Limits) -> Mixed:
    pressure = mean_of(sample, "pressure")
    pressure = 101325.0 if math.isnan(pressure) else pressure
    warm = mean_of(sample, "return_temperature")
    humidity = mean_of(sample, "return_relative_humidity")
    ratio = moist_air.humidity_ratio(warm, humidity, pressure)
    share, outside = targets.door * limits.door_full, mean_of(sample, "outside_temperature")
    if share > 0.0 and not math.isnan(outside):
        humidity = mean_of(sample, "outside_relative_humidity")
        ratio += share * (moist_air.humidity_ratio(outside, humidity, pressure) - ratio)
        warm += share * (outside - warm)
    drop = targets.water * limits.humidifier_drop_k
    if drop > 0.0:
        drop = min(drop, max(warm - moist_air.wet_bulb(warm, ratio, pressure), 0.0))
    return warm - drop, ratio + drop * 1006.0 / 2.501e6, pressure


def _freezing(
    targets: Targets, sample: Sample, limits: Limits, mixed: Mixed | None
) -> Refusal | None:
    if mixed is None:
        return None
    opens = targets.door > limits.door_shut
    outside = (mean_of(sample, f"outside_{what}") for what in ("temperature", "relative_humidity"))
    if opens and any(map(math.isnan, outside)):
        return Refusal(code="missing", text="door open and outside air not known")
    chills = opens or targets.cool > 0.0 or targets.water > 0.0
    if not chills:
        return None
    floor, plenum = limits.plenum_floor_c, mean_of(sample, "plenum_temperature")
    coldest = mixed[0]
    expected = coldest if math.isnan(targets.air) else min(coldest, targets.air + 1e-6)
    if not expected >= floor:
        return Refusal(code="freeze", text=f"supply air at {expected:.1f} °C, below {floor:g} °C")
    if not plenum >= floor:
        return Refusal(code="freeze", text=f"plenum reads {plenum:.1f} °C, below {floor:g} °C")
    return None


def _wetting(
    targets: Targets, sample: Sample, limits: Limits, mixed: Mixed | None
) -> Refusal | None:
    if mixed is None:
        return None
    plenum = mean_of(sample, "plenum_temperature")
    if plenum < limits.plenum_floor_c and targets.door <= limits.door_shut:
        return None  # the pile's own warmth against frost: the greater harm goes first
    _, ratio, pressure = mixed
    dew = moist_air.dew_point(ratio, pressure)
    if targets.cool > 0.0 and targets.air < dew:
        dew = targets.air  # the coil has taken the rest
    coldest = min(pulps_of(sample), default=math.nan)
    if coldest - dew >= limits.wetting_margin_k - WETTING_TOLERANCE:
        return None
    return Refusal(
        code="wetting", text=f"dew point {dew:.1f} °C against tubers at {coldest:.1f} °C"
    )


def _times(targets: Targets, history: History, limits: Limits, now: float) -> Refusal | None:
    on, fan = targets.fan > 0.0, history.fan
    if fan.on is not None and on != fan.on:
        least = limits.minimum_on_s if fan.on else limits.minimum_off_s
        if now - fan.since < least:
            return _too_soon("fan", fan, least, now)
    # Refrigeration may stop at any time, but a compressor must rest before it starts again.
    cool, least = history.cool, limits.minimum_off_s
    if targets.cool > 0.0 and cool.on is False and now - cool.since < least:
        return _too_soon("refrigeration", cool, least, now)
    return None


def _too_soon(name: str, machine: Machine, least: float, now: float) -> Refusal:
    state, held = "running" if machine.on else "standing", now - machine.since
    return Refusal(
        code="min_time", text=f"{name} {state} for {held:.0f} s, shortest allowed {least:.0f} s"
    )


def _speed(targets: Targets, history: History, limits: Limits, now: float) -> Refusal | None:
    if history.sent is None or now - history.sent_at > FORGOTTEN:
        return None
    if targets.fan == 0.0 or history.sent.fan == 0.0:
        return None  # a start or a stop, for which there are shortest runs and rests
    seconds = now - history.sent_at
    step = targets.door - history.sent.door  # a door may close at any speed
    if step > limits.door_per_min * seconds / 60.0 + CHANGE:
        return Refusal(code="slew", text=f"the door would open by {step:.0%} in {seconds:.0f} s")
    step = abs(targets.fan - history.sent.fan)
    if step > limits.fan_per_min * seconds / 60.0 + CHANGE:
        return Refusal(code="slew", text=f"fan speed would change by {step:.0%} in {seconds:.0f} s")
    return None


def _changes(targets: Targets, history: History, limits: Limits, now: float) -> Refusal | None:
    recent = sum(now - time < HOUR for time in history.changes)
    differs = history.last is not None and _differs(targets, history.last)
    if not differs or recent < limits.changes_per_hour:
        return None
    return Refusal(code="changes", text=f"{recent} changes within the hour are enough")


def _differs(targets: Targets, other: Targets) -> bool:
    if targets == other:
        return False
    return any(abs(getattr(targets, name) - getattr(other, name)) > CHANGE for name in TARGETS)


def watch(history: History, fan: float, cool: float, now: float) -> History:
    """What the controller reports of fans and refrigeration replaces what was concluded."""
    return replace(history, fan=_seen(history.fan, fan, now), cool=_seen(history.cool, cool, now))


def _seen(machine: Machine, position: float, now: float) -> Machine:
    if math.isnan(position):
        return machine
    on = position > RUNNING
    if machine.on == on:
        return machine if machine.measured else replace(machine, measured=True)
    # The first sight of a machine says nothing of how long it has been so.
    return Machine(on=on, since=now if machine.on is not None else -math.inf, measured=True)


def remember(history: History, targets: Targets | None, now: float) -> History:
    """Take note of what was sent; None for ``none``."""
    if targets is None:
        return replace(history, sent=None)
    changes = tuple(time for time in history.changes if now - time < HOUR)
    if history.last is not None and _differs(targets, history.last):
        changes = (*changes, now)
    return replace(
        history,
        sent=targets,
        last=targets,
        sent_at=now,
        changes=changes,
        fan=_concluded(history.fan, targets.fan, now),
        cool=_concluded(history.cool, targets.cool, now),
    )


def _concluded(machine: Machine, position: float, now: float) -> Machine:
    """Without a report the machine is taken to follow."""
    on = position > 0.0
    if machine.measured or machine.on == on:
        return machine
    return replace(machine, on=on, since=now if machine.on is not None else -math.inf)
