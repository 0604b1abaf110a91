"""The audit log: every change shows, packed and pruned or not; it says what was seen and done."""

from __future__ import annotations

import csv
import json
import sqlite3

import pytest

from firmware_bridge.journal import audit
from firmware_bridge.journal.audit import AuditLog, Entry, entries, pruned, verify
from firmware_bridge.journal.proof import log_of
from firmware_bridge.wire import messages
from firmware_bridge.wire.client import Message

T0 = 1_793_847_600.0
TRIGGERS = (
    "entry_packed", "pack_pruned", "entry_stays_update", "pack_stays_update",
    "pruned_stays_update", "pruned_stays_delete",
)  # fmt: skip


@pytest.fixture
def log(tmp_path, monkeypatch):
    """A log of 60 entries, 40 of them packed by tens, the first 20 pruned."""
    monkeypatch.setattr(audit, "LOOSE", 20)
    monkeypatch.setattr(audit, "PACK", 10)
    path = tmp_path / "audit.db"
    one = AuditLog(path)
    for n in range(60):
        one.write([Entry(t=T0 + 60.0 * n, bay=f"bay-{n % 2}", kind="advice", body=b"%d \xc3" % n)])
    before = list(entries(path))
    packs = 0
    while one.pack():
        packs += 1
    assert packs == 4
    assert [entry for _, entry, _ in entries(path)] == [entry for _, entry, _ in before]
    assert verify(path, (60, one.head)) == (60, "")
    assert one.prune(T0 + 60.0 * 25, T0 + 7200.0) == 20
    assert one.prune(T0 + 60.0 * 25, T0 + 7200.0) == 0, "nothing more to prune, nothing more said"
    seal = (one.length, one.head)
    one.close()
    return path, seal


def test_a_log_that_is_packed_and_pruned_stays_provable(log):
    path, seal = log
    assert verify(path, seal) == (61, "")
    assert pruned(path)[0] == 20
    numbers = [n for n, _, _ in entries(path)]
    assert numbers == list(range(21, 62))
    again = AuditLog(path)
    assert (again.length, again.head) == seal
    again.write([Entry(t=T0 + 9000.0, bay="", kind="k", body=b"")] * 9)
    assert again.pack(), "it goes on where it was"
    again.close()
    assert verify(path, seal) == (70, "")


def rewritten(data, change):
    """A pack with one of its texts changed."""
    times, raw, bays, kinds, texts = json.loads(audit.zlib.decompress(data))
    change(texts)
    return audit.zlib.compress(json.dumps([times, raw, bays, kinds, texts]).encode())


@pytest.mark.parametrize(
    ("statements", "sound"),
    [
        (["DELETE FROM pack WHERE last = 30"], 20),
        (["UPDATE pack SET data = forged(data) WHERE last = 40"], 39),
        (["UPDATE pack SET data = zeroblob(9) WHERE last = 40"], 30),
        (["UPDATE pack SET hash = zeroblob(32) WHERE last = 40"], 39),
        (["DELETE FROM entry WHERE n = 45"], 44),
        (["DELETE FROM pruned"], 0),
        (["UPDATE pruned SET hash = zeroblob(32)"], 29),
        # One more pack gone and owned up to, but no entry says so.
        (["INSERT INTO pruned SELECT last, hash FROM pack WHERE last = 30",
          "DELETE FROM pack WHERE last = 30"], 30),
    ],
)  # fmt: skip
def test_every_change_of_what_was_packed_or_pruned_shows(log, statements, sound):
    path, seal = log
    database = sqlite3.connect(path)
    database.create_function("forged", 1, lambda d: rewritten(d, lambda t: t.__setitem__(3, "no")))
    for name in TRIGGERS:
        database.execute(f"DROP TRIGGER {name}")
    for statement in statements:
        database.execute(statement)
    database.commit()
    database.close()
    length, problem = verify(path, seal)
    assert problem
    assert length == sound


@pytest.mark.parametrize("table", ["entry", "pack", "pruned"])
def test_the_file_itself_refuses_to_forget(log, table):
    database = sqlite3.connect(log[0])
    with pytest.raises(sqlite3.DatabaseError, match="only grows"):
        database.execute(f"DELETE FROM {table}")
    database.close()


def test_the_log_of_a_bay_says_what_was_seen_advised_confirmed_and_done(world, tmp_path):
    one = world(mode="confirm")
    one.run(600)
    (named,) = one.bay.ids[-1:]
    who = messages.Ack(boot=one.sim.boot, ref=named, code="accepted", fan=0.5, by="R. Novak")
    topic = one.sim.topic("ack")
    one.sim.wire.send(Message(topic=topic, payload=messages.encode(who)))
    one.run(180)
    rows = list(log_of(one.folder / "audit.db", "bay-1", 0.0, 1e11))
    assert rows[0]["kind"] == "start"
    (row,) = [row for row in rows if row.get("seq") == named[1]]
    assert (row["answer"], row["by"], row["took_fan_speed"]) == ("accepted", "R. Novak", 0.5)
    seen = json.loads(row["reading"])
    (sent,) = [
        messages.decode(message.payload, messages.ReadingMessage)
        for _, message in one.broker.of("reading")
        if messages.decode(message.payload, messages.ReadingMessage).seq == row["reading_seq"]
    ]
    assert seen["pulp_1"] == pytest.approx(sent.v["pulp_1"], abs=0.0051)
    assert seen["return_rh"] == pytest.approx(sent.v["return_rh"] / 100.0, abs=5.1e-5)
    after = rows[rows.index(row) + 1]
    assert row["then_fan_speed"] == json.loads(after["reading"])["fan"], "what was done by then"


def test_the_audit_log_of_a_bay_can_be_exported(world, tmp_path, capsys):
    from firmware_bridge.cli import main

    one = world()
    one.run(600)
    one.close()
    one.service = None
    config = tmp_path / "bridge.toml"
    bay = one.config.bays[0].bay_file
    config.write_text(
        f'[bridge]\nname = "bridge-a"\ndata = "{one.folder}"\n[broker]\ntls = false\n'
        f'[[bays]]\nname = "bay-1"\nbay_file = "{bay}"\n',
        encoding="utf-8",
    )
    out = tmp_path / "advice.csv"
    words = ["export", str(config), "--bay", "bay-1", "--what", "advice", "--out", str(out)]
    assert main(words) == 0
    with out.open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert f"{len(rows)} entries" in capsys.readouterr().out
    advice = [row for row in rows if row["kind"] == "advice" and row["action"]]
    assert len(advice) > 5
    answered = advice[:-1]  # the last answer had only just come
    assert {row["answer"] for row in answered} == {"accepted"}
    assert all(row["took_fan_speed"] == row["fan_speed"] for row in answered)
    assert main([*words[:-1], str(tmp_path / "x.parquet")]) == 2


def test_what_is_older_than_the_configuration_wants_goes(world, monkeypatch):
    monkeypatch.setattr(audit, "LOOSE", 4)
    monkeypatch.setattr(audit, "PACK", 4)
    one = world(days=0.01)
    one.run(3600)
    gone, _ = pruned(one.folder / "audit.db")
    assert gone >= 4
    kept = [entry.t for _, entry, _ in entries(one.folder / "audit.db")]
    assert one.hand.wall() - min(kept) < 0.01 * 86400.0 + 1200.0
    assert verify(one.folder / "audit.db", (one.audit.length, one.audit.head))[1] == ""
