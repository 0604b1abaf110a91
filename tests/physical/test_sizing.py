"""Sizing: identities, balances, and what must grow with what."""

from __future__ import annotations

import functools
import json
import math
import tomllib
from dataclasses import replace

import numpy as np
import pytest

from ventcalc import air
from ventcalc.bay.description import Bay, Refrigeration
from ventcalc.bay.file import bay_from_dict, bay_to_toml, example_bay
from ventcalc.check.check import check_pile
from ventcalc.equipment import duct
from ventcalc.equipment.refrigeration import HeatFlow, refrigeration_load
from ventcalc.equipment.shared_plenum import along_plenum
from ventcalc.errors import BadInput, OutOfRange
from ventcalc.report.size_text import size_data
from ventcalc.sizing import air as sizing_air
from ventcalc.sizing.shell import table_resistance
from ventcalc.sizing.size import Sizing, size_bay
from ventcalc.weather import Weather, example_weather
from ventcalc.weather.parts import steps_of

CFM_PER_TON = 0.3048**3 / 60 / (2 * 0.45359237)  # [m³/(s t)]
TARGETS = (10, 15, 20, 32, 45)
NAMES = ("seed_bay", "fry_bay")


@functools.cache
def weather(warmer: float = 0.0) -> Weather:
    """The example year, every hour warmer by so much, as dry as it was in relative terms."""
    plain = example_weather()
    temperature = plain.temperature + warmer
    return replace(
        plain,
        temperature=temperature,
        humidity_ratio=air.humidity_ratio(temperature, plain.relative_humidity, plain.pressure),
    )


@functools.cache
def sized(name: str = "seed_bay", target: float = 20, warmer: float = 0.0) -> Sizing:
    return size_bay(
        example_bay(name), airflow_per_tonne=target * CFM_PER_TON, weather=weather(warmer)
    )


@functools.cache
def with_coil(name: str, target: float) -> Sizing:
    """With a coil throughout: more air may make one needless, and with it the coil's pressure."""
    bay = replace(example_bay(name), refrigeration=Refrigeration(capacity=1e5))
    return size_bay(bay, airflow_per_tonne=target * CFM_PER_TON, weather=weather())


# --- identities --------------------------------------------------------------------------


@pytest.mark.parametrize("name", NAMES)
def test_air_identities(name: str) -> None:
    """Airflow is target times mass; power is airflow times pressure over efficiency."""
    sizing = sized(name)
    made, bay = sizing.air, sizing.bay
    assert made.airflow == pytest.approx(20 * CFM_PER_TON * bay.pile.capacity / 1000, rel=1e-12)
    assert sum(made.pressure_parts.values()) == pytest.approx(made.static_pressure, rel=1e-12)
    assert made.power * bay.fans.efficiency == pytest.approx(
        made.airflow * made.static_pressure, rel=1e-12
    )
    assert made.fans * made.shaft_power_per_fan < made.power
    assert made.motor_rating >= 1.15 * made.shaft_power_per_fan
    assert made.airflow / made.fans <= sizing_air.FAN_AIRFLOW


@pytest.mark.parametrize("name", NAMES)
def test_fan_schedule_by_hand(name: str) -> None:
    """Pressure and shaft power go with density; motors are the next size up in kW and in hp."""
    sizing = sized(name)
    made, efficiency = sizing.air, sizing.bay.fans.efficiency
    dense = 1.2 / made.density
    assert sizing["fans_static_pressure_standard"].value == pytest.approx(
        made.static_pressure * dense, rel=1e-12
    )
    shaft = made.airflow / made.fans * made.static_pressure / (efficiency / 0.9)
    assert sizing["fan_shaft_power"].value == pytest.approx(shaft, rel=1e-12)
    assert made.standard_shaft_power == pytest.approx(shaft * dense, rel=1e-12)
    needed = 1.15 * shaft
    kilowatts = (2.2e3, 3.0e3, 4.0e3, 5.5e3)
    horses = (2.0, 3.0, 5.0, 7.5)
    assert made.motor_rating == min(w for w in kilowatts if w >= needed)
    assert made.motor_horsepower == min(h for h in horses if h * 745.7 >= needed)
    # The file's curve is drawn for 1.2 kg/m³ and passes through the point.
    fans = sizing.sized.fans
    at = np.interp(
        made.airflow / made.fans, np.array(fans.curve_airflow), np.array(fans.curve_static_pressure)
    )
    assert at == pytest.approx(made.standard_pressure, rel=0.02)


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("target", TARGETS)
def test_velocity_chain_holds(name: str, target: float) -> None:
    """The independent check of the chain finds nothing fast, and outlets not slow."""
    made = with_coil(name, target).air
    chain = duct.velocity_chain(
        made.airflow,
        outlet_area=made.laterals * made.ports * made.port_area,
        duct_area=made.duct_area,
        plenum_area=made.plenum_width * made.plenum_height,
    )
    assert duct.remarks(chain) == ()
    assert chain.outlet_velocity > 0.9 * duct.OUTLET_VELOCITY


