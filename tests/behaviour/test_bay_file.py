"""The bay file: what is read, what is refused and how, what is written."""

from __future__ import annotations

import copy
import dataclasses
import math
import tomllib
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ventcalc.bay import checks as bay_checks
from ventcalc.bay import description as storage
from ventcalc.bay.description import USES, Bay
from ventcalc.bay.file import (
    bay_from_dict,
    bay_notes,
    bay_to_toml,
    example_bay,
    example_bay_path,
    read_bay,
    starter_file,
)
from ventcalc.errors import BadInput
from ventcalc.units import parse

EXAMPLES = ("seed_bay", "fry_bay")


@pytest.fixture
def tables():
    """The seed bay as TOML gives it, free to be spoilt."""
    return copy.deepcopy(tomllib.loads(example_bay_path().read_text(encoding="utf-8")))


def problems_of(tables):
    with pytest.raises(BadInput) as caught:
        bay_from_dict(tables)
    problems = caught.value.problems
    assert all("\n" not in line and len(line) < 500 for line in problems)
    return problems


def only_problem_of(tables):
    problems = problems_of(tables)
    assert len(problems) == 1, problems
    return problems[0]


# --- reading -----------------------------------------------------------------------------


def test_seed_bay_is_what_its_file_says():
    """Conversions by hand: 1 ft = 0.3048 m, 1 lb = 0.45359237 kg (NIST SP 811)."""
    bay = example_bay("seed_bay")
    assert bay.pile.capacity == pytest.approx(4.0e6 * 0.45359237, rel=1e-12)
    assert bay.mass == pytest.approx(4.0e6 * 0.45359237, rel=1e-12)
    assert bay.pile.height == pytest.approx(16 * 0.3048, rel=1e-12)
    assert bay.schedule.holding_temperature == pytest.approx(10 / 3, rel=1e-12)
    assert bay.schedule.ramp * 86400 == pytest.approx(0.5 / 1.8, rel=1e-12)
    assert bay.schedule.healing_days == 14 * 86400
    assert bay.refrigeration is None
    assert bay.limits == storage.Limits()


def test_airflow_per_ton_is_of_a_full_pile(tables):
    """2 000 short tons at 20 cfm/ton are 40 000 cfm, also when less is loaded."""
    tables["lots"] = tables["lots"][:1]
    assert bay_from_dict(tables).fans.airflow == pytest.approx(40000 * 0.3048**3 / 60, rel=1e-12)
    tables["fans"]["airflow"] = "40000 cfm"
    assert bay_from_dict(tables).fans.airflow == pytest.approx(40000 * 0.3048**3 / 60, rel=1e-12)


def test_fry_bay_is_refrigerated():
    bay = example_bay("fry_bay")
    assert bay.pile.capacity == pytest.approx(38 * 18 * 4.5 * 650, rel=1e-12)
    assert 30 <= bay.refrigeration.capacity / bay.mass * 1000 <= 40  # W/t
    assert bay.fans.airflow * 3600 == pytest.approx(45 * bay.pile.capacity / 1000, rel=1e-12)


@pytest.mark.parametrize("name", EXAMPLES)
def test_examples_say_that_they_are_invented_and_need_no_remark(name):
    assert "invented" in example_bay_path(name).read_text(encoding="utf-8").splitlines()[0]
    assert "invented" in example_bay(name).name
    assert bay_notes(example_bay(name)) == ()


def test_optional_tables_may_be_absent(tables):
    for name in ("doors", "humidifier", "heater", "costs"):
        del tables[name]
    bay = bay_from_dict(tables)
    assert bay.humidifier is None
    assert bay.doors == storage.Doors()
    assert bay.costs == storage.Costs()


def test_price_in_the_currency_of_the_bay(tables):
    tables["costs"] = {"currency": "EUR", "electricity": "0.2 EUR/kWh", "crop": "180 EUR/t"}
    assert bay_from_dict(tables).costs.crop == pytest.approx(0.18)
    tables["costs"]["crop"] = "180 USD/t"
    assert "costs.crop" in only_problem_of(tables)


def test_dates_get_two_digits(tables):
    tables["schedule"]["unloading_start"] = "5-1"
    assert bay_from_dict(tables).schedule.unloading_start == "05-01"


def test_a_limit_may_be_reached_in_any_unit(tables):
    tables["pile"]["height"] = "26.246719160105 ft"  # 8 m
    del tables["envelope"]["wall_height"]
    assert bay_from_dict(tables).pile.height == pytest.approx(8.0)


