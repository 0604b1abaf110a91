"""Alarms: each says what to do first; sent, sent again, kept back and acknowledged by the rules."""

from __future__ import annotations

import json
import math
import ssl
import threading
from datetime import UTC, datetime
from http.server import BaseHTTPRequestHandler, HTTPServer
from types import SimpleNamespace

import pytest
from aiosmtpd.controller import Controller
from aiosmtpd.smtp import AuthResult
from bridge_live import free_port, until
from test_broker_faults import certificates
from test_config import GOOD, problems, write
from test_told import KINDS, alarms, logged, store, told

from firmware_bridge.bay.following import PATIENCE, Following, plenum_off
from firmware_bridge.bay.safety import Targets
from firmware_bridge.cli import main
from firmware_bridge.codes import BRIDGE_ALARMS
from firmware_bridge.config import AlarmsConfig, read_config
from firmware_bridge.config_alarms import HookConfig, MailConfig
from firmware_bridge.errors import BadMessage
from firmware_bridge.sensors.sample import ActualPositions, Sample
from firmware_bridge.service import delivery
from firmware_bridge.service.alarms import EASE, FIRST, HOLD, AlarmBook
from firmware_bridge.service.delivery import Delivery, Notice
from firmware_bridge.service.turn import Turn
from firmware_bridge.wire.messages import Alarm

__all__ = ["store", "write"]

NOON = datetime(2026, 11, 5, 19, 0, tzinfo=UTC).timestamp()
"""12:00 in Denver."""


# --- what is seen --------------------------------------------------------------------------------


def test_every_alarm_of_the_bridge_says_what_to_do_first():
    elsewhere = {"people_inside", "told", "power", "more", "forged"}  # say it themselves
    assert set(BRIDGE_ALARMS) - elsewhere == FIRST.keys() - {"sensor"}
    assert all(20 < len(words) <= 120 for words in FIRST.values())


def test_the_power_is_off_then_all_is_silent(store):
    one = store({**KINDS, "mains": ("power", "1")})
    one.sim.values["mains"] = 1.0
    one.run(60)
    assert "power_bay_1" not in alarms(one)
    one.sim.values["mains"] = 0.0
    one.run(40)
    off = alarms(one)["power_bay_1"]
    assert (off.level, off.since[:13]) == (1, "2026-11-05T03")
    assert "door" in off.first
    one.sim.silent = True
    one.run(900)
    assert alarms(one).keys() == {"lost_bay_1"}
    assert "power off" in alarms(one)["lost_bay_1"].first


def _sample(plenum, **positions):
    kinds = {"plenum": "plenum_temperature", "fan": "fan_speed", "door": "door_opening"}
    values = {"plenum": plenum, "fan": 0.8, "door": 0.3, **positions}
    return Sample(boot=1, seq=1, received=0.0, delay=0.0, kinds=kinds, values=values, faults={})


@pytest.mark.parametrize(("off", "told"), [(1.5, None), (3.0, "warmer"), (-3.0, "colder")])
def test_a_plenum_that_is_not_as_the_machines_make_it(off, told):
    advised = Targets(fan=0.8, door=0.3, air=4.0)
    seen = plenum_off(_sample(4.0 + off), advised)
    assert seen == pytest.approx(off)
    assert math.isnan(plenum_off(_sample(4.0 + off, door=0.6), advised)), "not as advised"
    assert math.isnan(plenum_off(_sample(4.0 + off, fan=0.0), advised)), "standing air"
    following = Following()
    for n in range(round((PATIENCE + 3600.0) / 10.0)):
        following.assess({}, ActualPositions(), {}, seen, 10.0 * n)
    texts = [one.text for one in following.complaints if one.id == "plenum_off"]
    assert [told in text for text in texts] == ([True] if told else [])


# --- when it is sent -----------------------------------------------------------------------------


class Book:
    """An alarm book with one bay in Denver; time is the test's."""

    def __init__(self, **rules):
        self.posts, self.trouble, self.now, self.stands = [], "", 0.0, []
        self.book = AlarmBook(AlarmsConfig(**rules), self)

    def post(self, notices):
        self.posts += [(self.now, one.what, one.kind) for one in notices]

    def turn(self):
        return Turn(now=self.now, day=NOON + self.now)

    def run(self, minutes, *stands):
        bay = SimpleNamespace(
            name="bay-1", zone="America/Denver", complaints=stands, doubt=lambda now: "",
            assess=lambda code, now: [],
        )  # fmt: skip
        for _ in range(round(6 * minutes)):
            found = self.book.see([bay], lambda bay: "", self.turn())
            self.now += 10.0
        return found


