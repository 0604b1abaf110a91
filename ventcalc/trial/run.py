"""A trial from its description to its table of seasons."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

from ventcalc import compiled as machine
from ventcalc.bay.description import Bay
from ventcalc.season.batch import one_after_the_other
from ventcalc.season.course import job, use_machine_code
from ventcalc.trial.cases import Parcel, Trial, parcels_of
from ventcalc.trial.cluster import on_cluster
from ventcalc.trial.judge import Judgement, judge
from ventcalc.trial.methods import method_named
from ventcalc.trial.seasons import Table, joined, run_parcel
from ventcalc.trial.store import open_folder, read_part, write_part, write_table
from ventcalc.weather import Weather

__all__ = ["TrialResult", "run_trial"]


@dataclass(frozen=True, kw_only=True, eq=False)
class TrialResult:
    """A trial that was run."""

    trial: Trial
    seasons: Table
    """A row for each season."""
    judgement: Judgement
    off_plan_price: float
    """[money/t per 1000 K h]"""
    found: int
    """Seasons that lay in the folder already. [1]"""
    path: Path | None
    """Of the table, where a folder was given."""


def run_trial(
    bays: Bay | Sequence[Bay],
    weathers: Weather | Sequence[Weather],
    policies: str | Sequence[str] = ("advice", "thermostat", "clock", "shadow_price"),
    *,
    faults: str | Sequence[str] = "none",
    draws: int = 1,
    seed: int = 0,
    layers: int = 40,
    off_plan_price: float = 1.0,
    folder: str | None = None,
    workers: int = 1,
    scheduler: str | None = None,
    compiled: bool | None = None,
    progress: Callable[[int, int], None] | None = None,
    say: Callable[[str], None] | None = None,
) -> TrialResult:
    """
    Put control methods on trial: every bay in every climate, with every fault and crop drawn.

    Parameters
    ----------
    bays : Bay or sequence of Bay
        Each is put to the altitude and the clock of every climate.
    weathers : Weather or sequence of Weather
        Climates, told apart by their names.
    policies : str or sequence of str
        Control methods as of ``run_season``, ``plan`` and ``plan_noisy`` (made anew each day, with
        perfect forecasts or such that err), or your own as ``module:function``.
    faults : str or sequence of str
        Names as of ``ventcalc trial --fault``.
    draws : int
        Crops, spread evenly over the published ranges of transpiration, respiration and water
        activity; 1 is the crop of the tables.
    seed : int
        Of draws, forecasts that err and bootstrap.
    layers : int
        Layers of the piles.
    off_plan_price : float
        Added to the cost before methods are compared. [money/t per 1000 K h]
    folder : str, optional
        Keeps every season; run again, only what is missing is run.
    workers : int
        Threads, or processes where nothing is compiled; for this machine.
    scheduler : str, optional
        Address of a Dask scheduler that shares the seasons out instead.
    compiled : bool, optional
        As of ``run_season``; by itself five seasons or more are compiled.
    progress : callable, optional
        Called with (seasons done, seasons in all).
    say : callable, optional
        Called with a word on what takes long: the first compiling.

    Returns
    -------
    TrialResult
        Every season, and how the methods stand.

    Raises
    ------
    BadInput
        If a name is not known, a season is not covered by its weather, the folder cannot be
        used, or no scheduler answers.
    """
    trial = Trial(
        bays=_apart((bays,) if isinstance(bays, Bay) else tuple(bays)),
        weathers=_named((weathers,) if isinstance(weathers, Weather) else tuple(weathers)),
        methods=(policies,) if isinstance(policies, str) else tuple(dict.fromkeys(policies)),
        faults=(faults,) if isinstance(faults, str) else tuple(dict.fromkeys(faults)),
        draws=draws,
        seed=seed,
        layers=layers,
    )
    parcels = parcels_of(trial)
    place = None if folder is None else open_folder(folder)
    tables = {} if place is None else _kept(place, parcels)
    found = sum(len(parcels[k].draws) for k in tables)
    total, done = sum(len(parcel.draws) for parcel in parcels), found
    missing = [k for k in range(len(parcels)) if k not in tables]
    todo = [parcels[k] for k in missing]
    try:
        for j, table in _run(todo, workers, scheduler, compiled, say):
            tables[missing[j]] = table
            if place is not None:
                write_part(place, todo[j].key, table)
            done += len(todo[j].draws)
            if progress is not None:
                progress(done, total)
    finally:
        path = None
        if place is not None and tables:
            path = write_table(place, joined([tables[k] for k in sorted(tables)]))
    seasons = joined([tables[k] for k in sorted(tables)])
    return TrialResult(
        trial=trial,
        seasons=seasons,
        judgement=judge(seasons, trial.methods, seed, off_plan_price),
        off_plan_price=off_plan_price,
        found=found,
        path=path,
    )


def _kept(place: Path, parcels: Sequence[Parcel]) -> dict[int, Table]:
    """What lies in the folder already, by the place of its parcel."""
    parts = (read_part(place, parcel.key, len(parcel.draws)) for parcel in parcels)
    return {k: part for k, part in enumerate(parts) if part is not None}


def _run(
    todo: Sequence[Parcel],
    workers: int,
    scheduler: str | None,
    compiled: bool | None,
    say: Callable[[str], None] | None,
) -> Iterator[tuple[int, Table]]:
    """Tables of the parcels as they come, each with its place."""
    seasons = sum(len(parcel.draws) for parcel in todo)
    methods = [method_named(name) for name in {parcel.method: None for parcel in todo}]
    fast = all(use_machine_code(compiled, policy, seasons) for policy in methods)
    if scheduler is not None:
        yield from on_cluster(partial(run_parcel, fast=fast), todo, scheduler)
        return
    if fast and say is not None and not all(machine.ready(job(policy)) for policy in methods):
        say("compiling, once on this machine")
    work = partial(run_parcel, fast=fast, shared={})
    yield from enumerate(one_after_the_other(work, todo, workers, fast))


def _apart(bays: tuple[Bay, ...]) -> tuple[Bay, ...]:
    """Each with a name of its own."""
    seen = [bay.name for bay in bays]
    return tuple(
        bay if bay.name not in seen[:k] else replace(bay, name=f"{bay.name} ({k + 1})")
        for k, bay in enumerate(bays)
    )


def _named(weathers: tuple[Weather, ...]) -> tuple[tuple[str, Weather], ...]:
    """Each with a name of its own."""
    found: dict[str, Weather] = {}
    for k, weather in enumerate(weathers):
        name = weather.name or f"climate {k + 1}"
        found[name if name not in found else f"{name} ({k + 1})"] = weather
    return tuple(found.items())
