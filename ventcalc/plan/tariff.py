"""What a kilowatt-hour costs at which hour of the day."""

from __future__ import annotations

import re
from dataclasses import dataclass

from ventcalc.bay.calendar import local_hour
from ventcalc.bay.hourly import HourlyBay
from ventcalc.errors import BadInput

__all__ = ["Tariff", "flat", "tariff_of"]

JOULE_PER_KWH = 3.6e6
DEAREST = 100.0
"""A price above it is a slip. [money/kWh]"""
_PART = re.compile(r"\s*(\d{1,2})\s*-\s*(\d{1,2})\s+(\d+(?:\.\d*)?|\.\d+)\s*")


@dataclass(frozen=True, kw_only=True, slots=True)
class Tariff:
    """Prices of energy by the hour of the day, and of the greatest power."""

    prices: tuple[float, ...]
    """Of each hour of the local day, 24 of them. [money/J]"""
    demand: float = 0.0
    """Charge for the greatest power of an hour, told beside the plan. [money/W]"""

    def at(self, bay: HourlyBay, time: float) -> float:
        """Price at a time, UTC since 1970-01-01 [s]. [money/J]"""
        return self.prices[int(local_hour(bay, time)) % 24]


def flat(price: float, demand: float = 0.0) -> Tariff:
    """One price for every hour."""
    return Tariff(prices=(price,) * 24, demand=demand)


def tariff_of(text: str, demand: float = 0.0) -> Tariff:
    """
    Read prices by the time of day.

    Parameters
    ----------
    text : str
        Hours of the local day and price per kWh, such as ``"22-6 0.06, 6-22 0.14"``.
    demand : float
        Charge for the greatest power. [money/W]

    Returns
    -------
    Tariff

    Raises
    ------
    BadInput
        If a part cannot be read, or an hour has no price or two.
    """
    prices: dict[int, float] = {}
    for part in text.split(","):
        found = _PART.fullmatch(part)
        if found is None or max(int(found[1]), int(found[2])) > 24:
            raise BadInput(
                f'{part.strip()!r}: not a price by the hour; write "22-6 0.06, 6-22 0.14" '
                "(hours of the day, price of a kWh)"
            )
        first, last, price = int(found[1]), int(found[2]), float(found[3])
        if price > DEAREST:
            raise BadInput(f"{part.strip()!r}: price of a kWh above {DEAREST:.0f}; cents, perhaps?")
        for hour in range(first, last + (24 if last <= first else 0)):
            if hour % 24 in prices:
                raise BadInput(f"{part.strip()!r}: hour {hour % 24} has a price already")
            prices[hour % 24] = price / JOULE_PER_KWH
    missing = sorted(set(range(24)) - set(prices))
    if missing:
        raise BadInput(f"hour {missing[0]} of the day has no price; the parts must cover 0-24")
    return Tariff(prices=tuple(prices[hour] for hour in range(24)), demand=demand)
