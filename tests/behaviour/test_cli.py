"""The command line: what it prints, what it refuses and how, what it writes and leaves alone."""

from __future__ import annotations

import csv
import io
import json
import math
import os
import re
import signal
import subprocess
import sys
import time
from dataclasses import fields
from datetime import datetime
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from ventcalc import __version__
from ventcalc.advice.memory_file import memory_from_dict, memory_to_dict
from ventcalc.advice.readings import Memory
from ventcalc.advice.readings_file import readings_from_dict
from ventcalc.bay.file import example_bay, example_bay_path, read_bay
from ventcalc.commands import advise as advise_command
from ventcalc.commands import demo, files
from ventcalc.commands.demo import SCENES
from ventcalc.commands.inputs import weather_for
from ventcalc.commands.main import main
from ventcalc.commands.season import simulate
from ventcalc.errors import BadInput, OutOfRange
from ventcalc.report.season_rows import ROWS
from ventcalc.season.kpi import Kpi
from ventcalc.season.plan import weather_of_season
from ventcalc.season.run import TRACES

EXAMPLES = Path(__file__).parents[2] / "examples"
NIGHT = str(EXAMPLES / "readings_cold_night.json")
COMMANDS = (
    *("advise", "season", "log", "loads", "lots", "diagnose", "fit", "outage"),
    *("outlook", "plan", "stages", "unload", "board", "record", "trial", "air", "new", "page"),
    "demo",
)

ADVICE_KEYS = {
    *("fan_speed", "door_opening", "humidifier", "refrigeration", "heater"),
    *("plenum_temp_c", "plenum_rh", "plenum_dew_point_c", "action", "valid_until", "reasons"),
    *("outside_air", "target_c", "stage", "memory"),
}


@pytest.fixture
def run(capsys):
    """Run the command line in this process: exit status, standard output, standard error."""

    def call(*words):
        status = main([str(word) for word in words])
        out, err = capsys.readouterr()
        return status, out, err

    return call


@pytest.fixture
def refused(run):
    """Problems of a call that must be refused, without the program's name before each."""

    def call(*words):
        status, out, err = run(*words)
        assert (status, out) == (2, "")
        lines = err.splitlines()
        assert lines
        assert all(line.startswith("ventcalc: ") for line in lines)
        return [line.removeprefix("ventcalc: ") for line in lines]

    return call


@pytest.fixture
def short_bay(tmp_path):
    """The seed bay with a season of one month, across the end of summer time."""
    text = example_bay_path().read_text(encoding="utf-8")
    for old, new in (
        ("09-18", "10-20"),
        ('"6 days"', '"2 days"'),
        ('"14 days"', '"5 days"'),
        ("38 degF", "50 degF"),
        ("04-10", "11-12"),
        ("45 degF", "51 degF"),
        ("05-01", "11-16"),
        ('"20 days"', '"3 days"'),
        ('[heater]\ncapacity = "30 kW"\n', ""),
    ):
        assert old in text
        text = text.replace(old, new)
    path = tmp_path / "short.toml"
    path.write_text(text, encoding="utf-8")
    return path


def readings(tmp_path, **changes):
    path = tmp_path / "readings.json"
    path.write_text(json.dumps({**SCENES["cold_night"], **changes}), encoding="utf-8")
    return path


# --- the program -------------------------------------------------------------------------


def test_version(run):
    assert run("--version") == (0, f"ventcalc {__version__}\n", "")


@pytest.mark.parametrize("command", COMMANDS)
def test_help_shows_an_example(run, command):
    status, out, _ = run(command, "--help")
    assert status == 0
    example = out.split("example:\n", 1)[1].strip()
    assert example.startswith(f"ventcalc {command} ")


@pytest.mark.parametrize(
    ("words", "part"),
    [
        ((), "COMMAND"),
        (("advice",), "advice"),
        (("advise",), "BAY"),
        (("advise", "seed_bay"), "--readings"),
        (("advise", "seed_bay", "--readings", NIGHT, "--units", "imperial"), "imperial"),
        (("season", "seed_bay", "--weather", "example", "--policy", "best"), "best"),
        (("season", "seed_bay", "--weather", "example", "--layers", "0"), "4 to 200"),
        (("new", "x.toml", "--use", "starch"), "starch"),
    ],
)
def test_wrong_words_get_one_line_that_names_them_and_the_help(refused, words, part):
    (line,) = refused(*words)
    assert part in line
    assert "--help" in line


