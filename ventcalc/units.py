"""
The border: text with a unit in, text with a unit out.

Inside ventcalc a number has the one unit of its name (°C, Pa, kg, m³/s, s ...). ``parse`` reads
what people write, ``show`` and ``convert`` give results in metric or US customary units.
"""

from __future__ import annotations

import difflib
import functools
import math
import re
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from ventcalc._unit_words import DEFINITIONS, EXAMPLES, spellings
from ventcalc.errors import BadInput

__all__ = ["UnitSystem", "convert", "parse", "parse_any", "show", "shown_unit"]

UnitSystem = Literal["metric", "us"]

_NUMBER = re.compile(r"\s*([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)(?![\d,])\s*(.*?)\s*", re.S)
_ABSOLUTE = {
    **dict.fromkeys(("degC", "C", "celsius"), (1.0, 0.0)),
    **dict.fromkeys(("degF", "F", "fahrenheit"), (1.8, 32.0)),
    "K": (1.0, 273.15),
    "kelvin": (1.0, 273.15),
}
_CONFUSED = {
    "mt": "write t or tonne (1000 kg)",
    "metric_ton": "write t or tonne (1000 kg)",
    "ton_us": "write ton or short_ton (2000 lb)",
    "ton_uk": "write long_ton (2240 lb)",
    "tr": "write ton_refrigeration",
    "rt": "write ton_refrigeration",
    "usd": "a price is written with a slash, for example 0.09 /kWh",
    "mcfm": "write 1000 cfm",
}


# --- reading -----------------------------------------------------------------------------


def parse(value: object, unit: str) -> float:
    """
    Read a number with its unit.

    Parameters
    ----------
    value : str or number
        For example ``"16 ft"``. A bare number is accepted only where ``unit`` is ``"1"``.
    unit : str
        Unit wanted, a key of ``ventcalc._unit_words.EXAMPLES``.

    Returns
    -------
    float
        The number. [unit]

    Raises
    ------
    BadInput
        Says what was wrong and how to write it.

    Notes
    -----
    ``ton`` is the US ton of 2 000 lb, ``t`` and ``tonne`` are 1 000 kg, ``long_ton`` is 2 240 lb.
    Where a temperature difference is wanted, ``degF`` and ``degC`` mean a difference.

    References
    ----------
    .. [1] A. Thompson, B. N. Taylor, NIST Special Publication 811, 2008, appendix B.8.
    """
    return parse_any(value, (unit,))[0]


def parse_any(value: object, units: tuple[str, ...]) -> tuple[float, str]:
    """
    Read a number whose unit may be of several kinds.

    Parameters
    ----------
    value : str or number
        For example ``"20 cfm/ton"``.
    units : tuple of str
        Units wanted, in order of preference, for example ``("m3/s", "m3/(s kg)")``.

    Returns
    -------
    number : float
        The number. [unit]
    unit : str
        The one of ``units`` that fits.

    Raises
    ------
    BadInput
        Says what was wrong and how to write it.
    """
    number, words = _split(value, units)
    for unit in units:
        result = _to(number, words, unit)
        if result is not None:
            return result, unit
    raise BadInput(f"{_quote(value)}: {_kind_of(words)}; {_wanted(units)}")


def _split(value: object, units: tuple[str, ...]) -> tuple[float, str]:
    """The number and the unit text, the latter in pint's spelling."""
    if isinstance(value, int | float) and not isinstance(value, bool):
        if not math.isfinite(value):
            raise BadInput(f"{value}: not a number one can use; {_wanted(units)}")
        if "1" not in units:
            raise BadInput(f"{value}: a bare number; write the unit, {_examples(units)}")
        return float(value), ""
    if not isinstance(value, str):
        raise BadInput(f"{_quote(value)}: not a number with a unit; {_wanted(units)}")
    match = _NUMBER.fullmatch(value)
    if match is None or not math.isfinite(float(match[1])):
        comma = "; write the number without commas" if "," in value else ""
        raise BadInput(
            f"{_quote(value)}: does not begin with a plain number{comma}; {_wanted(units)}"
        )
    words = _spell(match[2], money=any("money" in unit for unit in units))
    if not words and "1" not in units:
        raise BadInput(f"{_quote(value)}: no unit; write it, {_examples(units)}")
    _check_words(value, words, units)
    return float(match[1]), words


