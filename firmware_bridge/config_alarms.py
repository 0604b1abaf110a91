"""``[alarms]``: when alarms are told again, when they are kept back, and where they are sent."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from email.errors import HeaderParseError
from email.headerregistry import Address
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from firmware_bridge.config_table import entry, is_loopback, read_table, text_of

__all__ = ["AlarmsConfig", "HookConfig", "MailConfig", "read_alarms"]


@dataclass(frozen=True, kw_only=True, slots=True)
class HookConfig:
    """``[alarms.hook]``: alarms as JSON, by HTTP POST."""

    url: str = entry("address that takes them; https, on this machine also http")
    token_file: Path | None = entry("file with a bearer token, mode 600", None, kind="secret")
    ca_file: Path | None = entry("who signs its certificate", None, kind="file")
    token: str = field(default="", repr=False, metadata={"internal": True})


@dataclass(frozen=True, kw_only=True, slots=True)
class MailConfig:
    """``[alarms.mail]``: alarms by mail."""

    host: str = entry("name or address of the mail server")
    sender: str = entry("address that the mail comes from")
    to: tuple[str, ...] = entry("addresses that it goes to", kind="names")
    security: str = entry(
        "none only on this machine", "starttls", choices=("starttls", "tls", "none")
    )
    port: int = entry("its port; 465 is usual for tls", 587, low=1, high=65535)
    username: str = entry("who sends", "")
    password_file: Path | None = entry("file with the password, mode 600", None, kind="secret")
    ca_file: Path | None = entry("who signs its certificate", None, kind="file")
    password: str = field(default="", repr=False, metadata={"internal": True})


@dataclass(frozen=True, kw_only=True, slots=True)
class AlarmsConfig:
    """``[alarms]``: levels are 1 danger to people or crop, 2 equipment, 3 to be looked at."""

    told_level: int = entry(
        "alarms are sent up to this level: 1 danger, 2 equipment, 3 all", 3, low=1, high=3
    )
    repeat_min: float = entry(
        "minutes until one is sent again; 0 for never", 60.0, low=0, high=10080
    )
    repeat_level: int = entry("and up to which level", 2, low=0, high=3)
    quiet_from: str = entry("quiet hours, by the local time of the bay", "", kind="hour")
    quiet_to: str = entry("and their end", "", kind="hour")
    quiet_level: int = entry("up to this level they are sent in quiet hours, too", 1, low=0, high=3)
    hook: HookConfig | None = field(default=None, metadata={"table": HookConfig})
    mail: MailConfig | None = field(default=None, metadata={"table": MailConfig})


def read_alarms(given: Any, folder: Path, problems: list[str]) -> AlarmsConfig | None:
    """Read the table, tokens and passwords too; None if anything was wrong."""
    table = read_table(AlarmsConfig, given, "alarms", folder, problems)
    if not isinstance(table, AlarmsConfig):
        return None
    before = len(problems)
    if bool(table.quiet_from) != bool(table.quiet_to):
        problems.append("alarms: quiet_from and quiet_to go together; give both or neither")
    hook = None if table.hook is None else _hook(table.hook, problems)
    mail = None if table.mail is None else _mail(table.mail, problems)
    return None if len(problems) > before else replace(table, hook=hook, mail=mail)


def _hook(table: HookConfig, problems: list[str]) -> HookConfig:
    try:
        url = urlsplit(table.url)
        host, _ = url.hostname or "", url.port
    except ValueError:
        host = ""
    if not host or url.scheme not in ("http", "https") or not table.url.isascii():
        problems.append(f"alarms.hook.url is {table.url!r}; write https://HOST/PATH")
    elif url.username is not None:
        problems.append("alarms.hook.url holds a name or password; use token_file")
    elif url.scheme == "http" and not is_loopback(host):
        problems.append(
            f"alarms.hook.url goes in the clear to {host}, another machine; use https and ca_file"
        )
    token = text_of(table.token_file, "alarms.hook.token_file", problems)
    return replace(table, token=token.strip())


def _mail(table: MailConfig, problems: list[str]) -> MailConfig:
    if not table.to:
        problems.append('alarms.mail.to is empty; write addresses, ["me@example.org"]')
    for address in (table.sender, *table.to):
        try:
            good = bool(Address(addr_spec=address).domain)
        except (HeaderParseError, ValueError, IndexError):
            good = False
        if not good:
            problems.append(f"alarms.mail: {address!r} is no address; write me@example.org")
    if table.security == "none" and not is_loopback(table.host):
        problems.append(
            f'alarms.mail.security is "none", but {table.host} is another machine; use starttls'
        )
    if bool(table.username) != (table.password_file is not None):
        problems.append("alarms.mail: username and password_file go together; give both or neither")
    password = text_of(table.password_file, "alarms.mail.password_file", problems)
    return replace(table, password=password)
