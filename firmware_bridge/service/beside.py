"""Work that takes seconds, one piece at a time in a thread beside the loop, which never waits."""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import Generic, TypeVar

__all__ = ["Beside"]

Found = TypeVar("Found")


def _in_thread(work: Callable[[], None]) -> None:
    threading.Thread(target=work, daemon=True, name="beside the loop").start()


@dataclass(slots=True)
class Beside(Generic[Found]):
    """Whatever goes wrong is found in place of what was asked for, and the next can be asked."""

    failed: Callable[[float, Exception], Found]
    """What is found then, by the time of asking [s] and why."""
    spawn: Callable[[Callable[[], None]], None] = _in_thread
    busy: bool = False
    _found: deque[tuple[str, Found]] = field(default_factory=deque)

    def ask(self, name: str, day: float, work: Callable[[], Found]) -> None:
        """Begin it for a bay."""
        self.busy = True
        self.spawn(lambda: self._found.append((name, self._do(day, work))))

    def found(self) -> Iterator[tuple[str, Found]]:
        """What has been found since, by the name of its bay."""
        while self._found:
            self.busy = False
            yield self._found.popleft()

    def _do(self, day: float, work: Callable[[], Found]) -> Found:
        try:
            return work()
        except Exception as error:  # whatever the model or a rule stumbles over
            return self.failed(day, error)
