"""Season results of two or three steps, against sums worked out by hand in each test."""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np
import pytest

from ventcalc.bay.calendar import COOL_DOWN, EMPTY, FILLING, HOLDING, UNLOADING
from ventcalc.bay.description import Lot
from ventcalc.bay.file import example_bay
from ventcalc.compiled import kind_of
from ventcalc.season.bay_state import StepRecord
from ventcalc.season.kpi import MONTH, Kpi, key_figures

HOUR = 3600.0
BAY = replace(
    example_bay("seed_bay"),
    lots=(Lot(name="all", mass=1_000_000.0, loading_temperature=14.0),),  # 1000 t
)
BAND, SPREAD, CO2 = BAY.limits.band, BAY.limits.spread, BAY.limits.co2


def state(pulp, *, film=(0.0, 0.0), water=0.0, solids=0.0, co2=0.001, share=1.0):
    """A bay of as many layers as ``pulp`` has; losses alike in all layers."""
    return {
        "pulp": pulp, "wettest": max(film), "film": sum(film) / len(film), "water_loss": water,
        "dry_matter_loss": solids, "co2": co2, "share": share,
    }  # fmt: skip


def hour(runs=False, plenum=3.0, **others):
    """What happened in a step; nothing, unless it is given."""
    return {"plenum_temperature": plenum if runs else float("nan"), "runs": runs, **others}


def kept(steps, length=HOUR):
    """Records and pulp of steps (state, hour, and what else they change)."""
    records = np.zeros(len(steps), dtype=kind_of(StepRecord))
    pulp = np.zeros((len(steps), 2))
    for k, (now, done, *rest) in enumerate(steps):
        more = {"target": 3.0, "planned": 3.0, "stage": HOLDING, "now": 60 * 86400.0 + k * length}
        more.update(rest[0] if rest else {})
        pulp[k] = now["pulp"]
        for name, value in {**now, **done, **more}.items():
            if name != "pulp":
                records[k][name] = value
    return records, pulp


def tallied(*steps, bay=BAY, length=HOUR, limits=None):
    """Results of steps (state, hour, and what else they change)."""
    return key_figures(bay, *kept(steps, length), length, limits)


def plan(planned, **others):
    return {"planned": planned, **others}


# --- temperatures -------------------------------------------------------------------------------


def test_band_counts_kelvin_hours_outside_it():
    """
    Target 3 °C, band 0.6 K. Step 1: layers 3.5 and 4.6 are 0 and 1.0 K outside, mean 0.5.
    Step 2: 2.0 and 3.6 are 0.4 and 0 outside, mean 0.2. Half-hour steps: 0.35 K h; the worst
    layer is the upper one, 1.0 x 0.5 = 0.5 K h.
    """
    assert BAND == 0.6
    kpi = tallied((state([3.5, 4.6]), hour()), (state([2.0, 3.6]), hour()), length=1800.0)
    assert kpi.band_kelvin_hours == pytest.approx(0.35, abs=1e-9)
    assert kpi.band_worst_layer_kelvin_hours == pytest.approx(0.5, abs=1e-9)


def test_band_is_judged_only_while_the_crop_is_held():
    off = state([10.0, 10.0])
    kpi = tallied(*((off, hour(), {"stage": s}) for s in (FILLING, COOL_DOWN, UNLOADING)))
    assert kpi.band_kelvin_hours == 0.0
    assert kpi.mean_spread == 0.0


def test_off_plan_counts_from_healing_to_the_warm_up():
    """
    Seed plan: healing at 12.8 °C, held at 3.3 °C. Two hours of healing and one of warm-up do not
    count; means 1.0 above, 0.5 below and 2.0 above the plan in between are 3.5 K h.
    """
    kpi = tallied(
        (state([9.0, 9.0]), hour(), plan(BAY.schedule.healing_temperature)),
        (state([9.0, 11.0]), hour(), plan(9.0)),
        (state([2.5, 2.5]), hour(), plan(3.0)),
        (state([4.0, 6.0]), hour(), plan(3.0)),
        (state([3.0, 3.0]), hour(), plan(3.0)),
        (state([9.0, 9.0]), hour(), plan(6.0)),
    )
    assert kpi.off_plan_kelvin_hours == pytest.approx(3.5, abs=1e-9)


