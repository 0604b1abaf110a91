"""The local page in a headless browser: charts, colours, phone, keyboard, ear, and silence."""

from __future__ import annotations

import itertools
import time
from urllib.parse import urlsplit

import pytest
from bridge_live import until
from headless import contrast, luminance
from msgspec.structs import replace
from test_page import FROST, START, board_of, sample, view

from firmware_bridge.journal.journal import Event, Journal
from firmware_bridge.page.server import PageServer
from firmware_bridge.wire.messages import Alarm

HOURS = 20


@pytest.fixture(scope="module")
def journal_path(tmp_path_factory):
    """Hours of an invented bay that cools slowly."""
    path = tmp_path_factory.mktemp("journal") / "journal.db"
    book = Journal(path)
    rows = [
        (START - 60.0 * n, "bay-1", sample(seq=20000 - n, low=4.0 + n / 2000, out=n / 100 - 5))
        for n in range(60 * HOURS, 0, -1)
    ]
    book.store(
        rows,
        [Event(t=START - 60.0, bay="bay-1", code="birth", text="controller connected (run 7)")],
    )
    book.close()
    return path


class Stage:
    """Board, server and what the bridge would say next."""

    def __init__(self, path):
        self.now = 0.0
        self.path = path
        self.board = board_of(view(), view(name="bay-2", mode="observe"), real=lambda: self.now)
        self.server = PageServer(self.board, path)
        self.server.__enter__()
        self.address = self.server.address

    def say(self, *views):
        self.board.post(lambda: views, START + 1.0)

    def close(self):
        self.server.__exit__(None, None, None)


@pytest.fixture
def stage(journal_path, browser):
    one = Stage(journal_path)
    browser.look()
    browser.events.clear()
    yield one
    browser.look()
    browser.open("about:blank#done")
    one.close()


COLOURS = """
(() => {
  const behind = (e) => {
    for (; e; e = e.parentElement) {
      const c = getComputedStyle(e).backgroundColor;
      if (c !== 'rgba(0, 0, 0, 0)') return c;
    }
    return 'rgb(255, 255, 255)';
  };
  return ['h1', '.title', '.quiet', '.age', '.badge', '.alarms li', 'td.n', 'nav a', 'caption',
          'footer p', '#events td']
    .map((q) => [q, document.querySelector(q)])
    .map(([q, e]) => [q, e && getComputedStyle(e).color, e && behind(e)]);
})()
"""


def test_charts_are_drawn_and_nothing_comes_from_elsewhere(browser, stage):
    browser.open(f"{stage.address}bay/bay-1")
    browser.until("document.querySelectorAll('#charts canvas').length === 6")
    painted = browser.ask(
        """[...document.querySelectorAll('#charts canvas')].map((c) => {
          const d = c.getContext('2d').getImageData(0, 0, c.width, c.height).data;
          const seen = new Set();
          for (let i = 0; i < d.length; i += 4)
            if (d[i + 3] > 200) seen.add(`${d[i]},${d[i + 1]},${d[i + 2]}`);
          return seen.size;
        })"""
    )
    assert min(painted) > 3
    browser.until("document.querySelector('[data-k=\"bay-1.fan.reading\"]').textContent === '62%'")
    hosts = {urlsplit(one).netloc for one in browser.asked_for()}
    assert hosts == {urlsplit(stage.address).netloc}
    assert browser.complaints() == []


def test_a_chart_shows_what_its_table_holds(browser, stage):
    browser.open(f"{stage.address}bay/bay-1")
    rows = browser.ask(
        "[...document.querySelectorAll('#pile details tbody tr')]"
        ".map((r) => [r.cells[0].dataset.t, r.cells[1].textContent])"
    )
    assert len(rows) == HOURS * 6
    newest, oldest = float(rows[0][1]), float(rows[-1][1])
    assert oldest - newest == pytest.approx((HOURS * 60 - 10) / 2000, abs=0.011)
    steps = {float(a[0]) - float(b[0]) for a, b in itertools.pairwise(rows)}
    assert steps == {600.0}
    x, y = browser.ask(
        "(() => { const c = document.querySelector('#co2 .u-over'); c.scrollIntoView();"
        " const r = c.getBoundingClientRect(); return [r.x + r.width / 2, r.y + r.height / 2]; })()"
    )
    browser.call("Input.dispatchMouseEvent", type="mouseMoved", x=x, y=y)
    browser.until("document.querySelector('#co2 .u-legend').textContent.includes('1200')")


