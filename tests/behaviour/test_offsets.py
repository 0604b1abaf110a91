"""Offsets of probes, learnt from a log: found, within what is said of them, or not told."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

import ventcalc as vc
from ventcalc.diagnose import Log, diagnose
from ventcalc.diagnose.log import COLUMNS, FACTORS
from ventcalc.diagnose.offsets import offset_findings, sensor_offsets
from ventcalc.pile.crop import crop_for
from ventcalc.report.diagnose_text import diagnosis_data, diagnosis_text
from ventcalc.report.season_log import season_columns

BAY = vc.example_bay("seed_bay")
DAY = 86400.0


@pytest.fixture(scope="module")
def season():
    """Ten weeks of a bay with less air and a crop that dries and breathes faster than told."""
    crop = crop_for(BAY.use)
    other = replace(
        crop,
        transpiration_cured=1.3 * crop.transpiration_cured,
        respiration_settled=1.2 * crop.respiration_settled,
    )
    thin = replace(BAY, fans=replace(BAY.fans, airflow=0.88 * BAY.fans.airflow))
    return vc.run_season(
        thin, vc.example_weather(), believed=BAY, crop=other, layers=20, compiled=False,
        until=np.datetime64("2018-11-28T00:00:00"),
    )  # fmt: skip


@pytest.fixture(scope="module")
def read(season):
    """The log with these offsets [K, 0-1] in its probes, and noise."""

    def call(days=None, drop=(), **off):
        rng = np.random.default_rng(3)
        time, columns = season_columns(season)
        rows = slice(None) if days is None else time < time[0] + days * DAY
        values, pulp = {}, []
        for name, column in columns.items():
            noise = 0.1 if "temp" in name or "pulp" in name else 0.01 if "_rh" in name else 0.0
            told = column + off.get(name, 0.0) + rng.normal(0.0, noise, len(column))
            if "_rh" in name:
                told = np.clip(told, 0.0, 1.0)
            if name.startswith("pulp"):
                pulp.append(told[rows])
            elif name not in drop:
                values[COLUMNS[name][0]] = told[rows] * FACTORS.get(COLUMNS[name][0], 1.0)
        return Log(time=time[rows], values=values, pulp=np.array(pulp).T)

    return call


def learnt(log):
    return sensor_offsets(vc.as_installed(BAY), log)


OFF = {"plenum_rh": -0.06, "plenum_temp_c": -0.4, "pulp_1_c": 0.2}
TRUE = -0.2 + 0.97 * -0.4 + 0.158 * -6.0


def test_what_counts_for_wetting_is_found_within_what_is_said_and_learnt_better(read):
    sound, off = learnt(read()), learnt(read(**OFF))
    for found, true in ((sound, 0.0), (off, TRUE)):
        error = np.abs(found.wetting_difference - true)[found.tells]
        assert len(error) > 300
        assert np.mean(error > 2.0 * found.wetting_uncertainty[found.tells]) < 0.17
        assert found.wetting_uncertainty[-1] < 0.4, "of 0.64 K before anything is learnt"
    assert offset_findings(sound, "metric") == []
    told = [finding.text for finding in offset_findings(off, "metric")]
    assert any("nearer to the pulp" in text for text in told)


def test_nothing_is_told_early_or_where_the_spray_or_the_humidity_is_unknown(read):
    early = learnt(read(days=24))
    assert not early.tells.any()
    assert "day 25" in early.why_not
    assert "humidifier" in learnt(read(drop=("humidifier",))).why_not
    assert "outside relative humidity" in learnt(read(drop=("outside_rh",))).why_not
    assert "99.5" in learnt(read(plenum_rh=0.2)).why_not


def test_a_door_that_leaks_makes_the_estimate_silent_or_safe(read):
    """What it takes for a tenth of outside air must not be sold as a probe."""
    log = read()
    leak = 0.1 * (log.values["outside_temperature"] - log.values["return_temperature"])
    log.values["plenum_temperature"] += np.where(log.values["fan_speed"] > 0.0, leak, 0.0)
    found = learnt(log)
    assert not found.tells[-1] or found.wetting_difference[-1] < 2.0 * found.wetting_uncertainty[-1]


def test_a_diagnosis_tells_offsets_in_words_and_data(read):
    found = diagnose(vc.as_installed(BAY), read())
    assert "Only this counts for wetting" in " ".join(diagnosis_text(BAY, found).split())
    data = diagnosis_data(BAY, found)["offsets"]
    assert data["cannot_tell"] is None
    assert abs(data["wetting_k"]) < 3.0 * data["wetting_standard_uncertainty_k"]