def test_interrupt_is_quiet(run, monkeypatch):
    def interrupted(*_):
        raise KeyboardInterrupt

    monkeypatch.setattr(advise_command, "read_text", interrupted)
    assert run("advise", "seed_bay", "--readings", NIGHT) == (130, "", "")


def started(*words, **more):
    return subprocess.Popen(
        [sys.executable, "-m", "ventcalc", *words],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        cwd=EXAMPLES.parent,
        **more,
    )


def test_a_reader_that_has_gone_is_no_error():
    process = started("advise", "seed_bay", "--readings", NIGHT)
    process.stdout.close()
    assert process.wait(30) == 141
    assert process.stderr.read() == b""
    process.stderr.close()


def test_interrupt_while_a_season_runs(tmp_path):
    """
    Well after the imports and well before the end, by the processor time used, however busy or fast
    the machine is: without machine code at hand these layers take ten times as long.
    """
    words = ("season", "seed_bay", "--weather", "example", "--layers", "200")
    process = started(*words, env={**os.environ, "XDG_CACHE_HOME": str(tmp_path)})
    used = 0.0
    while used < 2.0 and process.poll() is None:
        time.sleep(0.05)
        fields = Path(f"/proc/{process.pid}/stat").read_text().rpartition(")")[2].split()
        used = int(fields[11]) / os.sysconf("SC_CLK_TCK")
    process.send_signal(signal.SIGINT)
    out, err = process.communicate(timeout=30)
    assert (process.returncode, out, err) == (130, b"", b"")


def test_workers_end_with_whoever_began_them(tmp_path):
    """Ctrl-C that reaches the first process only, as from a service manager."""
    words = ("trial", "seed_bay", "--weather", "example", "--layers", "200", "--workers", "2")
    process = started(*words, env={**os.environ, "XDG_CACHE_HOME": str(tmp_path)})
    children = Path(f"/proc/{process.pid}/task/{process.pid}/children")
    workers: list[str] = []
    while len(workers) < 2 and process.poll() is None:
        time.sleep(0.05)
        workers = children.read_text().split()
    time.sleep(0.2)
    process.send_signal(signal.SIGINT)
    process.stdout.close()
    process.stderr.close()
    assert process.wait(30) == 130
    ends = time.monotonic() + 10.0
    while any(Path(f"/proc/{worker}").exists() for worker in workers):
        assert time.monotonic() < ends, "a worker goes on alone"
        time.sleep(0.05)


def test_a_terminal_without_the_degree_sign():
    process = started(
        "air", "--temp", "5 degC", "--rh", "90 %", env={**os.environ, "PYTHONIOENCODING": "ascii"}
    )
    out, err = process.communicate(timeout=30)
    assert (process.returncode, err) == (0, b"")
    assert b"5.0 ?C" in out


# --- advise ------------------------------------------------------------------------------


def test_advice_in_words(run):
    status, out, err = run("advise", "seed_bay", "--readings", NIGHT)
    assert (status, err) == (0, "")
    lines = out.splitlines()
    assert lines[0] == "Seed bay (invented), cool down, Tue 27 Oct 2026 04:00 MDT"
    assert "Advice until 05:00 MDT; ask again then:" in lines
    for part in ("Fans", "Fresh-air door", "Humidifier", "Heater", "Plenum expected"):
        assert any(line.strip().startswith(part) for line in lines)
    assert "Why:" in lines
    assert any(" ± " in line for line in lines if "coldest pulp above" in line)
    assert lines[-1].startswith("Caution: ")
    assert "°F" not in out


def test_advice_in_us_units(run):
    _, out, _ = run("advise", "seed_bay", "--readings", NIGHT, "--units", "us")
    assert "°F" in out
    assert "°C" not in out


