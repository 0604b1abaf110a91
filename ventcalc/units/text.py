"""
The border: text with a unit in.

Inside ventcalc a number has the one unit of its name (°C, Pa, kg, m³/s, s ...). ``parse`` reads
what people write.
"""

from __future__ import annotations

import difflib
import functools
import math
import re
import sys
from typing import Any

from ventcalc.errors import BadInput
from ventcalc.units.common import COMMON
from ventcalc.units.definitions import DEFINITIONS, EXAMPLES, spellings

__all__ = ["parse", "parse_any"]

_LONGEST = 80
_NUMBER = re.compile(r"\s*([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)(?![\d,])\s*(.*?)\s*", re.S)
# Units joined by * / ( ) and single-digit powers; no other number, which pint would work out.
_UNIT = re.compile(r"(?:1(?=\s*/))?(?:\*\*-?\d(?!\d|\s*\*\*)|[^\W\d]\w*|[*/() ])*")
_RESISTANCE = re.compile(r"\s*(RSI|R)[- ]?\s*(\d+\.?\d*)\s*")
_RESISTANCE_UNIT = {"RSI": 1.0, "R": 5.678263}  # W/(m² K) of 1 Btu/(h ft² °F), NIST SP 811
_FOOT, _INCH = r"(?:'|′|ft|foot|feet)", r"(?:''|\"|″|inch(?:es)?|in)"
_FEET_AND_INCHES = re.compile(
    rf"\s*(?:(\d+(?:\.\d+)?)\s*{_FOOT}[\s,-]*)?"
    rf"(?:(\d+(?:\.\d+)?)?(?:[\s-]*\b(\d+)/([1-9]\d*))?\s*{_INCH})?\s*"
)
_MEASURED = frozenset(words for worth in COMMON.values() for words in worth)
"""Each measures one thing; the tests hold that too."""
_ABSOLUTE = {
    **dict.fromkeys(("degC", "C", "celsius"), (1.0, 0.0)),
    **dict.fromkeys(("degF", "F", "fahrenheit"), (1.8, 32.0)),
    "K": (1.0, 273.15),
    "kelvin": (1.0, 273.15),
}
_TONS = "ton or short_ton is 2000 lb, t or tonne 1000 kg, long_ton 2240 lb"
_CONFUSED = {
    "mt": "write t or tonne, 1000 kg",
    "metric_ton": "write t or tonne, 1000 kg",
    "tr": "write ton_refrigeration",
    "rt": "write ton_refrigeration",
    "usd": "a price is written with a slash, for example 0.09 /kWh",
    "mcfm": "write 1000 cfm",
}


def parse(value: object, unit: str) -> float:
    """
    Read a number with its unit.

    Parameters
    ----------
    value : str or number
        For example ``"16 ft"``. A bare number is accepted only where ``unit`` is ``"1"``.
    unit : str
        Unit wanted, a key of ``ventcalc.units.definitions.EXAMPLES``.

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
    if "W/(m2 K)" in units and isinstance(value, str) and (r := _RESISTANCE.fullmatch(value)):
        return _transmittance(value, r), "W/(m2 K)"
    if "m" in units and (length := _feet_and_inches(value)) is not None:
        return length, "m"
    number, words = _split(value, units)
    for unit in units:
        result = _to(number, words, unit)
        if result is not None:
            return result, unit
    raise BadInput(f"{quoted(value)}: {_kind_of(words)}; {_wanted(units)}")


def _feet_and_inches(value: object) -> float | None:
    """``17'``, ``17 ft 6 in``, ``6' 2 1/2"``; None for any other text. [m]"""
    found = _FEET_AND_INCHES.fullmatch(value) if isinstance(value, str) else None
    if found is None or len(str(value)) > _LONGEST or not any(found.groups()):
        return None
    feet, inches, above, below = (float(part or 0) for part in found.groups())
    small = inches + (above / below if below else 0.0)
    if found[1] and small >= 12.0:
        raise BadInput(f"{quoted(value)}: 12 inches or more beside feet; write the feet apart")
    return feet * 0.3048 + small * 0.0254


