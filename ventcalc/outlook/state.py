"""Where a bay stands, to be written, read and run on from: JSON whose keys carry their unit."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np

from ventcalc.advice.json_values import finite_number, json_object, moment_of, shortened
from ventcalc.advice.memory_file import memory_from_dict, memory_to_dict
from ventcalc.advice.readings import START
from ventcalc.bay.description import Bay
from ventcalc.errors import BadInput
from ventcalc.outage.start import LEAST_SHARE
from ventcalc.pile.bed import BedState
from ventcalc.season.bay_state import BayState
from ventcalc.season.plan import SeasonState
from ventcalc.season.run import Season
from ventcalc.season.surroundings import Ground, ground_at
from ventcalc.weather.files import Weather

__all__ = [
    "PileState",
    "read_state",
    "state_from_json",
    "state_of_season",
    "state_to_dict",
    "text_of_state",
]

LAYERS = (4, 200)
"""Fewest and most layers of a state."""


@dataclass(frozen=True, kw_only=True, eq=False)
class PileState:
    """A bay at one time: pile, air, memory of the advice, ground below."""

    season: SeasonState
    ground: Ground
    """For the days that follow; no heat where nobody knows it."""
    standard_uncertainty: float
    """Of the mean pulp temperature. [K]"""
    outside_temperature: float = math.nan
    """As the site's own probe read it then; NaN where nobody did. [°C]"""
    notes: tuple[str, ...] = ()
    """What had to be assumed."""


_LAYERS = {
    "layer_temps_c": ("temperature", -5.0, 45.0),
    "layer_film_kg_kg": ("film", 0.0, 0.2),
    "layer_heat_w_m2": ("source", -1e4, 1e4),
    "layer_water_loss_kg_kg": ("water_loss", -0.05, 0.9),
    "layer_dry_matter_loss_kg_kg": ("dry_matter_loss", 0.0, 0.9),
}
"""Lists from the bottom layer up: field of ``BedState``, least and greatest."""
_AIR = {
    "share": ("share", 1e-6, 1.0, 1.0),
    "loaded": ("loaded", 1e-6, 1.0, 1.0),
    "exit_temp_c": ("exit_temperature", -30.0, 50.0, 1.0),
    "exit_humidity_ratio_kg_kg": ("exit_humidity_ratio", 0.0, 0.1, 1.0),
    "return_temp_c": ("return_temperature", -30.0, 50.0, 1.0),
    "return_humidity_ratio_kg_kg": ("return_humidity_ratio", 0.0, 0.1, 1.0),
    "plenum_temp_c": ("plenum_temperature", -30.0, 50.0, 1.0),
    "co2_ppm": ("co2", 0.0, 5e5, 1e-6),
    "healing_s": ("curing", 0.0, 1e9, 1.0),
}
"""Numbers: field of ``BayState``, least, greatest, factor into the unit inside."""
_GROUND = {
    "heat_w": ("steady_heat", -1e7, 1e7),
    "heat_lost_w_k": ("inner", 0.0, 1e6),
    "floor_mean_c": ("inside_mean", -40.0, 40.0),
}
_UNCERTAIN = "pulp_uncertainty_k"


def state_of_season(season: Season, weather: Weather) -> PileState:
    """
    Where a season ended.

    Parameters
    ----------
    season : Season
        The season.
    weather : Weather
        That it ran in, a year of it, for the ground below.

    Returns
    -------
    PileState
        Its mean pulp is taken to be as uncertain as one of the bay's probes.
    """
    return PileState(
        season=season.state,
        ground=ground_at(season.installed, weather, season.state.time),
        standard_uncertainty=season.bay.sensors.temperature,
    )


def state_to_dict(bay: Bay, state: PileState) -> dict[str, Any]:
    """Write where a bay stands."""
    from importlib.metadata import version

    season = state.season
    if season.bay.share < LEAST_SHARE:
        raise BadInput(
            f"{bay.name}: empty at {_stamp(season.time)}, there is no state to write; end the run "
            "at another time (--until)"
        )
    memory = START if season.memory is None else season.memory
    return {
        "bay": bay.name,
        "time": _stamp(season.time),
        _UNCERTAIN: state.standard_uncertainty,
        **{
            key: [float(f"{value:.9g}") for value in getattr(season.bed, name).tolist()]
            for key, (name, *_) in _LAYERS.items()
        },
        **{
            key: float(f"{getattr(season.bay, name) / factor:.9g}")
            for key, (name, _, _, factor) in _AIR.items()
        },
        "ground": {key: getattr(state.ground, name) for key, (name, *_) in _GROUND.items()},
        "memory": memory_to_dict(memory),
        "notes": list(state.notes),
        "made_with": f"Made with ventcalc {version('ventcalc')}",
    }


