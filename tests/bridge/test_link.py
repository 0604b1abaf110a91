"""The queue between the network's thread and the loop, without a broker."""

from __future__ import annotations

import threading
import time
from types import SimpleNamespace

import pytest

from firmware_bridge.config import BrokerConfig
from firmware_bridge.wire import client
from firmware_bridge.wire.client import Link


@pytest.fixture
def link():
    return Link(BrokerConfig(tls=False, port=1), "test", [], time.monotonic)


def comes(link, number, size=8):
    payload = b"%08d" % number + b"x" * (size - 8)
    link._on_message(None, None, SimpleNamespace(topic="a/b", payload=payload, retain=False))


def numbers(found):
    return [int(message.payload[:8]) for message in found]


def test_the_oldest_go_first_when_too_many_wait(link, monkeypatch):
    monkeypatch.setattr(client, "QUEUE", 10)
    for n in range(25):
        comes(link, n)
    assert link.waiting == 10
    assert link.counts["overflow"] == 15
    assert numbers(link.receive()) == list(range(15, 25))
    comes(link, 25)
    assert numbers(link.receive()) == [25]
    assert link.counts["overflow"] == 15


def test_long_messages_are_bounded_by_their_bytes(link, monkeypatch):
    monkeypatch.setattr(client, "QUEUE_BYTES", 100_000)
    for n in range(50):
        comes(link, n, size=10_000)
    assert numbers(link.receive()) == list(range(40, 50))
    for n in range(9):
        comes(link, n, size=10_000)
    assert numbers(link.receive(4)) == [0, 1, 2, 3]
    for n in range(9, 14):
        comes(link, n, size=10_000)
    assert numbers(link.receive()) == list(range(4, 14))
    assert link.counts["errors"] == 0


def test_what_is_longer_than_any_message_is_not_kept(link):
    comes(link, 1, size=client.LARGEST + 1)
    assert link.waiting == 0
    assert link.counts["too long"] == 1


def test_both_threads_at_once_lose_nothing_that_is_not_counted(link, monkeypatch):
    monkeypatch.setattr(client, "QUEUE", 300)
    monkeypatch.setattr(client, "QUEUE_BYTES", 5_000)
    found, done = [], threading.Event()

    def read():
        while not done.is_set() or link.waiting:
            found.extend(numbers(link.receive(7)))

    reader = threading.Thread(target=read)
    reader.start()
    for n in range(50_000):
        comes(link, n, size=8 + n % 90)
    done.set()
    reader.join()
    assert found == sorted(set(found))
    assert len(found) + link.counts["overflow"] == 50_000
    assert link._put == link._got
