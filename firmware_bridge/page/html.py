"""The page as HTML: readable without its script, by keyboard and by ear."""

from __future__ import annotations

import html
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

from firmware_bridge.journal.journal import Event
from firmware_bridge.page.history import DAYS, Series
from firmware_bridge.page.view import Face, Line
from firmware_bridge.page.words import Units, age_text, in_units, number

__all__ = ["Frame", "bay_page", "chart_tables", "overview_page", "plain_page", "stamp"]

CAUTION = (
    "Advice only: the controller's own limits and interlocks always win. Lock out the fans and "
    "test the air for CO2 and oxygen before anyone goes into a bay."
)
FEW = 12
"""Up to so many bays have their link on every page; more are found from the overview."""
_EVENT_WORDS = {"ok": "advice is given"}


@dataclass(frozen=True, kw_only=True, slots=True)
class Frame:
    """What every page carries."""

    units: Units
    days: int
    day: float
    """Time of day of what is shown, UTC. [s]"""
    shift: int
    """Local time less UTC. [s]"""
    pace: float
    silence: float
    """How long the bridge's loop has said nothing. [s]"""
    problem: str
    notice: str
    names: tuple[str, ...]
    shape: str
    """Changes when the page must be loaded anew."""

    def query(self, **other: object) -> str:
        """The choices of this page, some of them replaced."""
        chosen = {"units": self.units, "days": self.days, **other}
        return "?" + "&amp;".join(f"{name}={value}" for name, value in chosen.items())


def stamp(t: float, shift: int, form: str = "%Y-%m-%d %H:%M") -> str:
    """A moment in the local time of the bridge, 24 hours."""
    return datetime.fromtimestamp(t + shift, UTC).strftime(form)


def _zone(shift: int) -> str:
    sign = "−" if shift < 0 else "+"
    return f"UTC{sign}{abs(shift) // 3600:02d}:{abs(shift) // 60 % 60:02d}"


def _text(words: object) -> str:
    return html.escape(str(words))


def _live(key: str, words: str, tag: str = "span") -> str:
    """Text that the stream may replace."""
    return f'<{tag} data-k="{_text(key)}">{_text(words)}</{tag}>'


def _age(key: str, seconds: float) -> str:
    given = f"{seconds:.1f}" if math.isfinite(seconds) else ""
    return f'<span class="age" data-a="{_text(key)}" data-s="{given}">{age_text(seconds)}</span>'


def _list(key: str, lines: Iterable[str], kind: str) -> str:
    items = "".join(f"<li>{_text(line)}</li>" for line in lines)
    return f'<ul class="{kind}" data-l="{_text(key)}">{items}</ul>'


def _table(caption: str, head: Sequence[str], rows: Iterable[str]) -> str:
    cells = "".join(f'<th scope="col">{_text(cell)}</th>' for cell in head)
    return (
        f'<div class="wide"><table><caption>{_text(caption)}</caption><thead><tr>{cells}</tr>'
        f"</thead><tbody>{''.join(rows)}</tbody></table></div>"
    )


# --- the frame ---------------------------------------------------------------------------------


def _page(title: str, frame: Frame, stream: str, body: str, scripts: str = "") -> str:
    return f"""<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>{_text(title)}</title>
<link rel="icon" href="/static/icon.svg" type="image/svg+xml">
<link rel="stylesheet" href="/static/uplot/uPlot.min.css">
<link rel="stylesheet" href="/static/page.css">
<noscript><meta http-equiv="refresh" content="20"></noscript>
{scripts}<script src="/static/page.js" defer></script>
</head>
<body data-stream="{stream}" data-shape="{frame.shape}" data-pace="{frame.pace:g}">
<a class="skip" href="#main">Skip to the bays</a>
<header>
<p class="brand">Storage bays <span class="quiet">as of
<span data-k="day">{stamp(frame.day, frame.shift, "%Y-%m-%d %H:%M:%S")}</span>
{_zone(frame.shift)}</span></p>
{_nav(frame)}
</header>
{_warnings(frame)}
<main id="main">
{body}
</main>
<footer><p>{_text(CAUTION)}</p></footer>
</body>
</html>
"""


def _nav(frame: Frame) -> str:
    few = frame.names if len(frame.names) <= FEW else ()
    bays = "".join(
        f'<li><a href="/bay/{name}{frame.query()}">{_text(name)}</a></li>' for name in few
    )
    units = " | ".join(
        f"<strong>{words}</strong>"
        if name == frame.units
        else f'<a href="{frame.query(units=name)}">{words}</a>'
        for name, words in (("metric", "°C"), ("us", "°F"))
    )
    return (
        f'<nav aria-label="Bays"><ul><li><a href="/{frame.query()}">All bays</a></li>{bays}</ul>'
        f'</nav><p class="units">Units: {units}</p>'
    )


