"""What the bridge refuses, one clear line a problem."""

from __future__ import annotations

from collections.abc import Iterable

__all__ = ["BadConfig", "BadMessage", "BridgeError", "JournalError", "LinkError", "NothingThere"]


class BridgeError(ValueError):
    """Anything that the bridge refuses."""


class BadConfig(BridgeError):
    """A configuration that cannot be used; holds every problem found."""

    def __init__(self, problems: str | Iterable[str]) -> None:
        self.problems = (problems,) if isinstance(problems, str) else tuple(problems)
        super().__init__("\n".join(self.problems))


class BadMessage(BridgeError):
    """A payload that is not what its topic promises."""


class NothingThere(BadMessage):
    """A payload that can be read and has nothing in the place that is looked at."""


class JournalError(BridgeError):
    """The journal or the audit log could not be written or read."""


class LinkError(BridgeError):
    """The broker cannot be used as configured."""
