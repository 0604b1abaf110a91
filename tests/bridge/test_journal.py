"""Journal and audit log: nothing lost, nothing changed unseen, small enough for a season."""

from __future__ import annotations

import csv
import math
import random
import sqlite3
from array import array

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firmware_bridge.errors import JournalError
from firmware_bridge.journal import export, packing
from firmware_bridge.journal.audit import AuditLog, Entry, entries, verify
from firmware_bridge.journal.journal import Event, Journal
from firmware_bridge.journal.packing import Row
from firmware_bridge.quantities import QUANTITIES
from firmware_bridge.sensors.sample import Sample

T0 = 1_793_847_600.0  # on the hour
KINDS = {"pulp_1": "pulp_temperature", "above_rh": "return_relative_humidity", "co2": "co2"}


def sample(seq, boot=7, fresh=True, faults=None, **values):
    content = {"pulp_1": 5.0, "above_rh": 0.95, "co2": 1200e-6, **values}
    return Sample(
        boot=boot, seq=seq, received=0.0, delay=0.0, kinds=KINDS, values=content,
        faults=faults or {}, fresh=fresh, told=T0 + seq,
    )  # fmt: skip


@pytest.fixture
def journal(tmp_path):
    one = Journal(tmp_path / "journal.db")
    yield one
    one.close()


def test_the_files_are_nobody_elses(tmp_path):
    """The folder, the database and what SQLite lays beside it; also those of an older version."""
    path = tmp_path / "data" / "journal.db"
    one = Journal(path)
    one.store(events=[Event(t=T0, bay="", code="start", text="")])
    modes = {file.name: file.stat().st_mode & 0o777 for file in path.parent.iterdir()}
    assert modes == {"journal.db": 0o600, "journal.db-wal": 0o600, "journal.db-shm": 0o600}
    assert path.parent.stat().st_mode & 0o777 == 0o700
    one.close()
    path.chmod(0o644)
    Journal(path).close()
    assert path.stat().st_mode & 0o777 == 0o600


def fill(journal, minutes, start=T0):
    for n in range(minutes):
        value = 5.0 + math.sin(n / 50.0)
        journal.store([(start + 60.0 * n, "bay-1", sample(n, pulp_1=value))])


def test_what_is_stored_comes_back_packed_or_not(journal):
    fill(journal, 150)
    before = list(export.samples_of_journal(journal, "bay-1"))
    assert journal.pack_hours(T0 + 150 * 60) == 2
    after = list(export.samples_of_journal(journal, "bay-1"))
    assert [t for t, _ in after] == [T0 + 60.0 * n for n in range(150)]
    assert after == [(t, s) for t, s in before]
    for n, (_, found) in enumerate(after):
        assert found.values["pulp_1"] == pytest.approx(5.0 + math.sin(n / 50.0), abs=0.0051)
        assert found.values["co2"] == pytest.approx(1200e-6, abs=1.1e-6)
        assert (found.boot, found.seq, found.told) == (7, n, T0 + n)


def test_one_span_of_time(journal):
    fill(journal, 150)
    journal.pack_hours(T0 + 150 * 60)
    found = list(journal.rows("bay-1", T0 + 3000, T0 + 9000))
    assert [row.t for _, row in found] == [T0 + 60.0 * n for n in range(50, 150)]


def test_a_copy_is_not_stored_twice(journal):
    for _ in range(3):
        journal.store([(T0, "bay-1", sample(1))])
    assert len(list(journal.rows("bay-1"))) == 1


def test_faults_and_late_ones_are_marked(journal):
    journal.store([(T0, "bay-1", sample(1, faults={"co2": "stuck"}))])
    journal.store([(T0 + 60, "bay-1", sample(2, fresh=False, pulp_1=math.nan))])
    journal.pack_hours(T0 + 7200)
    first, second = (s for _, s in export.samples_of_journal(journal, "bay-1"))
    assert first.faults == {"co2": "stuck"}
    assert not second.fresh
    assert math.isnan(second.values["pulp_1"])


def test_a_value_too_large_to_keep_is_marked_not_cut(journal):
    power = Sample(
        boot=8, seq=1, received=0.0, delay=0.0, kinds={"power": "other"},
        values={"power": 5e6}, faults={},
    )  # fmt: skip
    journal.store([(T0, "bay-1", power)])
    found = next(iter(export.samples_of_journal(journal, "bay-1")))[1]
    assert math.isnan(found.values["power"])
    assert found.faults == {"power": "beyond"}


