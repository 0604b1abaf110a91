"""What people tell a running bridge: by the local command, by channels; latches, restarts."""

from __future__ import annotations

import json
import threading
from dataclasses import replace

import pytest
from bridge_live import Broker, LiveBridge, LiveController, need_mosquitto, until, write_config
from bridge_world import MemoryWire

from firmware_bridge.bay.told import OVERDUE, WET_FOR
from firmware_bridge.cli import main
from firmware_bridge.codes import ADVICE_ALARMS, ALARM_IDS
from firmware_bridge.config import MappedAdvice, MappedReading, PlainTopics
from firmware_bridge.errors import JournalError
from firmware_bridge.journal.audit import entries
from firmware_bridge.journal.proof import log_of
from firmware_bridge.page.view import bay_text
from firmware_bridge.service.locks import Locks
from firmware_bridge.service.requests import RequestBox
from firmware_bridge.wire.client import Message
from firmware_bridge.wire.contract import FOLDER
from firmware_bridge.wire.messages import Alarms, decode
from ventcalc.advice import alarms as library

KINDS = {
    "pulp_1": ("pulp_temperature", "Cel"), "pulp_2": ("pulp_temperature", "Cel"),
    "plenum": ("plenum_temperature", "Cel"), "above": ("return_temperature", "Cel"),
    "above_rh": ("return_relative_humidity", "%"), "out": ("outside_temperature", "Cel"),
    "out_rh": ("outside_relative_humidity", "%"), "co2": ("co2", "[ppm]"),
    "fan": ("fan_speed", "%"), "door": ("door_opening", "%"),
}  # fmt: skip
TELLING = {
    "switch": ("people_inside", "1"), "wet": ("crop_wet", "1"), "rot": ("rot_share", "%"),
    "load": ("loaded_t", "t"), "season": ("stage", "1"), "broken": ("out_of_order", "1"),
}  # fmt: skip
WARM = {"pulp_1": 12.0, "pulp_2": 13.0, "plenum": 10.0, "above": 12.8, "above_rh": 92.0,
        "out": 6.0, "out_rh": 70.0, "co2": 1500.0, "fan": 0.0, "door": 0.0}  # fmt: skip


def mapping(kinds):
    return PlainTopics(
        readings=tuple(
            MappedReading(topic="plc/all", path=key, key=key, kind=kind, unit=unit)
            for key, (kind, unit) in kinds.items()
        ),
        advice=MappedAdvice(fan="plc/set/fan", valid="plc/set/valid", beat="plc/set/beat"),
        every_s=20.0,
    )


class Store:
    """A bay whose readings the test writes, in the place of a simulator."""

    def __init__(self, world):
        self.world, self.values, self.silent, self.due = world, dict(WARM), False, 0.0
        self.wire = MemoryWire(world.broker, [])
        world.broker.wires.append(self.wire)
        self.wire.connect()

    def turn(self):
        if self.silent or self.world.hand.now < self.due:
            return
        self.due = self.world.hand.now + 20.0
        noise = self.world.hand.now % 7.0 * 0.01  # no probe stands still
        found = {
            key: value + (0.0 if key in TELLING else noise)
            for key, value in self.values.items()
            if value is not None
        }
        body = json.dumps(found).encode()
        self.wire.send(Message(topic="plc/all", payload=body))


@pytest.fixture
def store(world):
    """A served bay, and a way to call the command while the bridge goes on."""
    made = []

    def make(kinds=KINDS, **settings):
        one = world(mapping=mapping(kinds), **settings)
        one.sims["bay-1"] = Store(one)
        one.lock = Locks(one.config)
        made.append(one)
        one.path = write_config(one.folder, 1, data=one.folder)
        return one

    yield make
    for one in made:
        one.lock.release()


def told(one, capsys, *words, do="tell"):
    """Exit status and what was printed, the bridge turning meanwhile."""
    args = [do, str(one.path), "--bay", "bay-1", "--by", "A. Person (invented)", *words]
    status = []
    thread = threading.Thread(target=lambda: status.append(main(args)))
    thread.start()
    while thread.is_alive():
        one.run(1.0, step=1.0)
        thread.join(0.005)
    out = capsys.readouterr()
    return status[0], (out.out + out.err).strip()


