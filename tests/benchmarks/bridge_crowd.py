"""
Many controllers in one process: a socket each, readings out, advice in, one monotonic clock.

Run as a program beside the bridge, so that its own work is not counted as the bridge's; what it
measured goes to a file. MQTT 3.1.1 is written by hand here: a client library costs more than the
bridge that is to be measured.
"""

from __future__ import annotations

import argparse
import heapq
import json
import random
import selectors
import socket
import struct
import time
from collections import Counter
from pathlib import Path
from typing import Any

from firmware_bridge.codes import TARGETS
from firmware_bridge.demo.simulator import CHANNELS
from firmware_bridge.wire.messages import Birth, ReadingMessage, State, encode

STILL = {
    "pulp_1": 8.7, "pulp_2": 8.9, "pulp_3": 9.1, "pulp_4": 9.3, "pulp_5": 9.5, "plenum_t": 8.9,
    "return_t": 9.6, "return_rh": 95.0, "outside_t": 3.0, "outside_rh": 55.0, "co2": 1600.0,
    "pressure": 841.0, "fan": 60.0, "door": 20.0, "water": 10.0, "cool": 0.0, "heat": 0.0,
}  # fmt: skip
"""An invented night on which outside air cools; a little noise is laid over it."""
FULL = 60_000.0
"""A latency above this is no answer any more. [ms]"""
HOSTILE = (
    b"", b"{", b"\xff\xfe{\x00}\x00", b"[" * 2000, b'{"boot":1}', b"null",
    b'{"boot":1,"seq":2,"v":{"a":1e999}}', b'{"boot":-1,"seq":0,"i":[1]}', b"x" * 20_000,
    b'{"v":"' + b"\xc3" * 40 + b'"}',
)  # fmt: skip


def _text(value: str) -> bytes:
    raw = value.encode()
    return struct.pack(">H", len(raw)) + raw


def _packet(kind: int, body: bytes) -> bytes:
    length, head = len(body), bytearray([kind])
    while True:
        length, digit = divmod(length, 128)
        head.append(digit | (128 if length else 0))
        if not length:
            return bytes(head) + body


class Controller:
    """One connection of one bay's controller."""

    def __init__(self, bay: str, crowd: Crowd) -> None:
        self.bay, self.crowd = bay, crowd
        self.boot = self.seq = 0
        self.started = 0.0
        self.socket: socket.socket | None = None
        self.buffer = b""
        self.packets = 0

    def start(self) -> None:
        """Connect under a new boot number, subscribe to advice, say the birth."""
        crowd = self.crowd
        self.boot, self.seq, self.buffer = crowd.random.randrange(2**31), 0, b""
        self.started = time.monotonic()
        try:
            self.socket = socket.create_connection(("127.0.0.1", crowd.port), 2.0)
        except OSError:
            self.socket = None
            return
        self.socket.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        crowd.selector.register(self.socket, selectors.EVENT_READ, self)
        state = encode(State(boot=self.boot, on=0))
        will = _text(self._topic("state")) + struct.pack(">H", len(state)) + state
        body = _text("MQTT") + bytes([4, 0x2E]) + struct.pack(">H", 300)  # clean, will kept, QoS 1
        self._write(_packet(0x10, body + _text(f"crowd-{self.bay}") + will))
        self._write(_packet(0x82, b"\x00\x01" + _text(f"vent/1/{self.bay}/to/advice") + b"\x00"))
        birth = Birth(boot=self.boot, fw="crowd", channels=CHANNELS, takes=TARGETS, every=1)
        self.publish("state", encode(State(boot=self.boot, on=1)), retain=True)
        self.publish("birth", encode(birth), retain=True)

    def _topic(self, leaf: str) -> str:
        return f"vent/1/{self.bay}/from/{leaf}"

    def publish(self, leaf: str, payload: bytes, *, retain: bool = False) -> None:
        """Send with QoS 1; the broker's answers are read past."""
        self.packets = self.packets % 65535 + 1
        head = _text(self._topic(leaf)) + struct.pack(">H", self.packets)
        self._write(_packet(0x33 if retain else 0x32, head + payload))

    def _write(self, data: bytes) -> None:
        if self.socket is None:
            return
        try:
            self.socket.sendall(data)
        except OSError:
            self.drop()

    def drop(self) -> None:
        """Vanish without a goodbye."""
        if self.socket is not None:
            self.crowd.selector.unregister(self.socket)
            self.socket.close()
            self.socket = None

    def read(self) -> None:
        """Take what has come, as far as it is whole."""
        assert self.socket is not None
        try:
            data = self.socket.recv(65536)
        except OSError:
            data = b""
        now = time.monotonic()
        if not data:
            self.drop()
            return
        self.buffer += data
        while len(self.buffer) >= 2:
            length, shift, place = 0, 0, 1
            while True:
                if place >= len(self.buffer):
                    return
                digit = self.buffer[place]
                length |= (digit & 127) << shift
                place, shift = place + 1, shift + 7
                if digit < 128:
                    break
            if len(self.buffer) < place + length:
                return
            kind, body = self.buffer[0], self.buffer[place : place + length]
            self.buffer = self.buffer[place + length :]
            if kind >> 4 == 3:
                topic_length = struct.unpack(">H", body[:2])[0]
                self.crowd.take(self, body[2 + topic_length :], now)

    def tell(self) -> None:
        """Publish one reading."""
        noise = self.crowd.random.uniform(-0.02, 0.02)
        self.seq += 1
        values = {key: round(value * (1.0 + 0.02 * noise), 3) for key, value in STILL.items()}
        up = round((time.monotonic() - self.started) * self.crowd.words.pace, 3)
        payload = encode(ReadingMessage(boot=self.boot, seq=self.seq, up=up, v=values))
        self.crowd.sent[self.bay, self.boot, self.seq] = time.monotonic()
        self.publish("reading", payload)


