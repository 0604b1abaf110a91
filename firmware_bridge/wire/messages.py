"""
Messages as they travel: frozen structures, strict JSON in, compact JSON out.

Nothing that matters is left to the transport: identity, order and age stand in the payload.
A reading is named by the controller's ``boot`` and ``seq``; advice names the reading that it
rests on, and the controller judges its age by its own clock.
"""

from __future__ import annotations

import math
from typing import Annotated, Any, Literal, TypeVar

import msgspec
from msgspec import Meta, Struct

from firmware_bridge.codes import ACK_CODES, ACTIONS, ALARM_IDS, NONE_REASONS, TARGETS
from firmware_bridge.errors import BadMessage
from firmware_bridge.quantities import KINDS

__all__ = [
    "Ack",
    "AdviceMessage",
    "AdviceRow",
    "Alarm",
    "Alarms",
    "Beat",
    "Birth",
    "Channel",
    "ReadingMessage",
    "State",
    "advice_of_row",
    "decode",
    "encode",
    "encode_advice",
    "encode_plain",
    "row_of_advice",
]


U32 = Annotated[int, Meta(ge=0, le=4294967295)]
Count = Annotated[int, Meta(ge=0, le=99999999)]
"""Boot and seq of a bridge: minutes since 1970 fit for another century."""
Share = Annotated[float, Meta(ge=0.0, le=1.0)]
Key = Annotated[str, Meta(pattern=r"^[a-z][a-z0-9_]{0,23}$")]
Number = Annotated[float, Meta(ge=-1e9, le=1e9)]
Whole = Annotated[int, Meta(ge=-2147483648, le=2147483647)]
Seconds = Annotated[float, Meta(ge=0.0, le=1e10)]
Life = Annotated[int, Meta(ge=1, le=3600)]


class State(Struct, frozen=True, kw_only=True):
    """Whether a controller or bridge is there; its will says ``on: 0`` with the same boot."""

    boot: U32
    on: Literal[0, 1]


