"""
Fit the performance maps that ship with the library, and print their errors.

Run ``python tests/published/fit_refrigerant_maps.py`` from the root of the checkout. Needs
CoolProp. Truth is the cycle on the Helmholtz equations of state of ``refrigerant_cycle``; a
season then needs no property call and no CoolProp.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from ventcalc.equipment.refrigerant_cycle import REFRIGERANTS, cycle
from ventcalc.equipment.refrigerant_map import NODES, SPAN, fit_performance, performance

TARGET = Path(__file__).parents[2] / "ventcalc" / "data" / "refrigerant_maps.csv"
HEAD = """\
# Power per cooling (1/COP) of the vapour-compression cycle: Chebyshev coefficients.
# Made by tests/published/fit_refrigerant_maps.py from the Helmholtz equations of state in
# CoolProp: superheat 5 K, subcooling 3 K, isentropic efficiency 0.7.
# Evaporating {low:g} to {high:g} degC, condensing {cool:g} to {warm:g} degC. One row a
# refrigerant and degree in evaporating temperature, columns by degree in condensing temperature.
"""


def main() -> None:
    """Write the file; a refrigerant with its critical point inside the span is left out."""
    evaporating, condensing = SPAN
    lines = [HEAD.format(low=evaporating[0], high=evaporating[1], cool=condensing[0],
                         warm=condensing[1])]  # fmt: skip
    columns = ",".join(f"c{k}" for k in range(NODES[1]))
    lines.append(f"refrigerant,degree,{columns}\n")
    rng = np.random.default_rng(1)
    te, tc = rng.uniform(*evaporating, 200), rng.uniform(*condensing, 200)
    for name in REFRIGERANTS:
        if name == "R744":
            continue
        fitted = fit_performance(
            name, evaporating_range=evaporating, condensing_range=condensing, nodes=NODES
        )
        truth = cycle(name, evaporating_temperature=te, condensing_temperature=tc).performance
        off = np.max(np.abs(performance(fitted, te, tc) / truth - 1.0))
        print(f"{name:12s} largest relative error {off:.1e}")
        for degree, row in enumerate(fitted.coefficients):
            lines.append(f"{name},{degree}," + ",".join(f"{c:.10e}" for c in row) + "\n")
    TARGET.write_text("".join(lines), encoding="utf-8")


if __name__ == "__main__":
    main()
