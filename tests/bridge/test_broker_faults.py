"""The fault matrix against a real mosquitto; each test has its own port and folder."""

from __future__ import annotations

import contextlib
import json
import os
import resource
import shutil
import socket
import subprocess
import sys
import time
from collections import Counter

import pytest
from bridge_live import (
    MOSQUITTO,
    Broker,
    LiveBridge,
    LiveController,
    Proxy,
    free_port,
    need_mosquitto,
    until,
    write_config,
)

from firmware_bridge import codes
from firmware_bridge.config import BrokerConfig, read_config
from firmware_bridge.journal.audit import AuditLog, entries, verify
from firmware_bridge.journal.export import samples_of_journal
from firmware_bridge.journal.journal import Journal
from firmware_bridge.wire import messages
from firmware_bridge.wire.client import Link, Message
from firmware_bridge.wire.selftest import try_broker
from firmware_bridge.wire.topics import link_topics

BIRTH = messages.Birth(
    boot=7,
    channels=(messages.Channel(key="pulp_1", kind="pulp_temperature", unit="Cel"),),
    takes=("fan",),
)


@pytest.fixture
def live(tmp_path):
    """Things that are closed at the end, last one first."""
    need_mosquitto()
    made = []

    class Live:
        folder = tmp_path

        def broker(self, **settings):
            one = Broker(tmp_path / f"broker-{len(made)}", **settings)
            made.append((one, one.kill))
            return one

        def proxy(self, port):
            one = Proxy(port)
            made.append((one, one.close))
            return one

        def controller(self, port, **settings):
            one = LiveController(port, **settings)
            made.append((one, one.close))
            return one

        def bridge(self, port, **settings):
            one = LiveBridge(write_config(tmp_path, port, **settings))
            made.append((one, one.kill))
            return one

        def listener(self, port, topic="#"):
            one = Listener(port, topic)
            made.append((one, one.close))
            return one

    yield Live()
    for _, end in reversed(made):
        end()


class Listener:
    """A client that keeps everything it hears."""

    def __init__(self, port, topic="#"):
        self.link = Link(
            BrokerConfig(port=port, tls=False, protocol="5", reconnect_s=0.3),
            f"ear-{port}-{time.monotonic_ns()}",
            [(topic, 0)],
            time.monotonic,
        )
        self.heard = []
        self.link.start()
        until(lambda: self.link.ready, 5.0, "listener ready")

    def of(self, leaf):
        self.heard += self.link.receive(100_000)
        return [one for one in self.heard if one.topic.endswith(f"/{leaf}")]

    def say(self, topic, payload, qos=1, retain=False):
        """Past our own limits, as a stranger would."""
        self.link._client.publish(topic, payload, qos, retain).wait_for_publish(5.0)

    def close(self):
        self.link.stop()


def follows(controller, patience=20.0):
    return until(lambda: controller.sim.following is not None, patience, "advice followed")


def stops(controller, patience=10.0):
    return until(lambda: controller.sim.following is None, patience, "advice ended")


def stored(live):
    journal = Journal(live.folder / "data" / "journal.db", read_only=True)
    found = [(sample.boot, sample.seq) for _, sample in samples_of_journal(journal, "bay-1")]
    journal.close()
    return found


def test_a_bridge_and_a_controller_find_each_other_and_part(live):
    broker = live.broker()
    bridge = live.bridge(broker.port)
    controller = live.controller(broker.port, form="integers")
    ear = live.listener(broker.port)
    follows(controller)
    assert bridge.close() == 0
    stops(controller)
    last = json.loads(ear.of("advice")[-1].payload)
    assert last[7] == 0
    assert codes.NONE_REASONS[last[8]] == "shutdown"
    until(lambda: json.loads(ear.of("state")[-1].payload)["on"] == 0, 5.0, "bridge says off")
    assert verify(live.folder / "data" / "audit.db")[1] == ""


def test_broker_killed_and_restarted(live):
    """Fault 1: nothing stored is lost or doubled, and advice comes back by itself."""
    broker = live.broker()
    bridge = live.bridge(broker.port)
    controller = live.controller(broker.port)
    follows(controller)
    for _ in range(2):
        broker.kill()
        stops(controller)
        broker.start()
        follows(controller, 30.0)
    assert bridge.close() == 0
    found = stored(live)
    assert found
    assert max(Counter(found).values()) == 1


