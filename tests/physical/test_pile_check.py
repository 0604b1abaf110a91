"""Balances, limits, monotony and round trips of the check before fill."""

from __future__ import annotations

import tomllib
from dataclasses import replace

import numpy as np
import psychrolib
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ventcalc import air
from ventcalc.air.plain import AIR_HEAT, EVAPORATION
from ventcalc.bay.file import bay_from_dict, bay_to_toml, example_bay
from ventcalc.check import pile_heat
from ventcalc.check.air_system import air_system, lateral_of
from ventcalc.check.check import check_pile, sweep_heights
from ventcalc.check.crop_state import crop_states
from ventcalc.check.heat_balance import heat_balances
from ventcalc.check.pile_carbon import purge_time, timer_peak
from ventcalc.check.pile_heat import cooling_rate, design_states, humidifier_need, passage
from ventcalc.check.record import CANNOT_SAY, MARGINAL, NO, OK, check_above, check_below
from ventcalc.equipment.lateral import lateral_flow
from ventcalc.pile.air_path import AIR_VISCOSITY
from ventcalc.pile.crop import CO2_OUTSIDE, crop_for, respiration_heat

BAYS = ("seed_bay", "fry_bay")
WORDS = {"key": "x", "name": "x", "unit": "m", "formula": "", "source": ""}


def system_of(bay, height, temperature=5.0):
    pressure = float(air.standard_pressure(bay.site.altitude))
    return air_system(bay, height, pressure=pressure, temperature=temperature), pressure


# --- verdicts ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("value", "doubt", "told"),
    [
        (3.0, 0.0, OK),
        (5.0, 0.0, OK),
        (5.1, 0.0, NO),
        (4.6, 0.5, MARGINAL),
        (4.5, 0.5, OK),
        (5.4, 0.5, MARGINAL),
        (5.5, 0.5, NO),
        (np.nan, 0.5, CANNOT_SAY),
        (4.0, np.nan, CANNOT_SAY),
    ],
)
def test_verdict_on_both_sides_of_a_limit(value, doubt, told):
    assert check_below(value, 5.0, doubt, **WORDS).verdict == told
    assert check_above(-value, -5.0, doubt, **WORDS).verdict == told


def test_without_a_limit_nothing_is_said():
    assert check_below(1.0, np.nan, **WORDS).verdict == CANNOT_SAY
    many = check_below(np.array([1.0, 9.0, np.nan]), 5.0, **WORDS)
    assert many.verdict.tolist() == [OK, NO, CANNOT_SAY]


# --- air ---------------------------------------------------------------------------------


@pytest.mark.parametrize("name", BAYS)
def test_pressures_in_series_add_up_to_that_of_the_fans(name):
    system, _ = system_of(example_bay(name), 4.5)
    parts = system.pile_pressure + system.duct_pressure + system.other_pressure
    assert parts == pytest.approx(system.point.static_pressure, rel=1e-9)
    each = system.airflow / example_bay(name).fans.count
    fan = system.curve.pressure_at(each, density=system.density)
    assert fan == pytest.approx(system.point.static_pressure, rel=1e-9)


@pytest.mark.parametrize("share", [0.31, 0.77, 1.04])
def test_duct_curve_follows_the_march_between_its_points(share):
    """Twelve points serve a sweep: within 0.2 % of a march of its own at any airflow."""
    bay = example_bay()
    system, _ = system_of(replace(bay, pile=replace(bay.pile, soil=0.0)), 0.05)
    static = share * system.duct_pressure
    own = lateral_flow(
        lateral_of(bay.ducts),
        plenum_pressure=static,
        density=system.density,
        viscosity=AIR_VISCOSITY,
    )
    flow = own.airflow * bay.ducts.laterals
    others = bay.ducts.other_static_pressure * system.density / 1.2
    rest = others * (flow / bay.fans.airflow) ** 2
    through_pile = float(system.system(flow)) - static - rest
    assert abs(through_pile) < 0.002 * static + 0.1  # a pile of 5 cm takes next to nothing


def test_soil_multiplies_the_resistance_of_the_pile_alone():
    """1.36 for every 2 %: Hamadan, fooder.areeo.ac.ir 125712."""
    bay = example_bay()
    clean = replace(bay, pile=replace(bay.pile, soil=0.0))
    dirty = replace(bay, pile=replace(bay.pile, soil=0.04))
    (first, _), (second, _) = system_of(clean, 4.5), system_of(dirty, 4.5)
    flow = 15.0
    bare = float(first.system(flow)) - float(system_of(clean, 2.25)[0].system(flow))
    with_soil = float(second.system(flow)) - float(system_of(dirty, 2.25)[0].system(flow))
    assert with_soil == pytest.approx(1.36**2 * bare, rel=1e-6)


