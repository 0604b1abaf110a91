"""
What must outlive the process besides memory and words: doubts about sensors, running times.

Kept as ages, since a steady clock means nothing to another run of the machine.
"""

from __future__ import annotations

import json
import math
from typing import Any

from msgspec.structs import replace

from firmware_bridge.bay.safety import Machine
from firmware_bridge.bay.state import BayState

__all__ = ["kept_text", "recall"]

LONGEST = 7 * 86400.0
"""Of a bridge that was away for longer nothing is taken up: probes were mended meanwhile. [s]"""


def kept_text(bay: BayState, now: float, day: float) -> str | None:
    """What is to be kept of a bay; None before the controller has said what it measures."""
    source = bay.source.kept(now)
    if source is None:
        return None
    machines = {"fan": bay.history.fan, "cool": bay.history.cool}
    seen = {key: [one.on, now - one.since] for key, one in machines.items() if one.measured}
    changes = [now - time for time in bay.history.changes]
    kept = {"day": day, "source": source, "machines": seen, "changes": changes}
    return json.dumps({**kept, "foreign": max(bay.foreign_until - now, 0.0)})


def recall(bay: BayState, text: str | None, now: float, day: float) -> bool:
    """Take up what was kept; False where there was nothing that can be used."""
    try:
        given = json.loads(text or "")
        gap = day - float(given["day"])
        if not 0.0 <= gap <= LONGEST:
            return False
        machines = {key: _machine(one, now - gap) for key, one in given["machines"].items()}
        history = replace(
            bay.history,
            fan=machines.get("fan", bay.history.fan),
            cool=machines.get("cool", bay.history.cool),
            changes=tuple(now - gap - float(age) for age in given["changes"]),
        )
        foreign = float(given.get("foreign", 0.0))
        bay.source.take_up(given["source"], now - gap)
    except (ValueError, TypeError, KeyError, AttributeError, RecursionError):
        return False
    bay.history = history
    bay.foreign_until = now - gap + foreign
    return True


def _machine(given: Any, then: float) -> Machine:
    on, age = given
    if not isinstance(on, bool) or math.isnan(age):
        raise ValueError("no machine")
    return Machine(on=on, since=then - float(age), measured=True)
