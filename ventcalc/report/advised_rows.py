"""Advice row by row through a log, as data and CSV, keys with units."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from ventcalc.advice.action import Action
from ventcalc.advice.alarms import alarms
from ventcalc.bay.calendar import STAGES
from ventcalc.bay.description import Bay
from ventcalc.diagnose.log import Log
from ventcalc.farm.advised import Advised, advise_log
from ventcalc.logbook.kinds import Line, SensorCheck
from ventcalc.report.data import POSITIONS
from ventcalc.report.numbers import known
from ventcalc.report.season_days import local

__all__ = ["advised_rows"]

MANY = 3000
"""Rows, a second or two of work, from which processes of their own pay."""


def advised_row(bay: Bay, one: Advised) -> dict[str, Any]:
    """What was advised at one time; None for what is not known."""
    now, advice = one.advice.situation, one.advice
    alarmed = any(began == began for began in one.memory.alarm_times)
    standing = alarms(advice, bay, one.memory) if alarmed else ()
    return {
        "time": local(bay, now.readings.time).isoformat(),
        "stage": STAGES[int(now.stage)],
        "target_c": known(now.target, 4),
        "pulp_mean_c": known(now.readings.pulp_mean, 4),
        "action": Action(int(advice.action)).name.lower(),
        **{name: known(getattr(advice, name), 4) for name in POSITIONS},
        "plenum_temp_c": known(advice.plenum_temperature, 4) if advice.fan_speed > 0.0 else None,
        "alarms": " ".join(alarm.id for alarm in standing),
    }


Checks = Sequence[Line[SensorCheck]]


def advised_rows(logs: Mapping[str, tuple[Bay, Log, Checks]]) -> list[dict[str, Any]]:
    """
    Every row of the logs of one bay or several, by time.

    Many rows of several bays are shared out among the processors.
    """
    many = len(logs) > 1 and sum(len(log.time) for _, log, _ in logs.values()) > MANY
    if many:
        from concurrent.futures import ProcessPoolExecutor
        from multiprocessing import get_context

        with ProcessPoolExecutor(mp_context=get_context("spawn")) as pool:
            found = list(pool.map(_rows_of, *zip(*logs.values(), strict=True)))
    else:
        found = [_rows_of(*one) for one in logs.values()]
    rows = [
        (time, {"bay": name, **row} if len(logs) > 1 else row)
        for (name, (_, log, _)), part in zip(logs.items(), found, strict=True)
        for time, row in zip(log.time.tolist(), part, strict=True)
    ]
    return [row for _, row in sorted(rows, key=lambda pair: pair[0])]


def _rows_of(bay: Bay, log: Log, checks: Checks) -> list[dict[str, Any]]:
    return [advised_row(bay, one) for one in advise_log(bay, log, checks=checks)]
