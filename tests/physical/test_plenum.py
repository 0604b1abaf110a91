"""The way of the air to the plenum: balances, its inverse, limits."""

from __future__ import annotations

import math

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from ventcalc import air
from ventcalc.air import plain as plain_air
from ventcalc.equipment import coil as coil_module
from ventcalc.equipment import plenum

approx = pytest.approx
P = 92e3
outside_temperatures = st.floats(-30.0, 30.0)
return_temperatures = st.floats(1.0, 18.0)
humidities = st.floats(0.1, 1.0)
WARMS_THE_STORE = 0.5
"""Of the heat that defrosts; the other half melts the ice and leaves with the water."""
moist = st.floats(0.8, 0.99)
shares = st.floats(0.0, 1.0)
flows = st.floats(2.0, 40.0)


def case(t_out, rh_out, t_ret, rh_ret, flow=20.0, **other):
    return {
        "mass_flow": flow,
        "outside_temperature": t_out,
        "outside_humidity_ratio": air.humidity_ratio(t_out, rh_out, P),
        "return_temperature": t_ret,
        "return_humidity_ratio": air.humidity_ratio(t_ret, rh_ret, P),
        "pressure": P,
        **other,
    }


IDLE = {
    "heat": 0.0, "coil_heat": 0.0, "coil_temperature_difference": 4.0, "bypass_factor": 0.0,
    "humidity_wanted": 0.0, "water_capacity": 0.0, "vapour_limit": 1.0,
}  # fmt: skip
"""Fans without heat, coil and humidifier at rest."""


def supplied(fresh_fraction, given_, **other):
    return plenum.supply(fresh_fraction=fresh_fraction, **{**IDLE, **given_, **other})


def coil_water(given_, share, found):
    """What the coil took out, by the water that is missing. [kg/s]"""
    water, _ = water_and_enthalpy(given_, share)
    return (water - found.humidity_ratio - found.fog) * given_["mass_flow"] + found.water_added


def water_and_enthalpy(given_, share):
    """Of the mixed air, before anything is done to it; per kg of dry air."""
    t = [given_["outside_temperature"], given_["return_temperature"]]
    w = [given_["outside_humidity_ratio"], given_["return_humidity_ratio"]]
    h = [plain_air.enthalpy(*pair) for pair in zip(t, w, strict=True)]
    return share * w[0] + (1.0 - share) * w[1], share * h[0] + (1.0 - share) * h[1]


def check_balance(given_, share, found):
    """Water and heat that left are those that came, all streams counted."""
    flow = given_["mass_flow"]
    _, heat = water_and_enthalpy(given_, share)
    condensed = coil_water(given_, share, found)
    assert condensed == approx(0.0, abs=1e-12) or given_.get("coil_heat", 0.0) > 0.0
    left = plain_air.enthalpy(found.temperature, found.humidity_ratio)
    left += found.fog * plain_air.fog_heat(found.temperature)
    came = heat + given_.get("heat", 0.0) / flow - found.coil_heat / flow
    came += found.water_added / flow * plain_air.WATER_HEAT * plenum.WATER_TEMPERATURE
    came -= condensed / flow * plain_air.fog_heat(found.coil_temperature)
    came += found.defrost_power / flow * WARMS_THE_STORE
    assert left == approx(came, abs=0.05)


def thaws(found):
    """Fog that is partly ice has no place on either branch of ``fog_heat``."""
    return found.fog > 0.0 and abs(found.temperature) < 0.75


