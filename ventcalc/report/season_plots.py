"""Plots of a season, over one axis of dates that zooms in all of them at once."""

from __future__ import annotations

from calendar import timegm
from collections.abc import Callable, Sequence
from datetime import timedelta
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ventcalc.report.season_days import Days, local, noon, stage_runs, stamps
from ventcalc.units import UnitSystem, convert, shown_unit
from ventcalc.web.bars import bars
from ventcalc.web.chart import Level, Line, Mark, chart
from ventcalc.web.strips import strips
from ventcalc.web.svg import Picture

__all__ = [
    "PARTS",
    "actions_plot",
    "carbon_plot",
    "energy_plot",
    "loss_plot",
    "margin_plot",
    "outside_plot",
    "pile_plot",
    "small_plot",
]

Array = NDArray[np.float64]
DAY = 86400.0
SYNC = "season"


def _temperature(values: Any, units: UnitSystem) -> Any:
    return convert(values, "degC", units)[0]


def _kelvin(values: Any, units: UnitSystem) -> Any:
    return convert(values, "delta_degC", units)[0]


def _difference_unit(units: UnitSystem) -> str:
    return "K" if units == "metric" else "°F"


# --- the axis of dates ---------------------------------------------------------------------


def _hours(days: Days) -> Array:
    """Each step in the bay's standard time, counted as if it were UTC: no hour comes twice. [s]"""
    times = np.array(stamps(days.season))
    first = local(days.season.bay, times[0])
    summer = first.dst() or timedelta()
    return times + ((first.utcoffset() or timedelta()) - summer).total_seconds()


def _dates(days: Days) -> list[float]:
    return [noon(day) for day in days.dates]


def _spans(days: Days) -> list[tuple[float, float, str]]:
    """Stages behind a plot, each up to the beginning of the next."""
    runs = stage_runs(days)
    begins = [float(timegm(begin.timetuple())) for _, begin, _ in runs]
    ends = [*begins[1:], float(timegm(days.wall[-1].timetuple()))]
    return [(a, b, name) for (name, _, _), a, b in zip(runs, begins, ends, strict=True)]


# --- the plots -----------------------------------------------------------------------------


def _pile_lines(days: Days, units: UnitSystem) -> tuple[Line, ...]:
    traces, band = days.season.traces, days.season.bay.limits.band
    target = traces["target"]
    lines = (
        ("top", "pulp_top", "--c1", ()),
        ("middle", "pulp_middle", "--c2", (7, 3)),
        ("bottom", "pulp_bottom", "--c0", (2, 2)),
    )
    return (
        Line(label="target and band", y=_temperature(target + band, units), color="--quiet",
             base=_temperature(target - band, units), width=0.0),
        *(
            Line(label=words, y=_temperature(traces[name], units), color=color, dash=dash)
            for words, name, color, dash in lines
        ),
    )  # fmt: skip


def pile_plot(days: Days, units: UnitSystem) -> Picture:
    """Pile temperatures by height, target and band."""
    unit = shown_unit("degC", units)
    return chart(
        "pile",
        "Temperature of the pile by height",
        _hours(days),
        _pile_lines(days, units),
        unit=unit,
        y_label=f"pulp, {unit}",
        x_label="Standard time",
        time=True,
        digits=1,
        spans=_spans(days),
        size=(960.0, 380.0),
        sync=SYNC,
    )


def small_plot(days: Days, units: UnitSystem, name: str, y_range: tuple[float, float]) -> Picture:
    """The pile under one control method, small, on a shared scale; what passes it is named."""
    traces = days.season.traces
    every = max(1, round(6.0 / days.step_hours))

    def thin(trace: str, shift: float = 0.0) -> Any:
        return _temperature(traces[trace][::every] + shift, units)

    band = days.season.bay.limits.band
    lines = (
        Line(label="target and band", y=thin("target", band), base=thin("target", -band),
             color="--quiet", width=0.0),
        Line(label="bottom to top", y=thin("pulp_top"), base=thin("pulp_bottom"), color="--accent",
             width=0.0),
        Line(label="mean", y=thin("pulp_mean"), color="--accent"),
    )  # fmt: skip
    hours, top = _hours(days)[::every], float(np.nanmax(thin("pulp_top")))
    marks = [
        Mark(x=0.5 * float(hours[0] + hours[-1]), y=y_range[1], dot=False, below=True,
             anchor="middle",
             label=f"off the scale, up to {top:.0f} {shown_unit('degC', units)}")
    ] if top > y_range[1] else []  # fmt: skip
    return chart(
        name,
        f"Temperature of the pile, {days.season.policy}",
        hours,
        lines,
        time=True,
        y_range=y_range,
        marks=marks,
        size=(400.0, 200.0),
        legend=False,
        live=False,
    )


def _daily(name: str, title: str, days: Days, lines: Sequence[Line], **more: Any) -> Picture:
    """A plot with one point a day, zoomed with the others."""
    dates = _dates(days)
    return chart(name, title, dates, lines, time=True, daily=True, sync=SYNC, **more)


def outside_plot(days: Days, units: UnitSystem) -> Picture:
    """Outside air by the day, with the pile for comparison."""

    def daily(name: str, what: Callable[[Array], Any]) -> Any:
        return _temperature(days.daily(name, what), units)

    unit, outside = shown_unit("degC", units), "outside_temperature"
    return _daily(
        "outside",
        "Outside air and the pile",
        days,
        (
            Line(label="outside, range of the day", y=daily(outside, np.max), color="--quiet",
                 base=daily(outside, np.min), width=0.0),
            Line(label="outside, mean of the day", y=daily(outside, np.mean), color="--quiet",
                 dash=(4, 3), width=1.5),
            Line(label="pile, mean", y=daily("pulp_mean", np.mean), color="--accent", width=2.5),
        ),
        unit=unit,
        y_label=unit,
        levels=(Level(y=float(_temperature(0.0, units)), label="freezing of water"),),
    )  # fmt: skip