def test_broker_that_forgets_everything(live):
    """Faults 2 and 3: a broker without its memory; births and subscriptions are made anew."""
    broker = live.broker()
    live.bridge(broker.port)
    controller = live.controller(broker.port)
    follows(controller)
    broker.stop()
    broker.start()
    follows(controller, 30.0)
    ear = live.listener(broker.port)
    until(lambda: ear.of("birth"), 5.0, "birth is retained again")


@pytest.mark.parametrize("side", ["bridge", "controller"])
def test_a_link_that_is_cut_brings_no_old_advice(live, side):
    """Fault 4: after the cut heals, nothing older than its life is taken."""
    broker = live.broker()
    proxy = live.proxy(broker.port)
    live.bridge(proxy.port if side == "bridge" else broker.port)
    controller = live.controller(proxy.port if side == "controller" else broker.port)
    follows(controller)
    proxy.mode = "refuse"
    proxy.reset()
    stops(controller)
    time.sleep(3.0)
    begin = time.monotonic()
    proxy.mode = "pass"
    follows(controller, 30.0)
    for at, advice in controller.sim.applied:
        if at >= begin:
            assert at - controller.sim.receiver._ring[advice.rests_on[1]] <= 3.0


@pytest.mark.parametrize("side", ["bridge", "controller"])
def test_a_half_open_link_is_noticed_by_both_sides(live, side):
    """Fault 5: nobody is told; the controller falls back and the bridge says lost or link."""
    broker = live.broker()
    proxy = live.proxy(broker.port)
    bridge = live.bridge(proxy.port if side == "bridge" else broker.port)
    controller = live.controller(proxy.port if side == "controller" else broker.port)
    follows(controller)
    proxy.mode = "hole"
    begin = time.monotonic()
    stops(controller, 8.0)
    assert time.monotonic() - begin < 6.0
    until(lambda: " stale " in bridge.text() or " lost " in bridge.text()
          or " link " in bridge.text().split(" ok ")[-1], 15.0, "bridge notices")  # fmt: skip
    proxy.mode = "pass"
    proxy.reset()
    follows(controller, 30.0)


def test_a_packet_cut_anywhere_is_never_taken_for_a_message(live):
    """Fault 6: the controller's stream is cut after N bytes, N over more than a reading."""
    broker = live.broker()
    proxy = live.proxy(broker.port)
    bridge = live.bridge(broker.port)
    controller = live.controller(proxy.port, every=0.2)
    follows(controller)
    for count in range(1, 700, 77):
        proxy.left = count
        until(lambda: proxy.left is None, 5.0, "cut")
        until(lambda: controller.link.connected, 5.0, "connected again")
    follows(controller, 30.0)
    assert bridge.close() == 0
    assert "bad_message" not in bridge.text()


def test_readings_delivered_twice_are_stored_once(live):
    """Fault 7: the broker's answers are swallowed, so that the client sends again."""
    broker = live.broker()
    proxy = live.proxy(broker.port)
    bridge = live.bridge(broker.port)
    controller = live.controller(proxy.port)
    ear = live.listener(broker.port)
    follows(controller)
    for _ in range(3):
        proxy.swallow_answers = True
        time.sleep(1.0)
        proxy.reset()
        proxy.swallow_answers = False
        until(lambda: controller.link.connected, 5.0, "connected again")
        time.sleep(0.5)
    heard = Counter(
        (one["boot"], one["seq"]) for one in (json.loads(m.payload) for m in ear.of("reading"))
    )
    assert max(heard.values()) > 1, "the test made no copy"
    follows(controller, 30.0)
    assert bridge.close() == 0
    assert max(Counter(stored(live)).values()) == 1


