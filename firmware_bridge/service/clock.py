"""The clocks of a machine: a steady one for ages, and one on the wall."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

__all__ = ["Clock", "fast_clock", "machine_run", "since_boot"]


def since_boot() -> float:
    """A clock that nobody sets; where the system has one, the time asleep counts. [s]"""
    number = getattr(time, "CLOCK_BOOTTIME", time.CLOCK_MONOTONIC)
    return time.clock_gettime(number)


@dataclass(frozen=True, kw_only=True, slots=True)
class Clock:
    """The two clocks of one machine, to be replaced in tests and fast runs."""

    steady: Callable[[], float] = since_boot
    """Never goes back, knows no time of day, goes on while the machine sleeps. [s]"""
    wall: Callable[[], float] = time.time
    """UTC, since 1970. [s]"""
    pace: float = 1.0
    """Seconds of both clocks per real second."""
    epoch: str = ""
    """Names when the steady clock began; empty where that is not known."""


def machine_run() -> str:
    """What the system calls the time since it was switched on; empty where it does not say."""
    try:
        return Path("/proc/sys/kernel/random/boot_id").read_text(encoding="ascii").strip()
    except (OSError, ValueError):
        return ""


def fast_clock(pace: float, start: float | None = None) -> Clock:
    """Clocks that run faster than real time."""
    zero = time.monotonic()
    begin = time.time() if start is None else start

    def steady() -> float:
        return (time.monotonic() - zero) * pace

    return Clock(steady=steady, wall=lambda: begin + steady(), pace=pace)