def actions_plot(days: Days) -> Picture:
    """Positions by date and hour of the day."""
    hours = np.array([time.hour for time in days.wall])
    rows = [(words, _by_hour(days, hours, values)) for words, values in _positions(days)]
    title = "Fans, door and equipment by date and hour of the day"
    midnights = [noon(day) - 0.5 * DAY for day in days.dates]
    return strips("actions", title, [*midnights, midnights[-1] + DAY], rows)


def _positions(days: Days) -> list[tuple[str, Array]]:
    season, traces = days.season, days.season.traces
    bay = season.bay
    found = [("fans", traces["fan_speed"]), ("door", traces["door_opening"])]
    if bay.humidifier is not None and bay.humidifier.power > 0.0:
        found.append(("humidifier", traces["humidifier_power"] / bay.humidifier.power))
    if bay.refrigeration is not None:
        found.append(("refrigeration", traces["refrigeration"]))
    if bay.heater is not None:
        found.append(("heater", traces["heater"]))
    return found


def _by_hour(days: Days, hours: NDArray[np.int64], values: Array) -> Array:
    """Mean position by hour of the day and date; a missing hour (summer time) stays empty."""
    known = ~np.isnan(values)
    total, count = np.zeros((24, len(days.dates))), np.zeros((24, len(days.dates)))
    np.add.at(total, (hours[known], days.day[known]), values[known])
    np.add.at(count, (hours[known], days.day[known]), 1.0)
    return total / np.maximum(count, 1.0)


def loss_plot(days: Days) -> Picture:
    """Shrink, water and dry matter, with published figures."""

    def last(values: Array) -> float:
        return 100.0 * float(values[-1])

    water, solids = days.daily("water_loss", last), days.daily("dry_matter_loss", last)
    dates = _dates(days)
    marks = [
        Mark(x=dates[age], y=percent, label=f"about {percent:.0f} % at {age} days (Idaho)",
             color="--c1")
        for age, percent in ((30, 3.0), (150, 5.0))
        if age < len(dates)
    ]  # fmt: skip
    return _daily(
        "loss",
        "Shrink",
        days,
        (
            Line(label="shrink, all", y=solids + water, base=solids, color="--accent",
                 hatch="rise"),
            Line(label="of which respired dry matter", y=solids, base=np.zeros(len(dates)),
                 color="--c4", hatch="dots", width=1.0),
        ),
        unit="%",
        digits=2,
        y_label="% of the weight loaded",
        marks=marks,
        y_range=(0.0, max(6.0, float(np.ceil(np.nanmax(solids + water))))),
    )  # fmt: skip


def margin_plot(days: Days, units: UnitSystem) -> Picture:
    """Smallest margins of each day against wet potatoes and a dripping ceiling."""
    lines = (
        ("ceiling_margin", "ceiling above the dew point", "--c0", ()),
        ("wetting_margin", "coldest pulp above the plenum's dew point", "--c1", (4, 2)),
    )
    least = [_kelvin(days.daily(name, np.min), units) for name, _, _, _ in lines]
    top = float(_kelvin(6.0, units))
    lowest = min([-float(_kelvin(1.0, units)), *(float(np.nanmin(x, initial=0.0)) for x in least)])
    unit = _difference_unit(units)
    return _daily(
        "margins",
        "Margins against condensation",
        days,
        [
            Line(label=words, y=values, color=color, dash=dash, width=1.6)
            for (_, words, color, dash), values in zip(lines, least, strict=True)
        ],
        unit=unit,
        y_label=f"lowest of the day, {unit}",
        y_range=(float(np.floor(lowest)), top),
        levels=(Level(y=0.0, label="below this line water condenses", color="--bad"),),
    )


def carbon_plot(days: Days) -> Picture:
    """CO2 by the day against its limit."""
    limit = 1e6 * days.season.bay.limits.co2
    return _daily(
        "co2",
        "CO2 in the bay",
        days,
        (
            Line(label="highest of the day", y=1e6 * days.daily("co2", np.max), color="--c1",
                 dash=(4, 2), width=1.6),
            Line(label="mean of the day", y=1e6 * days.daily("co2", np.mean), color="--c0"),
        ),
        unit="ppm",
        digits=0,
        y_label="ppm",
        levels=(Level(y=limit, label=f"limit, {limit:,.0f} ppm"),),
    )  # fmt: skip


PARTS = (
    ("fan_power", "fans"),
    ("coil_power", "refrigeration"),
    ("heater_power", "heater"),
    ("humidifier_power", "humidifier"),
)
"""Parts of the electricity: trace and words."""


def energy_plot(days: Days) -> Picture:
    """Electricity of each month by part."""
    parts = {
        words: (np.nan_to_num(days.monthly_total(name)) / 1000.0).tolist() for name, words in PARTS
    }
    used = {words: energy for words, energy in parts.items() if any(energy)}
    return bars(
        "energy",
        "Electricity by month and part",
        days.months,
        used or {"fans": [0.0] * len(days.months)},
        label=lambda value: f"{value:,.0f} kWh",
        x_label="kWh a month",
    )
