"""Of a controller that sends each second the adviser is asked anew where something has changed."""

from __future__ import annotations

import math
from itertools import pairwise

import pytest
from msgspec.structs import replace

from firmware_bridge.bay import advisor
from firmware_bridge.bay.memory import AdvisorMemory
from firmware_bridge.bay.safety import Targets
from firmware_bridge.bay.standing import ASK_EVERY, Answer
from firmware_bridge.bay.told import Told, Word
from firmware_bridge.journal.audit import AuditLog, Entry, verify
from firmware_bridge.sensors.sample import Sample

KINDS = {
    "pulp": "pulp_temperature", "outside": "outside_temperature",
    "moist": "return_relative_humidity", "co2": "co2", "air": "pressure", "fan": "fan_speed",
    "wet": "crop_wet", "rot": "rot_share", "broken": "out_of_order", "people": "people_inside",
    "meter": "electric_power", "own": "other",
}  # fmt: skip
SEEN = Sample(
    boot=1, seq=1, received=0.0, delay=0.0, kinds=KINDS, faults={},
    values={
        "pulp": 4.0, "outside": 1.0, "moist": 0.93, "co2": 2e-3, "air": 84000.0, "fan": 0.5,
        "wet": 0.0, "rot": 0.0, "broken": 0.0, "people": 0.0, "meter": 9e3, "own": 7.0,
    },
)  # fmt: skip
MEMORY, TOLD = AdvisorMemory(), Told()
ANSWER = Answer(
    at=100.0, sample=SEEN, told=TOLD, hour=None, memory=MEMORY, targets=Targets(fan=0.5, door=0.1),
    people_inside=False,
)  # fmt: skip


def changed(**values):
    return replace(SEEN, seq=2, values={**SEEN.values, **values})


def stands(sample=SEEN, told=TOLD, hour=None, memory=MEMORY, now=101.0):
    return ANSWER.stands(sample, told, hour, memory, now)


@pytest.mark.parametrize(
    "values",
    [{}, {"pulp": 4.19, "moist": 0.911, "co2": 2.04e-3, "air": 84090.0, "fan": 0.519},
     {"meter": 1e3, "own": -5.0}],
    ids=["nothing", "less than a probe tells", "what no advice rests on"],
)  # fmt: skip
def test_it_stands_while_nothing_has_changed(values):
    assert stands(changed(**values))


@pytest.mark.parametrize(
    "values",
    [{"pulp": 3.79}, {"outside": 1.21}, {"moist": 0.951}, {"co2": 2.06e-3}, {"air": 84110.0},
     {"fan": 0.0}, {"wet": 1.0}, {"rot": 0.001}, {"broken": 1.0}, {"people": 1.0},
     {"outside": math.nan}],
    ids=str,
)  # fmt: skip
def test_any_change_that_counts_ends_it(values):
    assert not stands(changed(**values))


def test_slow_drift_ends_it_too():
    """Each reading is held against the one that was asked by, not against its neighbour."""
    assert [stands(changed(pulp=4.0 - 0.08 * n)) for n in range(1, 5)] == [True, True, False, False]


def test_doubt_words_memory_and_time_end_it():
    assert not stands(replace(SEEN, faults={"pulp": "stuck"}))
    assert not stands(replace(SEEN, ignore=frozenset({"pulp"})))
    assert not stands(told=Told(said={"stage": Word(value="holding", by="a person", at=0.0)}))
    assert not stands(memory=AdvisorMemory())
    assert not stands(now=100.0 + ASK_EVERY)


def test_a_bay_that_sends_each_second_is_answered_each_second_and_asks_less(world, monkeypatch):
    one = world(every=1.0, advice_every_s=1.0)
    one.run(120, step=1.0)
    asked, whole = [], advisor.request

    def request(*given):
        asked.append(one.hand.now)
        return whole(*given)

    monkeypatch.setattr(advisor, "request", request)
    before = len(one.broker.of("advice"))
    one.run(120, step=1.0)
    assert len(one.broker.of("advice")) - before >= 118
    assert 12 <= len(asked) < 60
    assert max(b - a for a, b in pairwise(asked)) <= ASK_EVERY


def test_each_bay_hears_a_beat_every_ten_seconds_and_not_all_at_once(world):
    one = world(names=tuple(f"bay-{n}" for n in range(10)))
    one.run(30, step=1.0)
    start = one.hand.now
    one.run(60, step=1.0)
    beats = [(at, m.topic) for at, m in one.broker.of("beat") if at > start]
    for topic in {topic for _, topic in beats}:
        times = [start, *(at for at, one in beats if one == topic), one.hand.now]
        assert max(b - a for a, b in pairwise(times)) <= 11.0
    most = max(sum(at == moment for at, _ in beats) for moment, _ in beats)
    assert most <= 3


def test_a_power_cut_may_take_what_did_not_wait_for_the_disk_and_is_no_tampering(tmp_path):
    path = tmp_path / "audit.db"
    log = AuditLog(path)
    wal = path.with_name("audit.db-wal")
    log.write([Entry(t=1.0, bay="b", kind="advice", body=b"new")])
    main, kept, seal = path.read_bytes(), wal.read_bytes(), log.seal
    log.write([Entry(t=2.0, bay="b", kind="advice", body=b"again")], lasting=False)
    assert (log.length, log.seal) == (2, seal)
    log.close()
    path.write_bytes(main)
    wal.write_bytes(kept)
    after = AuditLog(path)
    assert (after.length, after.head) == seal
    after.write([Entry(t=3.0, bay="b", kind="advice", body=b"new")], lasting=False)
    after.write([Entry(t=4.0, bay="b", kind="advice", body=b"other")])
    assert after.seal == (after.length, after.head)
    after.close()
    assert verify(path, seal) == (3, "")
