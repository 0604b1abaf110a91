"""The deep bed against exact solutions, limits, its order of convergence and itself."""

from __future__ import annotations

import math
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
import scipy
from hypothesis import given, settings
from hypothesis import strategies as st

from ventcalc import air
from ventcalc.air.plain import AIR_HEAT, EVAPORATION, VAPOUR_HEAT, WATER_HEAT
from ventcalc.errors import OutOfRange
from ventcalc.pile import bed
from ventcalc.pile.air_path import air_path, natural_velocity
from ventcalc.pile.crop import crop_for, curing_rate, respiration_heat

approx = pytest.approx
ATM = 101325.0
HOUR, DAY = 3600.0, 86400.0
LIVING = crop_for("table")
NO_HEAT = {"respiration_settled": 1e-30, "respiration_fresh": 1e-30, "respiration_immature": 1e-30}
DRY_SKIN = {"transpiration_uncured": 0.0, "transpiration_cured": 0.0}
STONES = replace(LIVING, **NO_HEAT, **DRY_SKIN)
STEADY_HEAT = {
    "respiration_doubling": 1e9, "respiration_settled": 0.012,
    "respiration_fresh": 0.012,
}  # fmt: skip


AIR = {"superficial_velocity": 0.02, "inlet_temperature": 5.0, "inlet_humidity_ratio": 0.005}


def a_bed(crop=STONES, **other):
    """5 m of 650 kg/m³, tubers of 60 mm, no conduction."""
    size = {"height": 5.0, "bulk_density": 650.0, "tuber_diameter": 0.06, "pressure": ATM}
    return bed.Bed(**{**size, "crop": crop, "conductivity": 0.0, **other})


def run(model, start, velocity, step, count, temperature, humidity_ratio=0.0, age=0.0):
    """States after every step under constant air."""
    state, states, steps = bed.fresh_bed(model, start), [], []
    for _ in range(count):
        state, out = bed.step(
            model, state, step=step, superficial_velocity=velocity, inlet_temperature=temperature,
            inlet_humidity_ratio=humidity_ratio, age=age,
        )  # fmt: skip
        states.append(state)
        steps.append(out)
    return states, steps


def last(model, start, velocity, step, count, temperature, humidity_ratio=0.0, age=0.0):
    """State and step at the end of the same, in machine code where many are needed."""
    state, steps = bed.run_steps(
        model, bed.fresh_bed(model, start), step=step,
        superficial_velocity=np.full(count, velocity), inlet_temperature=temperature,
        inlet_humidity_ratio=humidity_ratio, age=age, compiled=True,
    )  # fmt: skip
    return state, bed.BedStep(*(float(means[-1]) for means in steps))


def water_given(model, before, after):
    """What each layer of a crop that does not respire gave to the air. [kg/m²]"""
    lost = after.water_loss - before.water_loss
    return (lost + before.film - after.film) * model.layer_mass


def transfer_units(model, velocity):
    """Transfer units of the whole bed, tuber conduction included, from the definitions."""
    density = model.pressure / (287.05 * 278.15)
    outer = bed.heat_transfer_coefficient(velocity, model.tuber_diameter, density)
    inner = model.tuber_diameter / (10.0 * model.crop.tuber_conductivity)
    surface = model.area_density * model.height
    return surface / (1.0 / outer + inner) / (velocity * density * AIR_HEAT)


def schumann(model, velocity, time, height):
    """
    Tubers of a bed at 0 whose air steps from 0 to 1 (Schumann 1929, J. Franklin Inst. 208:405).

    The integral of exp(-x-s) I0(2 sqrt(x s)) ds is a noncentral chi-square probability.
    """
    units = transfer_units(model, velocity)
    capacity = velocity * model.pressure / (287.05 * 278.15) * AIR_HEAT
    heat = model.bulk_density * model.height * model.crop.specific_heat
    tau = units * capacity * time / heat
    return scipy.stats.ncx2.cdf(2.0 * tau, 2, 2.0 * units * height / model.height)


