"""The receiving rules in C: the same answers as in Python, and fit for small firmware."""

from __future__ import annotations

import re
import subprocess

import pytest
from controller_pair import (
    FLAGS,
    GOOD,
    LIMITS,
    SOURCES,
    InC,
    InPython,
    compile_c,
    play,
    row,
    vectors,
)

from firmware_bridge import codes
from firmware_bridge.wire import contract, messages, receiver, topics
from firmware_bridge.wire.messages import AdviceMessage, Beat, encode, encode_advice
from firmware_bridge.wire.receiver import LocalLimits


@pytest.fixture(scope="module")
def in_c():
    one = InC()
    yield one
    assert one.close() == (0, ""), "the sanitizers have something to say"


# --- fit for small firmware --------------------------------------------------------------


def code_of(name):
    """A source file without comments and texts."""
    text = (SOURCES / name).read_text(encoding="utf-8")
    return re.sub(r'/\*.*?\*/|"(?:\\.|[^"\\\n])*"|\'(?:\\.|[^\'\\])+\'', " ", text, flags=re.S)


@pytest.mark.parametrize("name", ["receiver", "wire"])
def test_needs_nothing_but_three_memory_functions(name, tmp_path):
    made = tmp_path / f"{name}.o"
    compile_c(
        *FLAGS, "-ffreestanding", "-fno-stack-protector", "-c", SOURCES / f"{name}.c", "-o", made
    )
    listed = subprocess.run(["nm", "-u", made], capture_output=True, text=True, check=True).stdout
    needed = {line.split()[-1].lstrip("_") for line in listed.splitlines()}
    own = {"wire_read_advice", "wire_read_beat", "wire_write_ack"}
    assert needed - own <= {"memcmp", "memcpy", "memset", "memmove"}


@pytest.mark.parametrize("name", ["receiver.c", "wire.c", "receiver.h", "wire.h"])
def test_no_floats_and_no_other_headers(name):
    assert not re.search(r"\b(float|double|long|goto|malloc|alloca)\b|\d\.\d", code_of(name))
    text = (SOURCES / name).read_text(encoding="utf-8")
    found = set(re.findall(r'#include\s+[<"]([^>"]+)', text))
    allowed = {"stdbool.h", "stddef.h", "stdint.h", "string.h", "receiver.h", "wire.h"}
    assert found <= allowed


def test_no_function_calls_itself_nor_others_in_a_ring():
    code = code_of("wire.c") + code_of("receiver.c")
    bodies = dict(re.findall(r"^[a-z][\w\s*]*?(\w+)\([^;{}]*\)\n\{\n(.*?)^\}", code, re.S | re.M))
    assert {"peek", "wire_read_beat", "receiver_take", "receiver_write_ack"} <= set(bodies)
    calls = {
        name: set(re.findall(r"\b(\w+)\(", body)) & set(bodies) for name, body in bodies.items()
    }
    while calls:
        leaves = [name for name, called in calls.items() if not called & set(calls)]
        assert leaves, f"these call each other: {sorted(calls)}"
        for name in leaves:
            del calls[name]


def test_header_says_what_the_messages_say():
    text = (SOURCES / "wire.h").read_text(encoding="utf-8")
    text += (SOURCES / "receiver.h").read_text(encoding="utf-8")
    found = {name: int(value) for name, value in re.findall(r"#define (\w+) \(?(-?\d+)u?\)?", text)}
    assert found == {
        "WIRE_LARGEST": topics.LEAVES["advice"].largest,
        "WIRE_ACTIONS": len(codes.ACTIONS),
        "WIRE_REASONS": len(codes.NONE_REASONS),
        "WIRE_ACK_ROOM": 160,
        "WIRE_FULL": 1000,
        "WIRE_LEFT_ALONE": -1,
        "RECEIVER_RING": receiver.RING,
        "RECEIVER_CONSENT": 1000 * receiver.CONSENT,
        "RECEIVER_NEAR": receiver.NEAR,
    }
    assert receiver.LARGEST == topics.LEAVES["advice"].largest == topics.LEAVES["beat"].largest


