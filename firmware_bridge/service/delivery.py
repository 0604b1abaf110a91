"""
Alarms to a web hook and by mail, each from a thread of its own: the loop never waits for either.

What cannot be sent is tried again, together with what has come meanwhile; that it fails is told.
"""

from __future__ import annotations

import functools
import http.client
import json
import smtplib
import ssl
import threading
import time
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from email.message import EmailMessage
from email.utils import formatdate, make_msgid
from pathlib import Path
from urllib.parse import urlsplit

from firmware_bridge.config import AlarmsConfig
from firmware_bridge.config_alarms import HookConfig, MailConfig

__all__ = ["Delivery", "Notice", "channels", "send_hook", "send_mail"]

TIMEOUT = 10.0
"""Longest wait for one answer of a server. [s]"""
RETRY = (5.0, 300.0)
"""First and longest wait before it is tried again. [s]"""
MOST = 200
"""Notices that wait; the oldest go first."""
LEVELS = {1: "DANGER", 2: "Equipment", 3: "To be looked at"}


@dataclass(frozen=True, kw_only=True, slots=True)
class Notice:
    """One alarm to be sent."""

    bay: str
    kind: str
    """One of ``codes.ALARM_IDS``."""
    level: int
    what: str
    """``new``, ``again`` or ``over``."""
    at: str
    """Local time of the bay, ISO 8601."""
    since: str
    text: str
    first: str
    """What to do first."""


Send = Callable[[Sequence[Notice]], None]


# --- one channel ---------------------------------------------------------------------------------


def send_hook(to: HookConfig, bridge: str, notices: Sequence[Notice]) -> None:
    """
    POST notices as JSON: ``{"bridge": ..., "alarms": [{"bay": ..., "text": ...}]}``.

    ``OSError`` or ``HTTPException`` if it is not taken; a redirection is not followed.
    """
    url = urlsplit(to.url)
    body = {"bridge": bridge, "alarms": [asdict(one) for one in notices]}
    headers = {"Content-Type": "application/json"}
    if to.token:
        headers["Authorization"] = f"Bearer {to.token}"
    host, path = url.hostname or "", url._replace(scheme="", netloc="", fragment="").geturl() or "/"
    link = (
        http.client.HTTPSConnection(host, url.port, timeout=TIMEOUT, context=_tls(to.ca_file))
        if url.scheme == "https"
        else http.client.HTTPConnection(host, url.port, timeout=TIMEOUT)
    )
    try:
        link.request("POST", path, json.dumps(body, ensure_ascii=False).encode(), headers)
        status = link.getresponse().status
    finally:
        link.close()
    if not 200 <= status < 300:
        raise OSError(f"the answer was {status}")


def send_mail(to: MailConfig, bridge: str, notices: Sequence[Notice]) -> None:
    """Send notices as one mail, the gravest in its subject; ``OSError`` or ``SMTPException``."""
    mail = _mail(to, bridge, notices)
    if to.security == "tls":
        server: smtplib.SMTP = smtplib.SMTP_SSL(
            to.host, to.port, timeout=TIMEOUT, context=_tls(to.ca_file)
        )
    else:
        server = smtplib.SMTP(to.host, to.port, timeout=TIMEOUT)
    with server:
        if to.security == "starttls":
            server.starttls(context=_tls(to.ca_file))
        if to.username:
            server.login(to.username, to.password)
        refused = server.send_message(mail)
    if refused:
        raise OSError(f"refused for {', '.join(refused)}")


