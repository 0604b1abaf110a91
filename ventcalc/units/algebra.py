"""What a unit is worth in base units: words joined by ``*``, ``/``, a space, powers, brackets."""

from __future__ import annotations

import functools
import re
from typing import NamedTuple

from ventcalc.units.definitions import DEFINITIONS

__all__ = ["ratio", "spellings"]

_TOKEN = re.compile(r"\*\*\s*-?\d+|[*/()]|\d[\d.]*(?:e-?\d+)?|\[\w+\]|[^\W\d]\w*")


class _Size(NamedTuple):
    """So many of the base units, each with its power."""

    factor: float
    powers: frozenset[tuple[str, int]]


_ONE = _Size(1.0, frozenset())


def _times(one: _Size, other: _Size, power: int) -> _Size:
    """``one * other ** power``; what cancels is left out."""
    powers = dict(one.powers)
    for base, count in other.powers:
        powers[base] = powers.get(base, 0) + power * count
    factor = one.factor / other.factor**-power if power < 0 else one.factor * other.factor**power
    return _Size(factor, frozenset(item for item in powers.items() if item[1]))


def _product(tokens: list[str], known: dict[str, _Size]) -> _Size:
    """From left to right up to a bracket that closes; takes what it reads off the list."""
    result, sign, waits = _ONE, 1, True
    while tokens and tokens[0] != ")":
        token = tokens.pop(0)
        if token in ("*", "/"):
            if waits:
                raise ValueError(token)
            sign, waits = (1 if token == "*" else -1), True
            continue
        if token == "(":
            one = _product(tokens, known)
            tokens.pop(0)
        elif token.startswith("["):
            one = _Size(1.0, frozenset({(token, 1)}))
        else:
            one = _Size(float(token), frozenset()) if token[0].isdigit() else known[token]
        power = int(tokens.pop(0)[2:]) if tokens and tokens[0].startswith("**") else 1
        result, sign, waits = _times(result, one, sign * power), 1, False
    if waits:
        raise ValueError("nothing there")
    return result


def _size(words: str, known: dict[str, _Size]) -> _Size:
    tokens = _TOKEN.findall(words)
    size = _product(tokens, known)
    if tokens:
        raise ValueError(tokens[0])
    return size


@functools.cache
def _known() -> dict[str, _Size]:
    known: dict[str, _Size] = {}
    for line in filter(None, DEFINITIONS.split("\n")):
        name, meaning, *aliases = line.split(" = ")
        known |= dict.fromkeys((name, *aliases), _size(meaning, known))
    return known


@functools.cache
def spellings() -> frozenset[str]:
    """Every word that stands for a unit."""
    return frozenset(_known())


@functools.cache
def ratio(words: str, unit: str) -> float | None:
    """
    How many ``unit`` one of ``words`` is; None where they measure different things.

    Raises
    ------
    ValueError, LookupError
        If one of them cannot be read.
    """
    given, wanted = (_size(text, _known()) for text in (words, unit))
    return given.factor / wanted.factor if given.powers == wanted.powers else None
