"""The planning page in a headless browser: live, by keyboard and ear, light, dark, phone, paper."""

from __future__ import annotations

import base64
import json
import re
import threading
import time
from urllib.parse import urlsplit

import pytest
from headless import contrast, luminance

from ventcalc.bay.file import bay_to_toml, example_bay, read_bay
from ventcalc.check.check import check_pile
from ventcalc.page.answers import example_form
from ventcalc.page.server import PageServer
from ventcalc.report.check_summary import check_verdict
from ventcalc.report.check_text import check_cells


@pytest.fixture(scope="module")
def server():
    with PageServer(example_form("seed_bay", "us"), "us") as one:
        yield one


@pytest.fixture
def shown(browser, server):
    """The page, fresh, on a desktop, its first answer there."""
    browser.look()
    browser.open("about:blank#next")
    browser.events.clear()
    # Before the page's own script, which would find there what the last test has typed.
    forget = browser.call(
        "Page.addScriptToEvaluateOnNewDocument",
        source="if (location.protocol === 'http:') sessionStorage.clear()",
    )
    browser.open(server.address)
    browser.call("Page.removeScriptToEvaluateOnNewDocument", **forget)
    browser.until("document.body.dataset.ready === 'yes'", 60.0)
    yield browser
    browser.call("Emulation.setEmulatedMedia", media="", features=[])


def write(browser, name, text):
    """Type into a field as a person does: its event, then the page's answer."""
    browser.ask(
        f"""(() => {{
          const one = document.querySelector({json.dumps(f"[name='{name}']")});
          one.value = {json.dumps(text)};
          one.dispatchEvent(new Event('input', {{bubbles: true}}));
        }})()"""
    )


def drag(browser, value):
    browser.ask(
        f"""(() => {{
          const one = document.getElementById('slide');
          one.value = {value};
          one.dispatchEvent(new Event('input', {{bubbles: true}}));
        }})()"""
    )


ANSWER = "document.getElementById('answer').textContent"
CHECKS = """[...document.querySelectorAll('#checks tbody tr')].map((row) => [
  row.dataset.check, row.cells[2].textContent, row.cells[3].textContent, row.cells[4].textContent,
  row.cells[1].textContent])"""


def said(height, bay="seed_bay"):
    """What the library says of a height."""
    result = check_pile(example_bay(bay), height)
    verdict = check_verdict(result, "us")
    return f"{verdict.word} {verdict.sentence}", [
        [check.key, *check_cells(check, "us")[1:]] for check in result.checks
    ]


def test_dragging_the_height_gives_the_numbers_of_the_library(shown):
    for feet in (16.0, 19.25, 12.5):
        words, rows = said(feet * 0.3048)
        drag(shown, feet)
        shown.until(f"document.getElementById('question').textContent.includes('{feet:.1f} ft')")
        assert shown.ask(ANSWER) == words
        assert shown.ask(CHECKS) == rows
        assert shown.ask("document.getElementById('height').value") == f"{feet:g} ft"


def test_the_drawing_follows_the_height(shown):
    crop = "parseFloat(document.querySelector('.drawing .pile').getAttribute('height'))"
    before = shown.ask(crop)
    drag(shown, 8)
    shown.until("document.getElementById('question').textContent.includes('8.0 ft')")
    assert shown.ask(crop) == pytest.approx(before / 2.0, abs=0.11)


def test_the_last_of_many_drags_is_the_one_that_stands(shown):
    for k in range(40):
        drag(shown, 8 + k * 0.25)
    words, rows = said(17.75 * 0.3048)
    shown.until("document.getElementById('question').textContent.includes('17.8 ft')")
    assert shown.ask(ANSWER) == words
    assert shown.ask(CHECKS) == rows


