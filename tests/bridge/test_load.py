"""Under load: what may wait, what never waits, and that nothing grows without bound."""

from __future__ import annotations

import json

from firmware_bridge.errors import JournalError
from firmware_bridge.journal.audit import entries
from firmware_bridge.service import service


def logged(folder, kind):
    return [entry for _, entry, _ in entries(folder / "audit.db") if entry.kind == kind]


def ids(folder):
    return {tuple(json.loads(entry.body.split(b" ")[0])[1:3]) for entry in logged(folder, "advice")}


def test_advice_is_on_the_disk_before_it_is_sent(world, monkeypatch):
    """Another connection sees each entry at the moment at which its message goes out."""
    one = world()
    seen, whole = [], one.wire.send

    def send(message):
        if message.topic.endswith("/advice"):
            name = tuple(json.loads(message.payload)["id"])
            seen.append(name in ids(one.folder))
        return whole(message)

    monkeypatch.setattr(one.wire, "send", send)
    one.run(600)
    assert len(seen) > 8
    assert all(seen)


def test_answers_wait_for_company_a_second_at_most_and_none_is_lost(world, monkeypatch):
    one = world()
    writes, whole = [], one.audit.write

    def write(found, **how):
        writes.append((one.hand.now, [entry.kind for entry in found]))
        whole(found, **how)

    monkeypatch.setattr(one.audit, "write", write)
    one.run(900, step=0.25)
    one.free = 10.0
    while b'"none"' not in one.broker.of("ack")[-1][1].payload:
        one.run(0.25, step=0.25)
    one.service.shutdown()  # nothing to say, but an answer has only just come
    answers = [message for _, message in one.broker.of("ack")]
    assert len(logged(one.folder, "ack")) == len(answers) > 10
    written = [at for at, kinds in writes if "ack" in kinds]
    waits = [min(at for at in written if at >= told) - told for told, _ in one.broker.of("ack")]
    assert max(waits) <= service.LOG_WITHIN + 0.25  # the test's clock goes by quarters


def test_advice_does_not_wait_for_the_housekeeping_of_its_second(world, monkeypatch):
    one = world()
    done, send, tidy, turn = [], one.wire.send, one.service._store.tidy, one.service.turn

    def sends(message):
        done[-1] += ["advice"] * message.topic.endswith("/advice")
        return send(message)

    def tidies(now):
        done[-1] += ["housekeeping"]
        tidy(now)

    def turns():
        done.append([])
        turn()

    monkeypatch.setattr(one.wire, "send", sends)
    monkeypatch.setattr(one.service._store, "tidy", tidies)
    monkeypatch.setattr(one.service, "turn", turns)
    one.run(300)
    both = [found for found in done if len(found) == 2]
    assert both.count(["advice", "housekeeping"]) == len(both) > 3


def test_many_readings_share_one_write(world, monkeypatch):
    one = world(names=tuple(f"bay-{n}" for n in range(20)))
    one.run(300)
    writes, whole = [], one.audit.write

    def write(found, **how):
        writes.append([entry.kind for entry in found])
        whole(found, **how)

    monkeypatch.setattr(one.audit, "write", write)
    one.run(120)
    assert max(kinds.count("advice") for kinds in writes) == 20


def test_a_log_that_fails_for_long_holds_a_bounded_number_of_answers(world, monkeypatch):
    one = world()
    one.run(600)
    whole, lost = one.audit.write, []

    def fails(found, **how):
        lost.append([entry.kind for entry in found])
        raise JournalError("disk full")

    monkeypatch.setattr(service, "MOST_UNWRITTEN", 5)
    monkeypatch.setattr(one.audit, "write", fails)
    one.run(1200)
    assert len(one.service._unwritten) == 5
    before = len(logged(one.folder, "ack"))
    monkeypatch.setattr(one.audit, "write", whole)
    one.run(120)
    assert len(logged(one.folder, "ack")) >= before + 5
    assert len(one.service._unwritten) <= 1
