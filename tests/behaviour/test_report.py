"""The HTML report: one sound, self-contained page that says what the season's numbers say."""

from __future__ import annotations

import re
from dataclasses import replace
from html.parser import HTMLParser

import numpy as np
import pytest

from ventcalc.advice.policies import POLICIES
from ventcalc.bay.description import Refrigeration
from ventcalc.bay.file import example_bay
from ventcalc.report.season_days import days_of, loss_at, stage_runs
from ventcalc.report.season_page import CAUTIONS, season_page
from ventcalc.report.season_rows import ROWS, equipment_lines, per_tonne, published_lines
from ventcalc.report.season_summary import HEADLINES, glances, on_target, verdict
from ventcalc.season.run import run_season
from ventcalc.weather import example_weather

VOID = {"meta", "br", "hr", "img", "link", "input"}


@pytest.fixture(scope="module")
def weather():
    return example_weather()


@pytest.fixture(scope="module")
def season(weather):
    """A month of the seed bay with refrigeration, across the end of summer time."""
    bay = example_bay()
    day = 86400.0
    plan = replace(
        bay.schedule,
        fill_start="10-20",
        fill_days=2 * day,
        healing_days=5 * day,
        holding_temperature=10.0,
        warm_up_start="11-12",
        warm_up_temperature=10.5,
        unloading_start="11-16",
        unloading_days=3 * day,
    )
    cold = Refrigeration(capacity=70e3)
    bay = replace(bay, name="Bay <1> & co", schedule=plan, heater=None, refrigeration=cold)
    return run_season(bay, weather, POLICIES["advice"], name="advice", layers=10)


@pytest.fixture(scope="module")
def page(season, weather):
    other = replace(season, policy="thermostat")
    return season_page([season, other], weather, "us", remarks=["A <credit>."])


class Outline(HTMLParser):
    """Tags, ids and links of a page; complains about tags that do not match."""

    def __init__(self, text):
        super().__init__()
        self.open, self.tags, self.ids, self.links, self.words = [], [], [], [], []
        self.feed(text)
        assert self.open == []

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        self.ids += [value for name, value in attrs if name == "id"]
        self.links += [value for name, value in attrs if name in ("src", "href", "xlink:href")]
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.handle_starttag(tag, attrs)
        if tag not in VOID:
            self.open.pop()

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        self.words.append(data)


@pytest.fixture(scope="module")
def outline(page):
    return Outline(page)


def test_the_page_is_sound_and_asks_nothing_of_the_network(page, outline):
    assert ("html", {"lang": "en"}) in outline.tags
    assert len(outline.ids) == len(set(outline.ids))
    assert outline.links
    assert all(link.startswith(("#", "data:image/png;base64,")) for link in outline.links)
    assert {tag for tag, _ in outline.tags}.isdisjoint({"link", "iframe", "img"})
    assert all("src" not in attrs for tag, attrs in outline.tags if tag == "script")
    (policy,) = (a["content"] for t, a in outline.tags if "http-equiv" in a)
    assert policy.startswith("default-src 'none'; ")
    assert "@import" not in page
    targets = set(re.findall(r"url\(#([^)]+)\)", page))
    targets |= {link[1:] for link in outline.links if link.startswith("#")}
    assert targets <= set(outline.ids)
    assert len(page.encode()) < 3e6


def test_every_plot_can_be_read_without_seeing_it(outline):
    plots = [attrs for tag, attrs in outline.tags if tag == "svg"]
    assert len(plots) == 7 + 2  # and one for each control method
    for attrs in plots:
        assert attrs["role"] == "img"
        assert set(attrs["aria-labelledby"].split()) <= set(outline.ids)
    tables = [tag for tag, _ in outline.tags if tag == "table"]
    assert len(tables) == len(plots) + 2  # one beside each plot, all results, what they cost


def test_names_are_text_and_not_markup(page, outline):
    assert "Bay &lt;1&gt; &amp; co" in page
    assert "A &lt;credit&gt;." in page
    assert "Bay <1>" not in page


def test_the_page_says_what_it_is_and_what_to_mind(outline, season, weather):
    words = " ".join(outline.words)
    assert "model, not a measurement" in words
    assert "An invented example." in words
    assert weather.source in words
    assert "averaged from 30 min" in words
    for caution in CAUTIONS:
        assert caution in words
    for row in ROWS:
        assert row.words in words
        assert row.text(season, "us") in words
    assert "thermostat" in words
    assert "nan" not in words.lower().split()
    for part in ("°C\n", "kWh/t "):
        assert part not in words


def test_the_page_is_the_same_each_time(page, season, weather):
    other = replace(season, policy="thermostat")
    assert season_page([season, other], weather, "us", remarks=["A <credit>."]) == page


def test_metric_page(season, weather):
    page = season_page([season], weather)
    assert "pulp, °C" in page
    assert "°F, mean" not in page


# --- the first screen --------------------------------------------------------------------


def test_the_first_screen_answers_before_it_explains(page, season):
    """Caution, verdict, four figures, pile; then methods; cautions and licences at the end."""
    parts = (
        '<p class="warn">',
        f"<strong>{verdict(season).word}</strong>",
        *(one.label for one in glances(season, "us")),
        "<h2>The pile</h2>",
        "<h2>Control methods side by side</h2>",
        "<h2>All results</h2>",
        "<h2>Cautions</h2>",
        "<h2>Sources and licences</h2>",
    )
    body = page[page.index("<body>") :]
    places = [body.index(part) for part in parts]
    assert places == sorted(places)


