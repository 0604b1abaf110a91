"""
A log by the hour: means of what was read while the fans ran and had settled, and of all rows.

Right after a start the plenum still holds the air of the rest, and while the fans are off it
says nothing of door, coil or humidifier: such rows are kept out of the settled means.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ventcalc.advice.learning import SETTLED
from ventcalc.diagnose.log import Log
from ventcalc.errors import BadInput

__all__ = ["HOUR", "Hours", "hours_of", "since"]

Array = NDArray[np.float64]

HOUR = 3600.0
RETURN_SETTLED = 1800.0
"""Into a run, after which the air above the pile has been changed too; common practice. [s]"""
LONGEST_STEP = 2 * HOUR
"""Between rows; beyond it no rule can tell one run from the next. [s]"""
FASTEST_SEEN = 480.0
"""Between rows, up to which more than seven moves an hour can be counted. [s]"""
MOVED = 0.02
"""Door travel that counts as a move. [0-1]"""
RUNS = 0.05
"""Fan speed from which on the fans run. [0-1]"""


@dataclass(frozen=True, kw_only=True, eq=False)
class Hours:
    """Hours that have at least one row; NaN where a mean has none."""

    time: Array
    """Start of the hour, UTC since 1970-01-01. [s]"""
    settled: dict[str, Array]
    """Means over the rows of settled runs, names as of the log. [any]"""
    blown: dict[str, Array]
    """Plenum: means over the rows in which the fans ran, settled or not. [any]"""
    means: dict[str, Array]
    """Means over all rows. [any]"""
    totals: dict[str, Array]
    """``energy`` used in the hour. [J]"""
    pulp: Array
    """Means over all rows: (hours, probes). [°C]"""
    running: Array
    """Part of the hour in which the fans ran. [0-1]"""
    cube: Array
    """Mean of the fan speed's cube, for its power. [1]"""
    moves: Array
    """Starts, stops and door reversals; NaN where rows are too far apart to count. [1]"""
    step: float
    """Between rows, as a rule. [s]"""

    @property
    def lowest(self) -> Array:
        """The lowest pulp probe; NaN throughout without one. [°C]"""
        return self.pulp[:, 0] if self.pulp.shape[1] else np.full(len(self.time), np.nan)

    def mean_of(self, name: str) -> Array:
        """Means over all rows of a column; NaN throughout where the log lacks it."""
        found = self.means.get(name)
        return np.full(len(self.time), np.nan) if found is None else found

    def get(self, name: str) -> Array:
        """Settled means of a column; NaN throughout where the log lacks it."""
        found = self.settled.get(name)
        return np.full(len(self.time), np.nan) if found is None else found


def since(log: Log, time: float) -> Log:
    """What of a log comes after a time. [s]"""
    rows = log.time > time
    values = {name: x[rows] for name, x in log.values.items()}
    return Log(time=log.time[rows], values=values, pulp=log.pulp[rows], heights=log.heights)


def hours_of(log: Log) -> Hours:
    """A log by the hour: a row at the full hour ends the hour before it."""
    gaps = np.diff(log.time)
    step = float(np.median(gaps))
    if step > LONGEST_STEP:
        raise BadInput(f"rows stand {step / HOUR:.1f} h apart; at most 2 h, better 10 minutes")
    hour = np.ceil(log.time / HOUR) - 1.0
    starts = np.flatnonzero(np.concatenate([[True], np.diff(hour) > 0.0]))
    speed = log.values["fan_speed"]
    runs = speed > RUNS
    settled = runs & (_since_start(log.time, runs, step) >= max(SETTLED, RETURN_SETTLED))
    values = log.values
    moves = np.full(len(starts), np.nan)
    if step <= FASTEST_SEEN:
        moves = np.add.reduceat(_moves(runs, values.get("door_opening")), starts)
    return Hours(
        time=hour[starts] * HOUR,
        settled={name: _mean(x, settled, starts) for name, x in values.items()},
        blown={
            name: _mean(x, runs, starts) for name, x in values.items() if name.startswith("plenum")
        },
        means={name: _mean(x, None, starts) for name, x in values.items()},
        totals={
            "energy": np.add.reduceat(np.nan_to_num(values["energy"]), starts)
        } if "energy" in values else {},
        pulp=np.array([_mean(x, None, starts) for x in log.pulp.T]).T.reshape(
            len(starts), log.pulp.shape[1]
        ),
        running=_mean(np.where(np.isnan(speed), np.nan, runs), None, starts),
        cube=_mean(speed**3, None, starts),
        moves=moves,
        step=step,
    )  # fmt: skip


def _since_start(time: Array, runs: NDArray[np.bool_], step: float) -> Array:
    """Time since the run of each row began; a hole in the log begins it anew. [s]"""
    begins = runs.copy()
    begins[1:] &= ~runs[:-1] | (np.diff(time) > 3.0 * step)
    place = np.maximum.accumulate(np.where(begins, np.arange(len(time)), 0))
    since: Array = time - time[place]
    return since


def _moves(runs: NDArray[np.bool_], door: Array | None) -> Array:
    """Starts, stops, and door moves that go back on the one before, at each row."""
    moved = np.zeros(len(runs))
    moved[1:] = runs[1:] != runs[:-1]
    if door is not None:
        step = np.diff(door)
        rows = np.flatnonzero(np.abs(step) > MOVED)
        back = rows[1:][np.sign(step[rows[1:]]) != np.sign(step[rows[:-1]])]
        moved[back + 1] += 1.0
    return moved


def _mean(values: Array, which: NDArray[np.bool_] | None, starts: NDArray[np.int64]) -> Array:
    """Mean of what was read in each hour."""
    heard = ~np.isnan(values)
    if which is not None:
        heard &= which
    total = np.add.reduceat(np.where(heard, values, 0.0), starts)
    count = np.add.reduceat(heard.astype(float), starts)
    with np.errstate(invalid="ignore", divide="ignore"):
        mean: Array = total / count
    return mean