def test_pressure_of_the_openings_by_hand() -> None:
    """Half density times velocity squared over the discharge coefficient squared."""
    made = sized().air
    by_hand = 0.5 * made.density * 5.08**2 / 0.65**2
    assert made.pressure_parts["fresh-air door"] == pytest.approx(by_hand, rel=1e-9)
    # Ports lose as much at their own velocity; laterals add friction and the entry's loss.
    port_loss = 0.5 * made.density * (made.airflow / made.outlet_area) ** 2 / 0.65**2
    entry = 1.5 * 0.5 * made.density * (made.airflow / made.duct_area) ** 2
    assert port_loss < made.pressure_parts["plenum, laterals and ports"] < port_loss + 2.0 * entry


@pytest.mark.parametrize("name", NAMES)
def test_refrigeration_load_by_hand(name: str) -> None:
    """Parts sum to the load, and the load with hours and reserve is the capacity."""
    plant = sized(name).cooling
    for case in plant.cases.values():
        total = sum(part.sensible + part.latent for part in case.load.parts.values())
        assert case.load.total == pytest.approx(total, rel=1e-12)
        assert case.load.capacity == pytest.approx(total * 1.1 * 24 / 20, rel=1e-12)
    most = max(case.load.capacity for case in plant.cases.values())
    assert plant.capacity == pytest.approx(most, rel=1e-12)
    assert plant.power == pytest.approx(plant.capacity / plant.performance)
    later = sized(name)["refrigeration_capacity_pull_down"].value
    assert later == max(plant.cases[stage].load.capacity for stage in ("cool_down", "holding"))
    assert later < plant.capacity


def test_dry_outside_air_does_not_make_the_plant_smaller() -> None:
    """1 kg/s of bone-dry air at pulp temperature dries the store; the coil's 30 kW stay."""
    dry = HeatFlow(sensible=0.0, latent=-9000.0)
    load = refrigeration_load(respiration=30e3, fresh_air=dry, running_share=1.0)
    assert load.total == pytest.approx(21e3)
    assert load.capacity == pytest.approx(30e3)
    damp = refrigeration_load(respiration=30e3, fresh_air=HeatFlow(0.0, 9000.0))
    assert damp.capacity == pytest.approx(39e3)


@pytest.mark.parametrize("name", NAMES)
def test_plant_of_the_file_is_that_of_the_computation(name: str) -> None:
    """Refrigerant and rating point; the compressor by CoolProp's suction density and enthalpies."""
    from CoolProp.CoolProp import PropsSI  # four seconds: not where tests are only collected

    sizing = sized(name)
    plant, put = sizing.cooling, sizing.sized.refrigeration
    assert put is not None
    own = sizing.bay.refrigeration
    assert put.refrigerant == plant.refrigerant == (own.refrigerant if own else "R717")
    hottest = max(case.day.highest_temperature for case in plant.cases.values())
    assert put.design_outside_temperature == hottest
    assert plant.condensing_temperature == pytest.approx(hottest + 12.0)
    assert put.performance == plant.rated_performance < plant.performance
    # Kelvins of superheat and subcooling as in the cycle: 5 and 3.
    cold = sizing.bay.schedule.holding_temperature - put.coil_temperature_difference - 2.0
    mild = plant.cases["holding"].condensing_temperature
    fill = plant.cases["filling"]

    def per_volume(evaporating: float, condensing: float) -> float:
        low = PropsSI("P", "T", evaporating + 273.15, "Q", 1, plant.refrigerant)
        high = PropsSI("P", "T", condensing + 273.15, "Q", 0, plant.refrigerant)
        suction = ("T", evaporating + 278.15, "P", low, plant.refrigerant)
        liquid = PropsSI("H", "T", condensing + 270.15, "P", high, plant.refrigerant)
        return float(PropsSI("D", *suction) * (PropsSI("H", *suction) - liquid))

    ratio = per_volume(cold, mild) / per_volume(
        fill.evaporating_temperature, fill.condensing_temperature
    )
    assert plant.capacity_holding == pytest.approx(plant.capacity * ratio, rel=1e-6)
    assert sizing["refrigeration_capacity_holding"].value == plant.capacity_holding
    assert {"evaporating", "condensing"} <= {x.name for x in sizing["refrigeration_capacity"].given}


