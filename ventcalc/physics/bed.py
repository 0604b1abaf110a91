"""
Transient heat, moisture and CO2 in a deep bed of tubers with air moving up through it.

The bed is cut into layers. Within a time step the air is quasi-steady: it marches upward and
takes up heat and vapour from one layer after the other, while every layer follows an L-stable
approach to its equilibrium. A layer hands on the *mean* state of the step, so that what leaves
one layer is what enters the next, and energy and water close to round-off for any step.

Arrays have the layers first, bottom to top: ``(layers,)`` for one bay, ``(layers, bays)`` for
many. All flows are per m² of pile floor.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ventcalc.errors import check_range
from ventcalc.physics import crop as crop_module
from ventcalc.physics.bed_moisture import recurrence, vapour_march
from ventcalc.physics.crop import Crop
from ventcalc.physics.plain_air import AIR_HEAT, EVAPORATION

__all__ = [
    "Bed",
    "BedState",
    "BedStep",
    "Passage",
    "fresh_bed",
    "heat_transfer_coefficient",
    "layer_mean",
    "march",
    "natural_velocity",
    "passage",
]

Array = NDArray[np.float64]

AIR_CONDUCTIVITY = 0.0245
AIR_VISCOSITY = 1.76e-5
PRANDTL = 0.71
LEWIS = 0.87
GRAVITY = 9.81
WATER_PER_DRY_MATTER = crop_module.WATER_PER_CO2 / crop_module.DRY_MATTER_PER_CO2
LEAST_VELOCITY = 1e-4
"""Air that still creeps through a pile in stable layers. [m/s]"""


@dataclass(frozen=True, kw_only=True, eq=False)
class Bed:
    """
    A pile of tubers above a floor that lets air in evenly.

    ``height``, ``bulk_density``, ``tuber_diameter`` and ``pressure`` may be arrays over bays.

    Parameters
    ----------
    height : float or array
        Depth of the pile. [m]
    bulk_density : float or array
        Mass of crop per volume of pile. [kg/m³]
    tuber_diameter : float or array
        Diameter of a sphere as large as the mean tuber. [m]
    pressure : float or array
        Air pressure. [Pa]
    crop : Crop
        The crop.
    maturity : str
        ``mature`` or ``immature`` at harvest.
    layers : int
        Number of layers; at least half the number of transfer units of the bed.
    conductivity : float
        Effective conductivity of the pile at rest, conduction and radiation together
        (derived: 0.13 still bed + 0.26 radiation at 5 °C). [W/(m K)]
    """

    height: Any
    bulk_density: Any
    tuber_diameter: Any
    pressure: Any
    crop: Crop
    maturity: str = "mature"
    layers: int = 40
    conductivity: float = 0.35

    @property
    def thickness(self) -> Any:
        """Thickness of a layer. [m]"""
        return self.height / self.layers

    @property
    def layer_mass(self) -> Any:
        """Crop in a layer per floor area. [kg/m²]"""
        return self.bulk_density * self.thickness

    @property
    def heat_capacity(self) -> Any:
        """Heat capacity of a layer per floor area. [J/(m² K)]"""
        return self.layer_mass * self.crop.specific_heat

    @property
    def porosity(self) -> Any:
        """Air per volume of pile. [m³/m³]"""
        return 1.0 - self.bulk_density / self.crop.tuber_density

    @property
    def area_density(self) -> Any:
        """Tuber surface per volume of pile. [m²/m³]"""
        return 6.0 * (1.0 - self.porosity) / self.tuber_diameter


@dataclass(frozen=True, kw_only=True, eq=False)
class BedState:
    """What the bed remembers from step to step; losses are per kg of crop loaded."""

    temperature: Array
    """Mean tuber temperature of each layer. [°C]"""
    film: Array
    """Free water on the tubers. [kg/kg crop]"""
    wet: bool
    """Whether any layer carries a film."""
    source: Array
    """Net heat source of the last step, the first guess of the next. [W/m²]"""
    water_loss: Array
    """Water lost through the skin, less the water that respiration makes. [kg/kg crop]"""
    dry_matter_loss: Array
    """Dry matter burned. [kg/kg crop]"""
    curing: Any
    """Wound healing done, as time at the reference temperature, mean of the bed. [s]"""


@dataclass(frozen=True, kw_only=True, eq=False)
class BedStep:
    """Means of one step, per m² of floor."""

    outlet_temperature: Any
    """Air leaving the top. [°C]"""
    outlet_humidity_ratio: Any
    """Air leaving the top. [kg/kg dry air]"""
    evaporated: Array
    """Water from each layer into the air, negative where it is taken up. [kg/(m² s)]"""
    condensed: Any
    """Water that lay down as a film, all layers. [kg/(m² s)]"""
    respiration: Array
    """Heat of respiration of each layer. [W/m²]"""
    co2: Any
    """CO2 given off by the bed. [kg/(m² s)]"""
    latent_heat: Any
    """Heat of evaporation that the step used. [J/kg]"""


@dataclass(frozen=True, kw_only=True, eq=False)
class Passage:
    """How air passes the bed at one velocity in one time step; scalars, or arrays over bays."""

    step: float
    """Length of the time step. [s]"""
    mass_flow: Any
    """Dry air. [kg/(m² s)]"""
    air_capacity: Any
    """[W/(m² K)]"""
    effectiveness: Any
    """Heat exchange of one layer. [1]"""
    film_effectiveness: Any
    """Vapour exchange of one wet layer. [1]"""
    weight: Any
    """Share of the way to equilibrium of the layer's mean over the step. [1]"""
    carry: Any
    """What a layer leaves of the difference that enters it. [1]"""
    hold: Any
    """Share of the layer's own temperature in the air that leaves it. [1]"""
    gain: Any
    """Warming of the leaving air per heat source. [K m²/W]"""
    inverse: Any
    """1 / effectiveness. [1]"""
    reach: Any
    """Change over the step per change of the mean. [1]"""
    conduction: Any
    """Between neighbouring layers. [W/(m² K)]"""
    conduction_parts: int
    """Parts into which conduction cuts the step to stay stable."""


