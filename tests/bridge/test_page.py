"""The local page: what it says, what it refuses, and that it only looks."""

from __future__ import annotations

import asyncio
import contextlib
import hashlib
import http.client
import json
import math
import re
import socket
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import datetime
from html import unescape
from html.parser import HTMLParser
from importlib import resources
from pathlib import Path
from threading import Thread
from urllib.parse import urlencode, urlsplit

import pytest
from bridge_live import until
from msgspec.structs import replace as changed

from firmware_bridge.bay.advisor import Season
from firmware_bridge.bay.decision import BayView, Decision
from firmware_bridge.bay.safety import Targets
from firmware_bridge.bay.week import Week
from firmware_bridge.codes import ACK_CODES, ACTIONS
from firmware_bridge.errors import BadConfig
from firmware_bridge.journal import packing
from firmware_bridge.journal.journal import Event, Journal
from firmware_bridge.page.board import Board
from firmware_bridge.page.history import series_of
from firmware_bridge.page.server import PageServer, Views, page_app
from firmware_bridge.page.view import bay_text, dew_point_of, margin_word, sum_words
from firmware_bridge.page.words import (
    ACTION_TITLES,
    ANSWERS,
    FAULT_WORDS,
    age_text,
    in_units,
    pile_names,
    reading_text,
)
from firmware_bridge.sensors.sample import ActualPositions, Sample
from firmware_bridge.wire.messages import Ack, Alarm
from ventcalc.web import local
from ventcalc.web.local import names_of

START = 1762354800.0
NOWHERE = Path("/nonexistent/journal.db")
KINDS = {
    "low": "pulp_temperature",
    "high": "pulp_temperature",
    "plenum": "plenum_temperature",
    "back": "return_temperature",
    "back_rh": "return_relative_humidity",
    "out": "outside_temperature",
    "out_rh": "outside_relative_humidity",
    "co2": "co2",
    "fan": "fan_speed",
}
VALUES = {
    "low": 4.0, "high": 5.0, "plenum": 3.5, "back": 5.2, "back_rh": 0.95,
    "out": -2.0, "out_rh": 0.7, "co2": 1200e-6, "fan": 0.62,
}  # fmt: skip
ADVISED = Targets(fan=0.8, door=0.35, why="outside")
WORDS = {
    "metric": ("Cool with outside air: pulp 5.0 °C.", "Outside air is dry."),
    "us": ("Cool with outside air: pulp 41.0 °F.", "Outside air is dry."),
}


SEASON = Season(stage="cool_down", day=23, target=4.2, crop_co2=3000e-6, people_co2=5000e-6)


def sample(seq=1, faults=None, **values):
    return Sample(
        boot=7,
        seq=seq,
        received=0.0,
        delay=0.0,
        kinds=KINDS,
        values={**VALUES, **values},
        faults=faults or {},
    )


def view(name="bay-1", code="ok", text="", advised=ADVISED, **changes):
    """A bay that runs its fans at 62 %, advised 80 %, accepted 70 %."""
    settings = {
        "name": name,
        "zone": "America/Denver",
        "mode": "bounded",
        "decision": Decision(code=code, text=text, targets=advised, rests_on=(7, 1)),
        "words": lambda units: WORDS[units],
        "advised_age": 12.0,
        "accepted": Ack(boot=7, ref=(1, 1), code="clamped", fan=0.7, door=0.3),
        "accepted_age": 9.0,
        "actual": ActualPositions(fan=0.62, door=0.28, water=0.0, cool=0.0),
        "sample": sample(),
        "reading_age": 31.0,
        "alarms": (),
        "since": 900.0,
        "season": SEASON,
    }
    return BayView(**{**settings, **changes})


def board_of(*views, problem="", **settings):
    board = Board(every=0.0, **settings)
    board.post(lambda: views or (view(),), START, problem)
    return board


@dataclass
class Answer:
    status_code: int
    headers: dict
    text: str


OWN = {"origin": "http://127.0.0.1"}
ELSEWHERE = {"origin": "http://elsewhere.example"}
"""A browser says it of a form of the page's own."""


