"""
The alarms of all bays: since when each stands, who has acknowledged it, what is to be sent when.

An alarm that comes back before it was gone for a while is the same one; later, or graver, it is
new, and nobody has acknowledged it.
"""

from __future__ import annotations

import json
import math
import zlib
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import msgspec

from firmware_bridge.bay.state import BayState
from firmware_bridge.config import AlarmsConfig
from firmware_bridge.errors import BadMessage
from firmware_bridge.service.delivery import Delivery, Notice
from firmware_bridge.service.turn import Turn
from firmware_bridge.wire.messages import Alarm

__all__ = ["FIRST", "AlarmBook", "alarm_of", "fitting", "wrong_with"]

ALARM_ID = 24
"""Letters of an alarm's id."""
MOST_ALARMS = 32
"""In one message."""
EASE = 180.0
"""So long an alarm is gone before it is over. [s]"""
HOLD = 60.0
"""An alarm that is no danger stands so long before it is sent: a start or a spike is none. [s]"""
_PROBES = "Look at these probes and their cables; nothing is advised until they can be believed."
FIRST = {
    "unanswered": "Look at the controller: does it run, is it on the network, does it take advice?",
    "refused": "Look at controller and broker; the controller runs its own program meanwhile.",
    "not_done": "Look at the device: switch, breaker, motor, ice; is it set to automatic?",
    "plenum_off": "Look at the door (stuck, iced, leaking?), refrigeration and plenum probe.",
    "sensor": "Look at probe, cable and unit; take the temperature by hand.",
    "frost_ahead": "Before then: heater, seals of the door, probes; who comes when it calls?",
    "delivery": "Look at the mail server or web hook, and at its password.",
    "lost": "Is the power off? Then the network. `ventcalc outage` says how long there is.",
    "stale": "Look at controller and network; the controller runs its own program meanwhile.",
    "link": "Look at broker and network; the controllers run their own programs meanwhile.",
    "flapping": "Look at the network: cable, switch, radio; two bridges under one name?",
    "missing": _PROBES,
    "implausible": _PROBES,
    "stuck": _PROBES,
    "contradictory": _PROBES,
    "units": "Look what unit the controller sends; °C and °F may be mixed up.",
    "audit": "Look at disk and data folder: full, read-only, or another owner?",
    "journal": "Look at disk and data folder; a restart would forget latches and what was told.",
    "disk": "Make room on the disk of the bridge.",
    "clock": "Set the time of the bridge's machine; it needs a time server.",
    "certificate": "Have a new one made and put it in place, then restart broker and bridge.",
    "other_bridge": "Take the bay out of one of their files; is there one only, change passwords.",
}
"""What to do first about alarms of the bridge that do not say it themselves."""


@dataclass(slots=True)
class _Standing:
    """One alarm of one bay; times by the steady clock. [s]"""

    alarm: Alarm
    zone: str
    began: float
    told_at: float = -math.inf
    seen_at: float = math.nan
    """When it stood last."""
    by: str = ""
    """Who has acknowledged it."""
    at: str = ""
    """When, ISO 8601."""

    def marked(self, alarm: Alarm) -> Alarm:
        """The alarm as it is now, with since when, and by whom acknowledged."""
        since = alarm.since or self.alarm.since
        return msgspec.structs.replace(alarm, since=since, seen_by=self.by, seen_at=self.at)


def wrong_with(bay: BayState, code: str) -> list[Alarm]:
    """Everything wrong with a bay, with what to do first; ``code``: why it gets no advice."""
    found = list(bay.complaints)
    if code and code != "start":
        level = 2 if code in ("lost", "audit", "disk", "other_bridge") else 3
        text = f"no advice, {bay.refuse(code).text}"
        found.insert(0, Alarm(id=code, level=level, text=text))  # type: ignore[arg-type]
    return [_with_first(one) for one in found]


def _with_first(alarm: Alarm) -> Alarm:
    return msgspec.structs.replace(alarm, first=alarm.first or FIRST.get(alarm.id, ""))


