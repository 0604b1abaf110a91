"""The process around the service: locks, files, link, loop, watchdog, ordered end."""

from __future__ import annotations

import functools
import gc
import math
import os
import threading
import time
from collections.abc import Callable, Sequence

from firmware_bridge.bay.state import new_bay
from firmware_bridge.config import Config
from firmware_bridge.journal.audit import AuditLog
from firmware_bridge.journal.journal import Journal
from firmware_bridge.service.clock import Clock, machine_run
from firmware_bridge.service.delivery import Delivery
from firmware_bridge.service.locks import Locks, client_id, free_mb
from firmware_bridge.service.notify import notify
from firmware_bridge.service.plain import plain_links
from firmware_bridge.service.service import Service
from firmware_bridge.wire import messages, topics
from firmware_bridge.wire.client import Link, Message
from firmware_bridge.wire.messages import State
from firmware_bridge.wire.topics import link_topics, overheard_topics

__all__ = ["run"]

STALLED_AFTER = 30.0
"""A loop that stands still for so long ends the process; who started it starts it again. [s]"""
TOLD_EVERY = 5.0
"""So often a service manager hears that the loop turns. [s]"""
GATHER = 0.02
"""
Least time from turn to turn, as a share of the longest wait (0.25 s).

A turn costs a millisecond, most of it the write to the disk, however many readings share it.
"""
REST = 0.002
"""Least time from the end of a turn to the next, as the same share."""


def _own_state(config: Config, boot: int, on: int) -> Message:
    own = config.bridge
    payload = messages.encode(State(boot=boot, on=1 if on else 0))
    topic = topics.bridge_topic(own.root, own.name, "state")
    return Message(topic=topic, payload=payload, qos=1, retain=True)


def run(
    config: Config,
    stop: threading.Event,
    clock: Clock | None = None,
    each_turn: Callable[[Service, Link], None] | None = None,
) -> None:
    """
    Serve until told to stop.

    At the end every bay is told ``none``, the retained state says off (a clean close publishes no
    will), then the link, the journal, the audit log and the locks are let go in this order.
    """
    clock = clock or Clock(epoch=machine_run())
    locks = Locks(config)
    try:
        data = config.bridge.data
        audit = AuditLog(data / "audit.db")
        journal = Journal(data / "journal.db")
        try:
            boot = audit.next_boot(clock.wall())
            bays = {one.name: new_bay(one, boot, journal.memory(one.name)) for one in config.bays}
            link = Link(
                config.broker,
                client_id(config),
                link_topics(config),
                clock.steady,
                will=_own_state(config, boot, 0),
                birth=lambda: [_own_state(config, boot, 1)],
                others=overheard_topics(config),
            )
            free = functools.partial(free_mb, data)
            plain = plain_links(config, clock)
            delivery = Delivery(config.alarms, config.bridge.name)
            service = Service(
                config,
                link,
                journal,
                audit,
                clock,
                free,
                bays,
                boot,
                plain,
                delivery,
                lambda: link.certificates,
            )
            for one in (link, *plain.values()):
                one.start()
            try:
                _loop(service, (link, *plain.values()), stop, each_turn)
            finally:
                notify("STOPPING=1")
                service.shutdown()
                for one in plain.values():
                    one.stop()
                link.stop([_own_state(config, service.health.boot, 0)])
                delivery.close()
        finally:
            journal.close()
            audit.close()
    finally:
        locks.release()


def _loop(
    service: Service,
    links: Sequence[Link],
    stop: threading.Event,
    each_turn: Callable[[Service, Link], None] | None,
) -> None:
    link = links[0]
    patience = min(0.25, 0.25 / service.clock.pace * 20.0)
    gather, rest = patience * GATHER, patience * REST
    gc.collect()
    gc.freeze()  # what is there now stays: the collector need not look through it again and again
    with _Watchdog() as watchdog:
        while not stop.is_set():
            begun = time.monotonic()
            for one in links:
                one.tend()
            service.turn()
            watchdog.feed()
            if each_turn is not None:
                each_turn(service, link)
            if not link.waiting:
                link.wait(patience)
            # Under load many readings share one write to the disk; the first after a rest does not
            # wait. The network's thread, which hardly gets on while a turn computes, has the
            # interpreter to itself meanwhile.
            time.sleep(max(begun + gather - time.monotonic(), rest))


class _Watchdog:
    """Ends the process when the loop stands still: a dead bridge is safe, a dazed one is not."""

    def __init__(self) -> None:
        self._fed = time.monotonic()
        self._told = -math.inf
        self._done = threading.Event()
        self._thread = threading.Thread(target=self._watch, daemon=True, name="watchdog")

    def feed(self) -> None:
        """Say that the loop is alive; to a service manager the first time that it is ready."""
        self._fed = time.monotonic()
        if self._fed - self._told >= TOLD_EVERY:
            notify("WATCHDOG=1" if math.isfinite(self._told) else "READY=1\nWATCHDOG=1")
            self._told = self._fed

    def __enter__(self) -> _Watchdog:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._done.set()
        self._thread.join()

    def _watch(self) -> None:
        while not self._done.wait(1.0):
            silent = time.monotonic() - self._fed
            if silent > STALLED_AFTER:
                words = f"the loop stood still for {silent:.0f} s; ended, to be started anew\n"
                os.write(2, f"firmware-bridge: {words}".encode())  # no lock that may be held
                os._exit(70)