class Client:
    """Asks the application itself, without a network."""

    def __init__(self, app):
        self.app = app

    def get(self, where, headers=None):
        return self.request("GET", where, headers)

    def request(self, method, where, headers=None, body=b""):
        path, _, query = where.partition("?")
        given = {"host": "127.0.0.1", **(headers or {})}
        scope = {
            "type": "http",
            "http_version": "1.1",
            "method": method,
            "scheme": "http",
            "path": path,
            "raw_path": path.encode(),
            "query_string": query.encode(),
            "root_path": "",
            "headers": [(name.encode(), value.encode()) for name, value in given.items()],
        }
        said = []

        async def receive():
            return {"type": "http.request", "body": body, "more_body": False}

        async def send(message):
            said.append(message)

        asyncio.run(self.app(scope, receive, send))
        names = [(a.decode(), b.decode()) for a, b in said[0]["headers"]]
        assert len(dict(names)) == len(names), "a header stands twice"
        body = b"".join(part.get("body", b"") for part in said[1:])
        return Answer(said[0]["status"], dict(names), body.decode())


def client_of(board, journal=NOWHERE, names=local.NAMES, **settings):
    return Client(page_app(Views(board, journal, **settings), names))


@pytest.fixture
def journal(tmp_path):
    """Three hours of readings, one a minute; the pile cools by 0.1 K an hour from 5 °C."""
    path = tmp_path / "journal.db"
    book = Journal(path)
    rows = [(START + 60.0 * n, "bay-1", sample(seq=n, low=5.0 - 0.1 * n / 60)) for n in range(180)]
    rows[30] = (rows[30][0], "bay-1", sample(seq=30, low=29.0, faults={"low": "implausible"}))
    book.store(
        rows, [Event(t=START + 5.0, bay="bay-1", code="birth", text="controller connected (run 7)")]
    )
    yield book, path
    book.close()


def test_probes_are_named_by_their_heights():
    high = changed(sample(), heights={"low": 3.6, "high": 0.4})  # declared top first
    metric = bay_text(view(sample=high), 0.0, "metric")
    assert [(line.label, line.key) for line in metric.pile] == [
        ("Pile at 3.6 m (top)", "low"),
        ("Pile at 0.4 m (bottom)", "high"),
    ]
    us = bay_text(view(sample=high), 0.0, "us")
    assert us.pile[0].label == "Pile at 11.8 ft (top)"
    part = changed(sample(), heights={"low": 0.4})
    names = [line.label for line in bay_text(view(sample=part), 0.0, "metric").pile]
    assert names == ["Pile 2 (top)", "Pile at 0.4 m (bottom)"]
    twice = pile_names(["a", "b", "c"], {"a": 1.0, "b": 2.0, "c": 2.0}, "metric")
    assert len(set(twice.values())) == 3


def test_a_doubted_probe_is_named_on_the_first_screen_at_once():
    """Long before it has stood for so long that it is an alarm, on the board of all bays, too."""
    assert bay_text(view(sample=sample()), 0.0, "metric", brief=True).doubted == ""
    one = view(sample=sample(faults={"low": "missing"}))
    assert bay_text(one, 0.0, "metric", brief=True).doubted == "Doubted: low (missing)."


def test_doubts_and_complaints_come_in_the_units_of_the_page():
    text = "supply air at -1.2 °C, below 0.5 °C"
    stopped = view(
        advised=None,
        code="freeze",
        text=text,
        complaints=(Alarm(id="unanswered", level=2, text="does not answer"),),
    )
    bay = bay_text(stopped, 0.0, "us")
    assert bay.title == "No advice: supply air at 29.8 °F, below 32.9 °F"
    assert [alarm.text for alarm in bay.alarms] == ["Does not answer"]
    assert bay_text(stopped, 0.0, "metric").title == f"No advice: {text}"
    assert in_units("12 K and −3 °C (°C and °F mixed up?)", "us") == (
        "12 K and 26.6 °F (°C and °F mixed up?)"
    )


# --- numbers in words --------------------------------------------------------------------------


def test_units_as_published():
    """NIST SP 811 (2008), B.8: °F = 1.8 °C + 32; 1 inHg = 3.386389 kPa; a kelvin is 1.8 °F."""
    assert reading_text(5.0, "temperature", "us") == "41.0 °F"
    assert reading_text(-40.0, "temperature", "us") == "−40.0 °F"
    assert reading_text(1.0, "difference", "us", sign=True) == "+1.8 °F"
    assert reading_text(101325.0, "pressure", "us") == "29.92 inHg"
    assert reading_text(101325.0, "pressure", "metric") == "1,013 hPa"
    assert reading_text(800e-6, "co2", "us") == "800 ppm"