def _check_words(value: str, words: str, units: tuple[str, ...]) -> None:
    """Refuse unknown units, and what is not built of units, ``*``, ``/``, powers and brackets."""
    for word in re.findall(r"[^\W\d]\w*", words):
        if word not in _spellings():
            raise BadInput(
                f"{_quote(value)}: unit {word!r} is not known{_nearest(word)}; {_wanted(units)}"
            )
    try:
        _registry().parse_units(words)
    except Exception:  # pint lets many kinds through, from the tokenizer upwards
        raise BadInput(f"{_quote(value)}: the unit cannot be read; {_wanted(units)}") from None


def _spell(words: str, money: bool) -> str:
    """Unit text as people write it -> as pint reads it."""
    words = words.replace("²", "2").replace("³", "3").replace("·", " ").replace("^", "**")
    words = words.replace("°", "deg").replace("Δ", "delta_").replace("µ", "u")
    words = re.sub(r"%", "percent", re.sub(r"\s+per\s+", "/", words))
    words = re.sub(r"\bdeg\s+(?=[CF]\b)", "deg", words)
    words = re.sub(r"(?<=[A-Za-z])([23])(?![\w.])", r"**\1", words)
    return re.sub(r"^\s*/", "money/" if money else "1/", words)


def _to(number: float, words: str, unit: str) -> float | None:
    """``number`` in ``unit``, or None where the two do not measure the same thing."""
    if unit == "degC":
        if words not in _ABSOLUTE:
            return None
        scale, offset = _ABSOLUTE[words]
        return (number - offset) / scale
    if not words:
        return number if unit == "1" else None
    factor = _factor(words, unit)
    if factor is None:
        return None
    inverse = round(1 / factor) if factor < 1 else 1
    return number / inverse if inverse * factor == 1.0 else number * factor  # 95 % is 0.95


@functools.cache
def _factor(words: str, unit: str) -> float | None:
    """How many ``unit`` one of ``words`` is."""
    registry = _registry()
    given = registry.Quantity(1.0, registry.parse_units(words))
    wanted = registry.parse_units("" if unit == "1" else _spell(unit, money=False))
    return float(given.to(wanted).magnitude) if given.is_compatible_with(wanted) else None


@functools.cache
def _registry() -> Any:
    import pint

    registry: Any = pint.UnitRegistry(None)
    registry.load_definitions([line for line in DEFINITIONS.split("\n") if line])
    return registry


@functools.cache
def _spellings() -> frozenset[str]:
    return spellings()


def _nearest(word: str) -> str:
    if word.lower() in _CONFUSED:
        return f" ({_CONFUSED[word.lower()]})"
    lower = {known.lower(): known for known in sorted(_spellings())}
    close = difflib.get_close_matches(word.lower(), lower, n=1)
    return f" (did you mean {lower[close[0]]!r}?)" if close else ""


def _kind_of(words: str) -> str:
    for unit, (noun, *_) in EXAMPLES.items():
        if words and unit != "degC" and _factor(words, unit) is not None:
            return f"{words.replace('**', '')} is {noun}"
    brackets = " (brackets missing, as in W/(m2 K)?)" if re.search("/.* ", words) else ""
    return f"the unit measures something else{brackets}"


def _examples(units: tuple[str, ...]) -> str:
    samples = EXAMPLES[units[0]][1:] if len(units) == 1 else [EXAMPLES[u][1] for u in units]
    return "for example " + " or ".join(f'"{sample}"' for sample in samples)


def _wanted(units: tuple[str, ...]) -> str:
    nouns = " or ".join(EXAMPLES[unit][0] for unit in units)
    return f"wanted is {nouns}, {_examples(units)}"


def _quote(value: object) -> str:
    return f'"{value}"' if isinstance(value, str) else str(value)


# --- writing -----------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True, slots=True)
class _Scale:
    """Shown number = value * factor + offset."""

    factor: float
    unit: str
    digits: int
    offset: float = 0.0


