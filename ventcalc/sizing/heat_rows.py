"""Water and heat of a sizing as records: what, how, from what, how much to spare."""

from __future__ import annotations

from ventcalc.bay.description import Bay
from ventcalc.check.cold_load import RUNNING_SHARE
from ventcalc.check.roof_space import ROOF_SPACE_ABOVE
from ventcalc.equipment.plant import AUXILIARIES
from ventcalc.pile.crop import crop_for
from ventcalc.sizing import shell as sizing_shell
from ventcalc.sizing import water as sizing_water
from ventcalc.sizing.cooling import RESERVE, CoolingCase, CoolingDesign
from ventcalc.sizing.record import Size, row
from ventcalc.sizing.shell import ShellDesign
from ventcalc.sizing.water import WATER_PERCENTILE, WaterDesign

__all__ = ["cooling_rows", "heat_rows", "water_rows"]


def water_rows(bay: Bay, water: WaterDesign) -> tuple[Size, ...]:
    """Humidifier."""
    state = (
        ("outside", water.outside_temperature, "degC"),
        ("outside humidity", water.outside_relative_humidity, "1 percent"),
        ("fresh part", water.fresh_fraction, "1 percent"),
        ("supply", water.supply_temperature, "degC"),
        ("humidity wanted", bay.limits.plenum_humidity, "1 percent"),
    )
    return (
        row(
            "humidifier_capacity",
            water.capacity,
            ("reserve", sizing_water.RESERVE, "1 percent"),
            margin=water.capacity - water.water,
            present=bay.humidifier.capacity if bay.humidifier else None,
        ),
        row("humidifier_water", water.water, *state, percent=100 - WATER_PERCENTILE),
        row("humidifier_water_winter", water.winter_water),
    )


def cooling_rows(bay: Bay, plant: CoolingDesign) -> tuple[Size, ...]:
    """Refrigeration: capacity, the load of each case, and the plant at the worst."""
    worst = plant.cases[plant.stage]
    had = bay.refrigeration
    rows = [
        row(
            "refrigeration_capacity",
            plant.capacity,
            ("load", float(worst.load.total), "W refrigeration"),
            ("running share", RUNNING_SHARE, "1 percent"),
            ("reserve", RESERVE, "1 percent"),
            ("with respiration a quarter higher", _dearer(worst), "W refrigeration"),
            *_rating(worst),
            ("per mass of a full pile", plant.capacity / bay.pile.capacity, "W/kg"),
            margin=plant.capacity - float(worst.load.total),
            present=had.capacity if had else None,
            stage=plant.stage.replace("_", "-"),
        ),
        *_rating_rows(
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
                gives,
                ("asked for", float(case.load.capacity), "W refrigeration"),
                ("evaporating", plant.holding_evaporating_temperature, "degC"),
                ("condensing", case.condensing_temperature, "degC"),
                margin=gives - float(case.load.capacity),
                refrigerant=plant.refrigerant,
            )
        )
        point = (plant.holding_evaporating_temperature, float(case.condensing_temperature))
        rows += _rating_rows("_holding", "while holding", point)
    later = [case for name, case in plant.cases.items() if name != "filling"]
    if later:
        most = max(later, key=lambda case: float(case.load.capacity))
        rows.append(
            row(
                "refrigeration_capacity_pull_down",
                float(most.load.capacity),
                ("load", float(most.load.total), "W refrigeration"),
                *_rating(most),
                margin=float(most.load.capacity) - float(most.load.total),
            )
        )
        point = (most.evaporating_temperature, most.condensing_temperature)
        rows += _rating_rows("_pull_down", "of that case", point)
    rows += [_case_row(case) for case in plant.cases.values()]
    rows += [
        row(
            "coil_temperature_difference",
            worst.coil_temperature_difference,
            ("surface", worst.surface_temperature, "degC"),
            ("condensate", worst.condensate, "kg/s"),
            ("humidity behind the coil", worst.leaving_relative_humidity, "1 percent"),
            present=had.coil_temperature_difference if had else None,
        ),
        row(
            "refrigeration_performance",
            plant.performance,
            ("evaporating", plant.evaporating_temperature, "degC"),
            ("condensing", plant.condensing_temperature, "degC"),
            ("condenser fans per cooling", AUXILIARIES, "1 percent"),
            refrigerant=plant.refrigerant,
        ),
        row(
            "refrigeration_performance_rated",
            plant.rated_performance,
            ("outside", plant.design_outside_temperature, "degC"),
            ("condensing", plant.condensing_temperature, "degC"),
            present=had.performance if had else None,
        ),
        row("refrigeration_power", plant.power, ("capacity", plant.capacity, "W refrigeration")),
    ]
    return tuple(rows)