def words(one):
    return " ".join(one.bay.words("metric"))


def page(one):
    return bay_text(one.bay.view(one.hand.now), 0.0, "metric")


def alarms(one):
    """As they travel, by id."""
    found = [message for _, message in one.broker.of("alarm") if "_bridge" in message.topic]
    return {alarm.id: alarm for alarm in decode(found[-1].payload, Alarms).on}


def logged(one, kind):
    return [e.body.decode() for _, e, _ in entries(one.folder / "audit.db") if e.kind == kind]


# --- the latch ----------------------------------------------------------------------------------


@pytest.fixture
def latched(store):
    """Freeze protection has stopped the fans of a bay that wants its latch; then it thaws."""
    one = store()
    control = replace(one.bay.description.control, freeze_latch=1.0)
    one.bay.description = replace(one.bay.description, control=control)
    one.sim.values |= {"pulp_1": 8.0, "pulp_2": 8.4, "above": 8.4, "plenum": 7.0}
    one.run(400)
    one.sim.values["plenum"] = -1.0
    one.run(600)
    one.sim.values["plenum"] = 7.0
    one.run(1800)
    assert one.bay.memory.hourly.freeze_stage == 3
    return one


def test_a_latch_is_released_by_the_local_command_and_logged(latched, capsys):
    one = latched
    assert "frost_risk_bay_1" in alarms(one)
    before = one.bay.decision.targets
    assert before is None or before.fan == 0.0
    assert told(one, capsys, do="release") == (
        0,
        "bay-1: the latch of freeze protection is released",
    )
    one.run(60)
    assert one.bay.memory.hourly.freeze_stage == 0
    assert one.bay.decision.targets.fan > 0.0, "effective at the next advice"
    (event,) = [e for e in one.journal.events(bay="bay-1") if e.code == "release"]
    assert "A. Person (invented)" in event.text
    assert abs(event.t - one.hand.wall()) < 7200.0
    assert "A. Person (invented)" in logged(one, "release")[0]
    assert told(one, capsys, do="release")[0] == 1, "there is none any more"


def test_a_latch_survives_a_restart_and_so_does_its_release(latched, capsys):
    one = latched
    one.kill()
    one.start()
    assert one.bay.memory.hourly.freeze_stage == 3
    assert told(one, capsys, do="release")[0] == 0
    one.kill()
    one.start()
    assert one.bay.memory.hourly.freeze_stage == 0


def test_without_a_latch_nothing_is_released(store, capsys):
    one = store()
    one.run(100)
    status, line = told(one, capsys, do="release")
    assert status == 1
    assert line == ("firmware-bridge: bay-1: no freeze-protection latch stands; nothing was done")
    assert logged(one, "release") == []


def test_what_cannot_be_logged_is_not_done(latched, capsys, monkeypatch):
    def full(_found, **how):
        raise JournalError("audit log not written: disk full")

    monkeypatch.setattr(latched.service.audit, "write", full)
    status, line = told(latched, capsys, do="release")
    assert status == 1
    assert "disk full; nothing was done" in line
    assert latched.bay.memory.hourly.freeze_stage == 3


@pytest.mark.parametrize("do", ["release", "tell"])
def test_without_a_bridge_there_is_one_clear_line(tmp_path, capsys, do):
    path = write_config(tmp_path, 1)
    assert main([do, str(path), "--bay", "bay-1", "--by", "me"]) == 1
    (line,) = capsys.readouterr().err.splitlines()
    assert "no bridge runs on" in line
    assert not (tmp_path / "data" / "requests").exists()


def test_a_request_that_nobody_took_does_not_wait_for_the_next_bridge(store):
    one = store()
    folder = one.folder / "requests"
    body = {"do": "tell", "bay": "bay-1", "by": "me", "told": {"people_inside": True}}
    one.kill()
    (folder / "old.ask").write_text(json.dumps(body))
    one.start()
    one.run(60)
    assert one.bay.told.said == {}
    assert list(folder.iterdir()) == []