def _warnings(frame: Frame) -> str:
    stalled = frame.silence > 10.0
    words = f"The bridge has said nothing for {age_text(frame.silence)}." if stalled else ""
    hidden = "" if stalled else " hidden"
    parts = [
        f'<div id="stale" role="alert"{hidden}><strong>Old data.</strong> '
        f'<span id="stale-words">{words}</span> Do not rely on what stands below.</div>'
    ]
    hidden = "" if frame.problem else " hidden"
    parts.append(
        f'<p class="problem" data-hide="problem"{hidden}>Broker: '
        f"{_live('problem', frame.problem)}</p>"
    )
    if frame.notice:
        parts.append(f'<p class="notice">{_text(frame.notice)}</p>')
    parts.append('<p id="spoken" class="unseen" role="status" aria-live="polite"></p>')
    return "\n".join(parts)


def plain_page(title: str, words: str) -> str:
    """A page that only says why there is nothing to see."""
    return (
        '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{_text(title)}</title>"
        '<link rel="stylesheet" href="/static/page.css">'
        '<noscript><meta http-equiv="refresh" content="20"></noscript></head>'
        f'<body><main id="main"><h1>{_text(title)}</h1><p>{_text(words)}</p>'
        '<p><a href="/">All bays</a></p></main></body></html>\n'
    )


# --- bays --------------------------------------------------------------------------------------


def _head(face: Face, level: int, link: str = "") -> str:
    """The advice in one glance: badge, bay, what to do, positions, age."""
    name = f'<a href="{link}">{_text(face.name)}</a>' if link else _text(face.name)
    return (
        f'<h{level} id="h-{face.name}">{name}</h{level}>'
        f'<p class="badge">{_live(f"{face.name}.badge", face.badge)}</p>'
        f'<p class="title" data-say="{face.name}">{_live(f"{face.name}.title", face.title)}</p>'
        f'<p class="short">{_live(f"{face.name}.short", face.short)} '
        f'<span class="quiet">said {_age(f"{face.name}.advised", face.advised_age)} ago</span></p>'
    )


def _readings(face: Face, caption: str, lines: Sequence[Line], part: str, notes: bool) -> str:
    rows = []
    for line in lines:
        key = f"{face.name}.{part}.{line.key}"
        note = f"<td>{_live(f'{key}.note', line.note)}</td>" if notes else ""
        rows.append(
            f'<tr><th scope="row">{_text(line.label)}</th>'
            f'<td class="n">{_live(key, line.value)}</td>'
            f'<td class="n">{_age(f"{face.name}.reading", face.reading_age)}</td>{note}</tr>'
        )
    head = ("", "Value", "Age", "Note") if notes else ("", "Value", "Age")
    if not rows:
        return f"<p>{_text(caption)}: no reading yet.</p>"
    return _table(caption, head, rows)


def overview_page(frame: Frame, faces: Sequence[Face]) -> str:
    """
    All bays at a glance.

    Parameters
    ----------
    frame : Frame
        What every page carries.
    faces : sequence of Face
        The bays.

    Returns
    -------
    str
        HTML.
    """
    cards = []
    for face in faces:
        link = f"/bay/{face.name}{frame.query()}"
        cards.append(
            f'<section class="card" data-f="{face.name}" data-state="{face.state}" '
            f'aria-labelledby="h-{face.name}">{_head(face, 2, link)}'
            f'<p class="why">{_live(f"{face.name}.why", face.words[0] if face.words else "")}</p>'
            f"{_list(f'{face.name}.alarms', face.alarms, 'alarms')}"
            f"{_readings(face, f'Now in {face.name}', face.glance, 'glance', False)}</section>"
        )
    body = "<h1>What is advised now</h1>" + f'<div class="cards">{"".join(cards)}</div>'
    return _page("Storage bays: advice now", frame, f"/stream{frame.query()}", body)


def bay_page(
    frame: Frame, face: Face, series: Sequence[Series], events: Sequence[Event], trouble: str
) -> str:
    """
    One bay: advice with its reasons, three values, readings, last days, events.

    Parameters
    ----------
    frame : Frame
        What every page carries.
    face : Face
        The bay.
    series : sequence of Series
        The last days.
    events : sequence of Event
        Newest first.
    trouble : str
        Why the last days cannot be shown; empty where they can.

    Returns
    -------
    str
        HTML.
    """
    parts = [
        f'<section class="card now" data-f="{face.name}" data-state="{face.state}" '
        f'aria-labelledby="h-{face.name}">{_head(face, 1)}'
        f"{_list(f'{face.name}.alarms', face.alarms, 'alarms')}"
        f"<h2>Why</h2>{_list(f'{face.name}.words', face.words, 'words')}"
        f'<p class="quiet">Mode {_live(f"{face.name}.mode", face.mode)}.</p></section>',
        '<section aria-label="Positions and readings" class="pair">'
        + f"<div>{_three(face)}</div>"
        + _readings(face, "Pile temperature, top to bottom", face.pile, "pile", True)
        + _readings(face, "Air", face.airs, "airs", True)
        + _readings(face, "Dew-point margin: positive is dry", face.margins, "margins", True)
        + "</section>",
        _last_days(frame, face.name, series, trouble),
        f'<section id="events" aria-label="Events">{_events(frame, events)}</section>',
    ]
    scripts = '<script src="/static/uplot/uPlot.iife.min.js" defer></script>\n'
    stream = f"/stream{frame.query()}&amp;bay={face.name}"
    return _page(f"{face.name}: {face.title}", frame, stream, "\n".join(parts), scripts)


