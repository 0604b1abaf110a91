"""A bay, or many bays at once, through a weather file under a policy."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ventcalc import air
from ventcalc import compiled as machine
from ventcalc.advice.policies import Policy, policy_named
from ventcalc.air.plain import DRIEST
from ventcalc.bay.description import Bay, Limits
from ventcalc.errors import BadInput
from ventcalc.pile.bed import state_of
from ventcalc.pile.crop import Crop
from ventcalc.season.course import Course, Ran, job, run_course, use_machine_code
from ventcalc.season.kpi import Kpi, key_figures
from ventcalc.season.plan import Plan, SeasonState, plan_of
from ventcalc.season.steps import PlantFaults, SensorErrors
from ventcalc.weather import Weather

__all__ = ["TRACES", "Season", "run_plan", "run_season", "season_of"]

Array = NDArray[np.float64]

RECORDED = (
    "target", "pulp_mean", "plenum_temperature", "return_temperature", "ceiling_temperature",
    "fan_speed", "door_opening", "humidity_wanted", "refrigeration", "heater", "action", "stage",
    "co2", "water_loss", "dry_matter_loss", "film", "drip", "fan_power", "coil_power",
    "heater_power", "humidifier_power", "share",
)  # fmt: skip
TRACES = (
    "outside_temperature", "outside_humidity_ratio", "pulp_bottom", "pulp_middle", "pulp_top",
    "return_relative_humidity", "ceiling_margin", "wetting_margin", *RECORDED,
)  # fmt: skip
"""What a season records each step, in the units of the glossary."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Season:
    """One bay's season."""

    bay: Bay
    installed: Bay
    """The same with its fans at their operating point, as the season was calculated."""
    policy: str
    kpi: Kpi
    time: NDArray[np.datetime64]
    """UTC, start of each step."""
    traces: dict[str, Array]
    """Means or values at the start of each step; names in ``TRACES``."""
    records: NDArray[Any]
    """Everything that was kept of each step, fields as of ``StepRecord``."""
    pulp: Array
    """Every layer after each step, bottom first: (steps, layers). [°C]"""
    state: SeasonState
    """After the last step."""
    weather_name: str
    pressure: float
    """Of the air, as the season was calculated. [Pa]"""
    notes: tuple[str, ...]

    def kpi_by(self, limits: Limits) -> Kpi:
        """Key figures measured against other limits than the bay's."""
        step = self.state.time - float(self.time[-1].astype("datetime64[s]").astype(np.int64))
        return key_figures(self.installed, self.records, self.pulp, step, limits)