def test_late_counts_from_the_planned_to_the_real_arrival():
    """Held at 3.3 °C, band 0.6 K: 5.0 and 4.0 °C are late, 3.8 is there; warmth after it is not."""
    means = (6.0, 5.0, 4.0, 3.8, 5.0, 3.0)
    planned = (4.0, 3.0, 3.0, 3.0, 3.0, 3.0)
    steps = [(state([m, m]), hour(), plan(p)) for m, p in zip(means, planned, strict=True)]
    assert tallied(*steps).late_hours == 2.0
    assert tallied(*steps).holding_missed == 0.0
    never = [(state([6.0, 6.0]), hour(), plan(3.0)) for _ in range(5)]
    assert tallied(*never, length=7200.0).late_hours == 4 * 2.0  # the last is its warm-up
    assert tallied(*never).holding_missed == 1.0


def test_latched_and_people_hours():
    """Fans held off in stages 2 and 3; CO2 over 5 000 ppm, not at it."""
    kpi = tallied(
        *((state([3.0, 3.0]), hour(), {"frost_stage": float(s)}) for s in (0, 1, 2, 3, 2)),
        *((state([3.0, 3.0], co2=c), hour()) for c in (0.0049, 0.0050, 0.0051, 0.02)),
        length=1800.0,
    )
    assert kpi.latched_hours == 1.5
    assert kpi.people_co2_hours == 1.0


def test_spread():
    """Limit 1.5 K: 1.0, 2.0 and 3.0 K top over bottom, the last in unloading, which is left out."""
    assert SPREAD == 1.5
    kpi = tallied(
        (state([3.0, 4.0]), hour()),
        (state([3.0, 5.0]), hour()),
        (state([3.0, 6.0]), hour(), {"stage": UNLOADING}),
        (state([3.0, 5.5]), hour(), {"stage": COOL_DOWN}),
    )
    assert kpi.spread_hours == 2.0
    assert kpi.mean_spread == pytest.approx(1.5, abs=1e-12)


@pytest.mark.parametrize(("share_of_ramp", "hours"), [(1.0, 0.0), (1.2, 0.0), (1.3, 24.0)])
def test_ramp_looks_back_a_day(share_of_ramp, hours):
    """
    A pile that falls evenly for 48 h; whatever tolerance is given, it lies between 20 and 30 %
    over the ramp. The first 24 h have no day before them; of the rest 24 h count.
    """
    fall = share_of_ramp * BAY.schedule.ramp * HOUR
    steps = [
        (state([12.0 - fall * k] * 2), hour(), {"stage": COOL_DOWN, "target": 12.0})
        for k in range(48)
    ]
    assert tallied(*steps).ramp_hours == hours


def test_coldest_and_frozen():
    """Two quarter-hours below -0.8 °C in one layer are 30 minutes."""
    kpi = tallied(
        (state([-0.9, 3.0]), hour()),
        (state([2.0, -1.3]), hour()),
        (state([-0.7, 2.0]), hour()),
        length=900.0,
    )
    assert kpi.coldest_tuber == -1.3
    assert kpi.frozen_minutes == pytest.approx(30.0)


def test_hottest():
    """The warmest layer of any step in use; an empty bay has no tubers."""
    kpi = tallied(
        (state([4.0, 31.5]), hour()),
        (state([12.0, 3.0]), hour()),
        (state([40.0, 40.0]), hour(), {"stage": EMPTY}),
    )
    assert kpi.hottest_tuber == 31.5


def test_plenum_counts_only_with_the_fans_on():
    kpi = tallied(
        (state([3.0, 3.0]), hour(True, 2.5)),
        (state([3.0, 3.0]), hour(True, -0.4)),
        (state([3.0, 3.0]), hour(False)),
        length=600.0,
    )
    assert kpi.coldest_plenum == -0.4
    assert kpi.plenum_below_zero_minutes == pytest.approx(10.0)


