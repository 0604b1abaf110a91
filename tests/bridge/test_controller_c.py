"""The receiving rules in C: the same answers as in Python, and fit for small firmware."""

from __future__ import annotations

import json
import re
import subprocess

import pytest
from controller_pair import (
    FLAGS,
    LIMITS,
    SANITIZE,
    SOURCES,
    InC,
    InPython,
    compile_c,
    play,
    vectors,
)
from hypothesis import given, settings
from hypothesis import strategies as st
from jsonschema import Draft202012Validator

from firmware_bridge import contract, messages, receiver, topics
from firmware_bridge.errors import BadMessage
from firmware_bridge.messages import Advice, AdviceRow, Beat, encode, encode_advice
from firmware_bridge.receiver import LocalLimits

GOOD = [1, 100, 1, 7, 1, 180, 3, 11, 0, 800, 300, 0, -1, -1, 669]
SETTINGS = settings(deadline=None)


def row(numbers):
    return json.dumps(numbers, separators=(",", ":")).encode()


@pytest.fixture(scope="module")
def program(tmp_path_factory):
    made = tmp_path_factory.mktemp("controller") / "console"
    files = [SOURCES / name for name in ("console.c", "receiver.c", "wire.c")]
    compile_c(*FLAGS, *SANITIZE, *files, "-o", made)
    return made


@pytest.fixture(scope="module")
def in_c(program):
    one = InC(program)
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
        "WIRE_ACTIONS": len(messages.ACTIONS),
        "WIRE_REASONS": len(messages.NONE_REASONS),
        "WIRE_ACK_ROOM": 160,
        "WIRE_FULL": 1000,
        "WIRE_LEFT_ALONE": -1,
        "RECEIVER_RING": receiver.RING,
    }
    assert receiver.LARGEST == topics.LEAVES["advice"].largest == topics.LEAVES["beat"].largest


def test_limits_of_the_vectors_are_the_usual_ones():
    usual = LocalLimits()
    thousandths = {name: 1000 * getattr(usual, name) for name in ("door_most", "fan_least")}
    seconds = {name: getattr(usual, name) for name in ("ttl_most", "beat_timeout", "accept_every")}
    assert {**thousandths, **seconds} == LIMITS


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
    assert found == set(messages.ACK_CODES) - {"range"}  # out of range is told as schema
    assert {step["expect"] for step in steps if step["do"] == "confirm"} == {True, False}


@pytest.mark.parametrize("what", [*messages.ACTIONS[1:], *messages.NONE_REASONS[1:]])
def test_all_that_the_bridge_can_say_is_understood(what, in_c):
    rest = {"why": what, "fan": 0.5} if what in messages.ACTIONS[1:] else {"none": what}
    advice = Advice(id=(100, 1), rests_on=(7, 1), ttl=180, mode=3, **rest)
    in_c.start(7, LIMITS)
    in_c.reading(0, 1)
    ack = in_c.advice(0, encode_advice(advice, "integers"))
    assert ack.code == ("none" if "none" in rest else "accepted")


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


# --- random messages, clocks and switches: C against Python ------------------------------

EDGES = [
    -501, -500, -2, -1, 0, 1, 2, 3, 4, 6, 7, 8, 11, 12, 13, 25, 26, 99, 100, 180, 1000, 1001, 3000,
    3001, 3600, 3601, 65536, 99_999_999, 100_000_000, 2**31, 2**32 - 1, 2**32, 2**32 + 7, 2**64 + 7,
]  # fmt: skip
edges = st.sampled_from(EDGES) | st.integers()
shares = st.integers(0, 1000)
positions = st.tuples(shares, *[st.integers(-1, 1000)] * 4, st.integers(-500, 3000)).map(list)
lives = st.sampled_from([1, 5, 60, 180, 600, 3600])
head = st.tuples(
    st.just(1), st.sampled_from([99, 100, 100, 100, 101]), st.integers(0, 40),
    st.sampled_from([7, 7, 7, 7, 6]), st.integers(0, 20), lives, st.sampled_from([1, 2, 3, 3, 3]),
).map(list)  # fmt: skip
follows = st.tuples(head, st.integers(1, 12), positions).map(lambda p: [*p[0], p[1], 0, *p[2]])
ceases = st.tuples(head, st.integers(1, 25)).map(lambda p: [*p[0], 0, p[1]])