@pytest.mark.parametrize("name", NAMES)
def test_enthalpy_days_are_ranked_by_enthalpy_and_the_worse_day_counts(name: str) -> None:
    """Daily means of 1006 T + w (2.501e6 + 1860 T): one day in twenty is more."""
    sizing = sized(name)
    states = sizing.states
    t, w = states.temperature, states.humidity_ratio
    enthalpy = 1006.0 * t + w * (2.501e6 + 1860.0 * t)
    local = states.local_time.astype("datetime64[D]")
    here = np.isin(states.stage, (0, 1))
    days = [d for d in np.unique(local[here]) if np.count_nonzero(here & (local == d)) == 24]
    means = [enthalpy[local == d].mean() for d in days]
    wanted = days[int(np.argmin(np.abs(means - np.percentile(means, 95.0))))]
    assert states.enthalpy_days["filling"].date == str(wanted)
    for stage, case in sizing.cooling.cases.items():
        assert case.day in (states.days[stage], states.enthalpy_days[stage])


def test_pull_down_by_hand() -> None:
    """Field heat of the ramp: mass, 3520 J/(kg K), half a degree Fahrenheit a day."""
    sizing = sized()
    by_hand = 4.0e6 * 0.45359237 * 3520 * (0.5 / 1.8) / 86400
    assert sizing.crops["cool_down"].field_heat == pytest.approx(by_hand, rel=1e-9)


def test_fresh_air_by_stoichiometry() -> None:
    """2816 kJ of heat come with 264 g of CO2; 44 g of it fill 22.41 L at 0 °C and 101.3 kPa."""
    sizing = sized()
    crop = sizing.crops["holding"]
    mass_of_co2 = crop.heat / 2816e3 * 0.264  # [kg/s]
    volume = mass_of_co2 / 0.04401 * 0.022414 * (278.15 / 273.15) * 101325 / sizing.states.pressure
    wanted = volume / (sizing.bay.limits.co2 - 420e-6)
    assert crop.fresh_airflow == pytest.approx(wanted, rel=0.02)


def test_heater_by_hand() -> None:
    """Roof space: area times U times difference, and the headspace's leaking air."""
    sizing = sized()
    shell, bay, states = sizing.shell, sizing.bay, sizing.states
    inside = bay.schedule.holding_temperature
    ceiling = bay.envelope.ceiling_area * shell.ceiling_u
    ceiling *= inside + 1.0 - states.winter_roof_temperature
    density = states.pressure / (287.05 * (inside + 273.15))
    leak = bay.envelope.headspace_volume * bay.envelope.leakage * density
    dry = leak * 1006 * (inside - states.winter_temperature)
    evaporation = leak * 2.5e6 * (0.95 * 0.0058 - states.winter_humidity_ratio)
    assert shell.roof_space_loss == pytest.approx(ceiling + dry + evaporation, rel=0.05)


def test_design_hours_are_the_percentile() -> None:
    """0.4 % of the hours are colder than the winter temperature; half of them drier."""
    states, temperature = sized().states, weather().temperature
    colder = np.count_nonzero(temperature < states.winter_temperature) / temperature.size
    assert colder == pytest.approx(0.004, abs=0.0005)
    assert states.winter_roof_temperature < states.winter_temperature
    assert states.winter_temperature - states.winter_roof_temperature < 8.0


def test_design_days_lie_in_their_stage() -> None:
    """The seed bay fills from 18 September; cool-down ends in mid-November."""
    days = sized().states.days
    assert "2018-09-18" <= days["filling"].date <= "2018-10-08"
    assert "2018-10-08" <= days["cool_down"].date <= "2018-11-13"
    assert "2018-11-10" <= days["holding"].date <= "2019-04-10"
    for day in days.values():
        assert day.mean_temperature < day.highest_temperature
        assert day.roof_temperature > day.mean_temperature


@pytest.mark.parametrize("name", NAMES)
def test_records_tell_what_was_designed(name: str) -> None:
    """Keys are unique, numbers finite, formula and source there, margins not below zero."""
    sizing = sized(name)
    keys = [one.key for one in sizing.sizes]
    assert len(set(keys)) == len(keys)
    for one in sizing.sizes:
        assert math.isfinite(one.value), one.key
        assert one.formula
        assert one.source
        if one.key not in ("fill_temperature_rise", "largest_lag"):
            assert one.margin is None or one.margin >= -1e-9, one.key
    assert sizing["fans_airflow"].value == sizing.air.airflow
    assert sizing["refrigeration_capacity"].value == sizing.cooling.capacity


