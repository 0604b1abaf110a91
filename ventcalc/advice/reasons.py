"""The reasons behind one piece of advice, in plain words with their numbers."""

from __future__ import annotations

import math
from collections.abc import Callable

from ventcalc.advice.advise import Action, Advice
from ventcalc.advice.outside_air import Binding, Verdict
from ventcalc.bay.calendar import STAGES
from ventcalc.bay.description import Bay
from ventcalc.units import UnitSystem, show

__all__ = ["headline", "outside_words", "reasons"]


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
    if advice.needs.cool and advice.action != Action.COOL_BY_OUTSIDE and not allowed:
        lines.append(f"Outside air does not cool the pile now: {outside_words(advice, bay, units)}")
    elif advice.action == Action.COOL_BY_OUTSIDE:
        lines.append(outside_words(advice, bay, units))
    elif not advice.needs.cool and not advice.needs.warm:
        lines.append(_nothing_to_cool(advice, bay, units))
    lines.extend(line for line in (f(advice, bay, units) for f in _REMARKS) if line)
    return tuple(lines)


def headline(advice: Advice, bay: Bay, units: UnitSystem = "metric") -> str:
    """
    The advice in one sentence.

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
    str
        What to do and the first reason.
    """
    now, seen = advice.situation, advice.situation.readings
    stage = STAGES[int(now.stage)].replace("_", " ")
    pulp, target = show(seen.pulp_mean, "degC", units), show(now.target, "degC", units)
    over = show(abs(now.excess), "delta_degC", units)
    side = "above" if now.excess >= 0 else "below"
    state = f"pulp {pulp} is {over} {side} the target of {target} ({stage})"
    supply = show(advice.plenum_temperature, "degC", units)
    words: dict[Action, str] = {
        Action.HANDS_OFF: "No advice: pulp or return-air readings are missing. "
        "Run the controller's own program and check the sensors.",
        Action.REST: f"Rest, doors shut: {state}.",
        Action.WAIT: f"Wait: the fans stopped {advice.fan_since / 60:.0f} min ago and should rest "
        f"{bay.control.minimum_off / 60:.0f} min; {state}.",
        Action.FINISH_RUN: f"Finish the run with the door shut: the fans started "
        f"{advice.fan_since / 60:.0f} min ago and should run for "
        f"{bay.control.minimum_on / 60:.0f} min; {state}.",
        Action.EVEN_OUT: f"Run to even out the pile: top is "
        f"{show(now.spread, 'delta_degC', units)} above bottom; {state}.",
        Action.DRY_CEILING: f"Move air under the ceiling: its coldest spots "
        f"({show(now.ceiling, 'degC', units)}) are below the dew point of the air there "
        f"({show(now.return_dew_point, 'degC', units)}) and would drip.",
        Action.TAIL: "Recirculate after cooling, so that the top tubers, cooler than the air "
        "that rises to them, do not sweat.",
        Action.FRESH_AIR: f"Change the air: {_co2(advice, bay)}.",
        Action.WARM_BY_HEATER: f"Warm the pile with the heater, air at {supply}: {state}.",
        Action.WARM_BY_OUTSIDE: f"Warm the pile with outside air, plenum at {supply}: {state}.",
        Action.COOL_BY_COIL: f"Cool with the refrigeration, plenum at {supply}: {state}.",
        Action.COOL_BY_OUTSIDE: f"Cool with outside air, plenum at {supply}: {state}.",
        Action.PROTECT: "Freeze protection: door shut, recirculate the pile's own warmth. "
        f"The plenum stood at {show(seen.plenum_temperature, 'degC', units)}.",
    }
    return words[Action(int(advice.action))]


def _co2(advice: Advice, bay: Bay) -> str:
    seen = advice.situation.readings.co2
    if math.isnan(seen):
        hours = bay.control.fresh_air_every / 3600
        return f"CO2 is not measured and the last fresh air was {hours:.0f} h ago or more"
    return f"CO2 is at {seen * 1e6:.0f} ppm (limit {bay.limits.co2 * 1e6:.0f} ppm)"


