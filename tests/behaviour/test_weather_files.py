"""Weather files: formats, gaps, and one clear line for everything that is wrong."""

from __future__ import annotations

import gzip
from dataclasses import replace
from pathlib import Path
from random import Random

import numpy as np
import pytest

from ventcalc import air
from ventcalc.errors import BadInput, OutOfRange
from ventcalc.weather import (
    design_day,
    dry_bulb_percentiles,
    example_weather,
    local_time,
    read_weather,
    season,
    write_weather_csv,
    zone,
)

DATA = Path(__file__).parent / "data"
EPW = DATA / "denver_two_days.epw"
TMY3 = DATA / "sand_point_two_days_tmy3.csv"
TITLES = "time,outside_temp_c,outside_rh_percent,pressure_hpa"


def plain(tmp_path: Path, *rows: str, titles: str = TITLES, header: str = "") -> Path:
    path = tmp_path / "air.csv"
    path.write_text("\n".join([*header.splitlines(), titles, *rows]) + "\n", encoding="utf-8")
    return path


def hours(count: int, *, skip: tuple[int, ...] = (), values: str = "5,80,850") -> list[str]:
    start = np.datetime64("2025-01-10T00:00")
    return [f"{start + np.timedelta64(h, 'h')}Z,{values}" for h in range(count) if h not in skip]


def problems(path: Path, **options: object) -> tuple[str, ...]:
    with pytest.raises(BadInput) as caught:
        read_weather(path, **options)  # type: ignore[arg-type]
    assert all("\n" not in line for line in caught.value.problems)
    return caught.value.problems


def test_epw_rows_start_an_hour_before_their_stamp() -> None:
    weather = read_weather(EPW)
    # 31 January, hour 1, local standard time UTC-07:00
    assert weather.time[0] == np.datetime64("2001-01-31T07:00")
    assert local_time(weather)[0] == np.datetime64("2001-01-31T00:00")
    assert len(weather.time) == 48
    assert weather.temperature[[0, 24]].tolist() == [-5.6, -6.5]
    assert weather.pressure[0] == 82900
    assert weather.wind_speed[0] == 1.5
    assert weather.time_zone == "UTC-07:00"
    assert (weather.name, weather.step) == ("Denver Intl Ap, CO, USA", 3600)


def test_months_of_different_years_become_one_pseudo_year() -> None:
    for path in (EPW, TMY3):
        weather = read_weather(path)
        assert weather.typical
        assert np.unique(np.diff(weather.time)).tolist() == [np.timedelta64(3600, "s")]
        assert any("pseudo-year 2001" in note for note in weather.notes)


def test_two_real_years_in_an_epw_file_stay_real(tmp_path: Path) -> None:
    head, rows = EPW.read_text().splitlines()[:8], EPW.read_text().splitlines()[8:]
    december = [row.replace("1995,1,31", "1994,12,31", 1) for row in rows[:24]]
    january = [row.replace("1994,2,1", "1995,1,1", 1) for row in rows[24:]]
    path = tmp_path / "real.epw"
    path.write_text("\n".join(head + december + january))
    weather = read_weather(path)
    assert not weather.typical
    assert weather.time[0] == np.datetime64("1994-12-31T07:00")


def test_tmy3_hour_24_is_the_last_step_of_its_day() -> None:
    weather = read_weather(TMY3)
    assert local_time(weather)[23] == np.datetime64("2001-01-31T23:00")
    assert weather.time[0] == np.datetime64("2001-01-31T09:00")
    assert weather.name == "Sand Point, AK"
    assert np.isnan(weather.sky_temperature).all()


def test_missing_codes_of_epw_are_not_values(tmp_path: Path) -> None:
    lines = EPW.read_text().splitlines()
    cells = lines[10].split(",")
    cells[6:10], cells[13], cells[21] = ["99.9", "99.9", "999", "999999"], "9999", "999"
    lines[10] = ",".join(cells)
    path = tmp_path / "holed.epw"
    path.write_text("\n".join(lines))
    weather, whole = read_weather(path), read_weather(EPW)
    assert weather.temperature[2] == pytest.approx(whole.temperature[[1, 3]].mean())
    assert np.isnan([weather.global_radiation[2], weather.wind_speed[2]]).all()
    assert any("1 gap, 1 h in all" in note for note in weather.notes)


