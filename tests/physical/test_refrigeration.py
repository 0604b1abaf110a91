"""Refrigeration against balances, limits and itself by another way."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ventcalc import air
from ventcalc.air import coolprop as _coolprop
from ventcalc.equipment import coil, refrigeration
from ventcalc.equipment import refrigerant_cycle as rc
from ventcalc.equipment import refrigerant_map as rm
from ventcalc.equipment.defrost import defrost
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


def test_temperatures_of_a_gliding_blend_are_dew_points():
    """R407C: pressures are those of the dew point; liquid leaves from the bubble point."""
    point = _cycle("R407C", -5.0, 40.0, subcooling=0.0, superheat=0.0)
    dew, bubble = (_coolprop.pure_fluid("P", "T", 313.15, "Q", q, "R407C") for q in (1.0, 0.0))
    assert point.condensing_pressure == approx(dew, rel=1e-9)
    assert dew < 0.95 * bubble
    vapour = _coolprop.pure_fluid("H", "T", 268.15, "Q", 1.0, "R407C")
    liquid = _coolprop.pure_fluid("H", "P", dew, "Q", 0.0, "R407C")
    assert point.refrigerating_effect == approx(vapour - liquid, rel=1e-9)


def test_condensing_follows_the_day_down_to_its_floor():
    outside = np.array([-20.0, 5.0, 30.0, np.nan])
    found = rc.condensing_temperature(outside, approach=12.0, floor=20.0)
    assert found[:3].tolist() == [20.0, 20.0, 42.0]
    assert np.isnan(found[3])


def test_a_season_hour_from_surface_and_day_to_power():
    """Coil surface and outside air give the cycle's two temperatures, and so the power."""
    evaporating = rc.evaporating_temperature(4.0, wall_difference=3.0)
    condensing = rc.condensing_temperature(15.0)
    assert (evaporating, condensing) == (1.0, 27.0)
    fitted = rm.fit_performance("R717")
    power = 100e3 / rm.performance(fitted, evaporating, condensing)
    assert power == approx(_cycle("R717", 1.0, 27.0, cooling=100e3).power, rel=2e-6)


@pytest.mark.parametrize("pair", [(-19.0, 59.0), (-3.0, 38.0), (-21.0, 38.0), (5.0, 19.5)])
@pytest.mark.parametrize("name", ["R717", "R404A"])
def test_the_usual_performance_is_that_of_the_cycle_on_the_map_and_beside_it(name, pair):
    assert rm.usual_performance(name, *pair) == approx(_cycle(name, *pair).performance, rel=5e-6)


def test_the_critical_point_of_carbon_dioxide_is_coolprops():
    """Told apart from it only where CoolProp need not be loaded."""
    state = _coolprop.load().AbstractState("HEOS", "CarbonDioxide")
    assert state.T_critical() - 273.15 == approx(rc.R744_CRITICAL, abs=1e-3)
    assert rm.usual_performance("R744", -5.0, 25.0) == approx(
        _cycle("R744", -5.0, 25.0).performance
    )
    with pytest.raises(OutOfRange, match="high_pressure"):
        rm.usual_performance("R744", -5.0, 35.0)


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


PRESSURE = 95e3
STORE = {
    "temperature": 8.0,
    "humidity_ratio": air.humidity_ratio(8.0, 0.95, PRESSURE),
    "pressure": PRESSURE,
    "mass_flow": 20.0,
}


@given(
    temperature=st.floats(0.0, 25.0),
    humidity=st.floats(0.3, 1.0),
    difference=st.floats(0.1, 20.0),
    bypass=st.floats(0.0, 0.9),
)
def test_coil_balances_close(temperature, humidity, difference, bypass):
    """Water in = vapour + fog + condensate; heat in = heat out + coil + condensate's own."""
    entering = air.humidity_ratio(temperature, humidity, PRESSURE)
    result = coil.coil(
        temperature=temperature, humidity_ratio=entering, pressure=PRESSURE, mass_flow=3.0,
        temperature_difference=difference, bypass_factor=bypass,
    )  # fmt: skip
    assert 3.0 * (result.humidity_ratio + result.fog) + result.condensate == approx(
        3.0 * entering, rel=1e-12
    )
    assert result.sensible_heat + result.latent_heat == approx(result.total_heat, rel=1e-12)
    dew = air.dew_point(entering, PRESSURE)
    surface = result.surface_temperature
    if surface > dew + 1e-3:
        assert result.condensate == 0.0
        assert result.latent_heat == approx(0.0, abs=1e-6 * result.total_heat + 1e-6)
    if surface < dew - 1e-3:
        assert result.condensate > 0.0
    assert result.frost == (result.condensate if surface < 0.01 else 0.0)
    assert result.relative_humidity <= 1.0 + 1e-9


