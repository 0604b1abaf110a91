"""The season folder: what is written stays, what cannot be true is told with its row."""

from __future__ import annotations

import json
import multiprocessing
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from ventcalc.bay.file import example_bay, example_bay_path
from ventcalc.commands.main import main
from ventcalc.logbook.airflows import measured_air
from ventcalc.logbook.folder import read_logbook, season_folder
from ventcalc.logbook.writing import add_lines

ZONE = ZoneInfo("America/Denver")
LOAD = ("lot=Lot A", "gross=84000 lb", "tare=24000 lb", "pulp=58 degF")
HEAD = "line,time,who,lot,gross_lb,tare_lb,pulp_temp_f,ticket,corrects,late"


def at(text: str) -> float:
    return datetime.fromisoformat(text).replace(tzinfo=ZONE).timestamp()


@pytest.fixture
def bay(tmp_path):
    """The seed bay's file in a folder of its own."""
    path = tmp_path / "north.toml"
    path.write_text(example_bay_path().read_text(encoding="utf-8"), encoding="utf-8")
    return path


@pytest.fixture
def run(capsys):
    def call(*words):
        status = main([str(word) for word in words])
        out, err = capsys.readouterr()
        return status, out, err.replace("ventcalc: ", "")

    return call


@pytest.fixture
def loads(bay):
    """Write ``loads.csv`` from its rows, give its text back."""
    path = bay.with_suffix(".season") / "loads.csv"
    path.parent.mkdir()

    def write(*rows, head=HEAD):
        path.write_text("\n".join([head, *rows]) + "\n", encoding="utf-8")
        return path

    return write


def told(run, bay, kind="loads"):
    status, out, err = run("log", bay, kind, "--json")
    assert (status, err) == (0, "")
    return json.loads(out)[kind]


# --- writing -----------------------------------------------------------------------------


def test_the_folder_is_named_after_the_bay_file():
    assert season_folder("farm/north.toml") == Path("farm/north.season")
    assert season_folder("seed_bay") == Path("seed_bay.season")


def test_a_line_is_written_and_read_back_in_the_units_of_the_file(run, bay):
    status, out, _ = run("log", bay, "loads", *LOAD, "time=2024-09-18 07:30", "--units", "us")
    path = bay.with_suffix(".season") / "loads.csv"
    assert (status, out) == (0, f"Wrote line 1 of {path}\nTaken\n")
    head, row = path.read_text(encoding="utf-8").splitlines()
    cells = dict(zip(head.split(","), row.split(","), strict=True))
    assert cells["time"] == "2024-09-18T07:30:00-06:00"
    assert (cells["gross_lb"], cells["tare_lb"], cells["pulp_temp_f"]) == ("84000", "24000", "58")
    (load,) = told(run, bay)
    assert load["gross_kg"] == pytest.approx(84000 * 0.45359237)
    assert load["pulp_temp_c"] == pytest.approx((58 - 32) / 1.8)


def test_a_later_line_keeps_to_the_heading_that_is_there(run, bay, loads):
    """Also to the delimiter and the decimal comma of a spreadsheet, and to a last line torn off."""
    path = loads(head="time;lot;gross_t;tare_t;own remark;line")
    path.write_text(path.read_text() + "2024-09-18 07:00;Lot A;38,1;10,9;dusty;7", encoding="utf-8")
    run("log", bay, "loads", "lot=Lot A", "gross=38250 kg", "tare=10.9 t", "time=2024-09-18 08:00")
    rows = path.read_text().splitlines()
    assert rows[1] == "2024-09-18 07:00;Lot A;38,1;10,9;dusty;7"
    assert rows[2] == "2024-09-18T08:00:00-06:00;Lot A;38,25;10,9;;8"
    assert [load["gross_kg"] for load in told(run, bay)] == [38100.0, 38250.0]


def test_what_the_heading_has_no_column_for_is_not_lost_in_silence(run, bay, loads):
    path = loads(head="time,lot,gross_lb,tare_lb")
    before = path.read_bytes()
    status, _, err = run("log", bay, "loads", *LOAD)
    assert status == 2
    assert "has no column for pulp; add it to its heading" in err
    assert path.read_bytes() == before


