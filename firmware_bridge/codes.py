"""The words that messages, files and the journal share; the integer forms count by them."""

from __future__ import annotations

__all__ = ["ACK_CODES", "ACTIONS", "ALARM_IDS", "MODES", "NONE_REASONS", "TARGETS"]

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

ADVICE_ALARMS = (
    "frost_risk", "co2_people", "pile_hot", "door_stuck", "fans_no_air", "humidity_low",
    "probe_or_spot", "readings_missing", "outside_probe", "co2_crop", "out_of_order", "sensor",
    "pile_spread",
)  # fmt: skip
"""Alarms of the adviser, one list with the library."""
LOG_ALARMS = (
    "hot_spot", "airflow_low", "lateral_blocked", "fans_weak", "coil_weak", "plenum_probe",
    "probes_swapped", "humidity_probe_return", "humidity_probe_plenum", "humidity_probes_differ",
    "sensor_offset", "pile_uneven", "co2_stays", "hunting", "energy_high", "coil_not_needed",
)  # fmt: skip
"""What the readings of the last weeks show, beside what the adviser sees at once; one list with the
findings of the library."""
BRIDGE_ALARMS = (
    "people_inside", "told", "unanswered", "refused", "not_done", "plenum_off", "power",
    "delivery", "more", "link", "stale", "lost",
    "missing", "implausible", "stuck", "contradictory", "units", "audit", "disk", "other_bridge",
    "flapping", "clock", "forged", "frost_ahead", "certificate",
    "journal",
)  # fmt: skip
"""
Those that only a bridge can have: what it keeps of what was told, what became of its advice,
whether alarms get through, what the forecast brings, how many more there are, and why it cannot
advise; the library hears each reading anew, with no link.
"""
ALARM_IDS = (*ADVICE_ALARMS, *LOG_ALARMS, *BRIDGE_ALARMS)
"""Every alarm of a bridge."""
