"""
Whole years as they stand, fog and all, go through ``season`` and ``size``; a bay at another height
is told so.

The files are typical years of stations and of a generator of weather, found in packages of the
Python registry: installed where somebody did so, otherwise fetched by pip (45 MB, kept in its
cache), without what those packages need themselves.
"""

from __future__ import annotations

import csv
import json
import subprocess
import sys
import zipfile
from dataclasses import replace
from importlib import metadata

import pytest

from ventcalc.bay.file import bay_to_toml, example_bay
from ventcalc.commands.main import main
from ventcalc.weather import read_weather

CLIMATES = {
    "besos==2.2.3": (("example_epw.epw", 201.0),),
    "pvlib==0.16.1": (("723170TYA.CSV", 273.0), ("703165TY.csv", 7.0)),
    "accim-samples==0.8.2": (
        ("rename_epw_files/GBR_Aberdeen.Dyce.030910_IWEC.epw", 65.0),
        ("Current_Shimla-hour.epw", 2122.0),
    ),
}
"""Package, end of the file's path, height above the sea by its own header [m]."""


@pytest.fixture(scope="module", params=CLIMATES)
def files(request, tmp_path_factory):
    """The climates of a package, each with its height."""
    name, _, version = request.param.partition("==")
    wanted = CLIMATES[request.param]
    target = tmp_path_factory.mktemp("climates")
    try:
        found = metadata.distribution(name)
    except metadata.PackageNotFoundError:
        found = None
    if found is not None and found.version == version:
        held = {str(path): path.read_binary for path in found.files if _named(path, wanted)}
    else:
        fetch = ["pip", "download", "--quiet", "--no-deps", "--dest", str(target), request.param]
        subprocess.run([sys.executable, "-m", *fetch], check=True)
        wheel = zipfile.ZipFile(next(target.glob("*.whl")))
        held = {path: lambda path=path: wheel.read(path) for path in wheel.namelist()}
    return [(_copied(held, end, target), height) for end, height in wanted]


def _named(path, wanted):
    return any(str(path).endswith(end) for end, _ in wanted)


def _copied(held, end, target):
    copy = target / end.rpartition("/")[2]
    copy.write_bytes(next(read for path, read in held.items() if path.endswith(end))())
    return copy


def told(capsys, *words):
    """What a command prints as JSON; no word of trouble beside it."""
    status = main([str(word) for word in words])
    out, err = capsys.readouterr()
    assert (status, err) == (0, "")
    return json.loads(out)


def most_humid(path):
    """Greatest relative humidity that the file itself names. [%]"""
    rows = list(csv.reader(path.read_text(encoding="latin-1").splitlines()))
    if path.suffix == ".epw":
        return max(float(row[8]) for row in rows[8:])
    place = rows[1].index("RHum (%)")
    return max(float(row[place]) for row in rows[2:])


def test_raw_years_are_read_and_go_through_season_and_size(files, tmp_path, capsys):
    for path, height in files:
        assert most_humid(path) >= 100.0
        weather = read_weather(path, altitude=height)
        assert len(weather.time) == 8760
        assert 0.995 < weather.relative_humidity.max() <= 1.0
        bay, end = example_bay("seed_bay"), f"{str(weather.time[4380])[:4]}-10-05"
        bay = replace(bay, site=replace(bay.site, altitude=height))
        file, sized = tmp_path / f"{path.stem}.toml", tmp_path / f"{path.stem}_sized.toml"
        file.write_text(bay_to_toml(bay), encoding="utf-8")
        sizes = told(capsys, "size", file, "--weather", path, "--out", sized, "--json")["sizes"]
        assert 150.0 < sizes["fans_static_pressure_pa"] < 400.0
        # 1 800 t while it is filled: respiration of 45 to 90 W/t and field heat, in any climate
        assert 80e3 < sizes["refrigeration_load_filling_w"] < 400e3
        until = ("--until", end, "--layers", "4")
        ran = told(capsys, "season", sized, "--weather", path, *until, "--json")
        # about 3 % in the first month (Olsen and Frazier, Univ. of Idaho)
        assert 0.005 < ran["policies"]["advice"]["mass_loss"] < 0.04


def test_a_bay_at_another_height_is_told_both_heights(files, capsys):
    path, height = files[0]
    for command in ("season", "size"):
        assert main([command, "seed_bay", "--weather", str(path)]) == 2
        out, err = capsys.readouterr()
        assert out == ""
        assert f"a place {height:,.0f} m above sea level, the bay stands at 1,524 m" in err
        assert "set site.altitude" in err