def test_a_correction_leaves_the_old_line_and_counts_instead(run, bay, loads):
    path = loads(
        "1,2024-09-18 07:00,sam,Lot A,84000,24000,58,,,",
        "2,2024-09-18 07:08,sam,Lot A,83000,24000,57,,,",
    )
    before = path.read_text()
    assert run("log", bay, "loads", "corrects=1", "gross=85000 lb")[0] == 0
    assert path.read_text().startswith(before)
    first, _ = told(run, bay)
    assert first["gross_kg"] == pytest.approx(85000 * 0.45359237)
    assert (first["tare_kg"], first["row"]) == (pytest.approx(24000 * 0.45359237), 2)
    assert run("log", bay, "loads", "corrects=3", "pulp=59 degF")[0] == 0, "a correction, corrected"
    assert told(run, bay)[0]["pulp_temp_c"] == pytest.approx(15.0)
    assert run("log", bay, "loads", "corrects=1")[0] == 0
    assert [load["line"] for load in told(run, bay)] == ["2"], "with nothing else it is struck out"
    status, _, err = run("log", bay, "loads", "corrects=1", "gross=84000 lb")
    assert (status, err) == (2, "corrects line 1, which was struck out; write it as a new line\n")
    assert len(path.read_text().splitlines()) == 6


def _writer(folder: Path, lot: str) -> None:
    bay = example_bay("seed_bay")
    for k in range(15):
        line = {"lot": lot, "what": "pulp", "time": 1.79e9 + k}
        add_lines(folder, bay, "observations", [line | {"late": "yes"}], written=1.79e9)


def test_two_programs_at_once_lose_no_line(tmp_path):
    folder = tmp_path / "north.season"
    writers = [
        multiprocessing.get_context("spawn").Process(target=_writer, args=(folder, lot))
        for lot in ("Lot A", "Lot B")
    ]
    for writer in writers:
        writer.start()
    for writer in writers:
        writer.join()
        assert writer.exitcode == 0
    lines = read_logbook(folder, example_bay("seed_bay")).lines("observations")
    assert sorted(int(line.number) for line in lines) == list(range(1, 31))
    assert [line.entry.lot for line in lines].count("Lot A") == 15


# --- refusing ----------------------------------------------------------------------------

GOOD = "1,2024-09-18 07:00,sam,Lot A,84000,24000,58,501,,"


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        (
            [GOOD, "2,2024-09-17 07:08,sam,Lot A,83000,24000,58,,,"],
            "row 3: time 2024-09-17 07:08 runs backwards, it follows 2024-09-18 07:00 (row 2)",
        ),
        (
            [
                "1,2025-09-18 07:00,sam,Lot A,84000,24000,58,,,",
                "2,2024-09-18 07:08,sam,Lot A,83000,24000,58,,,",
                "3,2024-09-18 07:16,sam,Lot A,83000,24000,58,,,",
            ],
            "row 2: time 2025-09-18 07:00 is ahead of 2024-09-18 07:08 (row 3) below it",
        ),
        ([GOOD, GOOD.replace("1,", "2,", 1).replace("501", "")], None),
        ([GOOD, GOOD.replace("1,", "2,", 1)], "row 3: the same stands in row 2 already"),
        (
            [GOOD, "2,2024-09-18 07:08,sam,Lot A,83000,24000,58,501,,"],
            "row 3: ticket 501 stands in row 2 already",
        ),
        ([GOOD, GOOD.replace("Lot A", "Lot a")], "line 1 stands twice (row 2)"),
        (
            [GOOD, "2,2024-09-18 07:08,sam,Lot a,83000,24000,58,,,"],
            'row 3: lot "Lot a" is not known; did you mean "Lot A"?',
        ),
        (
            ["1,2024-09-18 07:00,sam,Lot A,24000,84000,58,,,"],
            "row 2: tare 38,102 kg (84,000 lb) is not below gross 10,886 kg (24,000 lb)",
        ),
        (["1,2024-09-18 07:00,sam,Lot A,840000,24000,58,,,"], 'gross_lb "840000": must lie in'),
        (["1,2024-09-18 07:00,sam,Lot A,84000,24000,14 C,,,"], 'pulp_temp_f "14 C": not a number'),
        (["1,18 Sept,sam,Lot A,84000,24000,58,,,"], 'time "18 Sept": not a time; write'),
        (["1,2025-03-09 02:30,sam,Lot A,84000,24000,58,,,"], "the clock skipped this hour"),
        (["1,2024-09-18 07:00,sam,,84000,24000,58,,,"], "row 2: no lot; write it"),
        (["1,2024-09-18 07:00,sam,Lot A,84000,24000,58,,9,"], "corrects line 9, which is not"),
    ],
)  # fmt: skip
def test_nonsense_gets_one_line_with_its_row_and_stays_in_the_file(run, bay, loads, rows, words):
    path = loads(*rows)
    before = path.read_bytes()
    status, out, err = run("log", bay)
    if words is None:  # an entry without ticket that differs in nothing else is another load
        assert status == 0
        return
    assert (status, out) == (2, "")
    problem, way_out = err.splitlines()
    assert problem.startswith("loads.csv row ")
    assert words in problem
    assert "--skip-bad" in way_out
    assert path.read_bytes() == before
    status, out, err = run("log", bay, "--skip-bad")
    assert (status, err) == (0, "")
    assert f"Left out: {problem}" in out