def test_a_missing_number_is_a_dash_and_no_zero_has_a_sign():
    assert reading_text(math.nan, "temperature", "metric") == "–"
    assert reading_text(-0.04, "temperature", "metric") == "0.0 °C"


def test_ages():
    texts = [age_text(s) for s in (0.4, 119.9, 120, 7199, 7200, 172799, 172800, math.inf)]
    assert texts == ["0 s", "119 s", "2 min", "119 min", "2 h", "47 h", "2 d", "–"]


def test_every_code_has_its_words():
    assert set(ACTION_TITLES) == set(ACTIONS) - {"none"}
    assert set(ANSWERS) == set(ACK_CODES)
    assert set(FAULT_WORDS) == set(packing.FAULTS) - {""}


def test_dew_point_is_the_temperature_of_saturated_air():
    for temperature in (-20.0, -0.5, 0.5, 4.0, 12.0):
        assert dew_point_of(temperature, 1.0) == pytest.approx(temperature, abs=1e-6)
    assert dew_point_of(20.0, 0.5) == pytest.approx(9.27, abs=0.05)  # WMO-No. 8, Magnus: 9.26 °C
    assert math.isnan(dew_point_of(5.0, math.nan))


def test_a_margin_within_sensor_error_is_not_decided():
    words = [margin_word(margin) for margin in (2.0, 0.5, -0.5, -2.0, math.nan)]
    assert words == [
        "stays dry", "too close to tell", "too close to tell", "would turn wet in it", "not known",
    ]  # fmt: skip


# --- one bay in words ----------------------------------------------------------------------------


def test_three_values_stay_apart():
    bay = bay_text(view(), 0.0, "metric")
    assert bay.positions[0] == ("fan", "Fans", "80%", "70%", "62%")
    assert bay.positions[4][2:] == ("0%", "–", "–")
    assert bay.ages() == {"advised": 12.0, "accepted": 9.0, "reading": 31.0, "since": 900.0}
    assert bay.answer == "accepted within the controller's own limits"


def test_no_advice_says_why_and_shows_no_positions():
    bay = bay_text(view(advised=None, code="stale", text="too old"), 0.0, "metric")
    assert bay.state == "none"
    assert bay.title == "No advice: too old"
    assert {row[2] for row in bay.positions} == {"–"}


def test_observe_is_only_watched():
    bay = bay_text(view(mode="observe"), 0.0, "metric")
    assert (bay.state, bay.badge) == ("watch", "Only watched")
    assert "nothing is sent" in bay.answer


def test_what_is_not_believed_is_said_beside_the_number():
    bad = sample(faults={"high": "stuck", "back_rh": "missing"}, back_rh=math.nan)
    bay = bay_text(view(sample=bad), 0.0, "metric")
    assert bay.pile[0].note == "does not move"
    assert bay.pile[0].label == "Pile 2 (top)"
    humidity = next(line for line in bay.airs if line.key == "back_rh")
    assert (humidity.value, humidity.note) == ("–", "missing")


def test_a_bay_before_its_first_reading():
    bay = bay_text(
        view(advised=None, code="start", text="waiting", sample=None, accepted=None), 0.0, "us"
    )
    assert bay.pile == bay.airs == bay.margins == bay.alarms == ()
    assert bay.answer == "no answer yet"


# --- the last days -----------------------------------------------------------------------------


def test_series_are_means_of_sound_values(journal):
    book, _ = journal
    pile = series_of(book, "bay-1", START + 3 * 3600, 1, "metric")[0]
    assert (pile.id, pile.unit) == ("pile", "°C")
    assert pile.labels[:2] == ("Pile 1 (bottom)", "Pile 2 (top)")
    assert len(pile.times) == 18
    # Mean of the first ten minutes of a fall of 0.1 K an hour: 5 - 0.1 * 4.5 / 60.
    assert pile.columns[0][0] == pytest.approx(5.0 - 0.1 * 4.5 / 60, abs=0.006)
    assert max(pile.columns[0]) < 5.01  # 29 °C was not believed