FROST = Alarm(id="frost_risk", level=1, text="the plenum is cold", first="close the door")
SPREAD = Alarm(id="pile_spread", level=3, text="uneven")


def test_an_alarm_is_sent_again_until_it_is_acknowledged_and_when_it_is_over():
    one = Book(repeat_min=60.0)
    one.run(150, FROST, SPREAD)
    assert one.posts == [
        (0.0, "new", "frost_risk"), (HOLD, "new", "pile_spread"),
        (3600.0, "again", "frost_risk"), (7200.0, "again", "frost_risk"),
    ]  # fmt: skip
    one.posts.clear()
    text, do = one.book.acknowledge("bay-1", "frost_risk", "A. Person (invented)", one.turn())
    assert text == "acknowledged: frost_risk, the plenum is cold"
    do()
    (seen, spread) = one.run(600, FROST, SPREAD)
    assert (seen.seen_by, seen.seen_at) == ("A. Person (invented)", "2026-11-05T21:30:00+00:00")
    assert (seen.since[:16], spread.seen_by) == ("2026-11-05T19:00", "")
    one.run(EASE / 60.0 - 1.0)
    one.run(5, FROST)
    assert [(what, kind) for _, what, kind in one.posts] == [("over", "pile_spread")], "no end"
    one.posts.clear()
    one.run(60)
    (back,) = one.run(1, FROST)
    assert [what for _, what, _ in one.posts] == ["over", "new"]
    assert back.seen_by == "", "whoever has seen it has not seen it come back"


def test_a_restart_does_not_send_it_all_again_but_tells_what_is_over():
    one = Book()
    one.run(5, FROST, SPREAD)
    text, one.book = one.book.to_text(), AlarmBook(AlarmsConfig(), one)
    one.book.recall(text, ["bay-1"], one.now)
    one.posts.clear()
    one.run(10, FROST)
    assert [(what, kind) for _, what, kind in one.posts] == [("over", "pile_spread")]
    one.book.recall('[["bay-1"', ["bay-1"], one.now)  # half a text is none


def test_what_passes_within_a_minute_is_not_sent_unless_it_is_a_danger():
    one = Book()
    one.run(0.5, SPREAD, FROST)
    one.run(30)
    assert [(what, kind) for _, what, kind in one.posts] == [
        ("new", "frost_risk"), ("over", "frost_risk"),
    ]  # fmt: skip


def test_a_graver_alarm_is_a_new_one():
    one = Book()
    light = Alarm(id="co2_people", level=3, text="CO2 is at 6000 ppm")
    one.run(2, light)
    one.book.acknowledge("bay-1", "co2_people", "me", one.turn())[1]()
    (grave,) = one.run(1, Alarm(id="co2_people", level=1, text="CO2 is at 41000 ppm"))
    assert [what for _, what, _ in one.posts] == ["new", "new"]
    assert grave.seen_by == ""


def test_quiet_hours_are_those_of_the_bay_and_danger_breaks_them():
    one = Book(quiet_from="21:00", quiet_to="06:30", repeat_min=0.0)
    one.now = 9.5 * 3600.0  # 21:30 in Denver
    one.run(60, SPREAD, FROST)
    assert [kind for _, _, kind in one.posts] == ["frost_risk"]
    one.run(9 * 60, SPREAD, FROST)
    assert one.posts[1:] == [(18.5 * 3600.0, "new", "pile_spread")], "at 06:30"
    one.now = 33.5 * 3600.0
    one.run(60)
    assert one.posts[2:] == [(33.5 * 3600.0, "over", "frost_risk")]
    one.run(9 * 60)
    assert one.posts[3:] == [(42.5 * 3600.0, "over", "pile_spread")]


def test_what_people_told_is_not_sent_to_them_until_it_is_a_danger():
    one = Book(told_level=3)
    one.run(2, Alarm(id="people_inside", level=3), Alarm(id="told", level=3))
    assert one.posts == []
    one.run(2, Alarm(id="people_inside", level=1))
    assert [kind for _, _, kind in one.posts] == ["people_inside"]


def test_an_alarm_that_does_not_stand_cannot_be_acknowledged():
    one = Book()
    one.run(1, FROST)
    with pytest.raises(BadMessage, match="there are: frost_risk"):
        one.book.acknowledge("bay-1", "frost", "me", one.turn())


