"""One of five pulp probes dead, stuck or wildly off: the bay goes on, and says which one."""

from __future__ import annotations

import pytest

from firmware_bridge.bay import advisor
from firmware_bridge.demo.simulator import Fault
from ventcalc.advice.probe_history import PROBES


@pytest.mark.parametrize(
    ("how", "words"),
    [
        ("missing", "sensors not believed: pulp_4 (missing)"),
        ("stuck", "sensors not believed: pulp_4 (does not move)"),
        ("spike", "pulp_4: Pulp probe 4 (from the bottom) reads"),
    ],
)
def test_a_bay_with_one_pulp_probe_out_goes_on_and_names_it(world, monkeypatch, how, words):
    asked, whole = [], advisor.request

    def request(bay, readings, *rest):
        asked.append(readings.pulp_probes)
        return whole(bay, readings, *rest)

    monkeypatch.setattr(advisor, "request", request)
    one = world(pulp=12.0)
    one.run(600, step=10.0)
    assert set(asked) == {5}
    begin = one.hand.wall()
    one.sim.faults = [Fault(key="pulp_4", how=how, start=begin, end=begin + 9e5)]
    said = set()
    for minute in range(30):
        one.run(60.0, step=10.0)
        said.add(one.bay.decision.code)
        if how == "stuck" and minute == 2:  # as if the fans had run for so long meanwhile
            stands = one.bay.source._channels["pulp_4"]
            stands.still_readings, stands.still_running = 500, PROBES["pulp_temperature"][-1]
            stands.still_since -= stands.still_running
    assert said == {"ok"}, "advice never ends"
    assert asked[-1] == 2, "margins are those of a bay with two probes"
    assert [one.text[: len(words)] for one in one.bay.complaints] == [words]
