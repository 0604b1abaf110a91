"""
What an hour of ordinary operation says of the offsets of its probes: rows of a linear filter.

Each row is a balance that holds for what is true. Put with what was read, it shows a combination of
offsets: recirculated air keeps its heat and, with the spray off, its water; the lowest tubers take
the temperature of the supply; air that leaves the pile is as warm and nearly as moist as the top;
by night the outside probe reads what the forecast, or the weather station, says.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ventcalc import air
from ventcalc.air.plain import AIR_HEAT, EVAPORATION, VAPOUR_HEAT, WATER_HEAT
from ventcalc.diagnose.hours import HOUR
from ventcalc.diagnose.scene import DAY, OFF, Scene
from ventcalc.pile.crop import transpiration_coefficient

__all__ = ["EXIT", "GRID", "PRIOR", "STATES", "STATION", "Row", "rows_of"]

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Values = Mapping[str, Array]

PRIOR = {
    "pulp": 0.3, "top": 0.3, "plenum": 0.3, "return": 0.3, "outside": 1.0,
    "plenum_humidity": 3.0, "return_humidity": 3.0, "outside_humidity": 3.0,
    "rise": 0.2, "skin": 0.4, "activity": 0.007,
    "duct": 0.1, "bottom": 0.15, "above": 0.15, "exit": 0.7,
    "station": 0.5,
}  # fmt: skip
"""
Standard uncertainty before anything is learnt: offsets of probes as shipped [K, % RH], fan heat,
logarithm of the skin's transpiration, water activity [1], errors of the balances themselves
[K, K, K, % RH], and what forecasts or the station stand off the site all season long [K]. The
outside probe hangs in sun, rain and snow. Assumptions of this project, no source.
"""
STATES = tuple(PRIOR)
ACTIVITY = 0.985
"""Of the skin, before anything is learnt: Kelvin's equation with tuber water potentials near -0.6
MPa (Bland and Tanner 1985) gives 0.995, crop data 0.98. [1]"""
GRID = np.linspace(-1.2, 1.2, 11)
"""Values of ``skin`` at which its row is made linear. [1]"""
SPRAY_WATER = 10.0
"""Of the humidifier's water. [°C]"""
EXIT = 3
"""Place among the rows of the one of the air that leaves the pile."""
STATION = 6
"""Of the one of the outside probe against a forecast or a station."""
EVERY = 3
"""Of the dark hours one in so many: a forecast that errs goes on erring. [h]"""
FORETOLD = 2.4
"""Error of such an hour, of which two or three count in a night. [K]"""
SLICES = 8
"""Of the pile, through which the air comes nearer to the skin's humidity. [1]"""
HEALED = 20 * DAY
"""After the first load; before it the skin changes too fast. [s]"""
SATURATED = 0.995
"""Where humidity probes tell nothing more. [0-1]"""
DRIES = 12.0
"""After the spray stops, wet walls and ducts still evaporate; common practice, no source. [h]"""
STEADY, LONG = 2.0, 10.0
"""Of a run, after which the air, and the lowest tubers, have settled. [h]"""
SAME_SPEED, SAME_SUPPLY = 0.05, 0.35
"""Changes that still count as none. [0-1, K]"""
PROBE, HUMIDITY_PROBE = 0.1, 1.0
"""Noise of an hourly mean. [K, % RH]"""
SPREAD = 6.0
"""Times its variance that a row's own error counts: it comes back hour after hour. [1]"""


@dataclass(frozen=True, kw_only=True, eq=False)
class Row:
    """One balance in the hours in which it holds: rest + slopes · state is nothing but noise."""

    place: NDArray[np.int64]
    """Of each hour of the log among those in which it holds; -1 where it does not."""
    rest: Array
    """With the readings as they are: (grid, those hours). [K or % RH]"""
    slopes: Array
    """(grid, those hours, states). [per unit of each state]"""
    noise: float
    """Of the balance itself, for an hour. [K or % RH]"""
    judged: bool = True
    """Whether what it leaves over tells if the balances hold; a forecast errs by itself."""

    def variance(self) -> Array:
        """Noise of what was read, and of the balance: (grid, those hours)."""
        read = np.array([PROBE] * 5 + [HUMIDITY_PROBE] * 3 + [0.0] * (len(STATES) - 8))
        found: Array = np.sum((self.slopes * read) ** 2, axis=2) + SPREAD * self.noise**2
        return found


