"""When limits would be met in the days ahead: of the weather, of pile and air."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ventcalc import air
from ventcalc.advice.action import COOL_BY_OUTSIDE
from ventcalc.pile.crop import crop_for
from ventcalc.season.kpi import WET_FILM
from ventcalc.season.run import Season

__all__ = ["EVENTS", "Event", "events_of"]

Flags = NDArray[np.bool_]
DEEP_FROST = -15.0
"""Outside air of which a bay bears a slit of the door at most; common practice, no source. [°C]"""
FOG = 0.97
"""Relative humidity outside from which fog is near; common practice, no source. [0-1]"""
LONG, SOME = 24, 3
"""Hours of a warm spell, and of frost and fog, from which they are told. [h]"""
OVER_NIGHT = 12
"""Stretches no farther apart are one. [h]"""


@dataclass(frozen=True, kw_only=True)
class Event:
    """One stretch in which something is beyond its limit."""

    kind: str
    """A key of ``EVENTS``."""
    begin: float
    """UTC since 1970-01-01. [s]"""
    end: float
    """UTC since 1970-01-01. [s]"""
    hours: int
    """In which it is so, within that stretch. [h]"""
    value: float
    """The worst of it, in the unit of its kind; [any]."""


@dataclass(frozen=True, kw_only=True)
class _Kind:
    words: str
    unit: str
    when: Callable[[Season], Flags]
    value: Callable[[Season], NDArray[np.float64]]
    worst: Callable[[NDArray[np.float64]], float]
    least: int = 1
    """Hours on end from which it is told. [h]"""


def _off_target(season: Season) -> NDArray[np.float64]:
    return season.traces["pulp_mean"] - season.traces["target"]


def _spread(season: Season) -> NDArray[np.float64]:
    tenth = max(1, season.pulp.shape[1] // 10)
    top, bottom = season.pulp[:, -tenth:].mean(axis=1), season.pulp[:, :tenth].mean(axis=1)
    spread: NDArray[np.float64] = top - bottom
    return spread


def _coldest_supply(season: Season) -> NDArray[np.float64]:
    """Outside air, at its wet bulb where the bay has a humidifier. [°C]"""
    outside = season.traces["outside_temperature"]
    if season.bay.humidifier is None:
        return outside
    pressure = float(air.standard_pressure(season.bay.site.altitude))
    found: NDArray[np.float64] = air.wet_bulb(
        outside, season.traces["outside_humidity_ratio"], pressure
    )
    return found


def _high(values: NDArray[np.float64]) -> float:
    return float(values.max())


def _low(values: NDArray[np.float64]) -> float:
    return float(values.min())


EVENTS = {
    "freezing": _Kind(
        words="pulp at freezing injury", unit="degC", worst=_low,
        when=lambda s: s.pulp.min(axis=1) < crop_for(s.bay.use).injury_temperature,
        value=lambda s: s.pulp.min(axis=1),
    ),
    "freeze_protection": _Kind(
        words="freeze protection acts", unit="degC", worst=_low,
        when=lambda s: s.records["frost_stage"] >= 1.0,
        value=lambda s: s.traces["outside_temperature"],
    ),
    "wet": _Kind(
        words="wet potatoes", unit="1", worst=_high,
        when=lambda s: s.records["wettest"] > WET_FILM, value=lambda s: s.records["wettest"],
    ),
    "dripping": _Kind(
        words="the ceiling drips", unit="degC", worst=_low,
        when=lambda s: s.records["drip"] > 0.0,
        value=lambda s: s.records["ceiling_temperature"],
    ),
    "co2": _Kind(
        words="CO2 over the bay's limit", unit="1 ppm", worst=_high,
        when=lambda s: s.records["co2"] > s.bay.limits.co2, value=lambda s: s.records["co2"],
    ),
    "too_warm": _Kind(
        words="pulp above target and band", unit="delta_degC", worst=_high,
        when=lambda s: _off_target(s) > s.bay.limits.band, value=_off_target,
    ),
    "too_cold": _Kind(
        words="pulp below target and band", unit="delta_degC", worst=_low,
        when=lambda s: _off_target(s) < -s.bay.limits.band, value=_off_target,
    ),
    "spread": _Kind(
        words="top over bottom beyond its limit", unit="delta_degC", worst=_high,
        when=lambda s: _spread(s) > s.bay.limits.spread, value=_spread,
    ),
    "warm_spell": _Kind(
        words="warm spell, outside air too warm to cool", unit="degC", worst=_high, least=LONG,
        when=lambda s: (
            _coldest_supply(s) > s.traces["pulp_mean"] - s.bay.control.outside_offset
        ) & (s.records["action"] != COOL_BY_OUTSIDE),
        value=lambda s: s.traces["outside_temperature"],
    ),
    "deep_frost": _Kind(
        words="deep frost", unit="degC", worst=_low, least=SOME,
        when=lambda s: s.traces["outside_temperature"] < DEEP_FROST,
        value=lambda s: s.traces["outside_temperature"],
    ),
    "fog": _Kind(
        words="fog or nearly", unit="1", worst=_high, least=SOME,
        when=lambda s: _outside_humidity(s) >= FOG,
        value=lambda s: _outside_humidity(s),
    ),
}  # fmt: skip
"""Kinds of events, the gravest first."""


def _outside_humidity(season: Season) -> NDArray[np.float64]:
    """
    Over water, as a weather station means it [0-1]. Frost of more than 3 K never looks foggy: what
    is more than saturated over ice has been taken out of the weather.
    """
    pressure = float(air.standard_pressure(season.bay.site.altitude))
    outside = season.traces["outside_temperature"]
    found = air.relative_humidity(outside, season.traces["outside_humidity_ratio"], pressure)
    frost = outside < air.FREEZING
    ice = air.relative_humidity_over_ice(np.minimum(outside, 0.0), np.ones_like(outside))
    over_water: NDArray[np.float64] = np.where(frost, found / ice, found)
    return over_water


def events_of(season: Season) -> tuple[Event, ...]:
    """What is met in the run, the gravest kind first, each kind by time."""
    times = season.time.astype("datetime64[s]").astype(float)
    step = season.state.time - times[-1]
    found = []
    for name, kind in EVENTS.items():
        flags, values = kind.when(season), kind.value(season)
        for first, last in _stretches(flags, kind.least, step):
            rows = np.arange(first, last + 1)[flags[first : last + 1]]
            found.append(
                Event(
                    kind=name,
                    begin=float(times[first]),
                    end=float(times[last] + step),
                    hours=round(len(rows) * step / 3600.0),
                    value=kind.worst(values[rows]),
                )
            )
    return tuple(found)


def _stretches(flags: Flags, least: int, step: float) -> list[tuple[int, int]]:
    """First and last step of each stretch; short breaks do not part what is told from one hour."""
    rows = np.flatnonzero(flags)
    if not len(rows):
        return []
    apart = 1 if least > 1 else round(OVER_NIGHT * 3600.0 / step)
    cuts = np.flatnonzero(np.diff(rows) > apart)
    firsts = rows[np.concatenate([[0], cuts + 1])]
    lasts = rows[np.concatenate([cuts, [len(rows) - 1]])]
    return [
        (int(a), int(b))
        for a, b in zip(firsts, lasts, strict=True)
        if (b - a + 1) * step >= least * 3600.0
    ]