def test_thousands_of_bad_rows_are_not_thousands_of_lines(run, bay, loads, tmp_path):
    """The first 20 and how many more; every one is to be had, of the season and of an import."""
    rows = [f"{k},2026-09-18 09:{k % 60:02},me,Lot A,84000,24000,58x,,," for k in range(1, 1001)]
    text = loads(*rows).read_text(encoding="utf-8")
    every = [f"loads.csv row {k + 1}: " for k in range(1, 1001)]
    status, _, err = run("loads", bay)
    *first, more, way_out = err.splitlines()
    assert (status, len(first)) == (2, 20)
    assert all(line.startswith(row) for line, row in zip(first, every[:20], strict=True))
    assert more.startswith("and 980 more: ")
    assert "--skip-bad" in way_out
    found = json.loads(run("log", bay, "--skip-bad", "--json")[1])["problems"]
    assert all(line.startswith(row) for line, row in zip(found, every, strict=True))
    other = tmp_path / "scale.csv"
    other.write_text(text, encoding="utf-8")
    assert len(run("log", bay, "loads", "--import", other)[2].splitlines()) == 21
    assert len(run("log", bay, "loads", "--import", other, "--all")[2].splitlines()) == 1000


def test_late_lines_may_be_told_late(run, bay, loads):
    loads(GOOD, "2,2024-09-17 07:08,sam,Lot A,83000,24000,58,,,yes")
    assert len(told(run, bay)) == 2
    status, _, err = run("log", bay, "loads", *LOAD, "time=2024-09-16 07:00")
    assert status == 2
    assert err.startswith("time 2024-09-16 07:00 runs backwards, it follows 2024-09-18 07:00")
    assert run("log", bay, "loads", *LOAD, "time=2024-09-16 07:00", "late=yes")[0] == 0


def season_of(days, trucks):
    """Loads of 60 100 lb, some a day."""
    return [
        f"{100 * d + k},2024-09-{18 + d} {7 + k // 6:02}:{k % 6}0,sam,Lot A,84100,24000,58,,,"
        for d in range(days)
        for k in range(trucks)
    ]


def test_a_bay_filled_twice_is_found_where_it_begins(run, bay, loads):
    loads(*season_of(2, 40))  # 80 loads make 4.8 million lb, the bay holds 4.0 million
    status, _, err = run("log", bay)
    assert status == 2
    # 5 % over 4.0 million lb is passed with the 70th load; row 1 is the heading
    assert err.splitlines()[0].startswith("loads.csv row 71: from here on the bay would hold")