def test_packed_hours_and_single_rows_tell_the_same(journal):
    book, _ = journal
    before = series_of(book, "bay-1", START + 3 * 3600, 3, "metric")
    assert book.pack_hours(START + 2.5 * 3600) > 0
    after = series_of(book, "bay-1", START + 3 * 3600, 3, "metric")
    assert [one.times for one in before] == [one.times for one in after]
    for one, other in zip(before, after, strict=True):
        for a, b in zip(one.columns, other.columns, strict=True):
            assert a == pytest.approx(b, abs=0.011, nan_ok=True)


def test_a_gap_is_a_row_without_a_number(tmp_path):
    book = Journal(tmp_path / "gap.db")
    times = [START + 60.0 * n for n in (*range(10), *range(40, 50))]
    book.store([(t, "bay-1", sample(seq=n)) for n, t in enumerate(times)])
    pile = series_of(book, "bay-1", START + 3600, 1, "metric")[0]
    book.close()
    assert len(pile.times) == 5
    assert [math.isnan(value) for value in pile.columns[0]] == [False, True, True, True, False]


def test_series_in_us_units(journal):
    book, _ = journal
    metric = series_of(book, "bay-1", START + 3 * 3600, 1, "metric")
    us = series_of(book, "bay-1", START + 3 * 3600, 1, "us")
    assert us[0].columns[1][0] == pytest.approx(1.8 * metric[0].columns[1][0] + 32.0)
    margins = [next(one for one in found if one.id == "margin") for found in (us, metric)]
    assert margins[0].columns[0][0] == pytest.approx(1.8 * margins[1].columns[0][0])


# --- HTML ----------------------------------------------------------------------------------------


class Reader(HTMLParser):
    """What a reader by ear meets: tables, landmarks, live texts, addresses."""

    VOID = ("meta", "link", "br", "input")

    def __init__(self, page):
        super().__init__()
        self.stack, self.tables, self.tags, self.addresses = [], [], [], []
        self.feed(page)
        assert self.stack == [], "an element is left open"

    def handle_starttag(self, tag, attrs):
        attrs = dict(attrs)
        self.tags.append((tag, attrs))
        assert "style" not in attrs
        assert not any(name.startswith("on") for name in attrs)
        self.addresses += [attrs[name] for name in ("href", "src", "action") if name in attrs]
        if tag == "table":
            self.tables.append({"caption": "", "th": [], "td": 0})
        if tag == "th":
            self.tables[-1]["th"].append(attrs.get("scope"))
        if tag not in self.VOID:
            self.stack.append(tag)

    def handle_endtag(self, tag):
        assert self.stack.pop() == tag

    def handle_data(self, data):
        if self.stack and self.stack[-1] == "caption":
            self.tables[-1]["caption"] += data
        assert not self.stack or self.stack[-1] not in ("script", "style") or not data.strip()

    def count(self, tag, **attrs):
        return sum(one == tag and attrs.items() <= found.items() for one, found in self.tags)


def test_every_table_is_a_real_one_and_nothing_comes_from_elsewhere(journal):
    _, path = journal
    client = client_of(board_of(), path)
    for where in ("/", "/bay/bay-1", "/bay/bay-1?units=us&days=7"):
        answer = client.get(where)
        assert answer.status_code == 200
        page = Reader(answer.text)
        assert page.tables or where == "/"
        for table in page.tables:
            assert table["caption"]
            assert table["th"]
            assert set(table["th"]) <= {"col", "row"}
        assert page.count("main") == page.count("nav") == page.count("footer") == 1
        assert page.count("h1") == 1
        assert page.count("html", lang="en") == 1
        assert page.count("p", role="status") == 1
        assert all(not urlsplit(address).netloc for address in page.addresses)


def test_an_age_stands_beside_every_number(journal):
    _, path = journal
    page = client_of(board_of(), path).get("/bay/bay-1").text
    for part in ("pile.low", "pile.high", "airs.plenum", "airs.co2", "margins.outside_pulp"):
        row = re.search(rf'<tr>(?:(?!</tr>).)*data-k="bay-1\.{part}".*?</tr>', page)
        assert 'data-a="bay-1.reading" data-s="3' in row[0], part
    ages = re.search(r'<tr class="ages">.*?</tr>', page)[0]
    assert re.findall(r'data-a="bay-1\.(\w+)"', ages) == ["advised", "accepted", "reading"]