def test_volume_flow_hardly_depends_on_altitude_but_the_rise_does():
    """Fan and system pressures both go with density; the heat that air carries does too."""
    low = example_bay()
    low = replace(low, site=replace(low.site, altitude=0.0))
    high = replace(low, site=replace(low.site, altitude=2500.0))
    one, two = check_pile(low), check_pile(high)
    assert two.system.airflow == pytest.approx(one.system.airflow, rel=0.01)
    ratio = two.system.density / one.system.density
    assert ratio < 0.8
    dry = [result.passages[2].dry_spread for result in (one, two)]
    assert dry[1] * ratio == pytest.approx(dry[0], rel=0.01)


@pytest.mark.parametrize("name", BAYS)
def test_without_ducts_and_curve_the_rated_point_is_met_at_the_rated_height(name):
    """In clean crop and air of 1.2 kg/m³ the assumed curve passes through the rated point."""
    bay = example_bay(name)
    fans = replace(bay.fans, curve_airflow=None, curve_static_pressure=None)
    bare = replace(bay, ducts=None, fans=fans, pile=replace(bay.pile, soil=0.0))
    system, _ = system_of(bare, bay.pile.height)
    assert system.curve_assumed
    assert system.ducts_assumed
    assert system.airflow == pytest.approx(bay.fans.airflow, rel=0.005)


# --- heat, water, CO2 --------------------------------------------------------------------


@pytest.mark.parametrize("k", [0, 1, 2])
@pytest.mark.parametrize("name", BAYS)
def test_heat_of_respiration_leaves_with_the_air(name, k):
    """Sensible and latent gain of the air equal the heat of the crop, to round-off."""
    bay = example_bay(name)
    system, pressure = system_of(bay, 4.5)
    state, mass = design_states(bay)[k], 1.5e6
    found = passage(bay, state, airflow=system.airflow, mass=mass, pressure=pressure)
    gain = AIR_HEAT * found.spread
    gain += EVAPORATION * (found.outlet_humidity_ratio - found.inlet_humidity_ratio)
    assert gain * found.mass_flow == pytest.approx(state.respiration_heat * mass, rel=1e-12)
    assert 0.0 < found.spread < found.dry_spread
    left = found.outlet_humidity_ratio - found.inlet_humidity_ratio
    assert found.water == pytest.approx(left * found.mass_flow, rel=1e-12)


def test_dry_rise_by_hand():
    """20 m³/s through 1 500 t at 12 W/t: 18 kW over 20/0.803 kg/s of 1006 J/(kg K) is 0.72 K."""
    bay = example_bay("fry_bay")
    state = replace(design_states(bay)[2], respiration_heat=0.012)
    found = passage(bay, state, airflow=20.0, mass=1.5e6, pressure=101325.0)
    # 0.803 m³/kg dry air at 8 °C and 95 %: ASHRAE Fundamentals, moist air at 8 °C, saturated
    # 0.8039 (table 2, from memory).
    assert found.dry_spread == pytest.approx(18000.0 / (20.0 / 0.803 * 1006.0), rel=0.003)


def test_a_crop_that_gives_off_no_water_warms_the_air_by_all_its_heat():
    bay = example_bay()
    state = replace(design_states(bay)[1], transpiration_coefficient=0.0)
    found = passage(bay, state, airflow=18.0, mass=1.8e6, pressure=84e3)
    assert found.spread == pytest.approx(found.dry_spread, rel=1e-12)
    assert found.water == pytest.approx(0.0, abs=1e-12)


def test_hardly_any_air_gives_a_hot_wet_pile_not_nonsense():
    bay = example_bay()
    state = design_states(bay)[0]
    found = passage(bay, state, airflow=np.geomspace(1e-3, 30.0, 60), mass=1.8e6, pressure=84e3)
    assert np.isfinite(found.spread).all()
    assert (np.diff(found.spread) < 0.0).all()
    assert (found.spread > 0.0).all()
    assert (found.spread <= found.dry_spread).all()


def test_steps_through_the_pile_are_enough(monkeypatch):
    bay = example_bay()
    state = design_states(bay)[0]
    few = passage(bay, state, airflow=18.0, mass=1.8e6, pressure=84e3).spread
    monkeypatch.setattr(pile_heat, "STEPS", 768)
    many = passage(bay, state, airflow=18.0, mass=1.8e6, pressure=84e3).spread
    assert few == pytest.approx(many, abs=0.005)


