"""The page on which a bay is planned: the command line's answers, and to nobody else."""

from __future__ import annotations

import http.client
import json
import re
import signal
import socket
import subprocess
import sys
import threading
import time
import tomllib
from dataclasses import asdict, replace
from html.parser import HTMLParser
from importlib import resources
from urllib.parse import urlencode, urlsplit

import pytest

from ventcalc.bay.file import bay_to_toml, example_bay, example_bay_path
from ventcalc.commands.main import main
from ventcalc.errors import BadInput, OutOfRange
from ventcalc.page.answers import EXAMPLES, answer_check, example_form
from ventcalc.page.form import bay_of, form_of_bay, form_of_toml
from ventcalc.page.server import PageServer
from ventcalc.season.run import run_season
from ventcalc.weather import example_weather, write_weather_csv


@pytest.fixture(scope="module")
def server():
    with PageServer(example_form("seed_bay", "us"), "us") as one:
        yield one


class Page:
    """Asks as the page's script does."""

    def __init__(self, address):
        self.host, self.port = urlsplit(address).hostname, urlsplit(address).port

    def raw(self, method, where, body=None, **headers):
        link = http.client.HTTPConnection(self.host, self.port, timeout=120)
        given = {name.replace("_", "-"): value for name, value in headers.items()}
        link.request(method, where, body, given)
        answer = link.getresponse()
        found = answer.status, dict(answer.getheaders()), answer.read()
        link.close()
        return found

    def ask(self, where, data, status=200):
        origin = f"http://{self.host}:{self.port}"
        got, _, body = self.raw(
            "POST", where, json.dumps(data), Origin=origin, Content_Type="application/json"
        )
        assert got == status, body
        return json.loads(body)


@pytest.fixture(scope="module")
def page(server):
    return Page(server.address)


def question(form=None, units="us", **more):
    """What the script sends."""
    form = example_form("seed_bay", "us") if form is None else form
    bay = {"bay": dict(form.texts), "has": sorted(form.tables)}
    return {"units": units, "height": "", "winter": "", "warm": "", **bay, **more}


def with_texts(**texts):
    form = example_form("seed_bay", "us")
    changed = {name.replace("__", "."): text for name, text in texts.items()}
    return form._replace(texts={**form.texts, **changed})


def command(capsys, *words):
    assert main(list(words)) == 0
    return json.loads(capsys.readouterr().out)


class Cells(HTMLParser):
    """Cells of a page's tables, or of the one with this id, row by row."""

    def __init__(self, html, table=""):
        super().__init__()
        self.rows, self._cell = [], False
        if table:
            html = html[html.index(f'id="{table}"') :].partition("</table>")[0]
        self.feed(html)

    def handle_starttag(self, tag, _):
        if tag == "tr":
            self.rows.append([])
        if tag in ("td", "th"):
            self.rows[-1].append("")
            self._cell = True

    def handle_endtag(self, tag):
        self._cell = self._cell and tag not in ("td", "th")

    def handle_data(self, data):
        if self._cell:
            self.rows[-1][-1] += data


def flat(part, prefix=""):
    """Every number of a bay by its place; words as they are."""
    if isinstance(part, dict):
        pairs = part.items()
    elif isinstance(part, list | tuple):
        pairs = enumerate(part)
    else:
        return {prefix: part} if isinstance(part, int | float) else {f"{prefix} {part}": 1.0}
    return {k: v for key, one in pairs for k, v in flat(one, f"{prefix}.{key}").items()}


# --- the form is the bay file ------------------------------------------------------------


@pytest.mark.parametrize("units", ["us", "metric"])
@pytest.mark.parametrize("name", ["seed_bay", "fry_bay"])
def test_a_bay_through_the_form_is_the_same_bay(name, units):
    assert bay_of(form_of_toml(example_bay_path(name).read_text())) == example_bay(name)
    form = form_of_bay(example_bay(name), units)
    assert flat(asdict(bay_of(form))) == pytest.approx(flat(asdict(example_bay(name))), rel=1e-12)


