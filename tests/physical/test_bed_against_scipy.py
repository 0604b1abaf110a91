"""
The steps of the deep bed against a stiff solver of the same layers.

The layers are written out once more as ordinary differential equations in continuous time,
with the formulas of ``air`` and ``crop``, and integrated by scipy to a tight tolerance. What
is left between the two is the steps' error in time, which must fall as the step is halved.
"""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
import scipy

from ventcalc import air
from ventcalc.air.plain import AIR_HEAT, VAPOUR_HEAT
from ventcalc.pile import bed, crop
from ventcalc.pile.crop import crop_for

HOUR, DAY = 3600.0, 86400.0
PRESSURE = 95e3
AGE = 5 * DAY
LAYERS = 20
STUFF = crop_for("table")
MODEL = bed.Bed(
    height=3.0, bulk_density=650.0, tuber_diameter=0.06, pressure=PRESSURE, crop=STUFF,
    layers=LAYERS, conductivity=0.35,
)  # fmt: skip


class Layers:
    """The layers' rates of change in constant inlet air, formulas written out."""

    def __init__(self, model, velocity, temperature, ratio, gain=0.0, top=0.0):
        self.model, self.temperature, self.ratio = model, temperature, ratio
        self.gain, self.top = gain, top
        density = model.pressure / (287.05 * 278.15)
        self.flow = velocity * density
        self.capacity = self.flow * (AIR_HEAT + VAPOUR_HEAT * ratio)
        film = bed.heat_transfer_coefficient(velocity, model.tuber_diameter, density)
        inner = model.tuber_diameter / (10.0 * model.crop.tuber_conductivity)
        surface = model.area_density * model.thickness
        units = surface / (1.0 / film + inner) / self.capacity
        vapour_units = film * surface / (self.flow * AIR_HEAT) * 0.87 ** (-2.0 / 3.0)
        self.share = min(units / (1.0 + units / 2.0), 1.0)
        self.wet_share = min(vapour_units / (1.0 + vapour_units / 2.0), 1.0)
        self.heat_capacity = model.layer_mass * model.crop.specific_heat

    def saturation(self, temperature):
        return air.saturation_pressure(temperature) * air.enhancement_factor(
            8.0, self.model.pressure
        )

    def evaporation(self, temperature, curing, wet):
        """Water into the air, skin or film, layer by layer. [kg/(m² s)]"""
        pressure, inlet = self.model.pressure, self.ratio
        full = self.saturation(temperature)
        activity = 1.0 if wet else self.model.crop.water_activity
        level = air.MASS_RATIO * activity * full / (pressure - activity * full)
        # Pascals to humidity ratio, at the inlet: dp/dw = p e / (e + w)²
        skin = crop.transpiration_coefficient(curing, self.model.crop) * self.model.layer_mass
        units = skin * pressure * air.MASS_RATIO / (air.MASS_RATIO + inlet) ** 2 / self.flow
        share = self.wet_share if wet else units / (1.0 + units / 2.0)
        water, taken = inlet, np.empty(self.model.layers)
        for i, equilibrium in enumerate(level):
            taken[i] = share * (equilibrium - water)
            water += taken[i]
        return taken * self.flow

    def heat(self, temperature):
        """From the air and from neighbours. [W/m²]"""
        passing, gained = self.temperature, np.empty(self.model.layers)
        for i, tuber in enumerate(temperature):
            gained[i] = self.share * (passing - tuber)
            passing += self.share * (tuber - passing)
        gained *= self.capacity
        flux = self.model.conductivity / self.model.thickness * np.diff(temperature)
        gained[:-1] += flux
        gained[1:] -= flux
        return gained

    def rates(self, time, y, wet):
        n = self.model.layers
        temperature, curing = y[:n], y[-1]
        evaporated = self.evaporation(temperature, curing, wet)
        latent = 2.5009e6 - (4186.0 - VAPOUR_HEAT) * temperature.mean()
        respired = self.model.layer_mass * crop.respiration_heat(temperature, AGE, self.model.crop)
        warmed = self.heat(temperature) + respired - latent * evaporated + self.gain / n
        warmed[-1] += self.top
        healed = crop.curing_rate(float(temperature.mean()), self.model.crop)
        return np.concatenate([warmed / self.heat_capacity, evaporated, [healed]])

    def solve(self, start, time, wet=False, curing=0.0):
        """Temperatures and water given off after ``time``. [°C, kg/m²]"""
        y = np.concatenate([start, np.zeros(self.model.layers), [curing]])
        scale = np.concatenate(
            [np.full(self.model.layers, 1e-9), np.full(self.model.layers, 1e-11), [1e-3]]
        )
        result = scipy.integrate.solve_ivp(
            self.rates, (0.0, time), y, method="BDF", args=(wet,), rtol=1e-10, atol=scale
        )
        assert result.success
        n = self.model.layers
        return result.y[:n, -1], result.y[n : 2 * n, -1]


