"""JSON as people write it: read strictly, every refusal in one line that says how to mend it."""

from __future__ import annotations

import difflib
import json
import math
from datetime import datetime
from typing import Any, NoReturn
from zoneinfo import ZoneInfo

from ventcalc.errors import BadInput

__all__ = ["finite_number", "json_object", "moment_of", "shortened", "unknown_key"]

_EPOCH_END = 4102444800.0  # 2100-01-01: the time zones' rules are known no further


def json_object(text: str) -> dict[str, Any]:
    """The one object of a JSON text; refuses NaN and keys that stand twice."""
    try:
        found = json.loads(text, parse_constant=_no_constant, object_pairs_hook=_once)
    except BadInput:
        raise
    except json.JSONDecodeError as error:
        raise BadInput(
            f"line {error.lineno}, column {error.colno}: not valid JSON ({error.msg}); "
            'keys and texts stand in "quotes", numbers do not, commas between, none at the end'
        ) from None
    except (ValueError, RecursionError):  # a number of thousands of digits, or a million brackets
        raise BadInput("not JSON that one can use; write one object with keys and values") from None
    if not isinstance(found, dict):
        raise BadInput(f"holds {shortened(found)}; write one JSON object, {{...}}")
    return found


def _no_constant(word: str) -> NoReturn:
    raise BadInput(f"{word} is not JSON; write null for a missing reading")


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    keys = [key for key, _ in pairs]
    twice = sorted({key for key in keys if keys.count(key) > 1})
    if twice:
        raise BadInput(f"{key}: stands twice; keep one" for key in twice)
    return dict(pairs)


def unknown_key(key: str, known: tuple[str, ...]) -> str:
    """A refusal of a key that nobody knows, with the one that was meant."""
    close = difflib.get_close_matches(key.lower(), known, n=1, cutoff=0.5)
    hint = f"did you mean {close[0]}?" if close else f"known are {', '.join(known)}"
    return f"{shortened(key)[1:-1]}: unknown key; {hint}"


def shortened(value: Any) -> str:
    """A value as it was written, in at most 40 characters."""
    text = json.dumps(value, ensure_ascii=False, default=str)
    return text if len(text) <= 40 else text[:37] + "..."


def moment_of(value: Any, problems: list[str], zone: str = "") -> float:
    """
    Time since 1970 of an ISO 8601 text; a problem is noted otherwise. [s]

    Without offset it is local time in ``zone``, where that hour is there once.
    """
    wanted = 'write ISO 8601 with offset, "2026-10-20T04:00:00-06:00"'
    if value is None:
        problems.append(f"time: missing; {wanted}")
        return math.nan
    try:
        moment = datetime.fromisoformat(value)
        if zone and moment.tzinfo is None:
            moment = _once_in(moment, ZoneInfo(zone))
        stamp = moment.timestamp() if moment.utcoffset() is not None else None
    except (TypeError, ValueError, OverflowError):
        problems.append(f"time is {shortened(value)}; {wanted}")
        return math.nan
    if stamp is None:
        problems.append(
            f"time is {shortened(value)}: without offset nobody knows the hour; {wanted}"
        )
        return math.nan
    if not 0.0 <= stamp < _EPOCH_END:
        problems.append(f"time is {shortened(value)}; it must lie in 1970 to 2099")
    return stamp


def _once_in(moment: datetime, zone: ZoneInfo) -> datetime:
    """A local time in its zone; as it was where the clock has that hour twice or not at all."""
    first, second = (moment.replace(tzinfo=zone, fold=fold) for fold in (0, 1))
    return first if first.utcoffset() == second.utcoffset() else moment


def finite_number(value: Any) -> float | None:
    """A number of JSON, if it is one and finite."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    try:
        number = float(value)
    except OverflowError:
        return None
    return number if math.isfinite(number) else None