def test_total_heat_is_the_fall_of_enthalpy_with_the_condensate_counted():
    """First law by hand: liquid condensate leaves at the surface temperature."""
    result = coil.coil(**STORE, temperature_difference=4.0)
    fall = 20.0 * (
        air.enthalpy(8.0, STORE["humidity_ratio"], PRESSURE)
        - air.enthalpy(result.temperature, result.humidity_ratio, PRESSURE)
    )
    assert result.total_heat == approx(fall - result.condensate * 4200.0 * 4.0, rel=1e-4)


def test_wider_coil_difference_dries_more():
    """
    Water per sensible heat rises steeply from the dew point on, then bends with saturation.

    A surface above the dew point takes none; at 4 K and more the ratio has levelled off at
    about the slope of the saturation curve.
    """
    result = coil.coil(**STORE, temperature_difference=np.array([0.5, 1.0, 2.0, 4.0, 6.0, 7.9]))
    assert np.all(np.diff(result.total_heat) > 0.0)
    assert np.all(np.diff(result.humidity_ratio) <= 0.0)
    ratio = result.condensate / result.sensible_heat
    assert np.all(np.diff(ratio)[:3] > 0.0)
    assert ratio[3:] == approx(ratio[3], rel=0.03)
    assert result.condensate[0] == 0.0  # still above the dew point of 7.25 °C


@pytest.mark.parametrize("heat", [1e3, 5e4, 1e5, 1.5e5, 2e5])
def test_coil_surface_inverts_the_coil(heat):
    surface = coil.coil_surface(**STORE, heat=heat)
    result = coil.coil(**STORE, temperature_difference=8.0 - surface)
    assert result.total_heat == approx(heat, rel=1e-9)


def test_coil_surface_says_when_air_cannot_give_the_heat():
    with pytest.raises(BadInput, match="more air or less heat"):
        coil.coil_surface(**STORE, heat=np.array([1e4, 3e6]))
    assert np.isnan(coil.coil_surface(**STORE, heat=np.array([1e4, np.nan]))[1])


def test_bypass_and_conductance_are_one_another():
    """A coil split in two halves in series passes the product of their bypass factors."""
    half, whole = coil.bypass_factor(5e3, 6.0), coil.bypass_factor(10e3, 6.0)
    assert half * half == approx(whole, rel=1e-12)
    assert coil.bypass_factor(0.0, 6.0) == 1.0


def test_defrost_energy():
    """At efficiency 1 and 0 °C it is the heat of fusion; the losses stay in the store."""
    ideal = defrost(10.0, surface_temperature=0.0, drain_temperature=0.0, efficiency=1.0)
    assert ideal.energy == approx(3.3355e6)
    assert ideal.heat_to_store == 0.0
    real = defrost(10.0, surface_temperature=-6.0, efficiency=0.4)
    assert real.energy - real.heat_to_store == approx(10.0 * (333_550 + 12_600 + 20_930))
    with pytest.raises(OutOfRange, match="no frost"):
        defrost(10.0, surface_temperature=2.0)


def test_load_adds_up_and_evaporation_adds_nothing():
    """Evaporation moves heat from sensible to latent; fans and crop are all sensible."""
    moved = refrigeration.evaporation_load(0.01, 8.0, PRESSURE)
    assert moved.sensible + moved.latent == 0.0
    assert moved.latent == approx(0.01 * 2.4825e6, rel=2e-3)  # heat of evaporation at 8 °C
    load = refrigeration.refrigeration_load(
        field_heat=30e3, respiration=12e3, evaporation=moved, envelope=5e3, fans=6e3,
        running_share=0.8, reserve=0.1,
    )  # fmt: skip
    assert load.total == approx(53e3)
    assert load.latent == approx(moved.latent)
    assert load.capacity == approx(53e3 * 1.1 / 0.8)
    assert list(load.parts)[:3] == ["field_heat", "respiration", "evaporation"]


