"""
Forecasts as people get them: CSV, the JSON of three public services, fetched, corrected, refused.

The saved files ``data/invented_*.json`` are ours, places and values invented; their structure
follows what the services document (open-meteo.com/en/docs; weather.gov/documentation/
services-web-api; api.met.no/weatherapi/locationforecast/2.0/documentation).
"""

from __future__ import annotations

import json
import os
import socket
import threading
from dataclasses import replace
from datetime import UTC, datetime
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path

import numpy as np
import pytest

from ventcalc import air
from ventcalc.errors import BadInput
from ventcalc.weather.forecast import (
    Forecast,
    forecast_from_text,
    hours_ahead,
    read_forecast,
)
from ventcalc.weather.forecast_errors import with_errors
from ventcalc.weather.forecast_fetch import fetch_forecast
from ventcalc.weather.forecast_local import corrected, learn_bias, like_yesterday
from ventcalc.weather.forecast_services import SERVICES
from ventcalc.weather.parts import steps_of

DATA = Path(__file__).parent / "data"
FILES = {
    "open-meteo": DATA / "invented_open_meteo.json",
    "met-norway": DATA / "invented_met_norway.json",
    "weather-gov": DATA / "invented_weather_gov.json",
}
CSV = "# time_zone: UTC\n# issued: 2026-11-10T05:00Z\ntime,outside_temp_c,outside_rh_percent\n"


def stamp(text: str) -> float:
    return datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp()


def at(forecast: Forecast, hour: str) -> int:
    return int(np.flatnonzero(forecast.weather.time == np.datetime64(hour))[0])


def changed(service: str, change) -> str:
    data = json.loads(FILES[service].read_text("utf-8"))
    change(data)
    return json.dumps(data)


# --- what the services say -----------------------------------------------------------------


def test_hourly_arrays_in_local_time():
    found = read_forecast(FILES["open-meteo"], altitude=1500.0)
    told = json.loads(FILES["open-meteo"].read_text("utf-8"))["hourly"]
    k = told["time"].index("2026-11-10T09:00")
    row = at(found, "2026-11-10T15:00")  # six hours behind UTC
    weather = found.weather
    assert weather.temperature[row] == pytest.approx(told["temperature_2m"][k])
    assert weather.pressure[row] == pytest.approx(100.0 * told["surface_pressure"][k])
    assert weather.relative_humidity[row] == pytest.approx(
        told["relative_humidity_2m"][k] / 100.0, abs=1e-3
    )
    # documented as the mean of the hour before: that from 9 to 10 stands beside 10
    assert weather.global_radiation[row] == pytest.approx(told["shortwave_radiation"][k + 1])
    assert any("2 h in all, filled with straight lines" in note for note in weather.notes)
    assert any("does not say when it was issued" in note for note in found.notes)
    assert found.issued == stamp("2026-11-10T06:00")
    assert "CC BY 4.0" in weather.source


def test_time_series_by_the_hour_then_by_six():
    found = read_forecast(FILES["met-norway"], altitude=1500.0)
    assert found.issued == stamp("2026-11-10T05:31:07")
    assert len(found.weather.time) == 55
    assert any("used until 2026-11-12 12:00 UTC; 5 h are missing" in note for note in found.notes)
    assert any("for 1210 m, the store stands at 1500 m: about -1.9 K" in n for n in found.notes)
    # not the pressure at sea level, which the service gives
    assert found.weather.pressure[0] == pytest.approx(float(air.standard_pressure(1500.0)))
    assert found.weather.wind_speed[0] == pytest.approx(3.4)


def test_intervals_hold_their_value():
    found = read_forecast(FILES["weather-gov"], altitude=1500.0)
    told = json.loads(FILES["weather-gov"].read_text("utf-8"))["properties"]
    rows = told["temperature"]["values"]
    k = next(k for k, row in enumerate(rows) if row["validTime"].endswith("/PT3H"))
    first = at(found, rows[k]["validTime"][:16])
    assert found.weather.temperature[first : first + 3] == pytest.approx(rows[k]["value"])
    assert found.weather.temperature[first + 3] == pytest.approx(rows[k + 1]["value"])
    assert found.issued == stamp("2026-11-10T08:12:40")
    assert found.weather.wind_speed[0] == pytest.approx(3.0)  # 10.8 km/h
    assert len(found.weather.time) == 10 * 1 + 5 * 2 + 10 * 3 + 6 * 6