def schumann_layers(model, velocity, time):
    """The exact solution averaged over each layer."""
    place, weight = np.polynomial.legendre.leggauss(4)
    height = (np.arange(model.layers)[:, None] + 0.5 + 0.5 * place) * model.thickness
    return schumann(model, velocity, time, height) @ weight / 2.0


def error_after(layers, step, time=64 * HOUR, velocity=0.02):
    model = a_bed(layers=layers)
    state, _ = last(model, 0.0, velocity, step, round(time / step), 1.0)
    return np.max(np.abs(state.temperature - schumann_layers(model, velocity, time)))


# --- the exact step response ------------------------------------------------------------


def test_the_exact_solution_is_itself_right():
    """Closed form against numerical integration of its Bessel kernel, to 1e-8."""
    model, velocity = a_bed(), 0.02
    units = transfer_units(model, velocity)
    assert units == approx(72.45, abs=0.05)
    capacity = velocity * ATM / (287.05 * 278.15) * AIR_HEAT
    for hours, height in [(10.0, 0.5), (30.0, 2.0), (60.0, 4.0), (60.0, 4.9)]:
        x = units * height / model.height
        tau = units * capacity * hours * HOUR / (650.0 * 5.0 * 3520.0)

        def kernel(s, x=x):
            return math.exp(-((math.sqrt(s) - math.sqrt(x)) ** 2)) * scipy.special.i0e(
                2.0 * math.sqrt(s * x)
            )

        value, _ = scipy.integrate.quad(kernel, 0.0, tau, epsabs=1e-11, limit=400)
        assert schumann(model, velocity, hours * HOUR, height) == approx(value, abs=1e-8)


def test_step_response_of_the_usual_bed():
    """40 layers, hourly steps: within 0.006 of the step when the front is half way up."""
    model = a_bed()
    states, _ = run(model, 0.0, 0.02, HOUR, 60, 1.0)
    error = [
        np.max(np.abs(s.temperature - schumann_layers(model, 0.02, (k + 1) * HOUR)))
        for k, s in enumerate(states)
    ]
    assert error[-1] <= 0.006
    assert max(error[5:]) <= 0.016  # the front is still only a few layers wide
    assert max(error) <= 0.026


def test_outlet_follows_the_exact_air():
    """Air leaving the top is J(units, tau) = tubers there plus what they still take."""
    model, velocity, step = a_bed(layers=80), 0.02, 1800.0
    units = transfer_units(model, velocity)
    capacity = velocity * ATM / (287.05 * 278.15) * AIR_HEAT
    _, steps = run(model, 0.0, velocity, step, 300, 1.0)
    time = (np.arange(300) + 0.5) * step
    tau = units * capacity * time / (650.0 * 5.0 * 3520.0)
    exact = 1.0 - scipy.stats.ncx2.cdf(2.0 * units, 2, 2.0 * tau)
    found = np.array([s.outlet_temperature for s in steps])
    assert np.max(np.abs(found - exact)) < 0.003


@pytest.mark.parametrize("velocity", [0.02, 0.05])
def test_second_order_in_the_layer_thickness(velocity):
    """At most two transfer units a layer, steps short enough not to count."""
    time = 64 * HOUR * 0.02 / velocity
    errors = [error_after(layers, 600.0 * 0.02 / velocity, time, velocity) for layers in (40, 80)]
    order = math.log2(errors[0] / errors[1])
    assert 1.6 < order < 2.6


def test_second_order_in_the_time_step():
    """Against the same 40 layers in steps of 2 minutes."""
    model = a_bed()
    truth, *coarser = (
        last(model, 0.0, 0.02, step, round(230400 / step), 1.0)[0].temperature
        for step in (120.0, 1800.0, 3600.0, 7200.0)
    )
    errors = [np.max(np.abs(found - truth)) for found in coarser]
    for coarse, fine in ((errors[1], errors[0]), (errors[2], errors[1])):
        assert 1.7 < math.log2(coarse / fine) < 2.3