def test_advice_as_json(run):
    status, out, _ = run("advise", "seed_bay", "--readings", NIGHT, "--json")
    data = json.loads(out, parse_constant=pytest.fail)
    assert status == 0
    assert data.keys() >= ADVICE_KEYS
    outside = data["outside_air"]
    assert outside.keys() == {
        *("verdict", "binding", "cooling_kw", "pile_rate_k_per_h", "fresh_fraction", "margins")
    }
    assert outside["margins"].keys() == {
        *("cold_k", "floor_k", "wetting_k", "wetting_uncertainty_k", "drip_k")
    }
    assert data["action"] == "cool_by_outside"
    assert outside["verdict"] == "allowed"
    assert data["stage"] == "cool_down"
    for key in ("fan_speed", "door_opening", "humidifier", "refrigeration", "heater"):
        assert 0.0 <= data[key] <= 1.0
    # Outside at -1 °C, return at 9.6 °C: supply between them, above the floor and below pulp.
    assert 1.0 < data["plenum_temp_c"] < 9.1
    assert data["plenum_dew_point_c"] < data["plenum_temp_c"]
    assert datetime.fromisoformat(data["valid_until"]) == datetime.fromisoformat(
        "2026-10-27T05:00:00-06:00"
    )
    rate = outside["cooling_kw"] * 3600 / (example_bay().mass * 3.52)
    assert outside["pile_rate_k_per_h"] == pytest.approx(rate, rel=0.03)


@pytest.mark.parametrize("name", SCENES)
def test_examples_are_the_scenes_of_the_demo(name, run):
    path = EXAMPLES / f"readings_{name}.json"
    assert json.loads(path.read_text(encoding="utf-8")) == SCENES[name]
    assert "nvented" in SCENES[name]["note"]
    assert run("advise", "seed_bay", "--readings", path)[0] == 0


def test_readings_from_standard_input_and_in_fahrenheit(run, tmp_path, monkeypatch):
    metric = json.loads(run("advise", "seed_bay", "--readings", NIGHT, "--json")[1])
    scene = dict(SCENES["cold_night"])
    for key in list(scene):
        if key.endswith("_c"):
            value = scene.pop(key)
            if isinstance(value, list):
                value = [32 + 1.8 * x for x in value]
            elif value is not None:
                value = 32 + 1.8 * value
            scene[f"{key[:-2]}_f"] = value
    text = io.TextIOWrapper(io.BytesIO(json.dumps(scene).encode()))
    monkeypatch.setattr(sys, "stdin", text)
    fahrenheit = json.loads(run("advise", "seed_bay", "--readings", "-", "--json")[1])
    assert fahrenheit["plenum_temp_c"] == pytest.approx(metric["plenum_temp_c"], abs=1e-6)
    assert fahrenheit["fan_speed"] == metric["fan_speed"]


def test_pulp_list_is_bottom_to_top():
    scene = {**SCENES["cold_night"], "pulp_temps_c": [5.0, 4.0, 7.5]}
    found = readings_from_dict(scene).readings
    assert (found.pulp_bottom, found.pulp_top, found.pulp_coldest) == (5.0, 7.5, 4.0)
    assert found.pulp_mean == pytest.approx(5.5)


def test_every_problem_of_the_readings_at_once(refused, tmp_path):
    scene = {**SCENES["cold_night"], "outside_rh": 80, "retrun_rh": 0.9, "co2_ppm": "1600"}
    scene |= {"pulp_temps_c": [8.7, "9"], "outside_temp_f": 30, "pressure_pa": 841}
    scene |= {"time": "2026-11-01T01:30:00"}  # the hour that the clocks have twice
    path = tmp_path / "readings.json"
    path.write_text(json.dumps(scene), encoding="utf-8")
    lines = refused("advise", "seed_bay", "--readings", path)
    wanted = (
        ("outside_rh is 80", "percentage"),
        ("retrun_rh", "did you mean return_rh?"),
        ("co2_ppm", "without quotes"),
        ('pulp_temps_c: element 2 is "9"', "without quotes"),
        ("outside_temp_f and outside_temp_c", "keep one"),
        ("pressure_pa is 841", "hPa"),
        ("time is", "offset"),
    )
    for parts in wanted:
        assert any(all(part in line for part in parts) for line in lines), parts
    assert len(lines) == len(wanted)