def _stamp(time: float) -> str:
    return datetime.fromtimestamp(time, UTC).isoformat()


def read_state(path: str | Path, bay: Bay | None = None) -> PileState:
    """
    Read a file of where a bay stands, of ``ventcalc season --state-out``.

    Parameters
    ----------
    path : str or Path
        The file.
    bay : Bay, optional
        Whose state it should be.

    Returns
    -------
    PileState

    Raises
    ------
    BadInput
        Every problem found, one line each.
    """
    file = Path(path)
    try:
        text = file.read_text("utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise BadInput(
            f"{file.name}: cannot be read ({error}); give a file of --state-out"
        ) from None
    return state_from_json(text, file.name, bay)


def state_from_json(text: str, name: str = "state", bay: Bay | None = None) -> PileState:
    """Read where a bay stands."""
    problems: list[str] = []
    try:
        given = json_object(text)
        if "layer_temps_c" not in given:
            raise BadInput("is no state, as `ventcalc season --state-out` writes it")
        state = _state(given, problems)
    except BadInput as error:
        problems += error.problems
    else:
        whose = given.get("bay")
        if bay is not None and whose != bay.name:
            problems.append(f"is of {whose!r}, not of {bay.name!r}; give each bay its own")
    if problems:
        raise BadInput(f"{name}: {problem}" for problem in problems)
    return state


def _state(given: Mapping[str, Any], problems: list[str]) -> PileState:
    time = moment_of(given.get("time"), problems)
    air = _numbers(given, _AIR, problems)
    ground = given.get("ground") or {}
    layers = {field: _layer(given, key, low, high, problems)
              for key, (field, low, high) in _LAYERS.items()}  # fmt: skip
    if len({len(values) for values in layers.values()}) > 1:
        problems.append("layer_...: lists of different lengths; one number for each layer")
    sure = _numbers(given, {_UNCERTAIN: (_UNCERTAIN, 0.0, 5.0, 1.0)}, problems)[_UNCERTAIN]
    below = Ground()
    if ground:
        limits = {key: (*row, 1.0) for key, row in _GROUND.items()}
        below = Ground(**_numbers(ground, limits, problems))
    remembered = START
    try:
        remembered = memory_from_dict(given.get("memory") or {})
    except BadInput as error:
        problems += (f"memory: {problem}" for problem in error.problems)
    notes = given.get("notes") or ()
    return PileState(
        season=SeasonState(
            time=time,
            bay=BayState(**air),
            bed=BedState(**layers, curing=air["curing"]),
            memory=remembered,
        ),
        ground=below,
        standard_uncertainty=sure,
        notes=tuple(str(note) for note in notes),
    )


def _numbers(
    given: Mapping[str, Any],
    wanted: Mapping[str, tuple[str, float, float, float]],
    problems: list[str],
) -> dict[str, float]:
    found = {}
    for key, (field, low, high, factor) in wanted.items():
        number = finite_number(given.get(key))
        if number is None or not low <= number <= high / factor:
            problems.append(
                f"{key} is {shortened(given.get(key))}; it must be a number, {low:g} to "
                f"{high / factor:g}: write the file anew"
            )
        found[field] = math.nan if number is None else number * factor
    return found


def _layer(given: Mapping[str, Any], key: str, low: float, high: float, problems: list[str]) -> Any:
    value = given.get(key)
    numbers = [finite_number(one) for one in value] if isinstance(value, Sequence) else []
    few, many = LAYERS
    sound = all(one is not None and low <= one <= high for one in numbers)
    if not few <= len(numbers) <= many or not sound:
        problems.append(
            f"{key} is {shortened(value)}; a list of {few} to {many} numbers, {low:g} to {high:g}, "
            "from the bottom up"
        )
    return np.array([math.nan if one is None else one for one in numbers])


def text_of_state(bay: Bay, state: PileState) -> str:
    """The state as the text of a file."""
    return json.dumps(state_to_dict(bay, state), indent=1, allow_nan=False) + "\n"
