"""Weather: reading, checking and writing files of outside air."""

from __future__ import annotations

import gzip
from collections.abc import Sequence
from dataclasses import dataclass, replace
from importlib.resources import as_file, files
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from ventcalc import air
from ventcalc.errors import BadInput, check_range
from ventcalc.weather.checks import humidity, problems_in, standard_pressure_for
from ventcalc.weather.grid import fill, to_grid, trim
from ventcalc.weather.plain_csv import read_plain
from ventcalc.weather.record import Array, Record, Times, zone
from ventcalc.weather.station_files import read_epw, read_tmy3

__all__ = [
    "ARRAYS",
    "Weather",
    "example_weather",
    "read_weather",
    "record_of",
    "text_of",
    "weather_of",
    "write_weather_csv",
]

HOUR = 3600.0
MEASURED = (
    "temperature",
    "humidity_ratio",
    "pressure",
    "wind_speed",
    "global_radiation",
    "sky_temperature",
)


@dataclass(frozen=True, kw_only=True)
class Weather:
    """
    Outside air at a fixed step; every array has shape (n,).

    Parameters
    ----------
    time : array of datetime64[s]
        Start of each step, UTC.
    temperature : array
        Dry bulb. [°C]
    relative_humidity : array
        Over ice below 0.01 °C, over water above, whatever the file used. [0-1]
    humidity_ratio : array
        Water per dry air. [kg/kg dry air]
    pressure : array
        Absolute, at the station. [Pa]
    wind_speed : array
        NaN where unknown. [m/s]
    global_radiation : array
        On a horizontal surface, mean over the step; NaN where unknown. [W/m²]
    sky_temperature : array
        Of a black sky with the measured infrared radiation; NaN where unknown. [°C]
    time_zone : str
        Zone in which to print times: IANA name or fixed offset.
    step : float
        Length of a step. [s]
    name, source : str
        Place, and where the data come from.
    notes : tuple of str
        What was assumed, averaged or filled.
    typical : bool
        Whether the months come from different years, so that no seam is real weather.
    """

    time: Times
    temperature: Array
    relative_humidity: Array
    humidity_ratio: Array
    pressure: Array
    wind_speed: Array
    global_radiation: Array
    sky_temperature: Array
    time_zone: str
    step: float
    name: str = ""
    source: str = ""
    notes: tuple[str, ...] = ()
    typical: bool = False

    def __post_init__(self) -> None:
        shape = self.time.shape
        if len(shape) != 1 or any(getattr(self, f).shape != shape for f in ARRAYS[1:]):
            raise BadInput("the arrays of a Weather must all have the same shape (n,)")
        fog = np.flatnonzero(self.relative_humidity > 1.0)
        if fog.size:
            self._without_fog(fog)

    def _without_fog(self, rows: NDArray[np.int64]) -> None:
        """Set to saturation; the rest was fog, rime or round-off, and a note says how much."""
        limit = air.saturation_humidity_ratio(self.temperature[rows], self.pressure[rows])
        over = self.humidity_ratio[rows] / limit - 1.0
        ratio, relative = self.humidity_ratio.copy(), self.relative_humidity.copy()
        ratio[rows], relative[rows] = np.minimum(ratio[rows], limit), 1.0
        object.__setattr__(self, "humidity_ratio", ratio)
        object.__setattr__(self, "relative_humidity", relative)
        if (over > 1e-3).any():
            note = (
                f"{int((over > 1e-3).sum())} steps above saturation (over ice below 0 °C) by up to "
                f"{100 * over.max():.1f} % set to saturation: the rest is fog or rime"
            )
            object.__setattr__(self, "notes", (*self.notes, note))


ARRAYS = ("time", "relative_humidity", *MEASURED)


def read_weather(
    path: str | Path,
    *,
    time_zone: str | None = None,
    altitude: float | None = None,
    max_gap: float = 3 * HOUR,
    step: float | None = HOUR,
) -> Weather:
    """
    Read a weather file: EPW, TMY3 or plain CSV, also gzipped.

    Parameters
    ----------
    path : str or Path
        The file; its format is told from its content.
    time_zone : str, optional
        IANA name or fixed offset ("UTC-07:00"): the zone of times without offset in a plain file
        (before its header line ``# time_zone:``), and the zone in which to print.
    altitude : float, optional
        Height above sea level, used where the file has no pressure. [m]
    max_gap : float
        Longest gap that is filled with a straight line. [s]
    step : float, optional
        Finer data are averaged to this step; ``None`` keeps the file's own. [s]

    Returns
    -------
    Weather

    Raises
    ------
    BadInput
        Every problem found, one line each.
    OutOfRange
        ``max_gap`` or ``step`` outside sensible limits.

    Notes
    -----
    A plain file has the columns ``time`` (ISO 8601), ``outside_temp_c`` or ``_f``; ``outside_rh``
    (0-1), ``outside_rh_percent`` or ``outside_dew_point_c`` or ``_f``; optional ``pressure_pa``,
    ``_hpa`` or ``_kpa``, ``wind_speed_m_s``, ``global_radiation_w_m2``, ``sky_temp_c``. Lines
    above it, ``# key: value``, may give time_zone, altitude_m, humidity_over (water or ice),
    name, source, typical_year (yes) and note. Times are starts of steps; naive times in an IANA
    zone follow its summer time.

    EPW and TMY3 stamp the end of the hour in local standard time; a row stamped 01:00 becomes the
    step that starts at 00:00. Spot readings are thereby up to an hour early, radiation is exact.

    Below 0 °C humidity may be stated over water (WMO-No. 8, as probes report) or over ice. Where
    a file gives relative humidity and dew point, the two tell which; else ``humidity_over``
    does; else water is taken, with a note.
    """
    check_range("max_gap", max_gap, 0, 30 * 24 * HOUR, "s", "in hours, perhaps? give seconds")
    if step is not None:
        check_range("step", step, 60, 24 * HOUR, "s", "in hours, perhaps? give seconds")
    file = Path(path)
    try:
        record = record_of(text_of(file), time_zone)
        return weather_of(record, time_zone, altitude, max_gap, step)
    except BadInput as error:
        raise BadInput(f"{file.name}: {line}" for line in error.problems) from None


