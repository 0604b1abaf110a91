"""Outside air by the hour: weather files read and checked, seasons, percentiles, design days."""

from ventcalc.weather.files import Weather, example_weather, read_weather, write_weather_csv
from ventcalc.weather.parts import (
    colder,
    design_day,
    dry_bulb_percentiles,
    finer,
    local_time,
    season,
)
from ventcalc.weather.record import zone

__all__ = [
    "Weather",
    "colder",
    "design_day",
    "dry_bulb_percentiles",
    "example_weather",
    "finer",
    "local_time",
    "read_weather",
    "season",
    "write_weather_csv",
    "zone",
]
