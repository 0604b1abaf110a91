"""Answers that take their time: sizes, seasons, alternatives side by side."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from ventcalc.advice.policies import POLICIES
from ventcalc.bay.description import Bay
from ventcalc.check.check import PileCheck
from ventcalc.errors import BadInput, VentcalcError
from ventcalc.page import HERE
from ventcalc.page.answers import Answer, refused
from ventcalc.page.ask import Ask, ask_of, bay_and_check, units_of
from ventcalc.page.check_view import overall
from ventcalc.page.form import bay_of, differing
from ventcalc.page.runs import Case, Run
from ventcalc.page.weathers import EXAMPLE, Weathers
from ventcalc.report.cautions import EXAMPLE_CREDIT, EXAMPLE_WARNING
from ventcalc.report.check_data import check_data
from ventcalc.report.check_text import check_cells, headline
from ventcalc.report.data import season_data
from ventcalc.report.season_page import season_page
from ventcalc.report.season_rows import control_words
from ventcalc.season.run import Season
from ventcalc.units import UnitSystem, show
from ventcalc.web.templates import render

__all__ = ["answer_compare", "answer_size", "season_run"]

NOT_COMPARED = (
    "Not compared here: tick “with less and more air beside it” and size again, and each airflow "
    "runs through a season: energy, shrink, spread and what they cost together."
)
MOST = 8
"""Alternatives at once."""


# --- sizes -------------------------------------------------------------------------------


def answer_size(data: Mapping[str, Any], weathers: Weathers) -> Answer:
    """How large everything must be, beside other airflows if asked, and the sized bay as a file."""
    # Half of the library: not for the sake of a first look at a bay.
    from ventcalc.report.alternatives import alternatives_data
    from ventcalc.report.size_page import size_page
    from ventcalc.report.size_text import size_data
    from ventcalc.sizing.alternatives import compare_airflows
    from ventcalc.sizing.size import size_bay
    from ventcalc.sizing.written import airflow_wanted, sized_text

    ask = ask_of(data)
    key = str(data.get("weather", EXAMPLE))
    credit = [EXAMPLE_WARNING, EXAMPLE_CREDIT] if key == EXAMPLE else []
    try:
        bay = bay_of(ask.form)
        target = _target(airflow_wanted, bay, str(data.get("target", "")).strip() or None)
    except BadInput as error:
        return refused(error, ask.form)
    try:
        weather = weathers.read(key, bay.site.altitude)
        sizing = size_bay(bay, airflow_per_tonne=target, weather=weather, units=ask.units)
        found = None
        if data.get("airflows") is True:
            found = compare_airflows(sizing, weather, units=ask.units)
        toml = sized_text(sizing.sized, ask.units)
    except VentcalcError as error:
        return {"problems": {}, "above": str(error).splitlines()}
    html = size_page(
        sizing,
        ask.units,
        credit=credit,
        found=found,
        not_compared=NOT_COMPARED,
        layout="part.html",
    )
    sizes = {**size_data(sizing), "weather_credit": credit}
    if found is not None:
        sizes["compared"] = alternatives_data(found)
    return {"problems": {}, "above": [], "html": html, "toml": toml, "data": sizes}


def _target(airflow_wanted: Any, bay: Bay, text: str | None) -> float:
    try:
        wanted: float = airflow_wanted(bay, text)
    except BadInput as error:
        raise BadInput(f"size.target: {problem}" for problem in error.problems) from None
    return wanted


# --- alternatives ------------------------------------------------------------------------


def _asks(data: Mapping[str, Any]) -> list[Ask]:
    """One or several bays, each with a name of its own."""
    given = data.get("alternatives")
    if not isinstance(given, list):
        return [ask_of(data)]
    if not 1 <= len(given) <= MOST:
        raise BadInput(f"alternatives: {len(given)} of them; keep 1 to {MOST}")
    return [ask_of(one | {"units": units_of(data)} if isinstance(one, dict) else one)
            for one in given]  # fmt: skip


def answer_compare(data: Mapping[str, Any]) -> Answer:
    """Checks of several bays side by side, and what was typed differently."""
    sound: list[tuple[Ask, PileCheck]] = []
    broken: list[tuple[str, list[str]]] = []
    for ask in _asks(data):
        try:
            sound.append((ask, bay_and_check(ask)[1]))
        except BadInput as error:
            broken.append((ask.name, list(error.problems)))
    units = units_of(data)
    differences = differing([ask.form for ask, _ in sound]) if len(sound) > 1 else []
    typed = [["Field", *(ask.name for ask, _ in sound)]]
    typed += [[name, *texts] for name, texts in differences]
    html = render(
        HERE,
        "compare.html",
        broken=broken,
        rows=_side_by_side(sound, units),
        differing=typed,
    )
    found = {ask.name: check_data(result) for ask, result in sound}
    return {"problems": {}, "above": [], "html": html, "data": found}


def _side_by_side(sound: Sequence[tuple[Ask, PileCheck]], units: UnitSystem) -> list[list[str]]:
    if not sound:
        return [["Check"]]
    results = [result for _, result in sound]
    rows = [
        ["Check", *(ask.name for ask, _ in sound)],
        ["Worst verdict", *(overall(result) for result in results)],
        ["May it be filled?", *(headline(result, units) for result in results)],
        ["Height of the pile", *(show(result.height, "m", units) for result in results)],
        ["Crop in a full pile of that height", *(show(r.mass, "kg", units) for r in results)],
        ["Highest pile that passes", *(show(result.highest, "m", units) for result in results)],
        ["limited by", *("; ".join(result.binds) or "–" for result in results)],
        ["Electrical power of all fans", *(_power(result, units) for result in results)],
        ["Value of each check, its margin and verdict"],
    ]
    for check in results[0].checks:
        cells = [check_cells(result.check(check.key), units) for result in results]
        rows.append([check.name, *(f"{c[1]}; margin {c[3]}; {c[4]}" for c in cells)])
    return rows


def _power(result: PileCheck, units: UnitSystem) -> str:
    return show(float(result.system.electrical_power), "W electrical", units)


# --- seasons -----------------------------------------------------------------------------


def season_run(data: Mapping[str, Any], weathers: Weathers) -> Run | Answer:
    """Seasons ready to start: of one bay or several, under one control or all."""
    control = str(data.get("control", "advice"))
    if control not in (*POLICIES, "all"):
        raise BadInput(f"control {control[:20]!r}: write one of {', '.join(POLICIES)}, all")
    policies = tuple(POLICIES) if control == "all" else (control,)
    key, units, asks = str(data.get("weather", EXAMPLE)), units_of(data), _asks(data)
    cases = []
    for ask in asks:
        try:
            bay = bay_of(ask.form)
        except BadInput as error:
            if len(asks) == 1:
                return refused(error, ask.form)
            raise BadInput(f"{ask.name}: {problem}" for problem in error.problems) from None
        weather = weathers.read(key, bay.site.altitude)
        for policy in policies:
            name = ", ".join(filter(None, [ask.name, control_words(policy)]))
            cases.append(Case(name, bay, weather, policy))
    credit = [EXAMPLE_CREDIT] if key == EXAMPLE else []

    def finish(
        seasons: Sequence[tuple[str, Season]], left_out: Mapping[str, str]
    ) -> dict[str, Any]:
        if not seasons:
            raise BadInput(f"{name}: {why}" for name, why in left_out.items())
        names, found = zip(*seasons, strict=True)
        remarks = [f"Left out: {name}, because {why}." for name, why in left_out.items()]
        html = season_page(
            found,
            cases[0].weather,
            units,
            remarks=[*credit, *remarks],
            names=names if len(asks) > 1 else (),
            layout="part.html",
        )
        told = {name: season_data([season], units) for name, season in seasons}
        return {"problems": {}, "above": [], "html": html, "data": told}

    return Run(cases, finish)