def test_fog_in_frost_is_saturated_air_and_no_more(tmp_path: Path) -> None:
    """100 % over water in frost is fog; turned to ice and back it must not leave 1 + 2e-16."""
    lines = EPW.read_text().splitlines()
    for row in range(8, len(lines)):
        cells = lines[row].split(",")
        cells[7], cells[8] = cells[6], "100"
        lines[row] = ",".join(cells)
    path = tmp_path / "fog.epw"
    path.write_text("\n".join(lines))
    weather = read_weather(path)
    assert (weather.temperature < 0.0).any()
    assert (weather.relative_humidity > 1.0 - 1e-9).all()
    assert (weather.relative_humidity <= 1.0).all()
    ratio = air.humidity_ratio(weather.temperature, weather.relative_humidity, weather.pressure)
    np.testing.assert_allclose(ratio, weather.humidity_ratio, rtol=1e-12)


def test_plain_file_in_other_units_says_the_same(tmp_path: Path) -> None:
    metric = read_weather(plain(tmp_path, *hours(4, values="5,80,850")))
    titles = "time,outside_temp_f,outside_rh,pressure_kpa"
    other = read_weather(plain(tmp_path, *hours(4, values="41,0.8,85"), titles=titles))
    assert other.temperature == pytest.approx(metric.temperature, abs=1e-12)
    assert other.humidity_ratio == pytest.approx(metric.humidity_ratio, rel=1e-12)
    assert other.pressure == pytest.approx(np.full(4, 85000.0))


def test_gzip_is_read_and_written(tmp_path: Path) -> None:
    weather = read_weather(plain(tmp_path, *hours(4)))
    write_weather_csv(weather, tmp_path / "air.csv.gz")
    assert gzip.decompress((tmp_path / "air.csv.gz").read_bytes()).startswith(b"# ")
    again = read_weather(tmp_path / "air.csv.gz")
    assert again.temperature.tolist() == weather.temperature.tolist()


def test_written_file_reads_back_the_same(tmp_path: Path) -> None:
    weather = read_weather(EPW, time_zone="America/Denver")
    write_weather_csv(weather, tmp_path / "out.csv", comments=("made for a test",))
    again = read_weather(tmp_path / "out.csv")
    assert again.time.tolist() == weather.time.tolist()
    assert again.temperature == pytest.approx(weather.temperature, abs=0.005)
    assert again.relative_humidity == pytest.approx(weather.relative_humidity, abs=5.1e-5)
    assert again.pressure == pytest.approx(weather.pressure, abs=5)
    assert again.sky_temperature == pytest.approx(weather.sky_temperature, abs=0.005)
    assert (again.time_zone, again.name, again.typical) == ("America/Denver", weather.name, True)
    assert set(weather.notes) <= set(again.notes)


def test_short_gap_is_filled_and_told(tmp_path: Path) -> None:
    weather = read_weather(plain(tmp_path, *hours(10, skip=(4, 5))), time_zone="UTC")
    assert len(weather.time) == 10
    assert weather.notes == (
        "1 gap, 2 h in all, filled with straight lines: 2025-01-10 04:00 UTC (2 h)",
    )


def test_options_in_hours_are_refused(tmp_path: Path) -> None:
    path = plain(tmp_path, *hours(4))
    with pytest.raises(OutOfRange, match="step must lie in 60 to 86400 s"):
        read_weather(path, step=1)
    with pytest.raises(OutOfRange, match="max_gap"):
        read_weather(path, max_gap=-1)


def test_long_gap_is_refused_with_place_length_and_remedy(tmp_path: Path) -> None:
    path = plain(tmp_path, *hours(40, skip=(*range(5, 9), *range(20, 30))))
    (line,) = problems(path, time_zone="America/Denver")
    assert line.startswith("air.csv: gap of 4 h in temperature, humidity ratio, pressure from ")
    assert "2025-01-09 22:00 America/Denver (2 gaps as long)" in line
    assert "at most 3 h" in line
    assert "max_gap" in line
    assert len(read_weather(path, max_gap=10 * 3600).time) == 40


def test_empty_cells_are_gaps(tmp_path: Path) -> None:
    rows = hours(6)
    rows[2] = rows[2].replace("80", "")
    weather = read_weather(plain(tmp_path, *rows))
    assert weather.relative_humidity == pytest.approx(np.full(6, 0.8))
    assert len(weather.notes) == 1