@pytest.mark.parametrize(
    "body",
    [b"", b"[]", b"{", b'{"do": 1}', b"\xff" * 9000,
     b'{"do": "format", "bay": "bay-1", "by": "me", "told": {}}',
     b'{"do": "tell", "bay": "bay-9", "by": "me", "told": {}}',
     b'{"do": "tell", "bay": "bay-1", "by": " ", "told": {}}',
     b'{"do": "tell", "bay": "bay-1", "by": "a\\u001b[2J", "told": {}}',
     b'{"do": "tell", "bay": "bay-1", "by": "me", "told": {"roof": 1}}'],
)  # fmt: skip
def test_what_is_no_request_is_refused_and_changes_nothing(store, body):
    one = store()
    one.run(60)
    folder = one.folder / "requests"
    (folder / "x.ask").write_bytes(body)
    one.run(5)
    assert [path.name for path in folder.iterdir()] == ["x.answer"]
    assert json.loads((folder / "x.answer").read_text())["done"] is False
    assert one.bay.told.said == {}


def test_the_folder_is_the_bridges_own(tmp_path):
    RequestBox(tmp_path / "data")
    assert (tmp_path / "data" / "requests").stat().st_mode & 0o077 == 0


# --- what is told -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("word", "channel", "reason"),
    [
        ("--stage=holding", {"season": 3}, "the stage is holding"),
        ("--crop-wet=yes", {"wet": 1}, "the crop is wet"),
        ("--rot-share=0.05", {"rot": 5.0}, "5% of the crop rots"),
        ("--loaded-t=900", {"load": 900.0}, "50% of the crop is in"),
        ("--out-of-order=humidifier,door", {"broken": 6}, "out of order: door, humidifier"),
    ],
)
@pytest.mark.parametrize("way", ["command", "channel"])
def test_each_word_is_named_in_the_reasons_and_in_messages(
    store, capsys, way, word, channel, reason
):
    one = store({**KINDS, **TELLING})
    one.run(200)
    assert "Told:" not in words(one)
    if way == "command":
        assert told(one, capsys, word)[0] == 0
    else:
        one.sim.values |= channel
    one.run(60)
    assert reason in words(one)
    assert reason in " ".join(page(one).words)
    expected = "out_of_order_bay_1" if "broken" in channel else "told_bay_1"
    assert expected in alarms(one)
    one.kill()
    one.start()
    one.sim.values = {key: value for key, value in one.sim.values.items() if key not in channel}
    one.run(200)
    assert reason in words(one), "a restart forgets nothing, nor does a channel that is silent"
    assert told(one, capsys, f"{word.partition('=')[0]}=none")[0] == 0
    one.run(60)
    assert "Told:" not in words(one)


def test_words_change_the_advice_as_on_the_command_line(store, capsys):
    """No door where it is out of order; the target of the stage; nothing where the fans are out."""
    one = store()
    one.run(900)
    free = one.bay.decision.targets
    assert free.fan > 0.0
    assert free.door > 0.1
    told(one, capsys, "--out-of-order=door")
    one.run(60)
    assert one.bay.decision.targets is None or one.bay.decision.targets.door == 0.0
    told(one, capsys, "--out-of-order=fans")
    one.run(60)
    assert one.bay.decision.code == "hands_off"
    assert "fans are told to be out of order" in one.bay.decision.text
    assert "fans are told to be out of order" in page(one).title
    assert "out of order: fans" in alarms(one)["out_of_order_bay_1"].text
    told(one, capsys, "--out-of-order=none", "--stage=holding")
    one.run(60)
    assert one.bay.memory.hourly.target < 12.0, "no ramp of the calendar's wound healing"