def test_the_four_figures_are_those_of_the_table(season):
    rows = {row.field: row.text(season, "us") for row in ROWS}
    assert [one.value for one in glances(season, "us")] == [rows[field] for field in HEADLINES]
    beside = " ".join(one.beside for one in glances(season, "us"))
    for source in ("Olsen and Frazier", "Potato Council", "Bethke", "Univ. of Nebraska"):
        assert source in beside


def test_the_verdict_follows_the_season(season):
    quiet = replace(
        season.kpi,
        **dict.fromkeys(
            ("frozen_minutes", "plenum_below_zero_minutes", "people_co2_hours", "ramp_hours",
             "ceiling_drip_hours", "late_hours", "spread_hours", "wet_crop_hours"),
            0.0,
        ),
    )  # fmt: skip
    held = season.traces | {"pulp_mean": season.traces["target"].copy()}
    good = replace(season, kpi=quiet, traces=held)
    assert on_target(good) == 1.0
    assert (verdict(good).state, verdict(good).mind) == ("good", ())
    assert "it stayed dry" in verdict(good).sentence
    frozen = replace(good, kpi=replace(quiet, frozen_minutes=30.0))
    assert verdict(frozen).state == "bad"
    assert "freezing injury for 30 min" in verdict(frozen).sentence
    late = replace(good, kpi=replace(quiet, late_hours=100.0))
    assert verdict(late).state == "watch"
    assert "100 h late" in " ".join(verdict(late).mind)
    never = replace(good, kpi=replace(quiet, late_hours=100.0, holding_missed=1.0))
    assert "never reached" in " ".join(verdict(never).mind)
    warm = replace(good, traces=held | {"pulp_mean": season.traces["target"] + 2.0})
    assert on_target(warm) == 0.0
    assert verdict(warm).state == "bad"


def test_a_lone_season_is_compared_with_nothing(season, weather):
    assert "side by side" not in season_page([season], weather)


def test_a_pile_that_heats_itself_leaves_the_others_their_scale(season, weather):
    """Small plots share a scale: not that of the pile without ventilation, whose peak is told."""
    hot = {name: trace + 30.0 for name, trace in season.traces.items() if name.startswith("pulp_")}
    left = replace(season, policy="nothing", traces=season.traces | hot)
    text = season_page([season, left], weather)
    first, second = re.findall(r'<svg viewBox="0 0 400 200".*?</svg>', text, re.S)
    highest = float(np.nanmax(left.traces["pulp_top"]))
    assert "off the scale" not in first
    assert f"off the scale, up to {highest:.0f} °C" in second
    ticks = [float(label) for label in re.findall(r'text-anchor="end"[^>]*>(\d+)<', first + second)]
    assert max(ticks) < 25.0
    assert re.findall(r'"end"[^>]*>(\d+)<', first) == re.findall(r'"end"[^>]*>(\d+)<', second)


# --- days and months ---------------------------------------------------------------------


def test_days_are_local_days(season):
    days = days_of(season)
    lengths = dict(zip(days.dates, np.bincount(days.day).tolist(), strict=True))
    # Summer time ended on 4 November 2018 in the United States (Energy Policy Act of 2005).
    odd = {f"{day:%m-%d}": hours for day, hours in lengths.items() if hours != 24}
    assert odd == {"11-04": 25}
    assert days.months == ["Oct 2018", "Nov 2018"]


def test_months_add_up_to_the_season(season):
    days = days_of(season)
    tonnes = season.bay.mass / 1000.0
    total = sum(
        float(days.monthly_total(name).sum())
        for name in ("fan_power", "coil_power", "heater_power", "humidifier_power")
    )
    assert total / 1000.0 / tonnes == pytest.approx(season.kpi.energy, rel=1e-9)
    coldest = days.monthly("outside_temperature", np.min).min()
    assert coldest == season.traces["outside_temperature"].min()


def test_a_day_without_values_is_unknown(season):
    days = days_of(season)
    season.traces["plenum_temperature"][days.day == 3] = np.nan
    daily = days.daily("plenum_temperature", np.mean)
    assert np.isnan(daily[3])


def test_stages_in_their_order(season):
    runs = stage_runs(days_of(season))
    names = [name for name, _, _ in runs]
    assert names[:3] == ["filling", "wound healing", "cool down"]
    assert names[-1] == "unloading"
    assert all(begin <= end for _, begin, end in runs)


def test_loss_by_age(season):
    losses = [loss_at(season, age) for age in (5, 10, 25)]
    assert 0 < losses[0] < losses[1] < losses[2] < 0.05
    assert np.isnan(loss_at(season, 150))


def test_published_figures_carry_their_sources(season):
    text = " ".join(published_lines(season, "us"))
    for part in ("J. Agric. Sci.", "Bethke", "Olsen and Frazier", "°F"):
        assert part in text
    assert "kWh/ton" in " ".join(equipment_lines(season, "us"))
    assert "27 Btu/(h ton) to 45 Btu/(h ton)" in text  # 30 to 50 Btu/h per long ton of 2 240 lb


def test_amounts_per_ton():
    """A short ton is 0.90718474 t and a pound 0.45359237 kg (NIST SP 811)."""
    assert per_tonne(10.0, "kWh", "us") == "9.07 kWh/ton"
    assert per_tonne(10.0, "kg", "us") == "20.00 lb/ton"
    assert per_tonne(10.0, "kWh", "metric") == "10.00 kWh/t"