def test_fans_that_never_ran_have_no_coldest_plenum():
    assert np.isnan(tallied((state([3.0, 3.0]), hour())).coldest_plenum)


# --- losses -------------------------------------------------------------------------------------


def test_mass_loss_is_the_last_before_unloading():
    kpi = tallied(
        (state([3.0, 3.0], water=0.010, solids=0.002), hour(), {"now": MONTH - 60.0}),
        (state([3.0, 3.0], water=0.030, solids=0.006), hour(), {"now": MONTH + 60.0}),
        (state([3.0, 3.0], water=0.050, solids=0.010), hour(), {"stage": UNLOADING}),
    )
    assert kpi.water_loss == pytest.approx(0.030, abs=1e-15)
    assert kpi.dry_matter_loss == pytest.approx(0.006, abs=1e-15)
    assert kpi.mass_loss == kpi.water_loss + kpi.dry_matter_loss
    assert kpi.mass_loss_month_one == pytest.approx(0.012, abs=1e-15)


def test_shrink_costs_the_price_of_the_crop():
    """3.6 % of a tonne at 0.25 a kilogram: 9.00 a tonne."""
    bay = replace(BAY, costs=replace(BAY.costs, crop=0.25))
    kpi = tallied((state([3.0, 3.0], water=0.030, solids=0.006), hour()), bay=bay)
    assert kpi.cost_shrink == pytest.approx(9.0, rel=1e-12)
    assert kpi.cost == kpi.cost_shrink + kpi.cost_energy


# --- water --------------------------------------------------------------------------------------


def test_free_water_on_any_layer():
    """A film of 0.1 g/kg on one layer makes the hour wet; a dry bed does not."""
    kpi = tallied(
        (state([3.0, 3.0], film=(0.0, 1e-4)), hour()),
        (state([3.0, 3.0], film=(1e-4, 1e-4)), hour()),
        (state([3.0, 3.0]), hour()),
    )
    assert kpi.wet_crop_hours == 2.0


def test_condensate_drip_and_fog_per_tonne():
    """
    1e-6 kg/(m² s) over the loaded half of the floor for an hour, in 1000 t; drip 0.002 kg/s and
    fog 0.001 kg/s for one hour of two: 7.2 kg and 3.6 kg in 1000 t.
    """
    kpi = tallied(
        (state([3.0, 3.0], share=0.5), hour(True, condensed=1e-6, drip=0.002, fog=0.001)),
        (state([3.0, 3.0]), hour()),
    )
    area = BAY.pile.length * BAY.pile.width * 0.5
    assert kpi.condensed_on_crop == pytest.approx(1e-6 * area * 3600.0 / 1000.0, rel=1e-12)
    assert kpi.ceiling_drip_hours == 1.0
    assert kpi.ceiling_drip == pytest.approx(0.0072, rel=1e-12)
    assert kpi.fog == pytest.approx(0.0036, rel=1e-12)


# --- energy, CO2, movements ---------------------------------------------------------------------


def test_energy_by_user_and_in_money():
    """
    Hour 1: fans 5 kW, refrigeration 20 kW. Hour 2: fans 10 kW, heater 30 kW, humidifier
    1.5 kW. In 1000 t: 0.015, 0.020, 0.030 and 0.0015 kWh/t; at 0.10 a kWh 0.00665 a tonne;
    the peak is the second hour's 41.5 kW.
    """
    bay = replace(BAY, costs=replace(BAY.costs, electricity=0.10 / 3.6e6))
    kpi = tallied(
        (state([3.0, 3.0]), hour(True, fan_power=5e3, coil_power=20e3)),
        (
            state([3.0, 3.0]),
            hour(
                True,
                fan_power=10e3,
                heater_power=30e3,
                humidifier_power=1.5e3,
                water_added=0.01,
            ),
        ),
        bay=bay,
    )
    assert kpi.fan_energy == pytest.approx(0.015, rel=1e-12)
    assert kpi.refrigeration_energy == pytest.approx(0.020, rel=1e-12)
    assert kpi.heater_energy == pytest.approx(0.030, rel=1e-12)
    assert kpi.humidifier_energy == pytest.approx(0.0015, rel=1e-12)
    assert kpi.energy == pytest.approx(0.0665, rel=1e-12)
    assert kpi.cost_energy == pytest.approx(0.00665, rel=1e-12)
    assert kpi.peak_power == 41.5e3
    assert kpi.humidifier_water == pytest.approx(0.036, rel=1e-12)