def _three(face: Face) -> str:
    """Advised, accepted, actual: never to be mistaken for each other."""
    ages = ("advised", "accepted", "reading")
    head = "".join(
        f'<td class="n">{_age(f"{face.name}.{name}", face.ages()[name])}</td>' for name in ages
    )
    rows = []
    for target, label, *texts in face.positions:
        cells = "".join(
            f'<td class="n">{_live(f"{face.name}.{target}.{name}", text)}</td>'
            for name, text in zip(ages, texts, strict=True)
        )
        rows.append(f'<tr><th scope="row">{label}</th>{cells}</tr>')
    rows.append(f'<tr class="ages"><th scope="row">Age</th>{head}</tr>')
    caption = "Positions"
    answer = _live(f"{face.name}.answer", face.answer)
    return (
        _table(caption, ("", "Advised", "Accepted", "Actual"), rows)
        + f'<p class="quiet">The controller\'s answer: {answer}. Actual is what it reports.</p>'
    )


# --- the last days -----------------------------------------------------------------------------


def _last_days(frame: Frame, name: str, series: Sequence[Series], trouble: str) -> str:
    choice = " | ".join(
        f"<strong>{_span(days)}</strong>"
        if days == frame.days
        else f'<a href="/bay/{name}{frame.query(days=days)}">{_span(days)}</a>'
        for days in DAYS
    )
    refresh = min(max(60.0 / frame.pace, 5.0), 60.0)
    where = f"/bay/{name}/tables{frame.query()}"
    return (
        f'<section id="past" data-from="{where}" data-every="{refresh:g}" '
        f'aria-labelledby="h-past"><h2 id="h-past">The last days</h2><p>Show: {choice}</p>'
        f'<div id="charts">{chart_tables(frame, series, trouble)}</div></section>'
    )


def _span(days: int) -> str:
    return "1 day" if days == 1 else f"{days} days"


def chart_tables(frame: Frame, series: Sequence[Series], trouble: str) -> str:
    """
    Figures, each with its table; the script draws each chart from its table.

    Parameters
    ----------
    frame : Frame
        Days and local time.
    series : sequence of Series
        What to show.
    trouble : str
        Why there is nothing; empty where there is.

    Returns
    -------
    str
        Part of a page.
    """
    if trouble:
        return f'<p class="problem">{_text(trouble)}</p>'
    if not series:
        return "<p>Nothing is stored yet; a first reading is needed.</p>"
    return "".join(_figure(frame, one) for one in series)


def _figure(frame: Frame, series: Series) -> str:
    step = {600: "10 minutes", 3600: "1 hour", 21600: "6 hours"}[DAYS[frame.days]]
    unit = f"[{series.unit}]"
    head = "".join(f'<th scope="col">{_text(label)}</th>' for label in series.labels)
    rows = []
    for n, t in reversed(list(enumerate(series.times))):
        cells = "".join(f"<td>{number(col[n], series.digits)}</td>" for col in series.columns)
        moment = stamp(t, frame.shift)
        rows.append(f'<tr><th scope="row" data-t="{t + frame.shift:.0f}">{moment}</th>{cells}</tr>')
    caption = f"{series.title} {unit}, means of {step}, newest first"
    return (
        f'<figure id="{series.id}"><figcaption>{_text(series.title)} {_text(unit)}</figcaption>'
        f'<div class="chart" role="img" aria-label="Chart: {_text(series.title)}. '
        'The table below holds the same values."></div>'
        f"<details><summary>Table: {_text(series.title)}</summary>"
        f'<div class="wide tall" tabindex="0" role="region" aria-label="{_text(series.title)}">'
        f"<table><caption>{_text(caption)}</caption>"
        f'<thead><tr><th scope="col">From ({_zone(frame.shift)})</th>{head}</tr></thead>'
        f"<tbody>{''.join(rows)}</tbody></table></div></details></figure>\n"
    )


def _event_text(event: Event, units: Units) -> str:
    return in_units(event.text, units) or _EVENT_WORDS.get(event.code, "")


def _events(frame: Frame, events: Sequence[Event]) -> str:
    rows = [
        f'<tr><th scope="row">{stamp(event.t, frame.shift)}</th>'
        f"<td>{_text(event.code.replace('_', ' '))}</td>"
        f"<td>{_text(_event_text(event, frame.units))}</td></tr>"
        for event in events
    ]
    if not rows:
        return "<p>Events: none in the last two days.</p>"
    return _table("Events of the last two days, newest first", ("When", "What", "In words"), rows)
