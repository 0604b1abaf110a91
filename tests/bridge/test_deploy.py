"""The files of ``deploy``: started, verified and linted as they stand."""

from __future__ import annotations

import json
import os
import re
import shlex
import shutil
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
import trustme
from bridge_live import Broker, LiveBridge, free_port, need_mosquitto, until, write_config
from prometheus_client.parser import text_string_to_metric_families

from firmware_bridge.cli import main
from firmware_bridge.config import BrokerConfig
from firmware_bridge.wire.certificates import alarms_of
from firmware_bridge.wire.client import Link, Message
from firmware_bridge.wire.trouble import reason_of

DEPLOY = Path(__file__).parents[2] / "deploy"
UNIT = DEPLOY / "firmware-bridge.service"
OWN = "/opt/firmware-bridge/bin/firmware-bridge"
PEOPLE = ("bridge", "people", "gateway-7", "bay-1", "bay-2")


# --- the broker ------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def broker(tmp_path_factory):
    """Mosquitto with the files of ``deploy``; only paths and port are the test's."""
    need_mosquitto()
    etc = tmp_path_factory.mktemp("mosquitto")
    ca = trustme.CA()
    server = ca.issue_cert("127.0.0.1")
    (etc / "certs").mkdir()
    server.private_key_pem.write_to_path(str(etc / "certs" / "server.key"))
    for n, part in enumerate(server.cert_chain_pems):
        part.write_to_path(str(etc / "certs" / "server.crt"), append=n > 0)
    ca.cert_pem.write_to_path(str(etc / "ca.crt"))
    shutil.copy(DEPLOY / "mosquitto.acl", etc / "store.acl")
    passwords = etc / "passwords"
    passwords.touch()
    for name in PEOPLE:
        tool = shutil.which("mosquitto_passwd", path=os.environ["PATH"] + ":/usr/bin")
        subprocess.run([tool, "-b", str(passwords), name, f"pw-{name}"], check=True)
    port = free_port()
    text = (DEPLOY / "mosquitto.conf").read_text()
    assert text.count("listener 8883") == 1
    text = text.replace("listener 8883", f"listener {port} 127.0.0.1")
    one = Broker(etc, text.replace("/etc/mosquitto", str(etc)) + "user root\n", port)
    yield one
    one.stop()


class Client:
    """Somebody with a password."""

    def __init__(self, broker, name, *topics, password=None):
        config = BrokerConfig(
            port=broker.port,
            tls=True,
            ca_file=broker.folder / "ca.crt",
            username=name,
            password=password or f"pw-{name}",
        )
        self.link = Link(config, f"test-{name}", [(topic, 1) for topic in topics], time.monotonic)
        self.link.start()

    def __enter__(self):
        until(lambda: self.link.ready, 10.0, "ready")
        return self

    def __exit__(self, *_):
        self.link.stop()

    def say(self, topic, payload=b"1"):
        assert self.link.send(Message(topic=topic, payload=payload, qos=1))

    def hears(self, last):
        """Topics up to a last one, which shows that nothing more is on its way."""
        found = []
        until(lambda: found.extend(self.link.receive()) or last in [m.topic for m in found])
        return [message.topic for message in found][:-1]


def test_who_may_speak_on_the_sample_broker(broker):
    """Everybody tries everything; what is heard is what the access list says."""
    topics = [
        *(f"vent/1/{bay}/{leaf}" for bay in ("bay-1", "bay-2")
          for leaf in ("from/reading", "to/advice", "to/beat")),
        "vent/1/_bridge/barn/state", "plc/7/from/pt1", "plc/8/from/pt1", "plc/7/set/fan",
        "plc/7/set",
    ]  # fmt: skip
    may = {
        "bay-1": ["vent/1/bay-1/from/reading"],
        "bay-2": ["vent/1/bay-2/from/reading"],
        "bridge": [one for one in topics if "/to/" in one or "_bridge" in one or "/set" in one],
        "people": [],
        "gateway-7": ["plc/7/from/pt1"],
    }
    with Client(broker, "bridge", "vent/1/+/from/#", "vent/1/+/to/#", "plc/#") as bridge:
        for name in PEOPLE:
            if name == "bridge":
                continue
            with Client(broker, name) as one:
                for topic in topics:
                    one.say(topic)
                bridge.say("vent/1/end/to/beat")  # its own client's messages come in order
                until(lambda one=one: not one.link._client._out_messages, 5.0, "all were answered")
            bridge.say("vent/1/last/to/beat")
            heard = [t for t in bridge.hears("vent/1/last/to/beat") if "/end/" not in t]
            assert heard == may[name], name


