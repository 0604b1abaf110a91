"""
The trial of the advice: climates times faults, and what each season was worth.

``python -m pip install --no-deps ochre-nrel accim-samples pvlib besos`` brings real years of
weather (EPW and TMY3 files inside packages; their licences are theirs). Then::

    python tests/benchmarks/trial.py                      # hourly, without faults
    python tests/benchmarks/trial.py --faults --step 10   # ten-minute steps, every fault

``COLD`` is not a climate of the earth: Fort Collins 2018 made up to 22 K colder in winter, relative
humidity over ice kept. ``HELD_BACK`` were not looked at while thresholds were chosen.
"""

from __future__ import annotations

import argparse
import sys
from dataclasses import replace
from datetime import UTC, datetime
from importlib.metadata import PackageNotFoundError, files
from pathlib import Path

import numpy as np
from tqdm import tqdm

import ventcalc as vc
from ventcalc.season.steps import PlantFaults, SensorErrors
from ventcalc.weather import colder, finer

PLACES = {
    "Denver": ("ochre-nrel", "USA_CO_Denver.Intl.AP.725650_TMY3.epw"),
    "Chicago": ("besos", "example_epw.epw"),
    "Aberdeen": ("accim-samples", "GBR_Aberdeen.Dyce.030910_IWEC.epw"),
    "London": ("accim-samples", "GBR_London.Gatwick.037760_IWEC.epw"),
    "Greensboro": ("pvlib", "723170TYA.CSV"),
    "Sand Point": ("pvlib", "703165TY.csv"),
}
HELD_BACK = ("London", "Greensboro", "Sand Point", "COLD Denver")
DAY = 86400.0


def climates(folder: str | None) -> dict[str, vc.Weather]:
    """Weather of every place that is there."""
    found = {"Fort Collins": vc.example_weather()}
    for place, (package, name) in PLACES.items():
        path = Path(folder) / name if folder else _inside(package, name)
        if path is not None and path.exists():
            found[place] = vc.read_weather(path)
        else:
            print(f"{place}: no {name}; pip install --no-deps {package}", file=sys.stderr)
    found["COLD"] = colder(found["Fort Collins"], 22.0)
    if "Denver" in found:
        found["COLD Denver"] = colder(found["Denver"], 20.0)
    return found


def _inside(package: str, name: str) -> Path | None:
    try:
        inside = [path for path in files(package) or () if path.name == name]
    except PackageNotFoundError:
        return None
    return Path(str(inside[0].locate())) if inside else None


def faults(year: int) -> dict[str, tuple[SensorErrors, PlantFaults]]:
    """Each with what its probes and parts do wrong; ``year`` is that of the season's January."""

    def at(month: int, day: int) -> float:
        return datetime(year, month, day, tzinfo=UTC).timestamp()

    sound, well = SensorErrors(), PlantFaults()
    return {
        "no fault": (sound, well),
        "outside +2 K": (SensorErrors(outside_temperature=2.0), well),
        "pulp +1 K": (SensorErrors(pulp=1.0), well),
        "pulp -1 K": (SensorErrors(pulp=-1.0), well),
        "return RH +4 %": (SensorErrors(return_relative_humidity=0.04), well),
        "return RH -4 %": (SensorErrors(return_relative_humidity=-0.04), well),
        "door stuck": (
            sound,
            PlantFaults(door_opening=0.3, door_from=at(1, 10), door_until=at(1, 13)),
        ),
        "fans dead": (sound, PlantFaults(fans_from=at(1, 10), fans_until=at(1, 12))),
        "humidifier off": (sound, PlantFaults(humidifier_from=0.0)),
        "plenum -0.5 K": (SensorErrors(plenum_temperature=-0.5), well),
    }


def bay_at(weather: vc.Weather) -> vc.Bay:
    """The invented seed bay at the altitude of the weather's pressure."""
    bay = vc.example_bay("seed_bay")
    high = 44330.0 * (1.0 - (float(np.mean(weather.pressure)) / 101325.0) ** (1.0 / 5.255))
    return replace(bay, site=replace(bay.site, altitude=max(high, 0.0)))


def row(name: str, season: object) -> str:
    """One line of the table."""
    kpi, records = season.kpi, season.records
    runs = records["runs"] > 0.0
    warm = (records["plenum_temperature"] - records["pulp_coldest"] > 2.0) & runs
    hours = float((season.time[1] - season.time[0]) / np.timedelta64(1, "s")) / 3600.0
    return (
        f"{name:32s} {100 * kpi.mass_loss:6.2f} {kpi.cost:7.2f} {kpi.wet_crop_hours:6.0f} "
        f"{kpi.off_plan_kelvin_hours:7.0f} {kpi.co2_excess / 1e6:6.2f} {warm.sum() * hours:6.0f} "
        f"{kpi.coldest_tuber:6.1f} {kpi.hottest_tuber:6.1f} {kpi.frozen_minutes:6.0f} "
        f"{kpi.plenum_below_zero_minutes:6.0f} {kpi.fan_hours:6.0f} {kpi.energy:6.1f}"
    )


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[1])
    parser.add_argument("--folder", help="folder with the weather files, instead of packages")
    parser.add_argument("--faults", action="store_true", help="every fault, not only none")
    parser.add_argument("--step", type=float, default=60.0, help="minutes (60)")
    parser.add_argument("--policy", default="advice")
    parser.add_argument("--only", help="names of climates, with commas")
    args = parser.parse_args()
    wanted = args.only.split(",") if args.only else None
    print(
        f"{'':32s} loss%  cost/t   wet h  K h off CO2 Mppm  >2K h coldest hottest frozen plen<0 "
        "fans h kWh/t"
    )
    for place, weather in tqdm(climates(args.folder).items(), disable=None):
        if wanted and place not in wanted:
            continue
        whole = finer(weather, args.step * 60.0) if args.step < 60.0 else weather
        bay = bay_at(weather)
        year = int(whole.time[len(whole.time) // 2].astype("datetime64[Y]").astype(int)) + 1970
        for fault, (errors, parts) in faults(year + 1).items():
            if fault != "no fault" and not args.faults:
                break
            season = vc.run_season(
                bay, whole, args.policy, sensor_errors=errors, faults=parts, compiled=True
            )
            held = " *" if place in HELD_BACK else ""
            print(row(f"{place}{held}, {fault}", season), flush=True)


if __name__ == "__main__":
    main()
