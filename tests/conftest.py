"""
What all tests share: hypothesis without a stopwatch, since a busy machine is no fault, and with the
same examples every time on a build server; helpers beside this file that can be imported by name.
"""

from __future__ import annotations

import os
import signal
import sys
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

settings.register_profile(
    "unhurried",
    deadline=None,
    derandomize="CI" in os.environ,
    suppress_health_check=[HealthCheck.too_slow],
)
settings.load_profile("unhurried")

with pytest.MonkeyPatch.context() as patch:
    # Beside numba it would compile its functions anew in every process, slower than the tests.
    patch.setitem(sys.modules, "numba", None)
    import psychrolib
psychrolib.SetUnitSystem(psychrolib.SI)

sys.path.insert(0, str(Path(__file__).parent))

# Tests start some hundred programs; each would translate the library anew.
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
sys.dont_write_bytecode = False

# A shell's background job has Ctrl-C ignored, and would hand that on to the programs it starts.
signal.signal(signal.SIGINT, signal.default_int_handler)

FIRST = {
    "test_broker_faults": "broker",
    "test_compiled_season": "seasons",
    "test_compiled_or_not": "seasons",
    "test_random_advice": "seasons",
    "test_season_faults": "seasons",
    "test_season_research": "seasons",
    "test_readme": "seasons",
    "test_service": "bridge",
    "test_following": "day",
    "test_modbus_gateway": "gateway",
    "test_bed": "piles",
    "test_bed_series": "piles",
    "test_bed_against_scipy": "piles",
    "test_bed_anchors": "piles",
    "test_compiled_formulas": "piles",
    "test_raw_climates": "raw climates",
    "test_sizing": "reference",
    "test_size": "reference",
    "test_refrigeration": "reference",
    "test_air_coolprop": "reference",
    "test_air_door": "reference",
    "test_condensation": "reference",
    "test_units": "reference",
    "test_deploy": "deployment",
    "test_plan_page_browser": "browser of the plan",
}
"""
Files that take long or mostly wait begin first. Those of one name stay in one process: they share
machine code, which two processes would compile at the same moment, or a library slow to load.
"""


def pytest_xdist_auto_num_workers():
    """One more than cores, since one is mostly busy waiting."""
    if "PYTEST_XDIST_AUTO_NUM_WORKERS" in os.environ:
        return None
    allowed = getattr(os, "sched_getaffinity", None)
    return 1 + (len(allowed(0)) if allowed else os.cpu_count() or 1)


def pytest_collection_modifyitems(config, items):
    """Tell those who share the work in which order it begins."""
    if hasattr(config, "workerinput"):
        order = {stem: place for place, stem in enumerate(FIRST)}
        items.sort(key=lambda item: order.get(item.path.stem, len(order)))


def pytest_xdist_make_scheduler(config, log):
    """A file stays in one process: what its tests share is made once."""
    if config.getvalue("dist") != "load":
        return None
    from xdist.scheduler import LoadScopeScheduling

    class Files(LoadScopeScheduling):
        def _split_scope(self, nodeid):
            stem = Path(nodeid.partition("::")[0]).stem
            return FIRST.get(stem, stem)

    return Files(config, log)


@pytest.fixture(scope="module")
def browser(tmp_path_factory):
    """Chromium without a window; a test that asks for it fails where it is absent."""
    from headless import Chromium

    one = Chromium(tmp_path_factory.mktemp("browser"))
    yield one
    one.close()
