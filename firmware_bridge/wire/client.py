"""
The link to the broker, and the only door to the MQTT library.

The library's own thread does nothing but put bytes into a queue; no handler of ours can raise
into it. Subscriptions are made anew at every connect, because a broker may forget a session.
Nothing is handed to the library while the link is down: it would be kept and sent too late.
"""

from __future__ import annotations

import contextlib
import functools
import math
import random
import ssl
import sys
import threading
import time
from collections import Counter, deque
from collections.abc import Callable, Sequence
from typing import Any, Protocol

import paho.mqtt.client as mqtt
from msgspec import Struct
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.subscribeoptions import SubscribeOptions

from firmware_bridge.config import BrokerConfig
from firmware_bridge.errors import LinkError
from firmware_bridge.wire.certificates import ends_of_files, peer_end
from firmware_bridge.wire.trouble import never_answered, reason_of, refusal

__all__ = ["Link", "Message", "Wire"]

QUEUE = 20000
"""Most messages that wait; the oldest go first."""
QUEUE_BYTES = 32_000_000
"""Most that the payloads of those may take together."""
LARGEST = 70000
"""Longest payload that is queued. [bytes]"""
ANSWER_AFTER = 5.0
"""So long a broker may take to answer before the older protocol is tried. [s]"""


class Message(Struct, frozen=True, kw_only=True):
    """One message, to be sent or as it came."""

    topic: str
    payload: bytes
    qos: int = 0
    retain: bool = False
    expiry: int = 0
    """Life that the broker is told, MQTT 5 only; 0 for none. [s]"""
    received: float = math.nan
    """When it came, by the steady clock; NaN for one to be sent. [s]"""


class Wire(Protocol):
    """What bridge and controller need of a link."""

    @property
    def ready(self) -> bool: ...
    @property
    def drops(self) -> Sequence[float]: ...
    def send(self, message: Message) -> bool: ...
    def receive(self, most: int = ...) -> list[Message]: ...


