"""Control methods by name: the shipped ones, the plan, a user's own as ``module:function``."""

from __future__ import annotations

import hashlib
import math
import sys
from importlib import import_module
from pathlib import Path

from ventcalc.advice.policies import POLICIES, Policy
from ventcalc.errors import BadInput
from ventcalc.plan.rolling import noisy, perfect, rolling
from ventcalc.season.course import Course

__all__ = ["NOISY", "PLANS", "method_for", "method_named", "source_of"]

NOISY = "plan_noisy"
PLANS = ("plan", NOISY)
"""The plan with perfect forecasts, and with such that err (``forecast_errors``)."""


def method_named(name: str) -> Policy:
    """
    A control method of ``season --policy``, a plan (``method_for`` makes that of a season), or
    ``module:function`` of somebody's own, looked for in the current folder too.
    """
    if name in POLICIES:
        return POLICIES[name]
    if name in PLANS:  # as it is without a forecast
        return rolling(lambda time: (), math.nan, False)
    module, _, function = name.partition(":")
    if not (module and function):
        raise BadInput(
            f"control method {name!r}: unknown; write one of {', '.join((*POLICIES, *PLANS))}, or "
            "your own as module:function"
        )
    if "" not in sys.path:  # a program started by its name does not look where one stands
        sys.path.insert(0, "")
    try:
        found: Policy | None = getattr(import_module(module), function, None)
    except Exception as error:  # whatever stands in it
        why = f"{type(error).__name__}: {error}"
        raise BadInput(f"control method {name!r}: cannot import {module} ({why})") from error
    if not callable(found):
        raise BadInput(f"control method {name!r}: {module} has no function {function}")
    return found


def method_for(name: str, course: Course, words: str, fast: bool) -> Policy:
    """A control method for one season; ``words`` seed what it leaves to chance."""
    if name not in PLANS:
        return method_named(name)
    hours, step, pressure = course.hours, course.step, course.bed.pressure
    if name == NOISY:
        return rolling(noisy(hours, step, pressure, words), pressure, fast)
    return rolling(perfect(hours, step), pressure, fast)


def source_of(name: str) -> str:
    """What a method of somebody's own hangs on: a hash of its file; nothing for a shipped one."""
    if name in (*POLICIES, *PLANS):
        return ""
    method_named(name)
    place = getattr(sys.modules[name.partition(":")[0]], "__file__", None)
    return hashlib.sha256(Path(place).read_bytes()).hexdigest() if place else ""
