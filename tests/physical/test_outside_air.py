"""The outside-air verdict: balances, margins and their uncertainty, limits, continuity."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from ventcalc import air
from ventcalc.advice import outside_air, setpoints
from ventcalc.advice.advise import Readings
from ventcalc.advice.devices import mist_setpoint
from ventcalc.advice.outside_air import FOG_LIMIT, Binding, Verdict
from ventcalc.advice.readings import START
from ventcalc.advice.situation import MOISTEST_RETURN, assess
from ventcalc.bay.file import example_bay
from ventcalc.bay.hourly import hourly

SEED = example_bay("seed_bay")
DRY = replace(SEED, humidifier=None)
PRESSURE = 101325.0
TIME = 1_797_336_000.0
"""A day in December."""
COMPLETE = hourly(SEED, TIME)


def judged(bay=SEED, **changes):
    """Verdict over a bay at 8 °C on a cool dry night, its fans running."""
    given = {
        "pressure": PRESSURE,
        "fan_speed": 1.0,
        "outside_temperature": 2.0,
        "outside_relative_humidity": 0.7,
        "return_temperature": 8.4,
        "return_relative_humidity": 0.92,
        "pulp": 8.0,
        "pulp_coldest": 7.6,
        "ceiling": 8.0,
        "setpoint": 6.5,
        "wanted": True,
        "cools": False,  # opened as the set point asks, not wider to dry the bottom
        "ramping": False,
    }
    given.update(changes)
    seen = Readings(
        time=TIME,
        ceiling_temperature=given["ceiling"],
        pulp_bottom=given["pulp_coldest"],
        pulp_top=given["pulp"],
        pulp_mean=given["pulp"],
        **{name: given[name] for name in Readings._fields if name in given},
    )
    complete = hourly(bay, TIME)
    now = assess(complete, seen, START._replace(time=TIME - 900.0, fan_on=True))
    # A number that is missing must not be made up by the situation.
    now = now._replace(pressure=given["pressure"], ramping=given["ramping"])
    # No return probe is believed above that: the balances are those of what is believed.
    given["return_relative_humidity"] = min(given["return_relative_humidity"], MOISTEST_RETURN)
    for side in ("outside", "return"):
        given[f"{side}_humidity_ratio"] = air.humidity_ratio(
            given[f"{side}_temperature"],
            given[f"{side}_relative_humidity"],
            given["pressure"],
        )
    speed, pulp, setpoint = (given[name] for name in ("fan_speed", "pulp", "setpoint"))
    how = (mist_setpoint(complete, now), given["wanted"], given["cools"])
    return outside_air.judge(complete, now, speed, pulp, setpoint, *how), given


def real(low, high):
    return st.floats(low, high, allow_nan=False, allow_subnormal=False)


AIRS = st.fixed_dictionaries(
    {
        "pressure": real(75e3, 105e3),
        "fan_speed": real(0.4, 1.0),
        "outside_temperature": real(-35.0, 40.0),
        "outside_relative_humidity": real(0.05, 1.0),
        "return_temperature": real(0.0, 18.0),  # farther off the pulp (8 °C) it is not believed
        "return_relative_humidity": real(0.4, 1.0),
        "pulp_coldest": real(0.0, 18.0),
        "ceiling": real(-5.0, 20.0),
    }
)


# --- parts --------------------------------------------------------------------------------------


@pytest.mark.parametrize("humidity", [0.6, 0.8, 0.9, 0.97])
@pytest.mark.parametrize("temperature", [1.0, 4.0, 12.0])
def test_uncertainty_against_sampling(temperature, humidity):
    """
    Ten thousand sensors with the stated errors against the formula: 5 % where supply air lies
    (dew point above freezing); on the safe side, by a fifth at most, over dry air with a frost
    point.
    """
    rng = np.random.default_rng(20260918)
    bay = replace(SEED, sensors=replace(SEED.sensors, temperature=0.1, humidity=0.01))
    t = temperature + 0.1 * rng.standard_normal(10_000)
    rh = np.minimum(humidity + 0.01 * rng.standard_normal(10_000), 1.0)
    dew = air.dew_point(air.humidity_ratio(t, rh, PRESSURE), PRESSURE)
    said = setpoints.dew_point_uncertainty(hourly(bay, TIME), temperature, humidity)
    if humidity >= 0.8 and dew.min() > 0.0:
        assert said == pytest.approx(dew.std(), rel=0.05)
    else:
        assert 0.95 * dew.std() < said < 1.25 * dew.std()


def test_uncertainty_without_error_is_none():
    bay = replace(SEED, sensors=replace(SEED.sensors, temperature=0.0, humidity=0.0))
    assert setpoints.dew_point_uncertainty(hourly(bay, TIME), 4.0, 0.9) == 0.0


def test_ceiling_carries_as_much_heat_inside_as_through():
    """h (T_air - T_surface) = U b (T_air - T_outside), with h = 1/Rsi of ISO 6946, 0.10 m² K/W."""
    shell = SEED.envelope
    for inside, outside in ((4.0, -30.0), (4.0, 4.0), (8.0, 35.0)):
        surface = setpoints.ceiling_temperature(COMPLETE, inside, outside)
        through = shell.ceiling_u * shell.bridge_factor * (inside - outside)
        assert (inside - surface) / 0.10 == pytest.approx(through, abs=1e-12)


def test_fan_power_and_flow():
    """Air power over efficiency at full speed, an eighth of it at half; ideal gas at 5 °C."""
    fans = SEED.fans
    full = fans.airflow * fans.static_pressure / fans.efficiency
    assert setpoints.fan_power(SEED, 1.0) == pytest.approx(full, rel=1e-12)
    assert setpoints.fan_power(SEED, 0.5) == pytest.approx(full / 8.0, rel=1e-12)
    flow = setpoints.dry_air_flow(SEED, 0.5, PRESSURE)
    # dry air of 5 °C at 101 325 Pa weighs 1.269 kg/m³ (CRC Handbook: 1.2929 at 0 °C)
    assert flow == pytest.approx(0.5 * fans.airflow * 1.2929 * 273.15 / 278.15, rel=1e-3)


def test_supply_setpoint_keeps_off_floor_and_crop():
    """Below the target, not far below the coldest tuber, never near the floor."""
    limits, control = SEED.limits, SEED.control
    for target in (2.0, 3.3, 8.0, 12.0):
        for coldest in (0.0, 3.0, 8.0, 15.0):
            before = math.inf
            for excess in (-1.0, 0.0, 0.4, 0.5, 0.6, 2.0):
                wanted = setpoints.supply_setpoint(COMPLETE, target, coldest, excess)
                assert wanted >= setpoints.lowest_supply(COMPLETE) > limits.plenum_floor
                assert wanted >= coldest - limits.supply_difference - 1e-12
                assert wanted >= target - control.supply_below - max(excess, 0.0) - 1e-12
                assert wanted <= max(setpoints.lowest_supply(COMPLETE), target, coldest)
                assert wanted <= before
                before = wanted


def test_supply_follows_a_pile_that_lags():
    """One that waits half a kelvin above its target gets air colder by most of that."""
    target, coldest = 8.0, 8.5
    near, lags = (setpoints.supply_setpoint(COMPLETE, target, coldest, e) for e in (0.0, 0.5))
    assert 0.2 < near - lags < 0.5


def test_vapour_limit_leaves_the_margin_that_is_asked_for():
    for coldest in (0.5, 3.5, 9.0):
        ratio = setpoints.vapour_limit(COMPLETE, coldest, 0, PRESSURE)
        left = coldest - air.dew_point(ratio, PRESSURE)
        sigma = setpoints.dew_point_uncertainty(COMPLETE, coldest, SEED.limits.plenum_humidity)
        needed = SEED.control.confidence * math.hypot(sigma, SEED.sensors.temperature)
        assert needed <= left <= 1.1 * needed + 0.02


# --- the air that a run will draw ---------------------------------------------------------------


def drawn(running, relative, top=8.3):
    """Return air of a run over a pile whose headspace is warmer than its top."""
    seen = Readings(
        time=TIME, pressure=PRESSURE, return_temperature=9.5, return_relative_humidity=relative,
        pulp_bottom=7.6, pulp_top=top, pulp_mean=8.0, pulp_coldest=7.6,
    )  # fmt: skip
    now = assess(COMPLETE, seen, START._replace(time=TIME - 900.0, fan_on=running))
    dew = air.dew_point(now.run_humidity_ratio, PRESSURE)
    assert now.run_dew_point == pytest.approx(dew, abs=2e-3)
    return now.run_temperature, now.run_humidity_ratio


def test_fans_that_run_draw_the_air_that_is_read():
    for relative in (0.3, 0.98):
        wanted = air.humidity_ratio(9.5, relative, PRESSURE)
        assert drawn(True, relative) == (9.5, pytest.approx(wanted, rel=1e-4))


def test_fans_that_stand_will_draw_what_leaves_the_top_of_the_pile():
    """As warm as the top, and in equilibrium with the water of its tubers, if no moister."""
    activity = COMPLETE.crop.water_activity
    leaving = activity * air.saturation_humidity_ratio(8.3, PRESSURE)
    for relative in (0.3, 0.9):
        assert drawn(False, relative) == (8.3, pytest.approx(leaving, rel=1e-3))
    moister = air.humidity_ratio(9.5, 0.98, PRESSURE)
    assert moister > leaving
    assert drawn(False, 0.98) == (8.3, pytest.approx(moister, rel=1e-4))


def test_without_a_top_the_air_that_is_read_must_do():
    wanted = air.humidity_ratio(9.5, 0.9, PRESSURE)
    assert drawn(False, 0.9, top=math.nan) == (9.5, pytest.approx(wanted, rel=1e-4))


# --- balances -----------------------------------------------------------------------------------


@given(AIRS)
@settings(max_examples=150, deadline=None)
def test_energy_balance(airs):
    """
    Cooling of the bay is what the exchanged air carries out, less the fan's heat, plus the
    enthalpy of the sprayed water. Two formulas of the enthalpy of moist air are at work (the
    full one and the plain one of the mixing box): 1 % of the heat exchanged and 0.02 K are
    allowed between them.
    """
    verdict, given = judged(**airs)
    assume(verdict.fog == 0.0)
    flow = setpoints.dry_air_flow(SEED, given["fan_speed"], given["pressure"])
    h_return, h_outside = (
        air.enthalpy(
            given[f"{side}_temperature"], given[f"{side}_humidity_ratio"], given["pressure"]
        )
        for side in ("return", "outside")
    )
    exchanged = flow * verdict.fresh_fraction * (h_return - h_outside)
    fan = setpoints.fan_power(SEED, given["fan_speed"])
    water = verdict.water_added * 4186.0 * 10.0
    allowed = 0.01 * abs(exchanged) + flow * 20.0
    assert verdict.cooling == pytest.approx(exchanged - fan - water, abs=allowed)


@given(AIRS)
@settings(max_examples=150, deadline=None)
def test_water_balance(airs):
    """Vapour and fog of the supply are the mixture's water and what the humidifier gave."""
    verdict, given = judged(**airs)
    flow = setpoints.dry_air_flow(SEED, given["fan_speed"], given["pressure"])
    mixture = given["return_humidity_ratio"] + verdict.fresh_fraction * (
        given["outside_humidity_ratio"] - given["return_humidity_ratio"]
    )
    total = verdict.plenum_humidity_ratio + verdict.fog
    assert total == pytest.approx(mixture + verdict.water_added / flow, abs=1e-9)