# --- what grows with what ----------------------------------------------------------------


@pytest.mark.parametrize("name", NAMES)
def test_more_target_more_of_everything(name: str) -> None:
    series = [with_coil(name, target) for target in TARGETS]
    rising = {
        "airflow": [one.air.airflow for one in series],
        "fans": [one.air.fans for one in series],
        "power": [one.air.power for one in series],
        "motor": [one.air.motor_rating * one.air.fans for one in series],
        "diameter": [one.air.lateral_diameter for one in series],
        "ports": [one.air.outlet_area for one in series],
        "plenum": [one.air.plenum_width * one.air.plenum_height for one in series],
        "door": [one.air.door_area for one in series],
        "water": [one.water.capacity for one in series],
        "refrigeration": [one.cooling.capacity for one in series],
    }
    for words, values in rising.items():
        assert all(np.diff(values) >= 0.0), (words, values)
    for words in ("airflow", "power", "ports", "door", "water"):
        assert all(np.diff(rising[words]) > 0.0), words
    late = [one.alone.late_hours for one in series]
    assert all(np.diff(late) <= 0.0)


@pytest.mark.parametrize("name", NAMES)
def test_hotter_weather_more_refrigeration_less_insulation(name: str) -> None:
    series = [sized(name, 20, warmer) for warmer in (-8.0, 0.0, 8.0)]
    assert all(np.diff([one.cooling.capacity for one in series]) > 0.0)
    assert all(np.diff([one.cooling.performance for one in series]) <= 0.0)
    for part in ("wall_dry", "ceiling_dry", "roof_space_loss", "winter_loss", "heater"):
        assert all(np.diff([getattr(one.shell, part) for one in series]) < 0.0), part
    for part in ("wall_resistance", "ceiling_resistance"):
        assert all(np.diff([getattr(one.shell, part) for one in series]) <= 0.0), part
    late = [one.alone.late_hours for one in series]
    assert all(np.diff(late) >= 0.0)
    assert series[-1].refrigeration_needed


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("warmer", [-30.0, 20.0])
def test_far_climates_stay_finite(name: str, warmer: float) -> None:
    """Where it is never cold outside air is not enough; where it is always, nothing else is."""
    sizing = sized(name, 20, warmer)
    assert sizing.alone.verdict == ("enough" if warmer < 0.0 else "not enough")
    assert sizing.cooling.capacity >= 0.0
    assert sizing.shell.heater >= 0.0
    assert sizing.water.capacity >= 0.0
    json.dumps(size_data(sizing), allow_nan=False)
    if sizing.sized.refrigeration is not None:
        assert sizing.sized.refrigeration.capacity == sizing.cooling.capacity


@pytest.mark.parametrize("shape", ["round", "half_round"])
def test_shape_of_the_laterals_is_kept(shape: str) -> None:
    """A half-round lateral of the same area is wider by the square root of two."""
    bay = example_bay("seed_bay")
    assert bay.ducts is not None
    bay = replace(bay, ducts=replace(bay.ducts, lateral_shape=shape))
    made = sizing_air.design_air(bay, airflow_per_tonne=0.0104, pressure=84e3)
    assert made.lateral_shape == shape
    whole = made.lateral_diameter_needed / (1.0 if shape == "round" else math.sqrt(2.0))
    area = math.pi / 4 * whole**2 * made.laterals
    assert area == pytest.approx(made.outlet_area / 0.85, rel=1e-9)
    assert sizing_air.ducts_for(made, bay).lateral_shape == shape


def large_bay(length: float, width: float) -> Bay:
    bay = example_bay("fry_bay")
    return replace(bay, ducts=None, pile=replace(bay.pile, length=length, width=width, height=5.0))


