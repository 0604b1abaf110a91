"""The words that messages, files and the journal share; the integer forms count by them."""

from __future__ import annotations

__all__ = ["ACK_CODES", "ACTIONS", "MODES", "NONE_REASONS", "TARGETS"]

TARGETS = ("fan", "door", "water", "cool", "heat")
"""Positions on the wire: fans, fresh-air door, humidifier, refrigeration, heater."""
MODES = ("observe", "advise", "confirm", "bounded")
"""How far advice may go, from least to most; ``observe`` never reaches the wire."""
ACTIONS = (
    "none", "rest", "wait", "finish", "even", "dry", "tail", "fresh", "heater", "warm", "coil",
    "outside", "protect", "people", "chosen",
)  # fmt: skip
"""What advice is about; the integer form sends the place in this list."""
NONE_REASONS = (
    "ok", "start", "link", "stale", "lost", "boot", "missing", "implausible", "stuck",
    "contradictory", "units", "range", "freeze", "wetting", "combination", "slew", "min_time",
    "changes", "audit", "disk", "other_bridge", "flapping", "clock", "adviser", "hands_off",
    "shutdown",
)  # fmt: skip
"""Why there is no advice; the integer form sends the place in this list, 0 with advice."""
ACK_CODES = (
    "shown", "accepted", "clamped", "none", "stale", "replay", "boot", "beat", "rate",
    "interlock", "local", "schema", "retained",
)  # fmt: skip
"""What a controller answers; a number out of range is answered with ``schema``."""
