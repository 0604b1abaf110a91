"""How far a probe was off when somebody held it against ice water, a salt or a reference."""

from __future__ import annotations

import math
from dataclasses import dataclass

from ventcalc.errors import BadInput
from ventcalc.logbook.kinds import SensorCheck

__all__ = ["SALTS", "ProbeOffset", "probe_offset", "salt_humidity"]

SALTS = {"NaCl": (69.20, 25.0), "KCl": (49.38, 159.0), "K2SO4": (86.75, 34.0)}
"""A and B of RH = A exp(B/T) over the saturated solution; valid for NaCl 10-40 °C, KCl 5-25, K2SO4
10-50; A. Wexler, Constant humidity solutions, CRC Handbook, which says within 2 %. [% and K]"""
USUAL = 20.0
"""Of the jar where nobody told it (common practice, no source). [°C]"""
ICE = 0.0
"""Of crushed ice in its own water. [°C]"""


@dataclass(frozen=True, kw_only=True, slots=True)
class ProbeOffset:
    """Reading less truth: take it off what the probe tells."""

    probe: str
    time: float
    """Of the check, UTC since 1970. [s]"""
    method: str
    temperature_difference: float
    """NaN where no temperature was checked. [K]"""
    humidity_offset: float
    """NaN where no humidity was checked. [0-1]"""


def salt_humidity(salt: str, temperature: float = USUAL) -> float:
    """
    Humidity over a saturated salt solution with undissolved salt in it. [0-1]

    Source: A. Wexler, Constant humidity solutions, CRC Handbook of Chemistry and Physics, 2005, p.
    15-33.
    """
    if salt not in SALTS:
        raise BadInput(f"{salt}: no such salt; one of {', '.join(SALTS)}")
    scale, slope = SALTS[salt]
    return 0.01 * scale * math.exp(slope / (temperature + 273.15))


def probe_offset(check: SensorCheck, time: float) -> ProbeOffset:
    """Offset of a probe by one check, of temperature, humidity or both."""
    warm, wet = check.reading_temperature, check.reading_relative_humidity
    true_warm, true_wet = check.true_temperature, check.true_relative_humidity
    if check.method == "ice_bath":
        true_warm, true_wet = ICE, None
    elif check.method in SALTS:
        true_wet = salt_humidity(check.method, USUAL if true_warm is None else true_warm)
    temperature = math.nan if warm is None or true_warm is None else warm - true_warm
    humidity = math.nan if wet is None or true_wet is None else wet - true_wet
    if math.isnan(temperature) and math.isnan(humidity):
        needs = {
            "ice_bath": "reading, a temperature",
            "reference": "reading and true, or reading_rh and true_rh",
        }.get(check.method, "reading_rh, and true for the temperature of the jar")
        raise BadInput(f"a check by {check.method} needs {needs}")
    return ProbeOffset(
        probe=check.probe,
        time=time,
        method=check.method,
        temperature_difference=temperature,
        humidity_offset=humidity,
    )