def test_plenum_of_ten_thousand_tonnes() -> None:
    """
    103 m x 30 m x 5 m hold 10 043 t; 104.5 m³/s at 20 cfm/ton ask, at 722 ft/min, for 28.5 m² and
    more as laterals come in steps: an end-fed plenum 2.4 m high would be 13 m wide.
    """
    bay = large_bay(103.0, 30.0)
    made = sizing_air.design_air(bay, airflow_per_tonne=20 * CFM_PER_TON, pressure=101325.0)
    by_rule = made.airflow / (1000 * 0.85 * 0.85 * 0.3048 / 60)
    assert by_rule == pytest.approx(28.5, abs=0.1)
    assert made.plenum_feeds * made.plenum_area_needed > by_rule
    assert (made.plenum_feeds, made.plenum_height) == (2, 3.0)
    assert made.plenum_width <= 6.0
    each = made.plenum_width * made.plenum_height
    assert made.plenum_area_needed <= each < 1.05 * made.plenum_area_needed
    put = sizing_air.ducts_for(made, bay)
    checked = check_pile(replace(bay, ducts=put, fans=sizing_air.fans_for(made, bay)))
    assert checked.check("plenum_velocity").verdict == "ok"
    assert checked.check("plenum_uniformity").value == pytest.approx(
        made.plenum_uniformity, abs=0.01
    )
    # 34 laterals of a metre, 30 m long, under a pile of 650 kg/m³: 5 % of it.
    room = made.laterals * 30.0 * math.pi / 4 * made.lateral_diameter**2
    assert made.lateral_volume == pytest.approx(room, rel=1e-9)
    lots = {a.key: a.value for a in checked.check("lots").asides}
    assert lots["laterals"] == pytest.approx(room * 650.0, rel=1e-9)


def test_small_plenums_stay_as_they_were_and_huge_ones_say_what_would_do() -> None:
    made = sized().air
    assert (made.plenum_feeds, made.plenum_height, made.plenum_width) == (1, 2.4, 2.5)
    with pytest.raises(BadInput, match=r"divide the bay in 4, each .* lower the target to .* cfm"):
        sizing_air.design_air(
            large_bay(300.0, 100.0), airflow_per_tonne=20 * CFM_PER_TON, pressure=101325.0
        )


def test_evenness_along_the_plenum_by_the_momentum_of_the_air() -> None:
    """Without friction the end gains the feed's velocity pressure (Bernoulli): 8.1 Pa on 50 Pa."""
    section = duct.rectangular_section(2.0, 2.0)
    given = {"length": 30.0, "laterals": 200, "roughness": 0.0, "density": 1.2, "viscosity": 1e-5}
    even, least = along_plenum(section, airflow=0.0735, lateral_pressure=50.0, **given)
    # Laterals see from p at the feed to p + q at the end, airflow as the root of it.
    q = 0.5 * 1.2 * (0.0735 * 200 / 4.0) ** 2
    assert q == pytest.approx(8.1, abs=0.05)
    # At the feed part of the 50 Pa is velocity, so that all laterals draw a little less.
    for _ in range(20):
        mean = np.mean(np.sqrt(50.0 - q * np.linspace(1.0, 0.0, 1000) ** 2))
        q = 0.5 * 1.2 * (0.0735 * 200 / 4.0 * mean / math.sqrt(50.0)) ** 2
    assert least == pytest.approx(math.sqrt(50.0 - q) / mean, abs=0.006)
    assert even < 1.0
    wide, _ = along_plenum(
        duct.rectangular_section(6.0, 4.0), airflow=0.0735, lateral_pressure=50.0, **given
    )
    assert wide > 0.999
    tight = along_plenum(
        duct.rectangular_section(0.5, 0.5), airflow=0.0735, lateral_pressure=50.0, **given
    )
    assert np.isnan(tight).all()


def test_laterals_across_when_the_plenum_runs_along_the_width() -> None:
    bay = example_bay("seed_bay")
    assert bay.ducts is not None
    bay = replace(bay, ducts=replace(bay.ducts, plenum_along="width"))
    made = sizing_air.design_air(bay, airflow_per_tonne=0.0104, pressure=84e3)
    assert made.lateral_length == bay.pile.length
    assert made.laterals == math.ceil(bay.pile.width / 3.05)


def test_damper_climate_more_insulation() -> None:
    bay = example_bay("seed_bay")
    dry, wet = (
        size_bay(
            replace(bay, limits=replace(bay.limits, plenum_humidity=humidity)),
            airflow_per_tonne=20 * CFM_PER_TON,
            weather=weather(),
        ).shell
        for humidity in (0.90, 0.97)
    )
    assert wet.wall_dry > 2.0 * dry.wall_dry
    for shell in (dry, wet):
        assert shell.wall_moister > 1.2 * shell.wall_dry
        assert shell.ceiling_moister > 1.2 * shell.ceiling_dry
    assert wet.dew_point > dry.dew_point


def test_higher_site_thinner_air() -> None:
    """Pressure lost goes with the density of the air, to the last digit but that of friction."""
    bay = example_bay("seed_bay")
    low, high = (
        sizing_air.design_air(
            bay, airflow_per_tonne=0.0104, pressure=float(air.standard_pressure(altitude))
        )
        for altitude in (0.0, 2500.0)
    )
    ratio = high.density / low.density
    assert ratio == pytest.approx(0.737, abs=0.01)
    assert high.static_pressure / low.static_pressure == pytest.approx(ratio, rel=0.01)
    assert high.other_static_pressure == pytest.approx(low.other_static_pressure, rel=0.01)