@settings(deadline=None, max_examples=200)
@given(
    outside_temperatures, humidities, return_temperatures, moist, flows, shares,
    st.floats(0.0, 2e4), st.floats(0.0, 1.5e5), st.floats(2.0, 6.0), st.floats(0.0, 0.98),
    st.floats(0.0, 0.05),
)  # fmt: skip
def test_water_and_heat_are_kept(
    t_out, rh_out, t_ret, rh_ret, flow, share, heat, coil, difference, aim, capacity
):
    given_ = case(
        t_out, rh_out, t_ret, rh_ret, flow, heat=heat, coil_heat=coil,
        coil_temperature_difference=difference, humidity_wanted=aim, water_capacity=capacity,
    )  # fmt: skip
    assume(coil / flow < 15e3)
    found = supplied(share, given_)
    assume(not thaws(found))
    check_balance(given_, share, found)
    assert found.fog >= 0.0
    assert found.water_added >= 0.0
    assert coil_water(given_, share, found) >= -1e-12
    assert found.water_added <= capacity * (1.0 + 1e-12) + 1e-18
    full = air.saturation_humidity_ratio(found.temperature, P)
    assert found.humidity_ratio <= full * (1.0 + 1e-6)


@settings(deadline=None)
@given(outside_temperatures, humidities, return_temperatures, moist)
def test_no_fresh_air_is_return_air_and_nothing_else_outside_air(t_out, rh_out, t_ret, rh_ret):
    given_ = case(t_out, rh_out, t_ret, rh_ret)
    shut = supplied(0.0, given_)
    assert shut.temperature == approx(t_ret, abs=1e-9)
    assert shut.humidity_ratio == approx(given_["return_humidity_ratio"], rel=1e-12)
    open_ = supplied(1.0, given_)
    assert open_.temperature == approx(t_out, abs=1e-6)
    assert open_.humidity_ratio == approx(given_["outside_humidity_ratio"], rel=1e-9)


def test_frost_makes_fog_that_warms_the_mixture():
    """
    Return air of 5 °C and 98 % mixed to 3 °C by dry bulb.

    A hand calculation at sea level, no publication: no fog from outside air of 0 or -5 °C;
    0.04, 0.12 and 0.17 g/kg of fog from -10, -20 and -30 °C, up to 0.43 K warmer than that.
    """
    fog, warming = [], []
    for outside in (0.0, -5.0, -10.0, -20.0, -30.0):
        given_ = case(outside, 0.8, 5.0, 0.98, pressure=101325.0)
        given_["outside_humidity_ratio"] = air.humidity_ratio(outside, 0.8, 101325.0)
        given_["return_humidity_ratio"] = air.humidity_ratio(5.0, 0.98, 101325.0)
        share = 2.0 / (5.0 - outside)
        found = supplied(share, given_)
        check_balance(given_, share, found)
        fog.append(found.fog * 1e3)
        warming.append(found.temperature - 3.0)
    assert fog[:2] == [0.0, 0.0]
    assert fog[2:] == approx([0.04, 0.12, 0.17], abs=0.006)
    assert warming[2] > 0.09
    assert warming[4] == approx(0.43, abs=0.01)


def test_the_fans_heat_dries_the_fog():
    given_ = case(-20.0, 0.8, 5.0, 0.98)
    damp = supplied(0.08, given_)
    warm = supplied(0.08, given_, heat=20.0 * 1500.0)
    assert damp.fog > 0.0
    assert warm.fog == 0.0
    assert warm.temperature > damp.temperature


def test_the_humidifier_rests_in_fog_and_stops_at_its_aim():
    frosty = case(-20.0, 0.8, 5.0, 0.98)
    foggy = supplied(0.08, frosty, humidity_wanted=0.98, water_capacity=0.1)
    assert foggy.fog > 0.0
    assert foggy.water_added == 0.0
    dry = case(2.0, 0.5, 8.0, 0.9)
    enough = supplied(0.5, dry, humidity_wanted=0.95, water_capacity=0.1)
    assert air.relative_humidity(enough.temperature, enough.humidity_ratio, P) == approx(
        0.95, abs=1e-3
    )  # the aim is a share of the saturated humidity ratio, which is nearly the same
    short = supplied(0.5, dry, humidity_wanted=0.95, water_capacity=2e-3)
    assert short.water_added == approx(2e-3, rel=1e-12)
    assert short.temperature > enough.temperature
    off = supplied(0.5, dry, humidity_wanted=0.0, water_capacity=0.1)
    assert off.water_added == 0.0
    moist_ = supplied(0.0, dry, humidity_wanted=0.85, water_capacity=0.1)
    assert moist_.water_added == 0.0


