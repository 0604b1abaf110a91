"""Water and heat of a sizing as records: what, how, from what, how much to spare."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from ventcalc.bay.description import Bay
from ventcalc.check.cold_load import RUNNING_SHARE
from ventcalc.check.roof_space import ROOF_SPACE_ABOVE
from ventcalc.equipment.plant import AUXILIARIES
from ventcalc.pile.crop import crop_for
from ventcalc.sizing import shell as sizing_shell
from ventcalc.sizing import water as sizing_water
from ventcalc.sizing.cooling import RESERVE, CoolingCase, CoolingDesign
from ventcalc.sizing.record import PRACTICE, Size, given, size
from ventcalc.sizing.shell import ShellDesign
from ventcalc.sizing.water import WATER_PERCENTILE, WaterDesign

__all__ = ["cooling_rows", "heat_rows", "water_rows"]


def water_rows(bay: Bay, water: WaterDesign) -> tuple[Size, ...]:
    """Humidifier."""
    row = partial(size, "humidifier")
    state = given(
        ("outside", water.outside_temperature, "degC"),
        ("outside humidity", water.outside_relative_humidity, "1 percent"),
        ("fresh part", water.fresh_fraction, "1 percent"),
        ("supply", water.supply_temperature, "degC"),
        ("humidity wanted", bay.limits.plenum_humidity, "1 percent"),
    )
    method = "door law and humidifier solved on enthalpy; moist air: ASHRAE"
    return (
        row(
            "humidifier_capacity",
            "water that the humidifier can evaporate",
            water.capacity,
            "kg/s",
            "water of the design hour and a reserve",
            given(("reserve", sizing_water.RESERVE, "1 percent")),
            PRACTICE,
            margin=water.capacity - water.water,
            present=bay.humidifier.capacity if bay.humidifier else None,
        ),
        row(
            "humidifier_water",
            "water of the design hour, fans at full speed",
            water.water,
            "kg/s",
            f"exceeded in {100 - WATER_PERCENTILE:g} % of the hours in which outside air cools, "
            "supply as cold as the limits allow; or the winter's",
            state,
            method,
        ),
        row(
            "humidifier_water_winter",
            "water at the winter temperature",
            water.winter_water,
            "kg/s",
            "the same at the winter temperature: return air is damp and little is fresh",
            (),
            method,
        ),
    )


def cooling_rows(bay: Bay, plant: CoolingDesign) -> tuple[Size, ...]:
    """Refrigeration: capacity, the load of each case, and the plant at the worst."""
    row, worst = partial(size, "refrigeration"), plant.cases[plant.stage]
    had = bay.refrigeration
    rows = [
        row(
            "refrigeration_capacity",
            f"capacity (without outside air; {plant.stage.replace('_', '-')} asks most)",
            plant.capacity,
            "W refrigeration",
            "greatest load, not below its sensible part, over the share of the day it runs, and a "
            "reserve",
            given(
                ("load", float(worst.load.total), "W refrigeration"),
                ("running share", RUNNING_SHARE, "1 percent"),
                ("reserve", RESERVE, "1 percent"),
                ("with respiration a quarter higher", _dearer(worst), "W refrigeration"),
                *_rating(worst),
                ("per mass of a full pile", plant.capacity / bay.pile.capacity, "W/kg"),
            ),
            "20 h a day: National Horticulture Board (India) 01:2010; reserve: " + PRACTICE,
            margin=plant.capacity - float(worst.load.total),
            present=had.capacity if had else None,
        ),
        *_rating_rows(
            row,
            "",
            "at that capacity",
            (worst.evaporating_temperature, worst.condensing_temperature),
        ),
    ]
    if "holding" in plant.cases and plant.stage != "holding":
        case, gives = plant.cases["holding"], plant.capacity_holding
        rows.append(
            row(
                "refrigeration_capacity_holding",
                "what the same compressor gives while holding",
                gives,
                "W refrigeration",
                "the same volume drawn in, times the refrigerant's cooling per volume there",
                given(
                    ("asked for", float(case.load.capacity), "W refrigeration"),
                    ("evaporating", plant.holding_evaporating_temperature, "degC"),
                    ("condensing", case.condensing_temperature, "degC"),
                ),
                f"vapour-compression cycle of {plant.refrigerant}, CoolProp",
                margin=gives - float(case.load.capacity),
            )
        )
        point = (plant.holding_evaporating_temperature, float(case.condensing_temperature))
        rows += _rating_rows(row, "_holding", "while holding", point)
    later = [case for name, case in plant.cases.items() if name != "filling"]
    if later:
        most = max(later, key=lambda case: float(case.load.capacity))
        rows.append(
            row(
                "refrigeration_capacity_pull_down",
                "capacity if outside air does the filling: pull-down and holding",
                float(most.load.capacity),
                "W refrigeration",
                "greatest load of those two, as above",
                given(("load", float(most.load.total), "W refrigeration"), *_rating(most)),
                "as above",
                margin=float(most.load.capacity) - float(most.load.total),
            )
        )
        point = (most.evaporating_temperature, most.condensing_temperature)
        rows += _rating_rows(row, "_pull_down", "of that case", point)
    rows += [_case_row(row, case) for case in plant.cases.values()]
    rows += [
        row(
            "coil_temperature_difference",
            "entering air less coil surface, at full capacity",
            worst.coil_temperature_difference,
            "delta_degC",
            "surface at which all the fans' air gives the capacity, a fifth of it bypassing",
            given(
                ("surface", worst.surface_temperature, "degC"),
                ("condensate", worst.condensate, "kg/s"),
                ("humidity behind the coil", worst.leaving_relative_humidity, "1 percent"),
            ),
            "coil line to the surface's saturated air; a narrow coil spares the crop",
            present=had.coil_temperature_difference if had else None,
        ),
        row(
            "refrigeration_performance",
            f"cooling per electrical power ({plant.refrigerant})",
            plant.performance,
            "1",
            "vapour-compression cycle, drive and condenser fans, warmest hour of that day",
            given(
                ("evaporating", plant.evaporating_temperature, "degC"),
                ("condensing", plant.condensing_temperature, "degC"),
                ("condenser fans per cooling", AUXILIARIES, "1 percent"),
            ),
            "properties: CoolProp; isentropic efficiency 0.7, drive 0.9: " + PRACTICE,
        ),
        row(
            "refrigeration_performance_rated",
            "the same as the bay file rates it: coil of holding, hottest hour",
            plant.rated_performance,
            "1",
            "as above",
            given(
                ("outside", plant.design_outside_temperature, "degC"),
                ("condensing", plant.condensing_temperature, "degC"),
            ),
            "as above",
            present=had.performance if had else None,
        ),
        row(
            "refrigeration_power",
            "electrical power at full capacity",
            plant.power,
            "W electrical",
            "capacity over performance",
            given(("capacity", plant.capacity, "W refrigeration")),
            "identity",
        ),
    ]
    return tuple(rows)


def _rating(case: CoolingCase) -> tuple[tuple[str, float, str], ...]:
    """The point at which a capacity holds."""
    return (
        ("evaporating", case.evaporating_temperature, "degC"),
        ("condensing", case.condensing_temperature, "degC"),
        ("coil surface", case.surface_temperature, "degC"),
    )


def _rating_rows(
    row: Callable[..., Size], key: str, words: str, point: tuple[float, float]
) -> list[Size]:
    """Evaporating and condensing temperature of a capacity: without them it says little."""
    return [
        row(
            f"refrigeration_{name}{key}",
            f"{name}, {words}",
            value,
            "degC",
            "temperature of the refrigerant at that end of the cycle",
            (),
            "coil and condenser of that case",
        )
        for name, value in zip(("evaporating", "condensing"), point, strict=True)
    ]


def _dearer(case: CoolingCase) -> float:
    """Capacity if the crop breathes a quarter more, as published rates scatter. [W]"""
    load = float(case.load.total) + 0.25 * case.crop.heat
    return float(load) * (1.0 + RESERVE) / RUNNING_SHARE


def _case_row(row: Callable[..., Size], case: CoolingCase) -> Size:
    words = {
        "filling": "load when the last load is in, warm day",
        "cool_down": "load of the pull-down at its first, warm day",
        "holding": "load while holding, warm day",
    }
    parts = [
        (name.replace("_", " "), float(part.sensible + part.latent), "W refrigeration")
        for name, part in case.load.parts.items()
    ]
    return row(
        f"refrigeration_load_{case.stage}",
        words[case.stage],
        float(case.load.total),
        "W refrigeration",
        "sum of sensible and latent heat of the parts, mean of the day; the floor is not counted",
        given(
            *parts,
            ("of it latent", float(case.load.latent), "W refrigeration"),
            ("outside, mean", case.day.mean_temperature, "degC"),
            ("outside humidity ratio", case.day.humidity_ratio, "kg/kg"),
            ("pulp", case.crop.temperature, "degC"),
        ),
        "respiration: J. Agric. Sci. (Cambridge) rates by age; field heat by the bay's calendar",
    )


def heat_rows(bay: Bay, shell: ShellDesign) -> tuple[Size, ...]:
    """Insulation and heater."""
    return (*_insulation_rows(bay, shell), *_heater_rows(bay, shell))


def _insulation_rows(bay: Bay, shell: ShellDesign) -> tuple[Size, ...]:
    row, had = partial(size, "insulation"), bay.envelope
    source = (
        "ISO 13788 temperature factor, ISO 6946 films (0.13 and 0.10 m2 K/W), which the table "
        "agrees with: Canada Plan Service Q-6313, 1986; the check judges still corners by 0.25 too"
    )
    climate = (
        ("dew point inside", shell.dew_point, "degC"),
        ("humidity inside", bay.limits.plenum_humidity, "1 percent"),
        ("holding", bay.schedule.holding_temperature, "degC"),
    )
    return (
        row(
            "wall_resistance",
            "walls, thermal resistance with films",
            shell.wall_resistance,
            "m2 K/W",
            "greater of: surface at the dew point at the winter temperature; published table",
            given(
                ("dry", shell.wall_dry, "m2 K/W"),
                ("dry in air damper by the sensors' error", shell.wall_moister, "m2 K/W"),
                ("dry in still corners too (0.25 m2 K/W)", shell.wall_still, "m2 K/W"),
                ("table", shell.wall_table, "m2 K/W"),
                *climate,
            ),
            source,
            margin=shell.wall_resistance - shell.wall_dry,
            present=1.0 / had.wall_u,
        ),
        row(
            "ceiling_resistance",
            "ceiling, thermal resistance with films",
            shell.ceiling_resistance,
            "m2 K/W",
            "greater of: worst purlin or joint at the dew point under a clear winter night; table",
            given(
                ("dry", shell.ceiling_dry, "m2 K/W"),
                ("dry in air damper by the sensors' error", shell.ceiling_moister, "m2 K/W"),
                ("dry in still corners too (0.25 m2 K/W)", shell.ceiling_still, "m2 K/W"),
                ("table", shell.ceiling_table, "m2 K/W"),
                ("bridge factor", had.bridge_factor, "1"),
                *climate,
            ),
            source,
            margin=shell.ceiling_resistance - shell.ceiling_dry,
            present=1.0 / had.ceiling_u,
        ),
    )


def _heater_rows(bay: Bay, shell: ShellDesign) -> tuple[Size, ...]:
    row = partial(size, "heater")
    most = shell.heater / (1.0 + sizing_shell.HEATER_RESERVE)
    return (
        row(
            "heater_capacity",
            "heat output of the heater",
            shell.heater,
            "W electrical",
            "greatest of the three below and a reserve",
            given(("reserve", sizing_shell.HEATER_RESERVE, "1 percent")),
            PRACTICE,
            margin=shell.heater - most,
            present=bay.heater.capacity if bay.heater else None,
        ),
        row(
            "heater_roof_space",
            "roof space kept 1 K above the crop, clear winter night",
            shell.roof_space_loss,
            "W electrical",
            "loss through the ceiling and by leaks of the headspace; the crop's heat not counted",
            given(("above the crop", ROOF_SPACE_ABOVE, "delta_degC")),
            "AHDB Storage Bulletin, Nov 2014: heat when it is 0.75-1 K below the crop",
        ),
        row(
            "heater_holding",
            "holding in winter, less respiration",
            shell.winter_balance,
            "W electrical",
            "loss of walls, ceiling, leaks and fresh air for CO2, less heat of respiration; "
            "below zero the crop heats the bay",
            given(("loss", shell.winter_loss, "W electrical")),
            "heat balance; no floor, no fans",
        ),
        row(
            "heater_warm_up",
            "warming up for unloading, less respiration",
            shell.warm_up_heat,
            "W electrical",
            f"specific heat of {crop_for(bay.use).specific_heat:.0f} J/(kg K) times rise, over the "
            "days between the two dates, less respiration; warm outside air does the rest",
            given(
                ("rise to", bay.schedule.warm_up_temperature, "degC"),
                ("from", bay.schedule.holding_temperature, "degC"),
            ),
            "heat balance",
        ),
    )