@pytest.mark.parametrize("k", [0, 1, 2])
@pytest.mark.parametrize("name", BAYS)
def test_supply_arrives_as_wanted_and_its_water_balances(name, k):
    bay = example_bay(name)
    system, pressure = system_of(bay, 4.5)
    state = design_states(bay)[k]
    through = passage(bay, state, airflow=system.airflow, mass=1.8e6, pressure=pressure)
    made = humidifier_need(bay, state, through, pressure=pressure, colder_by=1.0)
    assert made.supply_temperature == pytest.approx(state.pulp_temperature - 1.0, abs=0.01)
    outside = air.humidity_ratio(
        state.outside_temperature, state.outside_relative_humidity, pressure
    )
    blend = made.fresh_fraction * outside
    blend += (1.0 - made.fresh_fraction) * through.outlet_humidity_ratio
    reached = blend + made.water / through.mass_flow
    assert made.supply_humidity_ratio == pytest.approx(reached, rel=1e-6)
    assert 0.0 < made.fresh_fraction < 1.0
    assert made.water >= 0.0


def test_outside_air_that_cannot_cool_leaves_the_water_unsaid():
    bay = example_bay()
    state = replace(design_states(bay)[0], outside_temperature=35.0, outside_relative_humidity=0.9)
    through = passage(bay, state, airflow=18.0, mass=1.8e6, pressure=84e3)
    made = humidifier_need(bay, state, through, pressure=84e3, colder_by=2.0)
    assert np.isnan(made.fresh_fraction)
    assert np.isnan(made.water)


def test_supply_is_found_for_each_pile_alone():
    """Little, enough and no known airflow: one by one or together, NaN only where it belongs."""
    bay, pressure = example_bay(), 84e3
    state = design_states(bay)[2]
    flows = np.array([1e-3, 18.0, np.nan])
    through = passage(bay, state, airflow=flows, mass=1.8e6, pressure=pressure)
    made = humidifier_need(bay, state, through, pressure=pressure)
    assert np.isnan(made.water).tolist() == [True, False, True]
    one = passage(bay, state, airflow=18.0, mass=1.8e6, pressure=pressure)
    alone = humidifier_need(bay, state, one, pressure=pressure)
    assert made.water[1] == pytest.approx(alone.water, rel=1e-12)
    assert made.fresh_fraction[1] == pytest.approx(alone.fresh_fraction, rel=1e-12)


CARBON = {"airflow": 18.0, "volume": 2200.0}


def co2_by_hand(bay, stage, pressure=101325.0):
    """2816 kJ of heat come with 264 g of CO2; 44.01 g of it fill 22.41 L at 0 °C."""
    crop = crop_states(bay, pressure, 1.8e6)[stage]
    litres = 22.414 * 278.15 / 273.15 * 101325.0 / pressure
    return crop, crop.respiration_heat * 1.8e6 / 2816e3 * 264.0 / 44.01 * litres / 1000.0


def test_co2_of_the_crop_by_stoichiometry():
    crop, volume = co2_by_hand(example_bay(), "filling", 84e3)
    assert crop.co2_volume_flow == pytest.approx(
        volume, rel=0.02
    )  # one density of CO2 for a store's air


def test_runs_for_the_time_found_balance_the_crop_at_the_limit():
    """A run's air: the lowest speed, the door as far open as the bay says, its leak within."""
    bay = example_bay()
    crop, _ = co2_by_hand(bay, "healing")
    share = purge_time(bay, co2=crop.co2_volume_flow, **CARBON)
    fresh = (0.005 + 0.995 * bay.control.fresh_air_opening) * 0.5 * CARBON["airflow"]
    leak = bay.envelope.leakage * CARBON["volume"]
    carried = (bay.limits.co2 - CO2_OUTSIDE) * (leak + share * fresh)
    assert carried == pytest.approx(crop.co2_volume_flow, rel=1e-9)


