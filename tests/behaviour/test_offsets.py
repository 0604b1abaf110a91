"""Offsets of probes, learnt from a log: found, within what is said of them, or not told."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

import ventcalc as vc
from ventcalc.diagnose import Log, diagnose
from ventcalc.diagnose.log import COLUMNS, FACTORS
from ventcalc.diagnose.margin import margin_by_log
from ventcalc.diagnose.offsets import SensorOffsets, offset_findings, sensor_offsets
from ventcalc.logbook.checked_sensors import CheckedSensors
from ventcalc.pile.crop import crop_for
from ventcalc.report.diagnose_text import diagnosis_data, diagnosis_text
from ventcalc.report.season_log import season_columns
from ventcalc.weather.forecast_errors import forecast_errors

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


def foretold(log, seed):
    """With a forecast made each day, and where it stands off the site all season long."""
    rng = np.random.default_rng(seed)
    days = -(-len(log.time) // 24)
    error = forecast_errors(48, level="medium", seed=seed, runs=days, bias=False)[0][:, :24].ravel()
    true = log.values["outside_temperature"]
    beside = true + error[: len(true)] + rng.normal(0.0, 0.5)
    return replace(log, values={**log.values, "forecast_temperature": beside})


def test_an_outside_probe_is_found_by_the_forecast_within_what_is_said(read):
    log = read(days=40)
    errors, doubts = [], []
    for seed in range(10):
        off = float(np.random.default_rng(seed + 100).normal(0.0, 1.0))
        beside = foretold(log, seed)
        beside.values["outside_temperature"] = beside.values["outside_temperature"] + off
        found = learnt(beside)
        errors.append(found.offsets["outside"][-1] - off)
        doubts.append(found.uncertainties["outside"][-1])
    assert np.mean(np.abs(errors) > 2.0 * np.array(doubts)) <= 0.17
    assert max(doubts) < 0.6
    assert np.sqrt(np.mean(np.square(errors))) > 0.5 * np.mean(doubts), "nor too modest"


def test_without_a_station_the_outside_probe_is_not_told(read):
    log = read()
    bare, short = diagnose(vc.as_installed(BAY), log), foretold(read(days=5), 0)
    assert "forecast_temp_c" in " ".join(diagnosis_text(BAY, bare).split())
    assert "too few" in learnt(short).why_not_outside
    clock = (log.time / 3600.0 - 7.0) % 24.0
    sun = np.where((clock > 9.0) & (clock < 17.0), 5.0, 0.0)
    for more, name in ((2.5, "sensor_offset"), (sun, "outside_probe")):
        beside = foretold(log, 1)
        beside.values["outside_temperature"] = beside.values["outside_temperature"] + more
        found = diagnose(vc.as_installed(BAY), beside)
        told = {one.id for one in found.findings if "outside probe" in one.text.lower()}
        assert told == {name}, "the sun is another matter than an offset"


def test_a_diagnosis_tells_offsets_in_words_and_data(read):
    found = diagnose(vc.as_installed(BAY), read())
    assert "Only this counts for wetting" in " ".join(diagnosis_text(BAY, found).split())
    data = diagnosis_data(BAY, found)["offsets"]
    assert data["cannot_tell"] is None
    assert abs(data["wetting_k"]) < 3.0 * data["wetting_standard_uncertainty_k"]


BARE = CheckedSensors(sensors=BAY.sensors, offsets={})
END = 1.55e9


def told(difference, uncertainty, tells=True, time=END):
    """What a log of one hour says."""
    return SensorOffsets(
        time=np.array([time]), offsets={"pulp": np.zeros(1)}, uncertainties={},
        wetting_difference=np.array([difference]), wetting_uncertainty=np.array([uncertainty]),
        tells=np.array([tells]), why_not="" if tells else "too few hours",
        tells_outside=np.array([False]), why_not_outside="no forecast",
    )  # fmt: skip


def test_the_margin_never_falls_below_what_the_log_itself_is_sure_of():
    """Twice its uncertainty and all that is unsafe; nor below what the thermometers leave open."""
    rng = np.random.default_rng(0)
    lowered = raised = 0
    for off, own in zip(rng.normal(0.0, 0.6, 300), rng.uniform(0.1, 0.6, 300), strict=True):
        found = margin_by_log(BAY, BARE, told(off, own), END, 4.0)
        least = BAY.control.confidence * own + max(-off, 0.0)
        thermometers = BAY.control.confidence * 2.0**0.5 * BAY.sensors.temperature
        assert found.margin >= max(min(least, found.usual_margin), thermometers)
        assert found.trust.sensors.temperature == BAY.sensors.temperature
        if found.margin < found.usual_margin:
            assert found.margin >= least
            lowered += 1
        raised += found.margin > found.usual_margin
        assert (found.margin == found.usual_margin) == bool(found.why_not)
    assert lowered > 50
    assert raised > 20


@pytest.mark.parametrize(
    ("found", "pulp", "why"),
    [
        (told(0.0, 0.2, tells=False), 4.0, "too few hours"),
        (told(0.0, 0.2, time=END - 10 * DAY), 4.0, "ends 10 days before"),
        (told(0.0, 0.2, time=END + DAY), 4.0, "begins after"),
        (told(0.0, 0.2), np.nan, "no pulp"),
    ],
)
def test_a_log_that_cannot_tell_leaves_the_margin(found, pulp, why):
    kept = margin_by_log(BAY, BARE, found, END, pulp)
    assert why in kept.why_not
    assert kept.trust.sensors == BAY.sensors


def test_a_learnt_log_lowers_the_margin_and_unsafe_probes_raise_it(read):
    safe, unsafe, early = read(plenum_temp_c=0.4), read(**OFF), read(days=24)
    for log, way in ((safe, -1), (unsafe, 1), (early, 0)):
        found = margin_by_log(BAY, BARE, learnt(log), float(log.time[-1]), 4.0)
        assert np.sign(round(found.margin - found.usual_margin, 6)) == way
    checked = replace(
        BARE, offsets={"plenum_rh": -0.06, "plenum_temp_c": -0.4, "pulp probe 1": 0.2}
    )
    corrected = margin_by_log(BAY, checked, learnt(unsafe), float(unsafe.time[-1]), 4.0)
    assert corrected.difference == pytest.approx(0.0, abs=0.7), "checks took it off"
