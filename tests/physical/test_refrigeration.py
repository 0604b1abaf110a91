"""Refrigeration against balances, limits and itself by another way."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest

from ventcalc.equipment import refrigerant_cycle as rc
from ventcalc.equipment import refrigerant_map as rm
from ventcalc.errors import BadInput, OutOfRange

approx = pytest.approx
PURE = ["R717", "R290", "R1270", "R134a", "R32", "R1234yf", "R1234ze(E)"]
ALL = [*PURE, "R744", "R404A", "R407C", "R410A", "R507A"]
EVAPORATING = np.linspace(-10.0, 8.0, 7)


def _cycle(name, evaporating, condensing, **settings):
    return rc.cycle(
        name, evaporating_temperature=evaporating, condensing_temperature=condensing, **settings
    )


def _span(name):
    return (12.0, 28.0) if name == "R744" else (18.0, 50.0)


@pytest.mark.parametrize("name", ALL)
def test_every_refrigerant_stays_below_carnot_and_keeps_its_energy(name):
    """Second law on the refrigerant's own temperatures; heat out = heat in + work."""
    low, high = _span(name)
    condensing = np.linspace(low, high, 5)[:, None]
    result = _cycle(name, EVAPORATING, condensing, cooling=1e5)
    glide = 6.0 if name == "R407C" else 0.5 if name in ("R404A", "R410A", "R507A") else 0.0
    lift = condensing - glide - EVAPORATING
    assert np.all(result.performance < (EVAPORATING + 273.15 + 5.0) / np.maximum(lift, 0.1))
    assert np.all(result.performance > 1.0)
    assert result.rejected_heat == approx(1e5 + result.power, rel=1e-12)
    assert result.mass_flow * result.refrigerating_effect == approx(
        np.full(result.power.shape, 1e5), rel=1e-12
    )
    assert np.all(result.discharge_temperature > condensing)


@pytest.mark.parametrize("name", ALL)
def test_warmer_evaporating_and_colder_condensing_help(name):
    """COP and volumetric cooling rise with the evaporating, fall with the condensing side."""
    low, high = _span(name)
    result = _cycle(name, EVAPORATING, np.linspace(low, high, 7)[:, None])
    for quantity in (result.performance, result.volumetric_cooling):
        assert np.all(np.diff(quantity, axis=1) > 0.0)
        assert np.all(np.diff(quantity, axis=0) < 0.0)


@pytest.mark.parametrize("name", ALL)
def test_map_follows_the_cycle(name):
    """The map against the cycle at random points away from its nodes."""
    fitted = rm.fit_performance(name, condensing_range=_span(name))
    generator = np.random.default_rng(7)
    evaporating = generator.uniform(-10.0, 8.0, 60)
    condensing = generator.uniform(*_span(name), 60)
    exact = _cycle(name, evaporating, condensing).performance
    mapped = rm.performance(fitted, evaporating, condensing)
    assert mapped == approx(exact, rel=2e-6)
    assert rm.performance(fitted, evaporating[3], float(condensing[3])) == approx(mapped[3])


def test_map_converges_spectrally():
    """Each node more along both sides takes a factor off the error."""
    generator = np.random.default_rng(3)
    evaporating, condensing = generator.uniform(-10, 8, 40), generator.uniform(18, 50, 40)
    exact = _cycle("R717", evaporating, condensing).performance
    errors = []
    for count in (3, 4, 5, 6):
        fitted = rm.fit_performance("R717", nodes=(count, count + 3))
        error = rm.performance(fitted, evaporating, condensing) / exact - 1.0
        errors.append(float(np.max(np.abs(error))))
    assert all(b < a / 5.0 for a, b in pairwise(errors))


def test_scalar_and_array_agree_and_nan_passes():
    alone = _cycle("R290", -3.0, 30.0)
    many = _cycle("R290", [-3.0, np.nan, 1.0], [30.0, 30.0, np.nan])
    assert isinstance(alone.performance, float)
    assert many.performance[0] == approx(alone.performance, rel=1e-12)
    assert np.isnan(many.performance[1:]).all()
    assert np.isnan(many.discharge_temperature[1:]).all()


def test_less_efficient_compressor_runs_hotter_in_proportion():
    ideal = _cycle("R717", -5.0, 35.0, isentropic_efficiency=1.0)
    real = _cycle("R717", -5.0, 35.0, isentropic_efficiency=0.7)
    assert real.performance == approx(0.7 * ideal.performance, rel=1e-12)
    assert real.discharge_temperature > ideal.discharge_temperature + 15.0


def test_subcooling_is_free_cooling():
    assert (
        _cycle("R134a", -5.0, 40.0, subcooling=6.0).performance
        > _cycle("R134a", -5.0, 40.0, subcooling=0.0).performance
    )


def test_wide_glide_is_seen():
    """R407C glides by several kelvin (named so in its data): bubble below dew point."""
    near = _cycle("R407C", -5.0, 40.0, subcooling=0.0)
    far = _cycle("R407C", -5.0, 40.0, subcooling=3.0)
    assert far.refrigerating_effect > near.refrigerating_effect


def test_condensing_follows_the_day_down_to_its_floor():
    outside = np.array([-20.0, 5.0, 30.0, np.nan])
    found = rc.condensing_temperature(outside, approach=12.0, floor=20.0)
    assert found[:3].tolist() == [20.0, 20.0, 42.0]
    assert np.isnan(found[3])


def test_refusals_say_how_to_mend():
    with pytest.raises(BadInput, match=r"R12'.*write one of R717"):
        _cycle("R12", 0.0, 30.0)
    with pytest.raises(OutOfRange, match="high_pressure"):
        _cycle("R744", 0.0, 35.0)
    with pytest.raises(OutOfRange, match="floor"):
        _cycle("R134a", 5.0, 5.0)
    with pytest.raises(OutOfRange, match="percent"):
        _cycle("R134a", 0.0, 30.0, isentropic_efficiency=70.0)
    with pytest.raises(OutOfRange, match="bar or psi"):
        _cycle("R744", 0.0, 35.0, high_pressure=90.0)
    fitted = rm.fit_performance("R717")
    with pytest.raises(OutOfRange, match="wider range"):
        rm.performance(fitted, 0.0, 55.0)


def test_every_refrigerant_carries_its_caution():
    for refrigerant in rc.REFRIGERANTS.values():
        assert "licensed technicians" in refrigerant.caution
    assert rc.REFRIGERANTS["R717"].caution.startswith("toxic")
    assert "flammable" in rc.REFRIGERANTS["R290"].caution
    assert "100 bar" in rc.REFRIGERANTS["R744"].caution
