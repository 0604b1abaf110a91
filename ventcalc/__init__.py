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
    from ventcalc import errors, storage, units, weather
    from ventcalc.bay_file import example_bay, read_bay
    from ventcalc.decisions.advice import Advice, Memory, Readings, advise
    from ventcalc.decisions.reasons import reasons
    from ventcalc.equipment import coil, duct, fan, humidifier, lateral, plenum, refrigeration
    from ventcalc.errors import BadInput, OutOfRange, VentcalcError
    from ventcalc.physics import (
        air,
        air_process,
        bed,
        building,
        ceiling,
        condensation,
        crop,
        ground,
        pile,
        pile_loads,
        sky,
    )
    from ventcalc.storage import Bay
    from ventcalc.studies.installed import as_installed
    from ventcalc.studies.season import run_season, run_seasons
    from ventcalc.weather import Weather, example_weather, read_weather

__all__ = [
    "Advice",
    "BadInput",
    "Bay",
    "Memory",
    "OutOfRange",
    "Readings",
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
    "ground",
    "humidifier",
    "lateral",
    "pile",
    "pile_loads",
    "plenum",
    "read_bay",
    "read_weather",
    "reasons",
    "refrigeration",
    "run_season",
    "run_seasons",
    "sky",
    "storage",
    "units",
    "weather",
]

_HOMES = {
    "ventcalc": ("errors", "storage", "units", "weather"),
    "ventcalc.physics": (
        *("air", "air_process", "bed", "building", "ceiling", "condensation"),
        *("crop", "ground", "pile", "pile_loads", "sky"),
    ),
    "ventcalc.equipment": (
        *("coil", "duct", "fan", "humidifier", "lateral", "plenum", "refrigeration"),
    ),
    "ventcalc.bay_file": ("example_bay", "read_bay"),
    "ventcalc.decisions.advice": ("Advice", "Memory", "Readings", "advise"),
    "ventcalc.decisions.reasons": ("reasons",),
    "ventcalc.errors": ("BadInput", "OutOfRange", "VentcalcError"),
    "ventcalc.storage": ("Bay",),
    "ventcalc.studies.installed": ("as_installed",),
    "ventcalc.studies.season": ("run_season", "run_seasons"),
    "ventcalc.weather": ("Weather", "example_weather", "read_weather"),
}
_HOME_OF = {name: home for home, names in _HOMES.items() for name in names}


def __getattr__(name: str) -> Any:
    if name not in _HOME_OF:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    home = _HOME_OF[name]
    packages = ("ventcalc", "ventcalc.physics", "ventcalc.equipment")
    value = (
        import_module(f"{home}.{name}") if home in packages else getattr(import_module(home), name)
    )
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