@st.composite
def spoilt(draw):
    """A good row with one number changed, taken away or added."""
    numbers = draw(follows | ceases)
    place = draw(st.integers(0, len(numbers)))
    some = draw(st.lists(edges | st.none() | st.booleans() | st.floats(), max_size=1))
    return [*numbers[:place], *some, *numbers[place + draw(st.integers(0, 1)) :]]


JSON_LETTERS = list(b'[]{},:"-+.0123456789eEnulltrue \t\n\r\x00\x0b\xff')


@st.composite
def scratched(draw):
    """The bytes of a good row, some of them changed, taken away or added."""
    text = bytearray(row(draw(follows | ceases | st.just(GOOD))))
    for _ in range(draw(st.integers(1, 3))):
        place = draw(st.integers(0, len(text)))
        some = draw(st.lists(st.sampled_from(JSON_LETTERS), max_size=2))
        text[place : place + draw(st.integers(0, 2))] = bytes(some)
    return bytes(text)


pieces = st.lists(st.sampled_from(["1", "0", "-1", "null", "180", "7", ",", ",", " ", "]"]))
rows_of_anything = st.one_of(
    scratched(),
    spoilt().map(row),
    st.lists(edges | st.none(), max_size=17).map(row),
    pieces.map(lambda some: ("[" + "".join(some)).encode()),
    st.binary(max_size=250).map(lambda some: b"[" + some),
)


def understood(payload):
    try:
        return messages.decode(payload, AdviceRow, topics.LEAVES["advice"].largest)
    except BadMessage:
        return None


@SETTINGS
@given(rows_of_anything | st.binary(max_size=250))
def test_c_understands_the_rows_that_python_understands(in_c, payload):
    in_c.start(7, LIMITS)
    ack = in_c.advice(0, payload)
    wanted = understood(payload) if payload[:1] == b"[" else None
    assert (ack.code == "schema") == (wanted is None)
    assert ack.ref == ((0, 0) if wanted is None else (wanted.boot, wanted.seq))


@SETTINGS
@given(st.lists(edges | st.none(), max_size=17) | follows | ceases | spoilt())
def test_c_understands_the_rows_of_the_published_schema(in_c, numbers):
    whole = [value for value in numbers if not isinstance(value, float)]
    in_c.start(7, LIMITS)
    fits = Draft202012Validator(contract.schema("advice_integers")).is_valid(whole)
    payload = row(whole)
    known = in_c.advice(0, payload).code != "schema"
    assert known == (fits and len(payload) <= topics.LEAVES["advice"].largest)


json_leaves = st.none() | st.booleans() | edges | st.floats() | st.text(max_size=6)
known_keys = st.sampled_from(["boot", "seq", "id", "t", "birth", "later"])
beat_objects = st.dictionaries(known_keys, json_leaves | st.lists(json_leaves, max_size=2))
real_beats = st.builds(
    Beat,
    boot=st.integers(0, 99_999_999),
    seq=st.integers(0, 99_999_999),
    id=st.integers(0, 2**32 - 1),
    t=st.none() | st.integers(0, 4_200_000_000) | st.floats(0, 4.2e9).map(lambda t: round(t, 3)),
    birth=st.sampled_from([0, 1]),
)