def test_a_loaded_file_keeps_what_was_typed(page):
    toml = example_bay_path("seed_bay").read_text()
    html = page.ask("/form", {"units": "us", "toml": toml})["html"]
    assert 'value="20 cfm/ton"' in html
    assert page.ask("/form", {"units": "us", "toml": toml})["asks"]["height"] == "16 ft"


def test_a_saved_file_is_the_one_that_the_library_writes(page, tmp_path):
    answer = page.ask("/file", question())
    assert answer["name"] == "seed_bay_invented.toml"
    assert answer["text"] == bay_to_toml(example_bay("seed_bay"), "us")
    (tmp_path / "saved.toml").write_text(answer["text"])
    assert main(["check", str(tmp_path / "saved.toml")]) == 0
    back = form_of_toml(answer["text"])
    assert page.ask("/file", question(back))["text"] == answer["text"]


@pytest.mark.parametrize("name", [name for name, _ in EXAMPLES])
def test_every_beginning_can_be_judged(page, name):
    answer = page.ask("/form", {"units": "metric", "example": name})
    assert "<input" in answer["html"]
    assert page.ask("/check", question(example_form(name, "metric"), "metric"))["data"]["checks"]


def test_lots_come_and_go(page):
    form = form_of_toml(example_bay_path("seed_bay").read_text())
    more = page.ask("/form", question(form, act="lot"))["html"]
    assert 'name="lots[4].mass"' in more
    less = page.ask("/form", question(form, act="take lots[2]"))["html"]
    assert 'name="lots[3].mass"' not in less
    assert 'value="Lot C"' in less
    assert 'value="Lot B"' not in less


def test_other_units_are_the_same_bay_in_other_words(page):
    answer = page.ask(
        "/form", question(units="metric", act="units", height="17 ft", winter="-4 degF")
    )
    assert 'value="4.8768 m"' in answer["html"]
    assert answer["asks"]["height"] == "5.18 m"
    assert answer["asks"]["winter_temperature".partition("_")[0]] == "-20.0 °C"


# --- every number is the command line's ---------------------------------------------------


@pytest.mark.parametrize("height", ["", "17 ft", "5.5 m"])
def test_a_check_is_that_of_the_command_line(page, capsys, height):
    words = ["--height", height] if height else []
    said = command(capsys, "check", "seed_bay", "--json", *words)
    answer = page.ask("/check", question(height=height))
    assert answer["data"] == {name: said[name] for name in said if name != "files"}


def test_outside_states_are_those_of_the_command_line(page, capsys):
    words = ("--winter", "-30 degF", "--warm", "70 degF", "--warm-rh", "75 %",
             "--autumn", "60 degF", "--autumn-rh", "55 %")  # fmt: skip
    said = command(capsys, "check", "seed_bay", "--json", *words)
    answer = page.ask("/check", question(
        winter="-30 degF", warm="70 degF", warm_rh="75 %", autumn="60 degF", autumn_rh="55 %"
    ))  # fmt: skip
    assert answer["data"] == {name: said[name] for name in said if name != "files"}
    assert answer["data"] != page.ask("/check", question())["data"]


@pytest.mark.parametrize("units", ["us", "metric"])
def test_the_table_says_what_the_command_line_prints(page, capsys, units):
    main(["check", "seed_bay", "--height", "17 ft", "--units", units])
    printed = " ".join(capsys.readouterr().out.split())
    html = page.ask("/check", question(height="17 ft", units=units))["html"]
    rows = [row for row in Cells(html).rows if len(row) == 7][1:]
    assert len(rows) == 28
    for name, verdict, value, limit, margin, _, source in rows:
        assert " ".join((name, value, limit, margin, verdict, source)) in printed