def _mail(to: MailConfig, bridge: str, notices: Sequence[Notice]) -> EmailMessage:
    order = sorted(notices, key=lambda one: (one.what == "over", one.level))
    first, rest = order[0], len(order) - 1
    subject = f"{_head(first)}: {first.text}"
    mail = EmailMessage()
    mail["Subject"] = _line(subject)[:120] + (f" (and {rest} more)" if rest else "")
    mail["From"], mail["To"] = to.sender, ", ".join(to.to)
    mail["Date"], mail["Message-ID"] = formatdate(localtime=True), make_msgid(domain="bridge")
    parts = []
    for one in order:
        lines = [f"{_head(one)}: {_line(one.text)}"]
        lines += [f"What to do first: {_line(one.first)}"] if one.first else []
        parts.append("\n".join([*lines, f"Told at {one.at}; stands since {one.since}."]))
    parts.append(
        f"From the bridge {bridge}. Acknowledge on its page, or there with "
        "`firmware-bridge acknowledge`.\nAdvice only: the controller's own limits and interlocks "
        "always win. Lock out the fans and test the air before anyone goes into a bay."
    )
    mail.set_content("\n\n".join(parts))
    return mail


def _head(one: Notice) -> str:
    what = {"new": "", "again": "still, ", "over": "over, "}.get(one.what, "")
    return f"{one.bay or 'Bridge'}: {what}{LEVELS.get(one.level, 'Alarm')}"


def _line(text: str) -> str:
    """One line, nothing in it that a terminal or a header would act upon."""
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())


def _tls(ca_file: Path | None) -> ssl.SSLContext:
    """Always verified."""
    return ssl.create_default_context(cafile=None if ca_file is None else str(ca_file))


def channels(config: AlarmsConfig, bridge: str) -> dict[str, Send]:
    """What alarms can be sent by, by name."""
    found: dict[str, Send] = {}
    if config.hook is not None:
        found["web hook"] = functools.partial(send_hook, config.hook, bridge)
    if config.mail is not None:
        found["mail"] = functools.partial(send_mail, config.mail, bridge)
    return found


# --- off the loop's thread -----------------------------------------------------------------------


class _Channel:
    """One way out, with its thread."""

    def __init__(self, name: str, send: Send) -> None:
        self.name, self._send = name, send
        self.problem = ""
        """Why the last attempt failed; empty where it did not."""
        self._waiting: deque[Notice] = deque(maxlen=MOST)
        self._wake, self._done = threading.Event(), threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True, name=name)
        self._thread.start()

    def put(self, notices: Sequence[Notice]) -> None:
        """Leave notices to the thread."""
        self._waiting.extend(notices)
        self._wake.set()

    def close(self, patience: float) -> None:
        """Let what waits be tried once more, at most so long. [s]"""
        self._done.set()
        self._wake.set()
        self._thread.join(patience)

    def _run(self) -> None:
        pause = RETRY[0]
        while self._waiting or not self._done.is_set():
            if not self._waiting:
                self._wake.wait()
                self._wake.clear()
                continue
            batch = list(self._waiting)
            try:
                self._send(batch)
            except Exception as error:  # whatever a server does, the thread lives
                self.problem = _line(f"{error}" or type(error).__name__)[:80]
                if self._done.wait(pause):
                    return
                pause = min(2.0 * pause, RETRY[1])
                continue
            self.problem, pause = "", RETRY[0]
            sent = set(map(id, batch))
            while self._waiting and id(self._waiting[0]) in sent:
                self._waiting.popleft()


class Delivery:
    """Everything that alarms are sent by."""

    def __init__(self, config: AlarmsConfig, bridge: str) -> None:
        self._channels = [_Channel(*one) for one in channels(config, bridge).items()]

    def post(self, notices: Sequence[Notice]) -> None:
        """Hand notices over; returns at once."""
        for one in self._channels if notices else ():
            one.put(notices)

    @property
    def trouble(self) -> str:
        """What cannot be sent, in one line; empty where all is well."""
        return "; ".join(f"{one.name}: {one.problem}" for one in self._channels if one.problem)

    def close(self, patience: float = 3.0) -> None:
        """End; what waits is tried once more."""
        end = time.monotonic() + patience
        for one in self._channels:
            one.close(max(end - time.monotonic(), 0.0))