@pytest.mark.parametrize("leakage", [0.0, 0.05 / 3600, 0.3 / 3600])
def test_peak_by_the_timer_is_that_of_a_march_in_time(leakage):
    """The adviser counts its rest from the end of a run, and runs at the lowest speed."""
    bay = example_bay()
    control = replace(
        bay.control, fresh_air_every=7200.0, fresh_air_for=3600.0, fresh_air_opening=0.3
    )
    bay = replace(bay, control=control, envelope=replace(bay.envelope, leakage=leakage))
    source, volume = co2_by_hand(bay, "holding")[0].co2_volume_flow, CARBON["volume"]
    leak = leakage * volume
    open_ = leak + (0.005 + 0.995 * 0.3) * 0.5 * CARBON["airflow"]
    excess, step, peak = 0.0, 20.0, 0.0
    for _ in range(40):
        for flow, time in ((leak, 7200.0), (open_, 3600.0)):
            peak = max(peak, excess) if flow == open_ else 0.0
            for _ in range(round(time / step)):
                excess += step * (source - flow * excess) / volume
    told = timer_peak(bay, co2=source, **CARBON)
    assert told - CO2_OUTSIDE == pytest.approx(peak, rel=0.01)


def test_a_tight_bay_that_opens_once_a_day_fails_by_its_own_timer():
    """Shut for 24 h, no leaks: all that the crop breathes in that time stays in the air."""
    bay = example_bay()
    control = replace(
        bay.control, fresh_air_every=86400.0, fresh_air_for=3600.0, fresh_air_opening=1.0
    )
    shut = replace(bay, control=control, envelope=replace(bay.envelope, leakage=0.0))
    found = check_pile(shut)
    room = 38.1 * 15.24 * 4.8768 * (1.0 - 640.74 / 1078.0) + 37500 * 0.3048**3
    for key, stage in (("co2_fill", "filling"), ("co2_healing", "healing")):
        check = found.check(key)
        shut_in = CO2_OUTSIDE + found.crops[stage].co2_volume_flow * 86400.0 / room
        assert check.value == pytest.approx(shut_in, rel=0.03)
        assert check.verdict == NO
        assert check.limit == bay.limits.co2


@pytest.mark.parametrize("name", BAYS)
def test_fill_is_one_day_for_rise_heat_co2_and_the_heat_balance(name):
    """Same mass, crop and age: 24 loads by hand, the last day's at the warmest lot's warmth."""
    bay = example_bay(name)
    found = check_pile(bay)
    plan, days = bay.schedule, bay.schedule.fill_days / 86400.0
    warmest = max(lot.loading_temperature for lot in bay.lots)
    ages = (np.arange(2400) + 0.5) / 2400 * days
    crop = crop_for(bay.use)
    heat = np.mean([
        respiration_heat(warmest if age < 1.0 else plan.healing_temperature, age * 86400.0, crop)
        for age in ages
    ])  # fmt: skip
    rise = {a.key: a.value for a in found.check("rise_fill").asides}
    assert rise["respiration_heat"] == pytest.approx(heat, rel=2e-3)
    cold = {a.key: a.value for a in found.check("cold_fill").asides}
    balance = heat_balances(found)[0]
    whole = rise["respiration_heat"] * found.mass
    assert cold["respiration"] == pytest.approx(whole, rel=1e-12)
    assert balance.respiration == pytest.approx(whole, rel=1e-12)
    assert balance.field == pytest.approx(cold["field_heat"], rel=1e-12)
    # 10.7 kJ per g of CO2, 1.95 g per litre at 101.3 kPa.
    carbon = whole / 10.7e6 / (1.95 * found.pressure / 101325.0)
    assert found.crops["filling"].co2_volume_flow == pytest.approx(carbon, rel=1e-9)


def test_more_air_colder_supply_and_less_crop_cool_faster():
    bay = example_bay()
    base = cooling_rate(bay, airflow=18.0, mass=1.8e6, pressure=84e3)
    assert cooling_rate(bay, airflow=24.0, mass=1.8e6, pressure=84e3) > base
    assert cooling_rate(bay, airflow=18.0, mass=1.5e6, pressure=84e3) > base
    colder = replace(bay, limits=replace(bay.limits, supply_difference=2.5))
    assert cooling_rate(colder, airflow=18.0, mass=1.8e6, pressure=84e3) > base


def test_heat_parts_sum_up_and_scale_with_the_crop():
    low, high = (
        heat_balances(check_pile(example_bay(), 3.0)),
        heat_balances(check_pile(example_bay(), 6.0)),
    )
    for one, two in zip(low, high, strict=True):
        assert two.respiration == pytest.approx(2.0 * one.respiration, rel=1e-12)
        assert one.envelope == two.envelope
        assert sum(one.parts.values()) == pytest.approx(one.total)
    assert low[2].envelope < 0.0 < low[2].fans


# --- refrigeration -------------------------------------------------------------------------

COLD = ("cold_fill", "cold_pull_down", "cold_holding")