@given(AIRS)
@settings(max_examples=200, deadline=None)
def test_what_is_allowed_keeps_every_margin(airs):
    verdict, _ = judged(**airs)
    doors = SEED.doors
    assert doors.leakage_fraction <= verdict.fresh_fraction <= doors.largest_fraction
    if verdict.verdict != Verdict.ALLOWED:
        assert verdict.binding not in (Binding.NONE, Binding.MIXING_FOG)
        return
    assert verdict.binding in (Binding.NONE, Binding.MIXING_FOG)
    assert verdict.cold_margin >= 0.0
    assert verdict.floor_margin >= 0.0
    assert verdict.wetting_margin >= SEED.control.confidence * verdict.wetting_uncertainty
    assert verdict.drip_margin >= 0.0
    if verdict.fresh_fraction > doors.leakage_fraction:
        assert verdict.fog <= FOG_LIMIT + 1e-9


@given(AIRS)
@settings(max_examples=150, deadline=None)
def test_margins_are_what_they_say(airs):
    verdict, given = judged(**airs)
    assert verdict.floor_margin == verdict.plenum_temperature - SEED.limits.plenum_floor
    # Fog is counted as vapour, which it becomes where it meets something warmer; the plain dew
    # point of the hourly loop may stray 0.02 K from the full one.
    water = verdict.plenum_humidity_ratio + verdict.fog
    dew = verdict.plenum_dew_point
    assert dew == pytest.approx(air.dew_point(water, given["pressure"]), abs=0.02)
    assert verdict.wetting_margin == given["pulp_coldest"] - dew
    assert verdict.drip_margin == given["ceiling"] - dew
    if verdict.fog == 0.0:
        assert dew <= verdict.plenum_temperature + 1e-6
    rate = verdict.cooling / (SEED.mass * verdict.pile_rate) if verdict.pile_rate else 3500.0
    assert 3400.0 < rate < 3650.0  # specific heat of potatoes about 3.5 kJ/(kg K)