def test_units_are_those_that_the_file_names():
    def fahrenheit(data):
        layer = data["properties"]["temperature"]
        layer["uom"] = "wmoUnit:degF"
        for row in layer["values"]:
            row["value"] = row["value"] * 1.8 + 32.0

    plain = read_forecast(FILES["weather-gov"], altitude=1500.0)
    found = forecast_from_text(changed("weather-gov", fahrenheit), altitude=1500.0)
    assert found.weather.temperature == pytest.approx(plain.weather.temperature)


def drop(*path):
    def change(data):
        for key in path[:-1]:
            data = data[key]
        del data[path[-1]]

    return change


def put(value, *path):
    def change(data):
        for key in path[:-1]:
            data = data[key]
        data[path[-1]] = value

    return change


@pytest.mark.parametrize(
    ("text", "part"),
    [
        (FILES["open-meteo"].read_text("utf-8")[:900], "cut off"),
        ('{"weather": 1}', "no known service"),
        ("[1, 2]", "no known service"),
        ('{"properties": {"periods": []}}', "forecastGridData"),
        (changed("open-meteo", put(85.0, "hourly", "temperature_2m", 5)), "hour 6: temperature 85"),
        (changed("open-meteo", put("K", "hourly_units", "temperature_2m")), "is in 'K'"),
        (changed("open-meteo", put("warm", "hourly", "temperature_2m", 5)), "no number"),
        (changed("open-meteo", drop("utc_offset_seconds")), "utc_offset_seconds is missing"),
        (changed("open-meteo", drop("hourly", "temperature_2m")), "temperature is missing"),
        (changed("open-meteo", put([1.0], "hourly", "dew_point_2m")), "another number of hours"),
        (changed("met-norway", put("2026-11-10T05:00", "properties", "meta", "updated_at")),
         "without offset"),
        (changed("met-norway", put([], "properties", "timeseries")), "together"),
        (changed("weather-gov", put("soon", "properties", "temperature", "values", 0, "validTime")),
         "ISO 8601"),
        (CSV.replace("2026-11-10T05:00Z", "today") + "2026-11-10T06:00,4,80\n", "header issued"),
        (CSV.replace("# time_zone: UTC\n", "") + "2026-11-10T06:00,4,80\n", "no time zone"),
    ],
)  # fmt: skip
def test_refusals(text, part):
    with pytest.raises(BadInput, match=part) as refused:
        forecast_from_text(text, "file", altitude=1500.0)
    assert all(line.startswith("file: ") for line in refused.value.problems)


# --- hours that are wanted -----------------------------------------------------------------


def csv_forecast(hours=72, warm=4.0):
    rows = [
        f"{np.datetime64('2026-11-10T06:00') + np.timedelta64(k, 'h')},{warm + (k % 24) / 4},80"
        for k in range(hours)
    ]
    return forecast_from_text(CSV + "\n".join(rows) + "\n", altitude=100.0)


def test_a_zone_in_the_file_goes_before_that_of_the_store():
    text = CSV + "2026-11-10T06:00,4,80\n2026-11-10T07:00,4,80\n"
    for told, hour in ((text, 6), (text.replace("# time_zone: UTC\n", ""), 13)):
        found = forecast_from_text(told, altitude=100.0, time_zone="America/Denver")
        assert found.weather.time[0] == np.datetime64(f"2026-11-10T{hour:02d}:00")


def test_steps_of_three_hours_are_made_hours_and_longer_ones_refused():
    def every(step):
        rows = [f"{np.datetime64('2026-11-10T06:00') + np.timedelta64(k, 'h')},{4 + k},80"
                for k in range(0, 48, step)]  # fmt: skip
        return forecast_from_text(CSV + "\n".join(rows) + "\n", altitude=100.0)

    found = every(3)
    assert found.weather.temperature[:6] == pytest.approx([4, 5, 6, 7, 8, 9])
    assert any("straight lines" in note for note in found.weather.notes)
    for step in (4, 6):
        with pytest.raises(BadInput, match="hide the nights"):
            every(step)


