"""The one thing that can be asked at the page: to take note that somebody has seen an alarm."""

from __future__ import annotations

import asyncio
import secrets
from collections.abc import AsyncIterator
from concurrent.futures import Future
from urllib.parse import parse_qsl

from firmware_bridge.page.board import Asked, Board

__all__ = ["acknowledge"]

WITHIN = 5.0
"""The loop turns several times a second. [s]"""
LARGEST = 4096
"""[bytes]"""


async def acknowledge(
    board: Board, bay: str, body: AsyncIterator[bytes], token: str
) -> tuple[int, str]:
    """Ask the loop, which writes it into the audit log first."""
    if not token:
        return 403, "An alarm is acknowledged at the bridge's machine: firmware-bridge acknowledge."
    read = b""
    async for part in body:
        read += part
        if len(read) > LARGEST:
            return 413, "That is too long for a form of this page."
    given = dict(parse_qsl(read.decode("utf-8", "replace")))
    # No page from elsewhere can read the token, so none can send the form.
    if not secrets.compare_digest(given.get("token", "").encode(), token.encode()):
        return 403, "This form is an old one, or not from this page; load the page anew."
    answer: Future[tuple[bool, str]] = Future()

    def take(done: bool, text: str) -> None:
        if answer.set_running_or_notify_cancel():
            answer.set_result((done, text))

    alarm, by = given.get("alarm", ""), given.get("by", "")
    board.ask(Asked(bay=bay, alarm=alarm, by=by, answer=take))
    try:
        done, text = await asyncio.wait_for(asyncio.wrap_future(answer), WITHIN)
    except TimeoutError:
        return 503, "The bridge does not answer; nothing was acknowledged."
    return (303 if done else 409), text
