"""The reasons behind one piece of advice, in plain words with their numbers."""

from __future__ import annotations

import math
from collections.abc import Callable

from ventcalc.advice.action import Action, Advice
from ventcalc.advice.devices import ROTS
from ventcalc.advice.freeze_guard import FANS_OFF, coldest_heard
from ventcalc.advice.fresh_air import URGENT
from ventcalc.advice.outside_air import Binding, Verdict
from ventcalc.advice.readings import DOOR_OUT, FANS_OUT, OUT_OF_ORDER
from ventcalc.advice.setpoints import coldest_doubt
from ventcalc.bay.calendar import EMPTY, STAGES
from ventcalc.bay.description import Bay
from ventcalc.units import UnitSystem, show

SHOWN_BIAS = 0.5
"""Correction of a probe that is worth a line. [K]"""
SHOWN_RAMP, SHOWN_WATER, SHOWN_DOOR = 0.05, 0.005, 0.02
"""Target above the end of the ramp, humidifier and door opening that are. [K, 0-1, 0-1]"""
HOUR = 3600.0

__all__ = ["carbon_words", "headline", "outside_words", "plenum_words", "reasons"]


def reasons(advice: Advice, bay: Bay, units: UnitSystem = "metric") -> tuple[str, ...]:
    """
    Why the advice is what it is.

    Parameters
    ----------
    advice : Advice
        Advice for one bay.
    bay : Bay
        The bay.
    units : {"metric", "us"}
        Units of the numbers.

    Returns
    -------
    tuple of str
        The most important first.
    """
    lines = [headline(advice, bay, units)]
    if advice.action == Action.HANDS_OFF:
        return tuple(lines)
    if advice.stopped_by != Binding.NONE:
        lines.append(_stopped(advice, units))
    allowed = advice.outside.verdict == Verdict.ALLOWED
    if advice.action in (Action.CHOSEN, Action.PROTECT, Action.PEOPLE_INSIDE):
        pass
    elif advice.needs.cool and advice.action != Action.COOL_BY_OUTSIDE and not allowed:
        lines.append(f"Outside air does not cool the pile now: {outside_words(advice, bay, units)}")
    elif advice.action == Action.COOL_BY_OUTSIDE:
        lines.append(outside_words(advice, bay, units))
    elif not advice.needs.cool and not advice.needs.warm:
        lines.append(_nothing_to_cool(advice, bay, units))
    lines.extend(line for line in (f(advice, bay, units) for f in _REMARKS) if line)
    return tuple(lines)


def headline(advice: Advice, bay: Bay, units: UnitSystem = "metric") -> str:
    """The advice in one sentence."""
    now, seen = advice.situation, advice.situation.readings
    stage = STAGES[int(now.stage)].replace("_", " ")
    pulp, target = show(seen.pulp_mean, "degC", units), show(now.target, "degC", units)
    over = show(abs(now.excess), "delta_degC", units)
    side = "above" if now.excess >= 0 else "below"
    state = f"pulp {pulp} is {over} {side} the target of {target} ({stage})"
    supply = show(advice.plenum_temperature, "degC", units)
    words: dict[Action, str] = {
        Action.HANDS_OFF: _hands_off(advice),
        Action.REST: f"Fans off, doors closed: {state}.",
        Action.WAIT: f"Wait: the fans stopped {advice.fan_since / 60:.0f} min ago and should rest "
        f"{bay.control.minimum_off / 60:.0f} min; {state}.",
        Action.FINISH_RUN: f"Finish the run with the door closed: the fans started "
        f"{advice.fan_since / 60:.0f} min ago and should run for "
        f"{bay.control.minimum_on / 60:.0f} min; {state}.",
        Action.EVEN_OUT: f"Equalize the pile{_warmed(advice)}: top-to-bottom spread "
        f"{show(now.spread, 'delta_degC', units)}; {state}.",
        Action.DRY_CEILING: f"Move air under the ceiling: its coldest spots "
        f"({show(now.ceiling, 'degC', units)}) are below the dew point of the air there "
        f"({show(now.return_dew_point, 'degC', units)}) and would drip.",
        Action.TAIL: "Recirculate after cooling, so that the top tubers, cooler than the air "
        "that rises to them, do not sweat.",
        Action.FRESH_AIR: f"Fresh air for CO2{_chilled(advice)}: {_co2(advice, bay)}.",
        Action.WARM_BY_HEATER: f"Warm the pile with the heater, air at {supply}: {state}.",
        Action.WARM_BY_OUTSIDE: f"Warm the pile with outside air, plenum at {supply}: {state}.",
        Action.COOL_BY_COIL: f"Cool with the refrigeration, plenum at {supply}: {state}.",
        Action.COOL_BY_OUTSIDE: f"Cool with outside air, plenum at {supply}: {state}.",
        Action.PROTECT: _protect(advice, units),
        Action.PEOPLE_INSIDE: "People are inside: nothing that stands still is started, and the "
        "door stays as it is unless opening it helps them or frost comes in.",
        Action.CHOSEN: f"The best of what can be done in the next hour: supply at {supply}; "
        f"{state}.",
    }
    return words[Action(int(advice.action))]


