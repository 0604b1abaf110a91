"""Equal time steps: averaging, gaps found, short gaps filled."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from ventcalc.errors import BadInput
from ventcalc.weather.record import Array, Times, zone

__all__ = ["fill", "to_grid", "trim", "when"]

Series = dict[str, Array]


def when(time: np.datetime64, time_zone: str) -> str:
    """Local time for a message."""
    local = datetime.fromtimestamp(
        int(time.astype("datetime64[s]").astype(np.int64)), zone(time_zone)
    )
    return f"{local:%Y-%m-%d %H:%M} {time_zone}"


def to_grid(time: Times, series: Series, step: float | None) -> tuple[Times, Series, float, float]:
    """
    Put rising times on equal steps; absent steps become NaN.

    Returns the grid's times, the series on it, the file's own step and the step used.
    """
    seconds = time.astype(np.int64)
    gaps, counts = np.unique(np.diff(seconds), return_counts=True)
    if not len(gaps):
        raise BadInput("there is only one row; a step cannot be told from it")
    native = float(gaps[np.argmax(counts)])
    if step is None or native >= step:
        length, start = native, int(seconds[0])
        index = np.rint((seconds - start) / native).astype(np.int64)
        off = np.abs(seconds - start - index * native) / native
        if (off > 0.25).any() or (np.diff(index) == 0).any():
            bad = int(np.argmax((off > 0.25) | (np.diff(index, prepend=-1) == 0)))
            raise BadInput(
                f"times do not keep a step of {native / 60:g} min, first at {time[bad]} UTC; "
                f"give equal steps, or a longer step to average over"
            )
        wanted = 1.0
    else:
        length = float(step)
        start = int(seconds[0] // round(length)) * round(length)
        index = ((seconds - start) // length).astype(np.int64)
        wanted = length / native / 2
    size = int(index[-1]) + 1
    if size > 100 * len(time):  # a slip in a date, which must not cost gigabytes
        jump = int(np.argmax(np.diff(seconds)))
        raise BadInput(f"times jump from {time[jump]} to {time[jump + 1]} UTC; check the dates")
    grid = np.datetime64(start, "s") + np.arange(size) * np.timedelta64(round(length), "s")
    means = {name: _means(index, values, size, wanted) for name, values in series.items()}
    return grid, means, native, length


def _means(index: NDArray[np.int64], values: Array, size: int, wanted: float) -> Array:
    """Mean of the samples of each step; NaN where fewer than ``wanted`` are there."""
    known = ~np.isnan(values)
    counts = np.bincount(index[known], minlength=size)
    sums = np.bincount(index[known], weights=values[known], minlength=size)
    return np.where(counts >= wanted, sums / np.maximum(counts, 1), np.nan)


def trim(time: Times, series: Series, needed: Sequence[str]) -> tuple[Times, Series, int]:
    """Cut incomplete steps off both ends, where nothing can be interpolated."""
    complete = np.flatnonzero(~_missing(series, needed))
    if not len(complete):
        raise BadInput("no row has temperature, humidity and pressure together")
    keep = slice(int(complete[0]), int(complete[-1]) + 1)
    cut = len(time) - (keep.stop - keep.start)
    return time[keep], {name: values[keep] for name, values in series.items()}, cut


def _missing(series: Series, needed: Sequence[str]) -> NDArray[np.bool_]:
    missing: NDArray[np.bool_] = np.any([np.isnan(series[name]) for name in needed], axis=0)
    return missing


def fill(
    time: Times,
    series: Series,
    needed: Sequence[str],
    step: float,
    max_gap: float,
    time_zone: str,
) -> tuple[Series, tuple[str, ...]]:
    """Straight lines across gaps up to ``max_gap``; longer ones are refused, all of them named."""
    missing = _missing(series, needed)
    edges = np.flatnonzero(np.diff(missing.astype(int), prepend=0, append=0))
    starts, lengths = edges[::2], (edges[1::2] - edges[::2]) * step
    if not len(starts):
        return series, ()
    long = np.flatnonzero(lengths > max_gap)
    if len(long):
        i = int(long[0])
        names = [name.replace("_", " ") for name in needed if np.isnan(series[name][starts[i]])]
        more = f" ({len(long)} gaps as long)" if len(long) > 1 else ""
        raise BadInput(
            f"gap of {lengths[i] / 3600:g} h in {', '.join(names)} from "
            f"{when(time[starts[i]], time_zone)}{more}; at most {max_gap / 3600:g} h are filled: "
            f"add the missing rows, or raise max_gap if a straight line will do"
        )
    places = [
        f"{when(time[start], time_zone)} ({length / 3600:g} h)"
        for start, length in zip(starts[:5], lengths[:5], strict=True)
    ]
    more = f" and {len(starts) - 5} more" if len(starts) > 5 else ""
    plural = "s" if len(starts) > 1 else ""
    note = (
        f"{len(starts)} gap{plural}, {lengths.sum() / 3600:g} h in all, "
        f"filled with straight lines: {', '.join(places)}{more}"
    )
    steps = np.arange(len(time))
    filled = dict(series)
    for name in needed:
        known = ~np.isnan(series[name])
        filled[name] = np.interp(steps, steps[known], series[name][known])
    return filled, (note,)