class Channel(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """One channel of the readings, in the order of the integer form."""

    key: Key
    kind: Literal[KINDS]  # type: ignore[valid-type]
    unit: Annotated[str, Meta(min_length=1, max_length=16)]
    """UCUM code."""
    scale: Annotated[float, Meta(gt=0.0, le=1e6)] = 1.0
    """Unit per count of the integer form."""
    at: Annotated[float, Meta(ge=0.0, le=10.0)] | None = None
    """Height above the floor. [m]"""


class Birth(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """What a controller is; sent after every connect, before the first reading."""

    v: Literal[1] = 1
    boot: U32
    fw: Annotated[str, Meta(max_length=40)] = ""
    channels: Annotated[tuple[Channel, ...], Meta(min_length=1, max_length=400)]
    takes: tuple[Literal[TARGETS], ...] = ()  # type: ignore[valid-type]
    form: Literal["object", "integers"] = "object"
    """How it wants its advice."""
    every: Annotated[int, Meta(ge=1, le=3600)] = 60
    """Time from reading to reading. [s]"""


class ReadingMessage(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """Values of one moment: ``v`` by key, or ``i`` as integers in the order of the birth."""

    boot: U32
    seq: U32
    up: Seconds | None = None
    """Time since the controller started, by its own clock. [s]"""
    t: Annotated[float, Meta(ge=0.0, le=4.2e9)] | None = None
    """UTC, for people and plots only. [s]"""
    v: Annotated[dict[str, Number | None], Meta(max_length=400)] | None = None
    i: Annotated[list[Whole | None], Meta(max_length=400)] | None = None
    bad: Annotated[tuple[str, ...], Meta(max_length=400)] = ()
    """Keys that the controller itself does not believe."""


class Beat(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """The bridge is alive; ``birth: 1`` asks the controller for its birth."""

    boot: Count
    seq: Count
    id: U32
    """Drawn at start, so that two bridges with one boot number can be told apart."""
    t: Seconds | None = None
    birth: Literal[0, 1] = 0


class AdviceMessage(
    Struct, frozen=True, kw_only=True, omit_defaults=True, forbid_unknown_fields=True
):
    """Positions for now, or ``none`` with its reason. Unknown keys make it void."""

    id: tuple[Count, Count]
    """Boot and seq of the bridge."""
    rests_on: tuple[U32, U32] = msgspec.field(name="for")
    """Boot and seq of the reading."""
    ttl: Life
    """Age of that reading, by the controller's clock, at which the advice ends. [s]"""
    mode: Literal[1, 2, 3]
    """Place in ``MODES``."""
    why: Literal[ACTIONS] | None = None  # type: ignore[valid-type]
    none: Literal[NONE_REASONS[1:]] | None = None  # type: ignore[valid-type]
    fan: Share | None = None
    door: Share | None = None
    water: Share | None = None
    cool: Share | None = None
    heat: Share | None = None
    air: Annotated[float, Meta(ge=-5.0, le=30.0)] | None = None
    """Supply air expected with these positions. [°C]"""
    v: Literal[1] = 1

    def position(self, target: str) -> float | None:
        """Position of one of ``TARGETS``, None where the advice leaves it alone."""
        value: float | None = getattr(self, target)
        return value


class AdviceRow(Struct, frozen=True, array_like=True, forbid_unknown_fields=True):
    """The integer form of advice: one JSON array; without advice it ends after ``reason``."""

    v: Literal[1]
    boot: Count
    seq: Count
    for_boot: U32
    for_seq: U32
    ttl: Life
    mode: Annotated[int, Meta(ge=1, le=3)]
    action: Annotated[int, Meta(ge=0, le=len(ACTIONS) - 1)]
    reason: Annotated[int, Meta(ge=0, le=len(NONE_REASONS) - 1)]
    fan: Annotated[int, Meta(ge=-1, le=1000)] | None = None
    door: Annotated[int, Meta(ge=-1, le=1000)] | None = None
    water: Annotated[int, Meta(ge=-1, le=1000)] | None = None
    cool: Annotated[int, Meta(ge=-1, le=1000)] | None = None
    heat: Annotated[int, Meta(ge=-1, le=1000)] | None = None
    air: Annotated[int, Meta(ge=-500, le=3000)] | None = None


class Ack(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """What the controller made of one piece of advice, and what it took after its own limits."""

    boot: U32
    ref: tuple[Count, Count]
    """``id`` of the advice."""
    code: Literal[ACK_CODES]  # type: ignore[valid-type]
    fan: Share | None = None
    door: Share | None = None
    water: Share | None = None
    cool: Share | None = None
    heat: Share | None = None
    by: Annotated[str, Meta(max_length=40)] = ""
    """Who confirmed it, where a person did."""


class Alarm(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """One alarm that stands."""

    id: Key
    level: Literal[1, 2, 3]
    """1 danger to people or crop, 2 equipment, 3 to be looked at."""
    text: Annotated[str, Meta(max_length=120)] = ""
    kind: Literal[ALARM_IDS] | None = None  # type: ignore[valid-type]
    """Which alarm of a bridge's; its ``id`` has the bay's name in it, too."""
    bay: Annotated[str, Meta(max_length=40)] = ""
    since: Annotated[str, Meta(max_length=40)] = ""
    """When it began, ISO 8601; empty where that is not known."""
    first: Annotated[str, Meta(max_length=120)] = ""
    """What to do first."""
    seen_by: Annotated[str, Meta(max_length=60)] = ""
    """Who has acknowledged it; empty for nobody."""
    seen_at: Annotated[str, Meta(max_length=40)] = ""
    """When, ISO 8601."""


class Alarms(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """All alarms that stand."""

    boot: U32
    on: Annotated[tuple[Alarm, ...], Meta(max_length=32)] = ()


Message = TypeVar("Message", bound=Struct)
_DECODERS: dict[type[Any], msgspec.json.Decoder[Any]] = {}


def decode(payload: bytes, kind: type[Message], largest: int = 65536) -> Message:
    """
    Read a payload strictly.

    Parameters
    ----------
    payload : bytes
        As it came.
    kind : type
        One of the structures of this module.
    largest : int
        Longest payload that is looked at. [bytes]

    Returns
    -------
    Struct
        Every number finite and in its range.

    Raises
    ------
    BadMessage
        With the reason, in one line.
    """
    if len(payload) > largest:
        raise BadMessage(f"{len(payload)} bytes; at most {largest} are looked at")
    decoder = _DECODERS.get(kind)
    if decoder is None:
        decoder = _DECODERS[kind] = msgspec.json.Decoder(kind)
    try:
        payload.decode()  # the decoder does not look into the texts of keys that it skips
        message: Message = decoder.decode(payload)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError, ValueError) as error:
        raise BadMessage(" ".join(str(error).split())[:160] or type(error).__name__) from None
    _check(message)
    return message


def _check(message: Struct) -> None:
    """What the structure alone does not say."""
    if isinstance(message, ReadingMessage):
        if (message.v is None) == (message.i is None):
            raise BadMessage("give either v or i")
        if message.v is not None and not all(
            value is None or math.isfinite(value) for value in message.v.values()
        ):
            raise BadMessage("a value is not finite")
    elif isinstance(message, Birth):
        keys = [channel.key for channel in message.channels]
        if len(set(keys)) != len(keys):
            raise BadMessage("two channels have one key")
    elif isinstance(message, AdviceMessage):
        if (message.none is None) == (message.why is None):
            raise BadMessage("give either why or none")
        given = [message.position(target) is not None for target in TARGETS]
        if message.none is not None and (any(given) or message.air is not None):
            raise BadMessage("none carries no positions")
        if message.none is None and message.fan is None:
            raise BadMessage("advice without fan")
    elif isinstance(message, AdviceRow):
        rest = (message.fan, message.door, message.water, message.cool, message.heat)
        given = [value is not None for value in (*rest, message.air)]
        if message.action == 0 and (any(given) or message.reason == 0):
            raise BadMessage("none carries a reason and no positions")
        if message.action > 0 and (not all(given) or message.reason or message.fan == -1):
            raise BadMessage("advice carries all positions and no reason")


def encode(message: Struct) -> bytes:
    """
    Write a message as compact JSON.

    Parameters
    ----------
    message : Struct
        One of the structures of this module, its numbers finite.

    Returns
    -------
    bytes
    """
    return msgspec.json.encode(message)


def row_of_advice(advice: AdviceMessage) -> AdviceRow:
    """
    The integer form of advice: positions in thousandths (-1: left alone), air in 0.01 °C.

    Parameters
    ----------
    advice : AdviceMessage
        Advice or none.

    Returns
    -------
    AdviceRow
    """
    head = [1, *advice.id, *advice.rests_on, advice.ttl, advice.mode]
    if advice.none is not None:
        return msgspec.convert([*head, 0, NONE_REASONS.index(advice.none)], AdviceRow)
    positions = (advice.position(target) for target in TARGETS)
    counts = (-1 if value is None else round(1000 * value) for value in positions)
    air = -500 if advice.air is None else round(100 * advice.air)
    action = ACTIONS.index(advice.why or "rest")
    return msgspec.convert([*head, action, 0, *counts, air], AdviceRow)


def advice_of_row(row: AdviceRow) -> AdviceMessage:
    """
    Advice from its integer form.

    Parameters
    ----------
    row : AdviceRow
        As decoded.

    Returns
    -------
    AdviceMessage
    """
    common: dict[str, Any] = {
        "id": (row.boot, row.seq),
        "rests_on": (row.for_boot, row.for_seq),
        "ttl": row.ttl,
        "mode": row.mode,
    }
    if row.action == 0:
        return AdviceMessage(**common, none=NONE_REASONS[row.reason])
    counts = {target: getattr(row, target) for target in TARGETS}
    positions: dict[str, Any] = {
        target: None if count in (None, -1) else count / 1000 for target, count in counts.items()
    }
    air = None if row.air in (None, -500) else row.air / 100
    return AdviceMessage(**common, why=ACTIONS[row.action], air=air, **positions)


def encode_advice(advice: AdviceMessage, form: str) -> bytes:
    """
    Write advice in the form that the controller asked for.

    Parameters
    ----------
    advice : AdviceMessage
        Advice or none.
    form : {"object", "integers"}
        From the controller's birth.

    Returns
    -------
    bytes
    """
    if form == "object":
        return encode(advice)
    row = encode(row_of_advice(advice))
    return row.replace(b",null", b"")  # only a row without advice has nulls, all at its end


def encode_plain(value: list[Any]) -> bytes:
    """
    Write a list as compact JSON, for the audit log.

    Parameters
    ----------
    value : list
        Texts, finite numbers, None.

    Returns
    -------
    bytes
    """
    return msgspec.json.encode(value)
