"""The pages of the reports in a headless browser: screen, phone, paper, no colour."""

from __future__ import annotations

import base64
import re

import pytest

from ventcalc.bay.file import example_bay
from ventcalc.check.check import check_pile
from ventcalc.commands.main import main

COMMANDS = {
    "check": ("check", "fry_bay", "--units", "us"),
    "check, hardly anything known": ("check", "seed_bay", "--height", "30 inch"),
    "size": ("size", "fry_bay", "--target", "20 cfm/ton", "--no-compare"),
    "season": ("season", "seed_bay", "--weather", "example", "--compare", "--layers", "4"),
    "stages": ("stages", "seed_bay", "--today", "2026-11-20"),
    "unload": ("unload", "seed_bay", "fry_bay", "--date", "2027-05-03", "--no-trucks", "sat,sun"),
}
FIGURES = {"check": 6, "check, hardly anything known": 6, "size": 6, "season": 7 + 5}
FIGURES |= {"stages": 1, "unload": 1}
LIVE = {"check": 1, "check, hardly anything known": 1, "size": 2, "season": 5}
LIVE |= {"stages": 1, "unload": 1}
SHORT = {"stages", "unload"}
"""Pages of one live figure and few tables."""
DESKTOP, PHONE, SMALL_PHONE = 1280, 390, 320
A4, LETTER = (8.27, 11.69), (8.5, 11.0)
MARGIN = 0.4
"""Of a printed page, as browsers set it. [inch]"""


@pytest.fixture(scope="module")
def pages(tmp_path_factory):
    """Path of each page, written once."""
    folder, made = tmp_path_factory.mktemp("pages"), {}
    for k, (name, words) in enumerate(COMMANDS.items()):
        made[name] = folder / f"{k}.html"
        assert main([*words, "--html", str(made[name])]) == 0
    return made


@pytest.fixture(scope="module", params=list(COMMANDS))
def named(request):
    """Name of a page; of the module, so that the tests of one page follow each other."""
    return request.param


@pytest.fixture
def shown(named, browser, pages):
    """A page on a desktop, opened unless it stands there; all that it has asked for is known."""
    browser.look(width=DESKTOP)
    address = pages[named].as_uri()
    if browser.ask("location.href") != address:
        browser.open("about:blank#next")
        browser.events.clear()
        browser.open(address)
    yield named, pages[named]
    browser.call("Emulation.setEmulatedMedia", media="", features=[])


def test_a_page_asks_for_nothing_but_itself_and_complains_of_nothing(browser, shown):
    _, path = shown
    browser.ask("new Promise((done) => setTimeout(done, 300))")
    asked = {address for address in browser.asked_for() if not address.startswith("data:")}
    assert asked == {path.as_uri()}
    assert browser.complaints() == []


@pytest.mark.parametrize("dark", [False, True])
@pytest.mark.parametrize("width", [DESKTOP, PHONE, SMALL_PHONE])
def test_a_page_is_as_wide_as_its_window(browser, shown, width, dark):
    browser.look(width=width, dark=dark)
    assert browser.ask("document.documentElement.scrollWidth") <= width
    outside = browser.ask(
        """[...document.querySelectorAll('main > *, section > *')]
          .filter((e) => e.getBoundingClientRect().right > innerWidth + 0.5)
          .map((e) => e.outerHTML.slice(0, 80))"""
    )
    assert outside == []


def test_a_phone_shows_figures_large_enough_to_read(browser, shown):
    """The smallest words of a figure are no smaller than 8 px; the figure scrolls by itself."""
    name, _ = shown
    browser.look(width=PHONE)
    heights = browser.ask(
        """[...document.querySelectorAll('figure:not(.live) svg text')].map((e) => {
          const m = e.getScreenCTM();
          return parseFloat(getComputedStyle(e).fontSize) * Math.hypot(m.b, m.d);
        })"""
    )
    assert len(heights) > (-1 if name in SHORT else 50)
    assert min(heights, default=7.5) >= 7.5


def test_every_figure_has_words_instead(browser, shown):
    name, _ = shown
    assert browser.ask("document.querySelectorAll('figure').length") == FIGURES[name]
    assert browser.ask("document.querySelectorAll('figure svg[role=img]').length") == FIGURES[name]
    nodes = browser.call("Accessibility.getFullAXTree")["nodes"]
    images = [
        node
        for node in nodes
        if node.get("role", {}).get("value") in ("image", "img") and not node["ignored"]
    ]
    assert len(images) == FIGURES[name]
    for node in images:
        assert len(node["name"]["value"]) > 10
    described = browser.ask(
        "[...document.querySelectorAll('svg > desc')].map((e) => e.textContent)"
    )
    assert len(described) == FIGURES[name]
    assert min(len(words) for words in described) > 60


