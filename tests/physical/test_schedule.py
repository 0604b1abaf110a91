"""The better order of a program: every instruction kept, nothing used or overwritten too early."""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass, replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from small_runs import through_a_pile, through_a_season

from ventcalc import _loop, _machine
from ventcalc._loop import traced_loop
from ventcalc._ops import ops_for
from ventcalc._schedule import scheduled
from ventcalc.errors import check_range
from ventcalc.season import steps as season_steps

NAME = re.compile(r"%[\w.]+")


def blocks_in(text):
    """Label and instructions of each block; what stands outside of blocks has no instructions."""
    blocks = [("", [])]
    for line in text.splitlines():
        if line.startswith("  "):
            blocks[-1][1].append(line)
        else:
            blocks.append((line, []))
    return blocks


def made_by(line):
    found = re.match(r"\s+(%[\w.]+) = ", line)
    return found and found[1]


def places_in(text):
    """The place that each pointer of a program stands for."""
    pattern = r"(%[\w.]+) = getelementptr double, ptr (%[\w.]+), i64 (\d+)"
    return {name: (base, at) for name, base, at in re.findall(pattern, text)}


def touched(line, places):
    """The place that an instruction reads or writes, if it is known by number."""
    return places.get(NAME.findall(line)[-1]) if " load " in line or " store " in line else None


def check_order(text):
    """What must hold of any program and its better order."""
    before, after = blocks_in(text), blocks_in(scheduled(text))
    assert [label for label, _ in before] == [label for label, _ in after]
    places = places_in(text)
    for (label, old), (_, new) in zip(before, after, strict=True):
        assert Counter(old) == Counter(new), label
        joins = [line for line in old if " = phi " in line]
        jumps = [line for line in old if line.startswith(("  br ", "  ret "))]
        assert new[: len(joins)] == joins, label
        assert new[len(new) - len(jumps) :] == jumps, label
        inside, ready, stored = {made_by(line) for line in new}, set(), set()
        for line in new:
            if " = phi " not in line:
                needs = set(NAME.findall(line.partition(" = ")[2] or line)) & inside
                assert needs <= ready, f"{line} comes too early in {label}"
            ready.add(made_by(line))
            place = touched(line, places)
            if place and " store " in line:
                stored.add(place)
            assert not (place and " load " in line and place in stored), f"{line} comes too late"


# --- random programs ----------------------------------------------------------------------------


@st.composite
def programs(draw):
    """
    Blocks one after the other, as tracing writes them: each place is read at most once, then
    written at most once, with sums and products between.
    """
    lines, known, count, unread = [], ["%x", "%y"], 0, list(range(6))
    for number in range(draw(st.integers(1, 3))):
        lines.append(f"b{number}:")
        if number and draw(st.booleans()):
            count += 1
            lines.append(f"  %v{count} = phi double [ {known[-1]}, %b{number - 1} ]")
            known.append(f"%v{count}")
        for _ in range(draw(st.integers(0, 15))):
            count += 2
            if unread and draw(st.booleans()):
                at = unread.pop(draw(st.integers(0, len(unread) - 1)))
                lines.append(f"  %v{count - 1} = getelementptr double, ptr %p, i64 {at}")
                lines.append(f"  %v{count} = load double, ptr %v{count - 1}, align 8")
            else:
                a, b = draw(st.sampled_from(known)), draw(st.sampled_from(known))
                lines.append(f"  %v{count} = {draw(st.sampled_from(['fadd', 'fsub']))} {a}, {b}")
            known.append(f"%v{count}")
        lines.append(f"  br label %b{number + 1}")
    lines.pop()
    for at in draw(st.permutations(range(6)))[: draw(st.integers(0, 6))]:
        count += 1
        lines.append(f"  %v{count} = getelementptr double, ptr %p, i64 {at}")
        lines.append(f"  store double {draw(st.sampled_from(known))}, ptr %v{count}, align 8")
    return "\n".join([*lines, "  ret void"]) + "\n"


def memory_after(text):
    """What the places hold when a program of ``programs`` is over."""
    memory, values = [3.0, 5.0, 7.0, 11.0, 13.0, 17.0], {"%x": 1.0, "%y": 2.0}
    for line in text.splitlines():
        name, names = made_by(line), NAME.findall(line)
        if " getelementptr " in line:
            values[name] = int(line.rpartition(" ")[2])
        elif " load " in line:
            values[name] = memory[values[names[-1]]]
        elif " store " in line:
            memory[values[names[-1]]] = values[names[0]]
        elif " phi " in line:
            values[name] = values[names[1]]
        elif name:
            a, b = values[names[1]], values[names[2]]
            values[name] = a + b if "fadd" in line else a - b
    return memory