_POUND, _FOOT, _BTU = 0.45359237, 0.3048, 1055.05585262
_CFM = _FOOT**3 / 60
_ZERO_F_AIR = 7.687
"""Dry air at 32 °F above dry air at 0 °F. [Btu/lb]"""


def _both(metric: tuple[Any, ...], us: tuple[Any, ...]) -> dict[str, _Scale]:
    return {
        name: _Scale(factor=row[0], unit=row[1], digits=row[2], offset=(*row, 0.0)[3])
        for name, row in (("metric", metric), ("us", us))
    }


_SHOWN = {
    "1": _both((1, "", 3), (1, "", 3)),
    "1 percent": _both((100, "%", 1), (100, "%", 1)),
    "1 ppm": _both((1e6, "ppm", 0), (1e6, "ppm", 0)),
    "degC": _both((1, "°C", 1), (1.8, "°F", 1, 32.0)),
    "delta_degC": _both((1, "K", 2), (1.8, "delta_degF", 2)),
    "delta_degC/s": _both((86400, "K/day", 2), (86400 * 1.8, "°F/day", 2)),
    "m": _both((1, "m", 2), (1 / _FOOT, "ft", 1)),
    "m small": _both((1000, "mm", 1), (1 / 0.0254, "inch", 2)),
    "m2": _both((1, "m²", 1), (_FOOT**-2, "ft²", 0)),
    "m3": _both((1, "m³", 0), (_FOOT**-3, "ft³", 0)),
    "kg": _both((1e-3, "t", 1), (1 / _POUND, "lb", 0)),
    "kg small": _both((1, "kg", 1), (1 / _POUND, "lb", 1)),
    "kg/m3": _both((1, "kg/m³", 1), (_FOOT**3 / _POUND, "lb/ft³", 2)),
    "m3/kg": _both((1, "m³/kg", 4), (_POUND / _FOOT**3, "ft³/lb", 3)),
    "kg/kg": _both((1e3, "g/kg", 2), (7e3, "gr/lb", 1)),
    "J/kg": _both((1e-3, "kJ/kg", 2), (_POUND / _BTU, "Btu/lb", 2)),
    "J/kg dry air": _both((1e-3, "kJ/kg", 2), (_POUND / _BTU, "Btu/lb", 2, _ZERO_F_AIR)),
    "m/s": _both((1, "m/s", 2), (60 / _FOOT, "ft/min", 0)),
    "m3/s": _both((3600, "m³/h", 0), (1 / _CFM, "cfm", 0)),
    "m3/(s kg)": _both((3.6e6, "m³/(h t)", 1), (2000 * _POUND / _CFM, "cfm/ton", 1)),
    "m3/(s t)": _both((3600, "m³/(h t)", 1), (2 * _POUND / _CFM, "cfm/ton", 1)),
    "kg/s": _both((3600, "kg/h", 1), (3600 / _POUND, "lb/h", 1)),
    "Pa": _both((1, "Pa", 0), (1 / 249.08891, "inH2O", 2)),
    "Pa air": _both((1e-3, "kPa", 2), (1 / 3386.389, "inHg", 2)),
    "W": _both((1e-3, "kW", 2), (3600 / _BTU, "Btu/h", 0)),
    "W electrical": _both((1e-3, "kW", 2), (1e-3, "kW", 2)),
    "W refrigeration": _both((1e-3, "kW", 1), (0.3 / _BTU, "ton_refrigeration", 1)),
    "W/kg": _both((1e3, "W/t", 1), (3600 * 2000 * _POUND / _BTU, "Btu/(h ton)", 0)),
    "W/(m2 K)": _both((1, "W/(m² K)", 3), (_FOOT**2 * 2000 / _BTU, "Btu/(h ft² °F)", 4)),
    "J": _both((1 / 3.6e6, "kWh", 1), (1 / 3.6e6, "kWh", 1)),
    "1/s": _both((3600, "/hour", 2), (3600, "/hour", 2)),
    "s": _both((1 / 3600, "h", 1), (1 / 3600, "h", 1)),
    "s days": _both((1 / 86400, "days", 1), (1 / 86400, "days", 1)),
    "money": _both((1, "", 0), (1, "", 0)),
    "money/J": _both((3.6e6, "/kWh", 3), (3.6e6, "/kWh", 3)),
    "money/kg": _both((1e3, "/t", 0), (100 * _POUND, "/cwt", 2)),
}