def test_roll_ups_are_those_of_the_sound_values(journal):
    values = [5.0, 6.0, 7.0, 20.0]
    for n, value in enumerate(values):
        faults = {"pulp_1": "implausible"} if value == 20.0 else {}
        journal.store([(T0 + 60.0 * n, "bay-1", sample(n, pulp_1=value, faults=faults))])
    journal.pack_hours(T0 + 3600)
    roll = next(r for r in journal.rolls("bay-1") if r.key == "pulp_1")
    assert (roll.hour, roll.low, roll.mean, roll.high) == (T0, 5.0, 6.0, 7.0)


def test_a_clock_that_went_back_loses_nothing(journal):
    fill(journal, 30)
    journal.pack_hours(T0 + 3600)
    journal.store([(T0 + 60.0 * n, "bay-1", sample(500 + n)) for n in range(10)])
    journal.pack_hours(T0 + 3600)
    assert len(list(journal.rows("bay-1"))) == 40
    assert len(journal.rolls("bay-1")) == 6


def test_channels_that_change_keep_their_meaning(journal):
    journal.store([(T0, "bay-1", sample(1))])
    other = Sample(
        boot=8, seq=1, received=0.0, delay=0.0, kinds={"new": "pressure"},
        values={"new": 84_000.0}, faults={},
    )  # fmt: skip
    journal.store([(T0 + 60, "bay-1", other)])
    journal.pack_hours(T0 + 3600)
    found = [s for _, s in export.samples_of_journal(journal, "bay-1")]
    assert set(found[0].values) == set(KINDS)
    assert found[1].values == {"new": pytest.approx(84_000.0, abs=2.6)}


def test_events_and_memory(journal):
    journal.store(
        events=[Event(t=T0, bay="bay-1", code="gap", text="3 missing")],
        memories=[("bay-1", T0, "{}")],
        seal=(3, b"\x01" * 32),
    )
    assert journal.events(T0)[0].code == "gap"
    assert journal.events(T0, "bay-2") == []
    assert journal.memory("bay-1") == "{}"
    assert journal.memory("bay-2") is None
    assert journal.seal() == (3, b"\x01" * 32)


def test_a_second_process_may_read_while_the_first_writes(journal, tmp_path):
    fill(journal, 5)
    other = Journal(tmp_path / "journal.db", read_only=True)
    fill(journal, 5, T0 + 600)
    assert len(list(other.rows("bay-1"))) == 5  # the same readings again are copies
    other.close()


counts = st.lists(st.integers(-32768, 32767), min_size=3, max_size=3)


@given(st.lists(st.tuples(st.integers(0, 2**32 - 1), counts, st.binary(min_size=3, max_size=3)),
                min_size=1, max_size=40))  # fmt: skip
