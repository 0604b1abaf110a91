"""
Whether what the adviser said last still stands, so that it need not be asked anew.

The pile changes by tenths of a kelvin in an hour, and the adviser is asked by a bay's newest
reading. Of a controller that sends one each second it is asked again where something has changed
by more than a probe tells for sure, and every few seconds in any case. The safety gate and the
rules for probes look at every reading.
"""

from __future__ import annotations

import math

from msgspec import Struct

from firmware_bridge.bay.memory import AdvisorMemory
from firmware_bridge.bay.safety import Targets
from firmware_bridge.bay.told import Told
from firmware_bridge.bay.week import Hour
from firmware_bridge.quantities import KINDS
from firmware_bridge.sensors.sample import POSITIONS, Sample

__all__ = ["ASK_EVERY", "Answer"]

ASK_EVERY = 10.0
"""So long an answer stands at most. [s]"""
_TELLS = {
    kind: step
    for end, step in {
        "_temperature": 0.2,
        "_humidity": 0.02,
        "co2": 50e-6,
        "pressure": 100.0,
        "electric_power": math.inf,
        "other": math.inf,
    }.items()
    for kind in KINDS
    if kind.endswith(end)
} | dict.fromkeys(POSITIONS.values(), 0.02)
"""
What a channel must change by at least, by kind [K, 1, Pa]; any change of another kind counts.

What good probes differ by from one second to the next, or are off by; common practice, no source.
"""


class Answer(Struct, frozen=True, kw_only=True):
    """What the adviser said, and everything that it was asked by."""

    at: float
    """Steady clock. [s]"""
    sample: Sample
    told: Told
    hour: Hour | None
    memory: AdvisorMemory
    """As the answer left it."""
    targets: Targets
    people_inside: bool

    def stands(
        self,
        sample: Sample,
        told: Told,
        hour: Hour | None,
        memory: AdvisorMemory | None,
        now: float,
    ) -> bool:
        """Whether it would be the same question."""
        return (
            now - self.at < ASK_EVERY
            and memory is self.memory
            and told == self.told
            and hour == self.hour
            and _alike(sample, self.sample)
        )


def _alike(sample: Sample, before: Sample) -> bool:
    if (sample.kinds, sample.faults, sample.ignore) != (before.kinds, before.faults, before.ignore):
        return False
    for key, kind in sample.kinds.items():
        value, old = sample.values[key], before.values[key]
        same = value == old or (math.isnan(value) and math.isnan(old))
        if not same and not abs(value - old) <= _TELLS.get(kind, 0.0):
            return False
    return True