def layer_mean(values: Array) -> Any:
    """
    Mean over the layers; for one bay a plain float.

    Parameters
    ----------
    values : array
        Layers first. [any]

    Returns
    -------
    float or array
        Mean, one element per bay. [as given]
    """
    mean = np.add.reduce(values) / len(values)
    return float(mean) if values.ndim == 1 else mean


def _total(layers: Array) -> Any:
    total = np.add.reduce(layers)
    return float(total) if layers.ndim == 1 else total


def heat_transfer_coefficient(superficial_velocity: Any, tuber_diameter: Any, density: Any) -> Any:
    """
    Air-side heat transfer coefficient in a packed bed.

    Parameters
    ----------
    superficial_velocity : array-like
        Air velocity over the whole floor. [m/s]
    tuber_diameter : array-like
        Sphere diameter. [m]
    density : array-like
        Air density. [kg/m³]

    Returns
    -------
    array
        Per tuber surface. [W/(m² K)]

    Notes
    -----
    Nu = 2 + 1.1 Re^0.6 Pr^(1/3), Reynolds number 15-8500 on superficial velocity.

    References
    ----------
    .. [1] Wakao and Kaguei, Heat and Mass Transfer in Packed Beds, 1982 (from memory).
    """
    reynolds = superficial_velocity * tuber_diameter * density / AIR_VISCOSITY
    nusselt = 2.0 + 1.1 * reynolds**0.6 * PRANDTL ** (1.0 / 3.0)
    return nusselt * AIR_CONDUCTIVITY / tuber_diameter


def natural_velocity(
    bed: Bed, mean_temperature: Any, surrounding_temperature: Any, share: float = 0.06
) -> Any:
    """
    Air velocity that the warmth of the pile itself keeps up with the fans off.

    Parameters
    ----------
    bed : Bed
        The pile.
    mean_temperature : array-like
        Mean of the pile. [°C]
    surrounding_temperature : array-like
        Air around the pile. [°C]
    share : float
        Part of the free chimney flow that the closed floor and walls leave; the default
        reproduces the published excess of unventilated piles, 1.2-1.8 K per m. [1]

    Returns
    -------
    array
        Upward superficial velocity, at least 0.0001. [m/s]

    Notes
    -----
    Darcy flow under the chimney's own draught, permeability d² e³ / (150 (1-e)²)
    (Carman-Kozeny).
    """
    porosity = bed.porosity
    permeability = bed.tuber_diameter**2 * porosity**3 / (150.0 * (1.0 - porosity) ** 2)
    density = bed.pressure / (287.05 * (surrounding_temperature + 273.15))
    draught = density * GRAVITY / (surrounding_temperature + 273.15)
    excess = mean_temperature - surrounding_temperature
    free = permeability / AIR_VISCOSITY * draught * excess
    if isinstance(free, float):
        return max(share * free, LEAST_VELOCITY)
    return np.maximum(share * free, LEAST_VELOCITY)


