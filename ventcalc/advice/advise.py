"""
What fans, door, humidifier, refrigeration and heater should do now.

``advise`` is a pure function: bay, readings and memory in, advice and new memory out. Its rules
stand in ``rules``.
"""

from __future__ import annotations

from ventcalc.advice.action import Action, Advice
from ventcalc.advice.alarms import with_alarm_times
from ventcalc.advice.readings import START, Memory, Readings
from ventcalc.advice.rules import decide
from ventcalc.bay.description import Bay
from ventcalc.bay.hourly import HourlyBay, hourly
from ventcalc.errors import check_range

__all__ = ["Action", "Advice", "Memory", "Readings", "advise"]


def advise(
    bay: Bay | HourlyBay, readings: Readings, memory: Memory | None = None
) -> tuple[Advice, Memory]:
    """
    Advice for one time.

    Parameters
    ----------
    bay : Bay
        The bay.
    readings : Readings
        Readings now; NaN for missing ones.
    memory : Memory, optional
        Memory that the last advice returned.

    Returns
    -------
    advice : Advice
        Positions, expected plenum, and the numbers behind them.
    memory : Memory
        To be handed back next time.

    Raises
    ------
    OutOfRange
        If a reading is not physical (80 for a humidity, kelvin for °C).

    Notes
    -----
    We advise; the controller's own interlocks stay in charge. Without pulp and return
    readings the advice is hands off. No advice supplies air below the plenum floor (unless
    the bay itself is that cold), nor air whose dew point is known to lie above the coldest
    exposed tuber.
    """
    for name, low, high, unit, slip in _LIMITS:
        value = getattr(readings, name)
        if not low <= value <= high:  # or missing
            check_range(name, value, low, high, unit, slip)
    complete = hourly(bay, readings.time)
    advice, after = decide(complete, readings, START if memory is None else memory)
    return advice, with_alarm_times(advice, complete, after)


_KELVIN = "in kelvin or Fahrenheit, perhaps?"
_PERCENT = "a percentage, perhaps? give a fraction"
_LIMITS = (
    ("outside_temperature", -50.0, 60.0, "°C", _KELVIN),
    ("outside_relative_humidity", 0.0, 1.0, "", _PERCENT),
    ("return_temperature", -50.0, 60.0, "°C", _KELVIN),
    ("return_relative_humidity", 0.0, 1.0, "", _PERCENT),
    ("plenum_temperature", -50.0, 60.0, "°C", _KELVIN),
    ("pulp_bottom", -50.0, 60.0, "°C", _KELVIN),
    ("pulp_top", -50.0, 60.0, "°C", _KELVIN),
    ("pulp_mean", -50.0, 60.0, "°C", _KELVIN),
    ("pulp_coldest", -50.0, 60.0, "°C", _KELVIN),
    ("ceiling_temperature", -50.0, 60.0, "°C", _KELVIN),
    ("co2", 0.0, 1.0, "", "ppm, perhaps? give a volume fraction"),
    ("pressure", 60e3, 110e3, "Pa", "in kPa or hPa, perhaps? give Pa"),
)