def test_texts_from_outside_are_only_texts():
    hostile = Alarm(id="x", level=1, text="<script>alert(1)</script>")
    board = board_of(view(alarms=(hostile,), words=lambda units: ("<b>&",)))
    page = client_of(board).get("/bay/bay-1").text
    assert "&lt;script&gt;alert(1)" in page
    assert "&lt;b&gt;&amp;" in page
    Reader(page)


def test_html_stands_in_the_templates_alone_and_none_lifts_the_escaping():
    folder = Path(str(resources.files("firmware_bridge.page")))
    code = {path: path.read_text(encoding="utf-8") for path in folder.rglob("*.py")}
    assert not [path for path, text in code.items() if re.search(r"</?[a-z]+[ >]", text)]
    pages = {path: path.read_text(encoding="utf-8") for path in folder.rglob("*.html")}
    assert {path.name for path in pages} >= {"base.html", "bay.html", "overview.html"}
    assert not [path for path, text in pages.items() if re.search(r"safe|autoescape", text)]


def test_us_units_by_the_address():
    client = client_of(board_of())
    assert ">4.0 °C<" in client.get("/").text
    us = client.get("/?units=us").text
    assert ">39.2 °F<" in us
    assert ">41.0 °F<" in us
    assert 'href="/bay/bay-1?units=us&amp;days=1"' in us


def test_times_are_those_of_the_store(journal):
    """15:00 UTC is 8 in the morning in Denver; stores in two zones share the machine's time."""
    _, path = journal
    page = client_of(board_of(), path).get("/bay/bay-1").text
    assert '<span data-k="day">2025-11-05 08:00:00</span> MST' in page
    assert '<th scope="col">From (MST)</th>' in page
    assert re.search(r'data-t="1762329600">2025-11-05 08:00</th>', page)  # counted as if UTC
    assert '<th scope="row">2025-11-05 08:00</th><td>connected</td>' in page
    assert "<td>controller connected (run 7)</td>" in page
    far = view(name="bay-2", zone="America/Sao_Paulo")
    client = client_of(board_of(view(), far), path)
    assert "12:00:00</span> UTC−03:00" in client.get("/bay/bay-2").text
    here = datetime.fromtimestamp(START).strftime("%H:%M:%S</span>")
    assert here in client.get("/").text
    near = view(name="bay-2", zone="America/Boise")
    assert "08:00:00</span> MST" in client_of(board_of(view(), near)).get("/").text


def test_many_bays_are_found_from_the_overview():
    bays = [view(name=f"bay-{n}") for n in range(200)]
    client = client_of(board_of(*bays))
    assert client.get("/bay/bay-7").text.count("<a ") < 20
    overview = client.get("/").text
    assert all(f'href="/bay/bay-{n}?' in overview for n in range(200))


@pytest.mark.parametrize(
    ("where", "status", "words"),
    [
        ("/?units=kelvin", 400, "metric, us"),
        ("/?days=2", 400, "1, 3, 7, 30"),
        ("/bay/none", 404, "no bay"),
        ("/bay/none/tables", 404, "no bay"),
        ("/stream?bay=none", 404, "no bay"),
        ("/static/../page.py", 404, "no such page"),
        ("/journal.db", 404, "no such page"),
    ],
)
def test_what_is_not_there_is_said_in_one_line(where, status, words):
    answer = client_of(board_of()).get(where)
    assert answer.status_code == status
    assert words in answer.text


def test_it_only_looks():
    client = client_of(board_of())
    for method in ("POST", "PUT", "PATCH", "DELETE"):
        for where in ("/", "/bay/bay-1", "/stream"):
            assert client.request(method, where).status_code == 403
            assert client.request(method, where, OWN).status_code == 405
    page = Reader(client.get("/bay/bay-1").text)
    assert not {"form", "button", "input", "select"} & {tag for tag, _ in page.tags}


FROST = Alarm(
    id="frost_risk", level=1, text="The plenum is at 0.4 °C.", first="Check the door.",
    since="2025-11-05T12:00:00+00:00",
)  # fmt: skip