def test_the_share_of_a_step_is_that_of_an_exponential():
    """
    A layer nears its equilibrium as exp(-y): its mean by 1 - (1 - exp(-y)) / y, its end by that.

    The rational form leaves out y³ of the mean and y⁴ of the end, and nothing of a long step.
    """
    model = a_bed()
    missing = []
    for step in (900.0, 1800.0, 3600.0):
        way = air_path(model, 0.02, step)
        y = way.air_capacity * way.effectiveness * step / model.heat_capacity
        mean, end = way.weight, way.weight * way.reach
        missing.append((mean - 1.0 + (1.0 - math.exp(-y)) / y, end - 1.0 + math.exp(-y)))
    for (mean, end), (longer_mean, longer_end) in pairwise(missing):
        assert math.log2(longer_mean / mean) == approx(3.0, abs=0.3)
        assert math.log2(longer_end / end) == approx(4.0, abs=0.3)
    at_rest = air_path(model, 0.02, 1e9)
    assert at_rest.weight == approx(1.0, abs=1e-3)
    assert at_rest.weight * at_rest.reach == approx(1.0, abs=1e-3)


# --- stability ----------------------------------------------------------------------------


@pytest.mark.parametrize("step", [60.0, 600.0, HOUR, 6 * HOUR, DAY, 3 * DAY, 10 * DAY])
@pytest.mark.parametrize("velocity", [1e-4, 0.005, 0.02, 0.1])
def test_any_step_is_stable_and_settles_at_the_inlet(step, velocity):
    """No step overshoots, as long as it may be; long ones come to rest."""
    model = a_bed()
    way = air_path(model, velocity, step)
    y = way.air_capacity * way.effectiveness * step / model.heat_capacity
    states, steps = run(model, 0.0, velocity, step, 60, 1.0)
    values = np.array([s.temperature for s in states])
    assert values.min() >= -1e-12
    assert values.max() <= 1.0 + 1e-12
    outlet = np.array([s.outlet_temperature for s in steps])
    assert outlet.min() >= -1e-12
    assert outlet.max() <= 1.0 + 1e-12
    if y > 20.0:
        assert values[-1] == approx(np.ones(40), abs=1e-6)


@settings(deadline=None, max_examples=60)
@given(
    st.lists(st.floats(-2.0, 25.0), min_size=30, max_size=30),
    st.floats(0.001, 0.1),
    st.floats(60.0, 10 * HOUR),
    st.floats(-2.0, 25.0),
)
def test_no_temperature_beyond_those_that_went_in(start, velocity, step, inlet):
    """Maximum principle, while a layer's share of the step (y) is at most 3."""
    model = a_bed(layers=30)
    way = air_path(model, velocity, step)
    y = way.air_capacity * way.effectiveness * step / model.heat_capacity
    if y > 3.0:
        step = step * 3.0 / y
    low, high = min([inlet, *start]) - 1e-9, max([inlet, *start]) + 1e-9
    states, steps = run(model, np.array(start), velocity, step, 12, inlet)
    for state, out in zip(states, steps, strict=True):
        assert low <= state.temperature.min()
        assert state.temperature.max() <= high
        assert low <= out.outlet_temperature <= high


@pytest.mark.parametrize("step", [60.0, HOUR, DAY, 10 * DAY])
def test_conduction_alone_evens_out(step):
    """No spread grows, the mean stays, also in steps far beyond an explicit limit."""
    model = a_bed(conductivity=0.35)
    start = np.linspace(4.0, 8.0, 40) + np.where(np.arange(40) % 2 == 0, 1.0, -1.0)
    states, _ = run(model, start, 1e-5, step, 20, 6.0)
    spread = [np.std(start), *(np.std(s.temperature) for s in states)]
    assert all(b <= a + 1e-12 for a, b in pairwise(spread))


