"""The alarms of all bays as one message of the bridge's."""

from __future__ import annotations

import zlib

import msgspec

from firmware_bridge.wire.messages import Alarm

__all__ = ["alarm_of", "fitting"]

ALARM_ID = 24
"""Letters of an alarm's id."""
MOST_ALARMS = 32
"""In one message."""


def alarm_of(bay: str, alarm: Alarm) -> Alarm:
    """An alarm of one bay among those of all."""
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
