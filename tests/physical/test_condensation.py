"""Condensation against independent models, limits, sampling and monotone behaviour."""

from __future__ import annotations

import math

import numpy as np
import psychrolib
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ventcalc import building
from ventcalc.building import condensation
from ventcalc.building.ceiling import (
    Ceiling,
    ceiling_check,
    required_resistance,
)
from ventcalc.building.condensation import Uncertainty, judge, surface_check
from ventcalc.building.iso13788 import (
    interstitial,
)
from ventcalc.errors import OutOfRange

P = 95000.0
CEILING = Ceiling(u=0.2, bridge_factor=2.0)
temperatures = st.floats(1.0, 20.0)
humidities = st.floats(0.6, 0.99)


def coolprop_dew_point(temperature: float, humidity: float) -> float:
    from CoolProp.CoolProp import HAPropsSI  # four seconds: not where tests are only collected

    kelvin = HAPropsSI("D", "T", temperature + 273.15, "P", P, "R", humidity)
    return kelvin - 273.15


@pytest.mark.parametrize("temperature", [3.0, 8.0, 15.0])
@pytest.mark.parametrize("humidity", [0.8, 0.9, 0.98])
def test_required_resistance_against_coolprop(temperature: float, humidity: float) -> None:
    """So insulated the ceiling, by hand, is at the dew point that CoolProp gives: 0.01 K."""
    needed = required_resistance(
        inside_temperature=temperature, relative_humidity=humidity, pressure=P,
        outside_temperature=-20.0, bridge_factor=2.0,
    )  # fmt: skip
    surface = temperature - 2.0 * 0.10 * (temperature + 20.0) / needed
    assert surface == pytest.approx(coolprop_dew_point(temperature, humidity), abs=0.01)


@pytest.mark.parametrize("humidity", [0.7, 0.9, 0.97])
def test_slopes_against_psychrolib(humidity: float) -> None:
    """Slopes of the dew point against differences of psychrolib's, 1 %; water, 8 °C."""
    temperature = 8.0
    dew_point = psychrolib.GetTDewPointFromRelHum(temperature, humidity)
    by_temperature, by_humidity = condensation.dew_point_slopes(temperature, humidity, dew_point)
    warmer = psychrolib.GetTDewPointFromRelHum(temperature + 0.2, humidity)
    moister = psychrolib.GetTDewPointFromRelHum(temperature, humidity + 0.01)
    assert by_temperature == pytest.approx((warmer - dew_point) / 0.2, rel=0.01)
    assert by_humidity == pytest.approx((moister - dew_point) / 0.01, rel=0.01)


def test_uncertainty_against_sampling() -> None:
    """First order against 200 000 draws: standard uncertainty within 3 %."""
    doubt = Uncertainty()
    check = ceiling_check(
        CEILING,
        inside_temperature=7.0,
        relative_humidity=0.90,
        outside_temperature=-15.0,
        pressure=P,
    )
    draw = np.random.default_rng(1).standard_normal((5, 200_000))
    inside = 7.0 + doubt.temperature * draw[0]
    outside = -15.0 + doubt.outside_temperature * draw[2]
    humidity = 0.90 + doubt.relative_humidity * draw[1]
    share = 0.4 * (1.0 + doubt.u * draw[3]) * 0.10 * (1.0 + doubt.surface_resistance * draw[4])
    surface = inside - share * (inside - outside)
    # Magnus formula, WMO No. 8: an independent saturation curve.
    log = np.log(humidity) + 17.62 * inside / (243.12 + inside)
    sample = surface - 243.12 * log / (17.62 - log)
    assert check.standard_uncertainty == pytest.approx(np.std(sample), rel=0.03)
    assert check.margin == pytest.approx(np.mean(sample), abs=0.03)


def test_uncertainty_of_a_measured_surface_against_sampling() -> None:
    """The same for a measured surface: 200 000 draws, 3 %."""
    doubt = Uncertainty(temperature=0.1, surface_temperature=0.15, relative_humidity=0.03)
    check = surface_check(
        surface_temperature=5.5,
        air_temperature=7.0,
        relative_humidity=0.85,
        pressure=P,
        uncertainty=doubt,
    )
    draw = np.random.default_rng(3).standard_normal((3, 200_000))
    log = np.log(0.85 + 0.03 * draw[0]) + 17.62 * (7.0 + 0.1 * draw[1]) / (250.12 + 0.1 * draw[1])
    sample = 5.5 + 0.15 * draw[2] - 243.12 * log / (17.62 - log)
    assert check.standard_uncertainty == pytest.approx(np.std(sample), rel=0.03)


