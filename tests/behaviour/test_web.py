"""The web parts that all pages share: files, ticks, charts, bars, strips."""

from __future__ import annotations

import base64
import hashlib
import math
import re
import struct
import zlib
from datetime import UTC, datetime
from importlib import resources

import numpy as np
import pytest

from ventcalc.web import files
from ventcalc.web.bars import bars
from ventcalc.web.chart import Level, Line, Mark, chart
from ventcalc.web.scale import date_ticks, round_range, ticks
from ventcalc.web.strips import strips
from ventcalc.web.templates import environment

NASTY = "</script><b>&"


def written(picture):
    """HTML of a picture, by the macro that every page uses."""
    parts = environment("ventcalc.report").get_template("web_parts.html").module
    return str(parts.plot(picture, "What it shows."))


def shapes(picture, tag):
    return [one for one in picture.shapes if one.tag == tag]


def seconds(*date):
    return datetime(*date, tzinfo=UTC).timestamp()


def test_the_plot_library_is_the_published_one():
    folder = resources.files("ventcalc.web") / "static" / "uplot"
    lines = (folder / "README.md").read_text(encoding="utf-8").splitlines()
    told = [line.split() for line in lines if line.startswith("    ")]
    assert len(told) == 2
    for digest, name in told:
        assert hashlib.sha256((folder / name).read_bytes()).hexdigest() == digest
    assert "MIT License" in (folder / "LICENSE").read_text(encoding="utf-8")


def test_files_are_those_that_are_there():
    assert all(files.read(name) for name in files.TYPES)
    assert files.inline("page.css", "plot.js").encode() == (
        files.read("page.css") + b"\n" + files.read("plot.js")
    )
    assert b"</script" not in files.read("plot.js") + files.read("uplot/uPlot.iife.min.js")


# --- ticks ---------------------------------------------------------------------------------


@pytest.mark.parametrize(("low", "high"), [(0.0, 1.0), (-3.2, 17.1), (2e-4, 9e-4), (0.0, 23456.0)])
def test_ticks_are_round_and_inside(low, high):
    found = ticks(*round_range(low, high))
    values = [value for value, _ in found]
    assert values[0] <= low + 1e-12
    assert values[-1] >= high - 1e-12
    assert 3 <= len(found) <= 12
    for value, words in found:
        assert float(words.replace(",", "").replace("−", "-")) == pytest.approx(value, abs=1e-12)


def test_a_flat_line_has_a_range():
    low, high = round_range(4.0, 4.0)
    assert low < 4.0 < high


def test_months_and_the_year_where_it_turns():
    found = date_ticks([seconds(2018, 9, 18), seconds(2019, 5, 20)])
    assert " ".join(words for _, words, _ in found) == "Oct Nov Dec Jan Feb Mar Apr May"
    assert [year for _, _, year in found if year] == ["2018", "2019"]
    assert found[3][0] == seconds(2019, 1, 1)
    days = date_ticks([seconds(2018, 10, 30), seconds(2018, 11, 3)])
    assert [words for _, words, _ in days] == ["30 Oct", "31 Oct", "1 Nov", "2 Nov", "3 Nov"]


# --- charts --------------------------------------------------------------------------------


def test_a_line_runs_through_its_points_and_breaks_where_nothing_is_known():
    line = Line(label="a", y=[0.0, 10.0, math.nan, 10.0, 0.0])
    picture = chart("p", "t", [0.0, 1.0, 2.0, 3.0, 4.0], [line], y_range=(0.0, 10.0))
    (path,) = (s for s in shapes(picture, "path") if "stroke-width" in s.look)
    numbers = [[float(n) for n in part.split()] for part in re.split("[ML]", path.look["d"])[1:]]
    (x0, y0), (x1, y1), (x3, y3), (x4, y4) = numbers
    assert path.look["d"].count("M") == 2
    assert y0 == y4 > y1 == y3
    assert x4 - x3 == pytest.approx(x1 - x0, abs=0.2)
    assert picture.spec["series"][0]["y"] == [0.0, 10.0, None, 10.0, 0.0]