@pytest.mark.parametrize(
    ("word", "piece"),
    [("--people=yes", "unrecognized arguments"), ("--stage=winter", "write one of filling"),
     ("--people-inside=perhaps", "write true or false"), ("--rot-share=5", "a percentage"),
     ("--out-of-order=roof", "write a list of fans"), ("crop_wet", "unrecognized arguments")],
)  # fmt: skip
def test_words_that_are_none_are_refused_in_one_line(store, capsys, word, piece):
    one = store()
    one.run(60)
    status, line = told(one, capsys, word)
    assert status in (1, 2)
    assert piece in line
    assert len(line.splitlines()) == 1
    assert one.bay.told.said == {}


def test_a_wet_crop_is_dry_after_three_days_and_that_is_told(store, capsys):
    one = store()
    one.run(60)
    told(one, capsys, "--crop-wet=yes", "--rot-share=0.05")
    one.run(WET_FOR - 3600.0, step=900.0)
    assert "crop_wet" in one.bay.told.said
    one.run(7200.0, step=900.0)
    assert list(one.bay.told.said) == ["rot_share"]
    (event,) = [e for e in one.journal.events(bay="bay-1") if e.code == "told"]
    assert "crop_wet" in event.text


# --- people -------------------------------------------------------------------------------------


def test_people_inside_start_nothing_and_stay_until_told_otherwise(store, capsys):
    one = store()
    one.run(900)
    assert one.bay.decision.targets.fan > 0.0
    told(one, capsys, "--people-inside=yes")
    one.run(60)
    assert one.bay.decision.targets.why == "people"
    assert one.bay.decision.targets.fan == 0.0, "they stand"
    assert "People are inside" in words(one)
    assert alarms(one)["people_inside_bay_1"].level == 3
    one.kill()
    one.start()
    one.run(OVERDUE, step=60.0)
    one.run(300)
    assert one.bay.decision.targets.why == "people"
    late = alarms(one)["people_inside_bay_1"]
    assert late.level == 1
    assert "look for them" in late.text
    assert any("look for them" in alarm.text for alarm in page(one).alarms)
    told(one, capsys, "--people-inside=no")
    one.run(60)
    assert "people_inside_bay_1" not in alarms(one)
    assert one.bay.decision.targets.fan > 0.0
    assert len(logged(one, "tell")) == 2


def test_without_told_words_the_command_says_what_stands(store, capsys):
    one = store()
    one.run(60)
    assert told(one, capsys) == (0, "bay-1: told: nothing that stands now")
    told(one, capsys, "--stage=holding")
    assert told(one, capsys) == (0, "bay-1: told: stage holding")
    assert len(logged(one, "tell")) == 1, "asking is not telling"
    log = log_of(one.folder / "audit.db", "bay-1", 0.0, 1e11)
    (row,) = (row for row in log if row["kind"] == "tell")
    assert (row["by"], row["text"]) == ("A. Person (invented)", "told: stage holding")


def test_people_without_a_co2_reading_are_told_to_leave_first_of_all(store, capsys):
    one = store()
    one.sim.values["co2"] = None
    one.run(100)
    told(one, capsys, "--people-inside=yes")
    one.run(60)
    first = page(one).alarms[0]
    assert first.text == "People are inside and CO2 is not measured."
    assert first.first.startswith("Leave the bay, air it, and test the air")
    assert alarms(one)["co2_people_bay_1"].level == 1


def test_fans_that_run_go_on_as_they_do(store, capsys):
    one = store()
    one.sim.values |= {"fan": 60.0, "door": 30.0}
    one.run(900)
    told(one, capsys, "--people-inside=yes")
    one.run(60)
    targets = one.bay.decision.targets
    assert (targets.why, targets.fan) == ("people", pytest.approx(0.6, abs=0.002))
    assert targets.door == pytest.approx(0.3, abs=0.01)
    assert targets.water == targets.cool == targets.heat == 0.0


