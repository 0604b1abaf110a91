"""The door to CoolProp: not opened at import, broadcasting, one clear line when it is absent."""

from __future__ import annotations

import math
import subprocess
import sys

import numpy as np
import pytest

from ventcalc.air import coolprop
from ventcalc.errors import VentcalcError


def test_importing_the_air_does_not_load_coolprop():
    code = (
        "import sys; import ventcalc.air.moist, ventcalc.air.process, ventcalc.air.coolprop;"
        "sys.exit('CoolProp' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_absence_is_one_clear_line(monkeypatch):
    monkeypatch.setitem(sys.modules, "CoolProp", None)
    coolprop.load.cache_clear()
    try:
        wanted = r"pip install 'ventcalc\[refrigeration\]'"
        with pytest.raises(VentcalcError, match=wanted) as caught:
            coolprop.humid_air("W", "T", 293.15, "R", 0.5, "P", 101325.0)
    finally:
        coolprop.load.cache_clear()
    assert "\n" not in str(caught.value)


def test_nan_shapes_and_floats():
    t = np.array([[280.0, math.nan], [290.0, 300.0]])
    w = coolprop.humid_air("W", "T", t, "R", 0.5, "P", 101325.0)
    assert w.shape == (2, 2)
    assert np.isnan(w).tolist() == [[False, True], [False, False]]
    alone = coolprop.humid_air("W", "T", 290.0, "R", 0.5, "P", 101325.0)
    assert type(alone) is float
    assert alone == w[1, 0]
    assert math.isnan(coolprop.humid_air("W", "T", math.nan, "R", 0.5, "P", 101325.0))
    assert coolprop.humid_air("W", "T", np.empty(0), "R", 0.5, "P", 101325.0).shape == (0,)
    assert coolprop.pure_fluid("P", "T", np.array([300.0]), "Q", 0.0, "Water").shape == (1,)


def test_refusal_is_translated():
    with pytest.raises(VentcalcError, match="CoolProp refused") as caught:
        coolprop.humid_air("W", "T", 290.0, "R", 50.0, "P", 101325.0)
    assert "\n" not in str(caught.value)
