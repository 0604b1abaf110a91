"""``ventcalc fit``: a bay that is not as described is found by its log, or what cannot is said."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace

import numpy as np
import pytest

import ventcalc as vc
from ventcalc.bay.starter import bay_to_toml
from ventcalc.commands.main import main
from ventcalc.errors import BadInput
from ventcalc.logbook.writing import add_lines
from ventcalc.pile.crop import crop_for
from ventcalc.report.fit_text import fit_text
from ventcalc.report.season_log import season_log_csv

INSTALLED = vc.as_installed(vc.example_bay("seed_bay"))
BAY = replace(
    INSTALLED,
    ducts=None,
    fans=replace(INSTALLED.fans, curve_airflow=None, curve_static_pressure=None),
)
"""Its airflow is a number, not where a curve meets ducts: so that it can be made less."""
TRUE = {
    "airflow": 0.8, "transpiration": 1.3, "respiration": 1.0, "envelope": 1.0, "fan_power": 0.8,
}  # fmt: skip
"""The fans' power falls with the air at the same efficiency."""
LAYERS = 10


@pytest.fixture(scope="module")
def text():
    """Five weeks of a bay with a fifth less air and a third more transpiration, with noise."""
    crop = crop_for(BAY.use)
    other = replace(
        crop,
        transpiration_cured=1.3 * crop.transpiration_cured,
        transpiration_uncured=1.3 * crop.transpiration_uncured,
    )
    thin = replace(BAY, fans=replace(BAY.fans, airflow=0.8 * BAY.fans.airflow))
    season = vc.run_season(
        thin, vc.example_weather(), believed=BAY, crop=other, layers=LAYERS, compiled=False,
        until=np.datetime64("2018-10-24T00:00:00"),
    )  # fmt: skip
    head, *rows = season_log_csv(season).splitlines()
    rng, noisy = np.random.default_rng(1), io.StringIO()
    table = list(csv.DictReader(rows))
    writer = csv.DictWriter(noisy, table[0])
    writer.writeheader()
    for row in table:
        for name in row:
            if name.endswith(("_temp_c", "_rh")) or name.startswith("pulp"):
                humid = name.endswith("_rh")
                told = float(row[name]) + rng.normal(0.0, 0.01 if humid else 0.1)
                row[name] = f"{min(told, 1.0) if humid else told:.4f}"
        writer.writerow(row)
    return f"{head}\n{noisy.getvalue()}"


def without(text, *names):
    """The log without some columns."""
    head, *rows = text.splitlines()
    table = [{k: v for k, v in row.items() if k not in names} for row in csv.DictReader(rows)]
    lines = [",".join(table[0]), *(",".join(row.values()) for row in table)]
    return "\n".join([head, *lines])


def shifted(text, column, by):
    """The log with a probe that is off."""
    head, *rows = text.splitlines()
    table = list(csv.DictReader(rows))
    for row in table:
        row[column] = f"{float(row[column]) + by:.4f}"
    return "\n".join([head, ",".join(table[0]), *(",".join(row.values()) for row in table)])


def test_another_airflow_and_transpiration_are_found_within_what_is_stated(text, tmp_path, capsys):
    """Although the outside probe reads 4 K too high, as its check has told."""
    bay, log, out = (tmp_path / name for name in ("north.toml", "log.csv", "fitted.toml"))
    bay.write_text(bay_to_toml(BAY), encoding="utf-8")
    log.write_text(shifted(text, "outside_temp_c", 4.0), encoding="utf-8")
    check = {
        "probe": "outside", "method": "reference", "reading_temperature": 14.0,
        "true_temperature": 10.0,
    }  # fmt: skip
    time = vc.read_log(text).time[0] - 86400.0
    folder = tmp_path / "north.season"
    add_lines(folder, BAY, "sensor_checks", [{**check, "time": time}], written=time)
    words = ("fit", bay, "--log", log, "--weather", "example", "--layers", LAYERS, "--out", out)
    assert main([*map(str, words), "--json"]) == 0
    data = json.loads(capsys.readouterr().out)
    for name, true in TRUE.items():
        one = data["factors"][name]
        assert one["low"] < true < one["high"], name
        assert one["identified"]
        assert one["high"] < 1.5 * one["low"], "and that says something"
    misses = data["misses"]
    assert misses["pulp_k"]["as_fitted"] < 0.5 * misses["pulp_k"]["as_described"]
    assert misses["plenum_k"]["as_fitted"] < 0.5 * misses["plenum_k"]["as_described"]
    assert data["better"]
    fitted = vc.read_bay(out)
    assert fitted.fans.airflow == pytest.approx(
        data["factors"]["airflow"]["factor"] * BAY.fans.airflow, rel=1e-3
    )
    assert "times the crop data; no key of a bay file" in out.read_text(encoding="utf-8")


def test_probes_that_drift_are_not_taken_for_the_crop(text):
    """Neither one by its own, nor all thermometers together."""
    log = vc.read_log(text)
    ramp = np.linspace(0.0, 0.5, len(log.time))
    for name in ("return_temperature", "plenum_temperature"):
        log.values[name] += ramp
    log.pulp[:] += ramp[:, None]
    log.pulp[:, 1] += 2.0 * ramp
    found = vc.fit_bay(BAY, log, vc.example_weather(), layers=LAYERS)
    for one in found.factors:
        assert one.low < TRUE[one.name] < one.high, one.name
    assert found.better
    drift = max(found.drifts, key=lambda one: one.change)
    true = 1.5 * found.fitted_hours / len(ramp)
    assert drift.what == "pulp 2"
    assert drift.change == pytest.approx(true, abs=4.0 * drift.doubt)
    alike = replace(found, drifts=tuple(replace(drift, what=f"pulp {k}") for k in range(1, 5)))
    first = "Check the outside probe first"
    assert [first in " ".join(fit_text(one).split()) for one in (found, alike)] == [False, True]
    said = fit_text(found, "us")
    assert "Pulp 2 probe drifts" in said
    assert "°F ±" in said


def test_what_the_log_cannot_tell_is_said_and_stays(text):
    """Without humidity, energy and plenum there is no telling fans from skin."""
    short = "\n".join(text.splitlines()[:600])
    log = vc.read_log(without(short, "plenum_rh", "return_rh", "energy_kwh"))
    log.values["plenum_temperature"][:] = np.nan
    log.values["return_temperature"][:] = np.nan
    found = vc.fit_bay(BAY, log, vc.example_weather(), layers=LAYERS)
    lost = [one for one in found.factors if not one.identified]
    assert lost
    assert all(one.factor == 1.0 for one in lost)
    assert min(found.strengths) < 3.0


def test_a_log_that_cannot_run_the_bay_is_refused(text):
    with pytest.raises(BadInput, match="lacks door opening"):
        vc.fit_bay(BAY, vc.read_log(without(text, "door_opening")))
    with pytest.raises(BadInput, match="240 or more"):
        vc.fit_bay(BAY, vc.read_log("\n".join(text.splitlines()[:300])))