# --- what binds ---------------------------------------------------------------------------------


def test_the_three_answers_follow_the_margin():
    """A coldest tuber ever warmer: forbidden, cannot tell, allowed, at plus and minus 2 sigma."""
    found = []
    for coldest in np.arange(2.0, 8.0, 0.01):
        verdict, _ = judged(DRY, pulp_coldest=float(coldest))
        sure = DRY.control.confidence * verdict.wetting_uncertainty
        expected = (
            Verdict.FORBIDDEN
            if verdict.wetting_margin < -sure
            else Verdict.UNKNOWN
            if verdict.wetting_margin < sure
            else Verdict.ALLOWED
        )
        assert verdict.verdict == expected
        found.append(verdict.verdict)
    assert [*dict.fromkeys(found)] == [Verdict.FORBIDDEN, Verdict.UNKNOWN, Verdict.ALLOWED]
    wide = 2.0 * sure
    assert found.count(Verdict.UNKNOWN) * 0.01 == pytest.approx(wide, abs=0.03)


def test_perfect_sensors_leave_nothing_unknown():
    bay = replace(DRY, sensors=replace(DRY.sensors, temperature=0.0, humidity=0.0))
    found = {judged(bay, pulp_coldest=float(x))[0].verdict for x in np.arange(2.0, 8.0, 0.03)}
    assert found == {Verdict.FORBIDDEN, Verdict.ALLOWED}