def test_the_command_acknowledges_and_the_audit_log_knows_who(store, capsys):
    one = store()
    one.sim.values["co2"] = 9000.0
    one.run(60)
    status, text = told(one, capsys, "--alarm", "co2_crop", do="acknowledge")
    assert (status, text[:28]) == (0, "bay-1: acknowledged: co2_cro")
    found = alarms(one)
    assert found["co2_crop_bay_1"].seen_by == "A. Person (invented)"
    assert found["co2_people_bay_1"].seen_by == ""
    shown = {alarm.id: alarm for alarm in one.service.views()[0].complaints}
    assert shown["co2_crop"].seen_by == "A. Person (invented)"
    assert json.loads(logged(one, "acknowledge")[0])[0] == "A. Person (invented)"
    since = found["co2_crop_bay_1"].since
    one.kill()
    one.start()
    one.run(60)
    back = alarms(one)["co2_crop_bay_1"]
    assert (back.seen_by, back.since) == ("A. Person (invented)", since), "a restart loses nothing"
    status, text = told(one, capsys, "--alarm", "co2", do="acknowledge")
    assert status == 1
    assert "there are: co2_people, co2_crop" in text


# --- how it is sent ------------------------------------------------------------------------------

NOTICE = Notice(
    bay="bay-1", kind="frost_risk", level=1, what="new", at="2026-11-05T12:00:00-07:00",
    since="2026-11-05T19:00:00+00:00", text="the plenum is at 0.4 °C\r\nBcc: x",
    first="Check the door.",
)  # fmt: skip


class Hook:
    """A web hook that answers as the test says; ``hole`` takes and never answers."""

    def __init__(self):
        self.answers, self.got, self.hole = [], [], threading.Event()
        hook = self

        class Handler(BaseHTTPRequestHandler):
            def do_POST(self):
                body = json.loads(self.rfile.read(int(self.headers["Content-Length"])))
                hook.got.append((self.path, self.headers["Authorization"], body))
                answer = hook.answers.pop(0) if hook.answers else 204
                if answer == "hole":
                    hook.hole.wait(20.0)
                    return
                self.send_response(answer)
                self.send_header("Location", "/elsewhere")
                self.end_headers()

            def log_message(self, *_):
                pass

        self.server = HTTPServer(("127.0.0.1", 0), Handler)
        self.url = f"http://127.0.0.1:{self.server.server_port}/alarms?farm=1"
        self.thread = threading.Thread(target=self.server.serve_forever, args=(0.02,))
        self.thread.start()

    def close(self):
        self.hole.set()
        self.server.shutdown()
        self.thread.join()
        self.server.server_close()


@pytest.fixture
def hook():
    one = Hook()
    yield one
    one.close()


@pytest.fixture
def send(monkeypatch):
    """Start delivery with short waits; ended in any case."""
    monkeypatch.setattr(delivery, "RETRY", (0.02, 0.1))
    made = []

    def make(**ways):
        made.append(Delivery(AlarmsConfig(**ways), "barn-a"))
        return made[-1]

    yield make
    for one in made:
        one.close()


def test_a_web_hook_gets_it_and_what_fails_is_tried_again(hook, send):
    hook.answers = [503, 302]
    way = send(hook=HookConfig(url=hook.url, token="secret"))
    way.post([NOTICE])
    until(lambda: len(hook.got) == 3, 10.0, "three attempts")
    assert {(path, token) for path, token, _ in hook.got} == {("/alarms?farm=1", "Bearer secret")}
    body = hook.got[-1][2]
    assert body["bridge"] == "barn-a"
    assert body["alarms"][0]["kind"] == "frost_risk"
    assert body["alarms"][0]["first"] == "Check the door."
    until(lambda: way.trouble == "", 5.0, "no trouble any more")
    way.post([NOTICE])
    until(lambda: len(hook.got) == 4, 5.0, "one more, alone")
    assert len(hook.got[-1][2]["alarms"]) == 1


def test_a_hook_that_never_answers_stops_nobody_and_is_told(hook, send, store, monkeypatch):
    monkeypatch.setattr(delivery, "TIMEOUT", 0.2)
    hook.answers = ["hole"] * 50
    one = store()
    one.service.book.delivery = way = send(hook=HookConfig(url=hook.url))
    one.sim.values["co2"] = 9000.0
    one.run(60 + HOLD)
    until(lambda: way.trouble, 10.0, "told as failed")
    one.run(60)
    assert one.bay.decision.targets is not None
    failed = alarms(one)["delivery"]
    assert failed.text.startswith("alarms are not sent (web hook: ")
    assert "time" in failed.text
    assert one.service.problem("").startswith("Alarms are not sent: web hook: ")
    assert [event.code for event in one.service.told].count("delivery") == 1, "told once"
    hook.answers.clear()
    hook.hole.set()
    until(lambda: not way.trouble, 10.0, "sent at last")
    one.run(20)
    assert "delivery" not in alarms(one)
    assert {a["kind"] for a in hook.got[-1][2]["alarms"]} == {"co2_people", "co2_crop"}