def test_limits_of_the_vectors_are_the_usual_ones():
    usual = LocalLimits()
    thousandths = {name: 1000 * getattr(usual, name) for name in ("door_most", "fan_least")}
    seconds = {name: getattr(usual, name) for name in ("ttl_most", "beat_timeout", "accept_every")}
    assert {**thousandths, **seconds} == LIMITS


def test_page_says_the_ranges_of_the_published_schema():
    text = (SOURCES / "README.md").read_text(encoding="utf-8")
    table = re.findall(r"^\| ([\d, to]+) \|.*\| ([-\d]+)(?: to (\d+))? \|$", text, re.M)
    told = {}
    for places, least, most in table:
        first, last = (int(places.split()[n].strip(",")) for n in (0, -1))
        told |= dict.fromkeys(range(first, last + 1), (int(least), int(most or least)))
    items = contract.schema("advice_integers")["prefixItems"]
    kinds = [item["anyOf"][0] if "anyOf" in item else item for item in items]
    wanted = {
        place: (kind.get("minimum", 1), kind.get("maximum", 1)) for place, kind in enumerate(kinds)
    }
    wanted[9] = (0, 1000)  # advice never leaves the fans alone
    assert told == wanted


def test_loop_of_the_page_compiles(tmp_path):
    text = (SOURCES / "README.md").read_text(encoding="utf-8")
    loop = re.search(r"```c\n(.*?)```", text, re.S)[1]
    around = """
        #include "receiver.h"
        extern struct receiver rules; extern uint32_t boot, seq;
        uint32_t milliseconds(void); bool any_protection_tripped(void); bool switch_is_remote(void);
        bool reading_is_due(uint32_t now); void publish_reading(uint32_t boot_, uint32_t seq_);
        void own_program(int16_t *out); void own_limits_and_frost_cut_out(int16_t *out);
        void drive(const int16_t *out); void feed_watchdog(void); void turn(void);
    """
    source = tmp_path / "loop.c"
    source.write_text(f"{around}\nvoid turn(void)\n{{\n{loop}}}\n")
    compile_c(*FLAGS, "-I", SOURCES, "-c", source, "-o", tmp_path / "loop.o")


# --- shared vectors ----------------------------------------------------------------------


@pytest.mark.parametrize("case", vectors())
def test_vectors_in_c(case, in_c):
    play(case, in_c)


@pytest.mark.parametrize("case", vectors())
def test_vectors_in_python(case):
    play(case, InPython())


def test_vectors_reach_every_answer():
    steps = [step for param in vectors() for step in param.values[0]["steps"]]
    found = {step["expect"] for step in steps if step["do"] == "advice"}
    assert found == set(codes.ACK_CODES)
    assert {step["expect"] for step in steps if step["do"] == "confirm"} == {True, False}


@pytest.mark.parametrize("what", [*codes.ACTIONS[1:], *codes.NONE_REASONS[1:]])
def test_all_that_the_bridge_can_say_is_understood(what, in_c):
    rest = {"why": what, "fan": 0.5} if what in codes.ACTIONS[1:] else {"none": what}
    advice = AdviceMessage(id=(100, 1), rests_on=(7, 1), ttl=180, mode=3, **rest)
    in_c.start(7, LIMITS)
    in_c.reading(0, 1)
    in_c.beat(0, encode(Beat(boot=100, seq=1, id=5)))
    ack = in_c.advice(0, encode_advice(advice, "integers"))
    assert ack.code == ("none" if "none" in rest else "accepted")


def test_every_thousandth_comes_back_in_the_ack(in_c):
    for share in range(1001):
        in_c.start(7, LIMITS)
        in_c.reading(0, 1)
        in_c.beat(0, encode(Beat(boot=100, seq=1, id=5)))
        ack = in_c.advice(0, row([*GOOD[:9], 1000 - share, share, *GOOD[11:]]))
        assert (ack.fan, ack.door) == ((1000 - share) / 1000, share / 1000)


def test_limits_that_make_no_sense_stop_everything(in_c):
    for wrong in ({"door_most": 1001}, {"fan_least": 1001}, {"fan_least": 65535}):
        assert not in_c.start(7, {**LIMITS, **wrong})
        in_c.reading(0, 1)
        in_c.beat(0, encode(Beat(boot=100, seq=1, id=5)))
        assert in_c.advice(0, row(GOOD)).code == "interlock"
        assert in_c.stands(0) is None