def test_hours_ahead_begin_with_the_state():
    forecast = csv_forecast()
    assert forecast.issued == stamp("2026-11-10T05:00")
    found = hours_ahead(forecast, stamp("2026-11-10T09:20"), 48)
    assert len(found.weather.time) == 48
    assert found.weather.time[0] == np.datetime64("2026-11-10T09:20")
    assert found.weather.temperature[0] == forecast.weather.temperature[3]
    late = hours_ahead(forecast, stamp("2026-11-10T04:00"), 48)
    assert any("begins 2 h late" in note for note in late.notes)
    assert (late.weather.temperature[:3] == forecast.weather.temperature[0]).all()
    assert any("ends after 60 h" in note for note in
               hours_ahead(forecast, stamp("2026-11-10T18:00")).notes)  # fmt: skip


@pytest.mark.parametrize(
    ("now", "part"),
    [
        ("2026-11-11T18:00", "37 h old"),
        ("2026-11-10T02:00", "4 h after the state"),
        ("2026-11-09T02:00", "give a newer state"),
    ],
)
def test_a_forecast_for_another_time_is_refused(now, part):
    with pytest.raises(BadInput, match=part):
        hours_ahead(csv_forecast(), stamp(now))


def test_a_short_forecast_is_refused():
    with pytest.raises(BadInput, match="at least 24 h"):
        hours_ahead(csv_forecast(30), stamp("2026-11-10T14:00"))


# --- the site's own readings ---------------------------------------------------------------


def past_and_now(bias):
    """A week of readings, forecasts of each day that were off by a bias, and the present one."""
    rng = np.random.default_rng(1)
    start, count = np.datetime64("2026-11-01T00:00:00"), 14 * 24
    time = start + np.arange(count) * np.timedelta64(1, "h")
    warm = 5.0 + 5.0 * np.sin(np.arange(count) / 24 * 2 * np.pi) + rng.normal(size=count)
    shape = csv_forecast(count).weather
    ratio = air.saturation_humidity_ratio(warm - 3.0, shape.pressure)
    relative = air.relative_humidity(warm, ratio, shape.pressure)
    truth = replace(
        shape, time=time, temperature=warm, humidity_ratio=ratio, relative_humidity=relative
    )
    off = np.full(count, bias)
    wrong = with_errors(truth, off, off)

    def issued(day):
        cut = steps_of(wrong, slice(24 * day, 24 * day + 96))
        return Forecast(weather=cut, issued=float(cut.time[0].astype(np.int64)))

    observed = steps_of(truth, slice(0, 24 * 8))
    return [issued(day) for day in range(1, 8)], issued(8), observed, truth


@pytest.mark.parametrize("bias", [3.0, -2.0])
def test_a_constant_bias_is_more_than_halved(bias):
    past, now, observed, truth = past_and_now(bias)
    better = corrected(now, learn_bias(past, observed))
    left = better.weather.temperature - truth.temperature[24 * 8 : 24 * 8 + 96]
    assert np.abs(left).max() < 0.5 * abs(bias)
    dew = [air.dew_point(w.humidity_ratio, w.pressure) for w in (better.weather, now.weather)]
    assert dew[0] - dew[1] == pytest.approx(left - bias, abs=0.05)
    assert any("own readings over" in note for note in better.notes)


def test_no_bias_no_correction():
    past, now, observed, _ = past_and_now(0.0)
    same = corrected(now, learn_bias(past, observed))
    assert same.weather.temperature == pytest.approx(now.weather.temperature, abs=1e-9)
    nothing = corrected(now, learn_bias([now], observed))
    assert (nothing.weather.temperature == now.weather.temperature).all()
    assert "nothing is corrected" in nothing.notes[-1]


def test_a_forecast_of_elsewhere_is_found_out():
    past, _, observed, _ = past_and_now(15.0)
    with pytest.raises(BadInput, match="are place, unit and time zone right"):
        learn_bias(past, observed)


