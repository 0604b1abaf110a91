"""
The page's web server, on this machine only; the only door to the web library.

It keeps nothing but uploaded weather: every question brings the whole form with it.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import socket
import threading
from collections.abc import AsyncIterator, Callable, Mapping
from importlib import resources
from types import TracebackType
from typing import Any

import uvicorn
from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, Response, StreamingResponse
from starlette.routing import Route
from starlette.types import ASGIApp, Message, Receive, Scope, Send

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
from ventcalc.web import files
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
_HEADERS = {
    "Content-Security-Policy": "default-src 'none'; script-src 'self'; style-src 'self'; "
    "img-src 'self' data:; connect-src 'self'; base-uri 'none'; form-action 'none'; "
    "frame-ancestors 'none'",
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cache-Control": "no-store",
}
_BUSY = "a season is running already; stop it, or wait until it ends"
_NAMES = ("127.0.0.1", "localhost", "[::1]")


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
    """The page as an ASGI application."""

    async def refused(_: Request, error: Exception) -> Response:
        assert isinstance(error, VentcalcError)
        lines = str(error).splitlines()
        return JSONResponse({"problems": {}, "above": lines}, status_code=400)

    async def failed(_: Request, error: Exception) -> Response:
        lines = [f"this failed, and should not have: {error!r}"]
        return JSONResponse({"problems": {}, "above": lines}, status_code=500)

    async def missing(_: Request, __: Exception) -> Response:
        html = render(HERE, "plain.html", title="Not found", words="There is no such page.")
        return HTMLResponse(html, status_code=404)

    routes = [
        Route("/", views.page, methods=["GET"]),
        Route("/form", _answering(answer_form), methods=["POST"]),
        Route("/check", _answering(answer_check), methods=["POST"]),
        Route("/compare", _answering(answer_compare), methods=["POST"]),
        Route("/weather", views.weather, methods=["POST"]),
        Route("/size", views.size, methods=["POST"]),
        Route("/season", views.season, methods=["POST"]),
        Route("/file", _answering(answer_file), methods=["POST"]),
        *(_static(name, _own(name), kind) for name, kind in _FILES.items()),
        *(_static(name, files.read(name), kind) for name, kind in files.TYPES.items()),
    ]
    app = Starlette(
        routes=routes, exception_handlers={VentcalcError: refused, 404: missing, Exception: failed}
    )
    return _guard(app)


def _own(name: str) -> bytes:
    return resources.files(HERE).joinpath("static", name).read_bytes()


def _static(name: str, body: bytes, kind: str) -> Route:
    async def send(_: Request) -> Response:
        return Response(body, media_type=kind)

    return Route(f"/static/{name}", send, methods=["GET"])


def _guard(app: ASGIApp) -> ASGIApp:
    """Headers on every answer; no other name for this machine, no question from elsewhere."""
    headers = [(name.lower().encode(), value.encode()) for name, value in _HEADERS.items()]

    async def guarded(scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            return

        async def answer(message: Message) -> None:
            if message["type"] == "http.response.start":
                message = {**message, "headers": [*message["headers"], *headers]}
            await send(message)

        given = {name: value.decode("latin-1") for name, value in scope["headers"]}
        host = given.get(b"host", "")
        name = host.rsplit(":", 1)[0] if not host.endswith("]") else host
        if name not in _NAMES:
            words = "This page is only to be had on the machine that it runs on."
            html = render(HERE, "plain.html", title="Not here", words=words)
            await HTMLResponse(html, status_code=421)(scope, receive, answer)
            return
        if scope["method"] not in ("GET", "HEAD") and given.get(b"origin") != f"http://{host}":
            words = "This page only answers its own script."
            html = render(HERE, "plain.html", title="Not from there", words=words)
            await HTMLResponse(html, status_code=403)(scope, receive, answer)
            return
        await app(scope, receive, answer)

    return guarded


class PageServer:
    """The page in a thread; ``address`` is where to look."""

    def __init__(self, form: Form, units: UnitSystem = "metric", port: int = 0) -> None:
        """Take the port."""
        self._views = Views(form, units)
        self._socket = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        self._socket.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            self._socket.bind((HOST, port))
            self._socket.listen(128)  # whoever asks before the thread runs waits, and is answered
        except (OSError, OverflowError) as error:
            self._socket.close()
            self._views.close()
            raise BadInput(f"--port {port}: cannot be had ({error}); name another") from None
        self.address = f"http://{HOST}:{self._socket.getsockname()[1]}/"
        config = uvicorn.Config(
            page_app(self._views),
            loop="asyncio",
            http="h11",
            ws="none",
            lifespan="off",
            log_config=None,
            log_level="critical",
            access_log=False,
            server_header=False,
            limit_concurrency=64,
            timeout_graceful_shutdown=2,
        )
        self._server = uvicorn.Server(config)
        self._thread = threading.Thread(target=self._run, daemon=True, name="page")

    def _run(self) -> None:
        self._server.run(sockets=[self._socket])

    def wait(self) -> None:
        """Until the server ends."""
        while self._thread.is_alive():
            self._thread.join(0.5)

    def __enter__(self) -> PageServer:
        self._thread.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._server.should_exit = True
        self._thread.join(5.0)
        self._views.close()
        with contextlib.suppress(OSError):
            self._socket.close()