def test_conduction_follows_the_heat_equation():
    """A cosine between insulated ends decays as exp(-k (pi/H)² t / C), no air to speak of."""
    model = a_bed(conductivity=20.0, layers=80)
    place = (np.arange(80) + 0.5) / 80
    start = 10.0 + np.cos(np.pi * place)
    time = 10 * DAY
    state, _ = last(model, start, 1e-5, 6 * HOUR, 40, 10.0)
    decay = math.exp(-20.0 * (math.pi / 5.0) ** 2 * time / (650.0 * 3520.0))
    # 1e-5 m/s still moves the bed by about 0.1 % of its heat a day.
    assert state.temperature - 10.0 == approx(decay * np.cos(np.pi * place), abs=0.02)


# --- steady states ------------------------------------------------------------------------


@pytest.mark.parametrize("velocity", [0.005, 0.02, 0.05])
@pytest.mark.parametrize("layers", [10, 40, 100])
def test_a_dry_pile_warms_its_air_by_heat_over_capacity(velocity, layers):
    """Outlet = inlet + q/(G cp), and every layer its own share, to round-off."""
    model = a_bed(replace(LIVING, **DRY_SKIN, **STEADY_HEAT), layers=layers)
    state, out = last(model, 8.0, velocity, 10 * DAY, 60, 6.0)
    capacity = velocity * ATM / (287.05 * 278.15) * AIR_HEAT
    rise = 0.012 * 650.0 * 5.0 / capacity
    assert out.outlet_temperature == approx(6.0 + rise, abs=1e-9)
    way = air_path(model, velocity, DAY)
    entering = 6.0 + rise * np.arange(layers) / layers
    expected = entering + rise / layers / way.effectiveness
    assert state.temperature == approx(expected, abs=1e-8)


def test_air_in_balance_with_the_skin_changes_nothing():
    """Inlet at pulp temperature and at the skin's humidity, no respiration."""
    model = a_bed(replace(LIVING, **NO_HEAT))
    damp = 0.98 * air.saturation_pressure(9.0) * air.enhancement_factor(9.0, ATM)
    balance = air.MASS_RATIO * damp / (ATM - damp)
    state, out = last(model, 9.0, 0.02, HOUR, 500, 9.0, balance)
    assert state.temperature == approx(np.full(40, 9.0), abs=1e-3)
    # Within the 2e-5 of vapour pressure that one enhancement factor for all temperatures costs.
    assert np.max(np.abs(state.water_loss)) < 1e-5
    assert out.outlet_humidity_ratio == approx(balance, rel=2e-5)


@given(
    velocity=st.floats(1e-4, 0.05),
    humidity=st.floats(0.05, 0.95),
    healed=st.booleans(),
)
def test_dry_air_takes_water_from_every_layer_and_never_too_much(velocity, humidity, healed):
    """Creeping air is with the skin long before it leaves a layer; it must not go beyond."""
    model = a_bed(replace(LIVING, **NO_HEAT))
    state = replace(bed.fresh_bed(model, 9.0), curing=1e8 if healed else 0.0)
    inlet = air.humidity_ratio(9.0, humidity, ATM)
    after, step = bed.step(
        model, state, step=HOUR, superficial_velocity=velocity, inlet_temperature=9.0,
        inlet_humidity_ratio=inlet, age=0.0,
    )  # fmt: skip
    evaporated = water_given(model, state, after) / HOUR
    vapour = evaporated.cumsum() / (velocity * model.pressure / (287.05 * 278.15))
    assert np.all(evaporated >= -1e-15)
    assert np.max(inlet + vapour) <= air.humidity_ratio(9.0, 0.985, ATM)
    assert not after.film.any()
    assert step.condensed == 0.0