def test_co2_above_the_limit():
    """500 ppm above for half an hour, below it for another: 250 ppm h."""
    kpi = tallied(
        (state([3.0, 3.0], co2=CO2 + 500e-6), hour()),
        (state([3.0, 3.0], co2=CO2 - 500e-6), hour()),
        length=1800.0,
    )
    assert kpi.co2_excess == pytest.approx(250.0, rel=1e-9)
    assert kpi.co2_highest == CO2 + 500e-6


def test_fan_hours_starts_and_door_travel():
    """
    On, on, off, on: three hours, two starts. The door goes 0.4, 0.1, shut with the fans
    although 0.9 is asked for, 0.2: 0.4 + 0.3 + 0.1 + 0.2 = 1.0 strokes.
    """
    still = state([3.0, 3.0])
    kpi = tallied(
        (still, hour(True), {"door_opening": 0.4}),
        (still, hour(True), {"door_opening": 0.1}),
        (still, hour(False), {"door_opening": 0.9}),
        (still, hour(True), {"door_opening": 0.2}),
    )
    assert kpi.fan_hours == 3.0
    assert kpi.fan_starts == 2.0
    assert kpi.door_travel == pytest.approx(1.0, abs=1e-12)


def test_an_empty_bay_counts_no_more():
    """What happens in a bay after its last truck is nobody's season."""
    used = (state([3.0, 3.0], water=0.02, co2=0.001), hour(True, fan_power=1e3))
    wild = (
        state([-5.0, 9.0], film=(0.1, 0.1), water=0.9, co2=0.03),
        hour(True, -9.0, fan_power=9e9, heater_power=9e9, drip=9.0, fog=9.0, condensed=9.0,
             water_added=9.0),
        {"stage": EMPTY, "frost_stage": 3.0},
    )  # fmt: skip
    one, other = tallied(used), tallied(used, wild)
    for field in fields(Kpi):
        a, b = getattr(one, field.name), getattr(other, field.name)
        assert b == pytest.approx(a, abs=1e-12, nan_ok=True), field.name


def test_no_steps_no_numbers_out_of_thin_air():
    kpi = tallied()
    for field in fields(Kpi):
        value = getattr(kpi, field.name)
        if field.name in ("coldest_plenum", "coldest_tuber", "hottest_tuber"):
            continue  # no tuber, no plenum: nothing was coldest
        assert value == 0.0, field.name


def test_other_limits_to_measure_by():
    """
    Layers 3.5 and 4.6 °C around 3 °C, 5 K apart in cool-down, CO2 500 ppm over: by a band of 0.2
    K 0.3 and 1.4 K outside, mean 0.85; by a limit of 6 K even; by 1 % of CO2 fresh.
    """
    steps = (
        (state([3.5, 4.6], co2=CO2 + 500e-6, water=0.01), hour(True, fan_power=1e3)),
        (state([3.0, 8.0]), hour(), {"stage": COOL_DOWN}),
    )
    wide = replace(BAY.limits, band=0.2, spread=6.0, co2=0.01)
    own, other = tallied(*steps), tallied(*steps, limits=wide)
    assert own.spread_hours == 1.0
    assert own.co2_excess > 0.0
    assert other.band_kelvin_hours == pytest.approx(0.85, abs=1e-9)
    assert other.band_worst_layer_kelvin_hours == pytest.approx(1.4, abs=1e-9)
    assert other.spread_hours == 0.0
    assert other.co2_excess == 0.0
    moved = ("band_kelvin_hours", "band_worst_layer_kelvin_hours", "spread_hours", "co2_excess")
    for field in fields(Kpi):
        if field.name not in moved:
            assert getattr(own, field.name) == getattr(other, field.name), field.name
