"""
What all tests share: hypothesis without a stopwatch, since a busy machine is no fault, helpers
beside this file that can be imported by name, and psychrolib as plain Python.
"""

from __future__ import annotations

import sys
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

settings.register_profile("unhurried", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("unhurried")

sys.path.insert(0, str(Path(__file__).parent))

# With numba in sight psychrolib compiles itself, for minutes, on its first call in every process.
_numba = sys.modules.get("numba", False)
sys.modules["numba"] = None  # type: ignore[assignment]
import psychrolib  # noqa: E402, F401

if _numba is False:
    del sys.modules["numba"]
else:
    sys.modules["numba"] = _numba


@pytest.fixture(scope="module")
def browser(tmp_path_factory):
    """Chromium without a window; a test that asks for it fails where it is absent."""
    from headless import Chromium

    one = Chromium(tmp_path_factory.mktemp("browser"))
    yield one
    one.close()