def test_every_figure_stands_beside_a_table_and_every_table_has_a_caption(browser, shown):
    """Whoever cannot see a figure finds its numbers."""
    lonely = browser.ask(
        """[...document.querySelectorAll('figure')]
          .filter((e) => !e.parentElement.querySelector('table')).length"""
    )
    assert lonely == 0
    assert browser.ask(
        """[...document.querySelectorAll('table:not(.u-legend)')]
          .every((e) => e.caption.textContent.length > 5 && e.querySelector('th[scope]'))"""
    )


LEGENDS = """
[...document.querySelectorAll('figure svg .keys')].map((keys) =>
  [...keys.querySelectorAll('.key')].map((key) =>
    [...key.querySelectorAll('path, rect, circle')].map((e) => {
      const style = getComputedStyle(e);
      if (style.fill.startsWith('url'))
        return 'hatch ' + [...document.querySelector(style.fill.slice(4, -1).replaceAll('"', ''))
          .querySelectorAll('path')].map((p) => p.getAttribute('d')).join();
      return style.fill !== 'none' ? 'area' : 'line ' + style.strokeDasharray;
    }).join('; ')))
"""


def test_lines_and_areas_can_be_told_apart_without_colour(browser, shown):
    """By dashes and hatches alone; what a legend names must look like nothing else in it."""
    name, _ = shown
    legends = browser.ask(LEGENDS)
    assert len(legends) >= (1 if name in SHORT else 3)
    for looks in legends:
        assert len(looks) >= 2
        assert "" not in looks
        assert len(set(looks)) == len(looks), looks


# --- live plots --------------------------------------------------------------------------


def test_live_plots_stand_where_the_picture_was_and_are_painted(browser, shown):
    name, _ = shown
    assert browser.ask("document.querySelectorAll('figure.live canvas').length") == LIVE[name]
    painted = browser.ask(
        """[...document.querySelectorAll('figure.live canvas')].map((c) => {
          const d = c.getContext('2d').getImageData(0, 0, c.width, c.height).data;
          const seen = new Set();
          for (let i = 0; i < d.length; i += 4)
            if (d[i + 3] > 200) seen.add(`${d[i]},${d[i + 1]},${d[i + 2]}`);
          return seen.size;
        })"""
    )
    assert min(painted) > 3


def test_a_zoom_goes_through_all_plots_over_dates(browser, pages):
    browser.look(width=DESKTOP)
    browser.open(pages["season"].as_uri())
    span = "plots.shown().map((one) => one.scales.x.max - one.scales.x.min)"
    before = browser.ask(span)
    browser.ask("document.querySelector('figure.live .tools button').click()")
    browser.until(f"{span}.every((wide, n) => wide < 0.7 * {before}[n])")
    place = "document.querySelector('figure.live .chart')"
    browser.ask(f"{place}.focus()")
    browser.key("Escape", 27)
    browser.until(f"{span}.every((wide, n) => Math.abs(wide - {before}[n]) < 1)")
    values = f"[...{place}.querySelectorAll('.u-value')].map((e) => e.textContent)"
    browser.key("ArrowRight", 39)
    browser.until(f"{values}.filter((words) => words.endsWith('°C')).length >= 4")


def test_dark_plots_in_dark_mode(browser, pages):
    """The same plot in other inks: light words on no white ground."""
    inks = []
    for dark in (False, True):
        browser.look(width=DESKTOP, dark=dark)
        browser.open(pages["season"].as_uri())
        inks.append(
            browser.ask(
                """(() => {
                  const c = document.querySelector('figure.live canvas');
                  const d = c.getContext('2d').getImageData(0, 0, c.width, c.height).data;
                  let sum = 0, count = 0, solid = 0;
                  for (let i = 0; i < d.length; i += 4) {
                    if (d[i + 3] > 250) solid += 1;
                    if (d[i + 3] > 250) { sum += d[i] + d[i + 1] + d[i + 2]; count += 3; }
                  }
                  return sum / count;
                })()"""
            )
        )
    light, dark = inks
    assert light > 200  # stages behind the lines are nearly paper
    assert dark < 80