def passage(bed: Bed, superficial_velocity: Any, step: float) -> Passage:
    """
    Exchange coefficients for a velocity and a time step.

    Parameters
    ----------
    bed : Bed
        The pile.
    superficial_velocity : float or array
        Air velocity over the whole floor, 0.00001 to 0.5. [m/s]
    step : float
        Time step. [s]

    Returns
    -------
    Passage
        Scalars, or arrays over bays.

    Raises
    ------
    OutOfRange
        If the velocity lies outside its range.

    Notes
    -----
    A layer of x transfer units is given the effectiveness x / (1 + x/2), which has the second
    moment of the true bed, so that a front spreads as it should (second order in the layer
    thickness). It is used up to x = 2. The tuber's own conduction adds d / (10 k).
    """
    check_range("superficial_velocity", superficial_velocity, 1e-5, 0.5, "m/s", "m³/h per m²?")
    scalar = isinstance(superficial_velocity, float | int) and isinstance(bed.height, float | int)
    minimum = min if scalar else np.minimum
    density = bed.pressure / (287.05 * 278.15)
    mass_flow = superficial_velocity * density
    air_capacity = mass_flow * AIR_HEAT
    film = heat_transfer_coefficient(superficial_velocity, bed.tuber_diameter, density)
    inner = bed.tuber_diameter / (10.0 * bed.crop.tuber_conductivity)
    surface = bed.area_density * bed.thickness
    units = surface / (1.0 / film + inner) / air_capacity
    effectiveness = minimum(units / (1.0 + units / 2.0), 1.0)
    film_units = film * surface / air_capacity * LEWIS ** (-2.0 / 3.0)
    film_effectiveness = minimum(film_units / (1.0 + film_units / 2.0), 1.0)
    y = air_capacity * effectiveness * step / bed.heat_capacity
    half, whole = 0.5 + y / 6.0, 1.0 + 2.0 * y / 3.0 + y * y / 6.0
    weight = y * half / whole
    conduction = bed.conductivity / bed.thickness
    stiffness = conduction * step / bed.heat_capacity
    stiffest = stiffness if scalar else float(np.max(stiffness))
    return Passage(
        step=step,
        mass_flow=mass_flow,
        air_capacity=air_capacity,
        effectiveness=effectiveness,
        film_effectiveness=film_effectiveness,
        weight=weight,
        carry=1.0 - effectiveness * (1.0 - weight),
        hold=effectiveness * (1.0 - weight),
        gain=weight / air_capacity,
        inverse=1.0 / effectiveness,
        reach=(1.0 - weight) * whole / half,
        conduction=conduction,
        conduction_parts=max(1, math.ceil(stiffest / 0.4)),
    )


def fresh_bed(bed: Bed, temperature: Any, bays: int | None = None) -> BedState:
    """
    A bed just loaded: dry, unhealed, nothing lost.

    Parameters
    ----------
    bed : Bed
        The pile.
    temperature : array-like
        Pulp temperature, one value or one per layer (first axis). [°C]
    bays : int, optional
        Number of bays for a batch; without it, one bay.

    Returns
    -------
    BedState
        The state to start from.

    Raises
    ------
    OutOfRange
        If a temperature lies outside -5 to 45.
    """
    check_range("temperature", temperature, -5.0, 45.0, "°C", "kelvin or °F?")
    shape = (bed.layers,) if bays is None else (bed.layers, bays)
    zeros = np.zeros(shape)
    return BedState(
        temperature=np.broadcast_to(np.asarray(temperature, dtype=float), shape).copy(),
        film=zeros,
        wet=False,
        source=zeros,
        water_loss=zeros,
        dry_matter_loss=zeros,
        curing=0.0 if bays is None else np.zeros(bays),
    )