@pytest.mark.parametrize(("humidity", "sign"), [(0.5, 1.0), (0.97, 1.0), (0.99, -1.0)])
def test_air_above_98_percent_wets(humidity, sign):
    """Skin activity 0.98 (Chau et al. 1987, from memory): moister air gives water, drier takes."""
    model = a_bed(replace(LIVING, **NO_HEAT))
    states, steps = run(model, 9.0, 0.02, HOUR, 3, 9.0, air.humidity_ratio(9.0, humidity, ATM))
    assert np.all(sign * water_given(model, states[-2], states[-1]) > 0.0)
    assert sign * steps[-1].evaporated > 0.0
    assert steps[-1].condensed == 0.0  # what the skin takes up lies nowhere
    assert not states[-1].film.any()


def test_long_ventilation_with_a_dry_skin_bed_ends_isenthalpic():
    """Without respiration, heat that the air loses is heat that evaporates water, at rest."""
    model = a_bed(replace(LIVING, **NO_HEAT))
    w = air.humidity_ratio(10.0, 0.8, ATM)
    state, out = last(model, 10.0, 0.02, 10 * DAY, 40, 10.0, w)
    way = air_path(model, 0.02, HOUR, w)
    lost = way.air_capacity * (10.0 - out.outlet_temperature)
    vapour, liquid = (
        EVAPORATION + VAPOUR_HEAT * out.outlet_temperature,
        WATER_HEAT * state.temperature.mean(),
    )
    gained = (vapour - liquid) * way.mass_flow * (out.outlet_humidity_ratio - w)
    assert gained == approx(lost, rel=1e-4)
    wet_bulb = air.wet_bulb(10.0, w, ATM)
    assert wet_bulb < state.temperature.min()
    assert state.temperature.max() < 10.0


def wetted(model, temperature, film):
    state = bed.fresh_bed(model, temperature)
    return replace(state, film=np.full(model.layers, film))


def dried(model, state, step, ratio):
    """A step under the air of 15 °C that dries a wetted bed."""
    return bed.step(
        model, state, step=step, superficial_velocity=0.02, inlet_temperature=15.0,
        inlet_humidity_ratio=ratio, age=0.0,
    )  # fmt: skip


def test_air_leaves_a_deep_wet_bed_saturated_at_its_wet_bulb():
    """Adiabatic saturation (ASHRAE Fundamentals, psychrometrics), film enough to last."""
    model = a_bed(STONES)
    w = air.humidity_ratio(15.0, 0.5, ATM)
    expected = air.wet_bulb(15.0, w, ATM)
    state = wetted(model, 12.0, 0.5)
    for _ in range(96):
        state, out = dried(model, state, HOUR, w)
    assert np.all(state.film > 0.0)
    assert out.outlet_temperature == approx(expected, abs=0.05)
    assert out.outlet_humidity_ratio == approx(
        air.saturation_humidity_ratio(out.outlet_temperature, ATM), rel=2e-3
    )
    # The bottom tubers stand a little below it, as vapour diffuses faster than heat.
    assert state.temperature == approx(np.full(40, expected), abs=0.25)


def test_the_film_dries_as_a_front_from_the_inlet():
    model = a_bed(STONES)
    w = air.humidity_ratio(15.0, 0.5, ATM)
    state, films = wetted(model, air.wet_bulb(15.0, w, ATM), 0.01), []
    while state.film.any() and len(films) < 500:
        state, _ = dried(model, state, HOUR, w)
        films.append(state.film)
    assert 20 < len(films) < 500
    dry = [int(np.argmax(film > 0.0)) if film.any() else 40 for film in films]
    assert all(a <= b for a, b in pairwise(dry))


