"""
Whether advice is answered and carried out, and what people are told when it is not.

A complaint comes only after something has been wrong for a while, goes by itself once it has been
right for a while, and has no changing numbers in it, so that it is told once.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

from firmware_bridge.bay.safety import RUNNING, Targets
from firmware_bridge.codes import TARGETS
from firmware_bridge.sensors.sample import ActualPositions, Sample, actual_positions, mean_of
from firmware_bridge.wire.messages import Alarm

__all__ = ["Following", "plenum_off", "power_off"]

PATIENCE = 600.0
"""So long something is wrong before it is told. [s]"""
EASE = 180.0
"""So long it is right before the complaint goes. [s]"""
APART = 0.15
"""Mean difference of positions that is too much; common practice, no source. [0-1]"""
MEAN_OVER = 900.0
"""Time constant of that mean: machines that switch on and off work by their mean. [s]"""
OFF = 2.0
"""Mean of measured less expected plenum that is too much; common practice, no source. [K]"""

_NAMES = {
    "fan": "fans",
    "door": "fresh-air door",
    "water": "humidifier",
    "cool": "refrigeration",
    "heat": "heater",
}
_REFUSED = {
    "schema": "the controller does not understand the advice; its version may not fit",
    "retained": "the controller gets advice only as the broker kept it; look at the broker",
    "boot": "the controller refuses advice as meant for an earlier start of it",
    "replay": "the controller refuses advice as seen before; a second bridge may be about",
    "stale": "advice reaches the controller too late, or its clock runs fast",
    "beat": "the controller does not hear the bridge's beat; look at its subscriptions",
}
"""Answers that say that something is wrong; the others are a person's or the controller's will."""

_FAULTS = {
    "implausible": "jumps",
    "stuck": "does not move",
    "units": "°C and °F mixed up?",
    "contradictory": "contradicts the other probes",
}


def plenum_off(sample: Sample | None, targets: Targets | None) -> float:
    """Measured less expected plenum; NaN unless the fans run and all is as advised. [K]"""
    if sample is None or targets is None:
        return math.nan
    actual = actual_positions(sample)
    pairs = [(getattr(actual, name), getattr(targets, name)) for name in ("fan", "door")]
    if not math.isnan(actual.cool):
        pairs.append((actual.cool, targets.cool))
    if not actual.fan > RUNNING or not all(abs(a - b) <= APART for a, b in pairs):
        return math.nan
    return mean_of(sample, "plenum_temperature") - targets.air


def power_off(sample: Sample | None) -> tuple[Alarm, ...]:
    """Whether a controller that lives without the mains tells that they are gone."""
    if sample is None or not mean_of(sample, "power") < 0.5:
        return ()
    text = "the power is off: fans, refrigeration and heater stand"
    first = (
        "Close the door by hand if it freezes outside; `ventcalc outage` says how long there is."
    )
    return (Alarm(id="power", level=1, text=text, first=first),)


@dataclass(slots=True)
class Following:
    """What became of advice to one bay; all times by the steady clock. [s]"""

    complaints: tuple[Alarm, ...] = ()
    """Those that stand."""
    _unanswered: bool = False
    _refused: str = ""
    _apart: dict[str, float] = field(default_factory=dict)
    """Mean of actual less agreed, by target."""
    _off: float = math.nan
    """Mean of measured less expected plenum; NaN while nothing can be told. [K]"""
    _assessed_at: float = -math.inf
    _since: dict[str, float] = field(default_factory=dict)
    _wrong_at: dict[str, float] = field(default_factory=dict)
    _texts: dict[str, str] = field(default_factory=dict)

    def sent(self) -> None:
        """Advice, or ``none``, was sent and asks for an answer."""
        self._unanswered = True

    def answered(self, code: str) -> None:
        """The controller has answered."""
        self._unanswered = False
        self._refused = code if code in _REFUSED else ""

    def forget(self) -> None:
        """Nothing can be told now: the controller is gone, or nothing is said to it."""
        self._unanswered, self._refused = False, ""
        self._apart.clear()
        self._off = math.nan

    def assess(
        self,
        wanted: Mapping[str, float | None],
        actual: ActualPositions,
        faults: Mapping[str, str],
        off: float,
        now: float,
    ) -> list[tuple[str, str]]:
        """
        What is new: code and text of complaints that came, and of those that went.

        ``agreed``: positions that the controller agreed to, by target; ``off``: measured less
        expected plenum, NaN where the machines do not do what the supply was expected of. [K]
        """
        step = 0.0 if math.isinf(self._assessed_at) else now - self._assessed_at
        self._assessed_at = now
        weight = -math.expm1(-step / MEAN_OVER)
        self._compare(wanted, actual, weight)
        before_off = 0.0 if math.isnan(self._off) else self._off
        self._off = before_off + weight * (off - before_off)
        wrong = self._wrong(faults)
        before = {one.id for one in self.complaints}
        for name in tuple(self._since):
            eased = name not in before or now - self._wrong_at[name] >= EASE
            if name not in wrong and eased:
                del self._since[name]
        for name in wrong:
            self._since.setdefault(name, now)
            self._wrong_at[name] = now
        self._texts |= wrong
        gone = [
            (one.id, f"over: {one.text}") for one in self.complaints if one.id not in self._since
        ]
        self.complaints = tuple(
            Alarm(id=name, level=3 if name == "sensor" else 2, text=self._texts[name][:90])
            for name, since in self._since.items()
            if now - since >= PATIENCE
        )
        return gone + [(one.id, one.text) for one in self.complaints if one.id not in before]

    def _wrong(self, faults: Mapping[str, str]) -> dict[str, str]:
        """What is wrong now, in words."""
        found = {}
        if self._unanswered:
            found["unanswered"] = "the controller does not answer advice; it runs its own program"
        if self._refused:
            found["refused"] = _REFUSED[self._refused]
        apart = [_NAMES[name] for name, mean in self._apart.items() if abs(mean) > APART]
        if apart:
            found["not_done"] = f"agreed, but not done by the controller: {', '.join(apart)}"
        if abs(self._off) > OFF:
            side = "warmer" if self._off > 0.0 else "colder"
            found["plenum_off"] = f"the plenum is {side} than fans, door and refrigeration make it"
        if faults:
            keys = (f"{key} ({_FAULTS.get(fault, fault)})" for key, fault in faults.items())
            found["sensor"] = f"sensors not believed: {', '.join(keys)}"
        return found

    def _compare(
        self, wanted: Mapping[str, float | None], actual: ActualPositions, weight: float
    ) -> None:
        for name in TARGETS:
            agreed, found = wanted.get(name), getattr(actual, name)
            if agreed is None or math.isnan(found):
                self._apart.pop(name, None)
                continue
            before = self._apart.get(name, 0.0)
            self._apart[name] = before + (found - agreed - before) * weight
