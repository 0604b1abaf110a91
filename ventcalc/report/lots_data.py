"""Lots of a bay as data for JSON, keys with units."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from ventcalc.logbook.bay_lots import BayLots
from ventcalc.logbook.lots import known_use
from ventcalc.report.logbook_data import entry_data
from ventcalc.report.numbers import known

__all__ = ["lots_data"]


def lots_data(told: BayLots) -> dict[str, Any]:
    """All that is known of the lots of one bay."""
    return {
        "bay": told.bay.name,
        "lots": [
            {
                **entry_data(state.entry),
                "use": known_use(state, told.bay),
                "loaded_kg": state.loaded,
                "content_kg": state.content,
                "pulp_temp_c": known(state.pulp_mean),
                "rot_share": state.rot_share,
                "frost_share": state.frost_share,
                "term": state.term,
                "against": list(state.against),
            }
            for state in told.lots
        ],
        "stretches": [
            {"lot": p.lot, "start_m": p.start, "end_m": p.end, "mass_kg": p.mass}
            for p in told.stretches
        ],
        "unloading_order": [state.entry.lot for state in told.lots if state.content > 0.0],
        "blocked": [{"lot": one.lot, "behind": list(one.behind)} for one in told.blocked],
        "seed_rules": [asdict(rule) for rule in told.rules],
        "weights": [
            {
                "lot": one.lot,
                "mass_in_kg": one.mass_in,
                "mass_out_kg": one.mass_out,
                "complete": one.complete,
                "mass_loss": known(one.mass_loss),
                "standard_uncertainty": known(one.doubt),
            }
            for one in told.shrinks
        ],
        "problems": [problem.text for problem in told.book.problems],
    }