def test_the_humidifier_heeds_the_vapour_limit():
    given_ = case(2.0, 0.5, 8.0, 0.9, humidity_wanted=0.98, water_capacity=0.1)
    free = supplied(0.5, given_)
    limit = 0.5 * (free.humidity_ratio + water_and_enthalpy(given_, 0.5)[0])
    held = supplied(0.5, given_, vapour_limit=limit)
    assert held.humidity_ratio == approx(limit, rel=1e-12)


@settings(deadline=None, max_examples=100)
@given(return_temperatures, moist, st.floats(2.0, 6.0), st.floats(0.1, 0.75))
def test_coil_heat_for_a_temperature_gives_it(t_ret, rh_ret, difference, share):
    """Frost, its melting and the bypass counted; where the straight line crosses fog, warmer."""
    bypass = 0.1
    assume(abs(t_ret - difference) > 1e-6)  # frost begins there, with a jump
    given_ = case(10.0, 0.5, t_ret, rh_ret)
    wanted = t_ret - share * difference
    coil = plenum.coil_heat_for(
        bypass_factor=bypass,
        wanted_temperature=wanted, mass_flow=20.0, entering_temperature=t_ret,
        entering_humidity_ratio=given_["return_humidity_ratio"],
        coil_temperature_difference=difference, pressure=P,
    )  # fmt: skip
    found = supplied(
        0.0, given_, coil_heat=coil, coil_temperature_difference=difference, bypass_factor=bypass
    )
    assume(not thaws(found))
    if found.fog == 0.0:
        assert found.temperature == approx(wanted, abs=0.01)
    assert wanted - 0.01 <= found.temperature <= wanted + 0.4
    warmer = plenum.coil_heat_for(
        wanted_temperature=t_ret + 1.0, mass_flow=20.0, entering_temperature=t_ret,
        entering_humidity_ratio=given_["return_humidity_ratio"],
        coil_temperature_difference=difference, bypass_factor=bypass, pressure=P,
    )  # fmt: skip
    assert warmer == 0.0


@settings(deadline=None, max_examples=60)
@given(return_temperatures, moist, st.floats(2.0, 6.0), st.floats(0.0, 0.4), st.floats(0.0, 20.0))
def test_no_more_coil_heat_is_asked_for_than_the_surface_gives(
    t_ret, rh_ret, difference, bypass, colder
):
    assume(abs(t_ret - difference) > 1e-6)  # frost begins there, with a jump
    given_ = case(10.0, 0.5, t_ret, rh_ret)
    most = plenum.coil_heat_for(
        bypass_factor=bypass, wanted_temperature=t_ret - difference - colder, mass_flow=20.0,
        entering_temperature=t_ret, entering_humidity_ratio=given_["return_humidity_ratio"],
        coil_temperature_difference=difference, pressure=P,
    )  # fmt: skip
    found = supplied(
        0.0, given_, coil_heat=1e9, coil_temperature_difference=difference, bypass_factor=bypass
    )
    assert most == approx(found.coil_heat, rel=1e-9)


@given(return_temperatures, st.floats(0.1, 0.5), st.floats(0.1, 4.0), st.floats(0.0, 0.4))
def test_a_dry_coil_cools_by_its_share_of_the_difference(t, relative, difference, bypass):
    """Nothing condenses: what does not miss the surface leaves as warm as it."""
    given_ = case(10.0, 0.5, t, relative)
    w = given_["return_humidity_ratio"]
    assume(air.saturation_humidity_ratio(t - difference, P) > w)
    found = supplied(
        0.0, given_, coil_heat=1e9, coil_temperature_difference=difference, bypass_factor=bypass
    )
    assert found.temperature == approx(t - (1.0 - bypass) * difference, abs=1e-9)
    assert found.humidity_ratio == approx(w, rel=1e-12)