def with_plant(bay, capacity):
    return replace(bay, refrigeration=replace(FRY.refrigeration, capacity=capacity))


FRY = example_bay("fry_bay")


def test_load_of_a_warm_day_in_holding_by_hand():
    """Part by part; enthalpies by psychrolib, CO2 by 2816 kJ per 264 g (glucose)."""
    check = check_pile(FRY, warm_temperature=18.0).check("cold_holding")
    parts = {aside.key: aside.value for aside in check.asides}
    pressure = psychrolib.GetStandardAtmPressure(20.0)
    # 730 m² of 0.20 W/(m² K) at 18 °C, 684 m² of 0.17 under a roof of 22 °C, 8 °C inside.
    assert parts["envelope"] == pytest.approx(730 * 0.20 * 10.0 + 684 * 0.17 * 14.0, rel=1e-9)
    outside = psychrolib.GetHumRatioFromRelHum(18.0, 0.60, pressure)
    inside = psychrolib.GetHumRatioFromRelHum(8.0, 0.95, pressure)
    per_kilogram = psychrolib.GetMoistAirEnthalpy(18.0, outside)
    per_kilogram -= psychrolib.GetMoistAirEnthalpy(8.0, inside)
    # Leaks and fresh air together carry the CO2 off: 44.01 g/mol in air of 28.97. One density
    # of CO2 serves all temperatures of a store, within 3 %.
    co2 = parts["respiration"] / (2816e3 / 0.264) * 28.97 / 44.01
    flow = co2 / (FRY.limits.co2 - CO2_OUTSIDE)
    assert parts["leakage"] + parts["fresh_air"] == pytest.approx(flow * per_kilogram, rel=0.04)
    assert 0.0 < parts["leakage"] < flow * per_kilogram
    # Half speed takes an eighth of the power.
    full = check_pile(FRY).system.electrical_power
    assert parts["fans"] == pytest.approx(full / 8.0, rel=1e-9)
    total = sum(parts[key] for key in ("respiration", "envelope", "leakage", "fresh_air", "fans"))
    assert check.value == pytest.approx(total * 24.0 / 20.0, rel=1e-9)


def test_field_heat_of_loads_and_ramp_by_hand():
    """kg x J/(kg K) x K over the time planned; the warmest lot is what must be cooled."""
    found = check_pile(FRY)
    specific, mass = crop_for(FRY.use).specific_heat, 38 * 18 * 4.5 * 650
    fill, down = ({a.key: a.value for a in found.check(key).asides} for key in COLD[:2])
    assert fill["field_heat"] == pytest.approx(mass / (10 * 86400) * specific * 1.0, rel=1e-9)
    assert down["field_heat"] == pytest.approx(mass * specific * 0.25 / 86400, rel=1e-9)
    for key in COLD:
        assert "latent" in {aside.key for aside in found.check(key).asides}


@pytest.mark.parametrize("name", BAYS)
def test_a_plant_large_enough_is_ok_and_one_too_small_for_holding_binds(name):
    bay = example_bay(name)
    large = check_pile(with_plant(bay, 400e3))
    assert [large.check(key).verdict for key in COLD] == [OK, OK, OK]
    assert large.highest == check_pile(with_plant(bay, 300e3)).highest
    need = large.check("cold_holding")
    small = check_pile(with_plant(bay, 0.7 * (need.value - need.uncertainty)))
    assert small.check("cold_holding").verdict == NO
    assert small.binds == (need.name,)
    assert small.highest < bay.pile.height
    again = check_pile(small.bay, small.highest).check("cold_holding")
    assert again.margin == pytest.approx(0.0, abs=0.002 * again.limit)


def test_a_plant_that_needs_outside_air_in_the_pull_down_is_not_judged_by_itself():
    """70 kW for 2000 t: enough to hold, not enough to pull down, as outside air may do."""
    found = check_pile(FRY)
    assert [found.check(key).verdict for key in COLD] == [CANNOT_SAY, CANNOT_SAY, OK]
    assert "ventcalc size" in found.check("cold_fill").note
    assert found.check("cold_fill").name not in {reach.name for reach in found.reaches}
    alone = found.plant_reaches[0]
    at_it = check_pile(FRY, alone.height)
    assert min(at_it.check(key).margin for key in COLD[:2]) == pytest.approx(0.0, abs=100.0)
    assert at_it.check("cold_fill").verdict in (MARGINAL, CANNOT_SAY)