# --- bad input ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("texts", "field", "words"),
    [
        ({"pile__height": "16 fet"}, "pile.height", "did you mean 'feet'?"),
        ({"pile__height": "16"}, "pile.height", "no unit; write it"),
        ({"pile__width": ""}, "pile.width", "missing; width of the pile floor"),
        ({"pile__height": "40 ft"}, "pile.height", "must lie in"),
        ({"lots[1].mass": "-3 t"}, "lots[1].mass", "must lie in"),
        ({"fans__count": "2.5"}, "fans.count", "must be a whole number"),
        ({"schedule__fill_start": "31-31"}, "schedule.fill_start", "write month-day"),
        ({"site__time_zone": "Mars/Base"}, "site.time_zone", "not a time zone"),
        ({"envelope__wall_height": "10 ft"}, "envelope.wall_height", "lower the pile"),
        ({"fans__curve_airflow": "1 cfm"}, "fans.curve_airflow", "two values or more"),
    ],
)
def test_bad_input_says_one_line_beside_its_field(page, texts, field, words):
    answer = page.ask("/check", question(with_texts(**texts)))
    assert words in answer["problems"][field]
    assert "\n" not in answer["problems"][field]
    assert "html" not in answer
    assert page.ask("/file", question(with_texts(**texts)))["problems"] == answer["problems"]


@pytest.mark.parametrize(
    ("ask", "field", "words"),
    [
        ({"height": "30 ft"}, "check.height", "must lie in 0.5 to 8 m"),
        ({"height": "tall"}, "check.height", "does not begin with a plain number"),
        ({"winter": "60 degF"}, "check.winter", "must lie in -50 to 10"),
        ({"warm": "18 ft"}, "check.warm", "18 ft"),
        ({"warm_rh": "170 %"}, "check.warm_rh", "must lie in 0.01 to 1"),
    ],
)
def test_a_bad_question_says_one_line_beside_its_field(page, ask, field, words):
    answer = page.ask("/check", question(**ask))
    assert words in answer["problems"][field]
    assert answer["above"] == []


@pytest.mark.parametrize("text", ["0", "-5", "1e300", "7 furlongs", "\0", "1e-9 m, nan"])
def test_no_text_in_any_field_is_more_than_a_line(text):
    form = example_form("seed_bay", "us")
    refused = 0
    for name in form.texts:
        asked = question(form._replace(texts={**form.texts, name: text}))
        answer = answer_check(asked)
        lines = [*answer["problems"].values(), *answer["above"]]
        assert all(line.strip() and "\n" not in line and len(line) < 400 for line in lines)
        refused += bool(lines)
    assert refused > len(form.texts) / 2


def test_a_fault_of_ours_is_told_and_the_page_lives_on(page, monkeypatch):
    def broken(*_, **__):
        raise RuntimeError("a fault made by this test")

    monkeypatch.setattr("ventcalc.page.ask.check_pile", broken)
    assert "a fault made by this test" in page.ask("/check", question(), status=500)["above"][0]
    monkeypatch.setattr("ventcalc.page.runs.run_season", broken)
    *_, last = lines_of(page, question())
    assert "a fault made by this test" in last["above"][0]
    monkeypatch.undo()
    assert page.ask("/check", question())["html"]


def test_what_belongs_to_no_field_stands_above(page):
    answer = page.ask("/check", question(with_texts(**{"lots[1].mass": "9e6 lb"})))
    assert "do not fit a full pile" in answer["above"][0]
    odd = page.ask("/form", {"units": "us", "toml": 'pyle = 1\n[bay]\nname = "x"'})
    assert any("pyle" in line for line in odd["above"])


@pytest.mark.parametrize("toml", ["height = ", "a = 1\na = 2", "\0", "[" * 5000])
def test_a_file_that_is_no_bay_file_is_refused(page, toml):
    answer = page.ask("/form", {"units": "us", "toml": toml}, status=400)
    assert "not valid TOML" in answer["above"][0]
    with pytest.raises(BadInput, match="not valid TOML"):
        form_of_toml(toml)


def test_texts_from_outside_are_only_texts(page):
    nasty = '<img src=x onerror="alert(1)">'
    form = with_texts(bay__name=nasty, bay__notes=nasty)
    html = page.ask("/check", question(form))["html"]
    assert "<img" not in html
    assert "&lt;img" in html
    toml = page.ask("/file", question(form))["text"]
    assert tomllib.loads(toml)["bay"]["name"] == nasty
    assert "<img" not in page.ask("/form", {"units": "us", "toml": toml})["html"]


