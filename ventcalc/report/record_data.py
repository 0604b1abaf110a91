"""The season's record for other programs: JSON, and one long CSV."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import asdict
from typing import Any

from ventcalc.farm.record import BayRecord, Month, farm_shrink
from ventcalc.logbook.weights import Shrink
from ventcalc.report.numbers import rounded
from ventcalc.report.record_rows import told_data, told_rows
from ventcalc.report.season_days import local
from ventcalc.report.table import csv_text

__all__ = ["record_csv", "record_data"]


def _shrink(shrink: Shrink) -> dict[str, float | None]:
    return {
        "mass_in_kg": rounded(shrink.mass_in),
        "mass_out_kg": rounded(shrink.mass_out),
        "mass_loss": rounded(shrink.mass_loss),
        "standard_uncertainty": rounded(shrink.doubt),
    }


def _month(month: Month) -> dict[str, float | None]:
    return {
        "pulp_coldest_c": rounded(month.pulp_coldest),
        "pulp_mean_c": rounded(month.pulp_mean),
        "pulp_warmest_c": rounded(month.pulp_warmest),
        "plenum_coldest_c": rounded(month.least_plenum_temperature),
        "co2_highest_ppm": rounded(month.co2 * 1e6),
        "fan_time_h": rounded(month.fan_time / 3600.0),
        "energy_kwh": rounded(month.energy / 3.6e6),
    }


def _expected(one: BayRecord) -> dict[str, float | None]:
    if one.expected is None:
        return {}
    return {
        "expected_mass_loss": rounded(one.expected.mass_loss),
        "expected_water_loss": rounded(one.expected.water_loss),
        "expected_dry_matter_loss": rounded(one.expected.dry_matter_loss),
        "expected_standard_uncertainty": rounded(one.expected.doubt),
        "expected_covered": rounded(one.expected.covered),
        "surprise": rounded(one.surprise),
    }


def _followed(one: BayRecord) -> dict[str, Any] | None:
    if one.followed is None:
        return None
    return {
        "advised_h": one.followed.advised_time / 3600.0,
        "followed_share": rounded(one.followed.share),
        "otherwise_h": {k: t / 3600.0 for k, t in one.followed.device_time.items()},
        "not_advised_h": {k: t / 3600.0 for k, t in one.followed.silent_time.items()},
        "departures": [
            {
                "begin": local(one.place.bay, part.begin).isoformat(),
                "hours": (part.end - part.begin) / 3600.0,
                "devices": list(part.devices),
                "why": part.why or None,
            }
            for part in one.followed.departures
        ],
    }


def record_data(records: Sequence[BayRecord]) -> dict[str, Any]:
    """Everything for JSON; null where nothing is known."""
    loss, doubt = farm_shrink(records)
    return {
        "farm": {"mass_loss": rounded(loss), "standard_uncertainty": rounded(doubt)},
        "bays": [
            {
                "file": one.place.name,
                "bay": one.place.bay.name,
                **_shrink(one.total),
                **_expected(one),
                "energy_kwh": rounded(one.energy / 3.6e6),
                "lots": [{"lot": state.entry.lot, **_shrink(part)} for state, part in one.lots],
                "months": [
                    {"month": f"{local(one.place.bay, month.begin):%Y-%m}", **_month(month)}
                    for month in one.months
                ],
                "findings": [asdict(x) for x in one.diagnosis.findings] if one.diagnosis else None,
                "advice": _followed(one),
                "told": told_data(one),
                "problems": list(one.problems),
            }
            for one in records
        ],
    }


def record_csv(records: Sequence[BayRecord]) -> str:
    """One line a fact: bay, lot, time, subject, what, value (unit in ``what``), who."""
    head = ["bay", "lot", "time", "subject", "what", "value", "who"]
    return csv_text([head, *([one.place.bay.name, *row] for one in records for row in _facts(one))])


def _facts(one: BayRecord) -> Iterator[list[Any]]:
    def numbers(lot: str, time: str, subject: str, data: dict[str, float | None]) -> Any:
        return (
            [lot, time, subject, what, value, ""]
            for what, value in data.items()
            if value is not None
        )

    yield from numbers("", "", "weight", _shrink(one.total))
    yield from numbers("", "", "expected", _expected(one))
    for state, part in one.lots:
        yield from numbers(state.entry.lot, "", "weight", _shrink(part))
    for month in one.months:
        begin = f"{local(one.place.bay, month.begin):%Y-%m}"
        yield from numbers("", begin, "month", _month(month))
    if one.followed is not None:
        yield ["", "", "advice", "advised_h", rounded(one.followed.advised_time / 3600.0), ""]
        yield ["", "", "advice", "followed_share", rounded(one.followed.share), ""]
        for away in one.followed.departures:
            when = local(one.place.bay, away.begin).isoformat()
            hours = f"{(away.end - away.begin) / 3600.0:.1f} h {' '.join(away.devices)}"
            yield ["", when, "otherwise than advised", hours, away.why, ""]
    for finding in one.diagnosis.findings if one.diagnosis else ():
        yield ["", finding.since, "finding", finding.id, finding.text, ""]
    for (kind, line), row in zip(one.told, told_rows(one, "metric")[1:], strict=True):
        time = local(one.place.bay, line.time).isoformat()
        yield [getattr(line.entry, "lot", None) or "", time, row[1], kind, row[2], line.who]