def _rating(case: CoolingCase) -> tuple[tuple[str, float, str], ...]:
    """The point at which a capacity holds."""
    return (
        ("evaporating", case.evaporating_temperature, "degC"),
        ("condensing", case.condensing_temperature, "degC"),
        ("coil surface", case.surface_temperature, "degC"),
    )


def _rating_rows(key: str, words: str, point: tuple[float, float]) -> list[Size]:
    """Evaporating and condensing temperature of a capacity: without them it says little."""
    return [
        row("refrigeration_{name}{key}", value, name=name, key=key, words=words)
        for name, value in zip(("evaporating", "condensing"), point, strict=True)
    ]


def _dearer(case: CoolingCase) -> float:
    """Capacity if the crop breathes a quarter more, as published rates scatter. [W]"""
    load = float(case.load.total) + 0.25 * case.crop.heat
    return float(load) * (1.0 + RESERVE) / RUNNING_SHARE


def _case_row(case: CoolingCase) -> Size:
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
        "refrigeration_load_{stage}",
        float(case.load.total),
        *parts,
        ("of it latent", float(case.load.latent), "W refrigeration"),
        ("outside, mean", case.day.mean_temperature, "degC"),
        ("outside humidity ratio", case.day.humidity_ratio, "kg/kg"),
        ("pulp", case.crop.temperature, "degC"),
        stage=case.stage,
        what=words[case.stage],
    )


def heat_rows(bay: Bay, shell: ShellDesign) -> tuple[Size, ...]:
    """Insulation and heater."""
    return (*_insulation_rows(bay, shell), *_heater_rows(bay, shell))


def _insulation_rows(bay: Bay, shell: ShellDesign) -> tuple[Size, ...]:
    had = bay.envelope
    climate = (
        ("dew point inside", shell.dew_point, "degC"),
        ("humidity inside", bay.limits.plenum_humidity, "1 percent"),
        ("holding", bay.schedule.holding_temperature, "degC"),
    )
    return (
        row(
            "wall_resistance",
            shell.wall_resistance,
            ("dry", shell.wall_dry, "m2 K/W"),
            ("dry in air damper by the sensors' error", shell.wall_moister, "m2 K/W"),
            ("dry in still corners too (0.25 m2 K/W)", shell.wall_still, "m2 K/W"),
            ("table", shell.wall_table, "m2 K/W"),
            *climate,
            margin=shell.wall_resistance - shell.wall_dry,
            present=1.0 / had.wall_u,
        ),
        row(
            "ceiling_resistance",
            shell.ceiling_resistance,
            ("dry", shell.ceiling_dry, "m2 K/W"),
            ("dry in air damper by the sensors' error", shell.ceiling_moister, "m2 K/W"),
            ("dry in still corners too (0.25 m2 K/W)", shell.ceiling_still, "m2 K/W"),
            ("table", shell.ceiling_table, "m2 K/W"),
            ("bridge factor", had.bridge_factor, "1"),
            *climate,
            margin=shell.ceiling_resistance - shell.ceiling_dry,
            present=1.0 / had.ceiling_u,
        ),
    )


def _heater_rows(bay: Bay, shell: ShellDesign) -> tuple[Size, ...]:
    most = shell.heater / (1.0 + sizing_shell.HEATER_RESERVE)
    return (
        row(
            "heater_capacity",
            shell.heater,
            ("reserve", sizing_shell.HEATER_RESERVE, "1 percent"),
            margin=shell.heater - most,
            present=bay.heater.capacity if bay.heater else None,
        ),
        row(
            "heater_roof_space",
            shell.roof_space_loss,
            ("above the crop", ROOF_SPACE_ABOVE, "delta_degC"),
        ),
        row("heater_holding", shell.winter_balance, ("loss", shell.winter_loss, "W electrical")),
        row(
            "heater_warm_up",
            shell.warm_up_heat,
            ("rise to", bay.schedule.warm_up_temperature, "degC"),
            ("from", bay.schedule.holding_temperature, "degC"),
            heat=crop_for(bay.use).specific_heat,
        ),
    )