# --- many bays at once -------------------------------------------------------------------


# --- refusals ----------------------------------------------------------------------------

ONE_WRONG_VALUE = [
    ("pile", "height", 16, 'pile.height = 16: a bare number; write the unit, for example "16 ft"'),
    ("pile", "height", "16 lb", "lb is a mass; wanted is a length"),
    ("pile", "height", "-16 ft", "must lie in 0.9843 to 26.25 ft (0.3 to 8 m)"),
    ("pile", "height", "60 ft", "must lie in 0.9843 to 26.25 ft (0.3 to 8 m)"),
    ("pile", "height", math.nan, "nan: not a number"),
    ("pile", "height", [16], "not a number with a unit"),
    ("pile", "height", True, "not a number with a unit"),
    ("fans", "count", 2.5, "whole number"),
    ("fans", "count", 0, "must lie in 1 to 100"),
    ("fans", "airflow", "20 cfm/lbs/h", "airflow"),
    ("fans", "efficiency", 80, 'percent? write "80 %" or 0.8'),
    ("limits", "plenum_humidity", 95, 'percent? write "95 %" or 0.95'),
    ("limits", "co2", "25000000 ppm", "must lie in 600 to 30000 ppm"),
    ("lots", "maturity", "ripe", "must be one of mature, immature"),
    ("lots", "loading_temperature", "330 K", "must lie in 28.4 to 95 °F (-2 to 35 °C)"),
    ("lots", "mass", "4 MT", "write t or tonne, 1000 kg"),
    ("lots", "mass", "2000 tonn", "ton or short_ton is 2000 lb, t or tonne 1000 kg, long_ton"),
    ("schedule", "fill_start", "18-09", 'not a date; write month-day, for example "09-18"'),
    ("schedule", "fill_start", "02-30", "not a date"),
    ("schedule", "fill_start", "Sept 18", "not a date"),
    ("schedule", "fill_start", 918, "must be a text in quotes"),
    ("schedule", "holding_temperature", "38 ft", "ft is a length; wanted is a temperature"),
    ("schedule", "ramp", "0.5 degF", "wanted is a rate of temperature"),
    ("site", "time_zone", "Mountain", "not a time zone's IANA name"),
    ("site", "time_zone", "../../etc/hosts", "not a time zone's IANA name"),
    ("site", "time_zone", "America", "not a time zone's IANA name"),
    ("bay", "use", "starch", "must be one of seed, table, fries, chips"),
    ("bay", "name", "", "write name of the bay, in quotes"),
    ("bay", "name", 7, "not a text"),
    ("pile", "hieght", "16 ft", "pile.hieght: not a key here; did you mean pile.height?"),
    ("limits", "humidity", "95 %", "did you mean limits.plenum_humidity?"),
]


@pytest.mark.parametrize(("table", "key", "value", "said"), ONE_WRONG_VALUE)
def test_one_wrong_value_is_one_clear_line(tables, table, key, value, said):
    part = tables.setdefault(table, {})
    (part[0] if isinstance(part, list) else part)[key] = value
    line = only_problem_of(tables)
    assert said in line
    assert line.startswith((f"{table}.{key}", f"{table}[1].{key}"))


def test_all_problems_are_told_at_once(tables):
    tables["pile"]["height"] = 16
    tables["pile"]["widht"] = "50 ft"
    del tables["pile"]["width"]
    tables["lots"][1]["mass"] = "-1 lb"
    tables["schedule"]["fill_start"] = "autumn"
    tables["fan"] = {}
    del tables["envelope"]
    problems = problems_of(tables)
    for start in (
        "fan: not a table here; did you mean fans?",
        "pile.height = 16",
        "pile.widht: not a key here; did you mean pile.width?",
        'pile.width: missing; width of the pile floor, for example width = "50 ft"',
        'lots[2].mass = "-1 lb"',
        "schedule.fill_start",
        "envelope: missing",
    ):
        assert sum(line.startswith(start) for line in problems) == 1, (start, problems)
    assert len(problems) == 7


@pytest.mark.parametrize(
    ("name", "value"),
    [("pile", 3), ("pile", [1]), ("lots", {}), ("lots", []), ("lots", [3]), ("bay", "x")],
)
def test_a_table_of_the_wrong_kind(tables, name, value):
    tables[name] = value
    assert name in only_problem_of(tables)