def test_the_local_switch_begins_at_local(in_c):
    in_c.ask("start 7 1000 0 600 60 10")
    in_c.reading(0, 1)
    assert in_c.advice(0, row(GOOD)).code == "local"


STRICTER = {
    "a key twice": b'{"boot":100,"seq":2,"id":5,"seq":2}',
    "a row in it": b'{"boot":100,"seq":2,"id":5,"later":[1]}',
    "an object in it": b'{"boot":100,"seq":2,"id":5,"later":{}}',
    "an escape": b'{"boot":100,"seq":2,"id":5,"later":"\\n"}',
    "letters beyond ASCII": '{"boot":100,"seq":2,"id":5,"later":"é"}'.encode(),
    "an exponent": b'{"boot":100,"seq":2,"id":5,"t":1e9}',
}
"""Beats that Python takes; the bridge sends none of them, and a small reader need not know them."""


@pytest.mark.parametrize("name", STRICTER)
def test_where_c_is_stricter_than_python(name, in_c):
    in_c.start(7, LIMITS)
    messages.decode(STRICTER[name], Beat)
    assert in_c.beat(0, STRICTER[name]) == (False, False)


def test_a_clock_that_steps_back_ends_all_advice(in_c):
    in_c.start(7, LIMITS)
    in_c.reading(50_000, 1)
    in_c.beat(50_000, encode(Beat(boot=100, seq=1, id=5)))
    assert in_c.advice(50_000, row(GOOD)).code == "accepted"
    assert in_c.stands(49_999) is None
    assert in_c.stands(50_000) is None
    assert in_c.advice(50_000, row([*GOOD[:2], 2, *GOOD[3:]])).code == "stale"


def test_a_season_without_readings_never_makes_an_old_one_young(in_c):
    """Sixty days of ticks, more than one whole turn of a 32-bit counter of milliseconds."""
    in_c.start(7, LIMITS)
    in_c.reading(0, 1)
    for at in range(0, 60 * 86_400_000, 3_600_000):
        assert in_c.ask(f"tick {at % 2**32}") == "ok"
        in_c.beat(at, encode(Beat(boot=100, seq=at // 3_600_000, id=5)))
        if at > 600_000:
            assert in_c.advice(at, row(GOOD)).code == "stale"


# --- with the bridge itself --------------------------------------------------------------


class Twin:
    """Stands in for a simulated controller's rules and asks those in C as well."""

    def __init__(self, rules, in_c):
        self.rules, self.in_c, self.codes = rules, in_c, []
        self.asked_birth = False
        in_c.start(rules.boot, LIMITS)

    def note_reading(self, seq, now):
        self.in_c.reading(round(1000 * now), seq)
        self.rules.note_reading(seq, now)

    def take_beat(self, payload, retained, now):
        taken = self.rules.take_beat(payload, retained, now)
        asked, self.rules.asked_birth = self.rules.asked_birth, False
        assert self.in_c.beat(round(1000 * now), payload, retained) == (taken, asked)
        self.asked_birth |= asked
        return taken

    def take(self, payload, retained, now):
        assert payload.startswith(b"[")
        ack = self.rules.take(payload, retained, now)
        assert self.in_c.advice(round(1000 * now), payload, retained) == ack
        self.codes.append(ack.code)
        return ack

    def standing(self, now):
        advice = self.rules.standing(now)
        assert (self.in_c.stands(round(1000 * now)) is None) == (advice is None)
        return advice


def test_advice_from_the_bridge_itself(world, in_c):
    one = world(form="integers")
    one.sim.receiver = twin = Twin(one.sim.receiver, in_c)
    one.run(7200.0)
    told = len(twin.codes)
    assert told > 100
    assert twin.codes.count("accepted") > 0.9 * told
    one.kill()
    one.run(120.0)
    assert twin.standing(one.hand.now) is None
    one.start()
    one.run(900.0)
    assert "accepted" in twin.codes[told:]
