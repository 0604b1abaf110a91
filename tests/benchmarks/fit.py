"""
The trial of ``ventcalc fit``: how often does the truth lie within what it states?

Seasons of bays whose airflow, transpiration, respiration, envelope and fan power are not as
described, read by probes with offsets (0.3 K, 3 % RH) and noise (0.1 K, 1 %)::

    python tests/benchmarks/fit.py --cases 12
"""

from __future__ import annotations

import argparse
from dataclasses import replace

import numpy as np
from offsets import read_by_probes

import ventcalc as vc
from ventcalc.calibration.least_squares import PRIORS, crop_with, with_factors
from ventcalc.pile.crop import crop_for

UNTIL = np.datetime64("2018-11-20T00:00:00")
LAYERS = 20


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n\n")[0])
    parser.add_argument("--cases", type=int, default=12)
    args = parser.parse_args()
    installed = vc.as_installed(vc.example_bay("seed_bay"))
    fans = replace(installed.fans, curve_airflow=None, curve_static_pressure=None)
    bay = replace(installed, ducts=None, fans=fans)
    found: dict[str, list[tuple[float, float]]] = {name: [] for name in PRIORS}
    better = 0
    for case in range(args.cases):
        rng = np.random.default_rng(case)
        logs = {name: float(rng.normal(0.0, sd)) for name, sd in PRIORS.items()}
        offsets = np.concatenate([rng.normal(0.0, 0.3, 5), rng.normal(0.0, 3.0, 3)])
        season = vc.run_season(
            with_factors(bay, logs), vc.example_weather(), believed=bay,
            crop=crop_with(crop_for(bay.use), logs), layers=LAYERS, until=UNTIL,
        )  # fmt: skip
        log, _ = read_by_probes(season, offsets, rng, wet=False)
        fit = vc.fit_bay(bay, log, vc.example_weather(), layers=LAYERS)
        better += fit.better
        off = {one.name: np.log(one.factor) - logs[one.name] for one in fit.factors}
        print(case, *(f"{name} {error:+.0%}" for name, error in off.items()), flush=True)
        for one in fit.factors:
            if one.identified:
                found[one.name].append((np.log(one.factor) - logs[one.name], one.doubt))
    print(f"{args.cases} bays; better on the hours not fitted in {better}")
    print("factor          told  beyond 2 sd  rms error  stated  known before")
    for name, cases in found.items():
        error, stated = np.array(cases or [(np.nan, np.nan)]).T
        print(
            f"{name:14} {len(cases):5}  {np.mean(np.abs(error) > 2.0 * stated):11.0%}  "
            f"{np.sqrt(np.mean(error**2)):9.1%}  {np.mean(stated):6.1%}  {PRIORS[name]:12.0%}"
        )


if __name__ == "__main__":
    main()