def rows_of(scene: Scene, age: Array) -> list[Row]:
    """Every row of a log."""
    hours = scene.hours
    seen = {
        "pulp": hours.pulp[:, 0],
        "middle": np.nanmean(hours.pulp, axis=1),
        "top": hours.pulp[:, -1],
        "plenum": scene.plenum_temperature,
        "return": scene.return_temperature,
        "outside": scene.outside_temperature,
        **{f"{x}_humidity": 100.0 * hours.get(f"{x}_relative_humidity")
           for x in ("plenum", "return", "outside")},
        "read": scene.plenum_temperature,
        "lately": _mean_of_last(scene.plenum_temperature, 6),
        "leak": scene.fresh,
        "fans": scene.fan_rise,
        "units": _transfer_units(scene),
    }  # fmt: skip
    run, spray_off = _run_hours(scene), _since_spray(scene)
    sound = scene.stored & (age > HEALED) & (run >= STEADY) & ~(scene.heater > OFF)
    sound &= (seen["plenum_humidity"] < 100.0 * SATURATED) & np.isfinite(seen["plenum"])
    sound &= ~(scene.refrigeration > OFF)  # behind a coil the supply is as good as saturated
    shut = sound & (scene.door <= OFF)
    dry = shut & (spray_off >= DRIES)
    settled = np.abs(seen["plenum"] - _mean_of_last(seen["plenum"], 4)) < SAME_SUPPLY
    heat, water, mixed, leaves = _balances(scene.pressure)
    exit_able = sound & (seen["return_humidity"] < 100.0 * SATURATED)
    beside = {**seen, "outside": scene.outside_all,
              "foretold": scene.hours.mean_of("forecast_temperature")}  # fmt: skip
    third = scene.dark & (np.rint(scene.hours.time / HOUR) % EVERY == 0)
    return [
        _row(heat, seen, dry, 0.05, "duct"),
        _row(water, seen, dry, 0.4),
        _row(mixed, seen, shut & ~dry, 0.08, "duct"),
        _row(leaves, seen, exit_able, 0.6, "exit", grid=GRID, lacks=("outside", "rise")),
        _row(lambda x: x["return"] - x["top"], seen, sound, 0.15, "above"),
        _row(lambda x: x["pulp"] - (x["lately"] - x["read"] + x["plenum"]), seen,
             sound & (run >= LONG) & settled, 0.12, "bottom"),
        replace(_row(lambda x: x["outside"] - x["foretold"], beside, third,
                     FORETOLD / SPREAD**0.5, "station"), judged=False),
    ]  # fmt: skip


def _balances(pressure: float) -> Sequence[Callable[[Values], Array]]:
    """Heat and water of recirculated air, both where it is wetted, and water from the pile."""

    def moisture(x: Values, of: str) -> Array:
        relative = np.clip(x[f"{of}_humidity"] / 100.0, 0.01, 1.0)
        found: Array = air.humidity_ratio(x[of], relative, pressure)
        return found

    def blend(x: Values, back: Array, fresh: Array) -> Array:
        return back + x["leak"] * (fresh - back)

    def heat(x: Values) -> Array:
        come = blend(x, x["return"], x["outside"])
        return x["plenum"] - come - x["fans"] * (1.0 + x["rise"])

    def water(x: Values) -> Array:
        come = blend(x, moisture(x, "return"), moisture(x, "outside"))
        return (moisture(x, "plenum") - come) / _per_cent(x["plenum"], pressure)

    def mixed(x: Values) -> Array:
        wet = {of: moisture(x, of) for of in ("plenum", "return", "outside")}
        held = {of: AIR_HEAT * x[of] + w * (EVAPORATION + VAPOUR_HEAT * x[of])
                for of, w in wet.items()}  # fmt: skip
        gained = wet["plenum"] - blend(x, wet["return"], wet["outside"])
        more = held["plenum"] - blend(x, held["return"], held["outside"])
        more = more - gained * WATER_HEAT * SPRAY_WATER
        return more / AIR_HEAT - x["fans"] * (1.0 + x["rise"])

    def leaves(x: Values) -> Array:
        wet, step = moisture(x, "plenum"), np.exp(-x["units"] * np.exp(x["skin"]) / SLICES)
        for place in (np.arange(SLICES) + 0.5) / SLICES:
            ends = ("pulp", "middle") if place < 0.5 else ("middle", "top")
            part = 2.0 * place % 1.0
            skin = (1.0 - part) * x[ends[0]] + part * x[ends[1]]
            level = air.humidity_ratio(skin, np.minimum(ACTIVITY + x["activity"], 1.0), pressure)
            wet = level + (wet - level) * step
        return (moisture(x, "return") - wet) / _per_cent(x["return"], pressure)

    return heat, water, mixed, leaves


