"""Days ahead and behind of a bay in lines: outlook, plan, and what the journal shows."""

from __future__ import annotations

from firmware_bridge.bay.decision import BayView
from firmware_bridge.bay.diagnosis import Diagnosis
from firmware_bridge.bay.week import Week
from firmware_bridge.page.words import Units

__all__ = ["diagnosis_lines", "outlook_lines", "plan_lines"]


def outlook_lines(week: Week | None, units: Units) -> tuple[str, ...]:
    """Three sentences, or why there are none; nothing without a forecast."""
    if week is None:
        return ()
    return (f"No outlook: {week.trouble}.",) if week.trouble else week.said[units]


def plan_lines(view: BayView, units: Units) -> tuple[str, ...]:
    """Whether advice follows it, then its stretches; nothing without an outlook."""
    week = view.week
    if week is None or week.trouble:
        return ()
    if not view.plans:
        first = f"it is only shown{f', and {week.refused}' if week.refused else ''}"
    elif view.plan_doubt:
        first = f"advice does not follow it, {view.plan_doubt}"
    else:
        first = "advice follows it, within every rule and limit"
    return (f"Plan for today and tomorrow: {first}.", *week.stretches[units])


def diagnosis_lines(found: Diagnosis | None, units: Units) -> tuple[str, ...]:
    """What stands, what is over, what could not be looked for; or why there is nothing."""
    trouble = "that comes a minute after the start" if found is None else found.trouble
    if found is None or trouble:
        return (f"Not looked through: {trouble}.",)
    return found.said[units]