def run_season(
    bay: Bay,
    weather: Weather,
    policy: Policy | str = "advice",
    *,
    name: str = "",
    layers: int = 40,
    progress: Callable[[int, int], None] | None = None,
    start: SeasonState | None = None,
    until: np.datetime64 | None = None,
    believed: Bay | None = None,
    sensor_errors: SensorErrors | None = None,
    faults: PlantFaults | None = None,
    limits: Limits | None = None,
    compiled: bool | None = None,
    crop: Crop | None = None,
) -> Season:
    """
    One bay from the first load to the last truck, hour by hour.

    Parameters
    ----------
    bay : Bay
        The bay.
    weather : Weather
        Outside air from before the first load until after the last truck; one whole year is
        joined to itself, with a note that says so.
    policy : str or callable
        ``advice``, ``thermostat``, ``clock``, ``shadow_price`` or ``nothing``, or a callable
        ``(bay, readings, memory) -> (advice, memory)`` that decides the positions of every step:
        plain Python, or a numba function.
    name : str
        Name of the policy, for the record.
    layers : int
        Layers of the pile.
    progress : callable, optional
        Called with (steps done, steps in all) about once a simulated day.
    start : SeasonState, optional
        To start from, in the place of an empty bay at its first load.
    until : datetime64, optional
        End, UTC, before the last truck.
    believed : Bay, optional
        The bay that the policy takes this one for.
    sensor_errors : SensorErrors, optional
        What probes read less what is true.
    faults : PlantFaults, optional
        Parts that do not do what they are told.
    limits : Limits, optional
        To measure the season by; the bay's own if not given.
    compiled : bool, optional
        True for machine code (some seconds the first time), False for plain Python; by itself
        it takes machine code where that is already there.
    crop : Crop, optional
        What is in the pile, where it is not what everybody takes it for.

    Returns
    -------
    Season
        Results and hourly traces.

    Raises
    ------
    BadInput
        If the weather does not cover the season, or the policy's answer cannot be used.
    OutOfRange
        If something leaves the range of the model; says what, and at which hour.

    Notes
    -----
    A plain policy is called with the bay (every part there; what it lacks has no capacity), the
    readings and the memory that it returned last, None at first. A numba function gets a
    record with the same names, ``vc.Memory()`` at first, and returns ``vc.Positions`` and
    ``vc.Memory``, every field given.
    """
    chosen = policy_named(policy) if isinstance(policy, str) else policy
    if not callable(chosen):
        raise BadInput(
            f"policy {policy!r}: write a name, or give a function of bay, readings, memory"
        )
    plan = plan_of(bay, weather, layers, start, until, believed, sensor_errors, faults, {}, crop)
    fast = use_machine_code(compiled, chosen, 1)
    ran = run_plan(plan, chosen, fast, progress)
    return season_of(bay, plan, ran, name or _name_of(policy), weather.name, limits)


def season_of(
    bay: Bay, plan: Plan, ran: Ran, name: str, weather_name: str, limits: Limits | None = None
) -> Season:
    """What a plan that was run gives; ``limits`` to measure it by, the bay's own if not given."""
    records, pulp = ran.records, ran.pulp
    return Season(
        bay=bay,
        installed=plan.installed,
        policy=name,
        kpi=key_figures(plan.installed, records, pulp, plan.course.step, limits),
        time=plan.time,
        traces=_traces(plan.course, records, pulp),
        records=records,
        pulp=pulp,
        state=SeasonState(
            time=float(plan.course.hours[-1].time) + plan.course.step,
            bay=ran.state,
            bed=state_of(ran.layers, ran.state.curing),
            memory=ran.memory,
        ),
        weather_name=weather_name,
        pressure=plan.course.bed.pressure,
        notes=plan.notes,
    )


def run_plan(
    plan: Plan, policy: Any, fast: bool, progress: Callable[[int, int], None] | None
) -> Ran:
    """Run what is planned; note that its machine code is there."""
    ran = run_course(
        plan.course, policy, plan.state, plan.layers, plan.memory, fast=fast, progress=progress
    )
    if fast:
        machine.mark_ready(job(policy))
    return ran


def _name_of(policy: Policy | str) -> str:
    return policy if isinstance(policy, str) else getattr(policy, "__name__", "policy")


def _traces(course: Course, records: NDArray[Any], pulp: Array) -> dict[str, Array]:
    """Traces under their public names."""
    pressure = course.bed.pressure
    warm, moist = records["return_temperature"], records["return_humidity_ratio"]
    supplied = records["plenum_humidity_ratio"]
    return {
        "outside_temperature": np.array([hour.temperature for hour in course.hours]),
        "outside_humidity_ratio": np.array([hour.humidity_ratio for hour in course.hours]),
        "pulp_bottom": pulp[:, 0],
        "pulp_middle": pulp[:, pulp.shape[1] // 2],
        "pulp_top": pulp[:, -1],
        "return_relative_humidity": air.relative_humidity(warm, moist, pressure),
        "ceiling_margin": records["ceiling_temperature"] - _dew_point(moist, pressure),
        "wetting_margin": records["pulp_coldest"] - _dew_point(supplied, pressure),
        **{name: records[name] for name in RECORDED},
    }


def _dew_point(humidity_ratio: Array, pressure: float) -> Array:
    found: Array = air.dew_point(np.maximum(humidity_ratio, DRIEST), pressure)
    return found