@dataclass(slots=True)
class AlarmBook:
    """Every alarm that stands; one loop owns it."""

    rules: AlarmsConfig
    delivery: Delivery | None = None
    _book: dict[tuple[str, str], _Standing] = field(default_factory=dict)
    """By bay and kind."""
    _looked_at: float = -math.inf
    _unsent: bool = False
    changed: bool = False
    """Whether something is new that a restart must not lose."""

    def see(
        self,
        bays: Iterable[BayState],
        ground: Callable[[BayState], str],
        turn: Turn,
        own: Iterable[Alarm] = (),
    ) -> tuple[Alarm, ...]:
        """
        Take note of what stands, send what is to be sent; as many as fit into one message.

        ``own``: of the bridge itself, of no bay.
        """
        marked, notices, found, zone = [], [], [], "UTC"
        self._looked_at = turn.now
        for bay in bays:
            code = ground(bay) or bay.doubt(turn.now)
            for what, text in bay.assess(code, turn.now):
                turn.tell(bay.name, what, text)
            zone = bay.zone
            found += [(bay.name, zone, alarm) for alarm in wrong_with(bay, code)]
        found += [("", zone, _with_first(alarm)) for alarm in own]
        for name, zone, alarm in found:
            one = self._note(name, zone, alarm, turn)
            marked.append(alarm_of(name, one.marked(alarm)))
            if self._due(one, turn):
                what = "new" if one.told_at == -math.inf else "again"
                one.told_at, self.changed = turn.now, True
                notices.append(_notice(name, one, what, turn))
        notices += self._over(turn)
        if self.delivery is not None:
            self.delivery.post(notices)
            trouble = self.delivery.trouble
            if bool(trouble) != self._unsent:
                self._unsent = bool(trouble)
                turn.tell(
                    "",
                    "delivery",
                    f"alarms are not sent ({trouble})" if trouble else "alarms are sent again",
                )
            marked += _unsent(trouble)
        return fitting(marked)

    def _over(self, turn: Turn) -> list[Notice]:
        notices = []
        for (bay, kind), one in list(self._book.items()):
            if turn.now - one.seen_at < EASE:
                continue
            if one.told_at > -math.inf and self._may(one, turn):
                notices.append(_notice(bay, one, "over", turn))
            elif one.told_at > -math.inf:
                continue  # told when the quiet hours end
            del self._book[bay, kind]
            self.changed = True
        return notices

    def _note(self, bay: str, zone: str, alarm: Alarm, turn: Turn) -> _Standing:
        one = self._book.get((bay, alarm.id))
        graver = one is not None and alarm.level < one.alarm.level
        if one is None or graver or turn.now - one.seen_at >= EASE:
            since = "" if one is None or not graver else one.alarm.since
            since = alarm.since or since or _stamp(turn)
            new = msgspec.structs.replace(alarm, since=since)
            one = _Standing(alarm=new, zone=zone, began=turn.now)
            self._book[bay, alarm.id] = one
            self.changed = True
        one.alarm = msgspec.structs.replace(alarm, since=alarm.since or one.alarm.since)
        one.seen_at = turn.now
        return one

    # --- in the journal ----------------------------------------------------------------------

    def to_text(self) -> str:
        """What stands, was sent and acknowledged, as text for the journal."""
        rows = [
            [bay, one.zone, one.told_at > -math.inf, one.by, one.at, _plain(one.alarm)]
            for (bay, _), one in self._book.items()
        ]
        return json.dumps(rows)

    def recall(self, text: str | None, bays: Iterable[str], now: float) -> None:
        """Take up what stood before a restart; what cannot be read is left out."""
        try:
            for bay, zone, told, by, at, plain in json.loads(text or "[]"):
                if bay in bays or not bay:
                    alarm = msgspec.convert(plain, Alarm)
                    one = _Standing(alarm=alarm, zone=str(zone), began=now, by=str(by), at=str(at))
                    one.seen_at, one.told_at = now, now if told else -math.inf
                    self._book[bay, alarm.id] = one
        except (ValueError, TypeError, msgspec.ValidationError):
            self._book.clear()

    # --- what is sent --------------------------------------------------------------------------

    def _due(self, one: _Standing, turn: Turn) -> bool:
        level, every = one.alarm.level, 60.0 * self.rules.repeat_min
        if level > self.rules.told_level or (level == 3 and one.alarm.id in _WORDS_OF_PEOPLE):
            return False
        again = one.told_at > -math.inf
        if again and (one.by or not every or level > self.rules.repeat_level):
            return False
        held = level > 1 and turn.now - one.began < HOLD
        return turn.now - one.told_at >= every and not held and self._may(one, turn)

    def _may(self, one: _Standing, turn: Turn) -> bool:
        """Whether the quiet hours of the bay let it through."""
        start, end = self.rules.quiet_from, self.rules.quiet_to
        if not start or one.alarm.level <= self.rules.quiet_level:
            return True
        now = f"{datetime.fromtimestamp(turn.day, ZoneInfo(one.zone)):%H:%M}"
        return not (start <= now < end if start <= end else now >= start or now < end)

    # --- what people see and do --------------------------------------------------------------

    def standing(self, bay: str) -> tuple[Alarm, ...]:
        """What stood when it was last looked, the gravest first."""
        found = [
            one.marked(one.alarm)
            for (name, _), one in self._book.items()
            if name == bay and one.seen_at == self._looked_at
        ]
        return tuple(sorted(found, key=lambda alarm: alarm.level))

    def acknowledge(
        self, bay: str, kind: str, by: str, turn: Turn
    ) -> tuple[str, Callable[[], None]]:
        """Somebody has seen an alarm: text for the audit log, and what does it afterwards."""
        one = self._book.get((bay, kind))
        if one is None:
            stand = ", ".join(alarm.id for alarm in self.standing(bay))
            raise BadMessage(f"no alarm {kind[:24]!r} stands; there are: {stand or 'none'}")

        def do() -> None:
            self.changed = True
            one.by, one.at = by, _stamp(turn)

        return f"acknowledged: {kind}, {one.alarm.text}", do