def test_a_wrong_value_is_told_beside_its_field_and_mended(shown):
    write(shown, "pile.width", "50 fet")
    shown.until("!document.getElementById('p-pile.width').hidden")
    words = shown.ask("document.getElementById('p-pile.width').textContent")
    assert "did you mean 'feet'?" in words
    field = "document.querySelector(\"[name='pile.width']\")"
    assert shown.ask(f"{field}.getAttribute('aria-invalid')") == "true"
    assert shown.ask(f"{field}.getAttribute('aria-describedby')") == "p-pile.width"
    assert shown.ask("document.querySelector('#fill-answer').classList.contains('old')")
    assert shown.seen("#fill-earlier")
    mark = "document.querySelector('[data-group=pile] > summary').textContent"
    assert "1 to mend" in shown.ask(mark)
    write(shown, "pile.width", "50 ft")
    shown.until("document.getElementById('p-pile.width').hidden")
    assert not shown.ask(f"{field}.hasAttribute('aria-invalid')")
    shown.until("!document.querySelector('#fill-answer').classList.contains('old')")
    assert "to mend" not in shown.ask(mark)
    assert not shown.seen("#fill-earlier")


def test_nothing_comes_from_elsewhere_and_nothing_is_complained_of(shown, server):
    drag(shown, 17)
    shown.until("document.getElementById('question').textContent.includes('17.0 ft')")
    assert {urlsplit(one).netloc for one in shown.asked_for()} == {urlsplit(server.address).netloc}
    assert shown.complaints() == []


def test_what_was_typed_outlives_a_reload(shown, server):
    write(shown, "pile.height", "18 ft")
    shown.until("document.getElementById('question').textContent.includes('18.0 ft')")
    shown.open("about:blank#next")
    shown.open(server.address)
    shown.until("document.body.dataset.ready === 'yes'")
    shown.until("document.getElementById('question').textContent.includes('18.0 ft')")
    assert shown.ask("document.querySelector(\"[name='pile.height']\").value") == "18 ft"


def test_load_and_save_are_the_same_file(shown, tmp_path):
    path = tmp_path / "mine.toml"
    path.write_text(bay_to_toml(example_bay("fry_bay"), "us"))
    root = shown.call("DOM.getDocument", depth=0)["root"]["nodeId"]
    node = shown.call("DOM.querySelector", nodeId=root, selector="#bay-file")["nodeId"]
    shown.call("DOM.setFileInputFiles", nodeId=node, files=[str(path)])
    shown.until("document.getElementById('question')?.textContent.includes('Fry bay')")
    words, rows = said(None, "fry_bay")
    assert shown.ask(ANSWER) == words
    assert shown.ask(CHECKS) == rows
    shown.call("Browser.setDownloadBehavior", behavior="allow", downloadPath=str(tmp_path / "got"))
    shown.ask("document.querySelector('[data-act=save]').click()")
    end = time.monotonic() + 20.0
    saved = tmp_path / "got" / "fry_bay_invented.toml"
    while not saved.exists():
        assert time.monotonic() < end
        time.sleep(0.1)
    assert saved.read_text() == bay_to_toml(read_bay(path), "us")


def test_units_change_numbers_and_fields(shown):
    shown.ask("document.querySelector('[name=units][value=metric]').click()")
    shown.until("document.getElementById('question').textContent.includes('4.88 m')")
    assert shown.ask("document.querySelector(\"[name='pile.length']\").value") == "38.1 m"
    assert shown.ask("document.getElementById('slide').max") == "8"
    cells = {row[0]: row[1] for row in shown.ask(CHECKS)}
    result = check_pile(example_bay("seed_bay"))
    assert cells["airflow"] == check_cells(result.check("airflow"), "metric")[1]


def test_a_part_that_a_bay_lacks_can_be_added(shown):
    group = "document.querySelector('[data-group=refrigeration]')"
    assert shown.ask(f"{group}.querySelector('.fields').hidden")
    shown.ask(f"{group}.open = true; {group}.querySelector('[type=checkbox]').click()")
    shown.until("!document.getElementById('p-refrigeration.capacity').hidden")
    assert "missing" in shown.ask("document.getElementById('p-refrigeration.capacity').textContent")
    write(shown, "refrigeration.capacity", "40 ton_refrigeration")
    shown.until("document.querySelector('[data-check=cold_fill] td').textContent !== 'cannot say'")


def test_lots_are_added_and_taken_out(shown):
    shown.ask("document.querySelector('[data-act=lot]').click()")
    shown.until("!!document.querySelector(\"[name='lots[4].mass']\")")
    shown.until("!document.getElementById('p-lots[4].mass').hidden")
    assert shown.ask("document.activeElement.name") == "lots[4].name"
    shown.ask("document.querySelector(\"[data-lot='lots[4]']\").click()")
    shown.until("!document.querySelector(\"[name='lots[4].mass']\")")
    shown.until("!document.querySelector('#fill-answer').classList.contains('old')")