def test_a_time_without_offset_is_that_of_the_bay(run, tmp_path):
    """The example bay stands in America/Boise: UTC-6 in October."""
    path, said = tmp_path / "readings.json", []
    for moment in ("2026-10-27T04:00:00", "2026-10-27T04:00:00-06:00"):
        path.write_text(json.dumps({**SCENES["cold_night"], "time": moment}), encoding="utf-8")
        said.append(run("advise", "seed_bay", "--readings", path))
    assert said[0] == said[1]
    assert said[0][0] == 0


@pytest.mark.parametrize(
    ("text", "part"),
    [
        ("", "not valid JSON"),
        ("[1, 2]", "one JSON object"),
        ('{"time": NaN}', "write null"),
        ('{"time": 1, "time": 2}', "stands twice"),
        ("[" * 100_000, "JSON"),
        ('{"co2_ppm": ' + "9" * 5000 + "}", "JSON"),
        ('{"time": "2026-10-27T04:00Z", "co2_ppm": 1e999}', "not a number"),
        ('{"time": "2026-10-27T04:00Z", "return_rh": true}', "not a number"),
        ('{"time": "2026-10-27T04:00Z", "pulp_temps_c": []}', "at least one"),
        ('{"time": "2026-10-27T04:00Z", "pulp_temps_c": 3.4}', "write a list"),
        ('{"time": "2026-10-27T04:00Z", "pulp_temps_c": [38]}', "_f"),
        ('{"time": "0001-01-01T00:00:00Z"}', "1970"),
    ],
)
def test_damaged_readings(refused, tmp_path, text, part):
    path = tmp_path / "readings.json"
    path.write_text(text, encoding="utf-8")
    (line,) = refused("advise", "seed_bay", "--readings", path)
    assert part in line


def test_files_that_are_no_files(refused, tmp_path):
    binary = tmp_path / "binary.json"
    binary.write_bytes(b"\xff\xfe\x00")
    assert "no such file" in refused("advise", "seed_bay", "--readings", tmp_path / "none")[0]
    assert "is a folder" in refused("advise", "seed_bay", "--readings", tmp_path)[0]
    assert "UTF-8" in refused("advise", "seed_bay", "--readings", binary)[0]
    assert "ventcalc new" in refused("advise", tmp_path / "bay.toml", "--readings", NIGHT)[0]


def test_without_pulp_the_controller_is_left_alone(run, tmp_path):
    path = readings(tmp_path, pulp_temps_c=None)
    status, out, _ = run("advise", "seed_bay", "--readings", path)
    assert status == 0
    assert "leave it to the controller's own program" in out
    data = json.loads(run("advise", "seed_bay", "--readings", path, "--json")[1])
    assert data["action"] == "hands_off"
    assert data["fan_speed"] is None
    assert data["door_opening"] is None


_value = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(-300, 2000),
    st.floats(allow_nan=True),
    st.text(max_size=5),
    st.lists(st.one_of(st.none(), st.floats(-12, 32)), max_size=3),
)
_temperature = st.one_of(st.none(), st.floats(-20, 30))
_share = st.one_of(st.none(), st.floats(0, 1))
_possible = st.fixed_dictionaries(
    {
        "time": st.datetimes(datetime(1971, 1, 1), datetime(2098, 1, 1)).map(
            lambda t: t.isoformat() + "-07:00"
        ),
        "outside_temp_c": st.one_of(st.none(), st.floats(-50, 55)),
        "outside_rh": _share,
        "return_temp_c": _temperature,
        "return_rh": _share,
        "plenum_temp_c": _temperature,
        "pulp_temps_c": st.lists(st.floats(-10, 30), min_size=1, max_size=4),
        "ceiling_temp_c": _temperature,
        "co2_ppm": st.one_of(st.none(), st.floats(200, 60000)),
        "pressure_pa": st.one_of(st.none(), st.floats(60e3, 110e3)),
    }
)