def weather_of(
    record: Record,
    time_zone: str | None,
    altitude: float | None,
    max_gap: float = 3 * HOUR,
    step: float | None = HOUR,
) -> Weather:
    """A record checked, on equal steps; arguments as of ``read_weather``."""
    if time_zone is not None:
        zone(time_zone)
        record = replace(record, time_zone=time_zone)
    record = standard_pressure_for(record, altitude)
    if problems := problems_in(record, altitude):
        raise BadInput(problems)
    return _on_grid(record, max_gap, step)


def _on_grid(record: Record, max_gap: float, step: float | None) -> Weather:
    """Equal steps without gaps, from a record without problems."""
    values = dict(record.values)
    humidity_ratio, notes = humidity(record)
    values["humidity_ratio"] = humidity_ratio
    nothing = np.full(record.time.shape, np.nan)
    series = {name: values.get(name, nothing) for name in MEASURED}
    time, series, native, length = to_grid(record.time, series, step)
    if native < length:
        notes += (f"averaged from {native / 60:g} min to {length / 60:g} min steps",)
    needed = MEASURED[:3]
    time, series, cut = trim(time, series, needed)
    if cut:
        notes += (f"{cut} incomplete steps cut off at the ends",)
    series, filled = fill(time, series, needed, length, max_gap, record.time_zone)
    ratio = series["humidity_ratio"]
    return Weather(
        time=time,
        **series,
        relative_humidity=air.relative_humidity(series["temperature"], ratio, series["pressure"]),
        time_zone=record.time_zone,
        step=length,
        name=record.name,
        source=record.source,
        notes=record.notes + notes + filled,
        typical=record.typical,
    )


def record_of(text: str, time_zone: str | None) -> Record:
    """The record of a text in whichever of the known formats it is."""
    lines = text.splitlines()
    if not any(line.strip() for line in lines):
        raise BadInput("the file is empty")
    if lines[0].upper().startswith("LOCATION,"):
        return read_epw(lines)
    if len(lines) > 1 and lines[1].startswith("Date (MM/DD/YYYY)"):
        return read_tmy3(lines)
    return read_plain(lines, time_zone)


def text_of(path: Path) -> str:
    """Text of a file, also gzipped."""
    if path.is_dir():
        raise BadInput("is a folder; give the weather file inside it")
    try:
        raw = path.read_bytes()
        if raw[:2] == b"\x1f\x8b":
            raw = gzip.decompress(raw)
    except FileNotFoundError:
        raise BadInput("no such file; check the path") from None
    except (OSError, EOFError) as error:
        raise BadInput(f"the file cannot be read: {error}") from None
    if b"\0" in raw:
        raise BadInput("this is not a text file; give an EPW, TMY3 or CSV file")
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        return raw.decode("latin-1")


def example_weather() -> Weather:
    """
    Hourly weather of Fort Collins, Colorado, in 2018, at 1526 m.

    Returns
    -------
    Weather

    References
    ----------
    NREL National Solar Radiation Database; see ``ventcalc/data/weather/SOURCE.md``.
    """
    with as_file(files("ventcalc") / "data" / "weather" / "example.csv") as path:
        return read_weather(path)


def write_weather_csv(weather: Weather, path: str | Path, *, comments: Sequence[str] = ()) -> None:
    """
    Write the plain format that `read_weather` reads; gzipped if the name ends in ``.gz``.

    Parameters
    ----------
    weather : Weather
    path : str or Path
    comments : sequence of str
        Further header lines, without the ``#``.

    Notes
    -----
    Rounded to 0.01 °C, 0.01 % relative humidity (over ice below 0.01 °C), 0.1 hPa, 0.01 m/s,
    0.1 W/m². Optional columns that are all unknown are left out.
    """
    head = {
        "name": weather.name,
        "source": weather.source,
        "time_zone": weather.time_zone,
        "humidity_over": "ice",
        "typical_year": "yes" if weather.typical else "no",
    }
    lines = [f"# {line}" for line in comments]
    lines += [f"# {key}: {value}" for key, value in head.items() if value]
    lines += [f"# note: {note}" for note in weather.notes]
    columns = {
        "outside_temp_c": weather.temperature.round(2),
        "outside_rh_percent": (100 * weather.relative_humidity).round(2),
        "pressure_hpa": (weather.pressure / 100).round(1),
        "wind_speed_m_s": weather.wind_speed.round(2),
        "global_radiation_w_m2": weather.global_radiation.round(1),
        "sky_temp_c": weather.sky_temperature.round(2),
    }
    columns = {name: column for name, column in columns.items() if not np.isnan(column).all()}
    lines.append(",".join(("time", *columns)))
    stamps = np.datetime_as_string(weather.time, unit="s" if weather.step % 60 else "m")
    cells = [
        ["" if x != x else f"{x:.10g}" for x in column.tolist()] for column in columns.values()
    ]
    lines += [f"{row[0]}Z," + ",".join(row[1:]) for row in zip(stamps, *cells, strict=True)]
    data = ("\n".join(lines) + "\n").encode("utf-8")
    file = Path(path)
    file.write_bytes(gzip.compress(data, mtime=0) if file.suffix == ".gz" else data)