def test_a_switch_that_falls_silent_has_let_nobody_out(store, capsys):
    one = store({**KINDS, **TELLING})
    one.sim.values["switch"] = 1
    one.run(900)
    assert one.bay.decision.targets.why == "people"
    status, line = told(one, capsys, "--people-inside=no")
    assert status == 1
    assert "a channel of the controller tells it now; end it there" in line
    one.sim.values["switch"] = None
    one.run(600)
    assert one.bay.decision.targets.why == "people"
    assert "its switch is silent now" in alarms(one)["people_inside_bay_1"].text
    one.kill()
    one.start()
    one.run(300)
    assert one.bay.decision.targets.why == "people", "nor has a restart"
    one.sim.silent = True
    one.run(1200)
    assert one.bay.decision.targets is None
    assert "people_inside_bay_1" in alarms(one), "nor silence altogether"
    one.sim.silent = False
    one.run(120)
    assert told(one, capsys, "--people-inside=no")[0] == 0
    one.run(120)
    assert one.bay.decision.targets.why != "people"


def test_switch_and_word_do_not_undo_each_other(store, capsys):
    one = store({**KINDS, **TELLING})
    one.sim.values["switch"] = 1
    one.run(100)
    told(one, capsys, "--people-inside=yes")
    one.sim.values["switch"] = 0
    one.run(100)
    assert one.bay.decision.targets.why == "people", "the one who was told of is still inside"
    told(one, capsys, "--people-inside=no")
    one.run(60)
    assert one.bay.decision.targets is None or one.bay.decision.targets.why != "people"


def test_every_alarm_is_of_one_list_with_the_library():
    """Ids of the bridge alone have their reason beside them; the schema names them all."""
    assert ADVICE_ALARMS == library.ALARM_IDS
    assert len(set(ALARM_IDS)) == len(ALARM_IDS)
    schema = json.loads((FOLDER / "alarm.json").read_text(encoding="utf-8"))
    kinds = schema["$defs"]["Alarm"]["properties"]["kind"]["anyOf"][0]["enum"]
    assert sorted(kinds) == sorted(ALARM_IDS)
    assert schema["$defs"]["Alarm"]["required"] == ["id", "level"], "as ever"


def test_an_alarm_says_which_since_when_and_what_to_do_first(store):
    one = store()
    one.sim.values |= {"plenum": 0.5, "co2": 9000.0}
    one.run(300)
    found = alarms(one)
    for kind in ("frost_risk", "co2_people", "co2_crop"):
        alarm = found[f"{kind}_bay_1"]
        assert (alarm.kind, alarm.bay) == (kind, "bay-1")
        assert alarm.since.startswith("2026-11-05T03:")
        assert len(alarm.first) > 20
    assert found["frost_risk_bay_1"].level == 1
    shown = page(one).alarms
    assert shown[0].first == "Check the door and the plenum probe."
    us = bay_text(one.bay.view(one.hand.now), 0.0, "us").alarms
    assert "32.9 °F" in " ".join(alarm.text for alarm in us)


def test_no_topic_tells_or_releases(store):
    """What would be a command comes from nobody: local only."""
    one = store()
    one.run(100)
    for leaf in ("from/tell", "to/tell", "from/release", "from/people_inside"):
        one.sim.wire.send(Message(topic=f"vent/1/bay-1/{leaf}", payload=b'{"people_inside": true}'))
    one.run(100)
    assert one.bay.told.said == one.bay.told.heard == {}


def test_the_command_and_a_running_bridge_on_a_real_broker(tmp_path, capsys):
    need_mosquitto()
    broker = Broker(tmp_path / "broker")
    path = write_config(tmp_path, broker.port)
    controller, bridge = LiveController(broker.port), LiveBridge(path)
    try:
        until(lambda: controller.sim.following is not None, 20.0, "advice")
        args = [str(path), "--bay", "bay-1", "--by", "A. Person (invented)"]
        assert main(["tell", *args, "--people-inside=yes"]) == 0
        assert "people_inside yes" in capsys.readouterr().out
        until(lambda: "(by A. Person (invented))" in bridge.text(), 5.0, "an event")
        assert main(["release", *args]) == 1
        assert "no freeze-protection latch" in capsys.readouterr().err
    finally:
        controller.close()
        code = bridge.close()
        broker.stop()
    assert code == 0
    assert main(["verify", str(path)]) == 0
    assert any(e.kind == "tell" for _, e, _ in entries(tmp_path / "data" / "audit.db"))