def test_a_ceiling_below_the_dew_point_is_never_allowed():
    """Surely below: forbidden. Perhaps below: cannot tell."""
    verdicts = [judged(DRY, ceiling=float(x))[0] for x in np.arange(0.0, 8.0, 0.05)]
    assert all(v.verdict != Verdict.ALLOWED for v in verdicts if v.drip_margin < 0.0)
    assert verdicts[0].verdict == Verdict.FORBIDDEN
    assert verdicts[0].binding == Binding.CEILING_DRIP
    assert verdicts[-1].verdict == Verdict.ALLOWED


@given(AIRS, real(1.0, 8.0))
@settings(max_examples=200, deadline=None)
def test_more_doubt_never_allows_more(airs, factor):
    """Without a humidifier, which goes less far when sensors are worse."""
    sensors = replace(
        DRY.sensors,
        temperature=min(3.0, DRY.sensors.temperature * factor),
        humidity=min(0.2, DRY.sensors.humidity * factor),
    )
    careful = replace(DRY, control=replace(DRY.control, confidence=min(4.0, 2.0 * factor)))
    one, _ = judged(DRY, **airs)
    for doubtful in (replace(DRY, sensors=sensors), careful):
        other, _ = judged(doubtful, **airs)
        if one.verdict != Verdict.ALLOWED:
            assert other.verdict != Verdict.ALLOWED
        if other.verdict == Verdict.FORBIDDEN:
            assert one.verdict == Verdict.FORBIDDEN