def test_the_lowest_layer_dries_at_its_wet_bulb():
    """Time to dry = film / (G e (w_surface - w_inlet)), surface where heat and vapour balance."""
    model = a_bed(STONES)
    w = air.humidity_ratio(15.0, 0.5, ATM)
    step = 300.0
    way = air_path(model, 0.02, step)

    def surplus(surface):
        heat = way.air_capacity * way.effectiveness * (15.0 - surface)
        water = air.saturation_humidity_ratio(surface, ATM) - w
        return heat - 2.478e6 * way.mass_flow * way.film_effectiveness * water

    surface = scipy.optimize.brentq(surplus, 0.0, 15.0)
    assert surface == approx(air.wet_bulb(15.0, w, ATM), abs=0.3)
    lift = air.saturation_humidity_ratio(surface, ATM) - w
    expected = 0.01 * model.layer_mass / (way.mass_flow * way.film_effectiveness * lift)
    state, time = wetted(model, surface, 0.01), 0.0
    while state.film[0] > 0.0:
        state, _ = dried(model, state, step, w)
        time += step
    assert time == approx(expected, rel=0.03)


@pytest.mark.parametrize("step", [600.0, HOUR, 12 * HOUR])
def test_what_condenses_is_what_lies_on_the_tubers(step):
    """Saturated air on a colder pile: nothing dries, however the step is cut."""
    model = a_bed(STONES)
    full = air.saturation_humidity_ratio(15.0, ATM)
    state = bed.fresh_bed(model, 5.0)
    for _ in range(3):
        before = state
        state, out = bed.step(
            model, state, step=step, superficial_velocity=0.02, inlet_temperature=15.0,
            inlet_humidity_ratio=full, age=0.0,
        )  # fmt: skip
        grown = np.sum(state.film - before.film) * model.layer_mass
        assert out.condensed * step == approx(grown, rel=1e-9)
        assert -out.evaporated * step == approx(grown, rel=1e-9)
        assert grown > 0.0


@pytest.mark.parametrize("taken", [2e-6, -2e-6])
def test_the_air_above_trades_water_with_the_top_layer_alone(taken):
    """What it takes comes through the skin, what it leaves lies as a film."""
    model = a_bed(LIVING)
    state = bed.fresh_bed(model, 9.0)
    given_ = {**AIR, "step": HOUR, "age": 0.0}
    (sealed, _), (open_, _) = (
        bed.step(model, state, top_water=water, **given_) for water in (0.0, taken)
    )
    per_crop = np.zeros(40)
    per_crop[-1] = abs(taken) * HOUR / model.layer_mass
    lost, film = (per_crop, 0.0 * per_crop) if taken > 0.0 else (0.0 * per_crop, per_crop)
    assert open_.water_loss - sealed.water_loss == approx(lost, rel=1e-9, abs=1e-16)
    assert open_.film - sealed.film == approx(film, rel=1e-9, abs=1e-16)
    assert np.array_equal(open_.temperature, sealed.temperature)


@pytest.mark.parametrize("humidity", [0.5, 0.9])
def test_a_trace_of_film_is_as_good_as_none(humidity):
    """Gone in no time, it leaves the minute to the skin."""
    model = a_bed(replace(LIVING, **NO_HEAT))
    w = air.humidity_ratio(9.0, humidity, ATM)
    given_ = []
    for film in (0.0, 1e-13):
        state = wetted(model, 9.0, film)
        after_, _ = bed.step(
            model, state, step=60.0, superficial_velocity=0.02, inlet_temperature=9.0,
            inlet_humidity_ratio=w, age=0.0,
        )  # fmt: skip
        given_.append(water_given(model, state, after_))
    assert given_[1] == approx(given_[0], rel=1e-4)
    assert np.all(given_[0] > 0.0)


@pytest.mark.parametrize("maturity", ["mature", "immature"])
def test_a_bed_respires_as_its_crop(maturity):
    """Every layer by its own temperature, all by age and maturity."""
    model = a_bed(LIVING, maturity=maturity)
    state = bed.fresh_bed(model, np.linspace(2.0, 18.0, 40))
    _, out = bed.step(
        model, state, step=HOUR, superficial_velocity=0.02, inlet_temperature=5.0,
        inlet_humidity_ratio=0.003, age=5 * DAY,
    )  # fmt: skip
    heat = respiration_heat(state.temperature, 5 * DAY, LIVING, maturity)
    assert out.respiration == approx(np.sum(heat) * model.layer_mass, rel=1e-12)


