"""
The MQTT library's client with fewer calls into the system for each message.

Many messages are read at once and taken one by one, and the library's thread is woken once for many
that are to be sent. Only names of the library are overridden: if a later one calls them otherwise,
it works as it does without, only slower.
"""

from __future__ import annotations

import functools
from typing import Any

import paho.mqtt.client as mqtt
from paho.mqtt.enums import MQTTErrorCode
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

__all__ = ["QuickClient", "life"]

CHUNK = 65536
"""Most that is read at once. [bytes]"""
AT_ONCE = 100
"""Most messages taken before what waits to be sent has its turn."""


class _Buffered:
    """A socket that reads ahead."""

    def __init__(self, real: Any) -> None:
        self._real, self._data, self._at = real, b"", 0

    def __getattr__(self, name: str) -> Any:
        return getattr(self._real, name)

    def recv(self, size: int) -> bytes:
        if self._at == len(self._data):
            self._data, self._at = self._real.recv(CHUNK), 0
        part = self._data[self._at : self._at + size]
        self._at += len(part)
        return part

    def pending(self) -> int:
        """Bytes that wait where ``select`` does not see them."""
        return len(self._data) - self._at or getattr(self._real, "pending", int)()


class _Bell:
    """Both ends of the pair that wakes the library's thread: rung once until it is heard."""

    def __init__(self) -> None:
        self.rung = False

    def end(self, real: Any) -> _End | None:
        return None if real is None else _End(self, real)


class _End:
    def __init__(self, bell: _Bell, real: Any) -> None:
        self._bell, self._real = bell, real

    def __getattr__(self, name: str) -> Any:
        return getattr(self._real, name)

    def send(self, data: bytes) -> int:
        if not self._bell.rung:
            self._bell.rung = True
            self._real.send(data)
        return len(data)

    def recv(self, size: int) -> bytes:
        data: bytes = self._real.recv(size)
        self._bell.rung = False  # what was queued until now is written next
        return data


class QuickClient(mqtt.Client):
    """The library's client; see the module."""

    def __init__(self, *args: Any, **settings: Any) -> None:
        self._bell = _Bell()
        super().__init__(*args, **settings)

    def __setattr__(self, name: str, value: Any) -> None:
        bell = name in ("_sockpairR", "_sockpairW")
        super().__setattr__(name, self._bell.end(value) if bell else value)

    def _create_socket(self) -> Any:
        return _Buffered(super()._create_socket())

    def loop_read(self, max_packets: int = 1) -> MQTTErrorCode:
        """Take what was read at once."""
        code = super().loop_read(max_packets)
        for _ in range(AT_ONCE):
            if code or not getattr(self.socket(), "pending", int)():
                break
            code = super().loop_read(max_packets)
        return code


class _Life(Properties):
    """Packed once: the library packs them anew for each message."""

    def __init__(self, expiry: int) -> None:
        super().__init__(PacketTypes.PUBLISH)  # type: ignore[no-untyped-call]
        self.MessageExpiryInterval = expiry
        packed: bytes = super().pack()  # type: ignore[no-untyped-call]
        object.__setattr__(self, "pack", lambda: packed)


@functools.lru_cache(maxsize=64)
def life(expiry: int) -> Properties:
    """How long a broker may keep a message for who does not take it, MQTT 5. [s]"""
    return _Life(expiry)