def test_what_stands_on_the_first_screen(tmp_path):
    """What now and since when, followed or not, pile with trend, target, stage, air, margin."""
    book = Journal(tmp_path / "journal.db")
    hours = [START - 3600.0 * n for n in range(30, 0, -1)]
    book.store(
        [
            (
                t + 60.0 * n,
                "bay-1",
                sample(seq=round(t / 60.0) + n, low=4.0 - (t - START) / 72000.0),
            )
            for t in hours
            for n in range(1, 60, 20)
        ]
    )
    assert book.pack_hours(START) == 30
    book.close()
    page = client_of(board_of(view(complaints=(FROST,))), tmp_path / "journal.db").get("/bay/bay-1")
    card = page.text.split("<h2>Why")[0]
    words = unescape(" ".join(re.sub(r"<[^>]*>", " ", card).split()))
    for part in (
        "Cool with outside air Fans 80%, Fresh-air door 35% for 15 min , updated 12 s ago",
        "Not followed: fans at 62% in place of 80%.",
        "Danger. The plenum is at 0.4 °C. since 5 Nov 05:00 MST First: Check the door.",
        "Coldest pulp 4.0 °C ↘ −1.0 K in 24 h Warmest pulp 5.0 °C ↘ −0.2 K in 24 h",
        "Target 4.2 °C pile +0.3 K; cool down, day 23",
        "CO2 1,200 ppm crop's limit 3,000 ppm Humidity 95% return air",
        "Dew-point margin +10.2 K outside air: stays dry",
        "Pile, last 30 h Between 4.0 °C and 5.5 °C in the last 30 h; now coldest 4.0 °C",
    ):
        assert part in words, (part, words)
    Reader(page.text)


@pytest.mark.parametrize(
    ("changes", "state", "words"),
    [
        ({"actual": ActualPositions(fan=0.78, door=0.3)}, "yes", "does as advised"),
        ({"actual": ActualPositions()}, "", "not known"),
        ({"mode": "advise"}, "no", "runs its own program"),
        ({"mode": "confirm"}, "no", "Not followed"),
        ({"mode": "confirm", "offer": 7}, "", "Waits to be confirmed at the controller (number 7)"),
        ({"advised": None}, "none", ""),
    ],
)
def test_whether_advice_is_followed(changes, state, words):
    found = bay_text(view(**changes), 0.0, "metric").followed
    assert found[0] == state
    assert words in found[1]


def test_plain_topics_answer_nothing():
    bay = bay_text(view(accepted=None, answers=False), 0.0, "metric")
    assert bay.answer == "none, plain topics have no way for one"


def test_the_board_says_where_to_look():
    seen = changed(FROST, seen_by="me", seen_at="2025-11-05T12:30:00+00:00")
    lines = [
        (view(), "1 bay, no alarm."),
        (view(complaints=(seen,)), "1 bay, no alarm."),
        (view(complaints=(FROST,), advised=None), "1 bay; look at bay-1; 1 without advice."),
    ]
    for one, words in lines:
        assert sum_words([bay_text(one, 0.0, "metric")]) == words
    (alarm,) = bay_text(lines[1][0], 0.0, "metric").alarms
    assert alarm.seen == "Seen by me, 5 Nov 05:30 MST"


def form_of(client, **changes):
    page = client.get("/bay/bay-1").text
    token = re.search(r'name="token" value="([^"]+)"', page)
    given = {
        "token": token[1] if token else "",
        "alarm": "frost_risk",
        "by": "A. Person",
        **changes,
    }
    return urlencode(given).encode()


def test_an_alarm_is_acknowledged_by_a_form_without_script():
    board = board_of(view(complaints=(FROST,)))
    asked, verdict = [], [(True, "acknowledged")]

    class Loop(Thread):
        def run(self):
            until(lambda: board._asked, 10.0, "something asked")
            board.hand_over(lambda *one: (asked.append(one[:3]), one[3](*verdict[0])))

    def post(client, body, bay="bay-1"):
        loop = Loop()
        loop.start()
        answer = client.request("POST", f"/bay/{bay}/acknowledge?units=us", OWN, body)
        loop.join()
        return answer

    client = client_of(board, local=True)
    answer = post(client, form_of(client))
    assert (answer.status_code, answer.headers["location"]) == (303, "/bay/bay-1?units=us&days=1")
    assert asked == [("bay-1", "frost_risk", "A. Person")]
    verdict[0] = (False, "no alarm 'x' stands")
    answer = post(client, form_of(client, alarm="x"))
    assert answer.status_code == 409
    assert "no alarm &#39;x&#39; stands" in answer.text