def _per_cent(temperature: Array, pressure: float) -> Array:
    found: Array = 0.01 * air.saturation_humidity_ratio(temperature, pressure)
    return found


def _transfer_units(scene: Scene) -> Array:
    """Transfer units of the healed pile at the speed of each hour. [1]"""
    bay, pressure = scene.bay, scene.pressure
    speed = np.cbrt(scene.hours.cube / np.maximum(scene.hours.running, 1e-9))
    per_mass = bay.fans.airflow * np.maximum(speed, 1e-3) / bay.mass
    per_mass = per_mass / air.specific_volume(5.0, 0.005, pressure)
    vapour = (1.0 + 0.005 / air.MASS_RATIO) ** 2 * air.MASS_RATIO / pressure
    healed = float(transpiration_coefficient(1e9, bay.crop))
    found: Array = healed / (per_mass * vapour)
    return found


_SIGN = {**dict.fromkeys(STATES[:8], -1.0), **dict.fromkeys(STATES[8:11], 1.0)}
"""Truth is the reading less its offset, and a parameter more by its own error."""


def _row(
    balance: Callable[[Values], Array],
    seen: Values,
    able: Flags,
    noise: float,
    error: str | None = None,
    grid: Array | None = None,
    lacks: tuple[str, ...] = (),
) -> Row:
    """A balance made linear in everything that is to be learnt, by differences."""
    hours = np.flatnonzero(able)
    none = np.zeros(len(hours))
    values = {name: x[hours] for name, x in seen.items()} | dict.fromkeys(STATES[8:11], none)
    points = np.zeros(1) if grid is None else grid
    rest = np.empty((len(points), len(hours)))
    slopes = np.zeros((len(points), len(hours), len(STATES)))
    for g, point in enumerate(points):
        values["skin"] = none + point
        rest[g] = balance(values)
        for j, (name, sign) in enumerate(_SIGN.items()):
            if name.startswith(lacks or " "):
                continue
            small = 1e-3 if name in ("activity", "skin", "rise") else 0.01
            moved = {**values, name: values[name] + sign * small}
            if name == "pulp":  # probes of pulp between the ends share the error of the lowest
                moved["middle"] = values["middle"] - small
            slopes[g, :, j] = (balance(moved) - rest[g]) / small
        rest[g] -= slopes[g, :, STATES.index("skin")] * point
    if error is not None:
        slopes[:, :, STATES.index(error)] = -1.0
    sound = np.flatnonzero(np.isfinite(rest[0]) & np.isfinite(slopes[0]).all(axis=1))
    place = np.full(len(able), -1)
    place[hours[sound]] = sound
    return Row(
        place=place,
        rest=rest,
        slopes=slopes,
        noise=noise,
    )


def _run_hours(scene: Scene) -> Array:
    """Whole hours for which the fans have run at one speed. [h]"""
    hours = scene.hours
    speed = np.cbrt(np.nan_to_num(hours.cube))
    runs = np.nan_to_num(hours.running) > 0.99
    follows = np.concatenate([[False], np.diff(hours.time) < 1.5 * HOUR])
    same = follows & (np.abs(np.diff(speed, prepend=-1.0)) < SAME_SPEED)
    found, count = np.zeros(len(runs)), 0.0
    for k in range(len(runs)):
        count = (count + 1.0 if same[k] else 1.0) if runs[k] else 0.0
        found[k] = count
    return found


def _since_spray(scene: Scene) -> Array:
    """Since the humidifier last ran, with the fans on or off. [h]"""
    told = scene.hours.mean_of("humidifier")
    if scene.bay.humidifier.capacity <= 0.0:
        return np.full(len(told), np.inf)
    found, since = np.empty(len(told)), 0.0
    gaps = np.diff(scene.hours.time, prepend=scene.hours.time[0]) / HOUR
    for k in range(len(told)):
        since = since + gaps[k] if told[k] <= OFF else 0.0
        found[k] = since
    return found


def _mean_of_last(values: Array, count: int) -> Array:
    """Mean of so many hours up to each; NaN where one of them lacks."""
    found = np.full(len(values), np.nan)
    if len(values) >= count:
        found[count - 1 :] = np.convolve(values, np.full(count, 1.0 / count), "valid")
    return found