def test_frost_on_a_cold_coil_is_melted_into_the_store():
    """3.3 °C less 4 K of coil freezes; 13 °C does not. A kilogram: 2.83 MJ in, 0.36 MJ back."""
    bay = with_plant(example_bay("seed_bay"), 200e3)
    parts = {a.key: a.value for a in check_pile(bay).check("cold_holding").asides}
    # Ice of -0.7 °C to water of 5 °C by half-efficient heaters leaves as much as it takes:
    # 333.6 + 0.7 x 2.1 + 5 x 4.19 kJ/kg.
    frost = parts["latent"] / (2.501e6 + 0.3336e6)
    assert parts["defrost"] == pytest.approx(frost * 356e3, rel=0.01)
    assert "defrost" not in {a.key for a in check_pile(bay).check("cold_pull_down").asides}


def test_without_plant_or_air_nothing_is_said_of_it():
    none = check_pile(example_bay("seed_bay"))
    zero = check_pile(with_plant(example_bay("seed_bay"), 0.0))
    lone = check_pile(replace(FRY, fans=replace(FRY.fans, count=1)))
    for result, words in ((none, "no refrigeration"), (zero, "no refrigeration"), (lone, "fans")):
        for key in COLD:
            assert result.check(key).verdict == CANNOT_SAY
            assert words in result.check(key).note
    assert none.plant_reaches == ()
    assert none.check("cold_fill").value > none.check("cold_pull_down").value > 0.0


@settings(max_examples=20, deadline=None)
@given(warm=st.floats(0.0, 40.0), more=st.floats(0.5, 5.0))
def test_a_warmer_day_asks_for_more_cold(warm, more):
    one = check_pile(FRY, warm_temperature=min(warm, 40.0 - more))
    two = check_pile(FRY, warm_temperature=min(warm + more, 40.0))
    for key in COLD:
        assert two.check(key).value > one.check(key).value


# --- walls and ceiling ---------------------------------------------------------------------


def dew_point_by_magnus(temperature, humidity):
    """Alduchov and Eskridge 1996, over water: exp(17.625 t / (243.04 + t))."""
    gamma = np.log(humidity) + 17.625 * temperature / (243.04 + temperature)
    return 243.04 * gamma / (17.625 - gamma)


def test_surfaces_of_the_winter_by_hand():
    """
    Air less U x Rsi x difference. Plain: 0.13 m² K/W at a wall, 0.10 under a ceiling at its worst
    joint (ISO 6946). Still corner: 0.25 (ISO 13788), which needs no joint on top. The worse counts.
    """
    found = check_pile(FRY, winter_temperature=-20.0)
    walls = {a.key: a.value for a in found.check("walls").asides}
    assert walls["surface_temperature"] == pytest.approx(8.0 - 0.20 * 0.25 * 28.0, abs=1e-9)
    dew_point = dew_point_by_magnus(8.0, 0.95)
    assert walls["dew_point"] == pytest.approx(dew_point, abs=0.02)
    plain, still = (8.0 - 0.20 * r * 28.0 - dew_point for r in (0.13, 0.25))
    assert walls["margin_plain"] == pytest.approx(plain, abs=0.02)
    assert walls["margin_still"] == pytest.approx(still, abs=0.02)
    assert found.check("walls").margin == pytest.approx(still, abs=0.02)
    ceiling = {a.key: a.value for a in found.check("ceiling").asides}
    # The fry bay's 20 kW lift the roof space by the whole kelvin.
    assert ceiling["roof_space_above"] == 1.0
    roof = ceiling["outside_temperature"]
    assert -25.0 < roof < -22.0  # a clear sky cools a roof by 3-5 K (common practice)
    at_joint, in_corner = (9.0 - 0.17 * r * (9.0 - roof) for r in (2.0 * 0.10, 0.25))
    assert ceiling["surface_temperature"] == pytest.approx(in_corner, abs=1e-9)
    assert ceiling["margin_plain"] == pytest.approx(at_joint - dew_point, abs=0.02)
    # Warm air keeps its water: the dew point stays.
    assert ceiling["dew_point"] == pytest.approx(walls["dew_point"], abs=1e-6)
    bridged = replace(FRY, envelope=replace(FRY.envelope, bridge_factor=4.0))
    worse = check_pile(bridged, winter_temperature=-20.0).check("ceiling")
    at_joint = 9.0 - 4.0 * 0.17 * 0.10 * (9.0 - roof)
    assert worse.margin == pytest.approx(at_joint - dew_point, abs=0.02)


