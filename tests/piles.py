"""
Plain readings of a held pile, and for every action of the advice a set that leads to it.

The cases stand in the order of the decision list: the most urgent first.
"""

from __future__ import annotations

from datetime import UTC, datetime

from ventcalc.advice.advise import Action, Memory, Readings
from ventcalc.bay.file import example_bay

SEED, FRY = example_bay("seed_bay"), example_bay("fry_bay")
HOUR = 3600.0
WINTER = datetime(2026, 12, 15, 12, tzinfo=UTC).timestamp()
AUTUMN = datetime(2026, 10, 20, 12, tzinfo=UTC).timestamp()
LATE = datetime(2027, 4, 28, 12, tzinfo=UTC).timestamp()
SUMMER = datetime(2027, 7, 10, 12, tzinfo=UTC).timestamp()
HOLDING = SEED.schedule.holding_temperature
POSITIONS = ("fan_speed", "door_opening", "humidifier", "refrigeration", "heater")
NAN = float("nan")


def pile(mean, *, spread=0.4, air=0.0, **others):
    """Readings of a pile: the top warmest, the return air ``air`` above the top, all of it well."""
    given = {
        "time": WINTER,
        "outside_temperature": -2.0,
        "outside_relative_humidity": 0.7,
        "return_temperature": mean + spread / 2 + air,
        "return_relative_humidity": 0.92,
        "plenum_temperature": mean - spread / 2,
        "pulp_bottom": mean - spread / 2,
        "pulp_top": mean + spread / 2,
        "pulp_mean": mean,
        "pulp_coldest": mean - spread / 2,
        "ceiling_temperature": mean,
        "co2": 0.0015,
    }
    return Readings(**{**given, **others})


def ran(bay, seen, *, ago=900.0, **others):
    """The memory of a fan that has been running for long."""
    given = {"time": seen.time - ago, "fan_on": True, "fan_since": 24 * HOUR}
    return Memory(**{**given, "target": bay.schedule.holding_temperature, **others})


def rested(bay, seen, *, ago=900.0, **others):
    """The memory of a fan that has stood for long enough to start."""
    given = {"time": seen.time - ago, "fan_on": False, "fan_since": 3 * HOUR}
    return Memory(**{**given, "target": bay.schedule.holding_temperature, **others})


# --- a bay, its readings and its memory for every action ------------------------------------


def protect():
    seen = pile(HOLDING, plenum_temperature=0.3, return_relative_humidity=0.85)
    return SEED, seen, ran(SEED, seen)


def people_inside():
    seen = pile(HOLDING + 0.8, people_inside=True)
    return SEED, seen, ran(SEED, seen, fan_speed=0.6)


def chosen():
    seen = pile(HOLDING + 0.8, outside_temperature=-20.0)
    return SEED, seen, ran(SEED, seen)


def hands_off():
    return SEED, pile(HOLDING, return_temperature=NAN), None


def cool_by_outside():
    seen = pile(HOLDING + 0.8)
    return SEED, seen, rested(SEED, seen)


def cool_by_coil():
    seen = pile(9.0, outside_temperature=15.0, return_relative_humidity=0.9)
    return FRY, seen, ran(FRY, seen)


def warm_by_outside():
    seen = pile(HOLDING - 1.3, outside_temperature=8.0, outside_relative_humidity=0.4)
    return SEED, seen, rested(SEED, seen)


def warm_by_heater():
    seen = pile(HOLDING - 1.3, spread=0.1)
    return SEED, seen, rested(SEED, seen)


def fresh_air():
    seen = pile(HOLDING, co2=1.2 * SEED.limits.co2)
    return SEED, seen, rested(SEED, seen)


def tail():
    seen = pile(HOLDING)
    return SEED, seen, ran(SEED, seen, cooled=True)


def dry_ceiling():
    seen = pile(HOLDING, ceiling_temperature=HOLDING - 3.0)
    return SEED, seen, ran(SEED, seen)


def even_out():
    seen = pile(HOLDING, spread=2.4, return_relative_humidity=0.8, outside_temperature=9.0,
                pulp_coldest=HOLDING - 0.1)  # fmt: skip
    return SEED, seen, ran(SEED, seen)


def finish_run():
    seen = pile(HOLDING - 0.1)
    return SEED, seen, ran(SEED, seen, fan_since=600.0)


def wait():
    seen = pile(HOLDING + 0.8)
    return SEED, seen, rested(SEED, seen, fan_since=0.0, ago=300.0)


def rest():
    seen = pile(HOLDING)
    return SEED, seen, rested(SEED, seen)


CASES = {
    Action[case.__name__.upper()]: case
    for case in (
        people_inside, protect, hands_off, chosen, cool_by_outside, cool_by_coil,
        warm_by_outside, warm_by_heater, fresh_air, tail, dry_ceiling, even_out,
        finish_run, wait, rest,
    )
}  # fmt: skip