# --- the inverse --------------------------------------------------------------------------

INVERSE = {
    "t_out": st.floats(-30.0, 5.0), "rh_out": humidities, "t_ret": st.floats(4.0, 16.0),
    "rh_ret": moist, "flow": flows, "heat": st.floats(0.0, 2e4),
    "aim": st.sampled_from([0.0, 0.85, 0.9, 0.95]), "capacity": st.floats(0.0, 0.06),
    "wanted": st.floats(1.0, 15.0),
}  # fmt: skip


def opening(given_, wanted, aim, capacity):
    return plenum.fresh_fraction_for(
        wanted_temperature=wanted, wanted_humidity=aim, water_capacity=capacity,
        **{"heat": 0.0, **given_},
    )  # fmt: skip


@settings(deadline=None, max_examples=400)
@given(**INVERSE)
def test_the_fraction_for_a_temperature_gives_it(
    t_out, rh_out, t_ret, rh_ret, flow, heat, aim, capacity, wanted
):
    """Within 0.02 K wherever the answer lies between 0 and 1, in frost and fog as well."""
    assume(t_ret - t_out > 2.0)
    given_ = case(t_out, rh_out, t_ret, rh_ret, flow, heat=heat)
    share = opening(given_, wanted, aim, capacity)
    assume(0.0 < share < 1.0)
    found = supplied(share, given_, humidity_wanted=aim, water_capacity=capacity)
    assert found.temperature == approx(wanted, abs=0.02)


@given(st.floats(-10.0, 16.0), st.floats(0.2, 0.7), st.floats(0.01, 2.0), shares)
def test_air_hardly_colder_than_the_return_is_mixed_as_any_other(t_out, relative, warmer, share):
    given_ = case(t_out, relative, t_out + warmer, relative)
    wanted = supplied(share, given_).temperature
    assert opening(given_, wanted, 0.0, 0.0) == approx(share, abs=1e-6)


@pytest.mark.parametrize("aim", [0.0, 0.95])
@pytest.mark.parametrize("wanted", [3.0, 8.0])
def test_outside_air_just_like_the_return_asks_for_no_opening_between(wanted, aim):
    """It can do nothing either way: no number is divided by nothing."""
    given_ = case(8.0, 0.9, 8.0, 0.9)
    share = opening(given_, wanted, aim, 0.02)
    assert math.isfinite(share)
    assert not 1e-3 < share < 1.0


@settings(deadline=None, max_examples=200)
@given(**INVERSE, more=st.floats(0.1, 2.0))
def test_a_colder_aim_opens_further(
    t_out, rh_out, t_ret, rh_ret, flow, heat, aim, capacity, wanted, more
):
    assume(t_ret - t_out > 2.0)
    given_ = case(t_out, rh_out, t_ret, rh_ret, flow, heat=heat)
    less = opening(given_, wanted, aim, capacity)
    further = opening(given_, wanted - more, aim, capacity)
    assume(0.0 < less < 1.0)
    assume(0.0 < further < 1.0)
    assert further > less - 1e-6


@settings(deadline=None, max_examples=100)
@given(outside_temperatures, humidities, return_temperatures, moist, shares, shares)
def test_more_of_colder_air_is_colder(t_out, rh_out, t_ret, rh_ret, one, two):
    assume(t_ret - t_out > 1.0)
    given_ = case(t_out, rh_out, t_ret, rh_ret)
    less, more = (supplied(f, given_) for f in sorted((one, two)))
    assume(not thaws(less))
    assume(not thaws(more))
    assert more.temperature <= less.temperature + 1e-6