def _air_march(carry: Any, inflow: Array, inlet: Any) -> tuple[Array, Any]:
    """Air entering every layer, and leaving the top: x[i+1] = carry x[i] + inflow[i]."""
    if inflow.ndim == 1:
        x = float(inlet)
        entering = []
        for add in inflow.tolist():
            entering.append(x)
            x = carry * x + add
        return np.array(entering), x
    return recurrence(carry, inflow, inlet)


def _add_conduction(source: Array, bed: Bed, temperature: Array, flow: Passage) -> None:
    """Add to each layer's source the mean heat from its neighbours. [W/m²]"""
    now, parts = temperature, flow.conduction_parts
    for _ in range(parts):
        heat = now[1:] - now[:-1]
        heat *= flow.conduction / parts
        source[:-1] += heat
        source[1:] -= heat
        if parts > 1:
            now = now.copy()
            now[:-1] += heat * (flow.step / bed.heat_capacity)
            now[1:] -= heat * (flow.step / bed.heat_capacity)


def march(
    bed: Bed,
    state: BedState,
    flow: Passage,
    *,
    inlet_temperature: Any,
    inlet_humidity_ratio: Any,
    age: Any,
    heat_gain: Any = 0.0,
    top_heat: Any = 0.0,
    top_water: Any = 0.0,
) -> tuple[BedState, BedStep]:
    """
    Move the bed one step on.

    Parameters
    ----------
    bed : Bed
        The pile.
    state : BedState
        Where it stands.
    flow : Passage
        The air's passage; its ``step`` is the time step.
    inlet_temperature : float or array
        Air that enters at the bottom. [°C]
    inlet_humidity_ratio : float or array
        Air that enters at the bottom. [kg/kg dry air]
    age : float or array
        Time since harvest. [s]
    heat_gain : float or array
        Heat through walls and floor, spread evenly over the layers. [W/m²]
    top_heat : float or array
        Heat into the top layer from the air and the ceiling above it. [W/m²]
    top_water : float or array
        Water that the air above took from the skin of the top layer, or left on it as a film
        where negative; its latent heat belongs to ``top_heat``. [kg/(m² s)]

    Returns
    -------
    state : BedState
        The new state.
    step : BedStep
        Means of the step.

    Raises
    ------
    OutOfRange
        If the inlet lies outside -40 to 45 °C or 0 to 0.1 kg/kg.

    Notes
    -----
    Evaporation is taken at the mean temperature of the step, found from the last step's heat
    source; condensed water lies as a film and dries before the skin transpires again.
    """
    check_range("inlet_temperature", inlet_temperature, -40.0, 45.0, "°C", "kelvin or °F?")
    check_range("inlet_humidity_ratio", inlet_humidity_ratio, 0.0, 0.1, "kg/kg", "g/kg?")
    parts = _parts(bed, state, flow)
    if parts > 1:
        return _march_parts(
            bed,
            state,
            flow,
            parts,
            inlet_temperature,
            inlet_humidity_ratio,
            age,
            heat_gain,
            top_heat,
            top_water,
        )
    return _march_once(
        bed,
        state,
        flow,
        inlet_temperature,
        inlet_humidity_ratio,
        age,
        heat_gain,
        top_heat,
        top_water,
    )


def _march_once(
    bed: Bed,
    state: BedState,
    flow: Passage,
    inlet_temperature: Any,
    inlet_humidity_ratio: Any,
    age: Any,
    heat_gain: Any,
    top_heat: Any,
    top_water: Any,
) -> tuple[BedState, BedStep]:
    cold = state.temperature
    held = flow.hold * cold
    inflow = flow.gain * state.source
    inflow += held
    entering, _ = _air_march(flow.carry, inflow, inlet_temperature)
    guess = flow.weight * entering
    guess += flow.inverse * inflow

    skin = crop_module.transpiration_coefficient(state.curing, bed.crop)
    evaporated, vapour_out, from_film = vapour_march(
        guess,
        state.film * bed.layer_mass if state.wet else None,
        pressure=bed.pressure,
        skin_flow=skin * bed.layer_mass,
        film_effectiveness=flow.film_effectiveness,
        mass_flow=flow.mass_flow,
        water_activity=bed.crop.water_activity,
        inlet=inlet_humidity_ratio,
        step=flow.step,
    )
    latent_heat = EVAPORATION - 2380.0 * layer_mean(cold)
    settled = bed.crop.respiration_settled * bed.layer_mass
    respiration = crop_module.temperature_factor(cold, bed.crop)
    respiration *= settled * crop_module.respiration_age_factor(age, bed.crop, bed.maturity)
    source = evaporated * -latent_heat
    source += respiration
    source += heat_gain / bed.layers
    source[-1] += top_heat
    _add_conduction(source, bed, cold, flow)

    inflow = flow.gain * source
    inflow += held
    entering, leaving = _air_march(flow.carry, inflow, inlet_temperature)
    warm = flow.weight * entering
    warm += flow.inverse * inflow
    warm -= cold
    warm *= flow.reach
    warm += cold
    new = _advance(
        bed, state, flow.step, warm, source, evaporated, from_film, respiration, top_water
    )
    return new, BedStep(
        outlet_temperature=leaving,
        outlet_humidity_ratio=vapour_out,
        evaporated=evaporated,
        condensed=0.0 if from_film is None else -_total(np.minimum(from_film, 0.0)),
        respiration=respiration,
        co2=crop_module.co2_rate(_total(respiration), bed.crop),
        latent_heat=latent_heat,
    )