@pytest.mark.parametrize("dark", [False, True])
def test_light_and_dark_can_be_read(browser, stage, dark, tmp_path):
    stage.say(view(alarms=(Alarm(id="fan_2", level=1, text="fan 2 has tripped"),)))
    browser.look(dark=dark)
    browser.open(f"{stage.address}bay/bay-1")
    browser.until("document.querySelectorAll('#charts canvas').length === 6")
    found = browser.ask(COLOURS)
    # WCAG 2.2, success criterion 1.4.3: 4.5 to 1 for text.
    for place, colour, behind in found:
        assert colour, place
        assert contrast(colour, behind) >= 4.5, (place, colour, behind)
    paper = browser.ask("getComputedStyle(document.body).backgroundColor")
    assert (luminance(paper) < 0.1) == dark
    lines = browser.ask(
        "[0,1,2,3,4,5,6,7].map((n) => { document.body.style.color = `var(--c${n})`; "
        "return getComputedStyle(document.body).color; })"
    )
    # Success criterion 1.4.11: 3 to 1 for graphics.
    assert all(contrast(line, paper) >= 3.0 for line in lines), lines
    assert len(browser.picture(tmp_path / "page.png")) > 20000


@pytest.mark.parametrize("where", ["", "bay/bay-1", "bay/bay-1?units=us&days=7"])
def test_a_phone_needs_no_sideways_scroll(browser, stage, where):
    for width in (320, 390):
        browser.look(width=width, height=700)
        browser.open(stage.address + where)
        browser.until("document.readyState === 'complete'")
        assert browser.ask("document.documentElement.scrollWidth") <= width
        cut = browser.ask(
            "[...document.querySelectorAll('.pair .wide')].filter((e) => "
            "e.scrollWidth > e.clientWidth).map((e) => e.innerText)"
        )
        assert cut == []  # positions and readings are seen whole
    small = browser.ask(
        "[...document.querySelectorAll('td, th, p, li')].filter((e) => e.offsetParent && "
        "!e.closest('.chart') && parseFloat(getComputedStyle(e).fontSize) < 13).length"
    )
    assert small == 0


def test_without_script_all_values_stand(browser, stage):
    browser.look(script=False)
    browser.open_plain(f"{stage.address}bay/bay-1")
    page = browser.source()
    assert "62%" in page
    assert "Cool with outside air: pulp 5.0 °C." in page
    nodes = browser.call("Accessibility.getFullAXTree")["nodes"]
    assert any(node.get("name", {}).get("value") == "31 s" for node in nodes)
    refresh = browser.query("noscript meta[http-equiv=refresh]")
    assert refresh  # with the script off the element is real, not text
    assert browser.query("#pile details tbody tr")
    assert not browser.query("canvas")


def test_new_words_come_by_themselves_and_are_spoken(browser, stage):
    browser.open(f"{stage.address}bay/bay-1")
    browser.until("document.querySelector('[data-k=\"bay-1.title\"]').textContent.length > 0")
    time.sleep(1.2)  # the first message of the stream
    stage.say(
        view(
            advised=None,
            code="stale",
            text="the newest reading is too old",
            sample=sample(low=4.7),
            alarms=(Alarm(id="fan_2", level=1, text="fan 2 has tripped"),),
        ),
        view(name="bay-2"),
    )
    browser.until("document.querySelector('.card').dataset.state === 'none'", 5.0)
    text = browser.ask("document.querySelector('.card').innerText")
    assert "No advice: the newest reading is too old" in text
    assert "Fan 2 has tripped" in text
    assert browser.ask("document.querySelector('[data-k=\"bay-1.pile.low\"]').textContent") == (
        "4.7 °C"
    )
    spoken = browser.ask("document.getElementById('spoken').textContent")
    assert spoken == "bay-1: No advice: the newest reading is too old"


def test_an_alarm_is_acknowledged_by_keyboard_while_the_page_goes_on(browser, stage):
    asked = []
    stage.say(view(complaints=(FROST,)), view(name="bay-2"))
    browser.open(f"{stage.address}bay/bay-1")
    browser.until("!!document.querySelector('.ask summary')")
    browser.ask("document.querySelector('.alarms summary').focus()")
    browser.key("Enter", 13, text="\r")
    browser.key("Tab", 9)
    assert browser.ask("document.activeElement.name") == "by"
    for letter in "Ann":
        browser.call("Input.insertText", text=letter)
    colder = replace(FROST, text="The plenum is at −0.2 °C.")
    stage.say(view(complaints=(colder,), advised_age=3.0), view(name="bay-2"))
    browser.until("document.querySelector('[data-a=\"bay-1.advised\"]').textContent < '9'", 5.0)
    assert browser.ask("document.activeElement.value") == "Ann", "nobody takes the pen away"
    browser.key("Enter", 13, text="\r")
    until(lambda: stage.board._asked, 5.0, "something asked")

    def take(bay, alarm, by, answer):
        asked.append((bay, alarm, by))
        seen = replace(colder, seen_by=by, seen_at="2025-11-05T15:00:00+00:00")
        stage.say(view(complaints=(seen,)), view(name="bay-2"))
        answer(True, "acknowledged")

    stage.board.hand_over(take)
    assert asked == [("bay-1", "frost_risk", "Ann")]
    browser.until("document.querySelector('.alarms .seen')?.textContent.includes('Ann, 5 Nov')")
    browser.until("!document.querySelector('.alarms form')")  # the answer brings the page anew
    assert browser.complaints() == []


