"""Whether the bridge lives and serves, for machines: ``/health``, ``/ready`` and ``/metrics``."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator
from datetime import UTC, datetime

from prometheus_client import CollectorRegistry, generate_latest
from prometheus_client.core import CounterMetricFamily, GaugeMetricFamily, Metric
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import JSONResponse, PlainTextResponse, Response
from starlette.routing import Route

from firmware_bridge import __version__
from firmware_bridge.bay.decision import BridgeView
from firmware_bridge.errors import BadConfig
from firmware_bridge.page.board import Board, Snapshot
from ventcalc.web.local import LocalServer, guarded, names_of, take_port

__all__ = ["HealthServer"]

STALLED_AFTER = 15.0
"""A loop that has left nothing for so long does not live; it does so twice a second. [s]"""
_PREFIX = "firmware_bridge"


def _alive(board: Board) -> bool:
    return board.silence() <= STALLED_AFTER


def _standing(board: Board) -> tuple[bool, bool, dict[str, object]]:
    """Whether it lives, whether it serves, and the same in words."""
    snapshot, alive = board.read(), _alive(board)
    if snapshot is None or snapshot.bridge is None:
        return True, False, {"status": "starting", "version": __version__}
    doubts = list(snapshot.bridge.doubts)
    status = "stalled" if not alive else "doubtful" if doubts else "ok"
    bays = {
        view.name: {
            "mode": view.mode,
            "advice": view.decision.code,
            "reading_age_s": _seconds(view.reading_age + board.silence() * board.pace),
        }
        for view in snapshot.views
    }
    words = {
        "status": status,
        "version": __version__,
        "run": snapshot.bridge.boot,
        "silent_s": _seconds(board.silence()),
        "broker": "connected" if snapshot.bridge.link else "not ready",
        "problem": snapshot.problem,
        "doubts": doubts,
        "certificates": {
            what: f"{datetime.fromtimestamp(end, UTC):%Y-%m-%dT%H:%M:%SZ}"
            for what, end in snapshot.bridge.certificates.items()
        },
        "bays": bays,
    }
    return alive, alive and not doubts, words


def _seconds(age: float) -> float | None:
    return round(age, 1) if math.isfinite(age) else None


class _Collector:
    """The board's last snapshot as metrics; nothing is kept between two questions."""

    def __init__(self, board: Board) -> None:
        self._board = board

    def collect(self) -> Iterator[Metric]:
        info = GaugeMetricFamily(f"{_PREFIX}_info", "Version in use", labels=["version"])
        info.add_metric([__version__], 1.0)
        yield info
        silence = self._board.silence()
        yield _gauge("loop_silence_seconds", "Since the loop's last turn that was seen", silence)
        snapshot = self._board.read()
        if snapshot is None or snapshot.bridge is None:
            return
        yield from _own(snapshot.bridge)
        yield from _bays(snapshot, silence * self._board.pace)


def _gauge(name: str, meaning: str, value: float) -> Metric:
    return GaugeMetricFamily(f"{_PREFIX}_{name}", meaning, value=value)


def _own(bridge: BridgeView) -> Iterator[Metric]:
    yield _gauge("run", "Boot number", bridge.boot)
    yield _gauge("link_up", "Connected, and every subscription granted", float(bridge.link))
    yield _gauge("disk_free_bytes", "Space left for the data folder", bridge.free_mb * 1e6)
    doubts = GaugeMetricFamily(f"{_PREFIX}_doubt", "Why no bay gets advice", labels=["code"])
    for code in bridge.doubts:
        doubts.add_metric([code], 1.0)
    yield doubts
    ends = GaugeMetricFamily(
        f"{_PREFIX}_certificate_not_after_timestamp_seconds", "Last moment", labels=["what"]
    )
    for what, end in bridge.certificates.items():
        ends.add_metric([what], end)
    yield ends
    yield CounterMetricFamily(
        f"{_PREFIX}_audit_entries", "Entries of the audit log", value=bridge.audit_entries
    )
    counts = CounterMetricFamily(f"{_PREFIX}_events", "By the bridge itself", labels=["what"])
    for what, count in sorted(bridge.counts.items()):
        counts.add_metric([what], count)
    yield counts


def _bays(snapshot: Snapshot, late: float) -> Iterator[Metric]:
    assert snapshot.bridge is not None  # collect() has looked
    age = GaugeMetricFamily(f"{_PREFIX}_reading_age_seconds", "Newest reading", labels=["bay"])
    stands = GaugeMetricFamily(
        f"{_PREFIX}_advice", "1 with advice, 0 without", labels=["bay", "mode", "code"]
    )
    alarms = GaugeMetricFamily(f"{_PREFIX}_alarms", "Alarms that stand", labels=["bay", "level"])
    counts = CounterMetricFamily(f"{_PREFIX}_bay_events", "By bay", labels=["bay", "what"])
    for view in snapshot.views:
        age.add_metric([view.name], view.reading_age + late)
        code = view.decision.code
        stands.add_metric([view.name, view.mode, code], float(view.decision.targets is not None))
        levels = [one.level for one in (*view.complaints, *view.alarms)]
        for level in (1, 2, 3):
            alarms.add_metric([view.name, str(level)], levels.count(level))
        for what, count in sorted(snapshot.bridge.bay_counts.get(view.name, {}).items()):
            counts.add_metric([view.name, what], count)
    yield from (age, stands, alarms, counts)


class HealthServer(LocalServer):
    """The three answers in a thread; ``address`` is where to ask."""

    def __init__(self, board: Board, host: str, port: int, names: Collection[str] = ()) -> None:
        """Take the port."""
        taken = take_port(host, port, lambda why: BadConfig(f"--health: {host}:{port} {why}"))
        registry = CollectorRegistry()
        registry.register(_Collector(board))

        async def health(_: Request) -> Response:
            alive, _serves, words = _standing(board)
            return JSONResponse(words, status_code=200 if alive else 503)

        async def ready(_: Request) -> Response:
            _alive, serves, words = _standing(board)
            return JSONResponse(words, status_code=200 if serves else 503)

        async def metrics(_: Request) -> Response:
            kind = "text/plain; version=0.0.4; charset=utf-8"
            return Response(generate_latest(registry), media_type=kind)

        routes = [Route("/health", health), Route("/ready", ready), Route("/metrics", metrics)]
        app = guarded(Starlette(routes=routes), names_of(host, names), _plain)
        super().__init__(app, taken, lambda: None)


def _plain(status: int, _title: str, words: str) -> Response:
    return PlainTextResponse(words + "\n", status_code=status)
