"""An invented bay: the library's bay model by the minute, under the example weather."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from functools import lru_cache

from ventcalc import air
from ventcalc.advice.policies import Positions
from ventcalc.advice.readings import Readings
from ventcalc.bay.description import Bay
from ventcalc.bay.hourly import HourlyBay, hourly
from ventcalc.pile.layers import Bed, Layer
from ventcalc.season.bay_model import readings_of, step_bay
from ventcalc.season.bay_state import BayState, StepRecord, bed_of, first_state
from ventcalc.season.surroundings import Ground, Outside
from ventcalc.weather import Weather, example_weather

__all__ = ["LAYERS", "PULPS", "Plant", "forecast_text", "outside_at", "plant_of"]

PULPS = 5
LAYERS = 20


@lru_cache(maxsize=1)
def _weather() -> tuple[Weather, dict[tuple[int, int, int], int]]:
    weather = example_weather()
    hours = weather.time.astype("datetime64[s]").astype("int64").tolist()
    places = {}
    for row, second in enumerate(hours):
        at = datetime.fromtimestamp(second, UTC)
        places[at.month, at.day, at.hour] = row
    return weather, places


def outside_at(time: float, pressure: float) -> Outside:
    """Outside air of the example weather at the same day of the year."""
    weather, places = _weather()
    begin = time // 3600.0 * 3600.0
    part = (time - begin) / 3600.0
    found = []
    for second in (begin, begin + 3600.0):
        at = datetime.fromtimestamp(second, UTC)
        row = places.get((at.month, at.day, at.hour)) or places[2, 28, at.hour]
        found.append((float(weather.temperature[row]), float(weather.relative_humidity[row])))
    temperature, humidity = (a + part * (b - a) for a, b in zip(found[0], found[1], strict=True))
    ratio = air.humidity_ratio(temperature, humidity, pressure)
    return Outside(
        time=time,
        temperature=temperature,
        relative_humidity=humidity,
        humidity_ratio=float(ratio),
    )


def forecast_text(time: float, pressure: float, hours: int = 192) -> str:
    """A forecast of that weather without an error, as a job of the site's own would write it."""
    lines = ["# source: invented for the demo", "# time_zone: UTC"]
    lines += [f"# issued: {datetime.fromtimestamp(time, UTC):%Y-%m-%dT%H:%MZ}"]
    lines += ["time,outside_temp_c,outside_rh_percent"]
    for hour in range(hours):
        air_then = outside_at((time // 3600.0 + hour) * 3600.0, pressure)
        stamp = datetime.fromtimestamp(air_then.time, UTC)
        humidity = 100.0 * min(air_then.relative_humidity, 1.0)
        lines.append(f"{stamp:%Y-%m-%dT%H:%M},{air_then.temperature:.1f},{humidity:.0f}")
    return "\n".join(lines) + "\n"


def probe_layers(layers: int) -> list[int]:
    """Layers in which the probes sit, from the bottom up."""
    return [round((layers - 1) * n / (PULPS - 1)) for n in range(PULPS)]


@dataclass(slots=True)
class Plant:
    """The bay itself: pile, air, fans, doors, as the library models them."""

    bay: Bay
    model: Bed
    state: BayState
    layers: list[Layer]
    time: float
    """UTC. [s]"""
    pressure: float
    positions: Positions = field(default_factory=Positions)
    water: float = 0.0
    """Humidifier. [0-1]"""

    def advance(self, time: float) -> None:
        """Move on to a time under the positions that stand, a minute or less at a time."""
        while time - self.time > 1e-6:
            step = min(60.0, time - self.time)
            outside = outside_at(self.time, self.pressure)
            bay = self.now()
            sprays = replace(bay.humidifier, capacity=self.water * bay.humidifier.capacity)
            self.state, _, _ = step_bay(
                replace(bay, humidifier=sprays),
                self.model,
                Ground(),
                self.layers,
                self.state,
                self.positions,
                outside,
                step,
                StepRecord(),
            )
            self.time += step

    def now(self) -> HourlyBay:
        """The bay in the season that it stands in."""
        return hourly(self.bay, self.time)

    def readings(self) -> Readings:
        """What faultless sensors would read."""
        outside = outside_at(self.time, self.pressure)
        return readings_of(self.state, self.layers, outside, self.pressure)

    def pulps(self) -> list[float]:
        """Pulp temperatures at the probes, bottom to top. [°C]"""
        return [self.layers[place].temperature for place in probe_layers(len(self.layers))]


def plant_of(bay: Bay, time: float, pulp: float | None = None) -> Plant:
    """A full bay at one temperature, 2 K above holding if none is given."""
    pressure = float(air.standard_pressure(bay.site.altitude))
    model = bed_of(bay, pressure, LAYERS)
    warm = bay.schedule.holding_temperature + 2.0 if pulp is None else pulp
    state = first_state(bay, pressure)._replace(
        share=1.0,
        loaded=1.0,
        return_temperature=warm,
        return_humidity_ratio=float(air.humidity_ratio(warm, 0.94, pressure)),
        plenum_temperature=warm,
    )
    layers = [Layer(warm) for _ in range(LAYERS)]
    return Plant(bay=bay, model=model, state=state, layers=layers, time=time, pressure=pressure)
