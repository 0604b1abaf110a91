"""
What the files of a season folder hold: one class a kind of line, one field a column.

Unit, range, sentence and example stand beside each field, as in ``ventcalc.bay.description``.
The column of a field is its name with a unit: ``gross`` is ``gross_kg`` or ``gross_lb``.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

from ventcalc.bay.description import USES
from ventcalc.bay.fields import quantity, text

__all__ = [
    "COMMON",
    "KINDS",
    "Airflow",
    "Inspection",
    "Line",
    "Load",
    "LotEntry",
    "Move",
    "Observation",
    "SensorCheck",
    "Setting",
    "Treatment",
    "WeightOut",
    "required",
]

Entry = TypeVar("Entry")

_YES = ("yes", "no")


@dataclass(frozen=True, kw_only=True, slots=True)
class Line(Generic[Entry]):
    """A line of a file as it stands after all corrections."""

    row: int
    """As a spreadsheet counts: the heading is row 1."""
    number: str
    """The name by which a correction calls it; empty where nobody gave one."""
    time: float
    """When it happened, UTC since 1970. [s]"""
    who: str
    note: str
    entry: Entry


def _mass(
    about: str, low: float, high: float, like: str, default: Any = dataclasses.MISSING
) -> Any:
    return quantity("kg", low, high, about, default, like=like)


def _share(about: str, default: Any = None, like: str = "2 %") -> Any:
    return quantity("1", 0, 1, about, default, like=like)


def _pulp(about: str) -> Any:
    return quantity("degC", -10, 40, about, None, like="56 degF")


def _place(about: str) -> Any:
    return quantity("m", 0, 300, about, None, like="40 ft")


def _net(truck: Load | WeightOut) -> float:
    """Crop: what was weighed without truck and soil; soil not measured counts as none. [kg]"""
    return (truck.gross - truck.tare) * (1.0 - (truck.soil_share or 0.0))


@dataclass(frozen=True, kw_only=True, slots=True)
class Load:
    """A truck that was weighed and emptied into the bay."""

    lot: str = text("lot that it belongs to", like="A")
    gross: float = _mass("full truck on the scale", 200, 1e5, "84000 lb")
    tare: float = _mass("empty truck on the scale", 0, 6e4, "24000 lb")
    soil_share: float | None = _share("soil, stones and vines in what was weighed")
    pulp: float | None = _pulp("pulp temperature of the load")
    place: float | None = _place("middle of where it fell, from the back wall")
    rot_share: float | None = _share("rotten tubers in a sample", like="0.5 %")
    frost_share: float | None = _share("frosted tubers in a sample", like="1 %")
    fall: float | None = quantity(
        "m", 0, 10, "how far the tubers fell from the boom", None, like="8 inch"
    )
    wet: str | None = text("whether the tubers are wet", None, like="no", choices=_YES)
    ticket: str | None = text("number of the scale's ticket", None, like="1042")

    net = property(_net)


@dataclass(frozen=True, kw_only=True, slots=True)
class LotEntry:
    """A lot of crop: one field, one variety, one class."""

    lot: str = text("name of the lot", like="A")
    use: str | None = text("what it is for", None, like="seed", choices=USES)
    variety: str | None = text("variety", None, like="Russet")
    field: str | None = text("where it grew", None, like="North 40")
    seed_class: str | None = text("class or generation of seed", None, like="G2")
    inspected: str | None = text("passed its field inspections", None, like="yes", choices=_YES)
    disease: str | None = text("disease found in the lot", None, like="none")
    maturity: str | None = text(
        "skin and vine at harvest", None, like="mature", choices=("mature", "immature")
    )
    mass: float | None = _mass("crop expected", 1, 2e7, "1.5e6 lb", None)
    keep_until: str | None = text("date by which it leaves", None, like="2027-03-01", kind="day")


@dataclass(frozen=True, kw_only=True, slots=True)
class Move:
    """Crop that changed its place without being sold."""

    lot: str = text("lot", like="A")
    mass: float = _mass("crop moved", 1, 2e7, "100000 lb")
    away_to: str | None = text("where it went, if it left this bay", None, like="bay 3")
    here_from: str | None = text("where it came from, if it came into this bay", None, like="bay 1")

    @property
    def change(self) -> float:
        """What the bay holds more by it; negative where it left. [kg]"""
        return self.mass * ((self.here_from is not None) - (self.away_to is not None))


@dataclass(frozen=True, kw_only=True, slots=True)
class WeightOut:
    """A truck that left with crop of the bay."""

    lot: str = text("lot that it carries", like="A")
    gross: float = _mass("full truck on the scale", 200, 1e5, "84000 lb")
    tare: float = _mass("empty truck on the scale", 0, 6e4, "24000 lb")
    soil_share: float | None = _share("soil and stones in what was weighed")
    pulp: float | None = _pulp("pulp temperature of the load")
    buyer: str | None = text("where it went", None, like="packer")
    last: str | None = text("whether the lot is all out", None, like="yes", choices=_YES)
    ticket: str | None = text("number of the scale's ticket", None, like="2210")

    net = property(_net)


@dataclass(frozen=True, kw_only=True, slots=True)
class Treatment:
    """What was applied to crop or bay; the label and the applicator decide how much."""

    what: str = text(
        "kind of treatment",
        like="sprout_inhibitor",
        choices=("sprout_inhibitor", "disinfectant", "fungicide", "other"),
    )
    substance: str | None = text("as on its label", None, like="as on the label")
    amount: str | None = text("amount, with its unit", None, like="12 L")
    lot: str | None = text("lot; empty for the whole bay", None, like="A")


@dataclass(frozen=True, kw_only=True, slots=True)
class Inspection:
    """An inspector's or buyer's visit."""

    what: str = text("what was looked at", like="seed lot A, storage")
    result: str = text("what was found", like="accepted")
    lot: str | None = text("lot; empty for the whole bay", None, like="A")


@dataclass(frozen=True, kw_only=True, slots=True)
class Observation:
    """What somebody saw, smelt or measured by hand."""

    what: str = text(
        "what was seen",
        like="rot",
        choices=("rot", "wet", "frost", "smell", "sinking", "sprouts", "drip", "pulp", "other"),
    )
    share: float | None = _share("share of the tubers looked at", like="0.5 %")
    pulp: float | None = _pulp("pulp temperature measured there")
    place: float | None = _place("from the back wall")
    height: float | None = quantity("m", 0, 8, "above the floor", None, like="12 ft")
    lot: str | None = text("lot", None, like="A")


@dataclass(frozen=True, kw_only=True, slots=True)
class SensorCheck:
    """A probe held against something that is known."""

    probe: str = text("name of the probe", like="plenum")
    method: str = text(
        "what it was held in: ice water, air over wet salt, or beside a reference",
        like="ice_bath",
        choices=("ice_bath", "NaCl", "KCl", "K2SO4", "reference"),
    )
    reading_temperature: float | None = quantity(
        "degC", -40, 60, "temperature that the probe told", None, like="0.4 degC"
    )
    reading_relative_humidity: float | None = quantity(
        "1", 0, 1.2, "humidity that the probe told", None, like="78 %"
    )
    true_temperature: float | None = quantity(
        "degC", -40, 60, "of the reference, or of the salt's jar", None, like="20 degC"
    )
    true_relative_humidity: float | None = quantity(
        "1", 0, 1, "that the reference told", None, like="94 %"
    )


@dataclass(frozen=True, kw_only=True, slots=True)
class Airflow:
    """Air in a lateral, measured with the fans at full speed."""

    lateral: str = text("number of the lateral, from the fans on", like="3")
    velocity: float = quantity(
        "m/s", 0.1, 40, "mean air velocity at its head, fans at full speed", like="760 ft/min"
    )


@dataclass(frozen=True, kw_only=True, slots=True)
class Setting:
    """A setting that somebody changed."""

    what: str = text("what was set", like="supply air")
    before: str | None = text("what it was, with its unit", None, like="48 degF")
    after: str = text("what it is now, with its unit", like="46 degF")
    why: str | None = text("reason", None, like="cool-down begins")


KINDS: dict[str, type[Any]] = {
    "loads": Load,
    "lots": LotEntry,
    "moves": Move,
    "weights_out": WeightOut,
    "treatments": Treatment,
    "inspections": Inspection,
    "observations": Observation,
    "sensor_checks": SensorCheck,
    "settings": Setting,
    "airflows": Airflow,
}
"""Name of a kind and of its file, and what a line holds."""

COMMON = ("line", "time", "who", "note", "corrects", "late", "written")
"""Columns of every file: the line's name, when it happened, who tells it, a remark, the line that
it corrects, ``yes`` where it was told after later ones, when it was written."""


def required(kind: str) -> list[str]:
    """Fields without which a line of a kind says nothing."""
    return [f.name for f in dataclasses.fields(KINDS[kind]) if f.default is dataclasses.MISSING]