def test_soil_raises_the_pressure_of_the_pile() -> None:
    bay = example_bay("seed_bay")
    clean, dirty = (
        sizing_air.design_air(
            replace(bay, pile=replace(bay.pile, soil=soil)),
            airflow_per_tonne=0.0104,
            pressure=84e3,
        ).pressure_parts["pile"]
        for soil in (0.0, 0.04)
    )
    assert dirty / clean == pytest.approx(1.36**2, rel=1e-9)


def test_still_corners_ask_for_more_by_the_ratio_of_the_films() -> None:
    """0.25 (ISO 13788) over 0.13 (ISO 6946) at a wall; under a ceiling over 0.10 times bridges."""
    shell, bay = sized().shell, sized().bay
    assert shell.wall_still / shell.wall_dry == pytest.approx(0.25 / 0.13, rel=1e-9)
    bridged = 0.10 * bay.envelope.bridge_factor
    assert shell.ceiling_still / shell.ceiling_dry == pytest.approx(0.25 / bridged, rel=1e-9)


def test_table_of_insulation_beyond_its_ends() -> None:
    assert table_resistance("wall", 5.0) == table_resistance("wall", -10.0)
    assert table_resistance("wall", -25.0) == pytest.approx((4.2 + 5.0) / 2)


# --- outside air -------------------------------------------------------------------------


@pytest.mark.parametrize("name", NAMES)
def test_outside_air_keeps_the_limits(name: str) -> None:
    """Supply stays above floor and limit, cools only colder air, and never below the plan."""
    sizing = sized(name)
    alone, bay, states = sizing.alone, sizing.bay, sizing.states
    ran = alone.used > 0.0
    supply, pulp = alone.supply_temperature[ran], alone.pulp[ran]
    assert (supply >= bay.limits.plenum_floor - 1e-9).all()
    assert (pulp >= states.target[ran] - 1e-9).all()
    assert ((alone.used >= 0.0) & (alone.used <= 1.0)).all()
    before = np.concatenate([[np.nan], alone.pulp[:-1]])[ran]
    warm = before + 0.2  # heated within the step before it is cooled
    assert (supply >= before - bay.limits.supply_difference - 1e-9).all()
    assert (supply < warm - bay.control.outside_offset + 0.2).all()


@pytest.mark.parametrize("name", NAMES)
def test_heat_of_the_autumn_balances(name: str) -> None:
    """What is taken out is field heat, respiration and what comes through the walls."""
    sizing = sized(name)
    bay, states, alone = sizing.bay, sizing.states, sizing.alone
    mass, heat = bay.pile.capacity, 3520.0
    loaded = np.clip((states.now + 0.5 * states.step) / bay.schedule.fill_days, 1e-3, 1.0)
    autumn = states.stage <= 2
    warm = sum(lot.mass * lot.loading_temperature for lot in bay.lots) / bay.mass
    stored = mass * heat * (warm - alone.pulp[autumn][-1])
    ages = np.maximum(states.now - 0.5 * np.minimum(states.now, bay.schedule.fill_days), 0.0)
    respiration = sum(
        states.step * mass * share * _respiration(bay, pulp, age)
        for share, pulp, age in zip(loaded[autumn], alone.pulp[autumn], ages[autumn], strict=True)
    )
    shell = bay.envelope.wall_area * sizing.shell.wall_u
    shell += bay.envelope.ceiling_area * sizing.shell.ceiling_u
    through = float(np.sum((states.temperature - alone.pulp)[autumn])) * shell * states.step
    assert alone.cooling == pytest.approx(stored + respiration + through, rel=0.01)


def _respiration(bay: Bay, temperature: float, age: float) -> float:
    from ventcalc.pile.crop import crop_for, respiration_heat

    young = bay.immature_share
    return float(respiration_heat(float(temperature), float(age), crop_for(bay.use), young))


@pytest.mark.parametrize("name", NAMES)
def test_hours_too_warm_count_from_the_first_load(name: str) -> None:
    """Fill, healing, cool-down and holding hour by hour; the last day's loads may be warm still."""
    sizing = sized(name)
    alone, states, bay = sizing.alone, sizing.states, sizing.bay
    warmer = max(bay.loading_temperature - bay.schedule.healing_temperature, 0.0)
    names = ("filling", "wound_healing", "cool_down", "holding")
    total = 0
    for code, stage in enumerate(names):
        hours = 0
        for k in np.flatnonzero(states.stage == code).tolist():
            new = min(86400.0 / states.now[k], 1.0) if stage == "filling" else 0.0
            hours += alone.pulp[k] > states.target[k] + new * warmer + bay.limits.band + 0.28
        assert alone.too_warm[stage] == (hours, np.count_nonzero(states.stage == code))
        assert sizing[f"late_time_{stage}"].value == 3600.0 * hours
        total += hours
    assert alone.late_hours == total
    assert alone.too_warm["filling"][0] > 0.0
    assert alone.counted_hours == np.count_nonzero(states.stage <= 3)