def outside_words(advice: Advice, bay: Bay, units: UnitSystem = "metric") -> str:
    """
    The outside-air verdict in a sentence.

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
    str
        The verdict's reason with its numbers.
    """
    air, now = advice.outside, advice.situation
    seen = now.readings

    def kelvin(value: float) -> str:
        return show(value, "delta_degC", units)

    outside = show(seen.outside_temperature, "degC", units)
    supply = show(air.plenum_temperature, "degC", units)
    dew = show(air.plenum_dew_point, "degC", units)
    power = show(air.cooling, "W electrical", units, 0)
    rate = show(air.pile_rate, "delta_degC/s", units)
    unsure = kelvin(bay.control.confidence * air.wetting_uncertainty)
    cools = f"it takes {power} from the bay, {rate} for the whole pile"
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
        Binding.FREEZING: f"plenum too cold. Even with the door at its stop the plenum would be "
        f"at {supply}, below the floor of {show(bay.limits.plenum_floor, 'degC', units)}.",
        Binding.WETS_CROP: f"it would wet the crop, or cannot be told from doing so: dew point of "
        f"the plenum {dew} against the coldest tuber at "
        f"{show(seen.pulp_coldest, 'degC', units)}; the margin {kelvin(air.wetting_margin)} is "
        f"less than the {unsure} that the sensors can be trusted to.",
        Binding.CEILING_DRIP: f"it would drip from the ceiling: dew point {dew} against a ceiling "
        f"at {show(now.ceiling, 'degC', units)}.",
    }
    text = words[Binding(int(air.binding))]
    return text[0].upper() + text[1:] if air.verdict == Verdict.ALLOWED else text


def _nothing_to_cool(advice: Advice, bay: Bay, units: UnitSystem) -> str:
    now = advice.situation
    if STAGES[int(now.stage)] == "empty":
        return "The bay is empty by its calendar."
    if now.target > now.final + 0.05 and now.readings.pulp_mean > now.final:
        return (
            f"Ramp limit: the pulp may fall to {show(now.target, 'degC', units)} now, and to "
            f"{show(now.final, 'degC', units)} in the end."
        )
    start = show(bay.control.start_above, "delta_degC", units)
    return f"Nothing to cool: the pulp is less than {start} above its target."


def _stopped(advice: Advice, units: UnitSystem) -> str:
    if advice.stopped_by == Binding.FREEZING:
        return (
            f"A run was wanted, but its plenum would be at "
            f"{show(advice.plenum_temperature, 'degC', units)}, below the floor."
        )
    return (
        f"A run was wanted, but its air (dew point "
        f"{show(advice.plenum_dew_point, 'degC', units)}) would wet tubers at "
        f"{show(advice.situation.readings.pulp_coldest, 'degC', units)}."
    )


def _humidifier(advice: Advice, bay: Bay, units: UnitSystem) -> str:
    if bay.humidifier is None or not advice.humidifier > 0.005:
        return ""
    percent = show(advice.plenum_relative_humidity, "1 percent", units, 0)
    water = show(advice.humidifier * bay.humidifier.capacity, "kg/s", units, 0)
    return f"Humidifier {advice.humidifier:.0%} ({water}) brings the plenum to {percent} RH."


def _carbon(advice: Advice, bay: Bay, units: UnitSystem) -> str:
    if not advice.needs.purge or advice.action == Action.FRESH_AIR:
        return ""
    if advice.door_opening > 0.02:
        return f"{_co2(advice, bay)}: the fresh air of this run lowers it."
    return f"{_co2(advice, bay)}: air will be changed as soon as it does no harm."


def _carbon_high(advice: Advice, bay: Bay, units: UnitSystem) -> str:
    seen = advice.situation.readings.co2
    if not seen > 2.0 * bay.limits.co2:
        return ""
    return (
        f"WARNING: CO2 at {seen * 1e6:.0f} ppm is more than twice the limit. Nobody enters "
        "without testing the air; give the bay fresh air by hand if the advice cannot."
    )


def _guard(advice: Advice, bay: Bay, units: UnitSystem) -> str:
    return {
        1: "Freeze protection, first stage: the plenum has been below its floor, so the door stays "
        "at its stop and the refrigeration off until it is 1 K above.",
        2: "Freeze protection, second stage: the door stays shut for an hour.",
        3: "Freeze protection is latched until a person has looked at the plenum and released it.",
    }.get(int(advice.freeze_stage), "")


def _drip(advice: Advice, bay: Bay, units: UnitSystem) -> str:
    if not advice.needs.drip or advice.action == Action.DRY_CEILING:
        return ""
    now = advice.situation
    return (
        f"The ceiling's coldest spots ({show(now.ceiling, 'degC', units)}) are below the dew point "
        f"there ({show(now.return_dew_point, 'degC', units)}): the humidifier stays off."
    )


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
    if not advice.needs.warm or warms:
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
    _guard,
    _drip,
    _uneven,
    _recirculation,
    _stays_cold,
)
