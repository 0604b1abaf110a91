"""Until when certificates are good: after their last day nobody connects any more."""

from __future__ import annotations

import math
import ssl
from collections.abc import Mapping
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from firmware_bridge.config import BrokerConfig
from firmware_bridge.wire.messages import Alarm

__all__ = ["alarms_of", "end_words", "ends_of_files", "peer_end"]

DAY = 86400.0
WARN = 28 * DAY
"""So long before its end a certificate is an alarm: weeks, for who has to make it. [s]"""
GRAVE = DAY
"""So long before, a graver one, which is repeated. [s]"""


def ends_of_files(broker: BrokerConfig) -> dict[str, float]:
    """When the certificates of the configuration end, by what they are; UTC. [s]"""
    found = {}
    for what, path in (
        ("the authority's certificate", broker.ca_file),
        ("the bridge's own certificate", broker.cert_file),
    ):
        end = math.nan if path is None else _end_of_file(path)
        if path is not None and not math.isnan(end):
            found[f"{what} ({path.name})"] = end
    return found


def _end_of_file(path: Path) -> float:
    """Of the first certificate of a file; NaN where that cannot be told. [s]"""
    with suppress(OSError, ValueError, AttributeError):  # a name of Python's own tests
        return _end(ssl._ssl._test_decode_cert(str(path)))  # type: ignore[attr-defined]
    return math.nan


def peer_end(sock: Any) -> float:
    """Of the certificate that a broker has just shown; NaN without one. [s]"""
    with suppress(OSError, ValueError, AttributeError, TypeError):
        return _end(sock.getpeercert())
    return math.nan


def _end(certificate: Mapping[str, Any]) -> float:
    return (
        float(ssl.cert_time_to_seconds(str(certificate["notAfter"]))) if certificate else math.nan
    )


def end_words(what: str, end: float, now: float) -> str:
    """One line: until when it is good, or since when no more; both UTC. [s]"""
    day = f"{datetime.fromtimestamp(end, UTC):%d %b %Y %H:%M} UTC"
    if now >= end:
        return f"{what} has expired on {day}: who is cut off does not come back"
    left = end - now
    few = f"{left / 3600.0:.0f} h" if left >= 7200.0 else f"{left / 60.0:.0f} min"
    many = f"{left / DAY:.0f} days" if left >= 2 * DAY else few
    return f"{what} ends in {many}, on {day}; after it nobody connects"


def alarms_of(ends: Mapping[str, float], now: float) -> list[Alarm]:
    """The alarm of the certificate that ends first, where that is soon; a time of day, UTC. [s]"""
    if not ends:
        return []
    what, end = min(ends.items(), key=lambda one: one[1])
    if now < end - WARN:
        return []
    grave, words = now >= end - GRAVE, end_words(what, end, now)[:120]
    return [Alarm(id="certificate", level=2 if grave else 3, text=words)]