@st.composite
def beat_bytes(draw):
    """Beats as they are, with other fields, and with scratches."""
    fields = json.loads(encode(draw(real_beats)))
    text = bytearray(json.dumps({**fields, **draw(beat_objects)}).encode())
    for _ in range(draw(st.integers(0, 2))):
        place = draw(st.integers(0, len(text)))
        text[place : place + draw(st.integers(0, 2))] = bytes(
            draw(st.lists(st.sampled_from(JSON_LETTERS), max_size=2))
        )
    return bytes(text)


@SETTINGS
@given(beat_bytes() | st.binary(max_size=250))
def test_c_takes_no_beat_that_python_refuses(in_c, payload):
    in_c.start(7, LIMITS)
    if in_c.beat(0, payload):
        messages.decode(payload, Beat, topics.LEAVES["beat"].largest)


@SETTINGS
@given(real_beats)
def test_c_takes_every_beat_that_the_bridge_sends(in_c, beat):
    in_c.start(7, LIMITS)
    assert in_c.beat(0, encode(beat))
    assert not in_c.beat(0, encode(beat))


waits = st.sampled_from(
    [0, 0, 1, 4, 8, 40, 79, 80, 81, 400, 479, 480, 481, 1440, 1441, 4801, 2**24]
)
"""Time until the next thing happens, in steps of 125 ms that both number systems hold exactly."""
things = st.one_of(
    st.tuples(st.just("reading"), st.just(None), st.just(False)),
    st.tuples(st.just("beat"), st.integers(-1, 3), st.booleans()),
    st.tuples(st.just("advice"), follows | ceases, st.sampled_from([False] * 9 + [True])),
    st.tuples(st.just("raw"), rows_of_anything, st.booleans()),
    st.tuples(st.sampled_from(["remote", "interlock"]), st.booleans(), st.just(False)),
    st.tuples(st.just("confirm"), st.just(None), st.just(False)),
)
own_limits = st.fixed_dictionaries(
    {
        "door_most": shares,
        "fan_least": shares,
        "ttl_most": st.sampled_from([0, 30, 600, 3600, 65535]),
        "beat_timeout": st.sampled_from([0, 60, 3600]),
        "accept_every": st.sampled_from([0, 10, 60]),
    }
)


class Both:
    """C and Python in step; every answer must be the same."""

    def __init__(self, in_c):
        self.pair = (in_c, InPython())

    def __getattr__(self, name):
        def ask(*arguments):
            first, second = (getattr(one, name)(*arguments) for one in self.pair)
            assert first == second or name == "start", (name, arguments)
            return first

        return ask


@SETTINGS
@given(
    st.sampled_from([0, 2**32 - 4_000_000, 2**32 - 8_000, 2**33 - 125_000]),
    st.sampled_from([0, 2**32 - 5]),
    own_limits | st.just(LIMITS),
    st.lists(st.tuples(waits, things), min_size=1, max_size=40),
)
def test_c_and_python_give_the_same_answers(in_c, at, seq, limits, story):
    both = Both(in_c)
    both.start(7, limits)
    beat = 10
    both.reading(at, seq)
    both.beat(at, encode(Beat(boot=100, seq=beat, id=5)))
    for wait, (what, detail, flag) in story:
        at += 125 * wait
        both.stands(at)
        if what == "reading":
            seq = (seq + 1) % 2**32
            both.reading(at, seq)
        elif what == "beat":
            beat = max(beat + detail, 0)
            both.beat(at, encode(Beat(boot=100, seq=beat, id=5)), flag)
        elif what == "advice":
            numbers = [*detail[:4], (seq + 1 - detail[4]) % 2**32, *detail[5:]]
            both.advice(at, row(numbers), flag)
        elif what == "raw":
            both.advice(at, detail, flag)
        elif what == "confirm":
            both.confirm(at)
        else:
            getattr(both, what)(at, flag if detail is None else detail)
        both.stands(at)


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
        assert self.in_c.beat(round(1000 * now), payload, retained) == taken
        self.asked_birth |= self.rules.asked_birth
        self.rules.asked_birth = False
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
