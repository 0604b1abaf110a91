"""What the bridge says of itself: lines for people, or JSON; nothing in it fools a terminal."""

from __future__ import annotations

import json
import logging
import sys
import unicodedata
from collections.abc import Mapping
from datetime import UTC, datetime

from firmware_bridge.codes import ALARM_IDS, NONE_REASONS

__all__ = ["LEVELS", "escaped", "level_of", "log", "start_log"]

LEVELS = ("debug", "info", "warning", "error")
log = logging.getLogger("firmware_bridge")

_GRAVE = {"audit", "disk", "error", "forged", "frost_risk", "co2_people"}
_WARNS = {*NONE_REASONS, *ALARM_IDS, "bad_message", "gap", "offline", "alarm"}
_QUIET = {"ok", "start", "shutdown", "told"}


def escaped(text: str) -> str:
    """
    A text whose control characters are written out: line breaks, escapes, marks of direction.

    Unicode's categories Cc, Cf, Cs, Zl, Zp.
    """
    if text.isprintable():
        return text
    return "".join(one if _shows(one) else ascii(one)[1:-1] for one in text)


def _shows(one: str) -> bool:
    return unicodedata.category(one) not in ("Cc", "Cf", "Cs", "Zl", "Zp")


def level_of(code: str) -> int:
    """How grave an event is, as ``logging`` counts it."""
    if code in _GRAVE:
        return logging.ERROR
    return logging.WARNING if code in _WARNS - _QUIET else logging.INFO


class _Lines(logging.Formatter):
    def format(self, record: logging.LogRecord) -> str:
        fields: Mapping[str, str] = getattr(record, "fields", {})
        at = datetime.fromtimestamp(record.created, UTC)
        stamp = fields.get("day") or f"{at:%Y-%m-%dT%H:%M:%SZ}"
        return escaped(f"{stamp.replace('T', ' ')} {record.getMessage()}")


class _Json(logging.Formatter):
    def format(self, record: logging.LogRecord) -> str:
        fields: Mapping[str, object] = getattr(record, "fields", {"text": record.getMessage()})
        time = datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds")
        level = record.levelname.lower()
        return json.dumps({"time": time.replace("+00:00", "Z"), "level": level, **fields})


def start_log(form: str = "text", level: str = "info") -> None:
    """Begin to write to standard output: lines for people, or one JSON object a line."""
    handler = logging.StreamHandler(sys.stdout)
    handler.setFormatter(_Json() if form == "json" else _Lines())
    log.handlers[:] = [handler]
    log.propagate = False
    log.setLevel(level.upper())