@pytest.mark.parametrize(
    "name",
    [
        "outside_temperature",
        "outside_relative_humidity",
        "return_temperature",
        "return_relative_humidity",
        "pulp",
        "pulp_coldest",
        "pressure",
    ],
)
def test_a_missing_number_is_unknown(name):
    verdict, _ = judged(**{name: float("nan")})
    assert verdict.verdict == Verdict.UNKNOWN
    assert verdict.binding == Binding.MISSING_READING


def test_not_asked_is_no_verdict_on_the_air():
    """A pile at 8 °C with the target on its way to 3.3 °C, or there."""
    for ramping, code in ((False, Binding.NOTHING_TO_COOL), (True, Binding.RAMP_LIMIT)):
        verdict, _ = judged(wanted=False, ramping=ramping)
        assert (verdict.verdict, verdict.binding) == (Verdict.FORBIDDEN, code)


# --- the door -----------------------------------------------------------------------------------


def test_the_door_settles_on_the_set_point():
    """Wherever it modulates without fog, the plenum is at the set point, within 0.05 K."""
    settled = 0
    for outside in np.arange(-20.0, 6.0, 0.5):
        for bay in (SEED, DRY):
            verdict, given = judged(
                bay, outside_temperature=float(outside), return_relative_humidity=0.85
            )
            inside = SEED.doors.leakage_fraction < verdict.fresh_fraction < 1.0
            if inside and verdict.binding == Binding.NONE:
                assert verdict.plenum_temperature == pytest.approx(given["setpoint"], abs=0.05)
                settled += 1
    assert settled > 60


def test_the_door_closes_as_it_gets_colder():
    found = [
        judged(DRY, outside_temperature=float(t), outside_relative_humidity=0.9)[0].fresh_fraction
        for t in np.arange(-35.0, 8.0, 0.25)
    ]
    assert (np.diff(found) >= -1e-9).all()
    assert found[0] < 0.08
    assert found[-1] == 1.0


def test_nothing_jumps_at_zero():
    """Outside air and set point drawn through 0 °C: no step in plenum or dew point."""
    for name in ("outside_temperature", "setpoint"):
        values = np.arange(-1.0, 1.0, 0.01)
        bay = replace(DRY, limits=replace(DRY.limits, plenum_floor=-0.5))
        found = [judged(bay, **{name: float(x)}, pulp_coldest=2.0)[0] for x in values]
        for field in ("plenum_temperature", "plenum_dew_point", "fresh_fraction"):
            steps = np.abs(np.diff([getattr(v, field) for v in found]))
            assert steps.max() < 0.05, (name, field)


def test_fog_is_dried_before_it_meets_the_crop():
    """Saturated return air and hard frost: fog wherever the door opens beyond the verdict."""
    verdict, _ = judged(
        DRY,
        outside_temperature=-35.0,
        setpoint=5.0,
        return_relative_humidity=1.0,
        return_temperature=8.4,
    )
    assert verdict.fog <= FOG_LIMIT
    wider, _ = judged(
        DRY,
        outside_temperature=-35.0,
        setpoint=5.0,
        return_relative_humidity=0.85,
        return_temperature=8.4,
    )
    assert wider.fresh_fraction > verdict.fresh_fraction
