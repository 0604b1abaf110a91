"""Helpers of the bridge's tests can be imported by name; every test ends without stray threads."""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

import pytest
from bridge_world import World


@pytest.fixture
def world(tmp_path):
    """Make a bridge, a broker in memory and simulated bays, all on one hand-driven clock."""
    made = []

    def make(**settings):
        one = World(tmp_path / f"world-{len(made)}", **settings)
        made.append(one)
        return one

    yield make
    for one in made:
        one.close()