@pytest.mark.parametrize(
    ("local", "changes", "status"),
    [
        (False, {}, 403),  # a page that the whole network can reach
        (True, {"token": ""}, 403),
        (True, {"token": "ü"}, 403),  # a form from elsewhere cannot know it
        (True, {"by": "x" * 5000}, 413),
    ],
)
def test_a_form_from_elsewhere_is_refused(local, changes, status):
    board = board_of(view(complaints=(FROST,)))
    client = client_of(board, local=local)
    assert ("<form" in client.get("/bay/bay-1").text) == local
    where, body = "/bay/bay-1/acknowledge", form_of(client, **changes)
    assert client.request("POST", where, OWN, body).status_code == status
    assert client.request("POST", where, ELSEWHERE, form_of(client)).status_code == 403
    assert not board._asked


def test_headers_that_keep_others_out():
    for where in ("/", "/bay/bay-1", "/nothing", "/static/bridge.js"):
        headers = client_of(board_of()).get(where).headers
        policy = headers["content-security-policy"]
        assert "default-src 'none'" in policy
        assert "unsafe" not in policy
        assert "*" not in policy
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["cache-control"] == "no-store"


def test_another_name_for_this_machine_is_refused():
    client = client_of(board_of())
    for host in ("127.0.0.1:8470", "localhost", "[::1]:8470", "[::1]", "LocalHost"):
        assert client.get("/", headers={"host": host}).status_code == 200
    for host in ("elsewhere.example", "127.0.0.1.example:80", "192.0.2.7", ""):
        assert client.get("/", headers={"host": host}).status_code == 421


def test_on_a_network_bare_addresses_and_given_names_only():
    client = client_of(board_of(), names=names_of("0.0.0.0", ["Store.example"]))
    for host in ("192.0.2.7:8470", "[2001:db8::1]:8470", "store.example:8470", "127.0.0.1"):
        assert client.get("/", headers={"host": host}).status_code == 200
    for host in ("elsewhere.example", "192.0.2.7.example", ""):
        answer = client.get("/", headers={"host": host})
        assert answer.status_code == 421
        assert "address that it was given" in answer.text


def test_before_the_first_turn_it_says_so_and_comes_back():
    answer = client_of(Board()).get("/")
    assert answer.status_code == 503
    assert "only just started" in answer.text
    assert 'http-equiv="refresh"' in answer.text


def test_without_a_journal_the_rest_still_stands():
    answer = client_of(board_of()).get("/bay/bay-1")
    assert answer.status_code == 200
    assert "The last days cannot be shown: /nonexistent/journal.db: no such file" in answer.text
    assert "62%" in answer.text


def test_a_silent_loop_is_told_without_script():
    now = [0.0]
    board = board_of(real=lambda: now[0])
    assert '<div id="stale" role="alert" hidden>' in client_of(board).get("/").text
    now[0] = 45.0
    page = client_of(board).get("/").text
    assert '<div id="stale" role="alert">' in page
    assert "The bridge has said nothing for 45 s." in page
    assert 'data-a="bay-1.reading" data-s="76.0">76 s' in page  # 31 s and 45 s more


def test_a_broken_link_is_told():
    page = client_of(board_of(problem="no connection to 10.0.0.9:8883")).get("/").text
    assert "no connection to 10.0.0.9:8883" in page


def test_the_journal_is_only_read(journal):
    _, path = journal
    before = hashlib.sha256(path.read_bytes()).digest()
    views = Views(board_of(), path)
    client = Client(page_app(views))
    assert "<figure" in client.get("/bay/bay-1").text
    with pytest.raises(Exception, match="readonly"):
        views._journal._database.execute("DELETE FROM sample")
    views.close()
    assert hashlib.sha256(path.read_bytes()).digest() == before


# --- stream and server ---------------------------------------------------------------------------


@contextmanager
def served(board, path=NOWHERE):
    with PageServer(board, path) as page:
        yield page, urlsplit(page.address)


def next_message(answer):
    line = answer.readline()
    while line and not line.startswith(b"data: "):
        line = answer.readline()
    return json.loads(line[6:]) if line else None