def test_yesterday_again_says_that_it_is_no_forecast():
    _, now, observed, _ = past_and_now(0.0)
    found = like_yesterday(observed, now.issued, 48)
    assert found.weather.temperature[:24] == pytest.approx(observed.temperature[-24:])
    assert found.weather.temperature[24:] == pytest.approx(observed.temperature[-24:])
    assert found.weather.time[0] == now.weather.time[0]
    assert "NO FORECAST" in found.notes[0]
    with pytest.raises(BadInput, match="no whole day"):
        like_yesterday(observed, now.issued + 5 * 3600.0)


# --- fetching, from a server of our own ----------------------------------------------------


class Answers(BaseHTTPRequestHandler):
    """Serves the saved files; what was asked stands in ``server.asked``."""

    def do_GET(self):
        self.server.asked.append((self.path, self.headers["User-Agent"]))
        host = f"http://127.0.0.1:{self.server.server_port}"
        pages = {
            "/points/40.0000,-100.0000": {"properties": {"forecastGridData": f"{host}/grid"}},
            "/points/41.0000,-100.0000": {
                "properties": {"forecastGridData": "http://example.org/g"}
            },
        }
        page = pages.get(self.path)
        name = "weather-gov" if self.path == "/grid" else "open-meteo"
        body = json.dumps(page).encode() if page else FILES[name].read_bytes()
        self.send_response(200 if self.server.up else 503)
        self.end_headers()
        self.wfile.write(body if self.server.up else b"")

    def log_message(self, *_):
        pass


@pytest.fixture
def service(monkeypatch, tmp_path):
    server = HTTPServer(("127.0.0.1", 0), Answers)
    server.asked, server.up = [], True
    thread = threading.Thread(target=server.serve_forever, args=(0.01,), daemon=True)
    thread.start()
    host = f"http://127.0.0.1:{server.server_port}"
    paths = {"open-meteo": "/v1?lat={lat:.4f}&lon={lon:.4f}",
             "weather-gov": "/points/{lat:.4f},{lon:.4f}"}  # fmt: skip
    for name, path in paths.items():
        monkeypatch.setitem(SERVICES, name, SERVICES[name]._replace(url=host + path))
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    yield server
    server.shutdown()
    thread.join()
    server.server_close()


def aged(folder, hours):
    (kept,) = (folder / "ventcalc").glob("forecast-*.json")
    then = kept.stat().st_mtime - hours * 3600.0
    os.utime(kept, (then, then))


def test_fetched_once_an_hour_and_kept_for_bad_times(service, tmp_path):
    first = fetch_forecast("open-meteo", 40.0, -100.0)
    again = fetch_forecast("open-meteo", 40.0, -100.0)
    assert [path for path, _ in service.asked] == ["/v1?lat=40.0000&lon=-100.0000"]
    assert service.asked[0][1].startswith("ventcalc ")
    assert again.text == first.text
    assert "kept since" in again.note
    forecast_from_text(first.text, altitude=1500.0)
    aged(tmp_path, 2)
    service.up = False
    kept = fetch_forecast("open-meteo", 40.0, -100.0)
    assert "does not answer" in kept.note
    assert kept.text == first.text
    with pytest.raises(BadInput, match="no answer"):
        fetch_forecast("open-meteo", 41.0, -100.0)


def test_a_grid_is_asked_for_in_two_steps_at_the_same_host(service):
    found = fetch_forecast("weather-gov", 40.0, -100.0)
    assert [path for path, _ in service.asked] == ["/points/40.0000,-100.0000", "/grid"]
    assert (
        forecast_from_text(found.text, altitude=1500.0).weather.name == SERVICES["weather-gov"].name
    )
    with pytest.raises(BadInput, match="no forecast for this place"):
        fetch_forecast("weather-gov", 41.0, -100.0)


def test_a_silent_server_is_not_waited_for(monkeypatch, tmp_path):
    with socket.create_server(("127.0.0.1", 0)) as silent:
        url = f"http://127.0.0.1:{silent.getsockname()[1]}/"
        monkeypatch.setitem(SERVICES, "met-norway", SERVICES["met-norway"]._replace(url=url))
        monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
        with pytest.raises(BadInput, match="timed out"):
            fetch_forecast("met-norway", 40.0, -100.0, timeout=0.2)
