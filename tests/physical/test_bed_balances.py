"""Energy, water and mass of the deep bed close to round-off, whatever the season does."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ventcalc import air
from ventcalc.air.plain import AIR_HEAT, EVAPORATION, WATER_HEAT, enthalpy
from ventcalc.pile import bed
from ventcalc.pile.crop import co2_rate, crop_for, dry_matter_rate, metabolic_water_rate

HOUR, DAY = 3600.0, 86400.0
CLOSE = 1e-9
OXYGEN_PER_CO2 = 6 * 31.998 / (6 * 44.009)
"""C6H12O6 + 6 O2 -> 6 CO2 + 6 H2O, from standard atomic masses. [kg/kg]"""


def closes(*terms):
    """Terms that must sum to zero, to ``CLOSE`` of the sum of their sizes."""
    return abs(sum(terms)) <= CLOSE * max(sum(abs(t) for t in terms), 1e-300)


def check_step(model, before, after, out, given):
    """Every balance of one step, per m² of floor."""
    step, temperature = given["step"], given["inlet_temperature"]
    ratio, gained = given["inlet_humidity_ratio"], given["heat_gain"] + given["top_heat"]
    flow = given["superficial_velocity"] * model.pressure / (287.05 * 278.15)
    warmed = (after.temperature - before.temperature) * model.heat_capacity
    sensible = flow * AIR_HEAT * (out.outlet_temperature - temperature) * step
    latent = flow * out.latent_heat * (out.outlet_humidity_ratio - ratio) * step
    heat = out.respiration * step
    carried = enthalpy(out.outlet_temperature, out.outlet_humidity_ratio)
    carried -= enthalpy(temperature, ratio)
    liquid = out.evaporated * WATER_HEAT * np.mean(before.temperature)
    imbalance = np.sum(warmed) + (flow * carried - liquid) * step - heat - gained * step
    # Terms cancel layer by layer, so their sizes are summed before they do.
    gains = (abs(given["heat_gain"]) + abs(given["top_heat"])) * step
    size = np.sum(np.abs(warmed)) + abs(sensible) + abs(latent) + heat + gains
    flux = flow * (AIR_HEAT * 20.0 + EVAPORATION * ratio) * step
    assert abs(imbalance) <= CLOSE * size + 1e-13 * flux

    mass = model.layer_mass
    lost = (after.water_loss - before.water_loss) * mass
    film = (after.film - before.film) * mass
    formed = metabolic_water_rate(heat, model.crop)
    taken = given["top_water"] * step
    moved = np.sum(np.abs(lost)) + np.sum(np.abs(film)) + formed + abs(taken)

    carried = flow * (out.outlet_humidity_ratio - ratio) * step
    evaporated = out.evaporated * step
    through = flow * ratio * step
    assert abs(carried - evaporated) <= CLOSE * moved + 1e-14 * through

    slips = 1e-13 * mass  # films below 1e-15 kg/kg vanish
    left = evaporated + taken + np.sum(film) - np.sum(lost) - formed
    assert abs(left) <= CLOSE * moved + slips

    burned = np.sum(after.dry_matter_loss - before.dry_matter_loss) * mass
    assert closes(burned, -dry_matter_rate(heat, model.crop))
    assert np.all(after.film >= 0.0)
    assert out.condensed >= 0.0


def run_season(model, rng, hours, check=check_step, longest=HOUR, restless=True):
    """
    A season of ``hours`` random steps, each of them checked.

    ``restless`` turns fans on and off, wets the crop and blows damp air into it.
    """

    def draw(low, high):
        return float(rng.uniform(low, high))

    state = bed.fresh_bed(model, draw(9.0, 12.0))
    dried = condensed = 0
    speed = draw(0.004, 0.06)
    for k in range(hours):
        step = float(10.0 ** rng.uniform(np.log10(60.0), np.log10(longest)))
        if restless:
            speed = draw(1e-4, 3e-4) if rng.random() < 0.3 else draw(0.004, 0.06)
            if rng.random() < 0.1:
                state = replace(state, film=state.film + 1e-3 * rng.random())
        t = draw(1.0, 20.0) if restless else draw(9.0, 12.0)
        humidity = draw(0.3, 1.0 if restless else 0.8)
        given = {
            "step": step,
            "superficial_velocity": speed,
            "inlet_temperature": t,
            "inlet_humidity_ratio": float(air.humidity_ratio(t, humidity, model.pressure)),
            "heat_gain": draw(-30.0, 30.0),
            "top_heat": draw(-5.0, 5.0) if restless else draw(-1.0, 1.0),
            "top_water": draw(-1e-6, 1e-6) if restless else 0.0,
        }
        after, out = bed.step(model, state, age=k * 0.5 * DAY, **given)
        check(model, state, after, out, given)
        dried += bool(np.any((state.film > 0.0) & (after.film == 0.0)))
        state = after
        condensed += out.condensed > 0.0
    return state, dried, condensed


def a_bed(**other):
    size = {"height": 4.5, "bulk_density": 650.0, "tuber_diameter": 0.055, "pressure": 92e3}
    return bed.Bed(**{**size, "crop": crop_for("fries"), **other})


@pytest.mark.parametrize("seed", range(8))
def test_a_random_season_of_one_pile(seed):
    """Steps of a minute to an hour, fans on and off, films that form and dry."""
    rng = np.random.default_rng(seed)
    maturity = "immature" if seed % 2 else "mature"
    _, dried, condensed = run_season(a_bed(maturity=maturity), rng, 120)
    assert dried > 5
    assert condensed > 5


def some_beds():
    """Nine piles of all sizes, high and low above the sea."""
    rng = np.random.default_rng(100)
    return [
        a_bed(
            height=float(rng.uniform(2.0, 6.0)), tuber_diameter=float(rng.uniform(0.04, 0.07)),
            bulk_density=float(rng.uniform(620.0, 690.0)), pressure=float(rng.uniform(8e4, 1.02e5)),
        )
        for _ in range(9)
    ]  # fmt: skip


@pytest.mark.parametrize("seed", range(9))
def test_a_random_season_of_any_pile(seed):
    rng = np.random.default_rng(100 + seed)
    _, dried, condensed = run_season(some_beds()[seed], rng, 100)
    assert dried > 5
    assert condensed > 5


@pytest.mark.parametrize("longest", [6 * HOUR, DAY, 10 * DAY])
@pytest.mark.parametrize("seed", range(3))
def test_long_steps_in_steady_weather(seed, longest):
    """Steps of a minute to ten days, fans at one speed, air too dry to condense."""
    rng = np.random.default_rng(seed)
    run_season(a_bed(), rng, 100, longest=longest, restless=False)


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
    run_season(model, np.random.default_rng(seed), 8)


@pytest.mark.parametrize("seed", range(4))
def test_mass_lost_is_mass_that_left(seed):
    """
    water_loss + dry_matter_loss - film = water carried off + CO2 given off - O2 taken up.

    Stoichiometry of glucose oxidation with standard atomic masses; agrees to the rounding of
    the molar masses (1e-4 of the gases).
    """
    model, total = a_bed(), {"water": 0.0, "co2": 0.0, "poured": 0.0, "film": 0.0}

    def count(model, before, after, out, given):
        total["water"] += (out.evaporated + max(given["top_water"], 0.0)) * given["step"]
        total["co2"] += co2_rate(out.respiration, model.crop) * given["step"]
        added = np.sum(before.film) - total["film"]  # wetted by hand between steps
        total["poured"] += added * model.layer_mass - min(given["top_water"], 0.0) * given["step"]
        total["film"] = np.sum(after.film)

    state, _, _ = run_season(model, np.random.default_rng(seed), 100, count)
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
    state = bed.fresh_bed(model, start)
    for _ in range(100):
        state, _ = bed.step(
            model, state, step=DAY, superficial_velocity=1e-5,
            inlet_temperature=float(np.mean(start)), inlet_humidity_ratio=0.0, age=0.0,
        )  # fmt: skip
    drift = 1e-5 * model.pressure / (287.05 * 278.15) * AIR_HEAT * 100 * DAY * 8.0
    stored = abs(np.sum(state.temperature - start)) * model.heat_capacity
    assert stored <= drift
    assert np.std(state.temperature) < np.std(start)