def test_ends_that_cannot_be_filled_are_cut_off(tmp_path: Path) -> None:
    rows = hours(6)
    rows[0] = rows[0].replace(",5,", ",,")
    weather = read_weather(plain(tmp_path, *rows))
    assert len(weather.time) == 5
    assert weather.notes == ("1 incomplete steps cut off at the ends",)


def test_finer_data_are_averaged_unless_told_otherwise(tmp_path: Path) -> None:
    rows = [f"2025-01-10T{m // 60:02d}:{m % 60:02d}Z,{m / 60},80,850" for m in range(0, 360, 15)]
    path = plain(tmp_path, *rows)
    hourly, native = read_weather(path), read_weather(path, step=None)
    assert hourly.temperature == pytest.approx(np.arange(6) + 0.375)
    assert "averaged from 15 min to 60 min steps" in hourly.notes
    assert (len(native.time), native.step) == (24, 900)


def test_pressure_comes_from_the_altitude_when_absent(tmp_path: Path) -> None:
    titles = "time,outside_temp_c,outside_rh_percent"
    path = plain(tmp_path, *hours(3, values="5,80"), titles=titles)
    weather = read_weather(path, altitude=1500)
    # US Standard Atmosphere 1976, geopotential 1500 m: 845.6 hPa
    assert weather.pressure == pytest.approx(np.full(3, 84560.0), rel=1e-3)
    assert any("assumed throughout from the altitude of 1500 m" in n for n in weather.notes)
    header = plain(tmp_path, *hours(3, values="5,80"), titles=titles, header="# altitude_m: 1500")
    assert read_weather(header).pressure.tolist() == weather.pressure.tolist()
    (line,) = problems(plain(tmp_path, *hours(3, values="5,80"), titles=titles))
    assert "there is no pressure" in line


@pytest.mark.parametrize(
    ("values", "said"),
    [
        ("75,80,850", "temperature 75 °C is outside -50 to 60 °C; write °C, or name"),
        ("5,180,850", "relative humidity 1.8 is outside 0 to 1.1; for percent"),
        ("5,-1,850", "relative humidity -0.01 is outside"),
        ("5,0.8,850", "for fractions name the column outside_rh"),
        ("5,80,85", "pressure 8500 Pa is outside 60000 to 110000 Pa; name the column"),
        ("warm,80,850", "outside_temp_c is 'warm', not a number"),
        ("inf,80,850", "temperature inf °C is outside"),
    ],
)
def test_impossible_values_are_named(tmp_path: Path, values: str, said: str) -> None:
    assert any(said in line for line in problems(plain(tmp_path, *hours(4, values=values))))


def test_percent_in_a_fraction_column_gets_the_hint(tmp_path: Path) -> None:
    titles = TITLES.replace("outside_rh_percent", "outside_rh")
    (line,) = problems(plain(tmp_path, *hours(4), titles=titles))
    assert line == (
        "air.csv: line 2 and 3 more: relative humidity 80 is outside 0 to 1.1; "
        "for percent name the column outside_rh_percent"
    )


def test_all_problems_come_together(tmp_path: Path) -> None:
    rows = hours(6)
    rows[1], rows[3] = rows[0], rows[3].replace(",5,", ",99,")
    rows[4] = rows[4].replace("850", "1200")
    lines = problems(plain(tmp_path, *rows))
    assert len(lines) == 3
    assert lines[0].startswith("air.csv: line 3 repeats the time of line 2 ")


def test_unordered_times_are_refused(tmp_path: Path) -> None:
    rows = hours(6)
    rows[2], rows[3] = rows[3], rows[2]
    (line,) = problems(plain(tmp_path, *rows))
    assert "line 5 is earlier than line 4" in line


def test_uneven_steps_are_refused(tmp_path: Path) -> None:
    rows = hours(6)
    rows[3] = rows[3].replace("03:00", "03:25")
    (line,) = problems(plain(tmp_path, *rows))
    assert "do not keep a step of 60 min, first at 2025-01-10T03:25:00 UTC" in line


def test_dew_point_above_the_temperature_is_refused(tmp_path: Path) -> None:
    titles = TITLES.replace("outside_rh_percent", "outside_dew_point_c")
    (line,) = problems(plain(tmp_path, *hours(4, values="5,9,850"), titles=titles))
    assert "dew point 9 °C is above the temperature 5 °C" in line


def test_sea_level_pressure_is_found_out(tmp_path: Path) -> None:
    path = plain(tmp_path, *hours(4, values="5,80,1013"))
    (line,) = problems(path, altitude=1500)
    assert "mean pressure 1,013 hPa does not fit the altitude of 1,500 m" in line