@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(scene=_possible, bay=st.sampled_from(("seed_bay", "fry_bay")))
def test_any_possible_readings_give_advice_within_the_envelope(run, tmp_path, scene, bay):
    path = readings(tmp_path, **scene)
    status, out, err = run("advise", bay, "--readings", path, "--json")
    if status == 2:  # the moist air of some corner (a vacuum-dry room) is refused in one line
        assert all(line.startswith("ventcalc: ") for line in err.splitlines())
        return
    data = json.loads(out, parse_constant=pytest.fail)
    for key in ("fan_speed", "door_opening", "humidifier", "refrigeration", "heater"):
        assert data[key] is None or -1e-9 <= data[key] <= 1 + 1e-9
    assert data["reasons"]
    assert run("advise", bay, "--readings", path)[0] == 0


@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(changes=st.dictionaries(st.sampled_from((*SCENES["cold_night"], "x")), _value, min_size=1))
def test_no_readings_break_the_program(run, tmp_path, changes):
    status, _, err = run("advise", "seed_bay", "--readings", readings(tmp_path, **changes))
    assert status in (0, 2)
    assert (status == 2) == bool(err)
    assert all(line.startswith("ventcalc: ") for line in err.splitlines())


# --- memory ------------------------------------------------------------------------------


def test_memory_is_written_read_and_changes_the_advice(run, tmp_path):
    memory = tmp_path / "memory.json"
    first = json.loads(
        run("advise", "seed_bay", "--readings", NIGHT, "--memory", memory, "--json")[1]
    )
    assert json.loads(memory.read_text(encoding="utf-8")) == first["memory"]
    assert first["memory"]["fan_on"] is True
    # A pile that has followed: a target waits for one that lags.
    later = readings(tmp_path, time="2026-10-27T05:00:00-06:00", pulp_temps_c=[8.0, 8.2, 8.4])
    second = json.loads(
        run("advise", "seed_bay", "--readings", later, "--memory", memory, "--json")[1]
    )
    assert second["memory"]["fan_since_s"] == first["memory"]["fan_since_s"] + 3600.0
    # The target ramps at 0.5 °F a day from where the memory left it.
    ramp = first["target_c"] - second["target_c"]
    assert ramp == pytest.approx(0.5 / 1.8 / 24, rel=1e-4)


def test_memory_returns_as_it_was():
    memory = Memory(
        time=1.8e9, target=7.5, fan_on=True, freeze_stage=2, since_run=12.5, cooling=True
    )
    assert memory_from_dict(json.loads(json.dumps(memory_to_dict(memory)))) == memory
    assert math.isnan(memory_from_dict({}).target)


@pytest.mark.parametrize(
    ("text", "part"),
    [
        ("{", "not valid JSON"),
        ('{"fan_on": 1}', "true or false"),
        ('{"freeze_stage": 7}', "0 to 3"),
        ('{"fan_since_s": -4}', "fan_since_s"),
        ('{"target_c": 99}', "target_c"),
        ('{"tagret_c": 4}', "did you mean target_c?"),
    ],
)
def test_damaged_memory_is_refused_and_left_alone(refused, tmp_path, text, part):
    memory = tmp_path / "memory.json"
    memory.write_text(text, encoding="utf-8")
    (line,) = refused("advise", "seed_bay", "--readings", NIGHT, "--memory", memory)
    assert part in line
    assert "delete the file" in line
    assert memory.read_text(encoding="utf-8") == text


# --- air ---------------------------------------------------------------------------------


def test_air_of_the_handbook_example(run):
    """ASHRAE Fundamentals (2017), ch. 1, example 1, to the digits it prints (read off a chart)."""
    words = ("air", "--temp", "40 degC", "--wet-bulb", "20 degC", "--json")
    data = json.loads(run(*words)[1])
    assert data["pressure_pa"] == 101325.0
    assert data["humidity_ratio_kg_kg"] == pytest.approx(0.0065, abs=1e-4)
    assert data["dew_point_c"] == pytest.approx(7.0, abs=0.5)
    assert data["rh"] == pytest.approx(0.14, abs=0.005)
    assert data["enthalpy_j_kg"] == pytest.approx(56700, rel=0.003)
    assert data["specific_volume_m3_kg"] == pytest.approx(0.896, abs=0.001)


