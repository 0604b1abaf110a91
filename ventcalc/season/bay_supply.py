"""The supply of a bay in one step, and the power of its cooling plant."""

from __future__ import annotations

from typing import Any

from ventcalc._ops import Ops
from ventcalc.bay.description import Bay, capacity_of, coil_of
from ventcalc.equipment import plenum
from ventcalc.equipment.plant import Rating, hourly_performance
from ventcalc.season.bay_state import BayState, layer_of
from ventcalc.season.headspace import headspace
from ventcalc.season.surroundings import Outside

__all__ = ["plant_power", "standing_air", "supply_of"]


def supply_of(
    positions: Any,
    state: BayState,
    flow: Any,
    fresh: Any,
    heat: Any,
    coil: Any,
    above: dict[str, Any],
) -> plenum.Supply:
    """
    Supply of a run; its return air is what the pile gives off at this flow.

    Parameters
    ----------
    positions : object
        ``humidity_wanted`` of the policy.
    state : BayState
        The bay.
    flow : array-like
        Dry air through the fans. [kg/s]
    fresh : array-like
        Part of it that comes from outside. [0-1]
    heat : array-like
        Of fans and heater into the air. [W]
    coil : array-like
        Cooling that the refrigeration is set to. [W]
    above : dict
        ``bay``, ``model``, and what ``headspace`` must know of roof and outside air.

    Returns
    -------
    Supply
        Air in the plenum.
    """
    bay, model = above["bay"], above["model"]
    back = headspace(
        flow=flow,
        outlet_temperature=state.exit_temperature,
        outlet_humidity_ratio=state.exit_humidity_ratio,
        top=layer_of(state.bed.temperature, -1),
        curing=state.bed.curing,
        **above,
    )
    return plenum.supply(
        mass_flow=flow,
        fresh_fraction=fresh,
        outside_temperature=above["outside_temperature"],
        outside_humidity_ratio=above["outside_humidity_ratio"],
        return_temperature=back.temperature,
        return_humidity_ratio=back.humidity_ratio,
        pressure=model.pressure,
        heat=heat,
        coil_heat=coil,
        **coil_of(bay.refrigeration),
        humidity_wanted=positions.humidity_wanted,
        water_capacity=capacity_of(bay.humidifier),
    )


def standing_air(state: BayState) -> plenum.Supply:
    """
    No air moves: nothing to condition, and no call for it in a single bay's hour.

    Parameters
    ----------
    state : BayState
        The bay.

    Returns
    -------
    Supply
        The return air as it stands.
    """
    return plenum.Supply(
        temperature=state.return_temperature,
        humidity_ratio=state.return_humidity_ratio,
        fog=0.0,
        mixed_temperature=state.return_temperature,
        water_added=0.0,
        coil_heat=0.0,
        coil_water=0.0,
        coil_temperature=state.return_temperature,
        defrost_power=0.0,
    )


def plant_power(bay: Bay, end: plenum.Supply, outside: Outside, share: Any, ops: Ops) -> Any:
    """
    Electrical power of compressor, condenser and defrosting.

    Parameters
    ----------
    bay : Bay
        The bay.
    end : Supply
        What its coil did.
    outside : Outside
        Air at the condenser.
    share : array-like
        Part of the floor, and so of the plant, in use. [1]
    ops : Ops
        Carrier.

    Returns
    -------
    array
        0 without any duty. [W]
    """
    plant, heat = bay.refrigeration, end.coil_heat
    if plant is None:
        return 0.0

    def power() -> Any:
        rating = Rating(
            refrigerant=plant.refrigerant,
            capacity=plant.capacity * share,
            performance=plant.performance,
            surface=bay.schedule.holding_temperature - plant.coil_temperature_difference,
            outside_temperature=plant.design_outside_temperature,
        )
        idle = ops.where(heat > 0.0, end.coil_temperature, rating.surface)
        performance = hourly_performance(
            rating, surface=idle, outside_temperature=outside.temperature, heat=heat, ops=ops
        )
        return heat / performance + end.defrost_power

    return ops.branch(heat > 0.0, power, 0.0)
