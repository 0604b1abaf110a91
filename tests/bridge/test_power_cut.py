"""Power cut and a disk that turns read-only: what was committed stands, nothing else does."""

from __future__ import annotations

import random
import sqlite3

import pytest

from firmware_bridge.journal import audit as audit_log
from firmware_bridge.journal.audit import AuditLog, Entry, entries, verify
from firmware_bridge.journal.journal import Event, Journal

T0 = 1_793_847_600.0
CUTS = 750
"""Of each database."""
SECTOR = 512


def written(database, path, write, count):
    """Bytes of main file and log of SQLite, and where in the log each commit ends."""
    database.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    wal, main = path.with_name(f"{path.name}-wal"), path.read_bytes()
    ends = []
    for n in range(count):
        write(n)
        ends.append(wal.stat().st_size)
    return main, wal.read_bytes(), ends


def cut(path, main, log, at, chance):
    """The disk after a cut: a sector of nonsense where the last write was under way."""
    path.write_bytes(main)
    torn = chance.randbytes(min(SECTOR, len(log) - at)) if chance.random() < 0.5 else b""
    path.with_name(f"{path.name}-wal").write_bytes(log[:at] + torn)
    path.with_name(f"{path.name}-shm").unlink(missing_ok=True)


def half_copied(before, after, chance):
    """A main file into which a checkpoint has brought some pages, its log still whole."""
    size = max(len(before), len(after))
    pages = range(0, size, 4096)
    old, new = before.ljust(size, b"\0"), after.ljust(size, b"\0")
    return b"".join((new if chance.random() < 0.5 else old)[p : p + 4096] for p in pages)


def copied(database, path):
    """The main file once everything is brought into it, with the log as it was before."""
    database.execute("PRAGMA wal_checkpoint(PASSIVE)")
    return path.read_bytes()


def test_a_power_cut_anywhere_loses_no_committed_entry_of_the_audit_log(tmp_path, monkeypatch):
    monkeypatch.setattr(audit_log, "LOOSE", 4)
    monkeypatch.setattr(audit_log, "PACK", 4)
    log = AuditLog(tmp_path / "audit.db")
    base = 3
    log.write([Entry(t=T0, bay="b", kind="k", body=b"before")] * base)

    def write(n):
        log.write([Entry(t=T0 + n, bay="bay-1", kind="advice", body=b"%d" % n * 40)])
        if n % 6 == 5:
            log.pack()

    main, wal, ends = written(log._database, tmp_path / "audit.db", write, 24)
    whole = copied(log._database, tmp_path / "audit.db")
    log.close()
    chance, path = random.Random(7), tmp_path / "cut.db"
    kept = set()
    for n in range(CUTS):
        checkpoint = n % 5 == 0
        at = len(wal) if checkpoint else chance.randrange(len(wal) + 1)
        cut(path, half_copied(main, whole, chance) if checkpoint else main, wal, at, chance)
        length, problem = verify(path)
        assert problem == ""
        kept.add(length - base)
        # A pack is committed after its entry, so that the entry may be there a little earlier.
        least = sum(end <= at for end in ends)
        assert least <= length - base <= least + 1, at
    assert kept == set(range(25)), "cuts at every commit were tried"


def test_a_power_cut_anywhere_loses_no_committed_event_of_the_journal(tmp_path):
    path = tmp_path / "journal.db"
    journal = Journal(path)

    def write(n):
        journal.store(
            events=[Event(t=T0 + n, bay="bay-1", code="gap", text="x" * 200)],
            memories=[("bay-1", T0 + n, f"memory {n}")],
            seal=(n, b"\1" * 32),
        )

    main, wal, ends = written(journal._database, path, write, 24)
    whole = copied(journal._database, path)
    journal.close()
    chance, torn = random.Random(8), tmp_path / "cut.db"
    for n in range(CUTS):
        checkpoint = n % 5 == 0
        at = len(wal) if checkpoint else chance.randrange(len(wal) + 1)
        cut(torn, half_copied(main, whole, chance) if checkpoint else main, wal, at, chance)
        database = sqlite3.connect(f"{torn.as_uri()}?mode=ro", uri=True)
        assert database.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        found = database.execute("SELECT count(*) FROM event").fetchone()[0]
        memory = database.execute("SELECT text FROM memory").fetchall()
        database.close()
        assert found == sum(end <= at for end in ends), at
        assert memory == ([(f"memory {found - 1}",)] if found else []), "all of it or nothing"


@pytest.mark.parametrize("which", ["audit", "journal"])
def test_a_disk_that_turns_read_only_under_the_bridge(world, which):
    """SQLite itself refuses to write; nothing that was said is lost, and it goes on by itself."""
    one = world()
    one.run(600)
    database = getattr(one, which)._database
    database.execute("PRAGMA query_only = ON")
    one.run(300)
    assert one.bay.view(one.hand.now).sample is not None, "the bay can still be looked at"
    if which == "audit":
        assert one.bay.decision.code == "audit"
        assert one.sim.following is None, "no log, no advice"
    else:
        assert one.bay.decision.code == "ok"
        assert one.service.counts["journal failed"] > 0
        assert one.service.problem("") == (
            "Bridge: journal not written: attempt to write a readonly database"
        ), "people are told: what is latched would be lost in a restart"
    database.execute("PRAGMA query_only = OFF")
    one.run(1500)
    assert one.bay.decision.code == "ok"
    assert one.sim.following is not None
    assert one.service.problem("") == ""
    stored = {row.seq for _, row in one.journal.rows("bay-1")}
    assert set(range(5, 35)) <= stored, "no reading is missing"
    boot = one.service.health.boot
    one.close()
    one.service = None
    said = [e for _, e, _ in entries(one.folder / "audit.db") if e.kind == "advice"]
    assert verify(one.folder / "audit.db")[1] == ""
    assert all(b"%d," % boot in entry.body for entry in said)
