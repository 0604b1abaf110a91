"""The season on real fans, coil, plant, roof and ground: what each of them changes, and how."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest

from ventcalc.advice.advise import Action
from ventcalc.advice.policies import POLICIES, Positions
from ventcalc.bay.file import example_bay
from ventcalc.errors import BadInput
from ventcalc.season.batch import run_seasons
from ventcalc.season.run import run_season
from ventcalc.weather import example_weather

DAY, HOUR = 86400.0, 3600.0
FRIES = example_bay("fry_bay")
SHORT = replace(
    FRIES,
    site=replace(FRIES.site, time_zone="America/Denver"),
    schedule=replace(
        FRIES.schedule,
        fill_start="10-18",
        fill_days=2 * DAY,
        healing_days=1 * DAY,
        warm_up_start="11-02",
        warm_up_temperature=8.5,
        unloading_start="11-05",
        unloading_days=2 * DAY,
    ),
)
"""The example's fry bay, hurried through a season of 20 days."""
FULL = slice(3 * 24, 17 * 24)
"""Between filling and unloading."""


def cool(bay, readings, memory):
    """Fans and half of the refrigeration, all the time."""
    return Positions(fan_speed=0.8, refrigeration=0.5, action=Action.COOL_BY_COIL), memory


@lru_cache
def weather():
    return example_weather()


def season(bay=SHORT, policy=cool):
    return run_season(bay, weather(), policy, layers=8, compiled=False)


def plant(**changes):
    return replace(SHORT, refrigeration=replace(SHORT.refrigeration, **changes))


def test_cold_days_cool_cheaply():
    """Power for the same cooling follows outside air down to the floor of the head pressure."""
    found = season(plant(bypass_factor=0.0)).traces
    power = found["coil_power"][FULL]
    outside = found["outside_temperature"][FULL]
    at_floor, warm = power[outside < 8.0], power[outside > 14.0]
    assert len(warm) > 20
    assert warm.min() > 1.05 * np.median(at_floor)
    # Half of 70 kW at a performance of 3 would take 11.7 kW at 30 °C; autumn is cooler.
    assert np.all(power < 0.5 * 70e3 / 3.0 / 0.875)
    assert np.all(power > 0.5 * 70e3 / 12.0)


def test_frost_on_the_coil_costs_power():
    """Held just above freezing, a coil 6 K below its air frosts and must be melted."""
    cold = replace(
        SHORT,
        use="seed",
        lots=tuple(replace(lot, loading_temperature=4.0) for lot in SHORT.lots),
        schedule=replace(SHORT.schedule, healing_temperature=5.0, holding_temperature=3.5),
        limits=replace(SHORT.limits, plenum_floor=0.0),
    )
    wide = replace(cold.refrigeration, coil_temperature_difference=6.0)
    narrow = replace(wide, coil_temperature_difference=1.5, bypass_factor=0.0)
    iced = season(replace(cold, refrigeration=wide)).traces["coil_power"][FULL]
    dry = season(replace(cold, refrigeration=narrow)).traces["coil_power"][FULL]
    assert iced.mean() > 1.1 * dry.mean()


def test_a_named_refrigerant_and_the_ideal_cycle_agree_roughly():
    named = season().kpi.refrigeration_energy
    plain = season(plant(refrigerant="unnamed")).kpi.refrigeration_energy
    assert named == pytest.approx(plain, rel=0.15)
    assert named != plain


def test_a_smaller_fan_curve_gives_less_air_and_a_warmer_top():
    weak = tuple(0.6 * flow for flow in SHORT.fans.curve_airflow)
    small = replace(SHORT, fans=replace(SHORT.fans, curve_airflow=weak))
    strong, less = season(), season(small)
    rise = [
        np.mean(run.traces["pulp_top"][FULL] - run.traces["pulp_bottom"][FULL])
        for run in (strong, less)
    ]
    assert rise[1] > 1.15 * rise[0]
    assert less.installed.fans.airflow < strong.installed.fans.airflow
    assert less.bay is small


def test_a_dark_roof_and_a_warm_ground_warm_the_bay():
    nothing = POLICIES["nothing"]

    def end(**changes):
        bay = replace(SHORT, envelope=replace(SHORT.envelope, ceiling_u=1.0, **changes))
        return season(bay, nothing).traces["pulp_mean"][FULL][-1]

    assert end(roof_absorptance=0.9) > end(roof_absorptance=0.1)
    assert end(roof_emittance=0.2) > end(roof_emittance=0.9)
    assert end(soil="rock") != end(soil="clay")


def test_fans_that_do_not_meet_the_ducts_stop_the_season():
    choked = replace(SHORT, ducts=replace(SHORT.ducts, port_area=1e-5))
    for run in (season, lambda bay: run_seasons([bay], weather(), cool, layers=8)):
        with pytest.raises(BadInput, match="no steady airflow"):
            run(choked)


def test_refrigerated_bays_side_by_side_are_each_their_own():
    bays = [SHORT, plant(capacity=40e3), plant(bypass_factor=0.4)]
    many = run_seasons(bays, weather(), POLICIES["advice"], layers=8)
    for k, bay in enumerate(bays):
        alone = season(bay, POLICIES["advice"]).kpi
        for name in ("refrigeration_energy", "mass_loss", "fan_hours", "peak_power"):
            assert getattr(many, name)[k] == pytest.approx(getattr(alone, name), rel=1e-9), name
    assert len(set(many.refrigeration_energy.tolist())) == 3