def test_verdict_is_right_as_often_as_it_says() -> None:
    """Readings with the stated errors: a wrong sure verdict in about 1 of 40 or fewer."""
    random = np.random.default_rng(2)
    count = 100_000
    true_air = random.uniform(4.0, 12.0, count)
    true_humidity = random.uniform(0.80, 0.97, count)
    log = np.log(true_humidity) + 17.62 * true_air / (243.12 + true_air)
    truth = random.uniform(-1.5, 3.0, count)
    surface = 243.12 * log / (17.62 - log) + truth
    check = surface_check(
        surface_temperature=surface + 0.2 * random.standard_normal(count),
        air_temperature=true_air + 0.2 * random.standard_normal(count),
        relative_humidity=np.minimum(true_humidity + 0.01 * random.standard_normal(count), 1.0),
        pressure=P,
        uncertainty=Uncertainty(relative_humidity=0.01),
    )
    wet = truth < 0.0
    assert np.mean(check.verdict[wet] == "clear") < 0.025
    assert np.mean(check.verdict[~wet] == "condenses") < 0.025
    assert np.mean(check.verdict == "cannot tell") < 0.5


def test_margin_kept_is_the_margin_found() -> None:
    """Insulated to keep 0.4 K, the check finds a margin of 0.4 K."""
    air = {"inside_temperature": 7.0, "relative_humidity": 0.9, "pressure": P}
    needed = required_resistance(outside_temperature=-20.0, keep=0.4, **air)
    built = ceiling_check(Ceiling(u=1.0 / needed), outside_temperature=-20.0, **air)
    assert built.margin == pytest.approx(0.4, abs=1e-9)


def test_limits_at_the_edges() -> None:
    dry = {"inside_temperature": 8.0, "relative_humidity": 0.9, "pressure": P}
    assert required_resistance(outside_temperature=8.0, **dry) == 0.0
    assert required_resistance(outside_temperature=0.0, keep=5.0, **dry) == math.inf
    assert math.isnan(required_resistance(outside_temperature=math.nan, **dry))
    several = required_resistance(outside_temperature=np.array([20.0, -10.0, math.nan]), **dry)
    assert several[0] == 0.0
    assert several[1] > 0.5
    assert math.isnan(several[2])


def test_margin_falls_with_cold_and_humidity() -> None:
    outside = np.linspace(-40.0, 30.0, 60)
    check = ceiling_check(
        CEILING,
        inside_temperature=7.0,
        relative_humidity=0.97,
        outside_temperature=outside,
        pressure=P,
    )
    assert np.all(np.diff(check.margin) > 0.0)
    order = {"condenses": 0, "cannot tell": 1, "clear": 2}
    ranks = [order[str(verdict)] for verdict in check.verdict]
    assert ranks == sorted(ranks)
    assert set(ranks) == {0, 1, 2}
    humid = ceiling_check(
        CEILING,
        inside_temperature=7.0,
        relative_humidity=np.linspace(0.5, 1.0, 60),
        outside_temperature=-5.0,
        pressure=P,
    )
    assert np.all(np.diff(humid.margin) < 0.0)


def test_common_error_of_air_temperature_cancels() -> None:
    """A ceiling reckoned from the same air probe hardly feels its error; a measured one does."""
    reckoned = ceiling_check(
        CEILING,
        inside_temperature=7.0,
        relative_humidity=0.95,
        outside_temperature=-5.0,
        pressure=P,
    )
    measured = surface_check(
        surface_temperature=6.5, air_temperature=7.0, relative_humidity=0.95, pressure=P
    )
    assert reckoned.parts["air_temperature"] < 0.02
    assert measured.parts["air_temperature"] == pytest.approx(0.2, rel=0.02)


def test_perfect_sensors_decide_everything() -> None:
    exact = Uncertainty(
        temperature=0.0,
        surface_temperature=0.0,
        relative_humidity=0.0,
        outside_temperature=0.0,
        u=0.0,
        surface_resistance=0.0,
    )
    for top, expected in ((7.3, "clear"), (6.9, "condenses")):
        check = surface_check(
            surface_temperature=top,
            air_temperature=8.0,
            relative_humidity=0.94,
            pressure=P,
            uncertainty=exact,
        )
        assert check.verdict == expected
        assert math.isnan(check.z)


def test_saturated_air_wets_what_is_as_cold() -> None:
    """At 100 % and equal temperature the margin is nought, and nobody can tell."""
    check = surface_check(
        surface_temperature=8.0, air_temperature=8.0, relative_humidity=1.0, pressure=P
    )
    assert check.margin == pytest.approx(0.0, abs=2e-3)
    assert check.verdict == "cannot tell"


def test_frost_on_a_cold_ceiling() -> None:
    """Continuous through 0 °C: margin does not jump where dew becomes frost."""
    humidity = np.linspace(0.62, 0.70, 400)
    check = surface_check(
        surface_temperature=0.0, air_temperature=6.0, relative_humidity=humidity, pressure=P
    )
    assert check.dew_point[0] < 0.0 < check.dew_point[-1]
    assert np.max(np.abs(np.diff(check.margin))) < 0.01


