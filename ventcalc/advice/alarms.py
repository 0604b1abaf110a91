"""What must be looked at, worst first: each alarm with what to do first."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Literal

from ventcalc.advice.action import HANDS_OFF, Advice
from ventcalc.advice.freeze_guard import FANS_OFF, LATCHED, coldest_heard
from ventcalc.advice.fresh_air import CO2_DANGEROUS, PEOPLE_CO2, URGENT
from ventcalc.advice.readings import DOUBTED, OUT_OF_ORDER, START, Memory
from ventcalc.advice.reasons import carbon_words, plenum_words
from ventcalc.bay.description import Bay
from ventcalc.bay.hourly import HourlyBay
from ventcalc.pile.crop import crop_for
from ventcalc.units import UnitSystem, show

__all__ = ["ALARM_IDS", "Alarm", "alarms", "with_alarm_times"]

HOT = 5.0
"""Pulp above its target that is alarming. [K]"""
NO_AIR = 3600.0
"""Fans that the plenum does not feel for so long. [s]"""
NO_MIST = 3 * 3600.0
"""Cooling by the humidifier that is missing for so long. [s]"""
BIASED = 2.0
"""Correction of the outside probe that is worth a look. [K]"""
RELEASE = "ventcalc advise --release, firmware-bridge release"
"""The local commands that release a latch."""
UNEVEN = 2.0
"""Top against bottom, in spreads that the bay allows, that is alarming. [1]"""
WARM = 0.1
"""Pulp that seems to read warm by more is told so. [K]"""
HUMID_OFF = 0.10
"""Plenum humidity below what the last advice expected. [0-1]"""


Level = Literal[1, 2, 3]


@dataclass(frozen=True, kw_only=True, slots=True)
class Alarm:
    """One alarm that stands."""

    id: str
    """Its name, one of ``ALARM_IDS``."""
    level: Level
    """1 danger to people or crop, 2 equipment, 3 to be looked at."""
    since: str
    """When it began, ISO 8601, UTC; empty for now."""
    text: str
    """What is wrong."""
    first: str
    """What to do first."""


Finding = tuple[Level, str, str] | None
"""Level, text, what to do first."""


def alarms(
    advice: Advice, bay: Bay, memory: Memory, units: UnitSystem = "metric"
) -> tuple[Alarm, ...]:
    """Every alarm that stands, the worst first."""
    found = []
    for (name, look), began in zip(_LOOKS.items(), memory.alarm_times, strict=True):
        what = look(advice, bay, units)
        if what is not None:
            level, text, first = what
            since = "" if math.isnan(began) else datetime.fromtimestamp(began, UTC).isoformat()
            found.append(Alarm(id=name, level=level, since=since, text=text, first=first))
    return tuple(sorted(found, key=lambda alarm: alarm.level))


def with_alarm_times(advice: Advice, bay: Bay | HourlyBay, memory: Memory) -> Memory:
    """The memory with the time at which each standing alarm began."""
    now = advice.situation.readings.time
    stands = [look(advice, bay, "metric") is not None for look in _LOOKS.values()]
    if not any(stands) and memory.alarm_times == START.alarm_times:
        return memory
    times = tuple(
        math.nan if not one else now if math.isnan(began) else began
        for one, began in zip(stands, memory.alarm_times, strict=True)
    )
    return memory._replace(alarm_times=times)


def _frost(advice: Advice, bay: Bay | HourlyBay, units: UnitSystem) -> Finding:
    if not (advice.pulp_cold or advice.freeze_stage > 0):
        return None
    seen, plenum = advice.situation.readings, plenum_words(advice, units)
    plenum = plenum[0].upper() + plenum[1:]
    if advice.pulp_cold:
        warm, coldest = advice.situation.pulp_warm, coldest_heard(seen)
        doubt = f" and seems to read {show(warm, 'delta_degC', units)} warm"
        who = "The coldest pulp is at" if coldest == seen.pulp_coldest else "A pulp probe reads"
        injury = crop_for(bay.use).injury_temperature
        side = "below" if coldest - warm < injury else "near"
        text = f"{who} {show(coldest, 'degC', units)}{doubt if warm > WARM else ''}, {side} "
        text += f"freezing injury ({show(injury, 'degC', units)})."
        return 1, text, "Close the fresh-air door by hand; warm the plenum; check the probe."
    if advice.freeze_stage == LATCHED:
        text = f"{plenum}, and freeze protection is latched."
        return 1, text, f"Look at door and plenum, then release it: {RELEASE}."
    if advice.freeze_stage >= FANS_OFF and advice.fan_speed > 0.0:
        text = f"{plenum}, cold from the truck doors: heated air is blown slowly."
        return 1, text, "Close the truck doors; see that the heater runs and the plenum warms."
    if advice.freeze_stage >= FANS_OFF:
        text = f"{plenum}: the fans are off and the door is closed."
        return 1, text, "Check the door: does it close? Close it by hand."
    if advice.freeze_stage > 0:
        text = f"{plenum}; it is or was below or near its low limit: the door is closed."
        return 1, text, "Check the door and the plenum probe."
    return None


def _people(advice: Advice, bay: Bay | HourlyBay, units: UnitSystem) -> Finding:
    seen = advice.situation.readings
    if not (seen.people_inside or seen.co2 > PEOPLE_CO2):
        return None
    ppm = carbon_words(advice)
    leave = "Nobody enters before the bay is aired and the air is tested. Never alone."
    if seen.people_inside:
        leave = "Leave the bay, air it, and test the air before anybody enters. Never alone."
    if seen.people_inside and math.isnan(seen.co2):
        return 1, "People are inside and CO2 is not measured.", leave
    if seen.co2 >= CO2_DANGEROUS:
        return 1, f"CO2 is {ppm}: immediately dangerous to life (40,000 ppm, NIOSH).", leave
    if seen.co2 > PEOPLE_CO2:
        text = f"CO2 is {ppm}: above the limit of a working day (5,000 ppm, OSHA)."
        return (1 if seen.people_inside else 3), text, leave
    return None


def _hot(advice: Advice, bay: Bay | HourlyBay, units: UnitSystem) -> Finding:
    now = advice.situation
    if not now.in_use or not now.excess > HOT:
        return None
    over = show(now.excess, "delta_degC", units)
    text = f"The pile is {over} above its target."
    return 1, text, "Give it air: check fans, door and refrigeration; look for rot."


def _door(advice: Advice, bay: Bay | HourlyBay, units: UnitSystem) -> Finding:
    share = advice.situation.findings.door_share
    if math.isnan(share):
        return None
    text = f"The plenum shows {share:.0%} outside air whatever the door is told."
    return 2, text, "Look at the fresh-air door: stuck, iced, or leaking?"


def _no_air(advice: Advice, bay: Bay | HourlyBay, units: UnitSystem) -> Finding:
    if not advice.situation.findings.no_air >= NO_AIR:
        return None
    text = "The plenum does not feel the fans: it stays at the temperature of the bottom."
    return 2, text, "Look whether the fans turn, and which way; lock them out first."


def _no_mist(advice: Advice, bay: Bay | HourlyBay, units: UnitSystem) -> Finding:
    now, seen = advice.situation, advice.situation.readings
    dry = now.humidity_missed
    if not now.findings.humidifier_lacking >= NO_MIST and not dry > HUMID_OFF:
        return None
    text = "The plenum is drier than the humidifier should make it"
    if dry > HUMID_OFF:
        text += f": {seen.plenum_relative_humidity:.0%} measured, {dry:.0%} less than expected"
    return 2, f"{text}.", "Look at the humidifier: water, nozzles, pump; then at the probe."


def _odd_probe(advice: Advice, bay: Bay | HourlyBay, units: UnitSystem) -> Finding:
    seen = advice.situation.readings
    if math.isnan(seen.pulp_odd):
        return None
    odd, mean = show(seen.pulp_odd, "degC", units), show(seen.pulp_mean, "degC", units)
    text = f"Pulp probe {seen.pulp_odd_place} (from the bottom) reads {odd}, the others {mean}."
    first = "Bad probe or real spot: look there, smell, and take the temperature by hand."
    if seen.pulp_odd > seen.pulp_mean:
        first = (
            "Hot spot (rot heats) or bad probe: look there, smell, measure by hand; then air it."
        )
    return 2, text, first


def _missing(advice: Advice, bay: Bay | HourlyBay, units: UnitSystem) -> Finding:
    if advice.situation.usable:
        return None
    text = "Pulp or return air is missing or contradictory"
    if advice.action != HANDS_OFF:
        return 2, f"{text}.", "Check the probes."
    first = "Leave the bay to the controller's own program; check the probes."
    return 2, f"{text}: there is no advice.", first


def _outside_probe(advice: Advice, bay: Bay | HourlyBay, units: UnitSystem) -> Finding:
    bias = advice.situation.findings.outside_correction
    if not abs(bias) > BIASED:
        return None
    off = show(abs(bias), "delta_degC", units)
    side = "high" if bias < 0.0 else "low"
    return 3, f"The outside probe seems to read {off} {side}.", "Check it: sun, wall, wet, drift?"


def _crop_co2(advice: Advice, bay: Bay | HourlyBay, units: UnitSystem) -> Finding:
    if not advice.situation.readings.co2 > URGENT * bay.limits.co2:
        return None
    text = f"CO2 is {carbon_words(advice)}, more than twice the crop's limit."
    return 3, text, "Give fresh air by hand if the advice cannot; nobody enters without testing."


def _sensor(advice: Advice, bay: Bay | HourlyBay, units: UnitSystem) -> Finding:
    doubted = advice.situation.readings.doubted
    names = [name for name, code in DOUBTED.items() if doubted & code]
    if not names:
        return None
    return 3, f"Probes not believed: {', '.join(names)}.", "Check probe, cable and unit."


def _told(advice: Advice, bay: Bay | HourlyBay, units: UnitSystem) -> Finding:
    told = advice.situation.readings.out_of_order
    names = [name for name, code in OUT_OF_ORDER.items() if told & code]
    if not names:
        return None
    return 3, f"Told to be out of order: {', '.join(names)}.", "Repair, then tell so."


def _uneven(advice: Advice, bay: Bay | HourlyBay, units: UnitSystem) -> Finding:
    now = advice.situation
    if not now.in_use or not abs(now.spread) > UNEVEN * bay.limits.spread:
        return None
    apart, limit = (show(k, "delta_degC", units) for k in (abs(now.spread), bay.limits.spread))
    where = "warmer" if now.spread > 0.0 else "colder"
    text = f"The top of the pile is {apart} {where} than the bottom; {limit} is even."
    return 3, text, "Look whether air gets through: fans, ducts, soil in the pile; then run longer."


_LOOKS: dict[str, Callable[[Advice, Bay | HourlyBay, UnitSystem], Finding]] = {
    "frost_risk": _frost,
    "co2_people": _people,
    "pile_hot": _hot,
    "door_stuck": _door,
    "fans_no_air": _no_air,
    "humidity_low": _no_mist,
    "probe_or_spot": _odd_probe,
    "readings_missing": _missing,
    "outside_probe": _outside_probe,
    "co2_crop": _crop_co2,
    "out_of_order": _told,
    "sensor": _sensor,
    "pile_spread": _uneven,  # new ones last: a memory of before knows them by their place
}
ALARM_IDS = tuple(_LOOKS)
"""Names of the alarms; the bridge's list begins with them."""
