"""
Real years of weather for benchmarks: EPW and TMY3 files inside packages; their licences are theirs.

``COLD`` is not a climate of the earth: Fort Collins 2018 made up to 22 K colder in winter, relative
humidity over ice kept.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from importlib.metadata import PackageNotFoundError, files
from pathlib import Path

import numpy as np

import ventcalc as vc
from ventcalc.weather import colder

PLACES = {
    "Denver": ("ochre-nrel", "USA_CO_Denver.Intl.AP.725650_TMY3.epw"),
    "Chicago": ("besos", "example_epw.epw"),
    "Aberdeen": ("accim-samples", "GBR_Aberdeen.Dyce.030910_IWEC.epw"),
    "London": ("accim-samples", "GBR_London.Gatwick.037760_IWEC.epw"),
    "Greensboro": ("pvlib", "723170TYA.CSV"),
    "Sand Point": ("pvlib", "703165TY.csv"),
}


def climates(folder: str | None) -> dict[str, vc.Weather]:
    """Weather of every place that is there."""
    found = {"Fort Collins": vc.example_weather()}
    for place, (package, name) in PLACES.items():
        path = Path(folder) / name if folder else _inside(package, name)
        if path is not None and path.exists():
            found[place] = vc.read_weather(path)
        else:
            print(f"{place}: no {name}; pip install --no-deps {package}", file=sys.stderr)
    found["COLD"] = colder(found["Fort Collins"], 22.0)
    if "Denver" in found:
        found["COLD Denver"] = colder(found["Denver"], 20.0)
    return found


def _inside(package: str, name: str) -> Path | None:
    try:
        inside = [path for path in files(package) or () if path.name == name]
    except PackageNotFoundError:
        return None
    return Path(str(inside[0].locate())) if inside else None


def bay_at(weather: vc.Weather) -> vc.Bay:
    """The invented seed bay at the altitude of the weather's pressure."""
    bay = vc.example_bay("seed_bay")
    high = 44330.0 * (1.0 - (float(np.mean(weather.pressure)) / 101325.0) ** (1.0 / 5.255))
    return replace(bay, site=replace(bay.site, altitude=max(high, 0.0)))