def test_who_may_hear_on_the_sample_broker(broker):
    hears = {
        "bay-1": ["vent/1/bay-1/to/advice"],
        "bay-2": ["vent/1/bay-2/to/advice"],
        "people": ["vent/1/bay-1/to/advice", "vent/1/bay-2/to/advice", "vent/1/_bridge/barn/alarm"],
        "gateway-7": ["plc/7/set", "plc/7/set/fan"],
    }
    last = {"people": "vent/1/_bridge/end/alarm", "gateway-7": "plc/7/set/end"}
    with Client(broker, "bridge") as bridge:
        for name, wanted in hears.items():
            with Client(broker, name, "#") as one:
                for topic in ("vent/1/bay-1/to/advice", "vent/1/bay-2/to/advice",
                              "vent/1/_bridge/barn/alarm", "plc/7/set",
                              "plc/7/set/fan"):  # fmt: skip
                    bridge.say(topic)
                end = last.get(name, f"vent/1/{name}/to/end")
                bridge.say(end)
                assert one.hears(end) == wanted, name


def test_no_password_no_entry(broker):
    one = Client(broker, "bay-1", password="pw-bay-2")
    words = "refused: Not authorized; look at username and password in [broker]"
    until(lambda: words in one.link.problem, 10.0, words)
    one.link.stop()


@pytest.fixture
def locked(tmp_path, request):
    """A broker with a certificate of the test's choice, and the authority that signed it."""
    need_mosquitto()
    names, settings, lines = request.param
    ca, port = trustme.CA(), free_port()
    if names:
        server = ca.issue_cert(*names, **settings)
        server.private_key_and_cert_chain_pem.write_to_path(str(tmp_path / "server.pem"))
        lines += f"certfile {tmp_path}/server.pem\nkeyfile {tmp_path}/server.pem\n"
    ca.cert_pem.write_to_path(str(tmp_path / "ca.crt"))
    text = f"listener {port} 127.0.0.1\nallow_anonymous true\nuser root\n{lines}"
    one = Broker(tmp_path, text.replace("HERE", str(tmp_path)), port)
    yield one
    one.stop()


LOCAL, NOW = ("127.0.0.1",), datetime.now(UTC)
TROUBLES = [
    (
        (LOCAL, {}, ""),
        "stranger",
        "signed by nobody that stranger.crt vouches for; give",
    ),
    ((("store.example",), {}, ""), "ca", "not for 127.0.0.1; write as broker.host the name"),
    ((LOCAL, {"not_after": NOW - timedelta(days=1)}, ""), "ca", "has expired; renew it"),
    ((LOCAL, {"not_before": NOW + timedelta(days=9)}, ""), "ca", "not valid yet; look at this"),
    (((), {}, ""), "ca", "is {port} its port for TLS?"),
    ((LOCAL, {}, "cafile HERE/ca.crt\nrequire_certificate true\n"), "ca", "give cert_file and"),
]


@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
@pytest.mark.parametrize(("locked", "trusted", "words"), TROUBLES, indirect=["locked"])
def test_what_is_wrong_with_tls_is_said(locked, trusted, words):
    """The MQTT library leaves a socket to the garbage collector after a failed handshake."""
    trustme.CA().cert_pem.write_to_path(str(locked.folder / "stranger.crt"))
    ca = locked.folder / f"{trusted}.crt"
    config = BrokerConfig(port=locked.port, tls=True, ca_file=ca)
    link = Link(config, "test", [], time.monotonic)
    link.start()
    until(lambda: words.replace("{port}", str(locked.port)) in link.problem, 5.0, link.problem)
    link.stop()


