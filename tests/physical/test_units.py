"""The border of units: every factor against NIST SP 811, every label read back."""

from __future__ import annotations

import math
import subprocess
import sys

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ventcalc.errors import BadInput
from ventcalc.units import convert, parse, parse_any, show, shown_unit
from ventcalc.units.definitions import EXAMPLES
from ventcalc.units.scales import SHOWN

# NIST Special Publication 811, 2008 edition, appendix B.8 ("Factors for units listed
# alphabetically"), seven digits as printed there.
NIST_SP_811 = [
    ("1 ft", "m", 3.048e-1),
    ("1 in", "m", 2.54e-2),
    ("1 mi", "m", 1.609344e3),
    ("1 ft2", "m2", 9.290304e-2),
    ("1 ft3", "m3", 2.831685e-2),
    ("1 gal", "m3", 3.785412e-3),
    ("1 lb", "kg", 4.535924e-1),
    ("1 short_ton", "kg", 9.071847e2),
    ("1 ton", "kg", 9.071847e2),
    ("1 long_ton", "kg", 1.016047e3),
    ("1 t", "kg", 1e3),
    ("1 cwt", "kg", 4.535924e1),
    ("1 gr", "kg", 6.479891e-5),
    ("1 lb/ft3", "kg/m3", 1.601846e1),
    ("1 ft3/lb", "m3/kg", 6.242796e-2),
    ("1 cfm", "m3/s", 4.719474e-4),
    ("1 ft/min", "m/s", 5.08e-3),
    ("1 mph", "m/s", 4.4704e-1),
    ("1 lb/h", "kg/s", 1.259979e-4),
    ("1 inH2O", "Pa", 2.490889e2),
    ("1 mmH2O", "Pa", 9.80665),
    ("1 inHg", "Pa", 3.386389e3),
    ("1 psi", "Pa", 6.894757e3),
    ("1 Btu/h", "W", 2.930711e-1),
    ("1 hp", "W", 7.456999e2),
    ("1 ton_refrigeration", "W", 3.516853e3),
    ("1 Btu/lb", "J/kg", 2.326e3),
    ("1 Btu/(h ft2 degF)", "W/(m2 K)", 5.678263),
    ("R-1", "W/(m2 K)", 1 / 1.761102e-1),
    ("1 delta_degF", "delta_degC", 5.555556e-1),
    ("1 day", "s", 8.64e4),
    ("1 h", "s", 3.6e3),
]


@pytest.mark.parametrize(("text", "unit", "factor"), NIST_SP_811)
def test_factor_of_nist_sp_811(text, unit, factor):
    assert parse(text, unit) == pytest.approx(factor, rel=5e-7)


@pytest.mark.parametrize(
    ("unit", "us_of_one"),
    [  # the reciprocal factors of NIST SP 811, appendix B.8
        ("m", 1 / 3.048e-1),
        ("m2", 1 / 9.290304e-2),
        ("m3", 1 / 2.831685e-2),
        ("kg", 1 / 4.535924e-1),
        ("m3/s", 1 / 4.719474e-4),
        ("m3/(s kg)", 9.071847e2 / 4.719474e-4),
        ("m3/(s t)", 9.071847e-1 / 4.719474e-4),
        ("Pa", 1 / 2.490889e2),
        ("W", 1 / 2.930711e-1),
        ("W refrigeration", 1 / 3.516853e3),
        ("J/kg", 1 / 2.326e3),
        ("kg/kg", 4.535924e-1 / 6.479891e-5),
        ("m3/kg", 1 / 6.242796e-2),
        ("kg/m3", 1 / 1.601846e1),
        ("kg/s", 1 / 1.259979e-4),
        ("m/s", 1 / 5.08e-3),
        ("W/(m2 K)", 1 / 5.678263),
        ("delta_degC", 1.8),
    ],
)
def test_shown_factor_of_nist_sp_811(unit, us_of_one):
    zero, _ = convert(0.0, unit, "us")
    one, _ = convert(1.0, unit, "us")
    assert one - zero == pytest.approx(us_of_one, rel=5e-7)


@pytest.mark.parametrize(
    ("celsius", "fahrenheit"), [(-40.0, -40.0), (0.0, 32.0), (100.0, 212.0), (37.0, 98.6)]
)
def test_fixed_points_of_temperature(celsius, fahrenheit):
    """The definition of the two scales; -40 is the same on both."""
    assert parse(f"{fahrenheit} degF", "degC") == pytest.approx(celsius, abs=1e-12)
    assert convert(celsius, "degC", "us")[0] == pytest.approx(fahrenheit, abs=1e-12)
    assert parse(f"{celsius + 273.15} K", "degC") == pytest.approx(celsius, abs=1e-12)