def test_a_fill_too_warm_is_not_enough_though_it_holds_later() -> None:
    """Here the seed bay stands 3.6 K above its plan for three weeks, and holds well after."""
    alone = sized("seed_bay").alone
    assert alone.too_warm["holding"][0] == 0.0
    assert alone.too_warm["wound_healing"][0] > 240.0
    assert alone.verdict == "not enough"


@pytest.mark.parametrize("name", NAMES)
def test_greatest_hour_of_co2_by_an_independent_march(name: str) -> None:
    """Minutes of run and rest through that day, the crop full grown: the same peak within 3 %."""
    sizing = sized(name)
    fresh, states = sizing.fresh_air, sizing.states
    assert sizing.sized.control == fresh.control
    k = int(np.searchsorted(states.now, fresh.hour))
    bay, floor = sizing.sized, sizing.bay.pile
    loaded = min((states.now[k] + 1800.0) / bay.schedule.fill_days, 1.0)
    mass = floor.capacity * loaded
    age = states.now[k] - 0.5 * min(states.now[k], bay.schedule.fill_days)
    heat = _respiration(bay, states.target[k], age) * mass
    co2 = heat / 10.7e6 / (1.95 * states.pressure / 101325.0)
    room = bay.envelope.headspace_volume + floor.volume * (1.0 - loaded * 1.0)
    room += floor.volume * loaded * (1.0 - floor.bulk_density / 1078.0)
    cold, pulp = states.temperature[k], states.target[k]
    rise = sizing.air.power * 0.25 / (sizing.air.airflow * sizing.air.density * 1006.0)
    room_k = rise + (min(1.5, pulp - bay.limits.plenum_floor) if cold < pulp else 1.5 - 2 * rise)
    share = min(fresh.control.fresh_air_opening * 0.995 + 0.005, room_k / abs(cold - pulp))
    flow = 0.5 * share * sizing.air.airflow * loaded
    excess, peak = 0.0, 0.0
    for minute in range(6000):
        runs = minute % 75 >= 15
        peak = max(peak, excess) if minute > 3000 else 0.0
        out = bay.envelope.leakage * room + (flow if runs else 0.0)
        excess += 60.0 * (co2 - out * excess) / room
    assert fresh.control.fresh_air_every == 900.0
    assert fresh.highest == pytest.approx(420e-6 + peak, rel=0.03)


def test_a_large_tight_room_needs_fewer_runs_and_keeps_the_limit() -> None:
    bay = example_bay("fry_bay")
    large = replace(bay, envelope=replace(bay.envelope, headspace_volume=40000.0, leakage=3e-5))
    found = size_bay(large, airflow_per_tonne=20 * CFM_PER_TON, weather=weather())
    assert found.fresh_air.keeps
    assert found.fresh_air.hours_above == 0.0
    assert found.fresh_air.highest <= 0.9 * bay.limits.co2
    assert found.fresh_air.control.fresh_air_every > 900.0
    assert found.check.check("co2_fill").verdict != "no"


def test_too_little_air_loses_the_crop() -> None:
    alone = sized("seed_bay", 4).alone
    assert alone.verdict == "not enough"
    assert np.isnan(alone.pulp[-1])
    assert not np.isnan(alone.pulp[0])
    assert any("until the crop is lost" in note for note in sized("seed_bay", 4).notes)


def test_refrigeration_goes_in_only_where_it_is_needed() -> None:
    """The seed bay has none: outside air nearly does it where it is 8 K colder, and not here."""
    cold = sized("seed_bay", 20, -8.0)
    assert cold.alone.verdict == "nearly enough"
    assert cold.sized.refrigeration is None
    assert "cooling coil" not in cold.air.pressure_parts
    assert sized("seed_bay", 20).sized.refrigeration is not None
    warm = sized("seed_bay", 20, 8.0)
    assert warm.sized.refrigeration is not None
    assert "cooling coil" in warm.air.pressure_parts
    assert sized("fry_bay", 20).sized.refrigeration is not None