def test_the_end_of_a_certificate_is_said_before_and_after(tmp_path, capsys):
    """By ``check``, as an alarm, and for machines; who is connected stays so when it has ended."""
    need_mosquitto()
    ca, port, health = trustme.CA(), free_port(), free_port()
    end = datetime.now(UTC) + timedelta(seconds=25)
    pem = ca.issue_cert("127.0.0.1", not_after=end).private_key_and_cert_chain_pem
    pem.write_to_path(str(tmp_path / "server.pem"))
    ca.cert_pem.write_to_path(str(tmp_path / "ca.crt"))
    files = f"certfile {tmp_path}/server.pem\nkeyfile {tmp_path}/server.pem\n"
    text = f"listener {port} 127.0.0.1\nallow_anonymous true\nuser root\n{files}"
    broker = Broker(tmp_path, text, port)
    config = write_config(tmp_path, port, broker=f'ca_file = "{tmp_path}/ca.crt"')
    bridge = LiveBridge(config, "--health", f"127.0.0.1:{health}")
    known = BrokerConfig(port=port, tls=True, ca_file=tmp_path / "ca.crt")
    ear = Link(known, "ear", [("vent/1/_bridge/+/alarm", 1)], time.monotonic)
    ear.start()
    try:
        assert main(["check", str(config)]) == 1
        assert "problem: the broker's certificate ends in 0 min, on" in capsys.readouterr().out

        def told():
            return [one.payload for one in ear.receive() if b'"certificate"' in one.payload]

        said = until(told, 30.0, "the alarm")[0]
        assert b"the broker's certificate ends in 0 min" in said
        assert b"Have a new one made" in said
        words = json.loads(get(f"http://127.0.0.1:{health}", "/health")[1])
        assert words["certificates"]["the broker's certificate"] == f"{end:%Y-%m-%dT%H:%M:%SZ}"
        until(lambda: any(b"has expired on" in one for one in told()), 40.0, "expired")
        assert json.loads(get(f"http://127.0.0.1:{health}", "/health")[1])["problem"].startswith(
            "Bridge: the broker's certificate has expired on"
        )
    finally:
        ear.stop()
        bridge.kill()
        broker.stop()


def test_a_certificate_is_an_alarm_for_its_last_four_weeks():
    end, day = datetime(2026, 12, 31, tzinfo=UTC).timestamp(), 86400.0
    ends = {"ca.crt": end, "other": end + 900 * day}
    assert [bool(alarms_of(ends, end - n * day)) for n in (29, 27)] == [False, True]
    assert [alarms_of(ends, end - n * day)[0].level for n in (27, 0.9, -3)] == [3, 2, 2]
    assert alarms_of(ends, end - 17 * day)[0].text == (
        "ca.crt ends in 17 days, on 31 Dec 2026 00:00 UTC; after it nobody connects"
    )


def test_what_is_wrong_without_tls_is_said():
    config = BrokerConfig(host="127.0.0.1", port=free_port(), tls=False)
    link = Link(config, "test", [], time.monotonic)
    link.start()
    until(lambda: "nothing listens there; is the broker running" in link.problem, 5.0)
    link.stop()
    nowhere = socket.gaierror(-2, "Name or service not known")
    assert "no such name; look at broker.host" in reason_of(nowhere, config)


def test_a_port_for_tls_that_is_spoken_to_in_the_clear_is_named(broker):
    link = Link(BrokerConfig(port=broker.port, tls=False), "test", [], time.monotonic)
    link.start()
    until(lambda: f"does {broker.port} want TLS? Then give ca_file" in link.problem, 5.0)
    link.stop()


# --- the service -------------------------------------------------------------------------------


