"""A season as one self-contained HTML page: tables and plots, nothing fetched from elsewhere."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence

import numpy as np

from ventcalc import __version__
from ventcalc.bay.checks import bay_notes
from ventcalc.report import season_plots as plots
from ventcalc.report.html import escaped, html_list, html_page, html_table
from ventcalc.report.season_days import Days, days_of
from ventcalc.report.season_rows import ROWS, fan_words, sanity_lines
from ventcalc.season.run import Season
from ventcalc.units import UnitSystem, convert, show, shown_unit
from ventcalc.weather import Weather

__all__ = ["season_page"]

CAUTIONS = (
    "People: the air of a bay can be deadly. Crop breathes oxygen away and gives off CO2. Before "
    "anyone goes in: ventilate, test the air for CO2 and oxygen, never go alone, keep to the "
    "local codes for confined spaces.",
    "Fans: lock out and tag every fan and door motor before anyone reaches into plenum, duct or "
    "fan house. They may start at any moment.",
    "Refrigerants displace air, and some are poisonous or burn: only licensed people open a "
    "circuit; mind the leak alarm.",
    "Walls: a pile pushes its walls outward. Wall, floor and height of the pile are the matter of "
    "a licensed structural engineer; nothing here checks them.",
    "Freezing: tubers freeze at about -0.6 to -1 °C (30 to 31 °F). A low-limit thermostat in the "
    "plenum, independent of any computer, must shut the door.",
    "This is advice from a model. The controller's own interlocks stay in charge, and a person "
    "who has looked at the pile knows better.",
)
"""What to mind where the work can hurt someone or ruin a crop."""


def season_page(
    seasons: Sequence[Season],
    weather: Weather,
    units: UnitSystem = "metric",
    *,
    remarks: Sequence[str] = (),
    scenes: Iterable[tuple[str, str]] = (),
) -> str:
    """
    The report of a season.

    Parameters
    ----------
    seasons : sequence of Season
        The season, and others of the same bay to compare it with.
    weather : Weather
        The weather that they ran through.
    units : {"metric", "us"}
        Units of tables and plots.
    remarks : sequence of str
        What else a reader must know: licence of the weather data, policies left out.
    scenes : iterable of (str, str)
        Titles and texts of single pieces of advice, shown before the season.

    Returns
    -------
    str
        HTML.

    Raises
    ------
    VentcalcError
        If matplotlib is not installed.
    """
    season = seasons[0]
    days = days_of(season)
    title = f"A storage season: {season.bay.name}"
    parts = [
        _about(days, weather, units, remarks),
        _cautions(),
        *_scenes(scenes),
        _summary(seasons, units),
        *(_section(days, units, *figure) for figure in _FIGURES),
    ]
    return html_page(title, parts)


# --- the parts of the page ---------------------------------------------------------------


def _about(days: Days, weather: Weather, units: UnitSystem, remarks: Sequence[str]) -> str:
    season, bay = days.season, days.season.bay
    facts = [
        f"The bay holds {show(bay.mass, 'kg', units)} of {bay.use} potatoes in a pile "
        f"{show(bay.pile.height, 'm', units)} high; fans {fan_words(season, units)}.",
        *([bay.notes] if bay.notes else []),
        *(f"Remark on the bay: {remark}" for remark in bay_notes(bay)),
        f"Weather: {weather.name or 'file without a name'}"
        + (f". Source: {weather.source}." if weather.source else "."),
        *remarks,
        *(f"Note on the weather: {note}." for note in season.notes),
        f"Decided by: {season.policy}. Times are local ({bay.site.time_zone}). "
        f"Made with ventcalc {__version__}.",
    ]
    dates = f"{days.dates[0]:%d %b %Y} to {days.dates[-1]:%d %b %Y}"
    return (
        f"<p>A calculated season, {dates}, hour by hour: what a bay of this description would "
        "have done in this weather. It is a model, not a measurement.</p>" + html_list(facts)
    )


def _cautions() -> str:
    return f'<section class="caution"><h2>Cautions</h2>{html_list(CAUTIONS)}</section>'


def _scenes(scenes: Iterable[tuple[str, str]]) -> list[str]:
    shown = [
        f"<article><h3>{escaped(title)}</h3><pre>{escaped(text)}</pre></article>"
        for title, text in scenes
    ]
    if not shown:
        return []
    return ["<section><h2>Advice for single hours</h2>", *shown, "</section>"]


def _summary(seasons: Sequence[Season], units: UnitSystem) -> str:
    head = ["", *(season.policy for season in seasons)]
    body, group = [], ""
    for row in ROWS:
        if row.group != group:
            group = row.group
            body.append([group, *("" for _ in seasons)])
        body.append([row.words, *(row.text(season, units) for season in seasons)])
    more = " Several ways to run the bay, side by side." if len(seasons) > 1 else ""
    caption = f"Results of the season; per tonne or ton of crop loaded.{more}"
    return (
        f"<section><h2>The season in numbers</h2>{html_table(head, body, caption)}"
        f"<h3>Does it make sense?</h3>{html_list(sanity_lines(seasons[0], units))}</section>"
    )


Plot = Callable[[Days, UnitSystem, str], str]
Rows = Callable[[Days, UnitSystem], tuple[list[str], list[list[str]]]]


def _section(days: Days, units: UnitSystem, title: str, words: str, plot: Plot, table: Rows) -> str:
    head, rows = table(days, units)
    return (
        f"<section><h2>{escaped(title)}</h2><p>{escaped(words)}</p>"
        f"<figure>{plot(days, units, words)}</figure>"
        f"{html_table(head, rows, f'{title}, by month')}</section>"
    )


def _column(values: Iterable[float], digits: int = 1) -> list[str]:
    return ["-" if x != x else f"{x:,.{digits}f}" for x in values]


def _columns(
    days: Days, columns: Sequence[tuple[str, list[str]]]
) -> tuple[list[str], list[list[str]]]:
    head = ["Month", *(name for name, _ in columns)]
    cells = [column for _, column in columns]
    return head, [list(row) for row in zip(days.months, *cells, strict=True)]


def _degrees(days: Days, units: UnitSystem, name: str, what: Callable[..., float]) -> list[str]:
    return _column(convert(days.monthly(name, what), "degC", units)[0])


def _pile_rows(days: Days, units: UnitSystem) -> tuple[list[str], list[list[str]]]:
    unit = shown_unit("degC", units)
    names = ("target", "pulp_bottom", "pulp_middle", "pulp_top")
    return _columns(
        days,
        [
            (f"{name.removeprefix('pulp_')}, mean {unit}", _degrees(days, units, name, np.mean))
            for name in names
        ],
    )


def _outside_rows(days: Days, units: UnitSystem) -> tuple[list[str], list[list[str]]]:
    unit, name = shown_unit("degC", units), "outside_temperature"
    return _columns(
        days,
        [
            (f"{words} {unit}", _degrees(days, units, name, what))
            for words, what in (("lowest", np.min), ("mean", np.mean), ("highest", np.max))
        ]
        + [(f"pile, mean {unit}", _degrees(days, units, "pulp_mean", np.mean))],
    )


def _action_rows(days: Days, units: UnitSystem) -> tuple[list[str], list[list[str]]]:
    def hours(name: str) -> list[str]:
        running = days.monthly(name, lambda x: np.count_nonzero(x > 0.01))
        return _column(running * days.step_hours, 0)

    names = [("fans, h", "fan_speed"), ("door open, h", "door_opening")]
    bay = days.season.bay
    names += [("humidifier, h", "humidifier_power")] if bay.humidifier else []
    names += [("refrigeration, h", "refrigeration")] if bay.refrigeration else []
    names += [("heater, h", "heater")] if bay.heater else []
    return _columns(days, [(words, hours(name)) for words, name in names])


def _loss_rows(days: Days, units: UnitSystem) -> tuple[list[str], list[list[str]]]:
    last = {
        name: 100.0 * days.monthly(name, lambda x: float(x[-1]))
        for name in ("water_loss", "dry_matter_loss")
    }
    total = last["water_loss"] + last["dry_matter_loss"]
    return _columns(
        days,
        [
            ("water so far, %", _column(last["water_loss"], 2)),
            ("dry matter so far, %", _column(last["dry_matter_loss"], 2)),
            ("all so far, %", _column(total, 2)),
            ("in the month, %", _column(np.diff(total, prepend=0.0), 2)),
        ],
    )


def _margin_rows(days: Days, units: UnitSystem) -> tuple[list[str], list[list[str]]]:
    unit = "K" if units == "metric" else "°F"

    def least(name: str) -> list[str]:
        return _column(convert(days.monthly(name, np.min), "delta_degC", units)[0], 2)

    def below(name: str) -> list[str]:
        count = days.monthly(name, lambda x: np.count_nonzero(x < 0.0))
        return _column(count * days.step_hours, 0)

    return _columns(
        days,
        [
            (f"ceiling, least {unit}", least("ceiling_margin")),
            ("ceiling below zero, h", below("ceiling_margin")),
            (f"coldest tuber, least {unit}", least("wetting_margin")),
            ("coldest tuber below zero, h", below("wetting_margin")),
        ],
    )


def _carbon_rows(days: Days, units: UnitSystem) -> tuple[list[str], list[list[str]]]:
    limit = days.season.bay.limits.co2
    over = days.monthly("co2", lambda x: np.count_nonzero(x > limit)) * days.step_hours
    return _columns(
        days,
        [
            ("mean, ppm", _column(1e6 * days.monthly("co2", np.mean), 0)),
            ("highest, ppm", _column(1e6 * days.monthly("co2", np.max), 0)),
            ("above the limit, h", _column(over, 0)),
        ],
    )


def _energy_rows(days: Days, units: UnitSystem) -> tuple[list[str], list[list[str]]]:
    kwh = {words: days.monthly_total(name) / 1000.0 for name, words, _, _ in plots.PARTS}
    columns = [(f"{words}, kWh", _column(values, 0)) for words, values in kwh.items()]
    return _columns(days, [*columns, ("all, kWh", _column(np.sum(list(kwh.values()), axis=0), 0))])


_FIGURES: tuple[tuple[str, str, Plot, Rows], ...] = (
    (
        "The pile",
        "Pulp temperature at the bottom, in the middle and at the top of the pile, with the "
        "target and the band that counts as held (hatched).",
        plots.pile_plot,
        _pile_rows,
    ),
    (
        "Outside air",
        "Range and mean of each day outside, and the mean of the pile: cooling by outside air is "
        "possible while the range reaches below the pile.",
        plots.outside_plot,
        _outside_rows,
    ),
    (
        "What was done",
        "Positions by date (across) and hour of the day (upward, from midnight to midnight): "
        "white is off or shut, black is full or wide open.",
        lambda days, units, text: plots.actions_plot(days, text),
        _action_rows,
    ),
    (
        "Mass lost",
        "Water evaporated and dry matter burned, of the mass loaded. The diamonds are field "
        "experience: about 3 % after a month and 5 % after five (Olsen and Frazier, Univ. of "
        "Idaho). From the first truck on, the crop that is left counts.",
        plots.loss_plot,
        _loss_rows,
    ),
    (
        "Condensation",
        "Smallest margin of each day: ceiling surface above the dew point of the air below it, "
        "and coldest tuber above the dew point of the supply air while fans run. Larger margins "
        "than the top of the plot are cut off.",
        plots.margin_plot,
        _margin_rows,
    ),
    (
        "CO2",
        "Highest and mean CO2 of each day against the limit. CO2 from the bay's own model; it "
        "does not replace testing the air before anyone goes in.",
        lambda days, units, text: plots.carbon_plot(days, text),
        _carbon_rows,
    ),
    (
        "Electricity",
        "Electricity of each month, for the whole bay, by part.",
        lambda days, units, text: plots.energy_plot(days, text),
        _energy_rows,
    ),
)
"""Title, words, plot and table of each section."""