class Post:
    """What a mail server takes."""

    def __init__(self, port):
        self.port = port
        self.mails, self.codes, self.logins = [], [], []

    async def handle_DATA(self, server, session, envelope):
        code = self.codes.pop(0) if self.codes else "250 taken"
        if code.startswith("250"):
            self.mails.append((envelope.rcpt_tos, envelope.content.decode()))
        return code

    def login(self, server, session, envelope, mechanism, data):
        self.logins.append((data.login, data.password))
        return AuthResult(success=data.password == b"right")


@pytest.fixture
def post(tmp_path):
    """A mail server that demands TLS and a password."""
    certificates(tmp_path)
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(tmp_path / "server.pem", tmp_path / "server.key")
    post = Post(port=free_port())
    server = Controller(
        post, hostname="127.0.0.1", port=post.port, tls_context=context, require_starttls=True,
        authenticator=post.login, auth_required=True,
    )  # fmt: skip
    server.start()

    yield post
    server.stop()


def test_mail_goes_by_tls_with_a_password_to_everybody(post, send, tmp_path):
    post.codes = ["451 later"]
    settings = {
        "host": "127.0.0.1", "port": post.port, "sender": "bridge@example.org",
        "to": ("me@example.org", "you@example.org"), "username": "bridge", "password": "right",
    }  # fmt: skip
    way = send(mail=MailConfig(**settings, ca_file=tmp_path / "ca.pem"))
    way.post([NOTICE, NOTICE])
    until(lambda: post.mails, 20.0, "a mail")
    (to, mail), *more = post.mails
    assert (to, more) == (["me@example.org", "you@example.org"], [])
    assert "Subject: bay-1: DANGER: the plenum is at 0.4" in mail.replace("=?utf-8?q?", "").replace(
        "_", " "
    )
    assert "\nBcc" not in mail
    assert "What to do first: Check the door." in mail
    assert set(post.logins) == {(b"bridge", b"right")}
    stranger = send(mail=MailConfig(**settings))  # its certificate is signed by nobody known
    stranger.post([NOTICE])
    until(lambda: stranger.trouble, 20.0, "refused")
    assert "certificate verify failed" in stranger.trouble
    assert len(post.mails) == 1


def test_a_trial_is_sent_by_command(hook, write, capsys):
    path = write(f'{GOOD}[alarms.hook]\nurl = "{hook.url}"\n')
    assert main(["try-alarms", str(path)]) == 0
    assert hook.got[0][2]["alarms"][0]["text"] == "this is a trial, nothing is wrong"
    hook.answers = [404]
    assert main(["try-alarms", str(path)]) == 1
    assert "web hook: not sent: the answer was 404" in capsys.readouterr().out
    assert main(["try-alarms", str(write(GOOD))]) == 2


# --- the file ------------------------------------------------------------------------------------


def test_the_table_of_alarms(write):
    rules = read_config(write(f'{GOOD}[alarms]\nquiet_from = "21:00"\nquiet_to = "06:00"\n')).alarms
    assert (rules.repeat_min, rules.quiet_level, rules.hook) == (60.0, 1, None)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('[alarms]\nquiet_from = "9pm"', 'write local time as "21:30"'),
        ('[alarms]\nquiet_from = "21:00"', "go together"),
        ("[alarms]\nrepeat = 5", "did you mean repeat_min?"),
        ('[alarms.hook]\nurl = "http://farm.example/x"', "in the clear"),
        ('[alarms.hook]\nurl = "https://me:pw@farm.example/"', "use token_file"),
        ('[alarms.hook]\nurl = "ftp://farm.example/"', "write https://HOST/PATH"),
        (
            '[alarms.mail]\nhost = "mail.example"\nsender = "me"\nto = ["a@b.c"]',
            "'me' is no address",
        ),
        ('[alarms.mail]\nhost = "mail.example"\nsender = "a@b.c"\nto = []', "to is empty"),
        (
            '[alarms.mail]\nhost = "mail.example"\nsender = "a@b.c"\nto = ["a@b.c"]\n'
            'security = "none"',
            "use starttls",
        ),
    ],
)
def test_a_wrong_table_of_alarms_is_told(write, text, words):
    (problem,) = problems(write(f"{GOOD}{text}\n"))
    assert words in problem