@pytest.mark.parametrize(
    "data",
    [
        [], {}, {"bay": []}, {"bay": {"a": 1}, "has": []}, {"bay": {"pile.height": "1 m"}},
        {"bay": {}, "has": [3]}, {"example": "no_such_bay"},
    ],
)  # fmt: skip
def test_nonsense_is_refused_in_one_line(page, data):
    answer = page.ask("/form", data, status=400)
    assert len(answer["above"]) == 1


# --- on this machine, by its own page ------------------------------------------------------


def test_another_name_for_this_machine_is_refused(page):
    for host in ("evil.example", "evil.example:80", "127.0.0.1.evil.example", ""):
        status, _, body = page.raw("GET", "/", Host=host)
        assert status == 421
        assert b"only to be had on the machine" in body
    assert page.raw("GET", "/", Host=f"localhost:{page.port}")[0] == 200


@pytest.mark.parametrize("origin", [None, "null", "http://evil.example", "http://127.0.0.1:1"])
@pytest.mark.parametrize("where", ["/check", "/form", "/file"])
def test_a_question_from_elsewhere_is_refused(page, origin, where):
    headers = {"Content_Type": "application/json"} | ({"Origin": origin} if origin else {})
    status, _, body = page.raw("POST", where, json.dumps(question()), **headers)
    assert status == 403
    assert b"only answers its own script" in body


def test_a_plain_form_is_no_question(page):
    origin = f"http://{page.host}:{page.port}"
    status, _, _ = page.raw("POST", "/check", "a=1", Origin=origin, Content_Type="text/plain")
    assert status == 400


def test_a_question_without_end_is_refused(page):
    answer = page.ask("/form", {"units": "us", "toml": "#" * 2_100_000}, status=400)
    assert "too long" in answer["above"][0]


def test_only_this_machine_hears_it(server):
    mine = {
        info[4][0] for info in socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET)
    } - {"127.0.0.1"}
    port = urlsplit(server.address).port
    assert urlsplit(server.address).hostname == "127.0.0.1"
    for address in mine:
        if address.startswith("127."):
            continue
        with pytest.raises(OSError, match="refused"):
            socket.create_connection((address, port), timeout=2.0)


def test_headers_that_keep_others_out(page):
    _, headers, body = page.raw("GET", "/")
    policy = headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    assert "frame-ancestors 'none'" in policy
    assert headers["cache-control"] == "no-store"
    text = body.decode()
    assert set(re.findall(r'(?:src|href)="([^"#]+)"', text)) == {
        "/static/icon.svg", "/static/page.css", "/static/plan.css", "/static/uplot/uPlot.min.css",
        "/static/plan.js", "/static/plot.js", "/static/uplot/uPlot.iife.min.js",
    }  # fmt: skip
    assert not re.search(r"<script>|style=|onclick=", text)


def test_html_stands_in_the_templates_alone_and_none_lifts_the_escaping():
    for part in resources.files("ventcalc.page").iterdir():
        if part.name.endswith(".py"):
            assert not re.search(r"</?[a-z]+[ >/]", part.read_text()), part.name
    for part in resources.files("ventcalc.page").joinpath("templates").iterdir():
        assert not re.search(r"\|\s*safe|autoescape|Markup", part.read_text()), part.name


def test_every_page_carries_its_cautions(page):
    text = page.raw("GET", "/")[2].decode()
    for words in ("licensed engineer", "walls under load", "CO2", "refrigerants", "freezing"):
        assert words in text
    checked = page.ask("/check", question())["html"]
    assert "A licensed structural engineer must check walls" in checked


def test_no_such_page(page):
    status, _, body = page.raw("GET", "/nowhere")
    assert status == 404
    assert b"no such page" in body


# --- the command --------------------------------------------------------------------------