@pytest.mark.parametrize("name", NAMES)
def test_cost_follows_its_prices(name: str) -> None:
    bay = example_bay(name)
    prices = replace(bay.costs, electricity=2 * bay.costs.electricity, crop=3 * bay.costs.crop)
    dear = size_bay(
        replace(bay, costs=prices), airflow_per_tonne=20 * CFM_PER_TON, weather=weather()
    ).cost
    plain = sized(name).cost
    for way in ("outside_air", "refrigeration"):
        first, second = getattr(plain, way), getattr(dear, way)
        assert second.energy_cost == pytest.approx(2 * first.energy_cost, rel=1e-9)
        assert second.water_cost == pytest.approx(3 * first.water_cost, rel=1e-9)
        assert first.total_cost == pytest.approx(first.energy_cost + first.water_cost)
    assert plain.refrigeration.energy_cost > 1.5 * plain.outside_air.energy_cost


@pytest.mark.parametrize("name", NAMES)
def test_electricity_of_cooling_by_hand(name: str) -> None:
    """Power over cooling, times the price."""
    sizing = sized(name)
    way = sizing.cost.outside_air
    assert way.energy_cost == pytest.approx(
        way.power / way.cooling * sizing.bay.costs.electricity, rel=1e-6
    )


# --- the sized bay -----------------------------------------------------------------------


@pytest.mark.parametrize("system", ["us", "metric"])
@pytest.mark.parametrize("name", NAMES)
def test_sized_bay_survives_its_file(name: str, system: str) -> None:
    sizing = sized(name)
    back = bay_from_dict(tomllib.loads(bay_to_toml(sizing.sized, system)))
    assert back.fans.airflow == pytest.approx(sizing.air.airflow, rel=1e-9)
    assert back.ducts is not None
    assert back.ducts.port_area == pytest.approx(sizing.air.port_area, rel=1e-9)
    assert back.ducts.laterals == sizing.air.laterals
    assert back.humidifier is not None
    assert back.humidifier.capacity == pytest.approx(sizing.water.capacity, rel=1e-9)


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("target", [15, 20, 32, 45])
def test_sized_bay_passes_the_check(name: str, target: float) -> None:
    """No check says no, and the fans give what was asked for."""
    sizing = sized(name, target)
    checked = check_pile(sizing.sized)
    assert [one.name for one in checked.checks if one.verdict == "no"] == []
    assert checked.system.airflow == pytest.approx(sizing.air.airflow, rel=0.01)
    assert checked.system.remarks == ()


def test_small_target_is_told() -> None:
    """Ten cfm/ton cannot carry the heat of the fill: the notes name what the check refuses."""
    assert any("sized bay: temperature rise" in note for note in sized("seed_bay", 10).notes)


@pytest.mark.parametrize("name", NAMES)
def test_sizing_twice_changes_nothing(name: str) -> None:
    once = sized(name)
    twice = size_bay(once.sized, airflow_per_tonne=20 * CFM_PER_TON, weather=weather())
    assert twice.sized == once.sized


def test_better_insulation_is_kept() -> None:
    sizing = sized("seed_bay")
    assert sizing.sized.envelope.wall_u == sizing.bay.envelope.wall_u
    bare = replace(sizing.bay, envelope=replace(sizing.bay.envelope, wall_u=1.0, ceiling_u=1.0))
    poor = size_bay(bare, airflow_per_tonne=0.0104, weather=weather())
    assert poor.sized.envelope.wall_u == pytest.approx(1.0 / poor.shell.wall_resistance)
    assert poor.sized.envelope.ceiling_u == pytest.approx(1.0 / poor.shell.ceiling_resistance)


# --- refusals ----------------------------------------------------------------------------


def test_target_out_of_range() -> None:
    with pytest.raises(
        OutOfRange, match=r"airflow_per_tonne must lie in 0\.001 to 0\.1 m3/\(s t\)"
    ):
        size_bay(example_bay(), airflow_per_tonne=20.0, weather=weather())


def test_weather_must_hold_the_season() -> None:
    part = steps_of(example_weather(), slice(2000))
    with pytest.raises(BadInput, match="does not hold"):
        size_bay(example_bay(), airflow_per_tonne=0.0104, weather=part)


def test_hopeless_humidity_is_refused() -> None:
    bay = example_bay("seed_bay")
    wet = replace(
        bay,
        limits=replace(bay.limits, plenum_humidity=0.99),
        envelope=replace(bay.envelope, bridge_factor=5.0),
    )
    with pytest.raises(BadInput, match="no insulation keeps the ceiling dry"):
        size_bay(wet, airflow_per_tonne=0.0104, weather=weather())