def test_an_empty_mapping_names_every_missing_table():
    text = "\n".join(problems_of({}))
    for name in ("bay", "site", "pile", "lots", "fans", "envelope", "schedule"):
        assert name in text


def test_lots_of_one_name(tables):
    tables["lots"][1]["name"] = tables["lots"][0]["name"]
    assert 'two lots are named "Lot A"' in only_problem_of(tables)


# --- contradictions ----------------------------------------------------------------------

CONTRADICTIONS = [
    ({"limits": {"plenum_floor": "38 degF"}}, "so the pile could never be cooled to it"),
    ({"limits": {"plenum_floor": "-0.5 degC"}}, "may freeze tubers"),
    ({"sensors": {"temperature": "1 K"}}, "may freeze tubers"),
    ({"control": {"stop_above": "0.5 K"}}, "stop_above: must be less than start_above"),
    ({"control": {"circulate_for": "9 hours"}}, "must be less than circulate_every"),
    ({"doors": {"leakage_fraction": 0.2, "largest_fraction": 0.1}}, "largest_fraction"),
    ({"schedule": {"healing_temperature": "41 degF", "holding_temperature": "42 degF"}}, "below"),
    ({"schedule": {"warm_up_temperature": "36 degF"}}, "is below holding_temperature"),
    ({"schedule": {"warm_up_start": "11-01"}}, "before the pile can reach holding_temperature on"),
    ({"schedule": {"ramp": "0.05 degF/day"}}, "before the pile can reach holding_temperature on"),
    ({"schedule": {"unloading_start": "04-01"}}, "unload later or warm up sooner"),
    ({"schedule": {"unloading_start": "08-20", "unloading_days": "60 days"}}, "next fill"),
    # 6 250 ft2 of floor, 350 ft of walls 20 ft high: square feet told as square metres, and so on
    ({"envelope": {"ceiling_area": "6250 m2"}}, "cannot be the ceiling over a pile floor of 580.6"),
    ({"envelope": {"ceiling_area": "580 ft2"}}, "cannot be the ceiling"),
    ({"envelope": {"wall_area": "7000 m2"}}, "four walls are about 650.3 m² (7,000 ft²)"),
    ({"envelope": {"headspace_volume": "37500 m3"}}, "would stand 64.58 m (211.9 ft) high"),
    ({"ducts": {"plenum_height": "24 ft"}}, "is more than the 6.71 m (22.0 ft) from floor to roof"),
]


@pytest.mark.parametrize(("changes", "said"), CONTRADICTIONS)
def test_contradiction(tables, changes, said):
    for name, keys in changes.items():
        tables.setdefault(name, {}).update(keys)
    assert said in only_problem_of(tables)


def test_too_much_crop_says_how_high_it_would_stand(tables):
    """4.2 million lb on 6 250 ft2 at 40 lb/ft3 stand 16.8 ft or 5.1206 m high, rounded up."""
    tables["lots"][0]["mass"] = "1.7e6 lb"
    line = only_problem_of(tables)
    for part in ("1,905.1 t", "4,200,000 lb", "1,814.4 t", "4,000,000 lb", "5.13 m (16.8 ft)"):
        assert part in line


def test_what_cannot_be_is_told_in_the_first_round(tables):
    """Beside values that could not be read, with nothing said of what hangs on them."""
    tables["lots"][0]["mass"] = "1.7e6 lb"
    tables["schedule"]["warm_up_start"] = "11-01"
    tables["fans"]["airflow"] = "many"
    tables["envelope"]["ceiling_u"] = "thick"
    tables["envelope"]["wall_height"] = "3 ft"
    said = "\n".join(problems_of(tables))
    for part in ("fans.airflow", "ceiling_u", "do not fit a full pile", "before the pile can"):
        assert part in said
    assert "wall_height" not in said


def test_what_reads_alike_is_not_told_to_be_less(tables):
    tables["pile"]["height"] = "20.0001 ft"
    tables["envelope"]["headspace_volume"] = "37500 ft3"
    assert not [line for line in bay_notes(bay_from_dict(tables)) if "wall_height" in line]
    tables["pile"]["height"] = "20.1 ft"
    assert "6.10 m (20.0 ft) is below pile.height 6.13 m (20.1 ft)" in only_problem_of(tables)