class Link:
    """A connection that is kept up; ``ready`` says whether it can be trusted."""

    def __init__(
        self,
        broker: BrokerConfig,
        client_id: str,
        topics: Sequence[tuple[str, int]],
        steady: Callable[[], float],
        will: Message | None = None,
        birth: Callable[[], Sequence[Message]] | None = None,
        others: Sequence[str] = (),
    ) -> None:
        self._broker, self._id, self._topics = broker, client_id, tuple(topics)
        self._others = tuple(others)
        """Topics of which only what others say is wanted; MQTT 5 alone can tell."""
        self._steady, self._will, self._birth = steady, will, birth
        self._queue: deque[Message] = deque()
        self._put = self._got = 0
        """Bytes ever put in by the library's thread (less what it threw away), and taken out."""
        self._wake = threading.Event()
        self._protocol = mqtt.MQTTv311 if broker.protocol == "3.1.1" else mqtt.MQTTv5
        self._client: Any = None
        self._subscribing: int | None = None
        self._reached_at: float | None = None
        """When the broker's port first took a connection; real time, whatever the clock. [s]"""
        self.connected = False
        self.ready = False
        """Connected, and every subscription granted."""
        self.certificates: dict[str, float] = {}
        """Until when those that TLS rests on are good, by what they are; UTC. [s]"""
        self.deaf: list[str] = []
        """Of the topics of others, those that the broker keeps from us."""
        self.answered = False
        self.problem = ""
        """Why the last attempt failed, in one line."""
        self.drops: deque[float] = deque(maxlen=16)
        """When the link was lost, by the steady clock. [s]"""
        self.counts: Counter[str] = Counter()
        self._denied: dict[int, str] = {}
        """Why a broker that speaks MQTT 5 did not take what was sent with QoS 1, by its number."""

    # --- life ----------------------------------------------------------------------------

    def start(self) -> None:
        """Begin to connect, and keep trying; ``LinkError`` if certificates cannot be used."""
        client = mqtt.Client(
            CallbackAPIVersion.VERSION2,
            client_id=self._id,
            protocol=self._protocol,
            clean_session=None if self._protocol == mqtt.MQTTv5 else True,
        )
        client.suppress_exceptions = True
        broker = self._broker
        if broker.username:
            client.username_pw_set(broker.username, broker.password)
        if broker.tls:
            client.tls_set_context(_tls(broker))
            self.certificates |= ends_of_files(broker)
        if self._will is not None:
            will = self._will
            client.will_set(will.topic, will.payload, will.qos, will.retain)
        # The library waits without jitter: many clients would come back in the same instant.
        first, most = broker.reconnect_s * random.uniform(0.5, 1.5), random.uniform(20.0, 60.0)
        client.reconnect_delay_set(first, max(first, most))  # type: ignore[arg-type]
        client.max_queued_messages_set(1000)
        client.on_connect = self._on_connect
        client.on_disconnect = self._on_disconnect
        client.on_connect_fail = self._on_connect_fail
        client.on_socket_open = self._on_socket_open
        client.on_subscribe = self._on_subscribe
        client.on_message = self._on_message
        self._client, self._reached_at = client, None
        clean = True if self._protocol == mqtt.MQTTv5 else mqtt.MQTT_CLEAN_START_FIRST_ONLY
        client.connect_async(
            broker.host, broker.port, keepalive=broker.keepalive_s, clean_start=clean
        )
        client.loop_start()

    def tend(self) -> None:
        """Fall back to MQTT 3.1.1 where a broker does not speak 5; called by the loop."""
        if self._broker.protocol != "auto" or self.answered or self._protocol != mqtt.MQTTv5:
            return
        refused = "protocol" in self.problem.lower()
        reached = self._reached_at
        silent = reached is not None and time.monotonic() - reached > ANSWER_AFTER
        if refused or silent:
            self._halt()
            self._protocol = mqtt.MQTTv311
            self.problem = ""
            self.start()

    def stop(self, last: Sequence[Message] = (), patience: float = 2.0) -> None:
        """Disconnect, after the last messages: a clean close publishes no will."""
        sent = [self._publish(message) for message in last if self.connected]
        for info in sent:
            if info is not None and info.rc == mqtt.MQTT_ERR_SUCCESS:
                with contextlib.suppress(ValueError, RuntimeError):
                    info.wait_for_publish(patience)
        self._halt()

    def _halt(self) -> None:
        if self._client is not None:
            self._client.disconnect()
            self._client.loop_stop()
        self.connected = self.ready = False

    @property
    def alive(self) -> bool:
        """Whether the library's thread still runs."""
        thread = getattr(self._client, "_thread", None)
        return thread is not None and thread.is_alive()

    @property
    def protocol(self) -> str:
        """MQTT version in use."""
        return "5" if self._protocol == mqtt.MQTTv5 else "3.1.1"

    # --- traffic -------------------------------------------------------------------------

    def send(self, message: Message) -> bool:
        """Send now or not at all; False where it was not handed over."""
        if not self.connected or len(message.payload) > LARGEST:
            self.counts["not sent"] += 1
            return False
        info = self._publish(message)
        return info is not None and info.rc == mqtt.MQTT_ERR_SUCCESS

    def attempt(self, message: Message, patience: float) -> str:
        """
        Send, and see whether the broker takes it; with MQTT 3.1.1 it never says that it did not.
        """
        self._client.on_publish = self._on_publish  # costs time at each message that is sent
        info = self._publish(message) if self.connected else None
        if info is None or info.rc != mqtt.MQTT_ERR_SUCCESS:
            return "not connected"
        with contextlib.suppress(ValueError, RuntimeError):
            info.wait_for_publish(patience)
        return self._denied.pop(info.mid, "" if info.is_published() else "no answer")

    def _publish(self, message: Message) -> Any:
        properties = None
        if message.expiry and self._protocol == mqtt.MQTTv5:
            properties = _life(message.expiry)
        try:
            return self._client.publish(
                message.topic, message.payload, message.qos, message.retain, properties
            )
        except (ValueError, OSError) as error:
            self.problem = str(error)
            return None

    def receive(self, most: int = 1000) -> list[Message]:
        """Take what has come."""
        self._wake.clear()
        found: list[Message] = []
        with contextlib.suppress(IndexError):
            while len(found) < most:
                found.append(self._queue.popleft())
        self._got += sum(len(message.payload) for message in found)
        return found

    def wait(self, patience: float) -> None:
        """Wait until something has come, at most ``patience`` seconds."""
        if not self._queue:
            self._wake.wait(patience)

    @property
    def waiting(self) -> int:
        """Messages in the queue."""
        return len(self._queue)

    # --- called by the library's thread: fill the queue, never raise ------------------------

    def _on_connect(self, client: Any, _: Any, __: Any, code: Any, ___: Any = None) -> None:
        try:
            if code.is_failure:
                self.problem = refusal(f"{code}", self._broker)
                return
            self.answered, self.problem = True, ""
            self.connected = True
            end = peer_end(client.socket())
            if not math.isnan(end):
                self.certificates["the broker's certificate"] = end
            self._subscribe(client)
            for message in self._birth() if self._birth is not None else ():
                self._publish(message)
        except Exception as error:  # the library's thread must live
            self.counts["errors"] += 1
            self.problem = f"after connecting: {error}"
        self._wake.set()

    def _subscribe(self, client: Any) -> None:
        wanted: Any = list(self._topics)
        if self._protocol == mqtt.MQTTv5:
            wanted = [(topic, SubscribeOptions(qos=qos)) for topic, qos in self._topics]
            wanted += [(topic, SubscribeOptions(qos=0, noLocal=True)) for topic in self._others]
        if wanted:
            self._subscribing = client.subscribe(wanted)[1]
        else:
            self.ready = True

    def _on_subscribe(self, _: Any, __: Any, number: int, codes: Any, ___: Any = None) -> None:
        try:
            if number != self._subscribing:
                return
            asked = [*(topic for topic, _qos in self._topics), *self._others]
            answers = list(zip(asked, codes, strict=False))
            refused = [
                f"{topic} ({code})"
                for topic, code in answers[: len(self._topics)]
                if code.is_failure
            ]
            self.deaf = [t for t, code in answers[len(self._topics) :] if code.is_failure]
            self.ready = not refused
            if refused:
                self.problem = f"the broker refused to let us hear {', '.join(refused)}"
        except Exception as error:  # the library's thread must live
            self.counts["errors"] += 1
            self.problem = f"after subscribing: {error}"
        self._wake.set()

    def _on_publish(self, _: Any, __: Any, number: int, code: Any, ___: Any = None) -> None:
        if code.is_failure and len(self._denied) < QUEUE:
            self._denied[number] = str(code)

    def _on_disconnect(self, _: Any, __: Any, ___: Any, code: Any, ____: Any = None) -> None:
        try:
            if self.connected:
                self.drops.append(self._steady())
            self.connected = self.ready = False
            if not self.problem:
                why = f"{code}" if self.answered else never_answered(self._broker)
                vague = why in ("", "Unspecified error")  # the library's word for a line that broke
                self.problem = "connection lost" + ("" if vague else f": {why}")
        except Exception:  # the library's thread must live
            self.counts["errors"] += 1
        self._wake.set()

    def _on_socket_open(self, *_: Any) -> None:
        if self._reached_at is None:
            self._reached_at = time.monotonic()

    def _on_connect_fail(self, *_: Any) -> None:
        self._reached_at = None
        place = f"{self._broker.host}:{self._broker.port}"
        why = reason_of(sys.exc_info()[1], self._broker)  # the library is in its handler
        self.problem = f"no connection to {place}{': ' if why else ''}{why}"
        self._wake.set()

    def _on_message(self, _: Any, __: Any, message: Any) -> None:
        try:
            if len(message.payload) > LARGEST:
                self.counts["too long"] += 1
                return
            self._make_room(len(message.payload))
            self._queue.append(
                Message(
                    topic=message.topic,
                    payload=bytes(message.payload),
                    retain=bool(message.retain),
                    received=self._steady(),
                )
            )
        except Exception:  # the library's thread must live
            self.counts["errors"] += 1
        self._wake.set()

    def _make_room(self, size: int) -> None:
        """Throw the oldest away until one more fits; a thread writes its own count only."""
        with contextlib.suppress(IndexError):
            while len(self._queue) >= QUEUE or self._put - self._got + size > QUEUE_BYTES:
                self._put -= len(self._queue.popleft().payload)
                self.counts["overflow"] += 1
        self._put += size


@functools.cache
def _life(expiry: int) -> Properties:
    properties = Properties(PacketTypes.PUBLISH)  # type: ignore[no-untyped-call]
    properties.MessageExpiryInterval = expiry
    return properties


def _tls(broker: BrokerConfig) -> ssl.SSLContext:
    """Always verified; there is no way round it."""
    try:
        context = ssl.create_default_context(
            cafile=None if broker.ca_file is None else str(broker.ca_file)
        )
        context.minimum_version = ssl.TLSVersion.TLSv1_2
        if broker.cert_file is not None and broker.key_file is not None:
            context.load_cert_chain(str(broker.cert_file), str(broker.key_file))
    except (OSError, ValueError) as error:
        raise LinkError(f"broker: the certificates cannot be used ({error})") from None
    return context