def test_three_tons_are_three_masses():
    masses = [parse(f"1 {ton}", "kg") for ton in ("short_ton", "tonne", "long_ton")]
    assert masses == pytest.approx([907.18474, 1000.0, 1016.0469088], rel=1e-12)
    assert parse("1 ton", "kg") == masses[0]
    for doubtful in ("MT", "mt", "metric_ton", "Mt", "kt", "tn"):
        with pytest.raises(BadInput, match="not known"):
            parse(f"1 {doubtful}", "kg")


@pytest.mark.parametrize("spelling", ["degF", "°F", "deg F", "F", "delta_degF", "fahrenheit"])
def test_a_difference_is_understood_where_one_is_wanted(spelling):
    assert parse(f"9 {spelling}/day", "delta_degC/s") == pytest.approx(5 / 86400, rel=1e-14)
    assert parse(f"9 {spelling}", "delta_degC") == pytest.approx(5.0, rel=1e-14)


@pytest.mark.parametrize("text", ["3 delta_degC", "3 delta_degF"])
def test_a_difference_is_not_a_temperature(text):
    with pytest.raises(BadInput, match="temperature difference; wanted is a temperature"):
        parse(text, "degC")


def test_parse_any_says_what_matched():
    per_mass = 20 * 4.719474e-4 / 9.071847e2  # NIST SP 811
    assert parse_any("20 cfm/ton", ("m3/s", "m3/(s kg)")) == (
        pytest.approx(per_mass, rel=5e-7),
        "m3/(s kg)",
    )
    assert parse_any("40000 cfm", ("m3/s", "m3/(s kg)"))[1] == "m3/s"
    with pytest.raises(BadInput, match="airflow or an airflow per mass"):
        parse_any("20 ft", ("m3/s", "m3/(s kg)"))


@pytest.mark.parametrize(
    ("spellings", "unit"),
    [
        (("0.2 W/(m2 K)", "0.2 W/(m² K)", "0.2 W/m2/K", "0.2 W/(m^2*K)", "RSI 5"), "W/(m2 K)"),
        (("36 m3/h", "36 m³/h", "36 m**3/hour", "0.01 m3/s"), "m3/s"),
        (("95 %", "95%", "0.95", "950000 ppm", "95 percent"), "1"),
        (("50 m3/(h t)", "50 m3/h/t", "50 m³ per hour per tonne"), "m3/(s kg)"),
        (("10 /cwt", "10 money/cwt", "0.1 /lb"), "money/kg"),
    ],
)
def test_spellings_agree(spellings, unit):
    first, *others = (parse(text, unit) for text in spellings)
    assert others == pytest.approx([first] * len(others), rel=1e-14)


@pytest.mark.parametrize(
    ("value", "unit", "said"),
    [
        (16, "m", '16: a bare number; write the unit, for example "16 ft" or "4.9 m"'),
        ("16", "m", "no unit"),
        ("16 lb", "m", "lb is a mass; wanted is a length"),
        ("16 fot", "m", "did you mean 'foot'"),
        ("3 kpa", "Pa", "did you mean 'kPa'"),
        ("4,000,000 lb", "kg", "without commas"),
        ("4,5 m", "m", "without commas"),
        (math.nan, "1", "nan: not a number"),
        (math.inf, "1", "inf: not a number"),
        (10**400, "1", "not a number"),
        ("nan ft", "m", "plain number"),
        ("1e999 ft", "m", "plain number"),
        ("", "m", "plain number"),
        (True, "1", "True"),
        (None, "m", "None"),
        ([16, "ft"], "m", "not a number with a unit"),
        ("5 W/m2 K", "W/(m2 K)", "brackets missing"),
        ("R-0", "W/(m2 K)", "greater than zero"),
        ("5 m**9**9**9**9", "m", "cannot be read"),
        ("5 (m", "m", "cannot be read"),
        ("5 ms", "m", "'ms' is not known"),
        ("5 __import__", "m", "not known"),
        ("5 m\n\n6 m", "m", "cannot be read"),
        ("5 " + "m" * 1000, "m", "plain number"),
    ],
)
def test_bad_text_is_one_clear_line(value, unit, said):
    with pytest.raises(BadInput) as caught:
        parse(value, unit)
    assert said in str(caught.value)
    assert "\n" not in str(caught.value)
    assert len(str(caught.value)) < 300


def outcome(text: str, unit: str) -> float | str:
    try:
        return parse(text, unit)
    except BadInput as error:
        return str(error)


@given(st.text(max_size=30), st.sampled_from(sorted(EXAMPLES)))
def test_any_text_is_read_or_refused(text, unit):
    result = outcome(text, unit)
    assert "\n" not in result if isinstance(result, str) else math.isfinite(result)


