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
    "size": ("size", "fry_bay", "--target", "20 cfm/ton"),
    "season": ("season", "seed_bay", "--weather", "example", "--compare", "--layers", "4"),
}
FIGURES = {"check": 6, "check, hardly anything known": 6, "size": 6, "season": 7}
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


@pytest.fixture(params=list(COMMANDS))
def shown(request, browser, pages):
    """A page, opened on a desktop; everything that it has asked for is known."""
    browser.look(width=DESKTOP)
    browser.open("about:blank#next")
    browser.events.clear()
    browser.open(pages[request.param].as_uri())
    yield request.param, pages[request.param]
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
    browser.look(width=PHONE)
    heights = browser.ask(
        """[...document.querySelectorAll('figure svg text')].map((e) => {
          const m = e.getScreenCTM();
          return parseFloat(getComputedStyle(e).fontSize) * Math.hypot(m.b, m.d);
        })"""
    )
    assert len(heights) > 50
    assert min(heights) >= 7.5


def test_every_figure_has_words_instead(browser, shown):
    name, _ = shown
    assert browser.ask("document.querySelectorAll('figure').length") == FIGURES[name]
    assert browser.ask("document.querySelectorAll('figure > svg').length") == FIGURES[name]
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
        """[...document.querySelectorAll('table')]
          .every((e) => e.caption.textContent.length > 5 && e.querySelector('th[scope]'))"""
    )


LEGENDS = """
[...document.querySelectorAll('figure svg g[id*="legend_"]')].map((legend) => {
  const looks = [];
  let last = null;
  for (const part of legend.children) {
    if (part.id.includes('text_')) { looks.push(last); continue; }
    const told = [];
    for (const e of part.querySelectorAll('path, use')) {
      const style = getComputedStyle(e);
      if (e.tagName === 'use')
        told.push('mark ' + document.querySelector(e.getAttribute('xlink:href')).getAttribute('d'));
      else if (style.fill.startsWith('url'))
        told.push('hatch ' + [...document.querySelector(style.fill.slice(4, -1).replaceAll('"', ''))
          .querySelectorAll('path')].map((p) => p.getAttribute('d')).join());
      else if (style.fill !== 'none') told.push('area');
      else told.push('line ' + style.strokeDasharray);
    }
    last = told.join('; ');
  }
  return looks;
})
"""


def test_lines_and_areas_can_be_told_apart_without_colour(browser, shown):
    """By dashes, marks and hatches alone; what a legend names must look like nothing else in it."""
    legends = browser.ask(LEGENDS)
    assert len(legends) >= 3
    for looks in legends:
        assert len(looks) >= 2
        assert None not in looks
        assert len(set(looks)) == len(looks), looks


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


@pytest.mark.parametrize("paper", [A4, LETTER])
def test_a_page_can_be_printed(browser, shown, paper):
    wide, high = paper
    data = base64.b64decode(
        browser.call("Page.printToPDF", paperWidth=wide, paperHeight=high)["data"]
    )
    assert data.startswith(b"%PDF")
    assert 5 <= pages_of(data) <= 20
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
