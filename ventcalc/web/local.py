"""
A local web server in a thread: what the pages share, and the only door to uvicorn.

No page has a password. What keeps others out is where it listens, the name that it is called by,
and that questions come from its own script.
"""

from __future__ import annotations

import asyncio
import contextlib
import ipaddress
import socket
import threading
from collections.abc import Callable, Collection, Mapping
from importlib import resources
from types import TracebackType
from typing import Any

import uvicorn
from starlette.responses import Response
from starlette.routing import Route
from starlette.types import ASGIApp, Message, Receive, Scope, Send
from uvicorn.protocols.http.h11_impl import H11Protocol

from ventcalc.web import files

__all__ = [
    "NAMES",
    "LocalServer",
    "guarded",
    "host_of",
    "names_of",
    "static_routes",
    "take_port",
]

NAMES = ("127.0.0.1", "localhost", "[::1]")
"""What this machine calls itself."""
ANY_ADDRESS = "*"
"""Among names: every bare address. A page elsewhere can make a name point here, no address."""
HEADERS_WITHIN = 10.0
"""So long a connection may take over the head of a question. [s]"""
MOST_CONNECTIONS = 128
"""With one more, the connection that has waited longest for its question is closed."""
_HEADERS = {
    "Content-Security-Policy": "default-src 'none'; script-src 'self'; style-src 'self'; "
    "img-src 'self' data:; connect-src 'self'; base-uri 'none'; form-action 'self'; "
    "frame-ancestors 'none'",
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cache-Control": "no-store",
}


# --- the application -----------------------------------------------------------------------


def static_routes(package: str, own: Mapping[str, str]) -> list[Route]:
    """Routes of the files that never change: a package's own by media type, and the shared."""
    folder = resources.files(package).joinpath("static")
    bodies = [(name, folder.joinpath(name).read_bytes(), kind) for name, kind in own.items()]
    bodies += [(name, files.read(name), kind) for name, kind in files.TYPES.items()]
    return [_static(*body) for body in bodies]


def _static(name: str, body: bytes, kind: str) -> Route:
    async def send(_: Any) -> Response:
        return Response(body, media_type=kind)

    return Route(f"/static/{name}", send, methods=["GET"])


def names_of(host: str, more: Collection[str] = ()) -> tuple[str, ...]:
    """
    Names under which a page that listens on an address may be called: those of this machine.

    On a network also any bare address and the machine's host name; ``more`` beside the usual.
    """
    own = socket.gethostname().lower()
    shown = f"[{host}]" if ":" in host else host
    here = host == "localhost"
    with contextlib.suppress(ValueError):
        here = ipaddress.ip_address(host).is_loopback
    open_to_all = () if here else (ANY_ADDRESS, own, f"{own.partition('.')[0]}.local")
    return (*NAMES, shown.lower(), *open_to_all, *(name.lower() for name in more))


def host_of(header: str) -> str:
    """The name in a ``Host`` header, without port and in small letters."""
    name = header if header.endswith("]") else header.rpartition(":")[0] or header
    return name.lower()


def _is_address(name: str) -> bool:
    try:
        ipaddress.ip_address(name.strip("[]"))
    except ValueError:
        return False
    return True