def test_a_roof_space_without_heat_is_a_kelvin_nearer_to_dripping():
    cold = check_pile(replace(FRY, heater=None)).check("ceiling").margin
    assert cold < check_pile(FRY).check("ceiling").margin - 0.9
    weak = replace(FRY.heater, capacity=1000.0)
    assert check_pile(replace(FRY, heater=weak)).check("ceiling").margin == pytest.approx(cold)


@settings(max_examples=20, deadline=None)
@given(winter=st.floats(-50.0, 5.0), colder=st.floats(0.5, 5.0), better=st.floats(1.1, 4.0))
def test_colder_is_wetter_and_insulation_is_drier(winter, colder, better):
    bay = replace(example_bay(), heater=None)
    shell = bay.envelope
    good = replace(shell, wall_u=shell.wall_u / better, ceiling_u=shell.ceiling_u / better)
    lower = max(winter - colder, -50.0)
    checked = (
        check_pile(bay, winter_temperature=winter),
        check_pile(bay, winter_temperature=lower),
        check_pile(replace(bay, envelope=good), winter_temperature=winter),
    )
    for key in ("walls", "ceiling"):
        now, then, insulated = (one.check(key) for one in checked)
        assert then.margin <= now.margin
        assert insulated.margin >= now.margin or winter > bay.schedule.holding_temperature
        assert now.uncertainty > 0.3  # 2 % of humidity alone move the dew point by 0.3 K


def test_sheet_without_insulation_drips_and_is_no_error():
    bay = example_bay()
    bare = replace(bay, envelope=replace(bay.envelope, ceiling_u=7.0, wall_u=7.0), heater=None)
    found = check_pile(bare)
    assert [found.check(key).verdict for key in ("walls", "ceiling")] == [NO, NO]
    assert found.whatever_height == (found.check("walls").name, found.check("ceiling").name)
    # Losing all the resistance at the joint, its surface is as cold as the roof.
    ceiling = {a.key: a.value for a in found.check("ceiling").asides}
    assert ceiling["surface_temperature"] == pytest.approx(ceiling["outside_temperature"])


# --- heights -----------------------------------------------------------------------------


@pytest.mark.parametrize("name", BAYS)
def test_many_heights_at_once_are_the_same_as_one_by_one(name):
    bay = example_bay(name)
    heights = sweep_heights()
    many = check_pile(bay, heights)
    for i in (0, 57, 133, 199):
        one = check_pile(bay, float(heights[i]))
        for single, several in zip(one.checks, many.checks, strict=True):
            assert single.key == several.key
            assert single.verdict == several.verdict[i]
            for field in ("value", "limit", "margin", "uncertainty"):
                expected = getattr(several, field)[i]
                assert getattr(single, field) == pytest.approx(expected, rel=1e-9, nan_ok=True)


@pytest.mark.parametrize("name", BAYS)
def test_a_higher_pile_never_gains_margin(name):
    sweep = check_pile(example_bay(name), sweep_heights())
    assert (np.diff(sweep.check("lots").margin) > 0.0).all()
    for check in sweep.checks:
        if check.by_height:
            known = check.margin[~np.isnan(check.margin)]
            slack = 1e-9 * np.abs(known).max(initial=1e-12)
            assert (np.diff(known) <= slack).all(), check.key


@pytest.mark.parametrize("name", BAYS)
def test_just_below_the_highest_all_margins_hold_and_just_above_one_is_gone(name):
    bay = example_bay(name)
    top = check_pile(bay).highest

    def gone(height):
        return {c.name for c in check_pile(bay, height).checks if c.by_height and c.margin < 0.0}

    assert gone(top - 0.01) == set()
    assert gone(top + 0.02) >= set(check_pile(bay).binds)


def test_what_binds_moves_with_the_bay():
    bay = example_bay()
    low_wall = replace(bay, envelope=replace(bay.envelope, wall_height=5.0))
    assert check_pile(low_wall).highest == pytest.approx(5.0, abs=0.01)
    assert check_pile(low_wall).binds == ("pile against the height of the wall",)
    weak = replace(bay, limits=replace(bay.limits, floor_load=20e3))
    # 20 kPa over 640.7 kg/m³ x 9.80665 m/s²
    assert check_pile(weak).highest == pytest.approx(20e3 / (640.74 * 9.80665), abs=0.02)
    assert check_pile(weak).check("floor_load").verdict == NO
    few = check_pile(replace(bay, fans=replace(bay.fans, count=2)))
    assert few.highest < check_pile(bay).highest - 0.9
    assert few.binds == ("temperature rise through the pile, fill",)


