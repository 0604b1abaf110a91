"""Plots of a season, each with the stages above and the months below."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ventcalc.report.drawing import (
    BLUE,
    GREEN,
    GREY,
    RED,
    Drawing,
    drawing,
    legend,
    months_below,
    need_matplotlib,
    note,
)
from ventcalc.report.season_days import Days, stage_runs
from ventcalc.units import UnitSystem, convert, shown_unit

__all__ = [
    "PARTS",
    "actions_plot",
    "carbon_plot",
    "energy_plot",
    "loss_plot",
    "margin_plot",
    "outside_plot",
    "pile_plot",
]

Array = NDArray[np.float64]

_POINTS = 1000
"""Most points of a line: more cannot be seen, and would swell the file."""


# --- the frame of every plot -------------------------------------------------------------


@contextmanager
def _by_date(
    days: Days, name: str, title: str, *heights: float
) -> Iterator[tuple[Drawing, list[Any]]]:
    """A drawing and its axes, one below the other, over one axis of dates."""
    with drawing(name, title, sum(heights) + 0.9) as sheet:
        ratios = (0.22, *heights)
        grid = sheet.figure.add_gridspec(len(ratios), 1, height_ratios=ratios, hspace=0.02)
        top = sheet.figure.add_subplot(grid[0])
        plots = [sheet.figure.add_subplot(part, sharex=top) for part in list(grid)[1:]]
        _stages(days, top, plots)
        for axes in plots[:-1]:
            axes.tick_params(labelbottom=False)
        months_below(plots[-1])
        yield sheet, plots


def _stages(days: Days, top: Any, plots: list[Any]) -> None:
    """A strip with the numbers of the stages; their names stand in the line above it."""
    runs = stage_runs(days)
    for number, (_, begin, end) in enumerate(runs, start=1):
        top.axvspan(begin, end, color="#e8e8e8" if number % 2 else "#c9c9c9", lw=0)
        middle = begin + (end - begin) / 2
        top.text(middle, 0.5, str(number), ha="center", va="center", fontsize=9)
        for axes in plots:
            axes.axvline(begin, color="#999999", lw=0.7, ls=(0, (1, 3)))
    names = ",  ".join(f"{k} {name}" for k, (name, _, _) in enumerate(runs, start=1))
    top.set_title(f"Stages:  {names}", fontsize=9, loc="left")
    top.set_yticks([])
    top.tick_params(labelbottom=False, bottom=False)
    top.grid(False)
    top.spines[:].set_visible(False)
    top.set_xlim(days.wall[0], days.wall[-1])


def _thin(days: Days, values: Array) -> tuple[list[Any], Array]:
    """Means over a few steps, so that a line has no more points than can be seen."""
    size = -(-len(values) // _POINTS)
    count = len(values) // size
    means = values[: count * size].reshape(count, size).mean(axis=1)
    return days.wall[: count * size : size], means


def _temperature(values: Any, units: UnitSystem) -> Any:
    return convert(values, "degC", units)[0]


def _kelvin(values: Any, units: UnitSystem) -> Any:
    return convert(values, "delta_degC", units)[0]


def _difference_unit(units: UnitSystem) -> str:
    return "K" if units == "metric" else "°F"


# --- the plots ---------------------------------------------------------------------------


def pile_plot(days: Days, units: UnitSystem) -> Drawing:
    """Pile temperatures by height, target and band."""
    season = days.season
    with _by_date(days, "pile", "Temperature of the pile by height", 3.6) as (sheet, (axes,)):
        when, target = _thin(days, season.traces["target"])
        band = season.bay.limits.band
        axes.fill_between(
            when,
            _temperature(target - band, units),
            _temperature(target + band, units),
            facecolor="#eeeeee",
            edgecolor="#aaaaaa",
            hatch="////",
            lw=0.5,
            label="target and band",
        )
        axes.plot(when, _temperature(target, units), color="black", lw=0.8)
        for name, words, color, style, width in (
            ("pulp_top", "top", RED, "-", 1.3),
            ("pulp_middle", "middle", GREEN, (0, (5, 1.5)), 1.2),
            ("pulp_bottom", "bottom", BLUE, (0, (1, 1)), 1.6),
        ):
            line = _temperature(_thin(days, season.traces[name])[1], units)
            axes.plot(when, line, color=color, ls=style, lw=width, label=words)
        axes.set_ylabel(f"pulp, {shown_unit('degC', units)}")
        legend(axes)
    return sheet


def outside_plot(days: Days, units: UnitSystem) -> Drawing:
    """Outside air by the day, with the pile for comparison."""
    with _by_date(days, "outside", "Outside air and the pile", 3.0) as (sheet, (axes,)):

        def daily(name: str, what: Any) -> Any:
            return _temperature(days.daily(name, what), units)

        axes.fill_between(
            days.dates,
            daily("outside_temperature", np.min),
            daily("outside_temperature", np.max),
            color="#cfd8dc",
            lw=0,
            label="outside, range of the day",
        )
        mean = daily("outside_temperature", np.mean)
        axes.plot(days.dates, mean, color=GREY, lw=1.0, ls="--", label="outside, mean of the day")
        axes.plot(days.dates, daily("pulp_mean", np.mean), color=RED, lw=1.8, label="pile, mean")
        axes.axhline(_temperature(0.0, units), color="black", lw=0.8)
        note(axes, "freezing", days.dates[1], _temperature(0.0, units), -6)
        axes.set_ylabel(shown_unit("degC", units))
        legend(axes, 3)
    return sheet


def actions_plot(days: Days) -> Drawing:
    """Positions by date and hour of the day."""
    strips = _strips(days)
    heights = (1.15 for _ in strips)
    title = "Fans, door and equipment by date and hour of the day"
    with _by_date(days, "actions", title, *heights) as (sheet, plots):
        hours = np.array([time.hour for time in days.wall])
        for axes, (words, values) in zip(plots, strips, strict=True):
            image = _by_hour(days, hours, values)
            axes.imshow(
                image,
                aspect="auto",
                cmap="Greys",
                vmin=0.0,
                vmax=1.0,
                interpolation="none",
                origin="lower",
                extent=(*_edges(days), 0.0, 24.0),
            )
            axes.set_yticks([0, 6, 12, 18, 24])
            axes.set_ylabel(f"{words}\nhour")
            axes.grid(False)
    return sheet


def _strips(days: Days) -> list[tuple[str, Array]]:
    season, traces = days.season, days.season.traces
    bay = season.bay
    strips = [("fans", traces["fan_speed"]), ("fresh-air door", traces["door_opening"])]
    if bay.humidifier is not None and bay.humidifier.power > 0.0:
        strips.append(("humidifier", traces["humidifier_power"] / bay.humidifier.power))
    if bay.refrigeration is not None:
        strips.append(("refrigeration", traces["refrigeration"]))
    if bay.heater is not None:
        strips.append(("heater", traces["heater"]))
    return strips


def _edges(days: Days) -> tuple[float, float]:
    dates = need_matplotlib().dates
    first = float(dates.date2num(days.dates[0]))
    return first, first + len(days.dates)


def _by_hour(days: Days, hours: NDArray[np.int64], values: Array) -> Array:
    """Mean position by hour of the day and date; a missing hour (summer time) stays white."""
    known = ~np.isnan(values)
    total, count = np.zeros((24, len(days.dates))), np.zeros((24, len(days.dates)))
    np.add.at(total, (hours[known], days.day[known]), values[known])
    np.add.at(count, (hours[known], days.day[known]), 1.0)
    return total / np.maximum(count, 1.0)


def loss_plot(days: Days) -> Drawing:
    """Shrink, water and dry matter, with published figures."""
    season = days.season
    with _by_date(days, "loss", "Shrink", 2.8) as (sheet, (axes,)):
        when, water = _thin(days, 100.0 * season.traces["water_loss"])
        solids = _thin(days, 100.0 * season.traces["dry_matter_loss"])[1]
        axes.fill_between(
            when, 0.0, solids, facecolor="#bbbbbb", edgecolor=GREY, hatch="....", lw=0.5,
            label="respired dry matter",
        )  # fmt: skip
        axes.fill_between(
            when, solids, solids + water, facecolor="#d6e9f5", edgecolor=BLUE, hatch="////",
            lw=0.5, label="net water",
        )  # fmt: skip
        axes.plot(when, solids + water, color="black", lw=1.5)
        for age, percent in ((30, 3.0), (150, 5.0)):
            step = int(age * 24 / days.step_hours)
            if step < len(days.wall):
                axes.plot(days.wall[step], percent, marker="D", color=RED, ms=7, ls="none")
                note(axes, f"about {percent:.0f} % at {age} days", days.wall[step], percent, 9)
        axes.set_ylabel("% of the weight loaded")
        axes.set_ylim(bottom=0.0)
        axes.legend(loc="upper left", ncols=2, fontsize=9)
    return sheet


def margin_plot(days: Days, units: UnitSystem) -> Drawing:
    """Smallest margins of each day against wet potatoes and a dripping ceiling."""
    with _by_date(days, "margins", "Margins against condensation", 2.8) as (sheet, (axes,)):
        lines = (
            ("ceiling_margin", "ceiling above the dew point", BLUE, "-"),
            ("wetting_margin", "coldest pulp above the plenum's dew point", RED, (0, (4, 1.5))),
        )
        top = _kelvin(6.0, units)
        lowest = -_kelvin(1.0, units)
        for name, words, color, style in lines:
            least = _kelvin(days.daily(name, np.min), units)
            axes.plot(days.dates, least, color=color, ls=style, lw=1.2, label=words)
            lowest = min(lowest, float(np.nanmin(least, initial=lowest)) * 1.1)
        axes.axhspan(lowest, 0.0, facecolor="#f5e0d6", edgecolor="#cc9980", hatch="xx", lw=0)
        axes.axhline(0.0, color="black", lw=1.0)
        note(axes, "below zero: condensation", days.dates[2], lowest, 8)
        axes.set_ylim(lowest, top)
        axes.set_ylabel(f"lowest of the day, {_difference_unit(units)}")
        legend(axes, 2)
    return sheet


def carbon_plot(days: Days) -> Drawing:
    """CO2 by the day against its limit."""
    limit = 1e6 * days.season.bay.limits.co2
    with _by_date(days, "co2", "CO2 in the bay", 2.4) as (sheet, (axes,)):
        most = 1e6 * days.daily("co2", np.max)
        mean = 1e6 * days.daily("co2", np.mean)
        axes.plot(days.dates, most, color=RED, ls=(0, (4, 1.5)), lw=1.2, label="highest of the day")
        axes.plot(days.dates, mean, color=BLUE, lw=1.4, label="mean of the day")
        axes.axhline(limit, color="black", lw=1.2, ls=":", label=f"limit, {limit:.0f} ppm")
        _ppm_scale(axes, float(np.nanmax(most, initial=2.0 * limit)))
        axes.set_ylabel("ppm (each step doubles)")
        legend(axes, 3)
    return sheet


def _ppm_scale(axes: Any, highest: float) -> None:
    """A scale on which the limit and a tenfold excess can both be read."""
    ticks = [400.0]
    while ticks[-1] < 1.3 * highest:
        ticks.append(ticks[-1] * 2.0)
    axes.set_yscale("log")
    axes.set_ylim(ticks[0], ticks[-1])
    axes.set_yticks(ticks, [f"{tick:.0f}" for tick in ticks])
    axes.minorticks_off()


PARTS = (
    ("fan_power", "fans", "#8fb8d8", ""),
    ("coil_power", "refrigeration", "#f2c6a8", "////"),
    ("heater_power", "heater", "#d9d9d9", "xxxx"),
    ("humidifier_power", "humidifier", "#cfe8d5", "...."),
)
"""Parts of the electricity: trace, words, colour, hatch."""


def energy_plot(days: Days) -> Drawing:
    """Electricity of each month by part."""
    with drawing("energy", "Electricity by month and part", 3.2) as sheet:
        axes = sheet.figure.add_subplot()
        below = np.zeros(len(days.months))
        for name, words, color, hatch in PARTS:
            energy = np.nan_to_num(days.monthly_total(name)) / 1000.0
            if not energy.any():
                continue
            axes.bar(
                days.months, energy, bottom=below, width=0.6, facecolor=color,
                edgecolor="#333333", hatch=hatch, lw=0.6, label=words,
            )  # fmt: skip
            below = below + energy
        for place, total in enumerate(below):
            axes.annotate(
                f"{total:,.0f}", (place, total), xytext=(0, 3), textcoords="offset points",
                ha="center", fontsize=9,
            )  # fmt: skip
        axes.set_ylabel("kWh per month")
        axes.set_ylim(0.0, 1.25 * max(float(below.max()), 1.0))
        legend(axes)
    return sheet