@pytest.mark.parametrize(
    "pair",
    [
        ("--temp", "--wet-bulb"),
        ("--temp", "--dew-point"),
        ("--temp", "--humidity-ratio"),
        ("--wet-bulb", "--rh"),
        ("--dew-point", "--rh"),
        ("--wet-bulb", "--dew-point"),
        ("--humidity-ratio", "--rh"),
    ],
)
def test_air_from_any_two(run, pair):
    place = ("--altitude", "5000 ft", "--json")
    data = json.loads(run("air", "--temp", "38 degF", "--rh", "90 %", *place)[1])
    given_as = {
        "--temp": f"{data['temp_c']} degC",
        "--rh": str(data["rh"]),
        "--wet-bulb": f"{data['wet_bulb_c']} degC",
        "--dew-point": f"{data['dew_point_c']} degC",
        "--humidity-ratio": f"{1000 * data['humidity_ratio_kg_kg']} g/kg",
    }
    words = [word for option in pair for word in (option, given_as[option])]
    again = json.loads(run("air", *words, *place)[1])
    assert again == pytest.approx(data, rel=1e-4, abs=1e-4)


def test_air_says_its_pressure_aloud(run):
    assert "sea level" in run("air", "--temp", "5 degC", "--rh", "0.9")[1]
    assert "as given" in run("air", "--temp", "5 degC", "--rh", "0.9", "--pressure", "85 kPa")[1]
    out = run("air", "--temp", "-5degC", "--rh", "0.9", "--altitude", "1500 m", "--units", "us")[1]
    assert "4,921 ft" in out
    assert "Frost point" in out
    assert "over ice" in out


def test_air_refuses_all_slips_at_once(refused):
    lines = refused("air", "--temp", "38", "--rh", "95 lb", "--altitude", "9 kg")
    assert [line.split()[0] for line in lines] == ["--temp", "--rh", "--altitude"]
    assert "two of" in refused("air", "--temp", "5 degC")[0]
    assert "percentage" in refused("air", "--temp", "5 degC", "--rh", "95")[0]


# --- new ---------------------------------------------------------------------------------


@pytest.mark.parametrize("units", ["us", "metric"])
@pytest.mark.parametrize("use", ["seed", "table", "fries", "chips"])
def test_new_writes_a_bay_that_can_be_read(run, tmp_path, use, units):
    path = tmp_path / "bay.toml"
    status, out, _ = run("new", path, "--use", use, "--units", units)
    assert (status, read_bay(path).use) == (0, use)
    assert str(path) in out
    height = next(line for line in path.read_text().splitlines() if line.startswith("height"))
    assert (' ft"' in height) == (units == "us")


def test_new_never_overwrites(refused, tmp_path):
    path = tmp_path / "bay.toml"
    path.write_text("mine", encoding="utf-8")
    assert "stays as it is" in refused("new", path)[0]
    assert path.read_text(encoding="utf-8") == "mine"
    assert "make it first" in refused("new", tmp_path / "none" / "bay.toml")[0]


# --- season ------------------------------------------------------------------------------


def test_every_result_is_printed():
    assert {row.field for row in ROWS} >= {field.name for field in fields(Kpi)}
    assert len({row.key for row in ROWS}) == len(ROWS)


def test_season_in_words(run, short_bay):
    words = ("season", short_bay, "--weather", "example", "--layers", "10")
    status, out, err = run(*words)
    assert (status, err) == (0, "")
    assert "20 Oct 2018 to 18 Nov 2018" in out
    for row in ROWS:
        assert row.words in out
    for part in ("Respiration", "Top-to-bottom spread", "Shrink", "Fans ran", "Electricity"):
        assert any(line.startswith(f"  - {part}") for line in out.splitlines())
    assert "Compared with published figures" in out
    us = run(*words, "--units", "us")[1]
    assert "kWh/ton" in us
    assert "°C" not in us.split("Control: advice")[1]  # remarks on the bay name both units