def _chilled(advice: Advice) -> str:
    return " behind the refrigeration" if advice.refrigeration > 0.0 else ""


def _hands_off(advice: Advice) -> str:
    why, then = (
        "pulp or return-air readings are missing or contradict each other",
        "check the sensors",
    )
    if advice.situation.readings.out_of_order & FANS_OUT:
        why, then = "the fans are told to be out of order", "repair them"
    return f"No advice: {why}. Leave the bay to the controller's own program and {then}."


def _protect(advice: Advice, units: UnitSystem) -> str:
    seen = advice.situation.readings
    pulp = show(coldest_heard(seen), "degC", units)
    stood = f"{plenum_words(advice, units)}, the coldest pulp at {pulp}"
    if advice.freeze_stage >= FANS_OFF and advice.fan_speed > 0.0:
        return (
            "Freeze protection, door closed: slow heated air against the cold from the truck "
            f"doors; {stood}."
        )
    if advice.fan_speed > 0.0:
        return f"Freeze protection, door closed: recirculate the pile's own warmth; {stood}."
    return f"Freeze protection, door closed, fans off: check the door; {stood}."


def plenum_words(advice: Advice, units: UnitSystem = "metric") -> str:
    """The plenum as read, to begin or go on a sentence with."""
    seen = advice.situation.readings.plenum_temperature
    return "the plenum is " + (
        "not read" if math.isnan(seen) else f"at {show(seen, 'degC', units)}"
    )


def _co2(advice: Advice, bay: Bay) -> str:
    seen = advice.situation.readings.co2
    if math.isnan(seen):
        every = bay.control.fresh_air_every
        ago = f"{every / 60:.0f} min" if every < HOUR else f"{every / HOUR:.0f} h"
        return f"CO2 is not measured and the last fresh air was {ago} ago or more"
    return f"CO2 is {carbon_words(advice)} (limit {bay.limits.co2 * 1e6:,.0f} ppm)"


def carbon_words(advice: Advice) -> str:
    """CO2 as read, "at least" where that is the top of its probe."""
    seen = advice.situation.readings
    return f"at {'least ' if seen.co2_at_least else ''}{seen.co2 * 1e6:,.0f} ppm"


