"""
Fit the coefficients of ``ventcalc/air/fit.py`` to CoolProp and print the errors.

Run ``python tests/published/fit_air_coefficients.py`` from the root of the checkout. Needs
CoolProp. Truth for moist air is its HumidAir model (Herrmann, Kretzschmar and Gatley, ASHRAE
RP-1485, 2009); for ice the sublimation pressure of IAPWS R14-08(2011); for water below its
freezing point Murphy and Koop, Q. J. R. Meteorol. Soc. 131 (2005) 1539, eq. 10 (from memory).
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from ventcalc.air.coolprop import humid_air, humid_air_auxiliary, pure_fluid

KELVIN = 273.15
TRIPLE = 0.01
ICE_SHIFT = 333.4e3  # heat of fusion [J/kg], as the start of the wet bulb uses it
LOG_TRIPLE = float(np.log(611.657))
OFFSET = 245.0  # of x = t/(t + OFFSET), in which ln(saturation pressure) is nearly straight
MASS_RATIO = 0.621945  # the value inside CoolProp's model
GAS = 8.314472 / 0.028966  # likewise
MOST_WATER = 0.1  # largest humidity ratio the library takes [kg/kg dry air]
TARGET = Path(__file__).parents[2] / "ventcalc" / "air" / "fit.py"

Array = np.ndarray


def ice_pressure(t: Array) -> Array:
    """Sublimation pressure [Pa] of IAPWS R14-08, eq. 6 (from memory)."""
    ratio = (t + KELVIN) / 273.16
    powers = ((-21.2144006, 0.00333333333), (27.3203819, 1.20666667), (-6.1059813, 1.70333333))
    return 611.657 * np.exp(sum(a * ratio**b for a, b in powers) / ratio)


def supercooled_pressure(t: Array) -> Array:
    """Vapour pressure [Pa] of water below its freezing point, Murphy and Koop 2005 eq. 10."""
    k = t + KELVIN
    slow = 54.842763 - 6763.22 / k - 4.210 * np.log(k) + 0.000367 * k
    fast = 53.878 - 1331.22 / k - 9.44523 * np.log(k) + 0.014025 * k
    return np.exp(slow + np.tanh(0.0415 * (k - 218.8)) * fast)


def water_pressure(t: Array) -> Array:
    """Vapour pressure [Pa] of water: IAPWS-IF97 above the triple point, else supercooled."""
    above = pure_fluid("P", "T", np.maximum(t, TRIPLE) + KELVIN, "Q", 0.0, "IF97::Water")
    return np.where(t > TRIPLE, above, supercooled_pressure(t))


def ratio_of(t: Array) -> Array:
    return t / (t + OFFSET)


def least_squares(columns: list[Array], y: Array, weight: Array | float = 1.0) -> Array:
    matrix = np.stack(columns, axis=1) * np.reshape(weight, (-1, 1))
    scale = np.abs(matrix).max(axis=0)
    return np.linalg.lstsq(matrix / scale, y * weight, rcond=None)[0] / scale


def powers(x: Array, degree: int, factor: Array | float = 1.0) -> list[Array]:
    return [factor * x**k for k in range(degree + 1)]


def fit_saturation() -> dict[str, tuple[float, ...]]:
    """ln p over water as a polynomial in x; over ice a factor (x - x0) Q(x - x0) is added."""
    t = np.linspace(-45.0, 62.0, 600)
    weight = np.where(t < -2.0, 0.01, 1.0)  # the curve over ice is mended below anyway
    log_p = np.log(water_pressure(t))
    water = least_squares(powers(ratio_of(t), 4), log_p, weight)
    ti = np.linspace(-80.0, 0.0, 600)
    u = ratio_of(ti) - ratio_of(np.array(TRIPLE))
    lacking = np.log(ice_pressure(ti)) - np.polyval(water[::-1], ratio_of(ti))
    ice = least_squares(powers(u, 4, u), lacking)
    return {"WATER": tuple(water), "ICE": tuple(ice)}


Fits = dict[str, tuple[float, ...] | float]


def fit_inverse(fits: Fits) -> Fits:
    """x over water and over ice, and ln f, as polynomials in ln p: inverts the fits above."""
    t = np.linspace(-3.0, 62.0, 800)
    water = np.polyval(fits["WATER"][::-1], ratio_of(t))
    ti = np.linspace(-78.0, 1.0, 800)
    u = ratio_of(ti) - ratio_of(np.array(TRIPLE))
    ice = np.polyval(fits["WATER"][::-1], ratio_of(ti)) + u * np.polyval(fits["ICE"][::-1], u)
    t2, p = (a.ravel() for a in np.meshgrid(np.linspace(-76.0, 60.0, 300), np.r_[60e3:110e3:8j]))
    log_f = np.polyval(fits["ENHANCEMENT"][::-1], t2)
    log_f += p * np.polyval(fits["ENHANCEMENT_P"][::-1], t2)
    u = ratio_of(t2) - ratio_of(np.array(TRIPLE))
    frozen = u * np.polyval(fits["ICE"][::-1], u) + fits["FREEZING_STEP"] * p
    y = np.polyval(fits["WATER"][::-1], ratio_of(t2)) + np.minimum(frozen, 0.0) + log_f - LOG_TRIPLE
    both = least_squares(powers(y, 3) + powers(y, 3, p), log_f)
    return {
        "WATER_INVERSE": tuple(least_squares(powers(water - LOG_TRIPLE, 4), ratio_of(t))),
        "ICE_INVERSE": tuple(least_squares(powers(ice - LOG_TRIPLE, 4), ratio_of(ti))),
        "LOG_TRIPLE": LOG_TRIPLE,
        "INVERSE_ENHANCEMENT": tuple(both[:4]),
        "INVERSE_ENHANCEMENT_P": tuple(both[4:]),
    }


def log_enhancement(t: Array, p: Array) -> Array:
    pure = np.where(t > TRIPLE, water_pressure(t), ice_pressure(t))
    return np.log(humid_air("psi_w", "T", t + KELVIN, "R", 1.0, "P", p) * p / pure)


def fit_enhancement() -> dict[str, tuple[float, ...] | float]:
    """ln f = sum (a_k + b_k p) t^k; over ice the freezing-point step, proportional to p, more."""
    p_line = np.linspace(68e3, 108e3, 6)
    around = np.array([0.0099, 0.0101])
    step = np.array([np.diff(-log_enhancement(around, np.full(2, p)))[0] / p for p in p_line])
    t, p = (a.ravel() for a in np.meshgrid(np.r_[-70.0:0.0:60j, 0.02:52.0:60j], p_line))
    y = log_enhancement(t, p) - np.where(t < TRIPLE, step.mean() * p, 0.0)
    weight = np.where(t < -45.0, 0.1, 1.0)
    both = least_squares(powers(t, 4) + powers(t, 4, p), y, weight)
    return {
        "ENHANCEMENT": tuple(both[:5]),
        "ENHANCEMENT_P": tuple(both[5:]),
        "FREEZING_STEP": float(step.mean()),
    }


def unsaturated(n: int) -> tuple[Array, ...]:
    """Random states inside the fitted domain: temperature, humidity ratio, pressure."""
    random = np.random.default_rng(20240501)
    t = random.uniform(-50.0, 60.0, n)
    p = random.uniform(60e3, 110e3, n)
    rh = random.uniform(0.0, 1.0, n)
    w = humid_air("W", "T", t + KELVIN, "R", rh, "P", p)
    return tuple(a[w < MOST_WATER] for a in (t, w, p, rh))


def fit_caloric() -> dict[str, tuple[float, ...]]:
    """h = A + B W + C W^2 + D W^3, each a polynomial in t with a share proportional to p."""
    t, w, p, rh = unsaturated(20000)
    h = humid_air("H", "T", t + KELVIN, "R", rh, "P", p)
    v = humid_air("V", "T", t + KELVIN, "R", rh, "P", p)
    parts = [
        ("AIR", powers(t, 3)),
        ("AIR_P", powers(t, 2, p)),
        ("VAPOUR", powers(t, 2, w)),
        ("VAPOUR_P", powers(t, 2, w * p)),
        ("VAPOUR_2", powers(t, 2, w**2 * p)),
        ("VAPOUR_3", powers(t, 1, w**3 * p)),
    ]
    out = split(parts, h)
    ideal = GAS * (t + KELVIN) * (1.0 + w / MASS_RATIO) / p
    volume = [
        ("VOLUME", powers(t, 2)),
        ("VOLUME_1", powers(t, 1, w)),
        ("VOLUME_2", powers(t, 1, w**2)),
    ]
    return out | split(volume, v - ideal)


def split(parts: list[tuple[str, list[Array]]], y: Array) -> dict[str, tuple[float, ...]]:
    c = iter(least_squares([column for _, columns in parts for column in columns], y))
    return {name: tuple(next(c) for _ in columns) for name, columns in parts}


def fit_wet_bulb(fits: Fits) -> Fits:
    """Start of the wet bulb: t from h_s - W_s h_cond, moved so that ice joins water at 0.01."""
    t, p = (a.ravel() for a in np.meshgrid(np.r_[-52.0:57.0:500j], np.r_[60e3:110e3:9j]))
    w = humid_air("W", "T", t + KELVIN, "R", 1.0, "P", p)
    t, p, w = (a[w < 1.05 * MOST_WATER] for a in (t, p, w))
    edge = np.full(p.shape, KELVIN + 0.011)
    melting = humid_air("W", "T", edge, "R", 1.0, "P", p)
    limit = humid_air("H", "T", edge, "R", 1.0, "P", p) - melting * fits["WATER_HEAT"][0]
    heat = humid_air("H", "T", t + KELVIN, "R", 1.0, "P", p)
    iced = t < TRIPLE
    cond = np.where(iced, np.polyval(fits["ICE_HEAT"][::-1], t) + ICE_SHIFT, 4186.0 * t)
    eta = heat - w * cond + np.where(iced, (w - melting) * ICE_SHIFT, 0.0) - limit
    eta *= 1e-5
    shapes = powers(eta, 6) + powers(np.minimum(eta, 0.0), 3, np.minimum(eta, 0.0))
    columns = [shape * p**k for k in range(3) for shape in shapes]
    c = least_squares(columns, t)
    n = len(shapes)
    parts = {f"WET_BULB{'_P' * k}": tuple(c[n * k : n * k + 7]) for k in range(3)}
    return parts | {f"ICE_BULB{'_P' * k}": tuple(c[n * k + 7 : n * k + n]) for k in range(3)}


def fit_condensed() -> dict[str, tuple[float, ...]]:
    """Enthalpy of water and of ice at 1 atm [J/kg]."""
    t = np.linspace(0.02, 46.0, 200)
    water = pure_fluid("H", "T", t + KELVIN, "P", 101325.0, "Water")
    ti = np.linspace(-50.0, 0.0, 200)
    ice = humid_air_auxiliary("h_Ice", ti + KELVIN, 101325.0)
    return {
        "WATER_HEAT": tuple(least_squares(powers(t, 3), water)),
        "ICE_HEAT": tuple(least_squares(powers(ti, 2), ice)),
    }


def write(fits: dict[str, tuple[float, ...] | float]) -> None:
    lines = [
        '"""Generated by tests/published/fit_air_coefficients.py; do not edit by hand."""',
        "",
        "from __future__ import annotations",
        "",
        "__all__ = [",
        *(f'    "{name}",' for name in sorted(fits)),
        "]",
        "",
    ]
    for name, value in fits.items():
        if isinstance(value, tuple):
            lines += [f"{name} = ("] + [f"    {float(c)!r}," for c in value] + [")"]
        else:
            lines += [f"{name} = {float(value)!r}"]
    TARGET.write_text("\n".join(lines) + "\n", encoding="utf-8")


def report(title: str, t_line: Array, p_line: Array) -> None:
    """Print the largest differences between the library and CoolProp on a grid."""
    from ventcalc import air

    rh_line = np.r_[0.01, 0.02, 0.05:1.0:20j]
    t, rh, p = (a.ravel() for a in np.meshgrid(t_line, rh_line, p_line))
    w = humid_air("W", "T", t + KELVIN, "R", rh, "P", p)
    t, rh, p, w = (a[w < MOST_WATER] for a in (t, rh, p, w))
    truth = {k: humid_air(k, "T", t + KELVIN, "R", rh, "P", p) for k in "HVDB"}
    fit = w > 1e-6
    wet, theirs = air.wet_bulb(t, w, p), truth["B"] - KELVIN
    same = (wet < TRIPLE) == (theirs < TRIPLE)
    errors = {
        "humidity ratio, relative": air.humidity_ratio(t, rh, p) / w - 1.0,
        "dew point, K": air.dew_point(np.where(fit, w, np.nan), p) - (truth["D"] - KELVIN),
        "wet bulb (same wick), K": np.where(same, wet - theirs, np.nan),
        "enthalpy, J/kg": air.enthalpy(t, w, p) - truth["H"],
        "specific volume, relative": air.specific_volume(t, w, p) / truth["V"] - 1.0,
    }
    print(
        f"{title}: {t.size} states, other wick in {np.mean(~same):.2%}, too dry {np.mean(~fit):.2%}"
    )
    for name, error in errors.items():
        i = np.nanargmax(np.abs(error))
        where = f"{t[i]:.1f} °C, {rh[i]:.0%}, {p[i] / 1e3:.0f} kPa"
        print(
            f"  {name:27} max {abs(error[i]):.1e} at {where}; 99 % below "
            f"{np.nanpercentile(np.abs(error), 99):.1e}"
        )


def main() -> None:
    fits: dict[str, tuple[float, ...] | float] = {"OFFSET": OFFSET, "GAS": GAS}
    fits |= {"MASS_RATIO": MASS_RATIO}
    fits |= fit_saturation() | fit_enhancement() | fit_caloric() | fit_condensed()
    fits |= fit_inverse(fits) | fit_wet_bulb(fits) | {"ICE_SHIFT": ICE_SHIFT}
    write(fits)
    inside = np.r_[75e3:100e3:6j, 101e3]
    report("domain, -30..45 °C, 75..101 kPa", np.linspace(-30.0, 45.0, 76), inside)
    report("around zero", np.linspace(-1.0, 1.0, 41), inside)
    report("colder, -45..-30 °C", np.linspace(-45.0, -30.0, 16), inside)
    report("hotter, 45..60 °C, up to 0.1 kg/kg", np.linspace(45.0, 60.0, 16), inside)
    report(
        "other pressures, 60..110 kPa", np.linspace(-30.0, 45.0, 26), np.r_[60e3, 65e3, 70e3, 110e3]
    )


if __name__ == "__main__":
    main()
