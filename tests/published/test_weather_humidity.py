"""Humidity of published weather files against their own dew points and other people's tables."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import psychrolib
import pytest

from ventcalc.weather import example_weather, local_time, read_weather

DATA = Path(__file__).parents[1] / "behaviour" / "data"


@pytest.mark.parametrize(
    ("name", "header", "dew_point", "humidity"),
    [("denver_two_days.epw", 8, 7, 8), ("sand_point_two_days_tmy3.csv", 2, 34, 37)],
)
def test_humidity_ratio_fits_the_dew_point_of_the_file(
    name: str, header: int, dew_point: int, humidity: int
) -> None:
    """
    NREL TMY3 gives dew point (0.1 K) and humidity (1 %) apart; ours comes from the humidity.

    The dew point goes through psychrolib (ASHRAE 2017, ideal gas: up to 0.5 % less water). Six
    hours at the seam of two months are left out: there the makers smoothed dry bulb, dew point
    and humidity apart (Wilcox and Marion 2008, NREL/TP-581-43156), and they do not agree.
    """
    path = DATA / name
    weather = read_weather(path)
    rows = [line.split(",") for line in path.read_text().splitlines()[header:]]
    states = list(zip(rows, weather.humidity_ratio, weather.pressure, strict=True))
    for row, ratio, pressure in states[:21] + states[27:]:
        expected = psychrolib.GetHumRatioFromTDewPoint(float(row[dew_point]), float(pressure))
        rounding = 0.5 / float(row[humidity]) + 0.05 * 0.1
        assert ratio == pytest.approx(expected, rel=rounding + 0.006), row[:4]


def test_humidity_over_water_means_more_water_in_frost(tmp_path: Path) -> None:
    """
    Saturation at -20 °C: 125.4 Pa over water, 103.2 Pa over ice.

    Smithsonian Meteorological Tables, 6th ed., tables 94 and 96 (from memory), 0.5 %.
    """
    rows = "".join(f"2025-01-10T0{h}:00Z,-20,50,850\n" for h in range(3))
    path = tmp_path / "frost.csv"
    titles = "time,outside_temp_c,outside_rh_percent,pressure_hpa\n"
    path.write_text("# humidity_over: water\n" + titles + rows)
    over_water = read_weather(path)
    path.write_text("# humidity_over: ice\n" + titles + rows)
    over_ice = read_weather(path)
    assert over_ice.relative_humidity == pytest.approx(np.full(3, 0.5), rel=1e-6)
    assert over_water.relative_humidity == pytest.approx(np.full(3, 0.5 * 125.4 / 103.2), rel=5e-3)
    path.write_text(titles + rows)
    assumed = read_weather(path)
    assert assumed.humidity_ratio.tolist() == over_water.humidity_ratio.tolist()
    assert any("taken as over water (WMO-No. 8)" in note for note in assumed.notes)


def test_example_resembles_the_climate_of_its_place() -> None:
    """
    NOAA normals 1991-2020 for Fort Collins (from memory): January about -1 °C, July about 22 °C.

    One modelled year may differ from normals by some kelvin; 3 K allowed.
    """
    weather = example_weather()
    month = local_time(weather).astype("datetime64[M]").astype(int) % 12
    assert weather.temperature[month == 0].mean() == pytest.approx(-1, abs=3)
    assert weather.temperature[month == 6].mean() == pytest.approx(22, abs=3)
