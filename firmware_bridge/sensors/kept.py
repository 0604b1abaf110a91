"""What is remembered of a probe, as plain values with ages in place of times."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields
from typing import Any

from ventcalc.advice.probe_history import ProbeHistory

__all__ = ["plain_of", "set_to"]

_GIVEN = ("limits", "turns_unit", "top")
"""Known by the kind of probe, and never kept."""
_IS_TIME = {
    one.name: one.name.endswith(("_at", "_since"))
    for one in fields(ProbeHistory)
    if one.name not in _GIVEN
}
"""What is kept, and whether it is a time."""


def plain_of(probe: ProbeHistory, now: float) -> dict[str, Any]:
    """What is remembered of a probe; times of the steady clock become ages. [s]"""
    found = {name: getattr(probe, name) for name in _IS_TIME}
    return {name: now - value if _IS_TIME[name] else value for name, value in found.items()}


def set_to(probe: ProbeHistory, plain: Mapping[str, Any], then: float) -> None:
    """Remember it again, ages counted from a time [s]; raises ``ValueError`` where it is none."""
    known = plain_of(probe, then)
    for name, value in plain.items():
        if not isinstance(value, type(known.get(name))):
            raise ValueError(f"{name} cannot be {value!r}")
    for name, value in plain.items():
        setattr(probe, name, then - value if _IS_TIME[name] else value)