@pytest.mark.parametrize(
    ("titles", "said"),
    [
        ("time,outside_temp,outside_rh", "'outside_temp' looks meant: rename it with its unit"),
        ("time,outside_temp_c,humidity", "no column for humidity; expected outside_rh or "),
        ("date,outside_temp_c,outside_rh", "there is no column time; expected EPW, TMY3, or"),
        ("time,outside_temp_c,outside_temp_f,outside_rh", "say the same thing; keep one"),
        ("time;outside_temp_c;outside_rh", "parted by ';'"),
    ],
)
def test_column_names_are_checked(tmp_path: Path, titles: str, said: str) -> None:
    assert any(said in line for line in problems(plain(tmp_path, *hours(3), titles=titles)))


def test_column_that_is_not_known_is_told(tmp_path: Path) -> None:
    weather = read_weather(plain(tmp_path, *hours(3, values="5,80,850,1"), titles=TITLES + ",x"))
    assert weather.notes == ("columns not used: x",)


def test_time_without_a_zone_is_refused(tmp_path: Path) -> None:
    path = plain(tmp_path, *(row.replace("Z", "") for row in hours(3)))
    (line,) = problems(path)
    assert "has no time zone; add an offset" in line
    weather = read_weather(path, time_zone="UTC-07:00")
    assert weather.time[0] == np.datetime64("2025-01-10T07:00")
    assert local_time(weather)[0] == np.datetime64("2025-01-10T00:00")


def test_times_that_are_no_iso_times_are_refused(tmp_path: Path) -> None:
    (line,) = problems(plain(tmp_path, *hours(2), "10/01/2025 02:00,5,80,850"))
    assert line.startswith("air.csv: line 4: time is '10/01/2025 02:00'; write ISO 8601")


def test_the_hour_that_autumn_repeats(tmp_path: Path) -> None:
    # America/Denver leaves summer time on 2 November 2025 at 02:00
    stamps = ["00:30", "01:00", "01:30", "01:00", "01:30", "02:00"]
    rows = [f"2025-11-02T{stamp},{i},80,850" for i, stamp in enumerate(stamps)]
    path = plain(tmp_path, *rows, header="# time_zone: America/Denver")
    weather = read_weather(path, step=None)
    assert np.diff(weather.time).astype(int).tolist() == [1800] * 5
    assert weather.time[0] == np.datetime64("2025-11-02T06:30")
    assert [str(t)[11:16] for t in local_time(weather)] == stamps


def test_the_hour_that_spring_leaves_out(tmp_path: Path) -> None:
    rows = [f"2025-03-09T0{h}:00,5,80,850" for h in range(5)]
    lines = problems(plain(tmp_path, *rows), time_zone="America/Denver")
    assert "line 4: the clock never showed 2025-03-09T02:00" in lines[0]
    rows.pop(2)
    assert read_weather(plain(tmp_path, *rows), time_zone="America/Denver").notes == ()


def test_unknown_zone_is_refused(tmp_path: Path) -> None:
    (line,) = problems(plain(tmp_path, *hours(3)), time_zone="Colorado")
    assert "time zone 'Colorado' is not known" in line
    with pytest.raises(BadInput, match="not known"):
        zone("../etc")


def test_files_that_are_no_weather(tmp_path: Path) -> None:
    assert "no such file" in problems(tmp_path / "absent.csv")[0]
    assert "is a folder; give" in problems(tmp_path)[0]
    for name, content, said in (
        ("empty.csv", b"", "the file is empty"),
        ("binary.csv", b"\x89PNG\0\0", "not a text file"),
        ("prose.txt", b"Dear reader\nhow are you\n", "there is no column time"),
        ("comments.csv", b"# time_zone: UTC\n", "comment lines only"),
        ("head.csv", TITLES.encode(), "header but no data rows"),
        ("one.csv", (TITLES + "\n" + hours(1)[0]).encode(), "only one row"),
        ("cut.csv.gz", gzip.compress(b"time" * 99)[:15], "cannot be read"),
        (
            "cut.epw",
            EPW.read_bytes().replace(b",0,0,222", b"\n", 1),
            "columns, at least 22 expected",
        ),
        ("bare.epw", b"LOCATION,A\n", "EPW header is not complete"),
    ):
        (tmp_path / name).write_bytes(content)
        assert any(said in line for line in problems(tmp_path / name)), name