def test_every_part_of_the_load_counts_once():
    """Distinct powers of two: no part is lost, doubled or taken for another."""
    flow = refrigeration.HeatFlow
    load = refrigeration.refrigeration_load(
        field_heat=1.0, respiration=2.0, envelope=4.0, fans=8.0, evaporation=flow(16.0, 32.0),
        leakage=flow(64.0, 128.0), fresh_air=flow(256.0, 512.0), defrost=1024.0, lights=2048.0,
        people=4096.0,
    )  # fmt: skip
    assert load.latent == 32.0 + 128.0 + 512.0
    assert load.total == 8191.0
    assert load.parts["defrost"].sensible == 1024.0
    assert load.parts["people"].sensible == 4096.0


def test_outside_air_load_splits_into_the_fall_of_enthalpy():
    outside, inside = (
        air.humidity_ratio(25.0, 0.4, PRESSURE),
        air.humidity_ratio(8.0, 0.95, PRESSURE),
    )
    load = refrigeration.air_load(
        mass_flow=0.5, outside_temperature=25.0, outside_humidity_ratio=outside,
        inside_temperature=8.0, inside_humidity_ratio=inside, pressure=PRESSURE,
    )  # fmt: skip
    rise = air.enthalpy(25.0, outside, PRESSURE) - air.enthalpy(8.0, inside, PRESSURE)
    assert load.sensible + load.latent == approx(0.5 * rise, rel=1e-12)
    assert load.sensible == approx(0.5 * 1020.0 * 17.0, rel=0.01)
    assert load.latent == approx(0.5 * (outside - inside) * 2.516e6, rel=0.01)


def test_pull_down_in_half_the_time_takes_twice_the_heat():
    def heat(days):
        return refrigeration.field_heat(
            mass=1e6, specific_heat=3430.0, temperature_drop=5.0, time=days * 86_400.0
        )

    assert heat(5.0) == approx(2.0 * heat(10.0))
    assert heat(10.0) == approx(1e6 * 3430.0 * 5.0 / 864_000.0)
    with pytest.raises(OutOfRange, match="days"):
        heat(1e-4)


def _cost(supply, humidity, power, **changed):
    given_values = {
        "mass_flow": 20.0,
        "supply_temperature": supply,
        "supply_humidity_ratio": air.humidity_ratio(supply, humidity, PRESSURE),
        "return_temperature": 8.0,
        "return_humidity_ratio": air.humidity_ratio(8.0, 0.98, PRESSURE),
        "pressure": PRESSURE,
        "power": power,
        "electricity_price": 0.10 / 3.6e6,
        "crop_price": 0.20,
    }
    return refrigeration.cooling_cost(**{**given_values, **changed})


def test_cost_of_cooling_by_hand():
    """Two prices, each over the same heat; drier air costs more water for a joule."""
    damp, dry = _cost(6.0, 0.97, 10e3), _cost(6.0, 0.80, 10e3)
    assert damp.total_cost == approx(
        (10e3 * 0.10 / 3.6e6 + damp.water * 0.20) / damp.cooling, rel=1e-12
    )
    assert dry.water_cost > damp.water_cost
    assert dry.energy_cost < damp.energy_cost


def test_heat_taken_from_the_crop_by_hand():
    """Warming of the air, and its heat of evaporation at the pulp: what the tubers lose."""
    result = _cost(6.0, 0.85, 10e3)
    warming = 20.0 * (1006.0 + 1860.0 * 0.006) * 2.0
    assert result.cooling == approx(warming + result.water * 2.482e6, rel=3e-3)


def test_refrigeration_costs_its_compressor_more_than_the_same_air_from_outside():
    """The same supply air, once for the fans and once through a coil of COP 4."""
    outside = _cost(6.0, 0.95, 10e3)
    cooled = _cost(6.0, 0.95, 10e3 + 120e3 / 4.0)
    assert cooled.water_cost == outside.water_cost
    extra = (cooled.energy_cost - outside.energy_cost) * outside.cooling
    assert extra == approx(30e3 * 0.10 / 3.6e6)


def test_air_that_does_not_cool_has_no_price():
    warm = _cost(12.0, 0.98, 10e3, electricity_price=0.0)
    assert warm.cooling < 0.0
    assert warm.total_cost == np.inf
    some = _cost(6.0, 0.95, np.array([10e3, np.nan]))
    assert np.isnan(some.total_cost[1])
    assert np.isfinite(some.total_cost[0])