def test_season_as_json_and_csv(run, short_bay, tmp_path):
    target = tmp_path / "hours.csv"
    words = ("season", short_bay, "--weather", "example", "--layers", "10")
    out = run(*words, "--json", "--csv", target)[1]
    data = json.loads(out, parse_constant=pytest.fail)
    assert data["files"] == [str(target)]
    results = data["policies"]["advice"]
    with target.open(encoding="utf-8", newline="") as file:
        hours = list(csv.DictReader(file))
    assert len(hours) == 30 * 24 + 1  # the day that summer time ends has 25 hours
    assert len(hours[0]) == len(TRACES) + 2
    assert hours[0]["time"] == "2018-10-20T00:00:00-06:00"
    assert hours[-1]["time"].endswith("-07:00")
    fan = sum(float(hour["fan_power_w"]) for hour in hours) / 3.6e6 * 3600
    assert results["fan_energy_kwh_t"] == pytest.approx(fan / data["mass_loaded_t"], rel=1e-4)
    running = sum(float(hour["fan_speed"]) > 0 for hour in hours)
    assert results["fan_h"] == running
    assert {hour["stage"] for hour in hours} >= {"filling", "cool_down", "unloading"}
    assert float(hours[-1]["water_loss"]) < 0.1


def test_season_compare(run, short_bay):
    out = run("season", short_bay, "--weather", "example", "--layers", "10", "--compare")[1]
    heading = next(line for line in out.splitlines() if "thermostat" in line)
    methods = re.split("  +", heading.strip())
    assert methods[:3] == ["advice", "thermostat", "clock"]
    # A bay without any air may heat beyond the crop model; then that is said.
    assert ("Left out: no ventilation" in out) != (methods[3] == "no ventilation")
    assert methods[-1] == "shadow price"
    fans = next(line for line in out.splitlines() if "Fan run time" in line)
    hours = [float(word.replace(",", "")) for word in fans.split() if word[0].isdigit()]
    assert len(hours) == len(methods)
    # Eight hours a night while there is crop to blow at.
    assert hours[2] == pytest.approx(30 * 8, abs=10)


def test_season_whose_pile_leaves_the_model(run, short_bay, monkeypatch):
    def hot(bay, weather, name, *how):
        if name != "clock":
            raise OutOfRange("temperature", -5.0, 45.0, 46.0, "", "°C", "")
        return simulate(bay, weather, name, *how)

    monkeypatch.setattr("ventcalc.commands.season.simulate", hot)
    words = ("season", short_bay, "--weather", "example", "--layers", "10")
    status, out, _ = run(*words, "--compare")
    assert status == 0
    assert out.count("Left out: ") == 4
    status, _, err = run(*words, "--policy", "nothing")
    assert (status, err.count("\n")) == (2, 1)


def test_a_year_joined_to_itself_says_so():
    bay = example_bay()
    weather = weather_of_season(bay.schedule, weather_for(bay, "example"))
    assert any("seam" in note for note in weather.notes)
    days = len(weather.time) * weather.step / 86400
    assert 244 < days < 255


def test_season_with_another_start(run, refused, short_bay):
    words = ("season", short_bay, "--weather", "example", "--layers", "10", "--start")
    assert "25 Oct 2018 to" in run(*words, "10-25")[1]
    assert "month-day" in refused(*words, "25 Oct")[0]
    assert refused(*words, "11-14")[0].startswith("--start 11-14: ")


def test_season_refuses_weather_that_is_too_short(refused, short_bay, tmp_path):
    path = tmp_path / "weather.csv"
    rows = [f"2018-10-{day:02d}T{hour:02d}:00Z,5,80" for day in range(15, 25) for hour in range(24)]
    path.write_text("\n".join(["time,outside_temp_c,outside_rh_percent", *rows]), encoding="utf-8")
    (line,) = refused("season", short_bay, "--weather", path)
    assert "cover" in line
    assert "no such file" in refused("season", short_bay, "--weather", tmp_path / "none")[0]