def test_live_numbers_are_those_given():
    """All points, though the picture shows means of many; even steps are told as three numbers."""
    x = 3600.0 * np.arange(2000)
    y = np.sin(x / 1e5)
    picture = chart("p", "t", x, [Line(label="a", y=y, base=y - 1.0)], digits=2)
    assert picture.spec["x"] == {"first": 0.0, "step": 3600.0, "count": 2000}
    top, low = picture.spec["series"]
    assert np.max(np.abs(np.array(top["y"]) - y)) <= 0.0005
    assert np.max(np.abs(np.array(low["y"]) - y + 1.0)) <= 0.0005
    assert picture.spec["bands"] == [{"high": 0, "low": 1, "color": "--c0"}]
    uneven = chart("p", "t", [0.0, 1.0, 3.0], [Line(label="a", y=[1.0, 2.0, 3.0])])
    assert uneven.spec["x"] == [0.0, 1.0, 3.0]
    assert chart("p", "t", x, [Line(label="a", y=y)], live=False).spec is None


def test_names_cannot_break_out_of_a_picture():
    picture = chart(
        "p",
        NASTY,
        [0.0, 1.0],
        [Line(label=NASTY, y=[0.0, 1.0])],
        spans=[(0.0, 1.0, NASTY)],
        levels=[Level(y=0.5, label=NASTY)],
        marks=[Mark(x=0.5, y=0.5, label=NASTY)],
        y_label=NASTY,
    )
    page = written(picture)
    assert page.count("</script>") == 1  # the end of its own numbers
    assert "<b>" not in page
    assert "&lt;/script&gt;&lt;b&gt;&amp;" in page


def test_bars_are_as_long_as_their_parts():
    parts = {"up": [30.0, 10.0], "more": [10.0, 0.0], "down": [-20.0, 0.0]}
    picture = bars("b", "t", ["first", "second"], parts, label=lambda total: f"sum {total:.0f}")
    boxes = [s for s in shapes(picture, "rect") if "fill-opacity" in s.look]
    widths = [float(s.look["width"]) for s in boxes]
    assert widths[0] / widths[3] == pytest.approx(3.0, rel=0.01)
    assert widths[0] / widths[1] == pytest.approx(3.0, rel=0.01)
    assert widths[2] / widths[3] == pytest.approx(2.0, rel=0.01)
    ends = [float(s.look["x"]) + float(s.look["width"]) for s in boxes]
    assert ends[2] == pytest.approx(float(boxes[0].look["x"]), abs=0.2)  # meet at zero
    assert [s.text for s in shapes(picture, "text") if s.text.startswith("sum")] == [
        "sum 20", "sum 10",
    ]  # fmt: skip


def test_a_strip_holds_every_hour():
    """The picture is read back: PNG, ISO/IEC 15948."""
    positions = np.linspace(0.0, 1.0, 24 * 5).reshape(24, 5)
    days = [seconds(2018, 10, 1) + 86400.0 * k for k in range(6)]
    picture = strips("s", "t", days, [("fans", positions)])
    (image,) = shapes(picture, "image")
    data = base64.b64decode(image.look["href"].partition(",")[2])
    assert data.startswith(b"\x89PNG\r\n\x1a\n")
    wide, high = struct.unpack(">II", data[16:24])
    assert (wide, high) == (5, 24)
    size = struct.unpack(">I", data[33:37])[0]
    rows = np.frombuffer(zlib.decompress(data[41 : 41 + size]), np.uint8).reshape(24, 1 + 5 * 4)
    opaque = rows[:, 1:].reshape(24, 5, 4)[::-1, :, 3]  # midnight is at the bottom
    assert np.max(np.abs(opaque / 255.0 - positions)) <= 0.5 / 255.0 + 1e-9