def short(browser):
    """A season of some weeks, so that it does not last."""
    for name, text in {
        "schedule.healing_days": "2 days",
        "schedule.warm_up_start": "11-20",
        "schedule.unloading_start": "11-25",
        "schedule.unloading_days": "2 days",
        "schedule.holding_temperature": "45 degF",
        "schedule.warm_up_temperature": "46 degF",
    }.items():
        write(browser, name, text)


def test_a_season_says_how_far_it_is_and_ends_with_its_figures(shown):
    short(shown)
    shown.ask("document.querySelector('#season-ask [type=submit]').click()")
    shown.until("document.getElementById('running-words').textContent.startsWith('Running advice')")
    assert shown.seen("#bar")
    assert shown.seen("[data-act=cancel]")
    shown.until("!!document.querySelector('#results')", 120.0)
    assert not shown.seen("#bar")
    assert shown.ask("document.querySelectorAll('#results tbody tr').length") > 30
    assert shown.ask("document.querySelectorAll('#season-answer .glance').length") == 4
    plot = "document.querySelector('#season-answer figure.live')"
    names = f"[...{plot}.querySelectorAll('.u-label')].map((e) => e.textContent)"
    for name in ("top", "middle", "bottom", "target and band"):
        assert any(name in words for words in shown.ask(names)), name
    span = "(() => { const x = plots.shown()[0].scales.x; return x.max - x.min; })()"
    before = shown.ask(span)
    shown.ask(f"{plot}.querySelector('.tools button').click()")
    shown.until(f"{span} < {0.6 * before}")  # zoomed in
    shown.ask(f"{plot}.querySelector('.chart').focus()")
    shown.key("ArrowRight", 39)
    read = f"[...{plot}.querySelectorAll('.u-value')].map((e) => e.textContent)"
    shown.until(f"{read}.filter((words) => words.endsWith('°F')).length >= 3")
    shown.ask("document.querySelector('#season-answer [data-keep=plots]').open = true")
    wide = "[...document.querySelectorAll('#season-answer canvas')].map((e) => e.clientWidth)"
    shown.until(f"{wide}.length >= 5 && {wide}.every((width) => width > 300)")
    assert shown.complaints() == []
    shown.until("document.getElementById('spoken').textContent.includes('season has ended')")
    assert not shown.seen("#season-earlier")
    write(shown, "fans.count", "5")
    shown.until("!document.getElementById('season-earlier').hidden")
    write(shown, "fans.count", "4")
    shown.until("document.getElementById('season-earlier').hidden")


def test_a_season_can_be_stopped(shown):
    shown.ask("document.querySelector('#season-ask [type=submit]').click()")
    shown.until("document.getElementById('bar').value > 0")
    shown.ask("document.querySelector('[data-act=cancel]').click()")
    shown.until("document.getElementById('running').hidden")
    end = time.monotonic() + 20.0
    while any(one.name == "seasons" for one in threading.enumerate()):
        assert time.monotonic() < end
        time.sleep(0.05)
    assert not shown.ask("!!document.querySelector('#results')")


def test_sizes_can_be_put_into_the_form(shown):
    assert not shown.seen("[data-act=sized]")
    shown.ask("document.getElementById('target').value = '18 cfm/ton'")
    shown.ask("document.querySelector('#size-ask [type=submit]').click()")
    shown.until("!!document.querySelector('#size-table')", 120.0)
    assert shown.seen("[data-act=sized]")
    shown.ask("document.querySelector('[data-act=sized]').click()")
    shown.until("document.querySelector(\"[name='fans.airflow']\").value === '36000 cfm'", 30.0)
    shown.until("document.querySelectorAll('#checks tbody tr').length > 20")


