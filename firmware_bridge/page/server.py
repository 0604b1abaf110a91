"""
A local page to look at, never to steer from, on this machine unless told.

It only answers GET, and on this machine the one POST by which somebody says to have seen an alarm.

It runs in a thread of its own beside the service's loop, takes what the loop leaves on the
board, and reads the journal through a connection that cannot write.
"""

from __future__ import annotations

import asyncio
import hashlib
import json
import math
import secrets
from collections.abc import AsyncIterator, Collection, Sequence
from pathlib import Path
from types import TracebackType

from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response, StreamingResponse
from starlette.routing import Route
from starlette.types import ASGIApp

from firmware_bridge.config import is_loopback
from firmware_bridge.errors import BadConfig, JournalError
from firmware_bridge.journal.journal import Journal
from firmware_bridge.page.asking import acknowledge
from firmware_bridge.page.board import Board
from firmware_bridge.page.frame import Frame, shared_zone
from firmware_bridge.page.history import DAYS, recent_events, series_of
from firmware_bridge.page.pulp import PulpPast
from firmware_bridge.page.render import render
from firmware_bridge.page.stream import changes, states_of, texts_of
from firmware_bridge.page.view import BayText, bay_text, sum_words
from firmware_bridge.page.words import Units, event_words
from ventcalc.web.local import (
    NAMES,
    LocalServer,
    guarded,
    names_of,
    static_routes,
    take_port,
)

__all__ = ["PageServer", "Views", "page_app"]

STREAM_EVERY = 1.0
"""[s]"""
MOST_STREAMS = 24
_FILES = {"bridge.css": "text/css", "bridge.js": "text/javascript", "icon.svg": "image/svg+xml"}
"""The page's own, beside those that all pages share."""


class _Stop(Exception):
    """A request that cannot be answered as asked."""

    def __init__(self, status: int, words: str) -> None:
        self.status, self.words = status, words


class Views:
    """Answers requests; used by one thread."""

    def __init__(
        self, board: Board, journal: Path, notice: str = "", *, local: bool = False
    ) -> None:
        self.board, self.notice = board, notice
        self.token = secrets.token_urlsafe(16) if local else ""
        """In every form, so that no page from elsewhere can send one; empty for no forms."""
        self._past = PulpPast(self._read)
        self._path = journal
        self._journal: Journal | None = None
        self._streams = 0

    # --- what was asked ------------------------------------------------------------------------

    def _ask(self, request: Request, name: str = "") -> tuple[Frame, tuple[BayText, ...]]:
        """Check the choices, and put into words the bays that are wanted: one, or all."""
        units: Units = "us" if _choice(request, "units", ("metric", "us")) == "us" else "metric"
        days = int(_choice(request, "days", tuple(str(days) for days in DAYS)))
        snapshot = self.board.read()
        if snapshot is None:
            raise _Stop(503, "The bridge has only just started; look again in a few seconds.")
        silence = self.board.silence()
        late = silence * self.board.pace
        views = [view for view in snapshot.views if name in ("", view.name)]
        if name and not views:
            raise _Stop(404, f"There is no bay {name[:40]!r} here.")
        bays = tuple(
            bay_text(
                view, late, units, brief=not name, hours=self._past.of(view.name, snapshot.day)
            )
            for view in views
        )
        names = tuple(view.name for view in snapshot.views)
        frame = Frame(
            units=units,
            days=days,
            day=snapshot.day,
            zone=shared_zone({view.zone for view in views}, snapshot.day),
            pace=self.board.pace,
            silence=silence,
            problem=snapshot.problem,
            notice=self.notice,
            names=names,
            shape=_shape(names, bays),
            token=self.token,
        )
        return frame, bays

    # --- what is answered ----------------------------------------------------------------------

    async def overview(self, request: Request) -> Response:
        """All bays."""
        frame, bays = self._ask(request)
        return _html("overview.html", frame=frame, bays=bays, sum=sum_words(bays))

    async def bay(self, request: Request) -> Response:
        """One bay."""
        frame, (bay,) = self._ask(request, request.path_params["name"])
        return _html("bay.html", frame=frame, bay=bay, **self._last_days(frame, bay))

    async def tables(self, request: Request) -> Response:
        """The last days of one bay, for the script to draw anew."""
        frame, (bay,) = self._ask(request, request.path_params["name"])
        return _html("tables.html", frame=frame, **self._last_days(frame, bay))

    async def acknowledge(self, request: Request) -> Response:
        """Somebody has seen an alarm."""
        frame, (bay,) = self._ask(request, request.path_params["name"])
        status, words = await acknowledge(self.board, bay.name, request.stream(), self.token)
        if status != 303:
            raise _Stop(status, words)
        return RedirectResponse(f"/bay/{bay.name}{frame.query()}", status_code=303)

    def _read(self) -> Journal:
        """Through one connection that is kept: a full disk lets no new one in."""
        if self._journal is None:
            self._journal = Journal(self._path, read_only=True)
        return self._journal

    def _last_days(self, frame: Frame, bay: BayText) -> dict[str, object]:
        try:
            book = self._read()
            series = series_of(book, bay.name, frame.day, frame.days, frame.units, bay.heights)
            found = recent_events(book, bay.name, frame.day)
        except JournalError as error:
            self.close()
            trouble = f"The last days cannot be shown: {error}"
            return {"series": (), "events": (), "trouble": trouble}
        starts = frame.stamps(series[0].times[::-1]) if series else []
        stamps = frame.stamps([event.t for event in found])
        events = [
            (stamp, *event_words(event, frame.units))
            for (_, stamp), event in zip(stamps, found, strict=True)
        ]
        return {"series": series, "starts": starts, "events": events, "trouble": ""}

    async def stream(self, request: Request) -> Response:
        """What has changed, each second, as server-sent events."""
        name = request.query_params.get("bay", "")
        self._ask(request, name)
        if self._streams >= MOST_STREAMS:
            raise _Stop(503, "Too many pages are open; close some.")
        return StreamingResponse(self._events(request, name), media_type="text/event-stream")

    async def _events(self, request: Request, name: str) -> AsyncIterator[str]:
        self._streams += 1
        said: dict[str, object] = {}
        try:
            while not self.board.closed.is_set():
                frame, bays = self._ask(request, name)
                texts, lists = texts_of(bays, brief=not name)
                texts |= {"day": frame.now, "problem": frame.problem, "sum": sum_words(bays)}
                message = {
                    "text": changes(said, texts),
                    "list": changes(said, lists),
                    "age": _ages(bays),
                    "state": states_of(bays),
                    "shape": frame.shape,
                    "silence": frame.silence,
                }
                yield f"data: {json.dumps(message, ensure_ascii=False, allow_nan=False)}\n\n"
                await asyncio.sleep(STREAM_EVERY)
        finally:
            self._streams -= 1

    def close(self) -> None:
        """Let the journal go."""
        if self._journal is not None:
            self._journal.close()
            self._journal = None


