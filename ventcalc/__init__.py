"""
Psychrometrics-based advice on the ventilation and climate of bulk potato storages.

``import ventcalc as vc`` loads nothing yet; ``vc.air``, ``vc.advise`` and the other names below
load their module on first use, so that a program pays only for what it asks.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

__version__ = "0.1.0"

if TYPE_CHECKING:
    from ventcalc import air, building, errors, pile, units, weather
    from ventcalc.advice.advise import Advice, Memory, Readings, advise
    from ventcalc.advice.policies import Positions
    from ventcalc.advice.reasons import reasons
    from ventcalc.air import process as air_process
    from ventcalc.bay import description as storage
    from ventcalc.bay.description import Bay
    from ventcalc.bay.file import example_bay, read_bay
    from ventcalc.building import ceiling, condensation, ground, sky
    from ventcalc.calibration.fit import FittedBay, fit_bay
    from ventcalc.compiled.records import updated
    from ventcalc.diagnose.log import read_log
    from ventcalc.diagnose.offsets import SensorOffsets, sensor_offsets
    from ventcalc.equipment import coil, duct, fan, humidifier, lateral, plenum, refrigeration
    from ventcalc.errors import BadInput, OutOfRange, VentcalcError
    from ventcalc.outlook.ahead import look_ahead
    from ventcalc.outlook.start import state_of_readings
    from ventcalc.outlook.state import read_state, state_of_season
    from ventcalc.pile import bed, crop
    from ventcalc.pile import loads as pile_loads
    from ventcalc.plan.tariff import tariff_of
    from ventcalc.plan.week import plan_week
    from ventcalc.season.batch import run_seasons
    from ventcalc.season.installed import as_installed
    from ventcalc.season.run import run_season
    from ventcalc.season.steps import SensorErrors
    from ventcalc.trial.run import run_trial
    from ventcalc.weather import Weather, example_weather, read_weather
    from ventcalc.weather.forecast import read_forecast

__all__ = [
    "Advice",
    "BadInput",
    "Bay",
    "FittedBay",
    "Memory",
    "OutOfRange",
    "Positions",
    "Readings",
    "SensorErrors",
    "SensorOffsets",
    "VentcalcError",
    "Weather",
    "advise",
    "air",
    "air_process",
    "as_installed",
    "bed",
    "building",
    "ceiling",
    "coil",
    "condensation",
    "crop",
    "duct",
    "errors",
    "example_bay",
    "example_weather",
    "fan",
    "fit_bay",
    "ground",
    "humidifier",
    "lateral",
    "look_ahead",
    "pile",
    "pile_loads",
    "plan_week",
    "plenum",
    "read_bay",
    "read_forecast",
    "read_log",
    "read_state",
    "read_weather",
    "reasons",
    "refrigeration",
    "run_season",
    "run_seasons",
    "run_trial",
    "sensor_offsets",
    "sky",
    "state_of_readings",
    "state_of_season",
    "storage",
    "tariff_of",
    "units",
    "updated",
    "weather",
]

_MODULES = {
    **{name: name for name in ("air", "building", "errors", "pile", "units", "weather")},
    "air_process": "air.process",
    **{name: f"building.{name}" for name in ("ceiling", "condensation", "ground", "sky")},
    "storage": "bay.description",
    **{
        name: f"equipment.{name}"
        for name in ("coil", "duct", "fan", "humidifier", "lateral", "plenum", "refrigeration")
    },
    "bed": "pile.bed",
    "crop": "pile.crop",
    "pile_loads": "pile.loads",
}
"""Public modules, and where they live."""
_MEMBERS = {
    "advice.advise": ("Advice", "Memory", "Readings", "advise"),
    "advice.policies": ("Positions",),
    "advice.reasons": ("reasons",),
    "bay.description": ("Bay",),
    "bay.file": ("example_bay", "read_bay"),
    "calibration.fit": ("FittedBay", "fit_bay"),
    "compiled.records": ("updated",),
    "diagnose.log": ("read_log",),
    "diagnose.offsets": ("SensorOffsets", "sensor_offsets"),
    "errors": ("BadInput", "OutOfRange", "VentcalcError"),
    "outlook.ahead": ("look_ahead",),
    "outlook.start": ("state_of_readings",),
    "plan.tariff": ("tariff_of",),
    "plan.week": ("plan_week",),
    "outlook.state": ("read_state", "state_of_season"),
    "season.installed": ("as_installed",),
    "season.batch": ("run_seasons",),
    "season.run": ("run_season",),
    "season.steps": ("SensorErrors",),
    "trial.run": ("run_trial",),
    "weather": ("Weather", "example_weather", "read_weather"),
    "weather.forecast": ("read_forecast",),
}
"""Public functions and classes by the module that they live in."""
_HOME_OF = {name: home for home, names in _MEMBERS.items() for name in names}


def __getattr__(name: str) -> Any:
    if name in _MODULES:
        value = import_module(f"ventcalc.{_MODULES[name]}")
    elif name in _HOME_OF:
        value = getattr(import_module(f"ventcalc.{_HOME_OF[name]}"), name)
    else:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