def test_without_script_the_picture_tells_it(browser, pages):
    browser.look(width=DESKTOP, script=False)
    browser.open_plain(pages["season"].as_uri())
    assert not browser.query("canvas")
    assert browser.query("figure[data-plot] svg path")
    assert browser.query("details.numbers table")
    nodes = browser.call("Accessibility.getFullAXTree")["nodes"]
    names = {node.get("name", {}).get("value") for node in nodes if not node["ignored"]}
    assert any(name.startswith("Temperature of the pile by height") for name in names if name)
    browser.look()


def test_paper_gets_the_picture_and_not_the_plot(browser, pages):
    browser.look(width=DESKTOP)
    browser.open(pages["season"].as_uri())
    seen = """[...document.querySelectorAll('figure.live')].map((f) => [
      getComputedStyle(f.querySelector('svg')).opacity,
      getComputedStyle(f.querySelector('.chart')).display])"""
    assert all(look == ["0", "block"] for look in browser.ask(seen))
    browser.call("Emulation.setEmulatedMedia", media="print")
    assert all(look == ["1", "none"] for look in browser.ask(seen))
    browser.call("Emulation.setEmulatedMedia", media="", features=[])


# --- phone and paper -----------------------------------------------------------------------


def test_a_phone_shows_a_row_as_a_card_and_names_each_cell(browser, pages):
    browser.look(width=PHONE)
    browser.open(pages["check"].as_uri())
    first = browser.ask(
        """(() => {
          const row = [...document.querySelectorAll('table.cards')]
            .find((t) => t.caption.textContent.startsWith('As in')).tBodies[0].rows[0];
          return [row.cells[0].innerText, ...[...row.cells].slice(1).map((cell) =>
            [getComputedStyle(cell).display, getComputedStyle(cell, '::before').content])];
        })()"""
    )
    assert first[0] == "Fans"
    assert first[1:] == [["flex", f'"{word}"'] for word in ("Number", "Size", "Rated at, or how")]
    nodes = browser.call("Accessibility.getFullAXTree")["nodes"]
    roles = {node.get("role", {}).get("value") for node in nodes if not node["ignored"]}
    assert {"table", "row", "rowheader", "cell"} <= roles  # for the ear it stays a table


def test_a_phone_shows_verdicts_as_words_without_scrolling(browser, pages):
    browser.look(width=PHONE)
    browser.open(pages["check"].as_uri())
    seen = browser.ask(
        """(() => {
          const table = [...document.querySelectorAll('table')]
            .find((t) => t.rows[0].cells[1].textContent === 'Verdict');
          return [...table.tBodies[0].rows].map((row) => [row.cells[1].textContent,
            row.cells[1].getBoundingClientRect().right <= innerWidth]);
        })()"""
    )
    verdicts = [check.verdict for check in check_pile(example_bay("fry_bay")).checks]
    assert [words for words, _ in seen] == verdicts
    assert all(inside for _, inside in seen)


def pages_of(data):
    """How many pages a PDF has."""
    return len(re.findall(rb"/Type\s*/Page\b(?!s)", data))


def test_a_page_can_be_printed(browser, shown):
    """On the paper of those who read its units."""
    name, _ = shown
    wide, high = LETTER if "us" in COMMANDS[name] else A4
    data = base64.b64decode(
        browser.call("Page.printToPDF", paperWidth=wide, paperHeight=high)["data"]
    )
    assert data.startswith(b"%PDF")
    assert (2 if name in SHORT else 5) <= pages_of(data) <= 20
    # As wide as the paper leaves it, nothing is cut off: what scrolls on a screen cannot here.
    width = int(96 * (wide - 2 * MARGIN))
    browser.look(width=width)
    browser.call("Emulation.setEmulatedMedia", media="print")
    cut = browser.ask(
        f"""[...document.querySelectorAll('table, figure, svg, p, li')]
          .filter((e) => e.getBoundingClientRect().right > {width} + 1)
          .map((e) => e.textContent.slice(0, 60))"""
    )
    assert cut == []
    assert browser.ask("getComputedStyle(document.body).color") == "rgb(0, 0, 0)"


def test_a_figure_is_never_cut_by_the_end_of_a_page(browser, shown):
    browser.call("Emulation.setEmulatedMedia", media="print")
    kept = browser.ask(
        """[...document.querySelectorAll('figure, tr, section > p')]
          .every((e) => getComputedStyle(e).breakInside === 'avoid')"""
    )
    assert kept
