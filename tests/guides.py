"""What the guides show: each command with the lines that it is said to print."""

from __future__ import annotations

import re
from typing import NamedTuple

__all__ = ["Command", "blocks", "commands_of", "not_printed"]


class Command(NamedTuple):
    """A line after ``$``, and what stands below it."""

    line: str
    shown: str


def blocks(text: str, language: str) -> list[str]:
    """What stands between the fences of a language."""
    return re.findall(rf"^```{language}\n(.*?)^```$", text, re.MULTILINE | re.DOTALL)


def commands_of(text: str) -> list[Command]:
    """Lines after ``$``, each with what is shown below it."""
    found = []
    for block in blocks(text, "console"):
        for part in re.split(r"^\$ ", block, flags=re.MULTILINE)[1:]:
            line, _, shown = part.replace("\\\n", "").partition("\n")
            found.append(Command(line.strip(), shown))
    return found


def not_printed(command: Command, printed: str) -> list[str]:
    """Lines that a guide shows and the command does not print."""
    output = " ".join(printed.split())
    return [
        f"{command.line}\n  does not print: {line}"
        for line in command.shown.splitlines()
        if line.strip() not in ("", "...") and " ".join(line.split()) not in output
    ]
