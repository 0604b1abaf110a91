"""Numbers, ages and names as the local page writes them, metric or US customary."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from typing import Literal

from firmware_bridge.journal.journal import Event

__all__ = [
    "ACTION_TITLES",
    "ANSWERS",
    "FAULT_WORDS",
    "KIND_NAMES",
    "MODE_WORDS",
    "NOTHING",
    "TARGET_NAMES",
    "Units",
    "age_text",
    "event_words",
    "in_units",
    "number",
    "pile_names",
    "quantity_of",
    "reading_text",
    "shown",
    "unit_of",
]

Units = Literal["metric", "us"]
NOTHING = "–"
"""Stands where there is no number."""
TARGET_NAMES = {
    "fan": "Fans",
    "door": "Fresh-air door",
    "water": "Humidifier",
    "cool": "Refrigeration",
    "heat": "Heater",
}
ACTION_TITLES = {
    "rest": "Fans off, doors closed",
    "wait": "Wait, fans off",
    "finish": "Finish the run, door closed",
    "even": "Equalize the pile",
    "dry": "Dry the ceiling",
    "tail": "Recirculate after cooling",
    "fresh": "Fresh air for CO2",
    "heater": "Warm with the heater",
    "warm": "Warm with outside air",
    "coil": "Cool with refrigeration",
    "outside": "Cool with outside air",
    "protect": "Protect from freezing",
    "people": "People are inside: nothing starts",
    "chosen": "The best of the next hour",
}
MODE_WORDS = {
    "observe": "observe: nothing is sent to the controller",
    "advise": "advise: shown to people, the controller runs its own program",
    "confirm": "confirm: a person accepts before anything moves, for an hour at most",
    "bounded": "bounded: the controller may apply it inside its own limits",
}
ANSWERS = {
    "shown": "shown to people, not applied",
    "accepted": "accepted",
    "clamped": "accepted within the controller's own limits",
    "none": "took note that there is no advice",
    "stale": "refused: too old",
    "replay": "refused: seen before",
    "boot": "refused: meant for an earlier start of the controller",
    "beat": "refused: the controller hears no beat of the bridge",
    "rate": "refused: too soon after the one before",
    "interlock": "refused: an interlock stands",
    "local": "refused: the local switch is not on remote",
    "schema": "refused: not understood",
    "retained": "refused: kept by the broker",
}
FAULT_WORDS = {
    "missing": "missing",
    "implausible": "not believed",
    "stuck": "does not move",
    "units": "not believed: °C and °F mixed up?",
    "contradictory": "not believed: it contradicts the other probes",
    "odd": "far from the others: bad probe or real spot",
    "late": "late",
    "beyond": "too large to be stored",
}
KIND_NAMES = {
    "pulp_temperature": "Pile",
    "plenum_temperature": "Plenum air",
    "return_temperature": "Return air",
    "outside_temperature": "Outside air",
    "ceiling_temperature": "Ceiling",
    "plenum_relative_humidity": "Plenum humidity",
    "return_relative_humidity": "Return humidity",
    "outside_relative_humidity": "Outside humidity",
    "co2": "CO2",
    "pressure": "Air pressure",
    "fan_speed": "Fans",
    "door_opening": "Fresh-air door",
    "humidifier": "Humidifier",
    "refrigeration": "Refrigeration",
    "heater": "Heater",
    "people_inside": "People inside",
    "crop_wet": "Crop wet",
    "rot_share": "Part that rots",
    "loaded_t": "Crop loaded, t",
    "stage": "Stage told, by number",
    "out_of_order": "Out of order, by code",
    "power": "Mains power",
    "electric_power": "Electric power",
    "other": "Other",
}
_SHOWN: Mapping[str, Mapping[Units, tuple[str, float, float, int]]] = {
    "temperature": {"metric": ("°C", 1.0, 0.0, 1), "us": ("°F", 1.8, 32.0, 1)},
    "difference": {"metric": ("K", 1.0, 0.0, 1), "us": ("°F", 1.8, 0.0, 1)},
    "share": {"metric": ("%", 100.0, 0.0, 0), "us": ("%", 100.0, 0.0, 0)},
    "co2": {"metric": ("ppm", 1e6, 0.0, 0), "us": ("ppm", 1e6, 0.0, 0)},
    "pressure": {"metric": ("hPa", 0.01, 0.0, 0), "us": ("inHg", 1 / 3386.389, 0.0, 2)},
    "electric_power": {"metric": ("kW", 1e-3, 0.0, 1), "us": ("kW", 1e-3, 0.0, 1)},
    "height": {"metric": ("m", 1.0, 0.0, 1), "us": ("ft", 1 / 0.3048, 0.0, 1)},
    "count": {"metric": ("", 1.0, 0.0, 0), "us": ("", 1.0, 0.0, 0)},
    "other": {"metric": ("", 1.0, 0.0, 2), "us": ("", 1.0, 0.0, 2)},
}  # unit, factor, offset, decimals; 1 inHg = 3386.389 Pa, 1 ft = 0.3048 m: NIST SP 811 (2008), B.8


def quantity_of(kind: str) -> str:
    """What is shown for a kind: a temperature, a share, a count, or what bears its own name."""
    if kind.endswith("temperature"):
        return "temperature"
    if kind in ("people_inside", "crop_wet", "loaded_t", "stage", "out_of_order", "power"):
        return "count"
    return kind if kind in ("co2", "pressure", "electric_power", "other") else "share"


def number(value: float, digits: int) -> str:
    """A number with so many decimals, thousands commas and a true minus; a dash for NaN."""
    if not math.isfinite(value):
        return NOTHING
    return f"{round(value, digits) + 0.0:,.{digits}f}".replace("-", "−")  # no "-0.0"


def shown(value: float, quantity: str, units: Units) -> float:
    """A value in the unit that is shown."""
    _, factor, offset, _ = _SHOWN[quantity][units]
    return factor * value + offset


def unit_of(quantity: str, units: Units) -> str:
    """The unit that is shown."""
    return _SHOWN[quantity][units][0]


def reading_text(value: float, quantity: str, units: Units, *, sign: bool = False) -> str:
    """A value with its unit, written as the library does."""
    unit, factor, offset, digits = _SHOWN[quantity][units]
    text = number(factor * value + offset, digits)
    if text == NOTHING:
        return text
    plus = "+" if sign and value > 0.0 else ""
    return f"{plus}{text}{'' if unit == '%' else ' '}{unit}".rstrip()


def in_units(text: str, units: Units) -> str:
    """A text of the bridge, which writes temperatures in °C, in the units that are shown."""
    if units == "metric":
        return text
    return _CELSIUS.sub(
        lambda found: reading_text(float(found[1].replace("−", "-")), "temperature", units), text
    )


_CELSIUS = re.compile(r"([-−]?\d+(?:\.\d+)?) °C")


def event_words(event: Event, units: Units) -> tuple[str, str]:
    """What kind of event it is, and the event itself."""
    kind = _EVENTS.get(event.code, event.code.replace("_", " "))
    return kind, in_units(event.text, units) or ("advice is given" if event.code == "ok" else "")


_EVENTS = {
    "birth": "connected",
    "offline": "disconnected",
    "gap": "readings missing",
    "hands_off": "no advice",
    "not_done": "not carried out",
    "forged": "somebody else speaks",
    "ok": "advice",
    "resume": "bridge",
    "sensor": "sensors",
    "stop": "bridge",
}


def pile_names(keys: Sequence[str], heights: Mapping[str, float], units: Units) -> dict[str, str]:
    """Names of the pulp probes by key: the height where it is known; no name comes twice."""
    names: dict[str, str] = {}
    for n, key in enumerate(keys, 1):
        at = heights.get(key)
        name = f"Pile {n}" if at is None else f"Pile at {reading_text(at, 'height', units)}"
        if len(keys) > 1:
            name += {1: " (bottom)", len(keys): " (top)"}.get(n, "")
        names[key] = f"{name}, {key}" if name in names.values() else name
    return names


def age_text(seconds: float) -> str:
    """How old something is; the page's script writes it by the same rule."""
    if not math.isfinite(seconds):
        return NOTHING
    whole = max(int(seconds), 0)
    if whole < 120:
        return f"{whole} s"
    if whole < 7200:
        return f"{whole // 60} min"
    if whole < 172800:
        return f"{whole // 3600} h"
    return f"{whole // 86400} d"
