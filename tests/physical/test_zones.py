"""The pile as it grows: zones with their own temperature, age and lot; air where crop lies."""

from __future__ import annotations

import json
import math
import shutil
from dataclasses import replace
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from ventcalc.bay.file import example_bay, example_bay_path
from ventcalc.commands.main import main
from ventcalc.diagnose.log import read_log
from ventcalc.farm.zones import _Column, _share_heat, filled_zones
from ventcalc.logbook.folder import read_logbook
from ventcalc.logbook.writing import add_lines
from ventcalc.pile.bed import fresh_bed
from ventcalc.season.bay_state import bed_of

BAY = example_bay("seed_bay")
START = datetime(2026, 9, 18, 8, tzinfo=ZoneInfo(BAY.site.time_zone))
HOUR = 3600.0
LOT_A, LOT_B = BAY.lots[0].name, BAY.lots[1].name


def season(folder, days, trucks=10):
    """Loads of days, each ``(lot, pulp)``: so many trucks of 27 t in ten hours."""
    lines = [
        {"time": START.timestamp() + 24 * HOUR * day + k * HOUR, "lot": lot, "pulp": pulp}
        | {"gross": 38e3, "tare": 11e3}
        for day, (lot, pulp) in enumerate(days)
        for k in range(trucks)
    ]
    add_lines(folder, BAY, "loads", lines, written=START.timestamp())
    return read_logbook(folder, BAY)


def air(fans, plenum=12.0, hours=120):
    """A log of hours in which fans and plenum stand."""
    rows = ["time,plenum_temp_c,return_temp_c,fan_speed,plenum_rh"]
    rows += [
        f"{(START + timedelta(hours=k)).isoformat()},{plenum},{plenum + 1},{fans(k)},0.95"
        for k in range(hours)
    ]
    return read_log("\n".join(rows))


def test_zones_lie_one_behind_the_other_and_age(tmp_path):
    """270 t a day on 15.24 m by 4.88 m at 641 kg/m³: 5.67 m each."""
    book = season(tmp_path, [(LOT_A, 14.0), (LOT_A, 14.0), (LOT_B, 16.0)])
    found = filled_zones(BAY, book)
    first, second, third = found.zones
    assert [one.lot for one in found.zones] == [LOT_A, LOT_A, LOT_B]
    length = 270e3 / (15.24 * 4.8768 * 640.74)
    assert (second.start, third.end) == pytest.approx((length, 3 * length), rel=1e-4)
    assert first.age - third.age == pytest.approx(48 * HOUR)
    assert first.pulp_mean < second.pulp_mean < third.pulp_mean


def test_fresh_crop_without_air_warms_by_its_own_heat(tmp_path):
    """43 W/t (Burton) over 3.52 kJ/(kg K): 1.06 K in the first day, less what rises and ages."""
    book = season(tmp_path, [(LOT_A, 14.0)])
    found = filled_zones(BAY, book, air(lambda k: 0.0, hours=32))
    days = (found.time - (START.timestamp() + 4.5 * HOUR)) / 86400.0
    (zone,) = found.zones
    assert 0.75 < (zone.pulp_mean - 14.0) / days < 1.06
    assert zone.first_air != zone.first_air, "never"


def test_neighbours_share_heat_as_two_half_spaces_do():
    """k dT sqrt(t / (pi a)) through a square metre after nine days (Carslaw and Jaeger)."""
    bed = bed_of(BAY, 84e3, 10)
    heat = bed.layer_mass / bed.thickness * bed.crop.specific_heat
    one, other = (
        _Column(lot="A", begin=0.0, middle=0.0, start=start, length=60.0, mass=1.0, loaded=pulp,
                state=fresh_bed(bed, pulp))
        for start, pulp in ((0.0, 16.0), (60.0, 12.0))
    )  # fmt: skip
    for hour in range(9 * 24):
        _share_heat(bed, [other, one], HOUR * hour)
    gone = (16.0 - one.state.temperature) * 60.0 * heat
    through = bed.conductivity * 4.0 * (9 * 24 * HOUR / (math.pi * bed.conductivity / heat)) ** 0.5
    assert gone == pytest.approx(through, rel=0.01)
    assert other.state.temperature - 12.0 == pytest.approx(16.0 - one.state.temperature)
    apart = replace(other, start=62.0)
    _share_heat(bed, [one, apart], 9 * 24 * HOUR)
    assert apart.state is other.state, "not side by side"


def test_all_the_air_goes_where_crop_lies(tmp_path):
    """
    A sixth of the bay gets half of its air, three times as much a tonne, and cools so much faster.

    Full, 0.0104 m³/(s t) of 1.03 kg/m³ leave at 19 °C and 98 %, 12 °C and 95 % came: 7 K and 4.7 g
    of water, 19 kJ/kg, over 3.52 kJ/(kg K), less 43 W/t: 0.17 K an hour.
    """
    alone = season(tmp_path / "a", [(LOT_A, 16.0)])
    full = season(tmp_path / "b", [(LOT_A, 16.0)], trucks=60)
    log = air(lambda k: 1.0 if k > 70 else 0.0)

    def cooled(book):
        before, after = (
            filled_zones(BAY, book, log, START.timestamp() + k * HOUR).zones[0] for k in (71, 75)
        )
        return before.pulp_mean - after.pulp_mean

    small, large = cooled(alone), cooled(full)
    assert large / 4.0 == pytest.approx(0.17, rel=0.25)
    assert 2.0 * large < small < 3.5 * large


def test_first_air_and_what_was_not_yet_there(tmp_path):
    """Fans from the fifth hour on; on the first evening only the first day's crop is there."""
    book = season(tmp_path, [(LOT_A, 14.0), (LOT_B, 18.0)])
    log = air(lambda k: 0.6 if k > 5 else 0.0)
    evening = filled_zones(BAY, book, log, START.timestamp() + 14 * HOUR)
    assert [one.lot for one in evening.zones] == [LOT_A]
    first, second = filled_zones(BAY, book, log, START.timestamp() + 34 * HOUR).zones
    assert 4.0 < first.first_air / HOUR < 6.0
    assert second.first_air == 0.0


def test_the_command(tmp_path, capsys):
    path = tmp_path / "north.toml"
    shutil.copy(example_bay_path(), path)
    season(path.with_suffix(".season"), [(LOT_A, 18.0), (LOT_B, 12.0)])
    at = (START + timedelta(hours=30)).isoformat()
    assert main(["loads", str(path), "--zones", "--at", at]) == 0
    out = " ".join(capsys.readouterr().out.split())
    assert "colder than 1: close its laterals" in out
    assert main(["loads", str(path), "--zones", "--at", at, "--json"]) == 0
    zones = json.loads(capsys.readouterr().out, parse_constant=pytest.fail)["zones"]
    assert [one["lot"] for one in zones] == [LOT_A, LOT_B]
    assert main(["loads", str(path), "--zones", "--at", "2026-09-01T00:00Z"]) == 0
    assert "no load" in capsys.readouterr().out
    assert main(["loads", str(path), "--log", "x.csv"]) == 2
    assert "go with --zones" in capsys.readouterr().err