def test_calendar_counts_the_days_of_the_cool_down(tables):
    """6 + 14 days from 18 September, then 17 °F at 0.5 °F/day = 34 days: 11 November."""
    tables["schedule"]["warm_up_start"] = "11-12"
    bay_from_dict(tables)
    tables["schedule"]["warm_up_start"] = "11-10"
    assert "on 11-11" in only_problem_of(tables)


# --- remarks -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"bay": {"use": "chips"}}, "holding_temperature for chips"),
        ({"schedule": {"ramp": "1 degF/day"}}, "faster than the usual"),
        (
            {"schedule": {"healing_days": "4 days"}},
            "4.0 days is outside the usual 7.0 days to 21.0 days",
        ),
        ({"schedule": {"healing_temperature": "65 degF"}}, "healing_temperature"),
        ({"fans": {"airflow": "45 cfm/ton"}}, "10.0 cfm/ton"),
        ({"fans": {"static_pressure": "1.5 inH2O"}}, "the fan curve gives 249 Pa (1.00 inH2O)"),
        ({"pile": {"height": "20 ft"}, "fans": {"airflow": "40000 cfm"}}, "pressure bruise"),
        ({"pile": {"bulk_density": "45 lb/ft3"}}, "bulk_density"),
        ({"limits": {"plenum_floor": "33 degF"}}, "freezing point"),
        ({"envelope": {"ceiling_u": "R-15"}}, "Q-6313"),
        ({"envelope": {"ceiling_area": "500 m2"}}, "less than the pile floor"),
        ({"envelope": {"ceiling_area": "12500 ft2"}}, "is 2.0 times the pile floor"),
        ({"envelope": {"wall_area": "14000 ft2"}}, "is 2.0 times the 650.3 m² (7,000 ft²) of four"),
        ({"envelope": {"headspace_volume": "20000 ft3"}}, "less than the 708 m³ (25,000 ft³) bet"),
        ({"envelope": {"headspace_volume": "150000 ft3"}}, "stands 7.32 m (24.0 ft) high on"),
    ],
)
def test_remark(tables, changes, said):
    for name, keys in changes.items():
        tables.setdefault(name, {}).update(keys)
    notes = bay_notes(bay_from_dict(tables))
    assert len(notes) == 1, notes
    assert said in notes[0]


def test_warm_loads_are_remarked(tables):
    tables["lots"][0]["loading_temperature"] = "70 degF"
    assert "21.1 °C (70.0 °F)" in bay_notes(bay_from_dict(tables))[0]


# --- files -------------------------------------------------------------------------------


def refusal(path):
    with pytest.raises(BadInput) as caught:
        read_bay(path)
    assert "\n" not in str(caught.value)
    return str(caught.value)


def test_broken_toml_names_the_line(tmp_path):
    path = tmp_path / "bay.toml"
    path.write_text('[bay]\nname = "x"\nuse = seed\n', encoding="utf-8")
    assert "line 3" in refusal(path)
    assert refusal(path).startswith("bay.toml: ")


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"\xff\xfe[\x00b\x00", "UTF-8"),
        (b"\x7fELF\x00\x01\x02", "not a text file"),
        (b"a = " + b"9" * 6000, "not valid TOML"),
        (b"a = " + b"[" * 100000, "not valid TOML"),
        (b"a = 1\na = 2", "not valid TOML"),
    ],
)
def test_what_is_not_a_bay_file(tmp_path, content, said):
    path = tmp_path / "bay.toml"
    path.write_bytes(content)
    assert said in refusal(path)


def test_missing_file_and_directory(tmp_path):
    assert "no such file" in refusal(tmp_path / "none.toml")
    assert "is a folder" in refusal(tmp_path)


def test_every_line_names_the_file(tmp_path):
    path = tmp_path / "north.toml"
    path.write_text('[bay]\nname = "N"\nuse = "seed"\n', encoding="utf-8")
    with pytest.raises(BadInput) as caught:
        read_bay(path)
    assert len(caught.value.problems) == 6
    assert all(line.startswith("north.toml: ") for line in caught.value.problems)


def test_windows_line_ends_and_byte_order_mark(tmp_path):
    path = tmp_path / "bay.toml"
    text = example_bay_path().read_text(encoding="utf-8").replace("\n", "\r\n")
    path.write_bytes(b"\xef\xbb\xbf" + text.encode())
    assert read_bay(path) == example_bay()


def test_unknown_example_and_starter():
    with pytest.raises(BadInput, match="seed_bay, fry_bay"):
        example_bay("my_bay")
    with pytest.raises(BadInput, match="seed, table, fries, chips"):
        starter_file("starch")
    with pytest.raises(BadInput, match='"us" or "metric"'):
        starter_file("seed", "imperial")