@given(
    st.floats(0.01, 1e5),
    st.text("mfth2/()*% degFCKPa1", max_size=12),
    st.sampled_from(sorted(EXAMPLES)),
)
def test_any_unit_text_is_read_or_refused(number, words, unit):
    result = outcome(f"{number} {words}", unit)
    assert "\n" not in result if isinstance(result, str) else math.isfinite(result)


@pytest.mark.parametrize("unit", sorted(EXAMPLES))
def test_the_examples_of_the_messages_can_be_read(unit):
    for sample in EXAMPLES[unit][1:]:
        assert math.isfinite(parse(sample, unit))


@pytest.mark.parametrize("units", ["metric", "us"])
@pytest.mark.parametrize("key", sorted(set(SHOWN) - {"money", "J/kg dry air"}))
@settings(max_examples=15)
@given(value=st.floats(-50, 5000))
def test_what_is_shown_reads_back(key, units, value):
    """The plain factors of printing agree with the definitions of reading."""
    number, label = convert(value, key, units)
    assert label == shown_unit(key, units)
    unit = {"kg/kg": "1", "m3/(s t)": "m3/(s kg)"}.get(key, key.split(" ")[0])
    unit = "W/(m2 K)" if key == "W/(m2 K)" else "m3/(s kg)" if key.startswith("m3/(s") else unit
    back = parse(f"{number!r} {label}".strip(), unit) * (1000 if key == "m3/(s t)" else 1)
    assert back == pytest.approx(value, rel=1e-12, abs=1e-12)


def test_enthalpy_of_dry_air_from_zero_fahrenheit():
    """ASHRAE Fundamentals 2017, ch. 1, table 2 (I-P): dry air 7.687 Btu/lb at 32 °F (from
    memory); here against the real-gas air of CoolProp, 0 °F to 32 °F."""
    from CoolProp.HumidAirProp import HAPropsSI

    cold, freezing = (
        HAPropsSI("H", "T", t, "P", 101325.0, "W", 0.0) for t in (459.67 / 1.8, 273.15)
    )
    assert convert(0.0, "J/kg dry air", "us")[0] == pytest.approx(
        (freezing - cold) / 2326, abs=0.005
    )


def test_show_and_convert():
    assert show(3.3333333, "degC", "us") == "38.0 °F"
    assert show(3.3333333, "degC") == "3.3 °C"
    assert show(-0.0001, "degC") == "0.0 °C"
    assert show(1814369.48, "kg", "us") == "4,000,000 lb"
    assert show(1814369.48, "kg") == "1,814.4 t"
    assert show(1.5, "delta_degC", "us") == "2.70 °F"
    assert show(math.nan, "Pa") == "unknown"
    assert show(0.95, "1 percent") == "95.0%"
    assert show(70337.0, "W refrigeration", "us", digits=2) == "20.00 TR"
    numbers, label = convert([[0.0, math.nan], [10.0, 20.0]], "degC", "us")
    np.testing.assert_allclose(numbers, [[32.0, math.nan], [50.0, 68.0]])
    assert label == "°F"
    with pytest.raises(BadInput, match='did you mean "kg/m3"'):
        show(1.0, "kg/m^3")
    with pytest.raises(BadInput, match='must be "metric" or "us"'):
        show(1.0, "kg", "imperial")


def test_import_and_show_do_without_pint():
    code = (
        "import sys, ventcalc.bay.file, ventcalc.units as u; u.show(1.0, 'm', 'us');"
        "assert 'pint' not in sys.modules; u.parse('1 lb', 'kg'); assert 'pint' in sys.modules"
    )
    subprocess.run([sys.executable, "-c", code], check=True)


@pytest.mark.parametrize(
    ("text", "inches"),
    [
        ("17'", 204.0),
        ("17 ft 6 in", 210.0),
        ("6' 2\"", 74.0),
        ("6′2″", 74.0),
        ("6'-2 1/2\"", 74.5),
        ("3/4 in", 0.75),
        ("8''", 8.0),
        ("12 feet, 3 inches", 147.0),
    ],
)
def test_feet_and_inches_as_carpenters_write_them(text, inches):
    assert parse(text, "m") == pytest.approx(inches * 0.0254, rel=1e-12)
    with pytest.raises(BadInput):
        parse(text, "kg")


@pytest.mark.parametrize("text", ["6' 14\"", "'", "6 2", "6'' 2'", "1/0 in", "6' 2\" 3"])
def test_other_feet_and_inches_are_refused(text):
    with pytest.raises(BadInput):
        parse(text, "m")


def test_tons_of_refrigeration_are_read_as_they_are_printed():
    printed = show(70337.0, "W refrigeration", "us", digits=3)
    assert parse(printed.replace(",", ""), "W") == pytest.approx(70337.0, rel=1e-4)
    assert parse("2 tons of refrigeration", "W") == pytest.approx(2 * 3516.853, rel=1e-6)
    assert show(745.7, "W shaft", "us") == "1.00 hp"