def test_nan_cannot_tell() -> None:
    check = surface_check(
        surface_temperature=np.array([8.0, math.nan]),
        air_temperature=8.0,
        relative_humidity=0.7,
        pressure=P,
    )
    assert list(check.verdict) == ["clear", "cannot tell"]
    assert math.isnan(check.margin[1])
    one = surface_check(
        surface_temperature=8.0, air_temperature=8.0, relative_humidity=math.nan, pressure=P
    )
    assert one.verdict == "cannot tell"


def test_scalar_and_array_agree() -> None:
    settings = {"inside_temperature": 7.0, "relative_humidity": 0.93, "pressure": P}
    one = ceiling_check(CEILING, outside_temperature=-12.0, **settings)
    many = ceiling_check(CEILING, outside_temperature=np.array([-12.0]), **settings)
    assert isinstance(one.margin, float)
    assert isinstance(one.verdict, str)
    assert many.margin[0] == pytest.approx(one.margin, abs=1e-9)
    assert many.standard_uncertainty[0] == pytest.approx(one.standard_uncertainty, abs=1e-9)
    assert many.verdict[0] == one.verdict


@given(margin=st.floats(-3, 3), spread=st.floats(0, 2), low=st.floats(0, 2), more=st.floats(0, 2))
def test_asking_for_more_never_makes_surer(
    margin: float, spread: float, low: float, more: float
) -> None:
    loose, strict = judge(margin, spread, low), judge(margin, spread, low + more)
    assert strict in (loose, "cannot tell")


@pytest.mark.parametrize(
    ("change", "word"),
    [
        ({"relative_humidity": 95.0}, "percentage"),
        ({"relative_humidity": 1.02}, "wet probe"),
        ({"inside_temperature": 280.0}, "kelvin"),
    ],
)
def test_slips_are_named(change: dict[str, float], word: str) -> None:
    settings = {"inside_temperature": 7.0, "relative_humidity": 0.93} | change
    with pytest.raises(OutOfRange, match=word):
        required_resistance(outside_temperature=-10.0, pressure=P, **settings)


def test_impossible_ceiling_is_refused() -> None:
    with pytest.raises(OutOfRange, match="cannot pass 1"):
        Ceiling(u=2.0, bridge_factor=6.0)


PANEL = (
    building.layer(thickness=0.0005, conductivity=50.0, vapour_factor=1e6),
    building.layer(thickness=0.10, conductivity=0.03, vapour_factor=60.0),
    building.layer(thickness=0.012, conductivity=0.13, vapour_factor=50.0),
)


def store(**change: object) -> dict[str, object]:
    return {
        "outside_temperature": -15.0,
        "outside_humidity": 0.8,
        "inside_temperature": 6.0,
        "inside_humidity": 0.90,
    } | change


def test_vapour_barrier_on_the_wrong_side() -> None:
    """A tight skin outside collects water behind it; turned round the panel stays dry."""
    wrong = interstitial(PANEL, **store())
    right = interstitial(PANEL[::-1], **store())
    assert wrong.total > 0.0
    assert wrong.condensation[2] == wrong.total
    assert right.total == 0.0


def test_water_is_conserved_in_the_wall() -> None:
    """What comes in and does not go out settles."""
    layers = PANEL
    wall = interstitial(layers, **store())
    thickness = np.array([part.vapour_thickness for part in layers])
    flow = 2e-10 * np.diff(wall.vapour_pressure[1:-1]) / thickness
    assert flow[-1] - flow[0] == pytest.approx(wall.total, rel=1e-9)
    assert np.all(wall.condensation >= 0.0)


def test_vapour_never_above_saturation() -> None:
    hours = np.linspace(-35.0, 15.0, 100)
    humid = np.linspace(0.3, 1.0, 7)[:, None]
    wall = interstitial(PANEL, **store(outside_temperature=hours, inside_humidity=humid))
    assert wall.temperature.shape == (7, 100, len(PANEL) + 3)
    inside = wall.vapour_pressure[..., 1:-1] / wall.saturation_pressure[..., 1:-1]
    assert np.max(inside) <= 1.0 + 1e-12


def test_surface_wet_is_told_apart() -> None:
    """A poor wall drips at its inner surface, and the profile says so."""
    poor = (building.Layer(resistance=0.2, vapour_thickness=5.0),)
    wall = interstitial(poor, **store())
    assert wall.surface_wet
    assert not interstitial(PANEL, **store()).surface_wet


def test_wall_hands_nan_on() -> None:
    wall = interstitial(PANEL, **store(outside_temperature=np.array([-15.0, math.nan])))
    assert math.isnan(wall.total[1])
    assert wall.total[0] > 0.0


def test_layer_without_vapour_thickness_is_refused() -> None:
    with pytest.raises(OutOfRange, match="every layer needs one"):
        interstitial((building.Layer(resistance=1.0),), **store())