class Crowd:
    """All controllers, what was sent, what came back."""

    def __init__(self, words: Any) -> None:
        self.port, self.words = words.port, words
        self.random = random.Random(words.seed)
        self.selector = selectors.DefaultSelector()
        self.sent: dict[tuple[str, int, int], float] = {}
        self.taken: list[tuple[float, float]] = []
        self.codes: Counter[str] = Counter()
        self.told: Counter[str] = Counter()
        self.bays = [Controller(f"b{n:03d}", self) for n in range(words.first, words.last)]

    def take(self, controller: Controller, payload: bytes, now: float) -> None:
        """Take advice: its reading is looked up, and an answer goes out as the contract asks."""
        advice = json.loads(payload)
        boot, seq = advice["for"]
        begin = self.sent.pop((controller.bay, boot, seq), None)
        if begin is None:
            self.codes["again"] += 1
            return
        self.taken.append((begin, now - begin))
        self.codes[advice.get("none", "advice")] += 1
        ack = {"boot": controller.boot, "ref": advice["id"], "code": "none"}
        if "none" not in advice:
            ack |= {"code": "accepted", **{key: advice[key] for key in TARGETS if key in advice}}
        controller.publish("ack", json.dumps(ack, separators=(",", ":")).encode())

    def run(self) -> dict[str, Any]:
        """Publish for the wanted time, and say what was measured."""
        words = self.words
        for controller in self.bays:
            controller.start()
        self._serve(time.monotonic() + 1.0, [])
        begin = time.monotonic()
        due = [
            (begin + (self.random.random() * words.every if words.phases == "spread" else 0.0), n)
            for n in range(len(self.bays))
        ]
        heapq.heapify(due)
        measured, end = begin + words.settle, begin + words.settle + words.seconds
        self._serve(end, due)
        self._serve(time.monotonic() + 3.0, [])  # what is still under way
        spans = sorted(1e3 * span for at, span in self.taken if measured <= at < end)
        lost = sum(measured <= at < end for at in self.sent.values())
        return {
            "readings": len(spans) + lost,
            "answered": len(spans),
            "p50 ms": quantile(spans, 0.5),
            "p90 ms": quantile(spans, 0.9),
            "p99 ms": quantile(spans, 0.99),
            "p99.9 ms": quantile(spans, 0.999),
            "max ms": quantile(spans, 1.0),
            "said": dict(self.codes),
            "trouble": dict(self.told),
        }

    def _serve(self, end: float, due: list[tuple[float, int]]) -> None:
        trouble = time.monotonic() + 5.0
        while (now := time.monotonic()) < end:
            while due and due[0][0] <= now:
                at, n = heapq.heappop(due)
                controller = self.bays[n]
                if controller.socket is None:
                    controller.start()
                    self.told["reconnects"] += 1
                else:
                    controller.tell()
                heapq.heappush(due, (at + self.words.every, n))
            if due and self.words.trouble and now >= trouble:
                trouble = now + 0.5
                self._make_trouble()
                self._forget(now)
            wait = max(min(due[0][0] if due else end, end) - time.monotonic(), 0.0)
            for key, _ in self.selector.select(min(wait, 0.5)):
                key.data.read()

    def _make_trouble(self) -> None:
        """A controller restarts; another says what nobody can read; a third repeats itself."""
        one, two, three = self.random.sample(self.bays, 3)
        one.drop()
        self.told["restarts"] += 1
        two.publish(self.random.choice(("reading", "birth", "ack", "alarm", "nonsense")),
                    self.random.choice(HOSTILE))  # fmt: skip
        self.told["malformed"] += 1
        three.seq = max(three.seq - 2, 0)
        self.told["repeats"] += 1

    def _forget(self, now: float) -> None:
        """The measuring program itself must not grow."""
        self.taken = self.taken[-100_000:]
        old = [key for key, at in self.sent.items() if now - at > FULL / 1e3]
        self.told["never answered"] += len(old)
        for key in old:
            del self.sent[key]


def quantile(ordered: list[float], share: float) -> float:
    """Value below which a share of a sorted list lies."""
    if not ordered:
        return float("nan")
    return round(ordered[min(int(share * len(ordered)), len(ordered) - 1)], 2)


def main() -> None:
    """Read the words of the command line, run, write the file."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--port", type=int, required=True)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--last", type=int, default=200)
    parser.add_argument("--every", type=float, default=1.0)
    parser.add_argument("--pace", type=float, default=1.0, help="of the bridge's clock")
    parser.add_argument("--seconds", type=float, default=60.0)
    parser.add_argument("--settle", type=float, default=15.0)
    parser.add_argument("--phases", choices=("spread", "burst"), default="spread")
    parser.add_argument("--trouble", action="store_true")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--out", type=Path, required=True)
    words = parser.parse_args()
    words.out.write_text(json.dumps(Crowd(words).run()), encoding="utf-8")


if __name__ == "__main__":
    main()
