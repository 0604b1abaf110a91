"""What probes and parts do wrong in a trial, by names that say it: ``pulp+1K``, ``door_stuck``."""

from __future__ import annotations

import re
from collections.abc import Callable

from ventcalc.bay.calendar import calendar_at
from ventcalc.errors import BadInput
from ventcalc.season.course import Course
from ventcalc.season.steps import PlantFaults, SensorErrors

__all__ = ["USUAL", "check_fault", "parts_of", "sensors_of"]

DAY = 86400.0
STUCK_OPENING, STUCK_DAYS, DEAD_DAYS = 0.3, 3.0, 2.0
"""Door stuck open that far for so long; fans that stand for so long. [0-1, d, d]"""
PROBES = {
    "outside": ("outside_temperature", "K"),
    "outside_rh": ("outside_relative_humidity", "%"),
    "return": ("return_temperature", "K"),
    "return_rh": ("return_relative_humidity", "%"),
    "plenum": ("plenum_temperature", "K"),
    "pulp": ("pulp", "K"),
    "co2": ("co2", "ppm"),
}
"""Field of ``SensorErrors``, and the unit of the error."""
UNITS = {"K": 1.0, "%": 0.01, "ppm": 1e-6}
MOST = {"K": 10.0, "%": 50.0, "ppm": 10000.0}
"""Greater errors are slips of the pen. [as the unit]"""
PARTS: dict[str, Callable[[float], PlantFaults]] = {
    "none": lambda middle: PlantFaults(),
    "door_stuck": lambda middle: PlantFaults(
        door_opening=STUCK_OPENING, door_from=middle, door_until=middle + STUCK_DAYS * DAY
    ),
    "fans_dead": lambda middle: PlantFaults(fans_from=middle, fans_until=middle + DEAD_DAYS * DAY),
    "no_mist": lambda middle: PlantFaults(humidifier_from=0.0),
    "no_machine": lambda middle: PlantFaults(heater_from=0.0),
}
"""From half-way between first load and warm-up, or all season; machine: coil and heater."""
USUAL = (
    "none", "outside+2K", "pulp+1K", "pulp-1K", "return_rh+4%", "return_rh-4%", "plenum-0.5K",
    "door_stuck", "fans_dead", "no_mist",
)  # fmt: skip
"""What ``all`` stands for."""


def check_fault(name: str) -> None:
    """Refuse what is no fault, and say what can be written."""
    if name in PARTS:
        return
    told = re.fullmatch(r"([a-z0-9_]+?)([+-]\d+\.?\d*)(K|%|ppm)", name)
    if told is None or told[1] not in PROBES or PROBES[told[1]][1] != told[3]:
        raise BadInput(
            f"fault {name!r}: write {', '.join(PARTS)}, or a probe with its error, such as "
            f"outside+2K, pulp-1K, return_rh+4%, co2+500ppm ({', '.join(PROBES)}); or all"
        )
    if abs(float(told[2])) > MOST[told[3]]:
        raise BadInput(f"fault {name!r}: an error of at most {MOST[told[3]]:g} {told[3]}")


def sensors_of(name: str) -> SensorErrors:
    """What the probes read less what is true."""
    check_fault(name)
    if name in PARTS:
        return SensorErrors()
    probe, value, unit = re.split(r"([+-][\d.]+)", name)
    return SensorErrors(**{PROBES[probe][0]: float(value) * UNITS[unit]})


def parts_of(name: str, course: Course) -> PlantFaults:
    """What the parts do not do in a season."""
    begin = float(course.hours[0].time)
    when = calendar_at(course.bay, begin)
    return PARTS.get(name, PARTS["none"])(begin - when.now + when.warm_up / 2.0)
