"""
What all tests share: hypothesis without a stopwatch, since a busy machine is no fault, and helpers
beside this file that can be imported by name.
"""

from __future__ import annotations

import sys
from pathlib import Path

import psychrolib
import pytest
from hypothesis import HealthCheck, settings

settings.register_profile("unhurried", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("unhurried")

# Beside numba it would compile its functions anew in every process, slower than the tests.
psychrolib.has_numba = False
psychrolib.SetUnitSystem(psychrolib.SI)

sys.path.insert(0, str(Path(__file__).parent))


@pytest.fixture(scope="module")
def browser(tmp_path_factory):
    """Chromium without a window; a test that asks for it fails where it is absent."""
    from headless import Chromium

    one = Chromium(tmp_path_factory.mktemp("browser"))
    yield one
    one.close()