def test_a_bay_emptied_and_filled_again_needs_a_new_folder(run, bay, loads):
    path = loads(*season_of(1, 50))
    rows = [r.replace("2024-09-18", "2024-09-20") for r in season_of(1, 50)]
    path.with_name("weights_out.csv").write_text(
        "\n".join([HEAD.replace(",ticket", ""), *[r.replace(",,,", ",,") for r in rows]]) + "\n"
    )
    assert run("log", bay)[0] == 0
    loads(*season_of(1, 50), "999,2024-09-21 07:00,sam,Lot A,84000,24000,58,,,")
    _, _, err = run("log", bay)
    assert err.startswith("loads.csv row 52: the bay was emptied before this load")


def test_more_cannot_leave_than_came(run, bay, loads):
    loads(GOOD)
    out = ("lot=Lot A", "gross=84000 lb", "tare=22000 lb", "time=2024-10-18 07:00")
    status, _, err = run("log", bay, "weights_out", *out)
    assert status == 2
    assert "left, and only 27,216 kg (60,000 lb) came in; wrong lot, or a load not" in err
    assert not (bay.with_suffix(".season") / "weights_out.csv").exists()


@pytest.mark.parametrize(
    ("words", "part"),
    [
        (("load", *LOAD), "did you mean loads?"),
        (("loads", "gros=84000 lb"), "gros: loads have no such key; did you mean gross?"),
        (("loads", "lot=Lot A", "gross=84000", "tare=24000 lb"), 'gross "84000": no unit'),
        (("loads", "lot=Lot A", "gross=84000 lb"), "no tare; write it"),
        (("loads", "lot"), "lot: write KEY=VALUE"),
        (("loads", "time=2199-01-01", *LOAD), "the year must lie in"),
        (("loads", "time=2098-01-01", *LOAD), "lies ahead"),
        (("loads", *LOAD, "wet=maybe"), "write yes, no"),
        (("loads", *LOAD, "--unit", "us"), "unrecognized arguments: --unit"),
        (("moves", "lot=Lot A", "mass=9 t"), "neither away_to nor here_from"),
        (("treatments", "what=sprout inhibitor"), "did you mean sprout_inhibitor?"),
        (("lots", "lot=D", "keep_until=spring"), "not a date"),
    ],
)
def test_words_that_say_nothing_are_refused(run, bay, words, part):
    status, out, err = run("log", bay, *words)
    assert (status, out) == (2, "")
    assert part in err
    assert not (bay.with_suffix(".season") / f"{words[0]}.csv").exists()


# --- other people's tables ---------------------------------------------------------------

TABLE = [
    ["Date", "Hour", "Full", "Empty", "Field", "Pulp F"],
    ["9/18/2024", "7:05 AM", "84000", "24000", "Lot A", "58"],
    ["9/18/2024", "7:15 AM", "83500", "24100", "Lot B", "59.5"],
]
MAP = ("gross_lb=Full", "tare_lb=Empty", "lot=Field", "pulp_temp_f=Pulp F", "time=Date+Hour")
FORMAT = ("--time-format", "%m/%d/%Y %I:%M %p")


@pytest.mark.parametrize(
    ("first", "second", "times"),
    [
        ("9/18/2024 7:05", "10/5/2024 7:05 PM", ("09-18T07:05:00-06:00", "10-05T19:05:00-06:00")),
        ("18/9/2024 7:05", "5/10/2024 12:05 AM", ("09-18T07:05:00-06:00", "10-05T00:05:00-06:00")),
        ("5.10.2024 7:05", "5.10.2024 7:06:30", ("10-05T07:05:00-06:00", "10-05T07:06:30-06:00")),
        ("2024-11-02 23:00", "2024-11-03 03:00", ("11-02T23:00:00-06:00", "11-03T03:00:00-07:00")),
    ],
)
def test_times_as_spreadsheets_write_them(run, bay, loads, first, second, times):
    load = "sam,Lot A,84000,24000"
    loads(f"1,{first},{load},58,,,", f"2,{second},{load},59,,,")
    assert [load["time"] for load in told(run, bay)] == [f"2024-{time}" for time in times]


def test_a_date_that_may_be_two_days_is_refused(run, bay, loads):
    loads("1,10/5/2024 7:05,sam,Lot A,84000,24000,58,,,")
    _, _, err = run("log", bay)
    assert 'month or day first? write "2024-10-05" or "2024-05-10"' in err


