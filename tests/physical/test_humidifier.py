"""Humidifiers against balances and limits."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ventcalc import air
from ventcalc.equipment import humidifier
from ventcalc.errors import OutOfRange

approx = pytest.approx
PRESSURE = 95e3


def _air(temperature, humidity):
    return {
        "temperature": temperature,
        "humidity_ratio": air.humidity_ratio(temperature, humidity, PRESSURE),
        "pressure": PRESSURE,
        "mass_flow": 20.0,
    }


@given(
    temperature=st.floats(1.0, 35.0),
    humidity=st.floats(0.1, 1.0),
    water=st.floats(0.0, 0.3),
    share=st.floats(0.0, 1.0),
)
def test_spray_loses_no_water_and_stays_below_saturation(temperature, humidity, water, share):
    result = humidifier.spray(
        **_air(temperature, humidity), water_flow=water, evaporated_share=share
    )
    assert result.water_used == approx(water, rel=1e-9, abs=1e-12)
    assert min(result.evaporated, result.carry_over, result.drained) >= 0.0
    assert result.relative_humidity <= 1.0 + 1e-9
    assert result.effectiveness <= 0.95 + 1e-12


@given(temperature=st.floats(3.0, 35.0), humidity=st.floats(0.1, 0.99), effect=st.floats(0.0, 1.0))
def test_pad_goes_along_the_wet_bulb(temperature, humidity, effect):
    """The wet bulb is that of the air entering, at any effectiveness; enthalpy by water only."""
    entering = _air(temperature, humidity)
    result = humidifier.pad(**entering, effectiveness=effect)
    wet = air.wet_bulb(temperature, entering["humidity_ratio"], PRESSURE)
    if wet > 0.2:
        after = air.wet_bulb(result.temperature, result.humidity_ratio, PRESSURE)
        assert after == approx(wet, abs=2e-3)
    assert -1e-3 <= result.approach <= temperature - wet + 1e-3  # the wet bulb is good to 1 mK
    assert result.freezing_margin == wet


def test_cooling_is_the_heat_of_evaporation():
    """The air loses as sensible heat what the water takes from wet bulb to vapour: 2.48 MJ/kg."""
    result = humidifier.pad(**_air(10.0, 0.6), effectiveness=0.9)
    assert result.cooling / result.evaporated == approx(2.483e6, rel=3e-3)


def test_saturated_air_takes_nothing_and_all_spray_is_carried_or_drained():
    result = humidifier.spray(**_air(8.0, 1.0), water_flow=0.02, carried_share=0.25)
    assert result.evaporated == approx(0.0, abs=1e-9)
    assert result.carry_over == approx(0.005, rel=1e-6)
    assert result.drained == approx(0.015, rel=1e-6)


def test_more_nozzles_in_damp_air_wet_the_pile_only():
    water = np.array([0.005, 0.02, 0.05, 0.2])
    result = humidifier.spray(**_air(8.0, 0.9), water_flow=water)
    assert np.all(np.diff(result.carry_over) > 0.0)
    assert result.evaporated[-1] == approx(result.evaporated[-2])


def test_pad_freezes_while_the_air_is_above_freezing():
    """Dry air of +3 °C has its wet bulb below 0 °C; damp air of 3 °C has not."""
    dry, damp = (humidifier.pad(**_air(3.0, rh), effectiveness=0.8) for rh in (0.5, 0.95))
    assert dry.freezing_margin < 0.0
    assert dry.freezes
    assert damp.freezing_margin > 2.0
    assert not damp.freezes
    near = {**_air(4.0, 0.5), "effectiveness": 0.8}  # wet bulb +0.4 °C
    assert humidifier.pad(**near).freezes
    assert not humidifier.pad(**near, freezing_reserve=0.0).freezes


def test_unknown_air_counts_as_freezing():
    result = humidifier.pad(
        temperature=np.array([12.0, np.nan]), humidity_ratio=0.006, pressure=PRESSURE,
        mass_flow=20.0, effectiveness=0.8,
    )  # fmt: skip
    assert result.freezes.tolist() == [False, True]
    assert np.isnan(result.temperature[1])
    assert np.isnan(result.water_used[1])


def test_bleed_follows_the_salt_balance():
    """Salt in with the make-up leaves with the bleed at the sump's concentration."""
    result = humidifier.pad(**_air(12.0, 0.5), effectiveness=0.8, cycles_of_concentration=4.0)
    assert result.water_used * 1.0 == approx(result.drained * 4.0, rel=1e-12)


def test_pad_effectiveness_by_velocity():
    """The rating is met, a slow pad is better, two pads in series multiply what is missed."""
    rated = {"rated_effectiveness": 0.8, "rated_velocity": 2.0}
    assert humidifier.pad_effectiveness(2.0, **rated) == approx(0.8)
    found = humidifier.pad_effectiveness(np.array([0.5, 1.0, 2.0, 3.0]), **rated)
    assert np.all(np.diff(found) < 0.0)
    assert humidifier.pad_effectiveness(1.0, **rated, exponent=1.0) == approx(1.0 - 0.2**2)


def test_refusals():
    with pytest.raises(OutOfRange, match="percent"):
        humidifier.spray(**_air(8.0, 0.9), water_flow=0.02, evaporated_share=80.0)
    with pytest.raises(OutOfRange, match="fraction"):
        humidifier.pad(**_air(8.0, 0.9), effectiveness=85.0)


def test_floats_give_floats():
    result = humidifier.spray(**_air(8.0, 0.9), water_flow=0.02)
    assert all(
        isinstance(getattr(result, name), float)
        for name in ("temperature", "evaporated", "carry_over", "cooling")
    )
    assert isinstance(result.freezes, bool)
