"""
What the measured plenum teaches: is the outside probe right, do door, humidifier and fans obey?

The last advice left the supply that it expected. What came instead corrects the believed outside
temperature or, where it is too far off for that, finds a part that does not do what it was told.
Findings expire: what was repaired must not be remembered for ever.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from ventcalc.advice.freeze_guard import BLOWS_FROST
from ventcalc.advice.readings import Memory, Readings
from ventcalc.bay.hourly import HourlyBay

__all__ = ["Findings", "learn", "learn_pulp"]

FAR_OFF = 1.5
"""Plenum off what was expected from which on a part, not a probe, is to blame. [K]"""
DOOR_MOVES = 0.08
"""Fresh fraction, implied less advised, from which on the door is stuck. [0-1]"""
CLEAR_SPAN = 6.0
"""Outside less return air from which on the plenum shows the door. [K]"""
DOOR_FREE = 0.04
"""Fresh fraction, implied less advised, up to which a stuck door moves again. [0-1]"""
LEAST_SHARE = 0.08
"""Fresh fraction from which on the plenum shows the outside air. [0-1]"""
DOUBT = 1.0
"""Standard uncertainties of a probe by which the plenum may be off without a reason. [1]"""
LESSON = 0.5
"""Part of an error that is believed at once. [1]"""
STEP, MOST = 1.0, 4.0
"""Correction of the outside probe, at once and in all. [K]"""
FORGETTING = 5 * 86400.0
"""Time in which an old correction falls to 1/e. [s]"""
FINDING_LIFE = 86400.0
"""After which a finding that nothing confirms is forgotten. [s]"""
FROST_LIFE = 3 * 86400.0
"""
The same of a door that would blow frost if it were tried and still stuck: time to mend it, our
own. [s]
"""
SETTLED = 600.0
"""Into a run, after which the plenum no longer holds the air of the rest. [s]"""
STILL = 0.3
"""Plenum this near to the bottom tubers has felt no fans. [K]"""
FELT = 1.0
"""Expected supply this far from the bottom tubers would be felt in the plenum. [K]"""
MIST_SHOWS = 0.8
"""Cooling by the humidifier from which on the plenum shows it. [K]"""
MIST_MISSED = 0.6
"""Part of that cooling which must be missing. [1]"""
PULP_SETTLED = 3600.0
"""Into a run, after which the air above the pile is that which leaves its top. [s]"""
PULP_EXPLAINED = 0.6
"""Top pulp above that air which probes, roof and leaks explain; simulated 0.0 to 0.2. [K]"""
PULP_LEARNS = 24 * 3600.0
"""Settled running in which pulp probes that read warm are found out to 63 %. [s]"""
PULP_MOST = 1.5
"""Most that they are taken to read warm. [K]"""


class Findings(NamedTuple):
    """What is believed of probes and parts."""

    outside_correction: float
    """Believed outside temperature less the probe's. [K]"""
    door_share: float
    """Fresh fraction at which the door is stuck; NaN where it moves. [0-1]"""
    door_age: float
    """Since that was seen last. [s]"""
    humidifier_lacking: float
    """How long runs have missed the humidifier's cooling. [s]"""
    humidifier_age: float
    """Since they did last. [s]"""
    no_air: float
    """How long the plenum has not felt the fans. [s]"""


def learn(bay: HourlyBay, readings: Readings, memory: Memory, elapsed: float) -> Findings:
    """Compare the plenum with what the last advice expected of it, some time [s] ago."""
    bias = memory.outside_correction * math.exp(-elapsed / FORGETTING)
    door, door_age = memory.door_share, memory.door_age + elapsed
    lacking, humidifier_age = memory.humidifier_lacking, memory.humidifier_age + elapsed
    blown = door * readings.outside_temperature + (1.0 - door) * readings.return_temperature
    if door_age > (FROST_LIFE if blown < BLOWS_FROST else FINDING_LIFE):
        door = math.nan
    if humidifier_age > FINDING_LIFE:
        lacking = 0.0
    error = readings.plenum_temperature - memory.expected_plenum_temperature
    settled = elapsed > 0.0 and memory.fan_since + elapsed >= SETTLED
    if math.isnan(error) or not memory.fan_on or not settled:
        return Findings(bias, door, door_age, lacking, humidifier_age, 0.0)
    # What a run draws at its start was reckoned from the pile; truck doors may have cooled it.
    drawn = readings.return_temperature - memory.expected_return_temperature
    begun = memory.fan_since == 0.0 and not math.isnan(drawn)
    expected = memory.expected_plenum_temperature - readings.pulp_bottom
    if abs(readings.plenum_temperature - readings.pulp_bottom) < STILL and abs(expected) > FELT:
        still = memory.no_air + elapsed
        return Findings(bias, door, door_age, lacking, humidifier_age, still)
    span = memory.expected_outside_temperature - memory.expected_return_temperature
    off_by = error
    if begun:
        span -= drawn
        off_by -= (1.0 - memory.expected_share) * drawn
    if abs(span) >= CLEAR_SPAN:
        implied = memory.expected_share + off_by / span
        stuck = not math.isnan(door)
        told = bay.doors.leakage_fraction if stuck else memory.expected_share
        off = implied - told
        if (stuck or abs(off_by) > FAR_OFF) and DOOR_MOVES < off <= 1.0 - told:
            return Findings(bias, implied, 0.0, lacking, humidifier_age, 0.0)
        if abs(off) < DOOR_FREE:
            door = math.nan
    if memory.expected_humidifier_drop > MIST_SHOWS:
        if error > MIST_MISSED * memory.expected_humidifier_drop:
            return Findings(bias, door, door_age, lacking + elapsed, 0.0, 0.0)
        lacking = 0.0
    warm_while_wet = error > 0.0 and memory.expected_humidifier_drop > 0.0
    clear = memory.expected_share >= LEAST_SHARE and abs(error) > DOUBT * bay.sensors.temperature
    # What a run draws in its first hour was reckoned from the pile, not read: then only an error
    # to the cold side is believed, which errs on the safe one.
    read = memory.fan_since > 0.0 or error < 0.0
    if clear and read and math.isnan(door) and not warm_while_wet:
        lesson = LESSON * error / memory.expected_share
        bias = min(max(bias + min(max(lesson, -STEP), STEP), -MOST), MOST)
    return Findings(bias, door, door_age, lacking, humidifier_age, 0.0)


def learn_pulp(
    readings: Readings, memory: Memory, elapsed: float, above: float, trucks: bool
) -> float:
    """
    By how much the pulp probes seem to read warm; such as read cold wet and freeze nothing. [K]

    Air that has gone through the pile leaves it as warm as its top; a return probe ``above`` that
    stays colder run after run says that all pulp probes read warm, or itself cold [°C]. Not while
    ``trucks`` come and go, whose doors cool the air above the pile.
    """
    gap = readings.pulp_top - above
    settled = memory.fan_on and memory.fan_since >= PULP_SETTLED
    if math.isnan(gap) or not settled or trucks:
        return memory.pulp_warm
    seen = min(gap, PULP_MOST) if gap > PULP_EXPLAINED else 0.0
    return memory.pulp_warm + (seen - memory.pulp_warm) * -math.expm1(-elapsed / PULP_LEARNS)
