"""Word to the service manager that started the bridge, where it asked for any (sd_notify(3))."""

from __future__ import annotations

import os
import socket
from contextlib import suppress

__all__ = ["notify"]


def notify(text: str) -> None:
    """Tell the service manager."""
    where = os.environ.get("NOTIFY_SOCKET", "")
    if not where:
        return
    if where.startswith("@"):  # an abstract address
        where = "\0" + where[1:]
    with suppress(OSError), socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as one:
        one.sendto(text.encode(), where)