def test_more_at_once_than_a_broker_keeps_for_answers_comes_whole(live):
    """Of what must be answered one by one a broker keeps 1 000 by default, and drops the rest."""
    broker = live.broker()
    config = read_config(write_config(live.folder, broker.port))
    link = Link(config.broker, "burst", link_topics(config), time.monotonic)
    link.start()
    until(lambda: link.ready, 10.0, "subscribed")
    topic, many = b"vent/1/bay-1/from/reading", 3000
    head = len(topic).to_bytes(2, "big") + topic
    bodies = [head + n.to_bytes(2, "big") + b"%08d" % n for n in range(1, many + 1)]
    with socket.create_connection(("127.0.0.1", broker.port), 5.0) as one:
        one.sendall(b"\x10\x10\x00\x04MQTT\x04\x02\x00\x3c\x00\x04many")  # MQTT 3.1.1, clean
        assert one.recv(4) == b"\x20\x02\x00\x00"
        one.sendall(b"".join(b"\x32" + bytes([len(body)]) + body for body in bodies))  # QoS 1
        until(lambda: link.waiting == many, 20.0, "all of them")
    assert [int(message.payload) for message in link.receive(many)] == list(range(1, many + 1))
    link.stop()


HOSTILE = {
    "malformed": b'{"boot":1,',
    "nesting": b"[" * 15000,
    "digits": b'{"boot":' + b"9" * 5000 + b"}",
    "utf-16": '{"boot":1}'.encode("utf-16"),
    "nan": b'{"boot":1,"seq":1,"v":{"a":NaN}}',
    "huge": b"x" * 1_000_000,
    "empty": b"",
}


def test_hostile_payloads(live):
    """Faults 9, 10 and 12: refused, told once, and the bridge goes on."""
    broker = live.broker()
    bridge = live.bridge(broker.port)
    controller = live.controller(broker.port)
    ear = live.listener(broker.port)
    follows(controller)
    for payload in HOSTILE.values():
        for leaf in ("reading", "birth", "state", "ack"):
            ear.say(f"vent/1/bay-1/from/{leaf}", payload)
        ear.say("vent/1/bay-1/to/advice", payload, qos=0)
        ear.say("vent/1/bay-1/to/beat", payload, qos=0)
    time.sleep(1.0)
    begin = len(ear.of("advice"))
    until(lambda: any(b'"why"' in m.payload for m in ear.of("advice")[begin:]), 15.0, "advice")
    follows(controller)
    assert bridge.process.poll() is None
    assert bridge.text().count("bad_message") <= 6


def test_advice_kept_or_played_again_moves_nothing(live):
    """Faults 15 and 16."""
    broker = live.broker()
    bridge = live.bridge(broker.port)
    controller = live.controller(broker.port)
    ear = live.listener(broker.port)
    follows(controller)
    assert bridge.close() == 0
    stops(controller)
    session = [one.payload for one in ear.of("advice") if b'"why"' in one.payload]
    assert session
    ear.say("vent/1/bay-1/to/advice", session[-1], retain=True)
    controller.close()
    again = live.controller(broker.port)
    until(lambda: again.sim.acks, 5.0, "the kept one was answered")
    for payload in session:
        ear.say("vent/1/bay-1/to/advice", payload, qos=0)
    until(lambda: len(again.sim.acks) > len(session), 5.0, "all were answered")
    assert {ack.code for ack in again.sim.acks} <= {"retained", "boot", "stale", "replay"}
    assert again.sim.applied == []


def test_two_bridges_of_one_machine(live):
    """Fault 17: the second does not even start."""
    broker = live.broker()
    first = live.bridge(broker.port)
    until(lambda: (live.folder / "data" / "instance").exists(), 10.0, "first runs")
    second = live.bridge(broker.port, name="bridge-b", data=live.folder / "other")
    assert second.process.wait(10) == 1
    assert "another bridge on this machine serves bay bay-1" in second.text()
    assert first.process.poll() is None


def test_two_bridges_of_two_machines(live):
    """Fault 17: the later one serves, the earlier stands back with an alarm."""
    broker = live.broker()
    first = live.bridge(broker.port)
    controller = live.controller(broker.port)
    follows(controller)
    second = live.bridge(
        broker.port, name="bridge-b", data=live.folder / "other", locks=live.folder / "otherlocks"
    )
    until(lambda: "other_bridge" in first.text() + second.text(), 30.0, "one stands back")
    until(lambda: len({a.id[0] for _, a in controller.sim.applied[-3:]}) == 1
          and controller.sim.applied[-1][1].id[1] > 3, 30.0, "one serves")  # fmt: skip
    time.sleep(2.0)
    begin = len(controller.sim.applied)
    until(lambda: len(controller.sim.applied) > begin + 2, 20.0, "it goes on")
    assert len({advice.id[0] for _, advice in controller.sim.applied[begin:]}) == 1
    assert first.process.poll() is None
    assert second.process.poll() is None


