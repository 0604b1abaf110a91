"""Weather and logs, as several commands are given them."""

from __future__ import annotations

import sys

from ventcalc.bay.description import Bay
from ventcalc.commands.files import read_text
from ventcalc.diagnose.log import Log, read_log
from ventcalc.weather import Weather, example_weather, read_weather

__all__ = ["read_log_of", "weather_for"]


def weather_for(bay: Bay, name: str) -> Weather:
    """Weather for a bay; a season is cut from it, and joined from one year, when it is run."""
    if name == "example":
        return example_weather()
    return read_weather(name, altitude=bay.site.altitude)


def read_log_of(name: str) -> Log:
    """A log of readings; what was left out of it goes to standard error."""
    log = read_log(read_text(name, "a log"), name)
    sys.stderr.writelines(f"ventcalc: {name}: {remark}\n" for remark in log.remarks)
    return log