def table_file(path: Path, rows) -> Path:
    if path.suffix == ".csv":
        path.write_text("\n".join(",".join(row) for row in rows), encoding="utf-8-sig")
        return path
    import openpyxl

    book = openpyxl.Workbook()
    for row in rows:
        book.active.append([float(c) if c.replace(".", "").isdigit() else c for c in row])
    book.save(path)
    return path


@pytest.mark.parametrize("name", ["scale.csv", "scale.xlsx"])
def test_rows_of_another_table_come_in_by_their_columns(run, bay, tmp_path, name):
    path = table_file(tmp_path / name, TABLE)
    words = ("log", bay, "loads", "--import", path, "--map", *MAP)
    status, out, err = run(*words)
    assert (status, err) == (0, "")
    assert out.startswith("Wrote 2 lines")
    first, second = told(run, bay)
    assert first["time"] == "2024-09-18T07:05:00-06:00"
    assert second["gross_kg"] == pytest.approx(83500 * 0.45359237)
    assert second["pulp_temp_c"] == pytest.approx(27.5 / 1.8)
    status, _, err = run(*words)
    assert status == 2, "the same table twice"
    assert err.splitlines()[0] == (
        f"{name} row 2: the same stands in row 2 already; correct or strike out one of them"
    )
    assert len(told(run, bay)) == 2


def test_a_table_with_a_bad_row_brings_nothing_in(run, bay, tmp_path):
    rows = [*TABLE, ["9/17/2024", "7:05 AM", "84000", "24000", "Lot X", "58"]]
    path = table_file(tmp_path / "scale.csv", rows)
    status, _, err = run("log", bay, "loads", "--import", path, "--map", *MAP, *FORMAT)
    assert status == 2
    backwards, unknown = sorted(err.splitlines(), key=lambda line: "lot" in line)
    assert backwards.startswith("scale.csv row 4: time 2024-09-17 07:05 runs backwards")
    assert unknown.startswith('scale.csv row 4: lot "Lot X" is not known')
    assert not (bay.with_suffix(".season") / "loads.csv").exists()


def test_a_table_without_what_is_needed_is_told_how_to_say_it(run, bay, tmp_path):
    path = table_file(tmp_path / "scale.csv", TABLE)
    _, _, err = run("log", bay, "loads", "--import", path, "--map", "gross=Full", "lot=Feld")
    assert "--map gross: no such column; write gross_kg or gross_lb" in err
    assert 'scale.csv row 1: no column "feld"; there are Date, Hour, Full' in err


def test_cells_may_carry_the_unit_that_their_heading_has_not(run, bay, tmp_path):
    head, row = ["time", "lot", "gross", "tare", "soil"], ["2024-09-18 07:00", "Lot A"]
    path = table_file(tmp_path / "a.csv", [head, [*row, "84000 lb", "10.9 t", "2 %"]])
    assert run("log", bay, "loads", "--import", path)[0] == 0
    (line,) = told(run, bay)
    assert line["gross_kg"] == pytest.approx(84000 * 0.45359237)
    assert line["tare_kg"] == pytest.approx(10900.0)
    path = table_file(tmp_path / "b.csv", [head, [*row, "84000", "24000", "0.02"]])
    _, _, err = run("log", bay, "loads", "--import", path)
    gross, tare = err.splitlines()
    hint = '--map gross_kg="gross" or gross_lb="gross"'
    assert gross == f"b.csv row 1: gross has no unit; say which, {hint}"
    assert tare.startswith("b.csv row 1: tare has no unit")


# --- what spreadsheets do ----------------------------------------------------------------


