"""Readings as bytes: 16-bit counts, an hour of rows as one compressed block."""

from __future__ import annotations

import math
import sys
import zlib
from array import array
from collections.abc import Sequence
from dataclasses import dataclass

from firmware_bridge.quantities import QUANTITIES

__all__ = [
    "FAULTS",
    "MISSING",
    "Row",
    "counts_of",
    "pack_block",
    "pack_counts",
    "pack_row",
    "unpack_block",
    "unpack_counts",
    "unpack_row",
    "values_of",
]

MISSING = -32768
FAULTS = ("", "missing", "implausible", "stuck", "units", "late", "beyond", "contradictory", "odd")
"""Codes of the fault bytes; ``beyond`` is a value that 16 bits do not hold."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Row:
    """One stored reading of a bay."""

    t: float
    """When it was received, wall clock UTC. [s]"""
    told: float
    """The controller's own time. [s]"""
    boot: int
    seq: int
    counts: array[int]
    """Values in steps of ``Quantity.packing``; -32768 is missing."""
    faults: bytes
    """Place in ``FAULTS`` by channel."""


def counts_of(kinds: Sequence[str], values: Sequence[float]) -> array[int]:
    """Values as counts; NaN, or what 16 bits do not hold, becomes missing."""
    result = array("h")
    for kind, value in zip(kinds, values, strict=True):
        steps = value / QUANTITIES[kind].packing
        count = round(steps) if abs(steps) < 32767.0 else MISSING  # NaN is not less either
        result.append(count)
    return result


def values_of(kinds: Sequence[str], counts: Sequence[int]) -> list[float]:
    """Counts as values."""
    return [
        math.nan if count == MISSING else count * QUANTITIES[kind].packing
        for kind, count in zip(kinds, counts, strict=True)
    ]


def _little(numbers: array[int] | array[float]) -> bytes:
    if sys.byteorder == "big":
        numbers = numbers[:]
        numbers.byteswap()
    return numbers.tobytes()


def _read(code: str, data: bytes) -> array[int]:
    numbers: array[int] = array(code)
    numbers.frombytes(data)
    if sys.byteorder == "big":
        numbers.byteswap()
    return numbers


def pack_counts(counts: Sequence[int]) -> bytes:
    """Counts as bytes."""
    return _little(array("h", counts))


def unpack_counts(data: bytes) -> array[int]:
    """What ``pack_counts`` packed."""
    return _read("h", data)


def pack_row(row: Row) -> bytes:
    """Counts of one row, then its fault bytes."""
    return _little(row.counts) + row.faults


def unpack_row(data: bytes) -> tuple[array[int], bytes]:
    """What ``pack_row`` packed."""
    channels = len(data) // 3
    return _read("h", data[: 2 * channels]), data[2 * channels :]


def pack_block(rows: Sequence[Row]) -> bytes:
    """Rows of one layout as one block: by columns, each count as a step, compressed."""
    parts = [
        _little(array("d", [row.t for row in rows])),
        _little(array("d", [row.told for row in rows])),
        _little(array("q", _steps([row.boot for row in rows]))),
        _little(array("q", _steps([row.seq for row in rows]))),
    ]
    for column in zip(*(row.counts for row in rows), strict=True):
        wrapped = ((step + 32768) % 65536 - 32768 for step in _steps(column))
        parts.append(_little(array("h", wrapped)))
    parts.extend(bytes(column) for column in zip(*(row.faults for row in rows), strict=True))
    return zlib.compress(b"".join(parts), 6)


def unpack_block(data: bytes, length: int) -> list[Row]:
    """What ``pack_block`` packed."""
    raw = zlib.decompress(data)
    heads = [raw[8 * length * k : 8 * length * (k + 1)] for k in range(4)]
    rest = raw[32 * length :]
    channels = len(rest) // (3 * length)
    columns = []
    for k in range(channels):
        steps = _read("h", rest[2 * length * k : 2 * length * (k + 1)])
        columns.append([(value + 32768) % 65536 - 32768 for value in _sums(steps)])
    faults = rest[2 * length * channels :]
    times, told = _read("d", heads[0]), _read("d", heads[1])
    boots, seqs = _sums(_read("q", heads[2])), _sums(_read("q", heads[3]))
    return [
        Row(
            t=times[n],
            told=told[n],
            boot=boots[n],
            seq=seqs[n],
            counts=array("h", [column[n] for column in columns]),
            faults=bytes(faults[length * k + n] for k in range(channels)),
        )
        for n in range(length)
    ]


def _steps(values: Sequence[int]) -> list[int]:
    return [value - before for value, before in zip(values, (0, *values[:-1]), strict=True)]


def _sums(steps: Sequence[int]) -> list[int]:
    result, total = [], 0
    for step in steps:
        total += step
        result.append(total)
    return result