def test_a_law_on_dry_bulb_alone_opens_too_far_in_frost():
    """What the solution on enthalpy is for: fog's heat needs more, not less, cold air."""
    given_ = case(-25.0, 0.8, 5.0, 0.98)
    share = opening(given_, 3.0, 0.0, 0.0)
    dry_bulb = 2.0 / 30.0
    assert supplied(share, given_).temperature == approx(3.0, abs=0.01)
    assert supplied(dry_bulb, given_).temperature > 3.1
    assert share > dry_bulb


# --- missing readings -----------------------------------------------------------------------

UNKNOWN = [
    "mass_flow", "outside_temperature", "outside_humidity_ratio", "return_temperature",
    "return_humidity_ratio", "pressure", "heat",
]  # fmt: skip


@pytest.mark.parametrize("name", [*UNKNOWN, "coil_heat", "vapour_limit"])
@pytest.mark.parametrize("coil", [0.0, 3e4])
def test_missing_air_stays_missing(name, coil):
    working = {"coil_heat": coil, "humidity_wanted": 0.95, "water_capacity": 0.1}
    given_ = {**case(-5.0, 0.8, 8.0, 0.8), **working}
    assert not math.isnan(supplied(0.2, given_).temperature)
    assert math.isnan(supplied(math.nan, given_).temperature)
    assert math.isnan(supplied(0.2, {**given_, name: math.nan}).temperature)


@pytest.mark.parametrize("name", UNKNOWN)
@pytest.mark.parametrize("aim", [0.0, 0.95])
@pytest.mark.parametrize("outside", [-25.0, 3.0])
def test_no_door_is_opened_to_missing_air(name, aim, outside):
    given_ = case(outside, 0.8, 8.0, 0.98, heat=1e3)
    assert not math.isnan(opening(given_, 5.0, aim, 0.02))
    assert math.isnan(opening({**given_, name: math.nan}, 5.0, aim, 0.02))


# --- the coil -------------------------------------------------------------------------------


@settings(deadline=None, max_examples=60)
@given(st.floats(4.0, 18.0), st.floats(0.5, 0.9), st.floats(1.0, 6.0), st.floats(0.0, 0.4))
def test_the_hourly_coil_is_the_coil_of_the_equipment(t, relative, difference, bypass):
    """At full duty, above freezing and without fog: plain air against real air, 0.6 % of heat."""
    assume(t > difference + 0.1)
    given_ = case(10.0, 0.5, t, relative, flow=10.0)
    real = coil_module.coil(
        temperature=t, humidity_ratio=given_["return_humidity_ratio"], pressure=P,
        mass_flow=10.0, temperature_difference=difference, bypass_factor=bypass,
    )  # fmt: skip
    assume(real.fog == 0.0)
    plain = supplied(
        0.0, given_, coil_heat=1e9, coil_temperature_difference=difference, bypass_factor=bypass
    )
    assert plain.temperature == approx(real.temperature, abs=0.02)
    assert coil_water(given_, 0.0, plain) == approx(real.condensate, rel=1e-3, abs=1e-9)
    assert plain.coil_heat == approx(real.total_heat, rel=6e-3)


def test_frost_costs_its_melting_and_warms_the_store():
    """0.1 g/kg frozen takes its heat of fusion from the coil, and the same again to melt it."""
    given_ = case(10.0, 0.5, 3.3, 0.95, flow=10.0)
    iced = supplied(0.0, given_, coil_heat=1e9, coil_temperature_difference=6.0)
    assert iced.coil_temperature == approx(-2.7)
    per_mass = iced.defrost_power / coil_water(given_, 0.0, iced)
    # Fusion 333.5 kJ/kg, ice from -2.7 and water to 5 °C, half of the heat lost to the store.
    assert per_mass == approx((333.5e3 + 2.1e3 * 2.7 + 4.186e3 * 5.0) / 0.5, rel=2e-3)
    wet = supplied(0.0, given_, coil_heat=2e4, coil_temperature_difference=3.0)
    assert coil_water(given_, 0.0, wet) > 1e-6
    assert wet.defrost_power == 0.0
