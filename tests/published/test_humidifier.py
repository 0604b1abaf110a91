"""Humidifiers against worked examples and published statements."""

from __future__ import annotations

import pytest

from ventcalc import air
from ventcalc.equipment import humidifier

approx = pytest.approx
ATMOSPHERE = 101_325.0


def test_saturation_efficiency_of_hundy_22_1():
    """
    Hundy, Trott & Welch, Refrigeration and Air-Conditioning, example 22.1.

    37 °C at 24 % saturation, efficiency 75 % (numbers as in FOSSEE's Scilab companion 3878).

    Ultimate saturation 21.5 °C, final dry bulb 25.4 °C, off the chart; a kilowatt of cooling
    evaporates 1/2425 kg/kJ, the mean latent heat over the range.
    """
    humidity = 0.24 * air.saturation_humidity_ratio(37.0, ATMOSPHERE)
    result = humidifier.pad(
        temperature=37.0, humidity_ratio=humidity, pressure=ATMOSPHERE, mass_flow=1.0,
        effectiveness=0.75,
    )  # fmt: skip
    assert result.freezing_margin == approx(21.5, abs=0.25)
    assert result.temperature == approx(25.4, abs=0.25)
    assert result.evaporated / result.cooling == approx(1.0 / 2425e3, rel=0.02)


def test_saturated_air_of_ashrae_example_one():
    """ASHRAE Fundamentals 2017 ch. 1, example 1: 40 °C dry, 20 °C wet bulb, W 0.0065.

    A perfect pad brings it to its wet bulb, where W is 0.0147 (table 2: 0.014758 at 20 °C,
    from memory).
    """
    result = humidifier.pad(
        temperature=40.0, humidity_ratio=0.0065, pressure=ATMOSPHERE, mass_flow=2.0,
        effectiveness=1.0,
    )  # fmt: skip
    assert result.temperature == approx(20.0, abs=0.1)
    assert result.humidity_ratio == approx(0.01476, rel=0.01)
    assert result.evaporated == approx(2.0 * (0.01476 - 0.0065), rel=0.01)