def guarded(
    app: ASGIApp, names: Collection[str], refuse: Callable[[int, str, str], Response]
) -> ASGIApp:
    """
    Headers on every answer; no other name for this machine, no question from elsewhere.

    ``names`` as of ``names_of``; ``refuse`` makes the page that says no: status, title, words.
    """
    headers = [(name.lower().encode(), value.encode()) for name, value in _HEADERS.items()]
    where = "machine that it runs on" if ANY_ADDRESS not in names else "address that it was given"

    async def guard(scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            return

        async def answer(message: Message) -> None:
            if message["type"] == "http.response.start":
                message = {**message, "headers": [*message["headers"], *headers]}
            await send(message)

        given = {name: value.decode("latin-1") for name, value in scope["headers"]}
        host = given.get(b"host", "")
        name = host_of(host)
        page: ASGIApp = app
        if name not in names and not (ANY_ADDRESS in names and _is_address(name)):
            page = refuse(421, "Not here", f"This page is only to be had on the {where}.")
        elif scope["method"] not in ("GET", "HEAD") and given.get(b"origin") != f"http://{host}":
            page = refuse(403, "Not from there", "This page only answers its own script.")
        await page(scope, receive, answer)

    return guard


# --- the server ----------------------------------------------------------------------------


class _Protocol(H11Protocol):
    """Connections that send half a question neither stay for ever nor keep others out."""

    _late: asyncio.TimerHandle | None = None

    @property
    def _asks(self) -> bool:
        """Whether the question has not come as a whole yet."""
        cycle: Any = self.cycle
        return cycle is None or cycle.response_complete or cycle.more_body

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        super().connection_made(transport)
        self._begun = self.loop.time()
        self._watch()
        if len(self.connections) > MOST_CONNECTIONS:
            others: Any = self.connections
            waiting = [one for one in others if one is not self and one._asks]
            if waiting:
                oldest = min(waiting, key=lambda one: one._begun)
                self.connections.discard(oldest)
                oldest.transport.abort()

    def data_received(self, data: bytes) -> None:
        super().data_received(data)
        self._watch()

    def connection_lost(self, exc: Exception | None) -> None:
        if self._late is not None:
            self._late.cancel()
        super().connection_lost(exc)

    def _watch(self) -> None:
        """Give the head of a question its time; its body has the application's."""
        cycle: Any = self.cycle
        if cycle is not None and not cycle.response_complete:
            if self._late is not None:
                self._late.cancel()
                self._late = None
        elif self._late is None:
            self._late = self.loop.call_later(HEADERS_WITHIN, self._too_late)

    def _too_late(self) -> None:
        self._late = None
        if self.cycle is None or self.cycle.response_complete:
            self.transport.abort()


def take_port(host: str, port: int, refused: Callable[[str], Exception]) -> socket.socket:
    """A socket that listens, 0 for any free port; ``refused`` makes an error of why not."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    taken = socket.socket(family, socket.SOCK_STREAM)
    try:
        taken.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        taken.bind((host, port))
        taken.listen(MOST_CONNECTIONS)  # whoever asks before the thread runs waits
    except (OSError, OverflowError) as error:
        taken.close()
        reason = getattr(error, "strerror", None) or error  # without the number of the error
        raise refused(f"cannot be had ({reason}); name another") from None
    return taken


class LocalServer:
    """An application in a thread; ``address`` is where to look."""

    def __init__(self, app: ASGIApp, taken: socket.socket, close: Callable[[], None]) -> None:
        """The port is from ``take_port``; ``close`` is called when no more questions come."""
        self._socket, self._close = taken, close
        host, port = taken.getsockname()[:2]
        self.address = f"http://{f'[{host}]' if ':' in host else host}:{port}/"
        config = uvicorn.Config(
            app,
            loop="asyncio",
            http=_Protocol,
            ws="none",
            lifespan="off",
            log_config=None,
            log_level="critical",
            access_log=False,
            server_header=False,
            limit_concurrency=MOST_CONNECTIONS + 1,
            timeout_graceful_shutdown=2,
        )
        self._server = uvicorn.Server(config)
        self._ended = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True, name="page")

    def _run(self) -> None:
        try:
            self._server.run(sockets=[self._socket])
        finally:
            self._close()
            self._ended.set()

    def wait(self) -> None:
        """Until the server ends; not by ``join``, which after Ctrl-C takes a thread for ended."""
        while not self._ended.wait(0.5):
            pass

    def __enter__(self) -> LocalServer:
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
        with contextlib.suppress(OSError):
            self._socket.close()