def boots_of(ear, bay, since=0):
    """Boots of the bridge by which a bay was advised, and the readings that were answered."""
    found = [json.loads(m.payload) for m in ear.of("advice")[since:] if f"/{bay}/" in m.topic]
    # The last word of who stands back: it ends only what it has said itself.
    found = [one for one in found if one.get("none") != "other_bridge"]
    return {one["id"][0] for one in found}, [tuple(one["for"]) for one in found]


def test_bays_shared_out_over_two_processes(live):
    """One broker, two bridges with bays of their own; a third that wants one of them is refused."""
    broker = live.broker()
    ear = live.listener(broker.port)
    one = live.controller(broker.port, name="bay-1")
    two = live.controller(broker.port, name="bay-2")
    three = live.controller(broker.port, name="bay-3")
    first = live.bridge(broker.port, bays=("bay-1", "bay-3"))
    second = live.bridge(broker.port, name="bridge-b", bays=("bay-2",), data=live.folder / "other")
    for controller in (one, two, three):
        follows(controller)
    until(lambda: "bay-1 ok" in first.text() and "bay-2 ok" in second.text(), 10.0, "both say so")
    third = live.bridge(
        broker.port, name="bridge-c", bays=("bay-4", "bay-2"), data=live.folder / "third"
    )
    assert third.process.wait(10) == 1
    assert "another bridge on this machine serves bay bay-2" in third.text()
    begin = len(one.sim.applied) + len(two.sim.applied)
    until(lambda: len(one.sim.applied) + len(two.sim.applied) > begin + 4, 20.0, "it goes on")
    assert "bay-2" not in first.text()
    assert "bay-1" not in second.text()
    for bay in ("bay-1", "bay-2", "bay-3"):
        boots, answered = boots_of(ear, bay)
        assert len(boots) == 1
        assert len(answered) == len(set(answered))
    assert first.close() == 0
    assert second.close() == 0
    for data, bays in (("data", {"bay-1", "bay-3"}), ("other", {"bay-2"})):
        logged = entries(live.folder / data / "audit.db")
        assert {entry.bay for _, entry, _ in logged if entry.kind == "advice"} == bays


def test_one_bay_claimed_from_another_machine_changes_hands_alone(live):
    """The later bridge gets the bay that both have in their files; the other bay is left alone."""
    broker = live.broker()
    ear = live.listener(broker.port)
    one = live.controller(broker.port, name="bay-1")
    two = live.controller(broker.port, name="bay-2")
    first = live.bridge(broker.port, bays=("bay-1", "bay-2"))
    follows(one)
    follows(two)
    before = boots_of(ear, "bay-1")[0]
    audit = AuditLog(live.folder / "other" / "audit.db")
    audit.next_boot(time.time() + 600.0)  # of two that start in one minute either may be the later
    audit.close()
    second = live.bridge(
        broker.port, name="bridge-b", bays=("bay-2",), data=live.folder / "other",
        locks=live.folder / "otherlocks",
    )  # fmt: skip
    until(lambda: "bay-2 other_bridge" in first.text(), 30.0, "the first stands back")
    since = len(ear.of("advice"))
    until(lambda: len(boots_of(ear, "bay-2", since)[1]) > 3, 20.0, "the second serves bay-2")
    until(lambda: len(boots_of(ear, "bay-1", since)[1]) > 3, 20.0, "the first serves bay-1")
    assert boots_of(ear, "bay-1", since)[0] == before
    assert len(boots_of(ear, "bay-2", since)[0]) == 1
    assert boots_of(ear, "bay-2", since)[0] != before
    follows(one)
    follows(two)
    assert "other_bridge" not in second.text()


def test_a_flood_of_one_bay_leaves_the_other_alone(live):
    """Fault 18: twenty thousand messages, memory bounded, the other bay advised in time."""
    broker = live.broker()
    bridge = live.bridge(broker.port, bays=("bay-1", "bay-2"))
    two = live.controller(broker.port, name="bay-2")
    ear = live.listener(broker.port, "vent/1/bay-2/#")
    follows(two)
    before = memory_mb(bridge.process.pid)
    begin = len(ear.of("advice"))
    for n in range(20_000):
        payload = b'{"boot":1,"seq":%d,"v":{}}' % n
        ear.link.send(Message(topic="vent/1/bay-1/from/reading", payload=payload))
    until(lambda: len(ear.of("advice")) > begin + 3, 15.0, "bay-2 is advised")
    follows(two)
    assert memory_mb(bridge.process.pid) < before + 60


