"""Many bays at once, each through its season."""

from __future__ import annotations

import os
import signal
from collections.abc import Callable, Iterator, Sequence
from dataclasses import fields
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np

from ventcalc import compiled as machine
from ventcalc.advice.policies import Policy, policy_named
from ventcalc.bay.description import Bay, Limits
from ventcalc.errors import BadInput
from ventcalc.season.course import job, use_machine_code
from ventcalc.season.kpi import Kpi, key_figures
from ventcalc.season.plan import Plan, plan_of
from ventcalc.season.run import run_plan
from ventcalc.weather import Weather

if TYPE_CHECKING:
    from concurrent.futures import Executor

__all__ = ["figures_of", "one_after_the_other", "run_seasons"]


def run_seasons(
    bays: Bay | Sequence[Bay],
    weathers: Weather | Sequence[Weather],
    policies: Policy | str | Sequence[Policy | str] = "advice",
    *,
    layers: int = 40,
    workers: int = 1,
    limits: Limits | None = None,
    progress: Callable[[int, int], None] | None = None,
    say: Callable[[str], None] | None = None,
    compiled: bool | None = None,
) -> Kpi:
    """
    Many seasons: bays, weathers and policies side by side.

    Parameters
    ----------
    bays : Bay or sequence of Bay
        One for all seasons, or one for each.
    weathers : Weather or sequence of Weather
        Likewise.
    policies : str, callable or sequence of them
        Likewise, as of ``run_season``.
    layers : int
        Layers of the piles.
    workers : int
        Threads to share the seasons between, or processes where nothing is compiled (then, in a
        script, with the usual ``if __name__ == "__main__"``).
    limits : Limits, optional
        To measure every season by; each bay's own if not given.
    progress : callable, optional
        Called with (seasons done, seasons in all).
    say : callable, optional
        Called with a word on what takes long: the first compiling.
    compiled : bool, optional
        As of ``run_season``; by itself five seasons or more are compiled.

    Returns
    -------
    Kpi
        Arrays with one element per season.

    Raises
    ------
    BadInput
        If the sequences differ in length, or the weather does not cover a season.
    OutOfRange
        As ``run_season``.
    """
    cases = _side_by_side(bays, weathers, policies)
    chosen = [policy_named(p) if isinstance(p, str) else p for _, _, p in cases]
    fast = all(use_machine_code(compiled, one, len(cases)) for one in chosen)
    if fast and say is not None and not all(machine.ready(job(policy)) for policy in chosen):
        say("compiling, once on this machine")
    one = partial(_season, shared={}, layers=layers, limits=limits, fast=fast)
    found = []
    for kpi in one_after_the_other(one, cases, workers, fast):
        found.append(kpi)
        if progress is not None:
            progress(len(found), len(cases))
    return Kpi(**{f.name: np.array([getattr(kpi, f.name) for kpi in found]) for f in fields(Kpi)})


def _season(
    case: tuple[Bay, Weather, Any],
    shared: dict[Any, Any],
    layers: int,
    limits: Limits | None,
    fast: bool,
) -> Kpi:
    bay, weather, policy = case
    plan = plan_of(bay, weather, layers, None, None, None, None, None, shared)
    return figures_of(plan, policy if callable(policy) else policy_named(policy), fast, limits)


def figures_of(plan: Plan, policy: Policy, fast: bool, limits: Limits | None = None) -> Kpi:
    """Key figures of what is planned, once it has run."""
    ran = run_plan(plan, policy, fast, None)
    return key_figures(plan.installed, ran.records, ran.pulp, plan.course.step, limits)


def one_after_the_other(
    work: Callable[[Any], Any], jobs: Sequence[Any], workers: int, fast: bool
) -> Iterator[Any]:
    """
    Results of every job, in order, as they come: threads where machine code runs, else processes.

    The first failure, or Ctrl-C, drops what has not begun.
    """
    if workers <= 1 or len(jobs) <= 1:
        yield from map(work, jobs)
        return
    from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor

    pool: Executor
    if fast:
        pool = ThreadPoolExecutor(workers)
    else:
        pool = ProcessPoolExecutor(workers, initializer=_leave_with_parent)
    begun = int(fast)
    with pool:
        yield from map(work, jobs[:begun])  # whatever must be compiled is compiled once
        waiting = [pool.submit(work, one) for one in jobs[begun:]]
        try:
            for future in waiting:
                yield future.result()
        except BaseException:
            pool.shutdown(wait=False, cancel_futures=True)
            raise


def _leave_with_parent() -> None:
    """
    A worker ends with whoever began it; at Ctrl-C, which goes to all of a terminal, without a word.
    """
    from multiprocessing import parent_process
    from threading import Thread

    signal.signal(signal.SIGINT, signal.SIG_DFL)
    parent = parent_process()

    def follow() -> None:
        if parent is not None:
            parent.join()
            os._exit(1)

    Thread(target=follow, daemon=True).start()


def _side_by_side(bays: Any, weathers: Any, policies: Any) -> list[tuple[Bay, Weather, Any]]:
    """One bay, weather and policy for each season."""
    single = (Bay, Weather, str)
    columns = [
        [x] if isinstance(x, single) or callable(x) else list(x) for x in (bays, weathers, policies)
    ]
    count = max(map(len, columns))
    if any(len(column) not in (1, count) for column in columns) or 0 in map(len, columns):
        lengths = ", ".join(str(len(column)) for column in columns)
        raise BadInput(
            f"bays, weathers and policies: give one of each, or as many as there are seasons "
            f"(got {lengths})"
        )
    return list(
        zip(*(column * count if len(column) == 1 else column for column in columns), strict=True)
    )