_WORDS_OF_PEOPLE = ("told", "people_inside")
"""Whoever told it knows it: not sent, unless it has become a danger."""


def _stamp(turn: Turn) -> str:
    return datetime.fromtimestamp(turn.day, UTC).isoformat(timespec="seconds")


def _notice(bay: str, one: _Standing, what: str, turn: Turn) -> Notice:
    local = datetime.fromtimestamp(turn.day, ZoneInfo(one.zone))
    alarm = one.alarm
    return Notice(
        bay=bay,
        kind=alarm.id,
        level=alarm.level,
        what=what,
        at=local.isoformat(timespec="seconds"),
        since=alarm.since,
        text=alarm.text,
        first=alarm.first if what != "over" else "",
    )


def _plain(alarm: Alarm) -> dict[str, object]:
    plain: dict[str, object] = msgspec.to_builtins(alarm)
    return plain


def _unsent(trouble: str) -> list[Alarm]:
    if not trouble:
        return []
    text, first = f"alarms are not sent ({trouble})", FIRST["delivery"]
    return [Alarm(id="delivery", kind="delivery", level=2, text=text[:120], first=first)]


# --- the message ---------------------------------------------------------------------------------


def alarm_of(bay: str, alarm: Alarm) -> Alarm:
    """An alarm of one bay among those of all."""
    if not bay:
        return msgspec.structs.replace(alarm, kind=alarm.id)
    name = f"{alarm.id}_{bay}".replace("-", "_")
    if len(name) > ALARM_ID:
        # Long names of two bays may begin alike: a sum over the whole keeps their alarms apart.
        name = f"{name[: ALARM_ID - 5]}_{zlib.crc32(name.encode()) & 0xFFFF:04x}"
    text = f"{bay}: {alarm.text}"[:120]
    return msgspec.structs.replace(alarm, id=name, kind=alarm.id, bay=bay, text=text)


def fitting(alarms: list[Alarm]) -> tuple[Alarm, ...]:
    """The gravest first, and how many more there are where one message cannot hold them."""
    alarms.sort(key=lambda alarm: alarm.level)
    if len(alarms) <= MOST_ALARMS:
        return tuple(alarms)
    left = alarms[MOST_ALARMS - 1 :]
    text = f"{len(left)} more alarms stand; the page and the journal have them all"
    return (
        *alarms[: MOST_ALARMS - 1],
        Alarm(id="more", kind="more", level=left[0].level, text=text),
    )
