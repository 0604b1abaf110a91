"""Energy, water and mass of the deep bed close to round-off, whatever the season does."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ventcalc import air
from ventcalc.air.plain import AIR_HEAT
from ventcalc.pile import bed
from ventcalc.pile.crop import co2_rate, crop_for, dry_matter_rate, metabolic_water_rate

HOUR, DAY = 3600.0, 86400.0
CLOSE = 1e-9
OXYGEN_PER_CO2 = 6 * 31.998 / (6 * 44.009)
"""C6H12O6 + 6 O2 -> 6 CO2 + 6 H2O, from standard atomic masses. [kg/kg]"""


def closes(*terms):
    """Terms that must sum to zero, to ``CLOSE`` of the sum of their sizes."""
    size = sum(np.abs(t) for t in terms)
    return bool(np.all(np.abs(sum(terms)) <= CLOSE * np.maximum(size, 1e-300)))


def check_step(model, way, before, after, out, air_in, gain, top):
    """Every balance of one step, per m² of floor."""
    temperature, ratio = air_in
    step = way.step
    stored = np.sum(after.temperature - before.temperature, axis=0) * model.heat_capacity
    sensible = way.mass_flow * AIR_HEAT * (out.outlet_temperature - temperature) * step
    latent = way.mass_flow * out.latent_heat * (out.outlet_humidity_ratio - ratio) * step
    heat = np.sum(out.respiration, axis=0) * step
    gains = np.abs(gain) * step + np.abs(top) * step
    imbalance = stored + sensible + latent - heat - (gain + top) * step
    # Terms cancel layer by layer, so their sizes are summed before they do.
    moved = np.sum(np.abs(after.temperature - before.temperature), axis=0) * model.heat_capacity
    size = moved + np.abs(sensible) + np.abs(latent) + heat + gains
    flux = way.air_capacity * step * 20.0
    assert np.all(np.abs(imbalance) <= CLOSE * size + 1e-13 * flux)

    carried = way.mass_flow * (out.outlet_humidity_ratio - ratio) * step
    given = np.sum(out.evaporated, axis=0) * step
    vapour = np.sum(np.abs(out.evaporated), axis=0) * step
    through = way.mass_flow * ratio * step
    assert np.all(np.abs(carried - given) <= CLOSE * vapour + 1e-14 * through)

    mass = model.layer_mass
    lost = np.sum(after.water_loss - before.water_loss, axis=0) * mass
    film = np.sum(after.film - before.film, axis=0) * mass
    formed = metabolic_water_rate(heat, model.crop)
    slips = 1e-13 * mass  # films below 1e-15 kg/kg vanish
    assert np.all(np.abs(given + film - lost - formed) <= CLOSE * (vapour + formed) + slips)

    burned = np.sum(after.dry_matter_loss - before.dry_matter_loss, axis=0) * mass
    assert closes(burned, -dry_matter_rate(heat, model.crop))
    assert closes(out.co2 * step, -co2_rate(heat, model.crop))
    assert np.all(after.film >= 0.0)
    assert np.all(out.condensed >= 0.0)


def run_season(model, bays, rng, hours, check=check_step, longest=HOUR, restless=True):
    """
    A season of ``hours`` random steps, each of them checked.

    ``restless`` turns fans on and off, wets the crop and blows damp air into it.
    """
    shape = () if bays is None else (bays,)

    def draw(low, high):
        value = rng.uniform(low, high, shape)
        return float(value) if bays is None else value

    state = bed.fresh_bed(model, draw(9.0, 12.0), bays)
    dried = condensed = 0
    speed = draw(0.004, 0.06)
    for k in range(hours):
        step = float(10.0 ** rng.uniform(np.log10(60.0), np.log10(longest)))
        if restless:
            speed = draw(1e-4, 3e-4) if rng.random() < 0.3 else draw(0.004, 0.06)
            if rng.random() < 0.1:
                state = replace(state, film=state.film + 1e-3 * rng.random(), wet=True)
        t = draw(1.0, 20.0) if restless else draw(9.0, 12.0)
        ratio = air.humidity_ratio(t, draw(0.3, 1.0 if restless else 0.8), model.pressure)
        gain, top = draw(-30.0, 30.0), draw(-5.0, 5.0) if restless else draw(-1.0, 1.0)
        way = bed.passage(model, speed, step)
        after, out = bed.march(
            model, state, way, inlet_temperature=t, inlet_humidity_ratio=ratio,
            age=k * 0.5 * DAY, heat_gain=gain, top_heat=top,
        )  # fmt: skip
        check(model, way, state, after, out, (t, ratio), gain, top)
        dried += bool(np.any((state.film > 0.0) & (after.film == 0.0)))
        state = after
        condensed += bool(np.any(out.condensed > 0.0))
    return state, dried, condensed


def a_bed(**other):
    size = {"height": 4.5, "bulk_density": 650.0, "tuber_diameter": 0.055, "pressure": 92e3}
    return bed.Bed(**{**size, "crop": crop_for("fries"), **other})


@pytest.mark.parametrize("seed", range(8))
def test_a_random_season_of_one_bay(seed):
    """Steps of a minute to an hour, fans on and off, films that form and dry."""
    rng = np.random.default_rng(seed)
    maturity = "immature" if seed % 2 else "mature"
    _, dried, condensed = run_season(a_bed(maturity=maturity), None, rng, 120)
    assert dried > 5
    assert condensed > 5


@pytest.mark.parametrize("seed", range(4))
def test_a_random_season_of_many_bays(seed):
    rng = np.random.default_rng(100 + seed)
    size = {
        "height": rng.uniform(2.0, 6.0, 9), "tuber_diameter": rng.uniform(0.04, 0.07, 9),
        "bulk_density": rng.uniform(620.0, 690.0, 9), "pressure": rng.uniform(80e3, 102e3, 9),
    }  # fmt: skip
    _, dried, condensed = run_season(a_bed(**size), 9, rng, 100)
    assert dried > 5
    assert condensed > 5


@pytest.mark.parametrize("longest", [6 * HOUR, DAY, 10 * DAY])
@pytest.mark.parametrize("seed", range(3))
def test_long_steps_in_steady_weather(seed, longest):
    """Steps of a minute to ten days, fans at one speed, air too dry to condense."""
    rng = np.random.default_rng(seed)
    run_season(a_bed(), None, rng, 100, longest=longest, restless=False)


@settings(deadline=None, max_examples=60)
@given(
    st.integers(0, 2**31),
    st.integers(2, 80),
    st.floats(0.5, 6.0),
    st.floats(0.03, 0.09),
    st.floats(0.0, 2.0),
)
def test_any_bed(seed, layers, height, diameter, conductivity):
    """Any number of layers, any size."""
    model = a_bed(layers=layers, height=height, tuber_diameter=diameter, conductivity=conductivity)
    run_season(model, None, np.random.default_rng(seed), 8)


@pytest.mark.parametrize("seed", range(4))
def test_mass_lost_is_mass_that_left(seed):
    """
    water_loss + dry_matter_loss - film = water carried off + CO2 given off - O2 taken up.

    Stoichiometry of glucose oxidation with standard atomic masses; agrees to the rounding of
    the molar masses (1e-4 of the gases).
    """
    model, total = a_bed(), {"water": 0.0, "co2": 0.0}

    def count(model, way, before, after, out, air_in, gain, top):
        total["water"] += float(np.sum(out.evaporated)) * way.step
        total["co2"] += out.co2 * way.step
        added = np.sum(before.film) - total.get("film", 0.0)  # wetted by hand between steps
        total["poured"] = total.get("poured", 0.0) + added * model.layer_mass
        total["film"] = np.sum(after.film)

    state, _, _ = run_season(model, None, np.random.default_rng(seed), 100, count)
    lost = float(np.sum(state.water_loss + state.dry_matter_loss - state.film)) * model.layer_mass
    left = total["water"] + total["co2"] * (1.0 - OXYGEN_PER_CO2)
    assert lost + total["poured"] == pytest.approx(left, abs=2e-4 * total["co2"])
    assert total["co2"] > 0.1


def test_a_sealed_pile_only_trades_with_itself():
    """Hardly any air, no skin water, no respiration: the heat in the pile stays."""
    crop = replace(
        crop_for("table"), respiration_settled=1e-30, respiration_fresh=1e-30,
        transpiration_uncured=0.0, transpiration_cured=0.0,
    )  # fmt: skip
    model = a_bed(crop=crop)
    start = np.linspace(4.0, 12.0, 40)
    state, way = bed.fresh_bed(model, start), bed.passage(model, 1e-5, DAY)
    for _ in range(100):
        state, _ = bed.march(
            model, state, way, inlet_temperature=float(np.mean(start)),
            inlet_humidity_ratio=0.0, age=0.0,
        )  # fmt: skip
    drift = 1e-5 * model.pressure / (287.05 * 278.15) * AIR_HEAT * 100 * DAY * 8.0
    stored = abs(np.sum(state.temperature - start)) * model.heat_capacity
    assert stored <= drift
    assert np.std(state.temperature) < np.std(start)