def test_without_known_air_no_height_passes():
    """One fan alone runs off the end of its curve: what the pile gets is not known."""
    bay = example_bay()
    lone = check_pile(replace(bay, fans=replace(bay.fans, count=1)))
    assert lone.system.point.beyond_curve
    assert lone.check("airflow").verdict == CANNOT_SAY
    assert lone.check("rise_fill").verdict == CANNOT_SAY
    assert lone.highest == 0.0
    assert lone.binds == (lone.check("airflow").name,)


def test_bruise_is_known_from_one_side_only():
    """Usual down to 5.5 m, possible from 3.5 m on: never better for being deeper than usual."""
    verdicts = {
        h: check_pile(example_bay(), h).check("bruise").verdict for h in (3.4, 3.6, 5.5, 5.6)
    }
    assert verdicts == {3.4: OK, 3.6: MARGINAL, 5.5: MARGINAL, 5.6: NO}
    (shallow,), (deep,) = (check_pile(example_bay(), h).check("bruise").asides for h in (4.9, 5.1))
    assert "extrapolated" in deep.name
    assert "extrapolated" not in shallow.name


def test_soil_is_told_and_takes_air_but_is_no_verdict():
    """1.36 for every 2 % (Hamadan): 10 % of soil raises the pile's own resistance 4.65 times."""
    bay = example_bay()
    clean, dirty = (
        check_pile(replace(bay, pile=replace(bay.pile, soil=soil))) for soil in (0.0, 0.10)
    )
    assert "soil" not in {check.key for check in dirty.checks}
    figures = [{a.key: a.value for a in one.check("airflow").asides} for one in (clean, dirty)]
    assert figures[0]["soil_factor"] == 1.0
    assert figures[1]["soil_factor"] == pytest.approx(1.36**5, rel=1e-12)
    assert dirty.check("airflow").value < clean.check("airflow").value


def test_wall_methods_follow_the_friction_of_the_bay_and_tell_it():
    """Rankine: tan²(45° - phi/2); at 20° it is 0.490, at 34° 0.283: not always the least."""
    bay = example_bay()

    def figures(angle, friction):
        other = replace(
            bay,
            pile=replace(bay.pile, internal_friction=angle),
            envelope=replace(bay.envelope, wall_friction=friction),
        )
        check = check_pile(other).check("wall_thrust")
        assert f"{angle:g} degrees" in check.asides[0].name
        return check, {a.key: a.value for a in check.asides}

    for angle, friction in ((34.0, 0.38), (20.0, 1.0)):
        check, found = figures(angle, friction)
        ratio = np.tan(np.radians(45.0 - angle / 2.0)) ** 2
        by_hand = ratio * 640.74 * 9.80665 * 4.8768**2 / 2.0
        assert found["rankine"] == pytest.approx(by_hand, rel=1e-4)
        assert found["at_rest"] / found["rankine"] == pytest.approx(1 + np.sin(np.radians(angle)))
        methods = [found[key] for key in ("rankine", "at_rest", "silo", "silo_upper", "janssen")]
        assert check.value == max(methods)
    assert found["janssen"] < found["rankine"]  # at 20 degrees and a rough wall
    assert check.value == found["at_rest"]


def test_wall_thrust_goes_with_the_square_and_moment_with_the_cube_of_height():
    low, high = check_pile(example_bay(), 2.5), check_pile(example_bay(), 5.0)
    thrust, moment = "wall_thrust", "wall_moment"
    assert high.check(thrust).value == pytest.approx(4.0 * low.check(thrust).value)
    assert high.check(moment).value == pytest.approx(8.0 * low.check(moment).value)
    for key in (thrust, moment):
        assert high.check(key).verdict == CANNOT_SAY


@settings(max_examples=15, deadline=None)
@given(height=st.floats(0.5, 8.0), winter=st.floats(-50.0, 10.0))
def test_any_height_is_judged(height, winter):
    result = check_pile(example_bay(), height, winter_temperature=winter)
    assert {check.verdict for check in result.checks} <= {OK, MARGINAL, NO, CANNOT_SAY}
    assert isinstance(result.check("airflow").value, float)


@pytest.mark.parametrize("units", ["us", "metric"])
def test_units_of_the_file_do_not_matter(units):
    bay = example_bay()
    again = bay_from_dict(tomllib.loads(bay_to_toml(bay, units)))
    for one, two in zip(check_pile(bay).checks, check_pile(again).checks, strict=True):
        assert one.value == pytest.approx(two.value, rel=1e-9)
        assert one.margin == pytest.approx(two.margin, rel=1e-6, abs=1e-4, nan_ok=True)