def test_a_subscriber_that_never_reads_stalls_nobody_else(live):
    """It asks for everything, takes nothing, and its window fills; bridge and bay go on."""
    broker = live.broker()
    bridge = live.bridge(broker.port)
    controller = live.controller(broker.port)
    with socket.socket() as deaf:
        deaf.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 2048)
        deaf.connect(("127.0.0.1", broker.port))
        deaf.sendall(b"\x10\x10\x00\x04MQTT\x04\x02\x00\x00\x00\x04deaf")
        deaf.sendall(b"\x82\x06\x00\x01\x00\x01#\x01")
        assert deaf.recv(9, socket.MSG_WAITALL) == b"\x20\x02\x00\x00\x90\x03\x00\x01\x01", (
            "granted; its last read"
        )
        follows(controller)
        filler = live.listener(broker.port, "vent/1/bay-1/to/advice")
        before = memory_mb(bridge.process.pid)
        for _ in range(300):
            filler.link.send(Message(topic="filler", payload=b"x" * 30_000))
        begin = len(filler.of("advice"))
        until(lambda: len(filler.of("advice")) > begin + 3, 15.0, "advice goes on")
        follows(controller)
        assert memory_mb(bridge.process.pid) < before + 20


def memory_mb(pid):
    with open(f"/proc/{pid}/statm", encoding="ascii") as file:
        return int(file.read().split()[1]) * os.sysconf("SC_PAGE_SIZE") / 1e6


def test_bridge_killed_at_random_points(live):
    """Fault 23: boot numbers rise, no number of advice comes twice, the log stays sound."""
    broker = live.broker()
    controller = live.controller(broker.port, every=0.1)
    ear = live.listener(broker.port)
    for n in range(4):
        bridge = live.bridge(broker.port)
        begin = len(ear.of("advice"))
        until(lambda begin=begin: len(ear.of("advice")) > begin, 20.0, "advice of this boot")
        time.sleep(0.29 * n)
        bridge.kill()
        early = live.bridge(broker.port)
        time.sleep(0.4 + 0.31 * n)
        early.kill()
    found = [tuple(json.loads(m.payload)["id"]) for m in ear.of("advice")]
    assert len({boot for boot, _ in found}) >= 3
    assert found == sorted(set(found))
    _, problem = verify(live.folder / "data" / "audit.db")
    assert problem == ""
    logged = {
        tuple(json.loads(entry.body.split(b" ")[0])[1:3])
        for _, entry, _ in entries(live.folder / "data" / "audit.db")
        if entry.kind == "advice"
    }
    assert set(found) <= logged
    stops(controller)


class FullFiles:
    """No file of the bridge may grow any more: what a full disk does, for anybody to play."""

    reasons = ("audit",)

    def __init__(self, folder):
        self.data, self.pid = folder / "data", None

    def fill(self, pid):
        self.pid, self.before = pid, resource.prlimit(pid, resource.RLIMIT_FSIZE)
        size = (self.data / "audit.db-wal").stat().st_size
        resource.prlimit(pid, resource.RLIMIT_FSIZE, (size, self.before[1]))

    def free(self):
        resource.prlimit(self.pid, resource.RLIMIT_FSIZE, self.before)

    def close(self):
        pass


class FullDisk:
    """A real disk of 32 MB, where the user may mount one."""

    reasons = ("audit", "disk")

    def __init__(self, folder):
        self.folder = folder / "small"
        self.data = self.folder / "data"
        self.folder.mkdir()
        command = ["mount", "-t", "tmpfs", "-o", "size=32m", "none", str(self.folder)]
        subprocess.run(command, check=True)

    def fill(self, _):
        ballast = self.folder / "ballast"
        with ballast.open("wb", buffering=0) as file, contextlib.suppress(OSError):
            for _ in range(10_000):
                file.write(b"x" * 4096)

    def free(self):
        (self.folder / "ballast").unlink()

    def close(self):
        subprocess.run(["umount", "-l", str(self.folder)], check=True)