def test_ages_count_on(browser, stage):
    browser.open(f"{stage.address}bay/bay-1")
    key = "document.querySelector('tr.ages [data-a=\"bay-1.advised\"]').textContent"
    assert browser.ask(key) in ("12 s", "13 s")
    stage.board.closed.set()  # no word any more, the page counts by itself
    browser.until(f"parseInt({key}) >= 15", 8.0)


def test_a_silent_bridge_and_a_dead_page_are_seen(browser, stage):
    browser.open(stage.address)
    assert not browser.seen("#stale")
    stage.now = 60.0  # the loop posts nothing for a minute, the stream still runs
    browser.until("!document.getElementById('stale').hidden", 5.0)
    assert "The bridge has said nothing for 6" in browser.ask(
        "document.getElementById('stale').innerText"
    )
    stage.say(view(), view(name="bay-2", mode="observe"))
    browser.until("document.getElementById('stale').hidden", 5.0)
    port = urlsplit(stage.address).port
    stage.close()
    browser.until("!document.getElementById('stale').hidden", 12.0)
    assert "This page has heard nothing" in browser.ask(
        "document.getElementById('stale').innerText"
    )
    assert browser.ask("getComputedStyle(document.querySelector('.title')).textDecorationLine") == (
        "line-through"
    )
    again = board_of(view(), view(name="bay-2", mode="observe"))
    with PageServer(again, stage.path, port=port):  # the bridge is back, so is the page
        browser.until("document.getElementById('stale').hidden", 15.0)
        browser.open("about:blank#done")


def test_the_keyboard_reaches_everything(browser, stage):
    browser.open(f"{stage.address}bay/bay-1")
    browser.until("document.querySelectorAll('#charts canvas').length === 6")
    browser.key("Tab", 9)
    assert browser.ask("document.activeElement.className") == "skip"
    assert browser.ask("document.activeElement.getBoundingClientRect().left") >= 0.0
    met = []
    for _ in range(40):
        met.append(browser.ask("document.activeElement.innerText.split('\\n')[0]"))
        browser.key("Tab", 9)
    for name in ("All bays", "bay-2", "°F", "3 days", "Table: Pile, plenum and return"):
        assert name in met
    browser.ask("document.querySelector('#pile summary').focus()")
    outline = "getComputedStyle(document.activeElement).outlineStyle"
    browser.key("Tab", 9)
    assert browser.ask(outline) == "solid"
    assert not browser.ask("document.querySelector('#pile details').open")
    browser.ask("document.querySelector('#pile summary').focus()")
    browser.key("Enter", 13, text="\r")
    browser.until("document.querySelector('#pile details').open", 5.0)


def test_an_open_table_stays_open_while_its_rows_change(browser, stage):
    stage.board.pace = 60.0  # tables come anew every 5 s then, else once a minute
    browser.open(f"{stage.address}bay/bay-1")
    browser.until("document.querySelectorAll('#charts canvas').length === 6")
    browser.ask("document.querySelector('#pile details').open = true")
    browser.ask("document.querySelector('#pile details tbody').dataset.old = 'yes'")
    legend = "document.querySelectorAll('#pile .u-legend tr').length"
    assert browser.ask(legend) == 5
    browser.until("document.querySelector('#pile details tbody').dataset.old === undefined", 8.0)
    assert browser.ask(legend) == 5
    assert browser.ask("document.querySelector('#pile details').open")
    assert browser.ask("document.querySelectorAll('#charts canvas').length") == 6


def test_by_ear(browser, stage):
    browser.open(f"{stage.address}bay/bay-1")
    browser.until("document.querySelectorAll('#charts canvas').length === 6")
    nodes = [n for n in browser.call("Accessibility.getFullAXTree")["nodes"] if not n["ignored"]]
    roles = {}
    for node in nodes:
        name = node.get("name", {}).get("value", "")
        roles.setdefault(node.get("role", {}).get("value"), []).append(name)
    assert len(roles["main"]) == len(roles["navigation"]) == 1
    assert {"banner", "contentinfo", "status"} <= set(roles)
    assert all(roles["table"])  # every table has its name
    assert "Positions" in roles["table"]
    charts = [name for name in roles["image"] if name.startswith("Chart: ")]
    assert len(charts) == 6
    assert {"columnheader", "rowheader"} <= set(roles)
    assert roles["heading"][0] == "bay-1"


def test_pictures_differ_by_scheme_and_width(browser, stage, tmp_path):
    sizes = []
    for name, settings in (("light", {}), ("dark", {"dark": True}), ("phone", {"width": 390})):
        browser.look(**settings)
        browser.open(f"{stage.address}bay/bay-1")
        browser.until("document.querySelectorAll('#charts canvas').length === 6")
        sizes.append(len(browser.picture(tmp_path / f"{name}.png")))
    assert min(sizes) > 20000
    assert len(set(sizes)) == 3