def _scale(quantity_unit: str, units: UnitSystem) -> _Scale:
    if units not in ("metric", "us"):
        raise BadInput(f'units = "{units}": must be "metric" or "us"')
    if quantity_unit not in _SHOWN:
        close = difflib.get_close_matches(quantity_unit, _SHOWN, n=1)
        hint = f'did you mean "{close[0]}"?' if close else "one of " + ", ".join(_SHOWN)
        raise BadInput(f'quantity_unit = "{quantity_unit}": cannot be shown; {hint}')
    return _SHOWN[quantity_unit][units]


def convert(value: Any, quantity_unit: str, units: UnitSystem = "metric") -> tuple[Any, str]:
    """
    Convert results for a table or a plot.

    Parameters
    ----------
    value : float or array-like
        What to convert. [quantity_unit]
    quantity_unit : str
        Unit inside ventcalc; a word after it picks a special case: ``"m small"`` (mm, inch),
        ``"kg small"`` (kg, lb), ``"Pa air"`` (kPa, inHg), ``"1 percent"``, ``"1 ppm"``,
        ``"W electrical"`` (kW), ``"W refrigeration"`` (kW, tons), ``"s days"``,
        ``"J/kg dry air"`` (enthalpy of moist air).
    units : {"metric", "us"}
        Which units to give.

    Returns
    -------
    number : float or array
        In the unit of the label.
    label : str
        The unit; empty for a plain number.

    Raises
    ------
    BadInput
        If ``quantity_unit`` or ``units`` is not known.

    Notes
    -----
    ``"J/kg dry air"`` in US units counts dry air from 0 °F as ASHRAE's I-P tables do, which
    puts it 7.687 Btu/lb above the plain factor; ``"J/kg"`` is the plain factor and right for
    differences. Factors as in NIST SP 811, appendix B.8.
    """
    scale = _scale(quantity_unit, units)
    number = value if isinstance(value, float | int) else np.asarray(value, dtype=float)
    return number * scale.factor + scale.offset, scale.unit


def show(
    value: float, quantity_unit: str, units: UnitSystem = "metric", digits: int | None = None
) -> str:
    """
    Write one result with its unit.

    Parameters
    ----------
    value : float
        What to write; NaN gives ``unknown``. [quantity_unit]
    quantity_unit : str
        Unit inside ventcalc, as for ``convert``.
    units : {"metric", "us"}
        Which units to use.
    digits : int, optional
        Decimals; by default what suits the quantity.

    Returns
    -------
    str
        For example ``"38.0 °F"``; US numbers have thousands commas.

    Raises
    ------
    BadInput
        If ``quantity_unit`` or ``units`` is not known.
    """
    if math.isnan(value):
        return "unknown"
    number, label = convert(float(value), quantity_unit, units)
    places = _scale(quantity_unit, units).digits if digits is None else digits
    number = round(number, places) + 0.0  # no "-0.0"
    text = f"{number:,.{places}f}" if units == "us" else f"{number:.{places}f}"
    label = label.replace("delta_degF", "°F").replace("_", " ").replace(" refrigeration", "")
    glue = "" if label.startswith(("/", "%")) or not label else " "
    return f"{text}{glue}{label}"


def shown_unit(quantity_unit: str, units: UnitSystem = "metric") -> str:
    """
    Unit in which ``convert`` gives a quantity.

    Parameters
    ----------
    quantity_unit : str
        Unit inside ventcalc, as for ``convert``.
    units : {"metric", "us"}
        Which units.

    Returns
    -------
    str
        The label; ``parse`` reads it.

    Raises
    ------
    BadInput
        If ``quantity_unit`` or ``units`` is not known.
    """
    return _scale(quantity_unit, units).unit
