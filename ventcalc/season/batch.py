"""Many bays at once, each through its season."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import Executor, ProcessPoolExecutor, ThreadPoolExecutor
from dataclasses import fields
from typing import Any

import numpy as np

from ventcalc import compiled as machine
from ventcalc.advice.policies import Policy, policy_named
from ventcalc.bay.description import Bay, Limits
from ventcalc.errors import BadInput
from ventcalc.season.course import job, use_machine_code
from ventcalc.season.kpi import Kpi, key_figures
from ventcalc.season.plan import plan_of
from ventcalc.season.run import run_plan, run_season
from ventcalc.weather import Weather

__all__ = ["run_seasons"]


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
    shared: dict[Any, Any] = {}

    def one(k: int) -> Kpi:
        bay, weather, _ = cases[k]
        plan = plan_of(bay, weather, layers, None, None, None, None, None, shared)
        ran = run_plan(plan, chosen[k], fast, None)
        return key_figures(plan.installed, ran.records, ran.pulp, plan.course.step, limits)

    found = []
    if fast and say is not None and not all(machine.ready(job(policy)) for policy in chosen):
        say("compiling, once on this machine")
    for k, kpi in enumerate(_each(one, cases, layers, limits, workers, fast)):
        found.append(kpi)
        if progress is not None:
            progress(k + 1, len(cases))
    return Kpi(**{f.name: np.array([getattr(kpi, f.name) for kpi in found]) for f in fields(Kpi)})


def _each(
    one: Callable[[int], Kpi],
    cases: Sequence[tuple[Bay, Weather, Any]],
    layers: int,
    limits: Limits | None,
    workers: int,
    fast: bool,
) -> Any:
    """Results of every case, in order, as they come."""
    if workers <= 1 or len(cases) == 1:
        yield from map(one, range(len(cases)))
        return
    pool: Executor
    if fast:
        yield one(0)  # whatever must be compiled is compiled once
        with ThreadPoolExecutor(workers) as pool:
            yield from _in_order(pool, [pool.submit(one, k) for k in range(1, len(cases))])
        return
    with ProcessPoolExecutor(workers) as pool:
        jobs = [pool.submit(_alone, *case, layers, limits) for case in cases]
        yield from _in_order(pool, jobs)


def _in_order(pool: Executor, jobs: list[Any]) -> Any:
    """Results as they come; the first failure, or Ctrl-C, drops what has not begun."""
    try:
        for job in jobs:
            yield job.result()
    except BaseException:
        pool.shutdown(wait=False, cancel_futures=True)
        raise


def _alone(bay: Bay, weather: Weather, policy: Any, layers: int, limits: Limits | None) -> Kpi:
    return run_season(bay, weather, policy, layers=layers, limits=limits, compiled=False).kpi


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