@pytest.mark.parametrize("way", [FullFiles, FullDisk] if os.geteuid() == 0 else [FullFiles])
def test_disk_full(live, way):
    """Fault 21: none with the reason, and back without a restart when there is space again."""
    disk = way(live.folder)
    bridge = None
    try:
        broker = live.broker()
        bridge = live.bridge(broker.port, data=disk.data, low=2)
        controller = live.controller(broker.port)
        ear = live.listener(broker.port)
        follows(controller)
        disk.fill(bridge.process.pid)
        until(
            lambda: any(
                json.loads(m.payload).get("none") in disk.reasons for m in ear.of("advice")
            ),
            45.0,
            "none because of the disk",
        )
        stops(controller)
        assert bridge.process.poll() is None
        disk.free()
        follows(controller, 60.0)
        assert bridge.close() == 0
        assert verify(disk.data / "audit.db")[1] == ""
        assert bay_codes(disk.data) & set(disk.reasons)
    finally:
        if bridge is not None:
            bridge.kill()
        disk.close()


def bay_codes(data):
    """Codes of all events of the journal."""
    journal = Journal(data / "journal.db", read_only=True)
    found = {event.code for event in journal.events()}
    journal.close()
    return found


# --- who may do what -------------------------------------------------------------------------


def certificates(folder):
    """A small authority of the test's own, with a server's certificate, and a stranger's."""
    if shutil.which("openssl") is None:
        pytest.fail("openssl is not installed; apt-get install openssl")

    def run(*words):
        subprocess.run(["openssl", *words], cwd=folder, check=True, capture_output=True)

    for name in ("ca", "stranger"):
        run("req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes",
            "-keyout", f"{name}.key", "-out", f"{name}.pem", "-days", "2",
            "-subj", f"/CN={name}")  # fmt: skip
    run("req", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes", "-keyout",
        "server.key", "-out", "server.csr", "-subj", "/CN=127.0.0.1")  # fmt: skip
    (folder / "ext").write_text("subjectAltName=IP:127.0.0.1\n")
    run("x509", "-req", "-in", "server.csr", "-CA", "ca.pem", "-CAkey", "ca.key",
        "-CAcreateserial", "-out", "server.pem", "-days", "2", "-extfile", "ext")  # fmt: skip


@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
def test_certificates_are_always_verified(live):
    """Fault 24: a broker whose certificate another authority signed gets nothing from us.

    The MQTT library leaves a socket to the garbage collector after a failed handshake.
    """
    certificates(live.folder)
    port = free_port()
    broker = live.broker(
        port=port,
        extra=f"listener {port} 127.0.0.1\nallow_anonymous true\n"
        f"certfile {live.folder}/server.pem\nkeyfile {live.folder}/server.key\n"
        "user root\n",
    )
    good = write_config(live.folder, broker.port, broker='tls = true\nca_file = "ca.pem"')
    found = list(try_broker(read_config(good), 4.0))
    assert found[0][0] == "ok"
    assert "encrypted" in found[0][1]
    bad = write_config(
        live.folder, broker.port, name="bridge-b", broker='tls = true\nca_file = "stranger.pem"'
    )
    assert [level for level, _ in try_broker(read_config(bad), 3.0)] == ["problem"]
    plain = write_config(live.folder, broker.port, name="bridge-c", broker="tls = false")
    assert [level for level, _ in try_broker(read_config(plain), 3.0)] == ["problem"]