def test_slip_in_a_year_is_found(tmp_path: Path) -> None:
    (line,) = problems(plain(tmp_path, *hours(4), hours(1)[0].replace("2025", "9025")))
    assert line == (
        "air.csv: times jump from 2025-01-10T03:00:00 to 9025-01-10T00:00:00 UTC; check the dates"
    )


@pytest.mark.parametrize("seed", range(3))
def test_damaged_files_are_refused_in_plain_words_or_read(tmp_path: Path, seed: int) -> None:
    """No damage may surface as another exception, a warning or a value that is no number."""
    write_weather_csv(read_weather(EPW), tmp_path / "plain.csv")
    sources = [path.read_bytes() for path in (EPW, TMY3, tmp_path / "plain.csv")]
    pieces = (
        b"nan",
        b"inf",
        b"1e400",
        b",",
        b"\n",
        b'"',
        b"-",
        b"24:00",
        b"9999",
        b"#",
        b"\xff",
        b"",
    )
    random = Random(seed)
    refused: tuple[str, ...] = ()
    for _ in range(150):
        content = bytearray(random.choice(sources))
        for _ in range(random.choice((1, 2, 9))):
            place = random.randrange(random.choice((300, len(content))))
            content[place : place + random.choice((0, 1, 40))] = random.choice(pieces)
        path = tmp_path / "damaged"
        path.write_bytes(content)
        try:
            weather = read_weather(path, max_gap=20 * 86400)
        except BadInput as error:
            refused += error.problems
        else:
            assert np.isfinite(weather.humidity_ratio).all()
            assert np.isfinite(weather.relative_humidity).all()
    assert len(refused) > 10
    assert all(line.startswith("damaged: ") for line in refused)


def test_dates_that_do_not_exist_are_refused(tmp_path: Path) -> None:
    path = tmp_path / "wrong.epw"
    path.write_text(EPW.read_text().replace("1995,1,31,3,", "1995,2,31,3,", 1))
    assert any("line 11: no such date or hour" in line for line in problems(path))


def test_example_covers_a_year_and_says_whence() -> None:
    weather = example_weather()
    local = local_time(weather)
    assert len(weather.time) == 8760
    assert str(local[0]) == "2018-01-01T00:00:00"
    assert str(local[-1]) == "2018-12-31T23:00:00"
    assert "National Solar Radiation Database" in weather.source
    assert not weather.typical


def test_season_of_a_real_year_is_wrapped_only_when_asked() -> None:
    weather = example_weather()
    with pytest.raises(BadInput, match="pass wrap=True"):
        season(weather)
    wrapped = season(weather, wrap=True)
    local = local_time(wrapped)
    assert (str(local[0]), str(local[-1])) == ("2018-09-15T00:00:00", "2019-06-14T23:00:00")
    assert "seam at 2019-01-01 00:00 America/Denver is not weather" in wrapped.notes[-1]
    assert "real year" in wrapped.notes[-1]


def test_season_inside_the_data_needs_no_wrapping() -> None:
    spring = season(example_weather(), start="03-01", end="05-01")
    assert (len(spring.time), spring.notes) == (61 * 24 - 1, example_weather().notes)


def test_typical_year_is_wrapped_with_a_note() -> None:
    wrapped = season(replace(example_weather(), typical=True))
    assert "typical year" in wrapped.notes[-1]


@pytest.mark.parametrize("start", ["09/15", "13-01", "02-30", "September"])
def test_season_dates_are_month_and_day(start: str) -> None:
    with pytest.raises(BadInput, match="write month-day such as 09-15"):
        season(example_weather(), start=start)


def test_season_outside_the_data_says_what_is_there() -> None:
    with pytest.raises(BadInput, match=r"for 2\.0 days and does not hold"):
        season(read_weather(EPW))
    with pytest.raises(BadInput, match="choose another year"):
        season(example_weather(), year=2024, wrap=True)


def test_percentiles_and_design_days_check_their_input(tmp_path: Path) -> None:
    weather = read_weather(EPW)
    with pytest.raises(OutOfRange, match="percentiles must lie in 0 to 100"):
        dry_bulb_percentiles(weather, [0.4, 101])
    with pytest.raises(OutOfRange):
        design_day(weather, percentile=-1)
    short = read_weather(plain(tmp_path, *hours(20)))
    with pytest.raises(BadInput, match="at least one whole day"):
        design_day(short, percentile=1)
