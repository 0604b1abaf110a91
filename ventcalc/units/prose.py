"""Quantities inside a sentence, in the units of its reader."""

from __future__ import annotations

import math
import re

from ventcalc.units.scales import SHOWN
from ventcalc.units.shown import UnitSystem, show

__all__ = ["both", "reworded"]

_ROWS = ("degC", "m", "m2", "kg/m3", "m/s", "m3/(s t)", "W/kg", "Pa")
"""Rows of ``SHOWN`` whose units stand in sentences."""
_OTHERS = (
    ("degC", "degF", 1.8, 32.0),
    ("K", "°F", 1.8, 0.0),
    ("hPa", "inHg", 1.0 / 33.86389, 0.0),
    ("mm", "inch", 1.0 / 25.4, 0.0),
    ("mm²", "in²", 25.4**-2, 0.0),
    ("m² K/W", "h ft² °F/Btu", 5.678263, 0.0),
    ("J/(kg K)", "Btu/(lb °F)", 1.0 / 4186.8, 0.0),
)
"""Metric and US unit, factor and offset from one to the other (NIST SP 811, appendix B.8)."""
_PAIRS = (
    *(
        (metric.unit, us.unit, us.factor / metric.factor, us.offset)
        for metric, us in ((SHOWN[row]["metric"], SHOWN[row]["us"]) for row in _ROWS)
    ),
    *_OTHERS,
)
_Words = dict[str, tuple[str, float, float]]


def _spelled(words: _Words) -> _Words:
    """With ``m2`` beside ``m²``."""
    return words | {one.replace("²", "2").replace("³", "3"): to for one, to in words.items()}


_TO_US = _spelled({metric: (us, factor, offset) for metric, us, factor, offset in _PAIRS})
_TO_METRIC = _spelled(
    {
        us: (metric, 1.0 / factor, -offset / factor)
        for metric, us, factor, offset in _PAIRS
        if metric != "K"  # a difference in °F cannot be told from a temperature
    }
)
_NUMBER = r"[-−]?\d(?:[\d,]*\d)?(?:\.\d+)?"


def _quantity(units: _Words, name: str) -> str:
    told = "|".join(sorted(map(re.escape, units), key=len, reverse=True))
    several = rf"{_NUMBER}(?:(?:-| to | and ){_NUMBER})*"
    return rf"(?<![\w.])(?P<{name}>{several} (?:{told}))(?![\w²³/(])"


_METRIC, _US = (_quantity(words, "one") for words in (_TO_US, _TO_METRIC))
_TWICE = re.compile(
    rf"{_quantity(_TO_US, 'metric')} \({_quantity(_TO_METRIC, 'us')}(?:, (?P<more>[^()]*))?\)"
)
_FOREIGN = {"us": re.compile(_METRIC), "metric": re.compile(_US)}


def reworded(text: str, units: UnitSystem) -> str:
    """
    Write a sentence with every quantity in one system of units.

    Parameters
    ----------
    text : str
        A sentence with quantities such as ``0.6-0.8 K`` or ``18 °C (64 °F)``.
    units : {"metric", "us"}
        Which units.

    Returns
    -------
    str
        ``1.1-1.4 °F`` for ``us``; where both stand there, only the reader's own is left.
    """
    known = _TO_US if units == "us" else _TO_METRIC

    def own(found: re.Match[str]) -> str:
        return found[units] + (f" ({found['more']})" if found["more"] else "")

    return _FOREIGN[units].sub(lambda found: _other(found["one"], known), _TWICE.sub(own, text))


def both(value: float, unit: str) -> str:
    """
    Write a value for readers of either system.

    Parameters
    ----------
    value : float
        In the internal unit. [unit]
    unit : str
        Name of a row of ``SHOWN``.

    Returns
    -------
    str
        In metric and, where that is another text, in US units: ``4.88 m (16.0 ft)``.
    """
    metric, us = show(value, unit, "metric"), show(value, unit, "us")
    return metric if metric == us else f"{metric} ({us})"


def _other(told: str, known: _Words) -> str:
    numbers, unit = next(
        (told.removesuffix(f" {one}"), one)
        for one in sorted(known, key=len, reverse=True)
        if told.endswith(f" {one}")
    )
    word, factor, offset = known[unit]
    return (
        re.sub(rf"(?<![\d.]){_NUMBER}", lambda one: _number(one[0], factor, offset), numbers)
        + f" {word}"
    )


def _number(text: str, factor: float, offset: float) -> str:
    """As many figures as were given, at least two; a temperature its decimals."""
    plain = text.replace(",", "").replace("−", "-")
    value = float(plain) * factor + offset
    if offset:
        return f"{value:,.{len(plain.partition('.')[2])}f}"
    figures = min(max(len(re.sub(r"\D", "", plain).strip("0")), 2), 4)
    places = figures - 1 - math.floor(math.log10(abs(value))) if value else 0
    return f"{round(value, places) + 0.0:,.{max(places, 0)}f}"