def test_the_command_serves_until_it_is_told_to_end():
    program = [sys.executable, "-m", "ventcalc", "page", "fry_bay", "--json"]
    with subprocess.Popen(program, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as run:
        try:
            lines = [run.stdout.readline() for _ in range(3)]
            address = json.loads(b"".join(lines))["address"]
            other = Page(address)
            assert b"Fry bay (invented)" in other.raw("GET", "/")[2]
            run.send_signal(signal.SIGINT)
            assert run.wait(30) == 0
        finally:
            run.kill()
        assert run.stderr.read() == b""


WAITS_FOR_THE_LAST = """
import os, signal, threading, time
from ventcalc.web.local import LocalServer, take_port

async def app(scope, receive, send):
    raise AssertionError

def close():
    time.sleep(0.5)
    print("closed")

with LocalServer(app, take_port("127.0.0.1", 0, RuntimeError), close) as server:
    threading.Timer(0.3, os.kill, (os.getpid(), signal.SIGINT)).start()
    try:
        server.wait()
    except KeyboardInterrupt:
        pass
print("left")
"""


def test_after_ctrl_c_the_page_ends_before_the_program():
    """Else it loses its socket under its feet, and says so at length."""
    done = subprocess.run(
        [sys.executable, "-c", WAITS_FOR_THE_LAST], capture_output=True, text=True, timeout=60
    )
    assert (done.returncode, done.stdout, done.stderr) == (0, "closed\nleft\n", "")


def test_a_port_that_is_taken_is_told_in_one_line(server, capsys):
    port = str(urlsplit(server.address).port)
    assert main(["page", "seed_bay", "--port", port]) == 2
    said = capsys.readouterr().err
    assert said.count("\n") == 1
    assert "name another" in said
    assert main(["page", "--port", "99999"]) == 2
    assert main(["page", "no_such.toml"]) == 2


def test_the_page_does_without_the_bridge():
    program = (
        "import sys; sys.modules['firmware_bridge'] = sys.modules['paho'] = None\n"
        "sys.modules['msgspec'] = sys.modules['matplotlib'] = None\n"
        "from ventcalc.page.server import PageServer\n"
        "from ventcalc.page.answers import answer_check, example_form\n"
        "form = example_form('seed_bay', 'us')\n"
        "data = {'bay': dict(form.texts), 'has': list(form.tables)}\n"
        "assert answer_check(data)['data']['verdict']\n"
    )
    subprocess.run([sys.executable, "-c", program], check=True)


# --- what takes its time ------------------------------------------------------------------


def lines_of(page, data):
    """What a season says line by line."""
    link = http.client.HTTPConnection(page.host, page.port, timeout=300)
    origin = f"http://{page.host}:{page.port}"
    headers = {"Origin": origin, "Content-Type": "application/json"}
    link.request("POST", "/season", json.dumps(data), headers)
    answer = link.getresponse()
    try:
        yield answer
        while line := answer.readline():
            yield json.loads(line)
    finally:
        answer.close()
        link.close()


def within(seconds, true):
    """Wait until it is true, but not for ever."""
    end = time.monotonic() + seconds
    while not true():
        assert time.monotonic() < end
        time.sleep(0.05)


@pytest.fixture(scope="module")
def short():
    """The seed bay for some weeks: filled, and emptied again."""
    return with_texts(
        schedule__healing_days="2 days",
        schedule__warm_up_start="11-20",
        schedule__unloading_start="11-25",
        schedule__unloading_days="2 days",
        schedule__holding_temperature="45 degF",
        schedule__warm_up_temperature="46 degF",
    )


@pytest.fixture(scope="module")
def short_file(short, tmp_path_factory):
    path = tmp_path_factory.mktemp("short") / "short.toml"
    path.write_text(bay_to_toml(bay_of(short), "us"))
    return path


def test_a_season_is_that_of_the_command_line(page, capsys, short, short_file):
    words = ("season", str(short_file), "--weather", "example", "--units", "us", "--json")
    said = command(capsys, *words)
    form = form_of_toml(short_file.read_text())
    answer, *lines, last = lines_of(page, question(form, control="advice", weather="example"))
    assert answer.status == 200
    assert last["data"]["advice"] == {
        name: said[name] for name in said if name not in ("files", "left_out", "likely")
    }
    parts = [line["part"] for line in lines]
    assert lines[-1]["running"] == "advice"
    assert parts == sorted(parts)
    assert parts[-1] <= 1.0
    main(["season", str(short_file), "--weather", "example", "--units", "us"])
    printed = {" ".join(line.split()) for line in capsys.readouterr().out.splitlines()}
    rows = [row for row in Cells(last["html"], "results").rows if len(row) == 2][1:]
    assert len(rows) > 30
    assert {" ".join(row) for row in rows} <= printed


def test_a_season_ends_when_nobody_listens(page, short):
    long = question()
    told = lines_of(page, long)
    assert next(told).status == 200
    assert next(told)["part"] < 1.0
    busy = page.ask("/season", long, status=400)
    assert "running already" in busy["above"][0]
    told.close()  # the generator, and with it the link
    within(20.0, lambda: not any(one.name == "seasons" for one in threading.enumerate()))
    elsewhere = question(short, weather="nowhere")
    within(20.0, lambda: "not kept any more" in page.ask("/season", elsewhere, 400)["above"][0])


def test_a_control_that_leaves_the_model_is_left_out_and_said(page, short, monkeypatch):
    """As ``ventcalc season --compare`` says it: a pile that heats itself up."""

    def hot(bay, weather, policy, *, name, **rest):
        if name == "nothing":
            raise OutOfRange("pulp", -5.0, 40.0, 40.6, " at [7]", "°C", "")
        return run_season(bay, weather, policy, name=name, **rest)

    monkeypatch.setattr("ventcalc.page.runs.run_season", hot)
    *_, last = lines_of(page, question(short, control="all"))
    assert list(last["data"]) == ["advice", "thermostat", "clock", "shadow price"]
    words = "Left out: no ventilation, because pulp came to 40.6, outside -5 to 40"
    assert words in last["html"]
    *_, alone = lines_of(page, question(short, control="nothing"))
    assert "pulp must lie in -5 to 40" in alone["above"][0]


def test_a_season_of_a_bay_that_is_none_says_what_to_mend(page):
    answer = page.ask("/season", question(with_texts(pile__height="16")))
    assert "no unit" in answer["problems"]["pile.height"]
    assert "write one of" in page.ask("/season", question(control="best"), 400)["above"][0]


def test_sizes_are_those_of_the_command_line(page, capsys, tmp_path):
    out = str(tmp_path / "sized.toml")
    words = ("size", "seed_bay", "--target", "18 cfm/ton", "--units", "us")
    said = command(capsys, *words, "--json", "--out", out)
    answer = page.ask("/size", question(target="18 cfm/ton", weather="example"))
    assert answer["data"] == {name: said[name] for name in said if name != "files"}
    assert answer["toml"] == (tmp_path / "sized.toml").read_text()
    main(list(words))
    printed = " ".join(capsys.readouterr().out.split())
    rows = [row for row in Cells(answer["html"], "size-table").rows if len(row) == 4][1:]
    assert len(rows) > 20
    for row in rows:
        assert " ".join(filter(None, (" ".join(cell.split()) for cell in row))) in printed
    assert "practise with them" in answer["html"]
    assert "Not compared here: tick" in answer["html"]


def test_sizes_with_other_airflows_beside_them(page, monkeypatch):
    """Each with its season, here a short one of the airflow asked for alone."""
    monkeypatch.setattr("ventcalc.sizing.alternatives.SHARES", ())
    ends = {"warm_up_start": "11-20", "unloading_start": "11-25", "unloading_days": "2 days"}
    form = with_texts(**{f"schedule__{name}": text for name, text in ends.items()})
    answer = page.ask("/size", question(form, airflows=True))
    (one,) = answer["data"]["compared"]
    assert one["asked"]
    assert f"{one['season']['co2_highest_ppm']:,.0f} ppm" in answer["html"]


@pytest.mark.parametrize("target", ["500 cfm/ton", "18 ft", "much"])
def test_a_bad_target_says_so_beside_its_field(page, target):
    answer = page.ask("/size", question(target=target))
    assert target in answer["problems"]["size.target"]


def upload(page, name, body, altitude="5000 ft"):
    origin = f"http://{page.host}:{page.port}"
    query = urlencode({"name": name, "altitude": altitude})
    status, _, answer = page.raw("POST", f"/weather?{query}", body, Origin=origin)
    return status, json.loads(answer)


def test_weather_of_ones_own_is_that_of_the_command_line(page, capsys, tmp_path):
    path = tmp_path / "warm year.csv"
    source = resources.files("ventcalc") / "data" / "weather" / "example.csv"
    warm = replace(example_weather(), name="Invented warm year", source="invented")
    warm = replace(warm, temperature=warm.temperature + 3.0)
    write_weather_csv(warm, path)
    status, answer = upload(page, "../warm year.csv", path.read_bytes())
    assert status == 200
    assert answer["name"] == "Invented warm year"
    said = command(capsys, "size", "seed_bay", "--weather", str(path), "--json", "--units", "us")
    sized = page.ask("/size", question(weather=answer["key"]))
    assert sized["data"] == {name: said[name] for name in said if name != "files"}
    assert sized["data"]["weather"] == "Invented warm year"
    assert source.is_file()


@pytest.mark.parametrize(
    ("body", "words"),
    [(b"", "empty"), (b"\0\1", "not a text file"), (b"time,what\n1,2\n", "column")],
)
def test_a_file_that_is_no_weather_is_refused(page, body, words):
    status, answer = upload(page, "bad.csv", body)
    assert status == 400
    assert any(words in line for line in answer["above"]), answer


def test_alternatives_stand_side_by_side(page, capsys):
    lower = with_texts(pile__height="15 ft", **{"lots[1].mass": "1.2e6 lb"})
    alternatives = [
        question(name="as it is"),
        question(with_texts(fans__count="3"), name="three fans", height="17 ft"),
        question(lower, name="lower"),
        question(with_texts(pile__height="tall"), name="no bay"),
    ]
    answer = page.ask("/compare", {"units": "us", "alternatives": alternatives})
    assert list(answer["data"]) == ["as it is", "three fans", "lower"]
    said = command(capsys, "check", "seed_bay", "--json")
    assert answer["data"]["as it is"] == {name: said[name] for name in said if name != "files"}
    assert "<strong>no bay</strong> cannot be judged" in answer["html"]
    rows = {row[0]: row[1:] for row in Cells(answer["html"]).rows}
    assert rows["Fans: number of fans"] == ["4", "3", "4"]
    assert rows["Height of the pile"] == ["16.0 ft", "17.0 ft", "15.0 ft"]
    assert rows["Pile: depth of the pile"] == ["16 ft", "16 ft", "15 ft"]
    assert "Pile: length of the pile floor" not in rows


@pytest.mark.parametrize("count", [0, 9])
def test_too_many_alternatives_or_none_are_refused(page, count):
    asked = {"units": "us", "alternatives": [question(name=str(k)) for k in range(count)]}
    assert "keep 1 to 8" in page.ask("/compare", asked, status=400)["above"][0]


def test_seasons_of_alternatives_stand_side_by_side(page, short):
    alternatives = [question(short, name="one"), question(short, name="two")]
    asked = {"units": "metric", "alternatives": alternatives, "control": "thermostat"}
    *_, last = lines_of(page, asked)
    assert list(last["data"]) == ["one, thermostat", "two, thermostat"]
    one, two = last["data"].values()
    assert one == two
    assert Cells(last["html"], "results").rows[0][1:] == list(last["data"])
    assert "Alternatives side by side" in last["html"]
    head, *rows = Cells(last["html"], "costs").rows
    assert [row[0] for row in rows] == list(last["data"])
    told = [float(re.search(r"[\d.]+", rows[0][head.index(name)])[0]) for name in head[1:]]
    airflow, fans, shrink, electricity, lost, together = told
    found = one["policies"]["thermostat"]
    assert fans == pytest.approx(found["fan_energy_kwh_t"], abs=0.005)
    # Prices of the bay file: 0.09 per kWh, 10 per 100 lb (45.359237 kg, NIST SP 811).
    assert electricity == pytest.approx(0.09 * found["energy_kwh_t"], abs=0.001)
    assert lost == pytest.approx(shrink / 100.0 * 10.0 / 0.045359237, rel=0.003)
    assert together == pytest.approx(electricity + lost, abs=0.0015)
    checks = page.ask("/check", question(short, units="metric"))["data"]["checks"]
    wanted = next(c["value_m3_s_t"] for c in checks if c["key"] == "airflow")
    assert airflow == pytest.approx(3600.0 * wanted, rel=0.02)