def test_the_stream_says_all_once_and_then_what_changed():
    board = board_of()
    with served(board) as (_, where):
        line = http.client.HTTPConnection(where.hostname, where.port, timeout=10)
        line.request("GET", "/stream?bay=bay-1&units=us")
        answer = line.getresponse()
        assert answer.getheader("content-type").startswith("text/event-stream")
        first = next_message(answer)
        assert first["text"]["bay-1.fan.reading"] == "62%"
        assert first["text"]["bay-1.pile.low"] == "39.2 °F"
        assert first["list"]["bay-1.words"] == list(WORDS["us"])
        assert first["age"]["bay-1.accepted"] >= 0.0
        warmer = view(sample=sample(low=4.5), advised=None, code="stale", text="too old")
        board.post(lambda: (warmer,), START + 1.0)
        second = next_message(answer)
        assert second["text"]["bay-1.pile.low"] == "40.1 °F"
        assert second["state"] == {"bay-1": "none", "bay-1.followed": "none"}
        assert "bay-1.pile.high" not in second["text"]
        board.closed.set()
        assert next_message(answer) is None
        answer.close()
        line.close()


def test_only_this_machine_hears_it():
    with served(board_of()) as (_, where):
        other = socket.gethostbyname(socket.gethostname())
        if other.startswith("127."):
            other = "127.0.0.2"  # another address than the one it listens on
        with socket.socket() as knock:
            knock.settimeout(2.0)
            assert knock.connect_ex((other, where.port)) != 0


def test_a_port_that_is_taken_is_told_in_one_line():
    with served(board_of()) as (_, where), pytest.raises(BadConfig, match="cannot be had"):
        PageServer(board_of(), NOWHERE, port=where.port)


def test_many_pages_are_refused_politely():
    board = board_of()
    with served(board) as (_, where):
        lines, codes = [], []
        for _n in range(26):
            line = http.client.HTTPConnection(where.hostname, where.port, timeout=10)
            line.request("GET", "/stream")
            answer = line.getresponse()
            codes.append(answer.status)
            if answer.status == 200:
                next_message(answer)
            lines += [answer, line]
        assert codes == [200] * 24 + [503] * 2
        for line in lines:
            line.close()


def test_a_changed_set_of_channels_asks_for_a_new_page():
    board = board_of()
    client = client_of(board)
    shape = re.search(r'data-shape="(\w+)"', client.get("/bay/bay-1").text)[1]
    other = changed(sample(), kinds={"low": "pulp_temperature"}, values={"low": 4.0})
    board.post(lambda: (view(sample=other),), START)
    assert re.search(r'data-shape="(\w+)"', client.get("/bay/bay-1").text)[1] != shape


def test_half_questions_keep_nobody_out(monkeypatch):
    """The page answers beside more of them than it has connections, and lets each of them go."""
    monkeypatch.setattr(local, "HEADERS_WITHIN", 1.0)
    monkeypatch.setattr(local, "MOST_CONNECTIONS", 60)
    with PageServer(board_of(), NOWHERE) as page:
        where = urlsplit(page.address)
        halves = []
        for _ in range(100):
            half = socket.create_connection((where.hostname, where.port), 5)
            half.sendall(b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\nX-")
            halves.append(half)
        link = http.client.HTTPConnection(where.hostname, where.port, timeout=5)
        link.request("GET", "/")
        assert link.getresponse().status == 200
        link.close()
        for half in halves:
            half.settimeout(5)
            with contextlib.suppress(ConnectionResetError):
                assert half.recv(1) == b""  # closed, not kept
            half.close()


def test_the_days_ahead_stand_on_the_page_of_a_bay_that_has_a_forecast():
    said = {"metric": ("Pulp goes from 5.3 °C.",), "us": ("Pulp goes from 41.5 °F.",)}
    does = {"metric": ("Thu 05 Nov 09:00 to 17:00: rest",), "us": ()}
    ahead = view(week=Week(made=START, said=said, stretches=does), plans=True)
    page = client_of(board_of(ahead)).get("/bay/bay-1").text
    assert "Pulp goes from 5.3 °C." in page
    assert "advice follows it, within every rule and limit" in page
    assert "41.5 °F" in client_of(board_of(ahead)).get("/bay/bay-1?units=us").text
    old = client_of(board_of(replace(ahead, week=Week(made=START, trouble="41 h old"))))
    assert "No outlook: 41 h old." in old.get("/bay/bay-1").text
    assert "The days ahead" not in client_of(board_of()).get("/bay/bay-1").text
