"""
What all tests share: hypothesis without a stopwatch, since a busy machine is no fault, and helpers
beside this file that can be imported by name.
"""

from __future__ import annotations

import os
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

TOGETHER = {
    "broker": ("test_broker_faults",),
    "sample broker": ("test_deploy",),
    "seasons": (
        "test_compiled_season", "test_compiled_or_not", "test_random_advice", "test_readme",
        "test_season_faults", "test_season_research",
    ),
    "piles": (
        "test_bed", "test_bed_series", "test_bed_against_scipy", "test_bed_anchors",
        "test_compiled_formulas",
    ),
    "report in a browser": ("test_report_browser",),
    "bridge in a browser": ("test_page_browser",),
    "season's report": ("test_report",),
    "sizes": ("test_size", "test_raw_climates"),
}  # fmt: skip
"""
Files whose tests stay in one process and begin first: they share machine code, which two processes
would compile at the same moment, a page or a browser; those with a broker mostly wait for it.
"""
GROUPS = {stem: group for group, stems in TOGETHER.items() for stem in stems}


def pytest_xdist_auto_num_workers():
    """One more than cores, since one is mostly busy waiting."""
    if "PYTEST_XDIST_AUTO_NUM_WORKERS" in os.environ:
        return None
    allowed = getattr(os, "sched_getaffinity", None)
    return 1 + (len(allowed(0)) if allowed else os.cpu_count() or 1)


def pytest_collection_modifyitems(config, items):
    """Tell those who share the work in which order it begins."""
    if hasattr(config, "workerinput"):
        order = [*TOGETHER, None]
        items.sort(key=lambda item: order.index(GROUPS.get(item.path.stem)))


def pytest_xdist_make_scheduler(config, log):
    """Whole groups to one process, all other tests one by one."""
    if config.getvalue("dist") != "load":
        return None
    from xdist.scheduler import LoadScopeScheduling

    class Groups(LoadScopeScheduling):
        def _split_scope(self, nodeid):
            return GROUPS.get(Path(nodeid.partition("::")[0]).stem, nodeid)

    return Groups(config, log)


@pytest.fixture(scope="module")
def browser(tmp_path_factory):
    """Chromium without a window; a test that asks for it fails where it is absent."""
    from headless import Chromium

    one = Chromium(tmp_path_factory.mktemp("browser"))
    yield one
    one.close()