def test_blocks_give_back_every_bit(rows):
    made = [
        Row(t=T0 + n, told=T0 - n, boot=seq // 3, seq=seq, counts=array("h", found), faults=faults)
        for n, (seq, found, faults) in enumerate(rows)
    ]
    assert packing.unpack_block(packing.pack_block(made), len(made)) == made


@given(st.sampled_from(list(QUANTITIES)), st.floats(allow_nan=True, allow_infinity=True))
def test_values_come_back_within_the_packing_or_are_missing(kind, value):
    back = packing.values_of([kind], packing.counts_of([kind], [value]))[0]
    step = QUANTITIES[kind].packing
    if math.isfinite(value) and abs(value) < 32767 * step:
        assert back == pytest.approx(value, abs=0.5001 * step)
    elif not math.isfinite(value):
        assert math.isnan(back)


def test_a_season_of_200_channels_a_minute_stays_under_250_mb(tmp_path):
    """
    Two days with sensor noise, scaled to 270 days, with advice and answer each minute.

    What a file takes before the first reading and for the running hour is not scaled.
    """
    kinds = {f"pulp_{n}": "pulp_temperature" for n in range(185)}
    kinds |= {"rh_1": "return_relative_humidity", "rh_2": "outside_relative_humidity"}
    kinds |= {f"out_{n}": "outside_temperature" for n in range(8)}
    kinds |= {f"co2_{n}": "co2" for n in range(5)}
    level = {
        "pulp_temperature": (6.0, 0.02),
        "return_relative_humidity": (0.94, 0.003),
        "outside_relative_humidity": (0.7, 0.01),
        "outside_temperature": (2.0, 0.05),
        "co2": (1e-3, 1e-5),
    }
    noise = random.Random(1)
    journal, audit = Journal(tmp_path / "journal.db"), AuditLog(tmp_path / "audit.db")
    advice = b"[1,29897460,123456,1058098660,123456,180,3,11,0,649,408,129,0,0,423] "
    answer = b'["accepted",29897460,123456,0.649,0.408,0.129,0.0,0.0]'
    sizes = []
    for hour in range(48):
        batch, log = [], []
        for minute in range(60):
            n = 60 * hour + minute
            t = T0 + 60.0 * n
            values = {
                key: level[kind][0] * (1 + 0.1 * math.sin(n / 230.0))
                + noise.gauss(0.0, level[kind][1])
                for key, kind in kinds.items()
            }
            batch.append(
                (t, "bay-1", Sample(boot=1058098660, seq=n, received=t, delay=0.0, kinds=kinds,
                                    values=values, faults={}, told=t + 0.2))
            )  # fmt: skip
            log.append(Entry(t=t + 0.1, bay="bay-1", kind="advice", body=advice))
            log.append(Entry(t=t + 0.2, bay="bay-1", kind="ack", body=answer))
        journal.store(batch)
        audit.write(log)
        journal.pack_hours(T0 + 3600.0 * (hour + 1))
        if hour in (23, 47):
            pages = [
                database.execute("SELECT (SELECT * FROM pragma_page_count()) * "
                                 "(SELECT * FROM pragma_page_size())").fetchone()[0]
                for database in (journal._database, audit._database)
            ]  # fmt: skip
            sizes.append(sum(pages))
    journal.close()
    audit.close()
    a_day = sizes[1] - sizes[0]
    assert 0 < a_day * 270 + sizes[0] < 250e6


# --- the audit log -----------------------------------------------------------------------


def log(tmp_path, count=20):
    audit = AuditLog(tmp_path / "audit.db")
    for n in range(count):
        audit.write([Entry(t=T0 + n, bay="bay-1", kind="advice", body=b"%d" % n)])
    seal = (audit.length, audit.head)
    audit.close()
    return tmp_path / "audit.db", seal


def tamper(path, statement):
    database = sqlite3.connect(path)
    for name in ("entry_stays_update", "entry_packed"):
        database.execute(f"DROP TRIGGER {name}")
    database.execute(statement)
    database.commit()
    database.close()


def test_a_sound_log_verifies_and_goes_on_after_reopening(tmp_path):
    path, seal = log(tmp_path)
    assert verify(path, seal) == (20, "")
    audit = AuditLog(path)
    audit.write([Entry(t=T0, bay="b", kind="k", body=b"")])
    audit.close()
    assert verify(path, seal) == (21, "")
    assert sum(1 for _ in entries(path)) == 21


@pytest.mark.parametrize(
    ("statement", "sound"),
    [
        ("UPDATE entry SET body = X'31' WHERE n = 7", 6),
        ("UPDATE entry SET t = t + 1 WHERE n = 20", 19),
        ("UPDATE entry SET bay = 'bay-2' WHERE n = 1", 0),
        ("DELETE FROM entry WHERE n = 5", 4),
        ("DELETE FROM entry WHERE n > 15", 15),
        ("UPDATE entry SET hash = zeroblob(32) WHERE n = 3", 2),
    ],
)
def test_every_change_shows(tmp_path, statement, sound):
    path, seal = log(tmp_path)
    tamper(path, statement)
    length, problem = verify(path, seal)
    assert length == sound
    assert problem


def test_the_log_refuses_changes_by_itself(tmp_path):
    path, _ = log(tmp_path)
    database = sqlite3.connect(path)
    for statement in ("UPDATE entry SET t = 0", "DELETE FROM entry", "DELETE FROM session"):
        if "session" in statement:
            database.execute("INSERT INTO session VALUES (1, 0)")
        with pytest.raises(sqlite3.DatabaseError, match="only grows"):
            database.execute(statement)
    database.close()


def test_boot_numbers_never_come_twice(tmp_path):
    audit = AuditLog(tmp_path / "audit.db")
    found = [audit.next_boot(wall) for wall in (T0, T0, T0 - 1e6, 0.0, -5.0, T0 + 600)]
    audit.close()
    assert found == sorted(set(found))
    assert found[0] == T0 // 60


def test_a_log_restored_from_an_old_copy_is_overtaken_by_the_clock(tmp_path):
    old = AuditLog(tmp_path / "old.db")
    last = old.next_boot(T0)
    old.close()
    again = AuditLog(tmp_path / "old.db")
    assert again.next_boot(T0 + 86400) >= last + 1440
    again.close()


def test_nothing_is_half_written(tmp_path):
    audit = AuditLog(tmp_path / "audit.db")
    audit.write([Entry(t=T0, bay="b", kind="k", body=b"1")])
    broken = Entry(t=T0, bay="b", kind="k", body=object())  # SQLite cannot store it
    with pytest.raises((JournalError, TypeError)):
        audit.write([Entry(t=T0, bay="b", kind="k", body=b"2"), broken])
    audit.write([Entry(t=T0, bay="b", kind="k", body=b"3")])
    audit.close()
    assert [entry.body for _, entry, _ in entries(tmp_path / "audit.db")] == [b"1", b"3"]
    assert verify(tmp_path / "audit.db") == (2, "")


def test_a_file_that_is_no_log_is_said(tmp_path):
    (tmp_path / "audit.db").write_text("not a database at all, only some text" * 50)
    with pytest.raises(JournalError):
        AuditLog(tmp_path / "audit.db")
    with pytest.raises(JournalError, match="no such file"):
        verify(tmp_path / "none.db")


# --- export ------------------------------------------------------------------------------


def test_csv_there_and_back(journal, tmp_path):
    fill(journal, 90)
    journal.store([(T0 + 6000, "bay-1", sample(900, faults={"co2": "stuck"}))])
    path = tmp_path / "out.csv"
    with path.open("w", newline="") as file:
        assert export.write_csv(journal, "bay-1", file, 0.0, 1e11) == 91
    stored = list(export.samples_of_journal(journal, "bay-1"))
    back = list(export.samples_of_csv(path))
    assert [t for t, _ in back] == [t for t, _ in stored]
    for (_, a), (_, b) in zip(back, stored, strict=True):
        assert a.values == pytest.approx(b.values, abs=1e-9)
        assert (a.boot, a.seq, a.faults) == (b.boot, b.seq, b.faults)


def test_parquet_says_the_same_as_csv(journal, tmp_path):
    import pyarrow.parquet as parquet

    fill(journal, 70)
    assert export.write_parquet(journal, "bay-1", tmp_path / "out.parquet", 0.0, 1e11) == 70
    with (tmp_path / "out.csv").open("w", newline="") as file:
        export.write_csv(journal, "bay-1", file, 0.0, 1e11)
    table = parquet.read_table(tmp_path / "out.parquet")
    with (tmp_path / "out.csv").open(newline="") as file:
        rows = list(csv.DictReader(file))
    column = table["pulp_temperature:pulp_1"].to_pylist()
    assert column == [float(row["pulp_temperature:pulp_1"]) for row in rows]
    assert table["time_utc"].to_pylist()[0].timestamp() == T0


@pytest.mark.parametrize(
    ("text", "piece"),
    [
        ("time_utc,temp\n2026-01-01,3\n", "kind:key"),
        ("pulp_temperature:a\n3\n", "no column time_utc"),
        ("time_utc,pulp_temperature:a\n2026-01-01,x\n", "row 1"),
        ("time_utc,pulp_temperature:a\nyesterday,3\n", "row 1"),
    ],
)
def test_damaged_csv_is_said_in_one_line(tmp_path, text, piece):
    path = tmp_path / "in.csv"
    path.write_text(text)
    with pytest.raises(JournalError, match=piece) as caught:
        list(export.samples_of_csv(path))
    assert "\n" not in str(caught.value)


def test_a_bay_that_is_not_there_is_said(journal, tmp_path):
    with (tmp_path / "o.csv").open("w") as file, pytest.raises(JournalError, match="nothing of"):
        export.write_csv(journal, "bay-9", file, 0.0, 1e11)