def stepped(layers, start, time, step, film=0.0, curing=0.0):
    """The same by steps: temperatures and water given off. [°C, kg/m²]"""
    model = layers.model
    first = replace(bed.fresh_bed(model, start), curing=curing, film=np.full(model.layers, film))
    given = {
        "step": step,
        "superficial_velocity": layers.flow / (model.pressure / (287.05 * 278.15)),
        "inlet_temperature": layers.temperature,
        "inlet_humidity_ratio": layers.ratio,
        "age": AGE,
        "heat_gain": layers.gain,
    }
    count = round(time / step)
    if layers.top:
        state, total = first, 0.0
        for _ in range(count):
            state, out = bed.step(model, state, top_heat=layers.top, **given)
            total += out.evaporated * step
    else:
        state, means = bed.run_steps(
            model, first, compiled=True, **{**given, "age": np.full(count, AGE)}
        )
        total = np.sum(means.evaporated) * step
    assert not film or np.all(state.film > 0.0)
    # What skin and film have lost, and what respiration made and so was lost beside.
    formed = crop.metabolic_water_rate(1.0, model.crop) / crop.dry_matter_rate(1.0, model.crop)
    lost = state.water_loss + formed * state.dry_matter_loss + first.film - state.film
    assert np.sum(lost) * model.layer_mass == pytest.approx(total, rel=1e-9)
    return state.temperature, lost * model.layer_mass


PROFILE = 12.0 - 2.0 * np.cos(np.pi * (np.arange(LAYERS) + 0.5) / LAYERS)
DRY_CASES = {
    "cooling": (0.02, 7.0, 0.9),
    "warming": (0.02, 14.0, 0.6),
    "much air": (0.05, 9.0, 0.95),
    "little air": (0.004, 9.0, 0.8),
}


def dry_case(name, model=MODEL, **gains):
    velocity, temperature, relative = DRY_CASES[name]
    ratio = air.humidity_ratio(temperature, relative, PRESSURE)
    return Layers(model, velocity, temperature, ratio, **gains)


def errors(layers, time, steps, **other):
    start = PROFILE
    temperature, given = layers.solve(
        start, time, bool(other.get("film")), other.get("curing", 0.0)
    )
    pairs = [stepped(layers, start, time, step, **other) for step in steps]
    return (
        [float(np.max(np.abs(t - temperature))) for t, _ in pairs],
        [float(np.max(np.abs(g - given)) / np.max(np.abs(given))) for _, g in pairs],
    )


def orders(values):
    return [math.log2(a / b) for a, b in pairwise(values)]


@pytest.mark.parametrize("name", DRY_CASES)
@pytest.mark.parametrize("curing", [0.0, 20 * DAY])
def test_hourly_steps_of_a_dry_bed(name, curing):
    """Two days in hourly steps: within 0.005 K and 0.3 % of the water."""
    heat, water = errors(dry_case(name, gain=-15.0, top=4.0), 2 * DAY, [HOUR], curing=curing)
    assert heat[0] < 0.005
    assert water[0] < 0.003


@pytest.mark.parametrize("name", DRY_CASES)
def test_halving_the_step_converges_to_the_solver(name):
    """First order: evaporation, conduction and respiration are taken once a step."""
    heat, water = errors(dry_case(name), DAY, [1800.0, 900.0, 450.0, 225.0])
    assert all(0.75 < order < 2.1 for order in orders(heat))
    assert water[-1] < 0.5 * water[0]  # errors of both signs: no clean order
    assert heat[-1] < 2.5e-4
    assert water[-1] < 1.5e-4


def test_second_order_where_nothing_evaporates_or_respires():
    """The exchange with the air itself is second order in time."""
    still = replace(
        STUFF, respiration_settled=1e-30, respiration_fresh=1e-30, transpiration_uncured=0.0,
        transpiration_cured=0.0,
    )  # fmt: skip
    layers = Layers(replace(MODEL, crop=still, conductivity=0.0), 0.03, 6.0, 0.0)
    temperature, _ = layers.solve(PROFILE, DAY)
    found = [
        float(np.max(np.abs(stepped(layers, PROFILE, DAY, step)[0] - temperature)))
        for step in (3600.0, 1800.0, 900.0)
    ]
    assert all(1.8 < order < 2.2 for order in orders(found))


@pytest.mark.parametrize("relative", [0.6, 0.95])
@pytest.mark.parametrize("velocity", [0.005, 0.02, 0.04])
def test_wet_bed(velocity, relative):
    """
    A film on every layer that lasts: vapour leaves it as heat does, and faster.

    Where drying is that fast an hour is cut into parts, which leaves it as accurate as minutes;
    what is left at 50 s is the fit of the vapour pressure (6e-6).
    """
    ratio = air.humidity_ratio(10.0, relative, PRESSURE)
    layers = Layers(MODEL, velocity, 10.0, ratio)
    heat, water = errors(layers, DAY, [3600.0, 200.0, 50.0], film=0.5)
    assert heat[0] < 0.002
    assert water[0] < 5e-4
    assert heat[2] < heat[1] < heat[0]
    assert heat[-1] < 1e-4
    assert water[-1] < 1.5e-4