def outside_words(advice: Advice, bay: Bay, units: UnitSystem = "metric") -> str:
    """The outside-air verdict in a sentence."""
    air, now = advice.outside, advice.situation
    seen = now.readings

    def kelvin(value: float) -> str:
        return show(value, "delta_degC", units)

    outside = show(seen.outside_temperature, "degC", units)
    supply = show(air.plenum_temperature, "degC", units)
    dew = show(air.plenum_dew_point, "degC", units)
    power = show(air.cooling, "W electrical", units, 0)
    rate = show(air.pile_rate, "delta_degC/s", units)
    few = coldest_doubt(seen.pulp_probes)
    unsure = kelvin(bay.control.confidence * air.wetting_uncertainty + few)
    trusted = "so few pulp probes" if few > 0.0 else "the sensors"
    cools = f"it removes {power} from the bay, {rate} for the whole pile"
    words = {
        Binding.NONE: f"Outside air at {outside} gives a plenum at {supply}; {cools}.",
        Binding.MIXING_FOG: f"Outside air at {outside} is usable, but the door is held at "
        f"{advice.door_opening:.0%}: more would make fog where it mixes with the moist return "
        f"air; {cools}.",
        Binding.NOTHING_TO_COOL: "there is nothing to cool.",
        Binding.RAMP_LIMIT: "the pulp is as cool as the ramp allows today.",
        Binding.MISSING_READING: "outside temperature or humidity is missing.",
        Binding.NOT_COLD_ENOUGH: f"not cold enough. Outside air at {outside} gives a plenum at "
        f"{supply} at best; it should be {kelvin(bay.control.outside_offset)} below the pulp "
        f"(short by {kelvin(-air.cold_margin)}).",
        Binding.FREEZING: f"plenum too cold. Even with the door at its minimum the plenum would "
        f"be at {supply}, below the low limit of {show(bay.limits.plenum_floor, 'degC', units)}.",
        Binding.WETS_CROP: f"it would sweat the crop, or cannot be told from doing so: dew point "
        f"of the plenum {dew} against the coldest pulp at "
        f"{show(seen.pulp_coldest, 'degC', units)}; the margin {kelvin(air.wetting_margin)} is "
        f"less than the {unsure} that {trusted} can be trusted to.",
        Binding.CEILING_DRIP: f"it would drip from the ceiling: dew point {dew} against a ceiling "
        f"at {show(now.ceiling, 'degC', units)}.",
    }
    text = words[Binding(int(air.binding))]
    if seen.out_of_order & DOOR_OUT and air.verdict != Verdict.ALLOWED:
        text = "the fresh-air door is told to be out of order."
    return text[0].upper() + text[1:] if air.verdict == Verdict.ALLOWED else text


def _nothing_to_cool(advice: Advice, bay: Bay, units: UnitSystem) -> str:
    now = advice.situation
    if not now.in_use:
        return "The bay is empty, as told or by its calendar and its air."
    if now.target > now.final + SHOWN_RAMP and now.readings.pulp_mean > now.final:
        return (
            f"Cooling-rate limit: the pulp may come down to {show(now.target, 'degC', units)} now, "
            f"to {show(now.final, 'degC', units)} in the end."
        )
    start = show(bay.control.start_above, "delta_degC", units)
    return f"No cooling needed: the pulp is less than {start} above its target."


def _stopped(advice: Advice, units: UnitSystem) -> str:
    if advice.stopped_by == Binding.FREEZING:
        return (
            f"The fans were due to run, but the supply would be at "
            f"{show(advice.plenum_temperature, 'degC', units)}, below the low limit."
        )
    return (
        f"The fans were due to run, but the supply (dew point "
        f"{show(advice.plenum_dew_point, 'degC', units)}) would sweat tubers at "
        f"{show(advice.situation.readings.pulp_coldest, 'degC', units)}."
    )


def _humidifier(advice: Advice, bay: Bay, units: UnitSystem) -> str:
    if bay.humidifier is None or not advice.humidifier > SHOWN_WATER:
        return ""
    percent = show(advice.plenum_relative_humidity, "1 percent", units, 0)
    water = show(advice.humidifier * bay.humidifier.capacity, "kg/s", units, 0)
    return f"Humidifier {advice.humidifier:.0%} ({water}) brings the plenum to {percent} RH."


def _carbon(advice: Advice, bay: Bay, units: UnitSystem) -> str:
    seen = advice.situation.readings
    if advice.action == Action.FRESH_AIR and advice.plenum_dew_point > seen.pulp_coldest:
        return (
            f"This air (dew point {show(advice.plenum_dew_point, 'degC', units)}) sweats tubers "
            f"at {show(seen.pulp_coldest, 'degC', units)} until it has warmed them: with so much "
            "CO2 a rest would harm the crop more."
        )
    if not advice.needs.purge or advice.action == Action.FRESH_AIR:
        return ""
    if advice.door_opening > SHOWN_DOOR:
        return f"{_co2(advice, bay)}: the fresh air of this run lowers it."
    return f"{_co2(advice, bay)}: fresh air as soon as it does no harm."


def _carbon_high(advice: Advice, bay: Bay, units: UnitSystem) -> str:
    seen = advice.situation.readings.co2
    if not seen > URGENT * bay.limits.co2:
        return ""
    return (
        f"WARNING: CO2 {carbon_words(advice)} is more than twice the limit. Nobody enters "
        "without testing the air; give the bay fresh air by hand if the advice cannot."
    )


