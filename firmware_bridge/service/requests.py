"""
The local command's way to a running bridge: one file a request, one an answer, in the data folder.

Nothing of it goes over the broker. Whoever may write into the folder may ask; the folder belongs
to the bridge's user alone. What nobody picks up is taken back, so nothing old takes effect later.
"""

from __future__ import annotations

import json
import os
import stat
import time
import uuid
from collections.abc import Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from firmware_bridge.bay.state import BayState
from firmware_bridge.bay.told import said_as, standing
from firmware_bridge.errors import BadMessage, LinkError
from firmware_bridge.service.locks import is_served
from firmware_bridge.service.turn import Turn

__all__ = ["DOES", "NOBODY", "Request", "RequestBox", "ask", "carry_out", "has_name"]

DOES = ("tell", "release", "acknowledge", "trust-clock")
"""What can be asked."""
NOBODY = "nobody answers for it; give a name of at most 60 letters"
PATIENCE = 15.0
"""So long the command waits for an answer; the bridge looks every second. [s]"""
LARGEST = 4096
"""[bytes]"""


@dataclass(frozen=True, kw_only=True, slots=True)
class Request:
    """What somebody asks of the bridge."""

    do: str
    """One of ``DOES``."""
    bay: str
    by: str
    """Who answers for it."""
    told: Mapping[str, Any] = field(default_factory=dict)


def ask(data: Path, request: Request, patience: float = PATIENCE) -> str:
    """Ask the bridge that serves a data folder, and wait for its answer."""
    if not is_served(data):
        raise LinkError(f"no bridge runs on {data}; start it with `firmware-bridge run`, then ask")
    folder, name = _folder(data), uuid.uuid4().hex
    asked, answered = folder / f"{name}.ask", folder / f"{name}.answer"
    body = {"do": request.do, "bay": request.bay, "by": request.by, "told": dict(request.told)}
    try:
        _put(asked, body, folder.stat())
    except OSError as error:
        barred = isinstance(error, PermissionError)
        words = "run it as the bridge's own user" if barred else "nothing was done"
        raise LinkError(f"{folder}: {error.strerror}; {words}") from None
    end = time.monotonic() + patience
    while time.monotonic() < end:
        if answered.exists():
            answer = json.loads(answered.read_text(encoding="utf-8"))
            answered.unlink(missing_ok=True)
            if answer["done"]:
                return str(answer["text"])
            raise LinkError(str(answer["text"]))
        time.sleep(0.05)
    asked.unlink(missing_ok=True)
    raise LinkError(f"the bridge on {data} does not answer; nothing was done, look at its output")


class RequestBox:
    """The bridge's end."""

    def __init__(self, data: Path) -> None:
        self._folder = _folder(data)
        self._folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        for path in self._folder.iterdir():  # of a bridge that is no more
            path.unlink(missing_ok=True)

    def take(self) -> Iterator[tuple[str, Request | BadMessage]]:
        """What was asked since the last time, in order: name for the answer, request or why not."""
        with suppress(OSError):
            found = sorted(self._folder.glob("*.ask"), key=lambda path: path.stat().st_mtime_ns)
            for path in found:
                request = _read(path)
                path.unlink(missing_ok=True)
                yield path.stem, request

    def answer(self, name: str, done: bool, text: str) -> None:
        """Say what came of it; whoever does not wait any more leaves it for the next start."""
        path = self._folder / f"{name}.answer"
        with suppress(OSError):
            _put(path, {"done": done, "text": text}, self._folder.stat())


def carry_out(bay: BayState, request: Request, turn: Turn) -> str:
    """Do what was asked, and say what stands then."""
    if request.do == "release":
        if not bay.release():
            raise BadMessage("no freeze-protection latch stands")
        return "the latch of freeze protection is released"
    bay.tell(request.told, request.by, turn.now, turn.day)
    words = [f"{key} {said_as(value)}" for key, value in standing(bay.told).items()]
    return f"told: {'; '.join(words) or 'nothing that stands now'}"


def has_name(by: str) -> bool:
    """Whether somebody answers for a request."""
    return 0 < len(by.strip()) <= 60 and by.isprintable()


def _folder(data: Path) -> Path:
    return data / "requests"


def _put(path: Path, body: Mapping[str, Any], owner: os.stat_result) -> None:
    """Whole or not at all; readable to the bridge even where root has asked."""
    part = path.with_suffix(".part")
    with open(os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w") as file:
        json.dump(body, file)
    if os.geteuid() == 0:
        os.chown(part, owner.st_uid, owner.st_gid)
    part.rename(path)


def _read(path: Path) -> Request | BadMessage:
    """A request as far as it can be one; what it tells is judged by the bay."""
    try:
        with open(os.open(path, os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK), "rb") as file:
            if not stat.S_ISREG(os.fstat(file.fileno()).st_mode):
                return BadMessage("no file")
            given = json.loads(file.read(LARGEST))
        do, bay, by, told = (given[key] for key in ("do", "bay", "by", "told"))
    except (OSError, ValueError, KeyError, TypeError, RecursionError) as error:
        return BadMessage(f"the request cannot be read ({type(error).__name__})")
    texts = all(isinstance(text, str) for text in (do, bay, by))
    if not texts or do not in DOES or not isinstance(told, dict):
        return BadMessage("the request is none that this bridge knows")
    return Request(do=do, bay=bay, by=by.strip(), told=told)