def test_systemd_verifies_the_unit(tmp_path):
    """As it stands, but for the program, which must be there to be verified."""
    if shutil.which("systemd-analyze") is None:
        pytest.fail("systemd-analyze is not installed; apt-get install systemd")
    text = UNIT.read_text()
    assert text.count(OWN) == 1
    unit = tmp_path / UNIT.name
    unit.write_text(text.replace(OWN, f"{sys.executable} -m firmware_bridge"))
    done = subprocess.run(
        ["systemd-analyze", "verify", "--recursive-errors=no", "--man=no", str(unit)],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert UNIT.stem not in done.stderr, done.stderr
    done = subprocess.run(
        ["systemd-analyze", "security", "--offline=yes", "--threshold=20", str(unit)],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout[-2000:]


def test_the_container_file_is_linted():
    tool = Path(sys.executable).parent / "hadolint"
    done = subprocess.run(
        [tool, "--failure-threshold", "style", str(DEPLOY / "Containerfile")],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr


def unit_command():
    """What the unit starts."""
    (line,) = re.findall(r"^ExecStart=(.*)$", UNIT.read_text(), flags=re.MULTILINE)
    return shlex.split(line)[1:]


def container_command():
    """What the container starts."""
    text = (DEPLOY / "Containerfile").read_text()
    (line,) = re.findall(r"^CMD (\[.*\])$", text, flags=re.MULTILINE)
    assert 'ENTRYPOINT ["firmware-bridge"]' in text
    return json.loads(line)


def get(address, where):
    try:
        with urllib.request.urlopen(f"{address}{where}", timeout=5) as answer:
            return answer.status, answer.read().decode()
    except urllib.error.HTTPError as error:
        return error.code, error.read().decode()


@pytest.mark.parametrize("command_of", [unit_command, container_command])
def test_the_command_serves_outside_of_its_box(tmp_path, command_of):
    """Ready, healthy, counted and logged, with the very words of the file; only ports differ."""
    need_mosquitto()
    broker = Broker(tmp_path / "broker")
    config = write_config(tmp_path, broker.port)
    health, page = free_port(), free_port()
    usual_config = "/etc/firmware-bridge/bridge.toml"
    words = [str(config) if word == usual_config else word for word in command_of()]
    for option, port, usual in (("--health", health, 8471), ("--page", page, 8470)):
        place = words.index(option) + 1
        if words[place:] and not words[place].startswith("--"):
            words[place] = words[place].replace(str(usual), str(port))
        else:
            words.insert(place, f"127.0.0.1:{port}")
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind(str(tmp_path / "notify"))
        manager.settimeout(30)
        process = subprocess.Popen(
            [sys.executable, "-m", "firmware_bridge", *words],
            env={**os.environ, "NOTIFY_SOCKET": str(tmp_path / "notify")},
            stdout=subprocess.PIPE, text=True,
        )  # fmt: skip
        try:
            assert manager.recv(100) == b"READY=1\nWATCHDOG=1"
            own = f"http://127.0.0.1:{health}"
            until(lambda: get(own, "/ready")[0] == 200, 15.0, "serves")
            assert json.loads(get(own, "/health")[1])["broker"] == "connected"
            assert metrics(own)["firmware_bridge_link_up"] == 1.0
            assert get(f"http://127.0.0.1:{page}", "/")[0] == 200
            assert manager.recv(100) == b"WATCHDOG=1"
            broker.stop()
            until(lambda: get(own, "/ready")[0] == 503, 15.0, "no broker, no service")
            assert get(own, "/health")[0] == 200
            assert metrics(own)["firmware_bridge_link_up"] == 0.0
            process.terminate()
            out, _ = process.communicate(timeout=15)
            until(lambda: manager.recv(100) == b"STOPPING=1", 5.0, "the end is said")
        finally:
            process.kill()
            process.communicate()
    lines = [json.loads(line) for line in out.splitlines()]
    assert {"time", "level", "text", "code"} <= lines[0].keys()
    assert any(one["code"] == "broker" and one["level"] == "warning" for one in lines)
    modes = {path.name: path.stat().st_mode & 0o777 for path in (tmp_path / "data").iterdir()}
    assert {mode & 0o077 for mode in modes.values()} == {0}, modes


def metrics(address):
    """Samples without labels, by name."""
    text = get(address, "/metrics")[1]
    samples = [one for family in text_string_to_metric_families(text) for one in family.samples]
    assert any(one.labels.get("bay") == "bay-1" for one in samples)
    return {one.name: one.value for one in samples if not one.labels}
