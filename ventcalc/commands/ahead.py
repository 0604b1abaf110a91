"""Where a pile stands and what the air outside will be, as ``outlook`` and ``plan`` are told."""

from __future__ import annotations

import argparse
from dataclasses import replace

import numpy as np

from ventcalc.advice.kept_file import kept_from_json
from ventcalc.advice.probe_history import ProbeHistory
from ventcalc.advice.readings import Memory
from ventcalc.advice.readings_file import readings_from_json
from ventcalc.bay.description import Bay
from ventcalc.commands.files import read_text
from ventcalc.commands.words import whole_number
from ventcalc.errors import BadInput
from ventcalc.outlook.ahead import hours_of_bay
from ventcalc.outlook.start import state_of_readings
from ventcalc.outlook.state import PileState, state_from_json
from ventcalc.weather import read_weather
from ventcalc.weather.forecast import (
    Forecast,
    forecast_from_text,
    read_forecast,
    zone_unless_told,
)
from ventcalc.weather.forecast_local import corrected, learn_bias, like_yesterday
from ventcalc.weather.forecast_services import SERVICES

__all__ = ["add_inputs", "forecast_asked", "state_asked"]

REMEMBERED = 3 * 86400.0
"""Part of a log that the advice goes through; ramp, hysteresis and probes settle in it. [s]"""


def add_inputs(parser: argparse.ArgumentParser) -> None:
    """Options that say where the pile stands and what is expected outside."""
    start = parser.add_mutually_exclusive_group(required=True)
    start.add_argument(
        "--state", metavar="FILE", help="where the pile stands, of `ventcalc season --state-out`"
    )
    start.add_argument(
        "--readings",
        metavar="FILE",
        help="readings of this hour, as of advise: the pile is estimated from them",
    )
    start.add_argument(
        "--log",
        metavar="FILE",
        help="a log of readings, CSV as of diagnose: the same, its last days remembered",
    )
    parser.add_argument(
        "--memory", metavar="FILE", help="with --readings: what advise keeps from hour to hour"
    )
    outside = parser.add_mutually_exclusive_group(required=True)
    outside.add_argument(
        "--forecast",
        metavar="FILE",
        help="CSV, or the JSON of Open-Meteo, the US National Weather Service or MET Norway",
    )
    outside.add_argument(
        "--fetch",
        choices=tuple(SERVICES),
        help="ask this service for one, with --at; kept for an hour; mind its terms",
    )
    parser.add_argument("--at", metavar="LAT,LON", help="where the store stands, in degrees")
    parser.add_argument(
        "--observed",
        metavar="FILE",
        help="the site's own outside readings, a weather CSV: the forecast's bias is taken off",
    )
    parser.add_argument(
        "--past",
        metavar="FILE",
        nargs="+",
        default=[],
        help="with --observed: earlier forecasts of the same service, to learn the bias from",
    )
    parser.add_argument(
        "--hours",
        metavar="N",
        type=whole_number(24, 240),
        default=168,
        help="how far to look, 24 to 240 (168)",
    )


def state_asked(bay: Bay, args: argparse.Namespace) -> PileState:
    """As written, or estimated from readings."""
    if args.memory is not None and args.readings is None:
        raise BadInput("--memory goes with --readings; a state and a log hold their own")
    if args.state is not None:
        return state_from_json(read_text(args.state, "a state"), args.state, bay)
    if args.log is not None:
        return _state_of_log(bay, args)
    memory: Memory | None = None
    probes: dict[str, ProbeHistory] = {}
    if args.memory is not None:
        memory, probes = kept_from_json(read_text(args.memory, "memory"), args.memory, bay.name)
    given = readings_from_json(read_text(args.readings, "readings"), args.readings, probes)
    return state_of_readings(bay, given, memory)


def _state_of_log(bay: Bay, args: argparse.Namespace) -> PileState:
    """The last row, after the advice has gone through the days before it."""
    from ventcalc.calibration.last_days import with_last_days
    from ventcalc.diagnose.hours import since
    from ventcalc.diagnose.log import read_log
    from ventcalc.farm.advised import advise_log

    log = read_log(read_text(args.log, "a log"), args.log)
    rows = np.flatnonzero(log.time > log.time[-1] - REMEMBERED).tolist()
    *_, last = advise_log(bay, log, rows)
    state = state_of_readings(bay, last.given, last.memory, log.heights)
    state = with_last_days(bay, since(log, log.time[-1] - REMEMBERED), state)
    return replace(state, notes=(*log.remarks, *state.notes))


def forecast_asked(bay: Bay, args: argparse.Namespace, state: PileState) -> Forecast:
    """As told, less its local bias; yesterday again where it may not be used."""
    if args.observed is None:
        if args.past:
            raise BadInput("--past goes with --observed, the readings to hold them against")
        return _told(bay, args)
    zone, height = bay.site.time_zone, bay.site.altitude
    own = zone_unless_told(read_text(args.observed, "readings"), zone)
    observed = read_weather(args.observed, time_zone=own, altitude=height)
    past = [read_forecast(name, time_zone=zone, altitude=height) for name in args.past]
    try:
        forecast = _told(bay, args)
        hours_of_bay(bay, state, forecast, args.hours)
        return corrected(forecast, learn_bias([*past, forecast], observed))
    except BadInput as error:
        instead = like_yesterday(observed, state.season.time, args.hours)
        return replace(instead, notes=(*instead.notes, *error.problems))


def _told(bay: Bay, args: argparse.Namespace) -> Forecast:
    zone, height = bay.site.time_zone, bay.site.altitude
    if args.fetch is None:
        if args.at is not None:
            raise BadInput("--at goes with --fetch")
        text = read_text(args.forecast, "a forecast")
        return forecast_from_text(text, args.forecast, time_zone=zone, altitude=height)
    from ventcalc.weather.forecast_fetch import fetch_forecast

    fetched = fetch_forecast(args.fetch, *_place(args.at))
    found = forecast_from_text(fetched.text, args.fetch, time_zone=zone, altitude=height)
    return replace(found, notes=(fetched.note, *found.notes))


def _place(words: str | None) -> tuple[float, float]:
    """Latitude and longitude."""
    try:
        north, east = (float(part) for part in (words or "").split(","))
    except ValueError:
        raise BadInput(
            f"--at is {words!r}; write latitude,longitude in degrees, such as --at=46.5,-114.1"
        ) from None
    return north, east
