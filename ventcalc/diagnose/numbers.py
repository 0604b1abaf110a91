"""Columns of a long CSV as arrays: digits are put together in arrays, a place at a time."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

__all__ = ["moments_of", "table_of"]

Array = NDArray[np.float64]

COMMA, POINT, NEWLINE, MINUS, ZERO = 44, 46, 10, 45, 48
MOST_DIGITS = 15
"""Which a float holds exactly, so that one division rounds as reading the digits would."""
STAMP = 19
"""Letters of a time to the second, before its offset."""


def table_of(rows: Sequence[str], width: int) -> Array | None:
    """
    Numbers of rows of so many cells, NaN where nothing stands: (rows, columns). None where a row
    has another number of cells, or a cell is no number. A few thousand rows at a time are quickest.
    """
    text = ("\n".join(rows) + "\n").encode("utf-8")
    letters = np.frombuffer(text, dtype=np.uint8)
    newline = letters == NEWLINE
    ends = np.flatnonzero((letters == COMMA) | newline)
    if len(ends) != len(rows) * width or not newline[ends[width - 1 :: width]].all():
        return None
    if np.count_nonzero(newline) != len(rows):
        return None
    starts = np.concatenate([[0], ends[:-1] + 1])
    found, odd = _plain_numbers(letters, starts, ends)
    for k in np.flatnonzero(odd).tolist():
        try:
            found[k] = float(text[starts[k] : ends[k]] or "nan")
        except ValueError:
            return None
    return found.reshape(len(rows), width)


def _plain_numbers(
    letters: NDArray[np.uint8], starts: NDArray[np.int64], ends: NDArray[np.int64]
) -> tuple[Array, NDArray[np.bool_]]:
    """Numbers such as 4, -0.25 or 83012, and which are written in another way."""
    minus = letters[starts] == MINUS
    at = starts + minus
    length = np.minimum(ends - at, MOST_DIGITS + 1).astype(np.uint8)
    size = np.zeros(len(at))
    count, points, after = np.zeros((3, len(at)), dtype=np.uint8)
    for place in range(int(min(length.max(initial=0), MOST_DIGITS))):
        inside = length > place
        letter = letters.take(at + place, mode="clip")
        digit = letter - np.uint8(ZERO)  # wraps for what lies below
        is_digit, is_point = inside & (digit < 10), inside & (letter == POINT)
        size *= _STEP[is_digit.view(np.uint8)]
        size += digit * is_digit
        count += is_digit
        after += is_digit & (points > 0)
        points += is_point
    odd = (count < 1) | (points > 1) | (count + points != length)
    size /= _TENS[after]
    return np.where(minus, -size, size), odd


_STEP = np.array([1.0, 10.0])
_TENS = 10.0 ** np.arange(MOST_DIGITS + 1)


def moments_of(stamps: Sequence[str]) -> Array | None:
    """
    Times to the second with offset, UTC since 1970 [s]; None where one is written in another way.
    """
    tails = [stamp[STAMP:] for stamp in stamps]
    try:
        offsets = {
            tail: datetime.fromisoformat(f"2000-01-01T00:00:00{tail}").utcoffset()
            for tail in set(tails)
        }
        times = np.array([stamp[:STAMP] for stamp in stamps], dtype="datetime64[s]")
    except ValueError:
        return None
    if np.isnat(times).any() or any(offset is None for offset in offsets.values()):
        return None
    if any(len(stamp) < STAMP for stamp in stamps) or any("." in tail for tail in offsets):
        return None
    shifts = {tail: offset.total_seconds() for tail, offset in offsets.items() if offset}
    if len(offsets) == 1:
        ahead: float | Array = shifts.get(tails[0], 0.0) if tails else 0.0
    else:
        ahead = np.array([shifts.get(tail, 0.0) for tail in tails])
    found: Array = times.astype(np.float64) - ahead
    return found