def _learned(advice: Advice, bay: Bay, units: UnitSystem) -> str:
    found = advice.situation.findings
    if not math.isnan(found.door_share):
        return (
            f"The plenum shows {found.door_share:.0%} outside air whatever the door is told: it is "
            "reckoned with as stuck there."
        )
    if abs(found.outside_correction) > SHOWN_BIAS:
        off = show(abs(found.outside_correction), "delta_degC", units)
        side = "colder" if found.outside_correction < 0.0 else "warmer"
        return f"Outside air is taken to be {off} {side} than its probe says: the plenum shows it."
    return ""


def _pulp_warm(advice: Advice, bay: Bay, units: UnitSystem) -> str:
    off = advice.situation.pulp_warm
    if off < SHOWN_BIAS:
        return ""
    return (
        f"Air leaves the pile {show(off, 'delta_degC', units)} colder than its top reads, run "
        "after run: pulp probes may read warm, and the margin against wetting is that much wider. "
        "Check them and the return probe."
    )


def _told(advice: Advice, bay: Bay, units: UnitSystem) -> str:
    told, parts = advice.situation.readings, []
    if told.crop_wet:
        parts.append("the crop is wet: no mist, and air at least every hour")
    if told.rot_share > ROTS:
        parts.append(f"{told.rot_share:.0%} of the crop rots: no mist, and air at least every hour")
    if told.stage_told >= 0:
        parts.append(f"the stage is {STAGES[told.stage_told].replace('_', ' ')}")
        if told.stage_told == EMPTY and advice.situation.in_use:
            parts[-1] += ", but what is told or measured of the crop outranks that"
    if not math.isnan(told.loaded):
        parts.append(f"{told.loaded:.0%} of the crop is in")
    names = [name for name, code in OUT_OF_ORDER.items() if told.out_of_order & code]
    if names:
        parts.append(f"out of order: {', '.join(names)}")
    return f"Told: {'; '.join(parts)}." if parts else ""


def _drip(advice: Advice, bay: Bay, units: UnitSystem) -> str:
    if not advice.needs.drip or advice.action == Action.DRY_CEILING:
        return ""
    if advice.humidifier > SHOWN_WATER:  # as weighed in deep cold
        return ""
    now = advice.situation
    return (
        f"The ceiling's coldest spots ({show(now.ceiling, 'degC', units)}) are below the dew point "
        f"there ({show(now.return_dew_point, 'degC', units)}): the humidifier stays off."
    )


def _warmed(advice: Advice) -> str:
    return " with dry outside air that the heater warms" if advice.heater > 0.0 else ""


def _uneven(advice: Advice, bay: Bay, units: UnitSystem) -> str:
    now = advice.situation
    if not now.spread > bay.limits.spread or advice.action == Action.EVEN_OUT:
        return ""
    return (
        f"The top is {show(now.spread, 'delta_degC', units)} above the bottom (limit "
        f"{show(bay.limits.spread, 'delta_degC', units)})."
    )


def _recirculation(advice: Advice, bay: Bay, units: UnitSystem) -> str:
    now = advice.situation
    stands = advice.action in (Action.REST, Action.WAIT)
    if not (stands and advice.needs.even and advice.needs.recirculation_wets):
        return ""
    return (
        f"No recirculation either: the air from the top of the pile (dew point "
        f"{show(now.run_dew_point, 'degC', units)}) would wet the coldest tubers "
        f"({show(now.readings.pulp_coldest, 'degC', units)})."
    )


def _stays_cold(advice: Advice, bay: Bay, units: UnitSystem) -> str:
    warms = advice.action in (Action.WARM_BY_HEATER, Action.WARM_BY_OUTSIDE)
    if not advice.needs.warm or warms or advice.heater > 0.0 or advice.action == Action.PROTECT:
        return ""
    if bay.heater is not None and advice.needs.recirculation_wets:
        return (
            "The pile should be warmer, but air from its top (dew point "
            f"{show(advice.situation.run_dew_point, 'degC', units)}) would wet the coldest tubers "
            f"({show(advice.situation.readings.pulp_coldest, 'degC', units)}) if the heater ran."
        )
    return "The pile should be warmer, but neither outside air nor a heater can warm it now."


_REMARKS: tuple[Callable[[Advice, Bay, UnitSystem], str], ...] = (
    _humidifier,
    _carbon,
    _carbon_high,
    _learned,
    _pulp_warm,
    _told,
    _drip,
    _uneven,
    _recirculation,
    _stays_cold,
)