def test_alternatives_are_kept_and_come_back(shown):
    keep = "document.querySelector('#keep [type=submit]').click()"
    shown.ask(f"document.getElementById('keep-name').value = '<b>low</b>'; {keep}")
    shown.until("document.querySelectorAll('#compared thead th').length === 2")
    drag(shown, 20)
    write(shown, "fans.count", "6")
    shown.until("document.getElementById('question').textContent.includes('20.0 ft')")
    shown.ask(keep)
    shown.until("document.querySelectorAll('#compared thead th').length === 3")
    assert shown.ask("document.querySelector('#kept strong').textContent") == "<b>low</b>"
    assert shown.ask("!!document.querySelector('#kept b, #compared b')") is False
    rows = "[...document.querySelectorAll('#differing tbody tr')].map((r) => r.innerText)"
    assert any("Fans: number of fans" in row for row in shown.ask(rows))
    shown.ask("document.querySelector('[data-act=back]').click()")
    shown.until("document.getElementById('question').textContent.includes('16.0 ft')")
    assert shown.ask("document.querySelector(\"[name='fans.count']\").value") == "4"
    shown.ask("document.querySelector('[data-act=drop]').click()")
    shown.until("document.querySelectorAll('#compared thead th').length === 2")


# --- who looks, and on what ---------------------------------------------------------------


COLOURS = """
(() => {
  const behind = (e) => {
    for (; e; e = e.parentElement) {
      const c = getComputedStyle(e).backgroundColor;
      if (c !== 'rgba(0, 0, 0, 0)') return c;
    }
    return 'rgb(255, 255, 255)';
  };
  const seen = [...document.querySelectorAll('main *, header *, .notice, footer p')]
    .filter((e) => e.offsetParent
      && [...e.childNodes].some((n) => n.nodeType === 3 && n.data.trim()));
  return seen.map((e) => [e.tagName + '.' + e.className, getComputedStyle(e).color, behind(e)]);
})()
"""


@pytest.mark.parametrize("dark", [False, True])
def test_light_and_dark_can_be_read(shown, dark, tmp_path):
    write(shown, "pile.width", "50 fet")
    shown.until("!document.getElementById('p-pile.width').hidden")
    shown.look(dark=dark)
    found = shown.ask(COLOURS)
    assert len(found) > 100
    # WCAG 2.2, success criterion 1.4.3: 4.5 to 1 for text.
    for place, colour, behind in found:
        assert contrast(colour, behind) >= 4.5, (place, colour, behind)
    paper = shown.ask("getComputedStyle(document.body).backgroundColor")
    assert (luminance(paper) < 0.1) == dark
    # Success criterion 1.4.11: 3 to 1 for graphics and the edges of fields.
    for look in ("--c0", "--accent", "--ink", "--quiet"):
        drawn = f"document.querySelector('#fill-answer figure svg [stroke=\"var({look})\"]')"
        assert contrast(shown.ask(f"getComputedStyle({drawn}).stroke"), paper) >= 3.0, look
    edge = shown.ask("getComputedStyle(document.getElementById('height')).borderTopColor")
    assert contrast(edge, paper) >= 3.0
    assert len(shown.picture(tmp_path / "page.png")) > 20000


@pytest.mark.parametrize("width", [320, 390])
def test_a_phone_needs_no_sideways_scroll(shown, width):
    shown.ask("document.querySelector('#keep [type=submit]').click()")
    shown.until("!!document.querySelector('#compared')")
    shown.look(width=width, height=700)
    shown.ask("document.querySelectorAll('details').forEach((one) => { one.open = true; })")
    assert shown.ask("document.documentElement.scrollWidth") <= width
    cut = shown.ask(
        "[...document.querySelectorAll('#answers .wide')].filter((e) => !e.querySelector('.chart')"
        " && e.scrollWidth > e.clientWidth + 1).map((e) => e.innerText.slice(0, 60))"
    )
    assert cut == []
    small = shown.ask(
        "[...document.querySelectorAll('td, th, p, li, label, input')].filter((e) => "
        "e.offsetParent && parseFloat(getComputedStyle(e).fontSize) < 13).length"
    )
    assert small == 0
    letters = shown.ask(
        """[...document.querySelectorAll('figure:not(.live) svg text')].map((e) => {
          const m = e.getScreenCTM();
          return parseFloat(getComputedStyle(e).fontSize) * Math.hypot(m.b, m.d);
        })"""
    )
    assert min(letters) >= 7.5
    assert shown.seen("#strip a")