def test_a_bed_heals_by_its_mean_temperature():
    model = a_bed()
    state = replace(bed.fresh_bed(model, np.linspace(8.0, 14.0, 40)), curing=5 * DAY)
    state, _ = bed.step(model, state, step=60.0, age=0.0, **AIR)
    healed = 60.0 * curing_rate(float(state.temperature.mean()), LIVING)
    assert state.curing == approx(5 * DAY + healed, rel=1e-12)


# --- monotone -----------------------------------------------------------------------------

inlets = st.floats(1.0, 20.0)
humid = st.floats(0.3, 0.9)
speeds = st.floats(0.005, 0.06)


def after(temperature, relative, velocity, start=10.0, steps=30, crop=LIVING, **other):
    w = air.humidity_ratio(temperature, relative, ATM)
    model = a_bed(crop, **other)
    return last(model, start, velocity, HOUR, steps, temperature, w, 20 * DAY)


@settings(deadline=None, max_examples=40)
@given(inlets, st.floats(0.2, 5.0), speeds)
def test_warmer_dry_air_leaves_every_layer_warmer(temperature, more, velocity):
    crop = replace(LIVING, **DRY_SKIN)
    cool, warm = (after(t, 0.1, velocity, crop=crop)[0] for t in (temperature, temperature + more))
    assert np.all(warm.temperature >= cool.temperature - 1e-9)


@settings(deadline=None, max_examples=40)
@given(st.floats(1.0, 10.0), humid, st.floats(0.02, 0.09), speeds)
def test_moister_air_takes_less_water_and_cools_less(temperature, relative, more, velocity):
    """Air no warmer than the crop, so that nothing condenses."""
    dry, moist = (after(temperature, r, velocity)[0] for r in (relative, relative + more))
    assert moist.water_loss.mean() < dry.water_loss.mean()
    assert moist.temperature.mean() > dry.temperature.mean()


@settings(deadline=None, max_examples=40)
@given(st.floats(14.0, 18.0), humid, speeds, st.floats(0.5, 5.0))
def test_warmer_crop_stays_warmer_and_loses_more(temperature, relative, velocity, more):
    """All layers above 7.2 °C, where respiration is least."""
    start = temperature + 1.0
    cool = after(temperature, relative, velocity, start)[0]
    warm = after(temperature, relative, velocity, start + more)[0]
    assert warm.temperature.mean() > cool.temperature.mean()
    assert warm.water_loss.mean() > cool.water_loss.mean()
    assert warm.dry_matter_loss.mean() > cool.dry_matter_loss.mean()


@settings(deadline=None, max_examples=40)
@given(st.floats(1.0, 9.0), speeds, st.floats(1.1, 2.0))
def test_more_air_cools_faster(temperature, velocity, factor):
    slow = after(temperature, 0.9, velocity)[0]
    fast = after(temperature, 0.9, min(velocity * factor, 0.12))[0]
    assert fast.temperature.mean() < slow.temperature.mean()


@settings(deadline=None, max_examples=40)
@given(st.floats(0.0, 25.0), st.floats(0.0, 10.0))
def test_natural_velocity_rises_with_the_excess(surrounding, excess):
    model = a_bed()
    less = natural_velocity(model, surrounding + excess, surrounding)
    more = natural_velocity(model, surrounding + excess + 0.5, surrounding)
    assert 1e-4 <= less <= more < 0.02
    assert natural_velocity(model, surrounding - excess, surrounding) == 1e-4


# --- many threads, and what goes in ---------------------------------------------------------


