"""The crop: limits, monotone answers, arrays, bad input, sources."""

from __future__ import annotations

from dataclasses import fields

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ventcalc.errors import BadInput, OutOfRange
from ventcalc.pile import crop
from ventcalc.pile.crop import Crop, crop_for, crop_sources, temperature_factor

approx = pytest.approx
DAY = 86400.0
USES = ["seed", "table", "fries", "chips"]
POTATO = crop_for("table")
temperatures = st.floats(-2.0, 30.0)
ages = st.floats(0.0, 300 * DAY)


@pytest.mark.parametrize("maturity", ["mature", "immature"])
def test_what_a_fresh_crop_breathes_more_falls_to_a_third_in_ten_days(maturity):
    """To 1/e in the settling time."""
    heats = crop.respiration_heat(12.0, np.array([0.0, 10.0, 20.0, 300.0]) * DAY, POTATO, maturity)
    more = heats[:3] - heats[3]
    assert more[1:] / more[:-1] == approx(np.exp(-1.0), rel=1e-6)


@settings(deadline=None)
@given(temperatures, ages, st.floats(0.01, 10.0), st.sampled_from(["mature", "immature"]))
def test_respiration_rises_away_from_its_least(temperature, age, more, maturity):
    sign = 1.0 if temperature >= POTATO.respiration_least_at else -1.0
    near = crop.respiration_heat(temperature, age, POTATO, maturity)
    away = temperature + sign * more
    if -5.0 <= away <= 30.0:
        assert crop.respiration_heat(away, age, POTATO, maturity) > near > 0.0


def test_a_crop_too_warm_stops_gaining_at_30_and_respires_nothing_when_dead():
    heats = [crop.respiration_heat(t, 0.0, POTATO) for t in (29.0, 30.0, 33.0, 35.0, 40.0, 45.0)]
    assert heats[0] < heats[1] == heats[2] == heats[3] > heats[4] > heats[5] == 0.0


@settings(deadline=None)
@given(temperatures, st.floats(0.0, 100 * DAY), st.floats(DAY, 100 * DAY))
def test_respiration_falls_with_age_and_immature_stays_above(temperature, age, more):
    young = crop.respiration_heat(temperature, age, POTATO)
    old = crop.respiration_heat(temperature, age + more, POTATO)
    settled = crop.respiration_heat(temperature, 1e9, POTATO)
    assert young > old > settled
    assert crop.respiration_heat(temperature, age, POTATO, "immature") > young


@settings(deadline=None)
@given(ages)
def test_age_and_temperature_act_apart(age):
    """Warmer crop gives off as many times the heat at every age."""
    fresh, aged = (crop.respiration_heat(np.array([6.0, 14.0]), a, POTATO) for a in (0.0, age))
    factors = [temperature_factor(t, POTATO) for t in (6.0, 14.0)]
    assert aged[1] / aged[0] == approx(fresh[1] / fresh[0], rel=1e-12)
    assert aged[1] / aged[0] == approx(factors[1] / factors[0], rel=1e-12)


@settings(deadline=None)
@given(temperatures, st.floats(0.1, 8.0))
def test_healing_is_never_slower_when_warmer_and_stops_gaining_at_20(temperature, more):
    slow, fast = (crop.curing_rate(t, POTATO) for t in (temperature, temperature + more))
    assert 0.0 < slow <= fast
    assert crop.curing_rate(25.0, POTATO) == crop.curing_rate(20.0, POTATO)
    assert crop.curing_rate(POTATO.curing_reference, POTATO) == approx(1.0, rel=1e-12)


@settings(deadline=None)
@given(st.floats(0.0, 300 * DAY), st.floats(60.0, 100 * DAY))
def test_skin_closes_but_not_for_good(curing, more):
    now, later = (crop.transpiration_coefficient(c, POTATO) for c in (curing, curing + more))
    assert POTATO.transpiration_cured <= later <= now <= POTATO.transpiration_uncured


@settings(deadline=None)
@given(st.floats(0.0, 1.0))
def test_mass_that_leaves_is_mass_burned(heat):
    """Glucose and oxygen in, CO2 and water out; oxygen by difference is 192 g per 264 g CO2."""
    gas = crop.co2_rate(heat, POTATO)
    oxygen = gas + crop.metabolic_water_rate(heat, POTATO) - crop.dry_matter_rate(heat, POTATO)
    assert oxygen == approx(gas * 191.99 / 264.06, rel=1e-4, abs=1e-300)


def test_respiration_is_continuous():
    t = np.linspace(-5.0, 45.0, 50_001)
    heat = crop.respiration_heat(t, 0.0, POTATO)
    assert np.max(np.abs(np.diff(heat))) < 1e-3 * heat.max()


CALLS = {
    "respiration_heat": lambda x: crop.respiration_heat(x, 5 * DAY, POTATO),
    "age": lambda x: crop.respiration_heat(8.0, x * DAY, POTATO),
    "curing_rate": lambda x: crop.curing_rate(x, POTATO),
    "transpiration": lambda x: crop.transpiration_coefficient(x * DAY, POTATO),
}


@pytest.mark.parametrize("name", CALLS)
def test_array_is_scalar_by_scalar_and_missing_stays_missing(name):
    call, x = CALLS[name], np.array([[0.0, 3.0, 7.2], [12.8, 21.0, np.nan]])
    found = call(x)
    assert found.shape == x.shape
    for value, one in zip(found.ravel(), x.ravel(), strict=True):
        alone = call(float(one))
        assert isinstance(alone, float)
        assert alone == approx(value, rel=1e-14, nan_ok=True)
    assert np.isnan(found).tolist() == np.isnan(x).tolist()


@pytest.mark.parametrize(
    ("call", "word"),
    [
        (lambda: crop.respiration_heat(281.0, 0.0, POTATO), "kelvin"),
        (lambda: crop.respiration_heat(8.0, -1.0, POTATO), "age"),
        (lambda: crop.curing_rate(55.0, POTATO), "temperature"),
        (lambda: crop.transpiration_coefficient(-1.0, POTATO), "curing"),
    ],
)
def test_slips_are_named(call, word):
    with pytest.raises(OutOfRange, match=word):
        call()


def test_unknown_use_is_refused_with_the_choices():
    with pytest.raises(BadInput, match="chips, fries, seed, table"):
        crop_for("starch")


@pytest.mark.parametrize("use", USES)
def test_every_value_has_a_unit_and_a_source(use):
    sources = crop_sources(use)
    stuff = crop_for(use)
    for field in fields(Crop):
        if field.name == "use":
            continue
        value, unit, source = sources[field.name]
        assert value == getattr(stuff, field.name)
        assert unit
        assert len(source) > 10


@pytest.mark.parametrize("use", USES)
def test_no_use_is_held_near_freezing(use):
    stuff = crop_for(use)
    assert stuff.injury_temperature <= stuff.freezing_temperature < stuff.holding_low - 1.0