def _transmittance(value: str, match: re.Match[str]) -> float:
    """Insulation is sold by its thermal resistance: ``R-30`` or ``RSI 5.3``."""
    resistance = float(match[2])
    if resistance == 0:
        raise BadInput(f"{quoted(value)}: a resistance must be greater than zero")
    return _RESISTANCE_UNIT[match[1]] / resistance


def _split(value: object, units: tuple[str, ...]) -> tuple[float, str]:
    """The number and the unit text, the latter in pint's spelling."""
    if isinstance(value, int | float) and not isinstance(value, bool):
        if not abs(value) < 1e300:
            raise BadInput(f"{quoted(value)}: not a number one can use; {_wanted(units)}")
        if "1" not in units:
            raise BadInput(f"{quoted(value)}: a bare number; write the unit, {_examples(units)}")
        return float(value), ""
    if not isinstance(value, str):
        raise BadInput(f"{quoted(value)}: not a number with a unit; {_wanted(units)}")
    match = _NUMBER.fullmatch(value) if len(value) <= _LONGEST else None
    if match is None or not math.isfinite(float(match[1])):
        comma = "; write the number without commas" if "," in value else ""
        raise BadInput(
            f"{quoted(value)}: does not begin with a plain number{comma}; {_wanted(units)}"
        )
    words = _spell(match[2], money=any("money" in unit for unit in units))
    if not words and "1" not in units:
        raise BadInput(f"{quoted(value)}: no unit; write it, {_examples(units)}")
    _check_words(value, words, units)
    return float(match[1]), words


def _check_words(value: str, words: str, units: tuple[str, ...]) -> None:
    """Refuse unknown units, and what is not built of units, ``*``, ``/``, powers and brackets."""
    for word in re.findall(r"[^\W\d]\w*", words):
        if word not in _spellings():
            raise BadInput(
                f"{quoted(value)}: unit {word!r} is not known{_nearest(word)}; {_wanted(units)}"
            )
    if not _readable(words):
        raise BadInput(f"{quoted(value)}: the unit cannot be read; {_wanted(units)}")


@functools.cache
def _readable(words: str) -> bool:
    if _UNIT.fullmatch(words) is None:
        return False
    if words in _ABSOLUTE or words in _MEASURED:
        return True
    try:
        _registry().parse_units(words)
    except Exception:  # pint lets many kinds through, from the tokenizer upwards
        return False
    return True


def _spell(words: str, money: bool) -> str:
    """Unit text as people write it -> as pint reads it."""
    words = words.replace("²", "2").replace("³", "3").replace("·", " ").replace("^", "**")
    words = words.replace("°", "deg").replace("Δ", "delta_").replace("µ", "u")
    words = re.sub(r"\bTR\b|\btons?( of)? refrigeration\b", "ton_refrigeration", words)
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
    """How many ``unit`` one of ``words`` is; None where they measure different things."""
    if unit in COMMON and words in _MEASURED:
        return COMMON[unit].get(words)
    registry = _registry()
    given = registry.Quantity(1.0, registry.parse_units(words))
    wanted = registry.parse_units("" if unit == "1" else _spell(unit, money=False))
    return float(given.to(wanted).magnitude) if given.is_compatible_with(wanted) else None


@functools.cache
def _registry() -> Any:
    # Pint loads Dask wherever that is installed: a third of a second that no unit needs.
    modules: dict[str, Any] = sys.modules
    hidden = modules.setdefault("dask", None) is None
    try:
        import pint
    finally:
        if hidden:
            del modules["dask"]
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
    if close and "ton" in close[0]:
        return f" ({_TONS})"
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


def quoted(value: object) -> str:
    """A value for an error message, on one line and not too long."""
    text = " ".join((value if isinstance(value, str) else repr(value)).split())
    text = text if len(text) <= _LONGEST else text[:_LONGEST] + "..."
    return f'"{text}"' if isinstance(value, str) else text