def test_the_keyboard_reaches_everything(shown):
    shown.key("Tab", 9)
    assert shown.ask("document.activeElement.className") == "skip"
    for _ in range(7):  # past the other link and five parts of the page, to the units
        shown.key("Tab", 9)
    assert shown.ask("document.activeElement.name") == "units"
    shown.ask("document.getElementById('slide').focus()")
    before = shown.ask("document.getElementById('slide').value")
    shown.key("ArrowRight", 39)
    assert float(shown.ask("document.getElementById('slide').value")) == float(before) + 0.25
    shown.until("document.getElementById('question').textContent.includes('16.2 ft')")
    assert shown.ask("document.activeElement.id") == "slide"
    reached = set()
    shown.ask("document.body.focus(); document.querySelector('.skip').focus()")
    for _ in range(140):
        shown.key("Tab", 9)
        if shown.ask("document.activeElement === document.body"):
            break  # round at the end
        reached.add(shown.ask("document.activeElement.id || document.activeElement.dataset.act"))
        ring = shown.ask("getComputedStyle(document.activeElement).outlineStyle")
        assert ring != "none", shown.ask("document.activeElement.outerHTML")[:200]
    assert {"examples", "slide", "height", "winter", "weather", "target", "control",
            "keep-name", "load", "save", "print"} <= reached  # fmt: skip


def test_by_ear(shown):
    nodes = [n for n in shown.call("Accessibility.getFullAXTree")["nodes"] if not n["ignored"]]
    roles = {}
    for node in nodes:
        name = node.get("name", {}).get("value", "")
        roles.setdefault(node.get("role", {}).get("value"), []).append(name)
    for role in ("textbox", "slider", "combobox", "button", "checkbox", "radio"):
        assert all(roles.get(role, ["x"])), role
    assert "Height of the pile, sliding" in roles["slider"]
    assert "Length of the pile floor" in roles["textbox"]
    images = roles.get("image", []) + roles.get("img", [])
    assert any("Plan and section of the bay" in name for name in images)
    assert any("Height to which each check" in name for name in images)
    assert {"main", "navigation", "contentinfo"} <= set(roles)
    assert shown.ask(
        "[...document.querySelectorAll('table')]"
        ".every((t) => t.caption && t.querySelector('th[scope]'))"
    )
    assert shown.ask("document.querySelectorAll('h1').length") == 1
    drag(shown, 21)
    shown.until("document.getElementById('spoken').textContent.startsWith('No:')")
    assert shown.ask("document.getElementById('slide').getAttribute('aria-valuetext')") == "21 ft"


def test_it_can_be_printed(shown):
    data = base64.b64decode(shown.call("Page.printToPDF", paperWidth=8.5, paperHeight=11.0)["data"])
    assert data.startswith(b"%PDF")
    assert 1 <= len(re.findall(rb"/Type\s*/Page\b(?!s)", data)) <= 5
    shown.look(width=740)
    shown.call("Emulation.setEmulatedMedia", media="print")
    for hidden in ("#bay", "nav", "#ask", "#keep", "#season", "#sizes"):
        assert not shown.seen(hidden), hidden
    for there in (".notice", "#answer", "#checks", ".drawing svg", ".paper dl"):
        assert shown.seen(there), there
    assert shown.ask("getComputedStyle(document.body).color") == "rgb(0, 0, 0)"
    cut = shown.ask(
        "[...document.querySelectorAll('table, figure, dl')].filter((e) => e.offsetParent && "
        "e.getBoundingClientRect().right > 741).map((e) => e.innerText.slice(0, 60))"
    )
    assert cut == []
    shown.ask("dispatchEvent(new Event('beforeprint'))")
    assert shown.ask("[...document.querySelectorAll('[data-keep=cautions]')].every((e) => e.open)")
    assert shown.seen("[data-keep=bill] table")


def test_without_script_it_says_what_to_do(browser, server):
    browser.look(script=False)
    browser.open_plain(server.address)
    assert "ventcalc check, size and season" in browser.source()
    assert browser.query("noscript p.problem")
    browser.look()


def test_a_program_that_has_ended_is_told(browser):
    with PageServer(example_form("seed_bay", "us"), "us") as one:
        browser.look()
        browser.open(one.address)
        browser.until("document.body.dataset.ready === 'yes'", 60.0)
    drag(browser, 18)
    browser.until("!document.getElementById('gone').hidden")
    assert "start it again" in browser.ask("document.getElementById('gone').textContent")