def season(model):
    """The bed's state after a random season, wet and dry."""
    rng = np.random.default_rng(7)
    state, condensed = bed.fresh_bed(model, 9.0), 0
    for k in range(80):
        t = float(rng.uniform(2.0, 16.0))
        state, out = bed.step(
            model, state, step=float(rng.choice([600.0, 1800.0, 3600.0])),
            superficial_velocity=float(10.0 ** rng.uniform(-4.0, -1.7)), inlet_temperature=t,
            inlet_humidity_ratio=float(air.humidity_ratio(t, rng.uniform(0.4, 1.0), ATM)),
            age=k * DAY, heat_gain=float(rng.uniform(-20.0, 20.0)),
            top_heat=float(rng.uniform(-10.0, 10.0)),
        )  # fmt: skip
        condensed += out.condensed > 0.0
    assert condensed > 0
    return state


def test_threads_do_not_disturb_each_other():
    """Eight threads, sixteen seasons, bit by bit the same."""
    model = a_bed(LIVING)
    expected = season(model)
    with ThreadPoolExecutor(8) as pool:
        found = list(pool.map(lambda _: season(model), range(16)))
    for state in found:
        assert np.array_equal(state.temperature, expected.temperature)
        assert np.array_equal(state.film, expected.film)
        assert np.array_equal(state.water_loss, expected.water_loss)


def test_a_step_leaves_its_input_alone():
    model = a_bed(LIVING)
    state = wetted(model, 9.0, 1e-4)
    before = state.temperature.copy(), state.film.copy(), state.water_loss.copy()
    dried(model, state, HOUR, 0.004)
    for was, now in zip(before, (state.temperature, state.film, state.water_loss), strict=True):
        assert np.array_equal(was, now)


# --- bad input ------------------------------------------------------------------------------


def one_step(state, step=HOUR, **given):
    return bed.step(a_bed(LIVING), state, step=step, **{**AIR, "age": 0.0, **given})


def test_slips_are_named():
    state = bed.fresh_bed(a_bed(LIVING), 9.0)
    with pytest.raises(OutOfRange, match="kelvin"):
        bed.fresh_bed(a_bed(LIVING), 283.0)
    with pytest.raises(OutOfRange, match="superficial_velocity"):
        one_step(state, superficial_velocity=72.0)
    with pytest.raises(OutOfRange, match="g/kg"):
        one_step(state, inlet_humidity_ratio=5.0)
    with pytest.raises(OutOfRange, match="inlet_temperature"):
        one_step(state, inlet_temperature=278.0)
    with pytest.raises(OutOfRange, match="age"):
        one_step(state, age=-1.0)


def test_a_pile_that_leaves_its_range_is_refused():
    with pytest.raises(OutOfRange, match="temperature must lie in -5 to 45 °C"):
        one_step(bed.fresh_bed(a_bed(LIVING), 44.0), heat_gain=1e5)


def test_a_step_that_no_number_of_parts_makes_accurate_is_refused():
    """Years in one step, a wet pile under bone-dry air."""
    with pytest.raises(OutOfRange, match="parts must lie in 1 to 65536"):
        one_step(
            wetted(a_bed(LIVING), 30.0, 0.01), 1000 * DAY, superficial_velocity=0.5,
            inlet_temperature=40.0, inlet_humidity_ratio=0.0,
        )  # fmt: skip


@pytest.mark.parametrize("step", [HOUR, DAY])
@pytest.mark.parametrize("film", [0.0, 1e-3])
@pytest.mark.parametrize("name", [*AIR, "age", "heat_gain"])
def test_what_is_missing_stays_missing(name, film, step):
    """NaN in gives NaN out, in the next step as well, and no refusal."""
    state = wetted(a_bed(LIVING), 9.0, film)
    for missing in ({name: math.nan}, {}):
        state, out = one_step(state, step, **missing)
        assert math.isnan(out.outlet_temperature)
        assert np.isnan(state.temperature).any()