@settings(max_examples=300)
@given(programs())
def test_random_programs_keep_their_meaning(text):
    check_order(text)
    assert memory_after(scheduled(text)) == memory_after(text)


def test_an_order_that_only_seems_better_is_found_out():
    """The checks above can fail."""
    text = (
        "  %v1 = getelementptr double, ptr %p, i64 0\n  %v2 = load double, ptr %v1, align 8\n"
        "  %v3 = getelementptr double, ptr %p, i64 0\n  store double %x, ptr %v3, align 8\n"
        "  %v4 = fadd %v2, %v2\n  %v5 = getelementptr double, ptr %p, i64 1\n"
        "  store double %v4, ptr %v5, align 8\n"
    )
    lines = text.splitlines(keepends=True)
    late = "".join([lines[0], lines[2], lines[3], lines[1], *lines[4:]])
    assert memory_after(text) != memory_after(late)
    assert memory_after(scheduled(text)) == memory_after(text)


def test_every_load_of_a_place_comes_before_its_store():
    """Also the first of two, whose value is needed late."""
    text = (
        "  %v1 = getelementptr double, ptr %p, i64 0\n  %v2 = load double, ptr %v1, align 8\n"
        "  %v3 = getelementptr double, ptr %p, i64 0\n  %v4 = load double, ptr %v3, align 8\n"
        "  %v5 = fadd %v2, %y\n  %v6 = fadd %v5, %y\n  %v7 = fadd %v6, %y\n"
        "  %v8 = getelementptr double, ptr %p, i64 1\n  store double %v7, ptr %v8, align 8\n"
        "  %v9 = getelementptr double, ptr %p, i64 0\n  store double %x, ptr %v9, align 8\n"
    )
    check_order(text)
    assert memory_after(scheduled(text)) == memory_after(text)


# --- real programs ------------------------------------------------------------------------------


class Caught(Exception):
    """The text of a program, in place of its machine code."""


def caught(text):
    raise Caught(text)


@pytest.mark.parametrize(
    "run",
    [through_a_pile, lambda: through_a_pile(3), lambda: through_a_season("advice")],
    ids=["pile", "piles", "season"],
)
def test_real_programs_keep_their_order(run, monkeypatch):
    monkeypatch.setattr(_loop, "compiled", caught)
    monkeypatch.setattr(season_steps, "WORTH_COMPILING", 1)
    with pytest.raises(Caught) as found:
        run()
    text = str(found.value)
    check_order(text)
    assert len(text.splitlines()) > 500
    assert blocks_in(scheduled(text)) != blocks_in(text)


@dataclass(frozen=True, kw_only=True)
class Carried:
    level: object
    many: object
    wet: object


def swap(fixed, state, given, own):
    """What is carried changes places, so that an early store would spoil a late load."""
    ops = ops_for(own[0])
    check_range("x", own[0], -100.0, 100.0)
    many = np.concatenate((state.many[1:], state.many[:1])) * 0.5
    many = many + ops.where(state.wet, state.level, state.many[::-1])
    deep = ops.repeat(fixed[0], lambda v: ops.sqrt(v * v + 1.0), state.many[0])
    level = ops.branch(own[0] > 0.0, lambda: deep + state.many[2], state.level - own[0])
    record = (state.level + deep, state.many * level, state.wet)
    return replace(state, level=state.many[3], many=many, wet=level > own[0]), record


def run_swap():
    rng = np.random.default_rng(7)
    bays = 5
    start = Carried(
        level=rng.normal(size=bays), many=rng.normal(size=(4, bays)), wet=np.arange(bays) % 2 > 0
    )
    own = (rng.normal(size=(20, bays)),)
    fixed = (np.arange(1.0, bays + 1),)
    loop = traced_loop(swap, fixed, start, (), (own[0][0],), bays=bays)
    carried, record = loop.steps(loop.pack(start), np.empty((20, 0)), loop.own_rows(own))
    return loop.unpack(carried), record


@pytest.mark.parametrize(
    "run", [through_a_pile, lambda: through_a_pile(3), run_swap], ids=["pile", "piles", "swap"]
)
def test_results_are_the_same_in_any_order(run, monkeypatch, tmp_path):
    """To the last bit: no operation is changed, only when it is done."""
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    ordered = run()
    used = []

    def as_written(text):
        used.append(text)
        return text

    monkeypatch.setattr(_machine, "scheduled", as_written)
    monkeypatch.setattr(_loop, "compiled", lambda text: _machine.compiled(text + "; as written\n"))
    plain = run()
    assert len(used) == 1
    pairs = zip(_loop.leaves(ordered), _loop.leaves(plain), strict=True)
    for one, other in pairs:
        np.testing.assert_array_equal(one, other)