def test_a_line_that_a_spreadsheet_saved_over_is_missed_and_put_back(run, bay):
    write = ("log", bay, "loads", "lot=Lot A", "tare=24000 lb", "--units", "us")
    run(*write, "gross=84000 lb", "time=2024-09-18 07:00", "soil=2 %")
    path = bay.with_suffix(".season") / "loads.csv"
    opened = path.read_bytes()
    run(*write, "gross=83000 lb", "time=2024-09-18 07:10", "note=dusty, windy")
    run(*write, "gross=82000 lb", "time=2024-09-18 07:20")
    before = told(run, bay)
    path.write_bytes(opened + b"4,2024-09-18 07:30,sam,Lot A,81000,24000\n")
    status, out, err = run("log", bay)
    assert (status, out) == (2, "")
    assert err.splitlines()[0] == (
        "loads.csv row 1: line 2 and 1 more written and gone again; saved over by a spreadsheet? "
        "`ventcalc log BAY loads --restore` puts back what is missing"
    )
    assert run("log", bay, "loads", "--restore")[1] == "Put back line 2, line 3\n"
    after = {load["line"]: load for load in told(run, bay)}
    for load in before:
        assert {**after[load["line"]], "row": 0} == {**load, "row": 0}
    assert list(after) == ["1", "4", "2", "3"]
    assert run("log", bay, "loads", "--restore")[1].startswith("Put back nothing")
    _, out, _ = run(*write, "gross=80000 lb", "time=2024-09-18 07:40")
    assert out.startswith("Wrote line 5 of"), "a number is never given twice"


def test_a_struck_out_line_is_not_missed(run, bay):
    run("log", bay, "loads", *LOAD, "time=2024-09-18 07:00")
    run("log", bay, "loads", "corrects=1")
    assert run("log", bay)[0] == 0


def test_a_quotation_mark_left_open_swallows_nothing(run, bay, loads):
    path = loads(GOOD)
    path.write_text(path.read_text() + '2,2024-09-18 07:10,sam,"Lot A,84000', encoding="utf-8")
    before = path.read_bytes()
    status, _, err = run("log", bay, "loads", *LOAD, "time=2024-09-18 08:00")
    assert status == 2
    assert "quotation mark that is not closed" in err
    assert path.read_bytes() == before


def test_a_full_disk_leaves_no_half_line(run, bay, loads, monkeypatch):
    path = loads(GOOD)
    before = path.read_bytes()

    def full(handle):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", full)
    status, _, err = run("log", bay, "loads", *LOAD, "time=2024-09-18 08:00")
    assert status == 2
    assert "cannot be written (No space left on device); nothing was added" in err
    assert path.read_bytes() == before


# --- air in the laterals -----------------------------------------------------------------


def test_air_in_the_laterals_by_hand(tmp_path):
    """Twelve of 28 inch, 4.276 ft² each: eleven at 780 ft/min, one at half of it."""
    bay, start = example_bay("seed_bay"), 1787000000.0
    lines = [
        {"time": start + 60.0 * k, "lateral": str(k), "velocity": 780 * 0.00508}
        for k in range(1, 13)
    ]
    lines.append({"time": start + 900.0, "lateral": "5", "velocity": 390 * 0.00508})
    add_lines(tmp_path, bay, "airflows", lines, written=start)
    found = measured_air(bay, read_logbook(tmp_path, bay))
    assert found.airflow / 0.00047194745 == pytest.approx(11.5 * 780 * 4.276, rel=1e-3)
    mean = 11.5 / 12
    assert found.least == pytest.approx(0.5 / mean)
    assert found.evenness == pytest.approx(1 - (11 * (1 - mean) + mean - 0.5) / 12 / mean)
    assert (found.weakest, found.measured) == ("5", 12)
    # 4 million lb are 2 000 short tons
    assert found.airflow_per_mass / 5.2023e-7 == pytest.approx(11.5 * 780 * 4.276 / 2000, rel=1e-3)


def test_air_in_the_laterals_in_words(tmp_path, capsys):
    words = ["log", "seed_bay", "airflows", "--folder", str(tmp_path)]
    for lateral, velocity in (("1", "800 ft/min"), ("2", "400 ft/min")):
        told = [f"lateral={lateral}", f"velocity={velocity}", "time=2026-08-20 09:00"]
        assert main([*words, *told, "--units", "us"]) == 0
    capsys.readouterr()
    assert main([*words, "--units", "us"]) == 0
    out = " ".join(capsys.readouterr().out.split())
    assert "2 of 12 laterals measured" in out
    assert "evenness 67%, uneven" in out
    assert main([*words, "lateral=1", "velocity=800 lb", "time=2026-08-20 09:00"]) == 2
