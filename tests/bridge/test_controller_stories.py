"""Random messages, clocks and switches: the receiving rules in C answer as those in Python do."""

from __future__ import annotations

import json

import pytest
from controller_pair import GOOD, LIMITS, InC, InPython, row
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from jsonschema import Draft202012Validator

from firmware_bridge.errors import BadMessage
from firmware_bridge.wire import contract, messages, topics
from firmware_bridge.wire.messages import AdviceRow, Beat, encode
from firmware_bridge.wire.receiver import CONSENT, NEAR

SETTINGS = settings(deadline=None, suppress_health_check=[HealthCheck.too_slow])
"""A busy machine is no fault of the rules."""


@pytest.fixture(scope="module")
def in_c():
    one = InC()
    yield one
    assert one.close() == (0, ""), "the sanitizers have something to say"


EDGES = [
    -501, -500, -2, -1, 0, 1, 2, 3, 4, 6, 7, 8, 11, 12, 13, 25, 26, 99, 100, 180, 1000, 1001, 3000,
    3001, 3600, 3601, 65536, 99_999_999, 100_000_000, 2**31, 2**32 - 1, 2**32, 2**32 + 7, 2**64 + 7,
]  # fmt: skip
edges = st.sampled_from(EDGES) | st.integers()
shares = st.integers(0, 1000)
positions = st.tuples(shares, *[st.integers(-1, 1000)] * 4, st.integers(-500, 3000)).map(list)
lives = st.sampled_from([180, 180, 180, 1, 5, 60, 600, 3600])
head = st.tuples(
    st.just(1), st.sampled_from([100] * 9 + [99]), st.integers(0, 4),
    st.sampled_from([7] * 9 + [6]), st.integers(0, 20), lives,
    st.sampled_from([3, 3, 3, 3, 2, 1]),
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
    taken, asked = in_c.beat(0, payload)
    if taken:
        beat = messages.decode(payload, Beat, topics.LEAVES["beat"].largest)
        assert asked == (beat.birth == 1)


@SETTINGS
@given(real_beats)
def test_c_takes_every_beat_that_the_bridge_sends(in_c, beat):
    in_c.start(7, LIMITS)
    assert in_c.beat(0, encode(beat)) == (True, beat.birth == 1)
    assert in_c.beat(0, encode(beat)) == (False, False)


waits = st.sampled_from([
    0, 0, 1, 8, 8, 40, 40, 60, 79, 80, 80, 81, 82, 100, 120, 160, 400, 479, 480, 481, 1440, 1441,
]) | st.sampled_from([0, 1, 8, 16, 24, 40, 40, 79, 80, 81, 82, 90, 100, 4801, 2**24])  # fmt: skip
"""Time until the next thing happens, in steps of 125 ms that both number systems hold exactly."""
SELDOM = st.sampled_from([False] * 9 + [True])
KINDS = ["advice"] * 10 + ["near"] * 8 + ["reading"] * 6 + ["beat"] * 6 + ["confirm"] * 3
KINDS += ["raw", "remote", "remote", "interlock", "interlock"]
steps = st.sampled_from([0, 0, 0, 0, 1, -1, 50, -50, NEAR, -NEAR, NEAR + 1, -NEAR - 1])
small_steps = st.sampled_from([0, 0, 0, 1, -1, 50, -50, NEAR, -NEAR])


def moved(position, step):
    """A position somewhat further, or left alone for once where it was not, or the other way."""
    if position < 0:
        return position if step <= NEAR else 0
    return -1 if step < -NEAR and position < NEAR else min(max(position + step, 0), 1000)


@st.composite
def nearby(draw):
    """What to make of the advice before: mode, life, another action, a step for each position."""
    action = draw(st.sampled_from([None] * 9 + [9]))
    move = draw(st.tuples(*[draw(st.sampled_from([steps, small_steps, small_steps]))] * 5))
    return draw(st.sampled_from([2] * 8 + [1, 3])), draw(lives), action, move


def near_to(before, change):
    """A row from its mode on, near to another."""
    mode, life, action, move = change
    fan, *others = map(moved, before[9:14], move)
    return [life, mode, action or before[7], 0, max(fan, 0), *others, 669]


@st.composite
def things(draw):
    """What happens next: kind, detail, and whether a broker had kept it."""
    what = draw(st.sampled_from(KINDS))
    if what == "advice":
        return what, draw(ceases if draw(SELDOM) else follows), draw(SELDOM)
    if what == "near":
        return what, draw(nearby()), draw(SELDOM)
    if what == "beat":
        return what, draw(st.sampled_from([1, 1, 1, 1, 0, -1, 3])), draw(SELDOM)
    if what == "raw":
        return what, draw(rows_of_anything), draw(SELDOM)
    if what in ("remote", "interlock"):
        return what, (what == "remote") != draw(SELDOM | st.just(False)), False
    return what, None, False


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
            assert first == second, (name, arguments)
            return first

        return ask


@SETTINGS
@given(
    st.sampled_from([0, 2**32 - 4_000_000, 2**32 - 8_000, 2**33 - 125_000]),
    st.sampled_from([0, 1, 2**32 - 5]),
    st.just(LIMITS) | own_limits,
    st.lists(st.tuples(waits, things()), min_size=10, max_size=40),
)
def test_c_and_python_give_the_same_answers(in_c, at, seq, limits, story):
    both = Both(in_c)
    both.start(7, limits)
    beat, own, last = 10, 10, [*GOOD[:6], 2, *GOOD[7:]]
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
            own = max(own + (1, 1, 1, 0, -1)[detail[2]], 0)
            older = 0 if detail[4] < 16 else detail[4] - 17
            numbers = [1, detail[1], own, detail[3], (seq - older) % 2**32, *detail[5:]]
            both.advice(at, row(numbers), flag)
            last = numbers if len(numbers) == len(GOOD) else last
        elif what == "near":
            own += 1
            both.advice(at, row([1, 100, own, 7, seq, *near_to(last, detail)]), flag)
        elif what == "raw":
            both.advice(at, detail, flag)
        elif what == "confirm":
            both.confirm(at)
        else:
            getattr(both, what)(at, flag if detail is None else detail)
        both.stands(at)


renewals = st.tuples(
    st.sampled_from([4800] * 9 + [4000] * 6 + [8, 79, 80, 480, 2400, 4801]),
    st.sampled_from(["again"] * 30 + ["near"] * 5 + ["confirm"] * 5 + ["none", "silence"]),
    nearby(),
)


@SETTINGS
@given(
    st.sampled_from([0, 2**32 - 2_000_000]),
    st.tuples(st.sampled_from([0, 40, 800, 960]), *[st.sampled_from([-1, 0, 60, 300])] * 4),
    st.tuples(shares, shares),
    st.lists(renewals, min_size=25, max_size=50),
)
def test_nothing_moves_far_from_what_was_confirmed_nor_after_an_hour(
    in_c, at, begun, limits, story
):
    """Modes 1 and 2 alone, read on schedule: what is followed has a person behind it."""
    door_most, fan_least = limits
    both = Both(in_c)
    both.start(7, {**LIMITS, "door_most": door_most, "fan_least": fan_least, "beat_timeout": 3600})
    last, shown, seen, given_at = [*GOOD[:9], *begun, 669], None, None, 0
    for number, (wait, what, (mode, _, action, move)) in enumerate(story, 1):
        at += 1000 if what == "confirm" else 125 * wait
        if what != "silence":
            both.reading(at, number)
            both.beat(at, encode(Beat(boot=100, seq=number, id=5)))
        if what == "none":
            both.advice(at, row([1, 100, number, 7, number, 600, 2, 0, 7]))
            shown = None
        elif what in ("again", "near"):
            how = (2, 600, None, (0,) * 5) if what == "again" else (min(mode, 2), 600, action, move)
            change = near_to(seen or last, how)
            last = [1, 100, number, 7, number, *change]
            code = both.advice(at, row(last)).code
            shown = last if code == "shown" else None
            assert shown or last[6:8] == [2, seen[7]], "followed in another mode, or another action"
        elif what == "confirm" and both.confirm(at) is not None:
            seen, given_at = shown, at
        stands = both.stands(at)
        if stands is None:
            continue
        assert at - given_at <= 1000 * CONSENT
        for place, (now, then) in enumerate(zip(stands, seen[9:14], strict=True)):
            least = fan_least if place == 0 else 0
            most = door_most if place == 1 else 1000
            assert (now == -1) == (then == -1)
            assert not (then == 0 and now > 0), "started without a person"
            assert min(then - NEAR, most) <= now <= min(max(then + NEAR, least), most)
