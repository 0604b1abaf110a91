"""Seasons in a thread of their own: how far they are, and an end before their time."""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence
from typing import Any, NamedTuple

from ventcalc.advice.policies import POLICIES
from ventcalc.bay.description import Bay
from ventcalc.errors import OutOfRange, VentcalcError
from ventcalc.season.run import Season, run_season
from ventcalc.weather import Weather

__all__ = ["Case", "Run", "Stopped"]


class Stopped(Exception):
    """Somebody has asked for an end."""


class Case(NamedTuple):
    """One season to run."""

    name: str
    bay: Bay
    weather: Weather
    policy: str


class Run:
    """Some seasons, one after the other; made, then started once."""

    def __init__(
        self,
        cases: Sequence[Case],
        finish: Callable[[Sequence[tuple[str, Season]], dict[str, str]], dict[str, Any]],
    ) -> None:
        """Make ready."""
        self.cases, self._finish = cases, finish
        self.ended, self._stop = threading.Event(), threading.Event()
        self.answer: dict[str, Any] = {}
        """Once it has ended."""
        self._at = (0, 0, 1)

    def start(self) -> None:
        """Begin."""
        threading.Thread(target=self._all, daemon=True, name="seasons").start()

    def stop(self) -> None:
        """Ask for an end within a simulated day."""
        self._stop.set()

    def progress(self) -> dict[str, Any]:
        """Which season, and how far through all of them. [0-1]"""
        number, done, total = self._at
        case = self.cases[min(number, len(self.cases) - 1)]
        return {
            "running": case.name,
            "day": done // 24,
            "days": total // 24,
            "part": round((number + done / max(total, 1)) / len(self.cases), 4),
        }

    def _all(self) -> None:
        try:
            self.answer = self._finish(*self._seasons())
        except Stopped:
            self.answer = {"stopped": True}
        except VentcalcError as error:
            self.answer = {"problems": {}, "above": str(error).splitlines()}
        except Exception as error:  # a fault of ours: said, and the page lives on
            self.answer = {"problems": {}, "above": [f"the season failed: {error!r}"]}
        finally:
            self.ended.set()

    def _seasons(self) -> tuple[list[tuple[str, Season]], dict[str, str]]:
        seasons: list[tuple[str, Season]] = []
        left_out: dict[str, str] = {}
        for number, case in enumerate(self.cases):
            try:
                seasons.append((case.name, self._one(number, case)))
            except OutOfRange as error:
                if len(self.cases) == 1:
                    raise
                left_out[case.name] = (
                    f"{error.name} came to {error.value:.1f}, outside {error.low:g} to "
                    f"{error.high:g} that the model covers"
                )
        return seasons, left_out

    def _one(self, number: int, case: Case) -> Season:
        def progress(done: int, total: int) -> None:
            self._at = (number, done, total)
            if self._stop.is_set():
                raise Stopped

        return run_season(
            case.bay,
            case.weather,
            POLICIES[case.policy],
            name=case.policy,
            progress=progress,
        )