def test_access_list_and_passwords(live):
    """Fault 24: the check tells a broker that guards its topics from one that does not."""
    passwords = live.folder / "passwords"
    passwords.touch()
    for name in ("barn", "bay-1"):
        tool = shutil.which("mosquitto_passwd", path=os.environ["PATH"] + ":/usr/bin")
        subprocess.run([tool, "-b", str(passwords), name, f"pw-{name}"], check=True)
    (live.folder / "acl").write_text(
        "user barn\ntopic read vent/1/+/from/#\ntopic readwrite vent/1/+/to/#\n"
        "topic write vent/1/_bridge/#\n"
        "pattern write vent/1/%u/from/#\npattern read vent/1/%u/to/#\n"
    )
    port = free_port()
    broker = live.broker(
        port=port,
        extra=f"listener {port} 127.0.0.1\nallow_anonymous false\nuser root\n"
        f"password_file {passwords}\nacl_file {live.folder}/acl\n",
    )
    secret = live.folder / "secret"
    secret.write_text("pw-barn\n")
    secret.chmod(0o600)
    config = write_config(
        live.folder, broker.port, broker='username = "barn"\npassword_file = "secret"'
    )
    known = BrokerConfig(port=port, tls=False, username="bay-1", password="pw-bay-1")
    birth = Message(
        topic="vent/1/bay-1/from/birth", payload=messages.encode(BIRTH), qos=1, retain=True
    )
    controller = Link(known, "bay-1", (), time.monotonic, birth=lambda: [birth])
    controller.start()
    until(lambda: controller.ready, 5.0, "controller")
    assert {level for level, _ in try_broker(read_config(config), 4.0, hear_for=0.5)} == {"ok"}
    controller.stop()
    secret.write_text("wrong\n")
    found = list(try_broker(read_config(config), 4.0))
    assert found[0][0] == "problem"
    assert "refused" in found[0][1]
    assert "wrong" not in found[0][1]


def test_check_warns_of_an_open_broker(live):
    broker = live.broker()
    config = write_config(live.folder, broker.port)
    done = subprocess.run(
        [sys.executable, "-m", "firmware_bridge", "check", str(config)],
        capture_output=True, text=True, timeout=60, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr
    assert "hears its own beat" in done.stdout
    assert "warning" in done.stdout


def test_check_without_broker(live):
    config = write_config(live.folder, 1)
    found = list(try_broker(read_config(config), 1.0))
    assert [level for level, _ in found] == ["problem"]
    assert "no connection" in found[0][1]


@pytest.mark.parametrize("late", [False, True])
def test_older_brokers_are_spoken_to_in_3_1_1(live, late):
    """A broker that only knows MQTT 3.1.1, there from the first or started later."""
    from amqtt_broker import AmqttBroker

    port = free_port()
    if late:
        bridge = live.bridge(port)
        until(lambda: "no connection" in bridge.text(), 15.0, "no connection yet")
    with AmqttBroker(port):
        bridge = bridge if late else live.bridge(port)
        controller = live.controller(port)
        follows(controller, 60.0)
        controller.close()
        assert bridge.close() == 0


def test_a_strangers_client_is_understood(live):
    """The plain command-line tools of the broker, as a first-time user would try them."""
    if shutil.which("mosquitto_sub") is None:
        pytest.fail("mosquitto_sub is not installed; apt-get install mosquitto-clients")
    broker = live.broker()
    live.bridge(broker.port)
    controller = live.controller(broker.port)
    follows(controller)
    heard = subprocess.run(
        ["mosquitto_sub", "-p", str(broker.port), "-t", "vent/1/bay-1/to/advice", "-C", "1",
         "-W", "10"], capture_output=True, text=True, check=True,
    )  # fmt: skip
    assert messages.decode(heard.stdout.strip().encode(), messages.AdviceMessage).ttl == 3
    assert MOSQUITTO


def test_a_missing_broker_fails_in_ci_and_skips_elsewhere(monkeypatch):
    monkeypatch.setattr("bridge_live.MOSQUITTO", None)
    monkeypatch.setenv("CI", "true")
    with pytest.raises(pytest.fail.Exception, match="apt-get install mosquitto"):
        need_mosquitto()
    monkeypatch.delenv("CI")
    with pytest.raises(pytest.skip.Exception, match="apt-get install mosquitto"):
        need_mosquitto()


def test_advice_of_somebody_else_is_heard(live):
    """The broker keeps the bridge's own advice from it (no local): all that it hears is forged."""
    broker = live.broker()
    bridge = live.bridge(broker.port)
    controller = live.controller(broker.port)
    follows(controller)
    ear = live.listener(broker.port)
    until(lambda: len(ear.of("advice")) > 2, 10.0, "advice goes out")
    assert "forged" not in bridge.text()
    ear.say("vent/1/bay-1/to/advice", b"{}", qos=0)
    until(lambda: "bay-1 forged somebody else speaks" in bridge.text(), 5.0, "it is told")
