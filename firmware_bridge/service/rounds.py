"""Which bays have their turn now: each once in a while, few at once, so that no reading waits."""

from __future__ import annotations

import itertools
import math
from collections.abc import Collection, Iterator

from firmware_bridge.bay.state import BayState

__all__ = ["Rounds"]


class Rounds:
    """Of all bays, each once in ``every`` seconds; asked at every turn, or now and then."""

    def __init__(self, bays: Collection[BayState], every: float) -> None:
        self._next, self._count, self._every = itertools.cycle(bays), len(bays), every
        self._at = -math.inf

    def due(self, now: float, *, all_bays: bool = False) -> Iterator[BayState]:
        """The next ones, by the steady clock [s]; all of them after a pause, or where wanted."""
        share = (now - self._at) / self._every * self._count + 1e-6
        if all_bays or share >= self._count:
            self._at = now
            return itertools.islice(self._next, self._count)
        self._at += int(share) * self._every / self._count
        return itertools.islice(self._next, int(share))
