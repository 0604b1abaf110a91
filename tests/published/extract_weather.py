"""
Make ``ventcalc/data/weather/example.csv`` from a file of the National Solar Radiation Database.

With this package installed:

    pip download --no-deps ochre-nrel==0.9.2 && python -m zipfile -e ochre_nrel-0.9.2*.whl x
    python tests/published/extract_weather.py x/ochre/defaults/Weather/FortCollins_NSRDB.csv

The source is half-hourly, local standard time, humidity over water. See
``ventcalc/data/weather/SOURCE.md`` for its terms.
"""

from __future__ import annotations

import csv
import sys
import tempfile
from dataclasses import replace
from pathlib import Path

from ventcalc.weather import Weather, read_weather, write_weather_csv

TARGET = Path(__file__).parents[2] / "ventcalc" / "data" / "weather" / "example.csv"
COLUMNS = {
    "Temperature": "outside_temp_c",
    "Relative Humidity": "outside_rh_percent",
    "Pressure": "pressure_hpa",
    "Wind Speed": "wind_speed_m_s",
    "GHI": "global_radiation_w_m2",
}
COMMENTS = (
    "Hourly weather of one real year, from the NREL National Solar Radiation Database (NSRDB),",
    "PSM v3.0.1, location 155561, 40.53 N 105.06 W, 1526 m above sea level, year 2018.",
    "Modelled from satellite images and reanalysis for a 4 km cell; not a station's readings.",
    "Licence: Creative Commons Attribution. Terms, origin and changes: SOURCE.md beside this file.",
)


def half_hours(source: Path, target: Path) -> None:
    """Rewrite the source in the plain format, values untouched."""
    rows = list(csv.reader(source.read_text(encoding="utf-8").splitlines()))
    site, titles = dict(zip(*rows[:2], strict=True)), rows[2]
    assert (site["Location ID"], site["Time Zone"], site["Elevation"]) == ("155561", "-7", "1526")
    lines = ["# humidity_over: water", "# altitude_m: 1526", "# time_zone: America/Denver"]
    lines.append(",".join(("time", *COLUMNS.values())))
    for row in rows[3:]:
        cell = dict(zip(titles, row, strict=True))
        year, month, day, hour, minute = (int(cell[k]) for k in titles[:5])
        stamp = f"{year}-{month:02d}-{day:02d}T{hour:02d}:{minute:02d}-07:00"
        lines.append(",".join((stamp, *(cell[k] for k in COLUMNS))))
    target.write_text("\n".join(lines) + "\n", encoding="utf-8")


def rounded(weather: Weather) -> Weather:
    """No more digits than the source has."""
    return replace(
        weather,
        name="Fort Collins, Colorado, 2018",
        source="NREL National Solar Radiation Database, PSM v3.0.1, location 155561, 1526 m",
        relative_humidity=weather.relative_humidity.round(3),
        wind_speed=weather.wind_speed.round(1),
        global_radiation=weather.global_radiation.round(0),
    )


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        plain = Path(folder) / "half_hours.csv"
        half_hours(Path(sys.argv[1]), plain)
        weather = read_weather(plain)
    TARGET.parent.mkdir(parents=True, exist_ok=True)
    write_weather_csv(rounded(weather), TARGET, comments=COMMENTS)
    print(TARGET, TARGET.stat().st_size, "bytes", weather.notes)


if __name__ == "__main__":
    main()