@pytest.mark.parametrize("library", ["jinja2"])
def test_targets_are_looked_at_before_the_work(refused, short_bay, tmp_path, monkeypatch, library):
    monkeypatch.setattr("ventcalc.commands.season.simulate", pytest.fail)
    words = ("season", short_bay, "--weather", "example")
    assert "is not a file" in refused(*words, "--csv", tmp_path)[0]
    assert "no folder" in refused(*words, "--html", tmp_path / "none" / "x.html")[0]
    monkeypatch.setitem(sys.modules, library, None)
    (line,) = refused(*words, "--html", tmp_path / "x.html")
    assert line.startswith(library)
    assert "ventcalc[report]" in line


def test_a_failed_write_leaves_the_old_file(tmp_path, monkeypatch):
    target = tmp_path / "old.csv"
    assert files.write_text(str(target), "first").startswith("Wrote ")

    def full(*_):
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patch:
        patch.setattr(os, "replace", full)
        with pytest.raises(files.BadInput, match="No space left"):
            files.write_text(str(target), "second")
    assert target.read_text(encoding="utf-8") == "first"
    assert list(tmp_path.iterdir()) == [target]
    assert files.write_text(str(target), "third").startswith("Replaced ")
    assert target.read_text(encoding="utf-8") == "third"


# --- demo --------------------------------------------------------------------------------


def test_demo(run, short_bay, tmp_path, monkeypatch):
    bay = read_bay(short_bay)
    monkeypatch.setattr(demo, "example_bay", lambda: bay)
    folder = tmp_path / "demo"
    status, out, err = run("demo", "--out", folder)
    assert (status, err) == (0, "")
    assert "invented" in out.splitlines()[0]
    assert out.count("Advice until") == len(SCENES) == 4
    assert out.count("Caution:") == 1
    report = folder / "ventcalc-demo.html"
    assert f"Open {report} in a browser." in out
    assert (
        report.read_text(encoding="utf-8").count('<article class="panel"><p class="eyebrow">') == 4
    )
    for name in SCENES:
        path = folder / f"readings_{name}.json"
        assert run("advise", folder / "seed_bay.toml", "--readings", path)[0] == 0


def test_nothing_that_ventcalc_did_not_write_is_replaced_without_force(run, refused, tmp_path):
    notes = tmp_path / "notes.html"
    notes.write_text("my own page", encoding="utf-8")
    lines = refused("check", "seed_bay", "--html", notes)
    assert "add --force" in lines[0]
    assert notes.read_text(encoding="utf-8") == "my own page"
    assert run("check", "seed_bay", "--html", notes, "--force")[0] == 0
    assert run("check", "seed_bay", "--html", notes)[1].rstrip().endswith(f"Replaced {notes}")


def test_a_full_disk_is_one_line():
    with open("/dev/full", "wb") as full:
        done = subprocess.run(
            [sys.executable, "-m", "ventcalc", "check", "seed_bay"],
            stdout=full, stderr=subprocess.PIPE, text=True, check=False,
        )  # fmt: skip
    assert done.returncode == 2
    assert done.stderr == "ventcalc: the disk is full; make room and run it again\n"


def test_humidity_may_be_given_in_percent():
    given = {"time": "2027-01-14T06:00:00-07:00", "outside_rh": "95 %", "return_rh": "92.5%"}
    seen = readings_from_dict({**given, "pulp_temps_c": [3.6, None, 4.4]}).readings
    assert seen.outside_relative_humidity == pytest.approx(0.95)
    assert seen.return_relative_humidity == pytest.approx(0.925)
    for wrong in ("105 %", "95", "9 5 %"):
        with pytest.raises(BadInput):
            readings_from_dict({**given, "outside_rh": wrong})


def test_a_memory_that_cannot_be_written_costs_no_advice(run, tmp_path):
    status, out, err = run(
        "advise", "seed_bay", "--readings", NIGHT, "--memory", tmp_path / "gone" / "memory.json"
    )
    assert status == 2
    assert "Advice until" in out
    assert err.count("\n") == 1