def _html(template: str, status: int = 200, /, **values: object) -> Response:
    return HTMLResponse(render(template, **values), status_code=status)


def _plain(status: int, title: str, words: str) -> Response:
    return _html("plain.html", status, title=title, words=words)


def _choice(request: Request, name: str, choices: Sequence[str]) -> str:
    given = request.query_params.get(name, choices[0])
    if given not in choices:
        raise _Stop(400, f"{name} is {given[:20]!r}; write one of {', '.join(choices)}.")
    return given


def _shape(names: Sequence[str], bays: Sequence[BayText]) -> str:
    """What rows the page has: when they change it must be loaded anew."""
    rows: list[list[object]] = [list(names)]
    for bay in bays:
        lines = [(line.key, line.label) for line in (*bay.pile, *bay.airs, *bay.margins)]
        rows.append([bay.name, *lines, *(one.key for one in bay.figures), bool(bay.outlook)])
    return hashlib.sha256(json.dumps(rows).encode()).hexdigest()[:12]


def _ages(bays: Sequence[BayText]) -> dict[str, float | None]:
    return {
        f"{bay.name}.{name}": round(age, 1) if math.isfinite(age) else None
        for bay in bays
        for name, age in bay.ages().items()
    }


# --- the server --------------------------------------------------------------------------------


def page_app(views: Views, names: Collection[str] = NAMES) -> ASGIApp:
    """
    The page as an ASGI application, under its names alone.

    They keep a page from elsewhere from reading this one through a name that points here.
    """

    async def stopped(_: Request, error: Exception) -> Response:
        assert isinstance(error, _Stop)
        title = (
            "Not now" if error.status == 503 else "Not found" if error.status == 404 else "Sorry"
        )
        return _plain(error.status, title, error.words)

    async def missing(_: Request, __: Exception) -> Response:
        return _plain(404, "Not found", "There is no such page.")

    routes = [
        Route("/", views.overview, methods=["GET"]),
        Route("/bay/{name}", views.bay, methods=["GET"]),
        Route("/bay/{name}/acknowledge", views.acknowledge, methods=["POST"]),
        Route("/bay/{name}/tables", views.tables, methods=["GET"]),
        Route("/stream", views.stream, methods=["GET"]),
        *static_routes("firmware_bridge.page", _FILES),
    ]
    app = Starlette(routes=routes, exception_handlers={_Stop: stopped, 404: missing})
    return guarded(app, names, _plain)


class PageServer(LocalServer):
    """The page in a thread; ``address`` is where to look."""

    def __init__(
        self,
        board: Board,
        journal: Path,
        host: str = "127.0.0.1",
        port: int = 0,
        notice: str = "",
        names: Collection[str] = (),
    ) -> None:
        """Take the port."""
        taken = take_port(host, port, lambda why: BadConfig(f"page: {host}:{port} {why}"))
        self.board = board
        views = Views(board, journal, notice, local=is_loopback(host))
        super().__init__(page_app(views, names_of(host, names)), taken, views.close)

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.board.closed.set()
        super().__exit__(kind, error, trace)