def _parts(bed: Bed, state: BedState, flow: Passage) -> int:
    """How many parts a wet step is cut into, so that the lagged evaporation stays stable."""
    if not state.wet:
        return 1
    y = flow.air_capacity * flow.film_effectiveness * flow.step / bed.heat_capacity
    return max(1, math.ceil(float(np.max(1.5 * y)) / 0.8))


def _march_parts(
    bed: Bed,
    state: BedState,
    flow: Passage,
    parts: int,
    inlet_temperature: Any,
    inlet_humidity_ratio: Any,
    age: Any,
    heat_gain: Any,
    top_heat: Any,
    top_water: Any,
) -> tuple[BedState, BedStep]:
    """A wet step in shorter parts; means over the parts."""
    velocity = flow.mass_flow / (bed.pressure / (287.05 * 278.15))
    short = passage(bed, velocity, flow.step / parts)
    total: list[Any] = [0.0] * 7
    for _ in range(parts):
        state, step = _march_once(
            bed,
            state,
            short,
            inlet_temperature,
            inlet_humidity_ratio,
            age,
            heat_gain,
            top_heat,
            top_water,
        )
        latent = step.latent_heat * step.evaporated.sum(axis=0)
        means = (step.outlet_temperature, step.outlet_humidity_ratio, step.evaporated)
        more = (step.respiration, step.co2, latent, step.condensed)
        for i, value in enumerate((*means, *more)):
            total[i] = total[i] + value / parts
    water = total[2].sum(axis=0)
    plain = np.where(water == 0.0, 1.0, water)
    heat = np.where(water == 0.0, step.latent_heat, total[5] / plain)
    return state, BedStep(
        outlet_temperature=total[0],
        outlet_humidity_ratio=total[1],
        evaporated=total[2],
        condensed=total[6],
        respiration=total[3],
        co2=total[4],
        latent_heat=heat,
    )


def _advance(
    bed: Bed,
    state: BedState,
    step: float,
    temperature: Array,
    source: Array,
    evaporated: Array,
    from_film: Array | None,
    respiration: Array,
    top_water: Any,
) -> BedState:
    """The state after a step, given what the step exchanged."""
    per_mass = step / bed.layer_mass
    burned = respiration * (per_mass * crop_module.dry_matter_rate(1.0, bed.crop))
    water = state.water_loss - burned * WATER_PER_DRY_MATTER
    if from_film is None:
        film, wet, skin = state.film, False, evaporated
    else:
        film = state.film - from_film * per_mass
        film[film < 1e-15] = 0.0
        wet, skin = bool(film.any()), evaporated - from_film
    water += skin * per_mass
    one = isinstance(top_water, float)
    if (top_water >= 0.0) if one else (top_water >= 0.0).all():
        water[-1] += top_water * per_mass
    else:
        water[-1] += np.maximum(top_water, 0.0) * per_mass
        film = film.copy()
        film[-1] -= np.minimum(top_water, 0.0) * per_mass
        wet = True
    healing = crop_module.curing_rate(layer_mean(temperature), bed.crop)
    return BedState(
        temperature=temperature,
        film=film,
        wet=wet,
        source=source,
        water_loss=water,
        dry_matter_loss=state.dry_matter_loss + burned,
        curing=state.curing + step * healing,
    )
