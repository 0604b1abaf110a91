"""Which bays are to be looked at now: each once a second, few at once, so that no reading waits."""

from __future__ import annotations

import itertools
import math
from collections.abc import Collection, Iterator

from firmware_bridge.bay.state import BayState

__all__ = ["Rounds"]

SHARES = 20
"""In so many parts all bays are looked at each second."""


class Rounds:
    """Of all bays; asked at every turn."""

    def __init__(self, bays: Collection[BayState]) -> None:
        self._next, self._count, self._at = itertools.cycle(bays), len(bays), -math.inf

    def due(self, now: float, *, all_bays: bool) -> Iterator[BayState]:
        """The next ones, by the steady clock [s]; all of them after a second, or where wanted."""
        parts = SHARES if all_bays else min((now - self._at) * SHARES, SHARES)
        if parts < 1:
            return iter(())
        self._at = now if parts >= SHARES else self._at + int(parts) / SHARES
        return itertools.islice(self._next, math.ceil(self._count * int(parts) / SHARES))