# --- writing -----------------------------------------------------------------------------


def close(one, other):
    """The same bay, but for the last digits of a number."""
    if dataclasses.is_dataclass(one):
        return type(one) is type(other) and all(
            close(getattr(one, f.name), getattr(other, f.name)) for f in dataclasses.fields(one)
        )
    if isinstance(one, tuple):
        return len(one) == len(other) and all(map(close, one, other))
    if isinstance(one, float):
        return math.isclose(one, other, rel_tol=1e-12)
    return one == other


@pytest.mark.parametrize("units", ["us", "metric"])
@pytest.mark.parametrize("name", EXAMPLES)
def test_what_is_written_reads_back(name, units):
    bay = example_bay(name)
    bay = replace(bay, name='North "7" \\ \x7f\t°', notes="two\nlines")
    again = bay_from_dict(tomllib.loads(bay_to_toml(bay, units)))
    assert close(again, bay)
    assert bay_notes(again) == ()


@pytest.mark.parametrize("units", ["us", "metric"])
@pytest.mark.parametrize("use", USES)
def test_starter_file_is_sound_and_usual(tmp_path, use, units):
    path = tmp_path / "my_bay.toml"
    path.write_text(starter_file(use, units), encoding="utf-8")
    bay = read_bay(path)
    assert bay.use == use
    assert bay_notes(bay) == ()
    assert bay_checks.contradictions(bay) == ()


def test_starter_file_offers_what_is_switched_off():
    text = starter_file("seed", "us")
    assert 'roughness = "1 mm"' in text  # no 0.03937007874016 inch
    first = text.index("# [refrigeration]")
    block = "\n".join(
        line.removeprefix("# ") for line in text[first:].split("\n\n")[0].splitlines()
    )
    tables = tomllib.loads(text) | tomllib.loads(block)
    assert bay_from_dict(tables).refrigeration.capacity == pytest.approx(40 * 3516.853, rel=1e-6)


def all_fields():
    classes = [c for c in map(vars(storage).get, storage.__all__) if dataclasses.is_dataclass(c)]
    for cls in classes:
        for field in dataclasses.fields(cls):
            if "unit" in field.metadata:
                yield pytest.param(field, id=f"{cls.__name__}.{field.name}")


@pytest.mark.parametrize("field", list(all_fields()))
def test_every_key_is_explained_and_its_example_and_default_are_allowed(field):
    meta = field.metadata
    assert meta["about"]
    assert meta["like"]
    if meta["unit"] in ("text", "date", "zone"):
        assert not meta["choices"] or meta["like"] in meta["choices"]
        return
    number = float(meta["like"]) if meta["unit"] == "1" and " " not in meta["like"] else None
    units = (meta["unit"],) if not meta["also"] else (meta["also"],)
    value = parse(meta["like"], units[0]) if number is None else number
    if units[0] == meta["unit"]:
        assert meta["low"] <= value <= meta["high"]
    if field.default not in (dataclasses.MISSING, None):
        assert meta["low"] <= field.default <= meta["high"]


QUANTITIES = sorted(
    {
        (table.name, field.name)
        for table in dataclasses.fields(Bay)
        if dataclasses.is_dataclass(getattr(example_bay("fry_bay"), table.name))
        for field in dataclasses.fields(getattr(example_bay("fry_bay"), table.name))
        if field.type == "float"
    }
)


@settings(max_examples=20)
@given(data=st.data(), units=st.sampled_from(["us", "metric"]))
def test_any_allowed_numbers_survive_writing(data, units):
    bay, drawn = example_bay("fry_bay"), {}
    for table, key in QUANTITIES:
        part = getattr(bay, table)
        meta = next(f.metadata for f in dataclasses.fields(part) if f.name == key)
        value = data.draw(st.floats(meta["low"], meta["high"], allow_subnormal=False), label=key)
        bay = replace(bay, **{table: replace(part, **{key: value})})
        drawn[table, key] = value, meta["unit"]
    written = tomllib.loads(bay_to_toml(bay, units))
    for (table, key), (value, unit) in drawn.items():
        text = written[table][key]
        back = text if isinstance(text, int | float) else parse(text, unit)
        near = pytest.approx(value, rel=1e-12, abs=1e-12 if "degC" in unit else 1e-300)
        assert back == near, (table, key)
