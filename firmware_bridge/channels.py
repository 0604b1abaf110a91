"""The recent past of one channel, by which its next value is believed or not."""

from __future__ import annotations

import math
from dataclasses import dataclass

from firmware_bridge.quantities import Quantity

__all__ = ["ChannelHistory"]

AGREE = 3
"""So many readings in a row that agree with each other are believed after a jump."""
FORGET = 3600.0
"""After so long without a sound reading any believable value may come. [s]"""


@dataclass(slots=True)
class ChannelHistory:
    """Last sound value, how long it has stood still, and doubtful values since."""

    quantity: Quantity
    good: float = math.nan
    good_at: float = -math.inf
    still: float = math.nan
    still_since: float = 0.0
    doubtful: float = math.nan
    doubts: int = 0

    def judge(self, value: float, now: float) -> str:
        """
        Judge the next value, and remember it.

        Parameters
        ----------
        value : float
            In the internal unit; NaN where missing.
        now : float
            Steady clock. [s]

        Returns
        -------
        str
            ``missing``, ``implausible`` or ``stuck``; empty for a sound value.
        """
        limits = self.quantity
        if math.isnan(value):
            return "missing"
        if not limits.low - 1e-9 <= value <= limits.high + 1e-9:
            self.doubts = 0
            return "implausible"
        if value != self.still:
            self.still, self.still_since = value, now
        if self._jumps(value, now):
            return "implausible"
        self.good, self.good_at = value, now
        self.doubts = 0
        if limits.stuck_after and now - self.still_since >= limits.stuck_after:
            return "stuck"
        return ""

    def _jumps(self, value: float, now: float) -> bool:
        """Faster than the quantity can change; believed when the following ones agree."""
        waited = now - self.good_at
        room = self.quantity.jump + self.quantity.per_minute * waited / 60.0
        if math.isnan(self.good) or waited > FORGET or abs(value - self.good) <= room:
            return False
        agrees = self.doubts > 0 and abs(value - self.doubtful) <= self.quantity.jump
        self.doubtful, self.doubts = value, self.doubts + 1 if agrees else 1
        return self.doubts < AGREE
