"""The season's record for other programs: JSON, and one long CSV."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterator, Sequence
from dataclasses import asdict
from typing import Any

from ventcalc.farm.record import BayRecord, Month, farm_shrink
from ventcalc.logbook.weights import Shrink
from ventcalc.report.record_rows import told_data, told_rows
from ventcalc.report.season_days import local

__all__ = ["record_csv", "record_data"]


def _known(value: float) -> float | None:
    return None if math.isnan(value) else float(f"{value:.8g}")


def _shrink(shrink: Shrink) -> dict[str, float | None]:
    return {
        "mass_in_kg": _known(shrink.mass_in),
        "mass_out_kg": _known(shrink.mass_out),
        "mass_loss": _known(shrink.mass_loss),
        "standard_uncertainty": _known(shrink.doubt),
    }


def _month(month: Month) -> dict[str, float | None]:
    return {
        "pulp_coldest_c": _known(month.pulp_coldest),
        "pulp_mean_c": _known(month.pulp_mean),
        "pulp_warmest_c": _known(month.pulp_warmest),
        "plenum_coldest_c": _known(month.least_plenum_temperature),
        "co2_highest_ppm": _known(month.co2 * 1e6),
        "fan_time_h": _known(month.fan_time / 3600.0),
        "energy_kwh": _known(month.energy / 3.6e6),
    }


def _expected(one: BayRecord) -> dict[str, float | None]:
    if one.expected is None:
        return {}
    return {
        "expected_mass_loss": _known(one.expected.mass_loss),
        "expected_water_loss": _known(one.expected.water_loss),
        "expected_dry_matter_loss": _known(one.expected.dry_matter_loss),
        "expected_standard_uncertainty": _known(one.expected.doubt),
        "expected_covered": _known(one.expected.covered),
        "surprise": _known(one.surprise),
    }


def _followed(one: BayRecord) -> dict[str, Any] | None:
    if one.followed is None:
        return None
    return {
        "advised_h": one.followed.advised_time / 3600.0,
        "followed_share": _known(one.followed.share),
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
        "farm": {"mass_loss": _known(loss), "standard_uncertainty": _known(doubt)},
        "bays": [
            {
                "file": one.place.name,
                "bay": one.place.bay.name,
                **_shrink(one.total),
                **_expected(one),
                "energy_kwh": _known(one.energy / 3.6e6),
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
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(["bay", "lot", "time", "subject", "what", "value", "who"])
    for one in records:
        writer.writerows([one.place.bay.name, *row] for row in _facts(one))
    return out.getvalue()


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
        yield ["", "", "advice", "advised_h", _known(one.followed.advised_time / 3600.0), ""]
        yield ["", "", "advice", "followed_share", _known(one.followed.share), ""]
        for away in one.followed.departures:
            when = local(one.place.bay, away.begin).isoformat()
            hours = f"{(away.end - away.begin) / 3600.0:.1f} h {' '.join(away.devices)}"
            yield ["", when, "otherwise than advised", hours, away.why, ""]
    for finding in one.diagnosis.findings if one.diagnosis else ():
        yield ["", finding.since, "finding", finding.id, finding.text, ""]
    for (kind, line), row in zip(one.told, told_rows(one, "metric")[1:], strict=True):
        time = local(one.place.bay, line.time).isoformat()
        yield [getattr(line.entry, "lot", None) or "", time, row[1], kind, row[2], line.who]
