"""
What the page answers, on this machine only.

It keeps nothing but uploaded weather: every question brings the whole form with it.
"""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator, Callable, Mapping
from typing import Any

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, Response, StreamingResponse
from starlette.routing import Route
from starlette.types import ASGIApp

from ventcalc import __version__
from ventcalc.advice.policies import POLICIES
from ventcalc.errors import BadInput, VentcalcError
from ventcalc.page import HERE
from ventcalc.page.answers import (
    EXAMPLES,
    answer_check,
    answer_file,
    answer_form,
    form_values,
    outside_texts,
)
from ventcalc.page.form import Form
from ventcalc.page.runs import Run
from ventcalc.page.studies import answer_compare, answer_size, season_run
from ventcalc.page.weathers import Weathers
from ventcalc.report.season_rows import control_words
from ventcalc.units import UnitSystem, parse
from ventcalc.web.local import NAMES, LocalServer, guarded, static_routes, take_port
from ventcalc.web.templates import render

__all__ = ["PageServer", "Views", "page_app"]

HOST = "127.0.0.1"
MOST_ASKED = 2_000_000
"""Longest question. [byte]"""
MOST_WEATHER = 60_000_000
"""Longest weather file. [byte]"""
SAY_EVERY = 0.2
"""How often a season says how far it is. [s]"""
_FILES = {"plan.css": "text/css", "plan.js": "text/javascript", "icon.svg": "image/svg+xml"}
_BUSY = "a season is running already; stop it, or wait until it ends"


class Views:
    """Answers requests; used by one thread, with others for the sums."""

    def __init__(self, form: Form, units: UnitSystem) -> None:
        self.form, self.units = form, units
        self.weathers = Weathers()
        self._run: Run | None = None

    async def page(self, _: Request) -> Response:
        """The whole page, with the bay that it was started with."""
        html = render(
            HERE,
            "page.html",
            units=self.units,
            examples=EXAMPLES,
            controls=[(name, control_words(name)) for name in POLICIES],
            height=self.form.texts.get("pile.height", ""),
            version=__version__,
            **outside_texts(self.units),
            **form_values(self.form, self.units),
        )
        return HTMLResponse(html)

    async def weather(self, request: Request) -> Response:
        """Take a weather file."""
        body = await _body(request, MOST_WEATHER)
        name = request.query_params.get("name", "")
        altitude = _altitude(request.query_params.get("altitude", ""))
        key, found = await run_in_threadpool(self.weathers.take, name, body, altitude)
        said = [f"{found.name or 'File without a name'}: {len(found.time)} steps.", *found.notes]
        return JSONResponse({"key": key, "name": found.name or name[:60], "says": said})

    async def size(self, request: Request) -> Response:
        """How large everything must be."""
        data = await _asked(request)
        return JSONResponse(await run_in_threadpool(answer_size, data, self.weathers))

    async def season(self, request: Request) -> Response:
        """A season, line by line how far it is; it ends when nobody listens any more."""
        data = await _asked(request)
        if self._run is not None:
            raise BadInput(_BUSY)
        run = await run_in_threadpool(season_run, data, self.weathers)
        if not isinstance(run, Run):
            return JSONResponse(run)
        if self._run is not None:  # another question was quicker
            raise BadInput(_BUSY)
        self._run = run
        run.start()
        return StreamingResponse(self._lines(run), media_type="application/x-ndjson")

    async def _lines(self, run: Run) -> AsyncIterator[str]:
        try:
            while not run.ended.is_set():
                yield json.dumps(run.progress()) + "\n"
                await asyncio.sleep(SAY_EVERY)
            yield json.dumps(run.answer, allow_nan=False) + "\n"
        finally:
            run.stop()
            self._run = None

    def close(self) -> None:
        """End what runs, and take uploaded files away."""
        if self._run is not None:
            self._run.stop()
        self.weathers.close()


def _altitude(text: str) -> float | None:
    try:
        return parse(text, "m")
    except BadInput:
        return None


def _answering(answer: Callable[[Mapping[str, Any]], dict[str, Any]]) -> Any:
    """A route's end that reads JSON and writes JSON."""

    async def answered(request: Request) -> Response:
        data = await _asked(request)
        return JSONResponse(await run_in_threadpool(answer, data))

    return answered


async def _body(request: Request, most: int) -> bytes:
    """The body, refused where it grows too long."""
    parts, length = [], 0
    async for part in request.stream():
        parts.append(part)
        length += len(part)
        if length > most:
            raise BadInput(f"more than {most / 1e6:g} MB: too long for what it should be")
    return b"".join(parts)


async def _asked(request: Request) -> dict[str, Any]:
    if request.headers.get("content-type", "").partition(";")[0] != "application/json":
        raise BadInput("the page sends JSON; load it anew")
    body = await _body(request, MOST_ASKED)
    try:
        data = json.loads(body)
    except (ValueError, RecursionError):
        raise BadInput("the page sent nothing that can be read; load it anew") from None
    if not isinstance(data, dict):
        raise BadInput("the page sent nothing that can be read; load it anew")
    return data


# --- the server --------------------------------------------------------------------------


def page_app(views: Views) -> ASGIApp:
    """Answers only to the names of this machine, and questions only from its own page."""

    async def refused(_: Request, error: Exception) -> Response:
        assert isinstance(error, VentcalcError)
        lines = str(error).splitlines()
        return JSONResponse({"problems": {}, "above": lines}, status_code=400)

    async def failed(_: Request, error: Exception) -> Response:
        lines = [f"this failed, and should not have: {error!r}"]
        return JSONResponse({"problems": {}, "above": lines}, status_code=500)

    def plain(status: int, title: str, words: str) -> Response:
        html = render(HERE, "plain.html", title=title, words=words)
        return HTMLResponse(html, status_code=status)

    async def missing(_: Request, __: Exception) -> Response:
        return plain(404, "Not found", "There is no such page.")

    routes = [
        Route("/", views.page, methods=["GET"]),
        Route("/form", _answering(answer_form), methods=["POST"]),
        Route("/check", _answering(answer_check), methods=["POST"]),
        Route("/compare", _answering(answer_compare), methods=["POST"]),
        Route("/weather", views.weather, methods=["POST"]),
        Route("/size", views.size, methods=["POST"]),
        Route("/season", views.season, methods=["POST"]),
        Route("/file", _answering(answer_file), methods=["POST"]),
        *static_routes(HERE, _FILES),
    ]
    app = Starlette(
        routes=routes, exception_handlers={VentcalcError: refused, 404: missing, Exception: failed}
    )
    return guarded(app, NAMES, plain)


class PageServer(LocalServer):
    """The page in a thread; ``address`` is where to look."""

    def __init__(self, form: Form, units: UnitSystem = "metric", port: int = 0) -> None:
        """Take the port, 0 for any that is free."""
        taken = take_port(HOST, port, lambda why: BadInput(f"--port {port}: {why}"))
        views = Views(form, units)
        super().__init__(page_app(views), taken, views.close)
