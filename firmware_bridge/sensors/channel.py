"""The recent past of one channel, by which its next value is believed or not."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from firmware_bridge.quantities import Quantity

__all__ = ["ChannelHistory"]

AGREE = 3
"""So many readings in a row that agree with each other are believed after a jump ..."""
SETTLE = 300.0
"""... and for so long. [s]"""
FORGET = 3600.0
"""After so long without a sound reading any believable value may come. [s]"""
FIT = 0.5
"""A value in the other unit fits the last one so well, beside ``per_minute``. [K]"""

_OTHER_UNIT: tuple[Callable[[float], float], ...] = (
    lambda value: (value - 32.0) / 1.8,  # the number is in °F and was taken for °C
    lambda value: 1.8 * value + 32.0,  # it is in °C and was taken for °F
)


@dataclass(slots=True)
class ChannelHistory:
    """Last sound value, how long it has stood still, and doubtful values since."""

    quantity: Quantity
    good: float = math.nan
    good_at: float = -math.inf
    still: float = math.nan
    still_since: float = 0.0
    doubtful: float = math.nan
    doubtful_at: float = -math.inf
    doubts: int = 0
    doubts_since: float = -math.inf
    mend: Callable[[float], float] | None = None
    """What makes the right number of one in the other unit; None while the unit is believed."""
    fits: int = 0
    """So many in a row have fitted without it."""

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
            ``missing``, ``units``, ``implausible`` or ``stuck``; empty for a sound value.
        """
        limits = self.quantity
        if math.isnan(value):
            return "missing"
        if "[degF]" in limits.units and self._in_the_other_unit(value, now):
            return "units"
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

    def _room(self, since: float, now: float, jump: float) -> float:
        """How far the quantity can have come meanwhile."""
        return jump + self.quantity.per_minute * (now - since) / 60.0

    def _in_the_other_unit(self, value: float, now: float) -> bool:
        """
        Whether °C has turned to °F or back; it stays so until values fit without mending.

        Near -40, where both scales meet, and in the first reading of all nothing can be told.
        """
        room = self._room(self.good_at, now, self.quantity.jump)
        if self.mend is not None:
            mended = self.mend(value)
            plain, other = abs(value - self.good), abs(mended - self.good)
            self.fits = self.fits + 1 if plain <= room and plain < other else 0
            if not self.fits and other <= room:
                self.good, self.good_at = mended, now
            self.mend = None if self.fits >= AGREE else self.mend
            return self.mend is not None
        if math.isnan(self.good) or now - self.good_at > FORGET or abs(value - self.good) <= room:
            return False
        fits = self._room(self.good_at, now, FIT)
        for mend in _OTHER_UNIT:
            if abs(mend(value) - self.good) <= fits:
                self.mend, self.good, self.good_at, self.fits = mend, mend(value), now, 0
                break
        return self.mend is not None

    def _jumps(self, value: float, now: float) -> bool:
        """Faster than the quantity can change; believed when the following ones agree."""
        waited = now - self.good_at
        room = self._room(self.good_at, now, self.quantity.jump)
        if math.isnan(self.good) or waited > FORGET or abs(value - self.good) <= room:
            return False
        near = self._room(self.doubtful_at, now, self.quantity.jump)
        agrees = self.doubts > 0 and abs(value - self.doubtful) <= near
        if not agrees:
            self.doubts, self.doubts_since = 0, now
        self.doubtful, self.doubtful_at, self.doubts = value, now, self.doubts + 1
        return self.doubts < AGREE or now - self.doubts_since < SETTLE
