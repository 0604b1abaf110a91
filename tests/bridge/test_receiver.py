"""The receiving rules of a controller: token, age, limits, dead-man."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firmware_bridge.wire.messages import AdviceMessage, Beat, encode, encode_advice
from firmware_bridge.wire.receiver import CONSENT, LocalLimits, Receiver


def advice(seq=1, boot=100, token=(7, 1), **changes):
    values = {"ttl": 180, "mode": 3, "why": "outside", "fan": 0.8, "door": 0.3}
    if "none" in changes:
        values = {"ttl": 180, "mode": 3}
    return AdviceMessage(id=(boot, seq), rests_on=token, **{**values, **changes})


def beat(receiver, now, seq=1, boot=100):
    return receiver.take_beat(encode(Beat(boot=boot, seq=seq, id=5)), False, now)


@pytest.fixture
def receiver():
    one = Receiver(boot=7)
    one.note_reading(1, 0.0)
    beat(one, 0.0)
    return one


def take(receiver, message, now=1.0, retained=False, form="object"):
    return receiver.take(encode_advice(message, form), retained, now).code


@pytest.mark.parametrize("form", ["object", "integers"])
def test_fresh_advice_is_taken(receiver, form):
    assert take(receiver, advice(), form=form) == "accepted"
    assert receiver.standing(2.0).fan == 0.8


@pytest.mark.parametrize(
    ("message", "now", "code"),
    [
        (advice(token=(6, 1)), 1.0, "boot"),
        (advice(token=(7, 2)), 1.0, "stale"),  # a reading that was never taken
        (advice(), 181.0, "stale"),
        (advice(ttl=3600), 601.0, "stale"),  # its own longest life
        (advice(none="stale"), 1.0, "none"),
        (advice(mode=1), 1.0, "shown"),
        (advice(mode=2), 1.0, "shown"),
    ],
)
def test_what_does_not_move_anything(receiver, message, now, code):
    beat(receiver, now, seq=2)
    assert take(receiver, message, now) == code
    assert receiver.standing(now) is None


def test_what_was_kept_by_a_broker_is_refused(receiver):
    assert take(receiver, advice(), retained=True) == "retained"
    assert receiver.standing(1.0) is None


def test_a_copy_and_an_older_one_are_refused(receiver):
    assert take(receiver, advice(seq=5)) == "accepted"
    assert take(receiver, advice(seq=5), 20.0) == "replay"
    assert take(receiver, advice(seq=4), 20.0) == "replay"
    assert take(receiver, advice(seq=6, boot=99), 20.0) == "replay"
    assert take(receiver, advice(seq=1, boot=101), 20.0) == "accepted"


def test_a_recorded_session_played_again_moves_nothing():
    """Every message of a session once more, to the same controller and after its reboot."""
    one = Receiver(boot=7)
    session = []
    for n in range(1, 40):
        one.note_reading(n, 60.0 * n)
        beat(one, 60.0 * n, seq=n)
        message = advice(seq=n, token=(7, n), door=0.01 * n)
        session.append(message)
        assert take(one, message, 60.0 * n + 1) == "accepted"
    assert {take(one, message, 2400.0) for message in session} == {"replay"}
    rebooted = Receiver(boot=8)
    rebooted.note_reading(1, 0.0)
    assert {take(rebooted, message, 1.0) for message in session} == {"boot"}
    assert rebooted.standing(1.0) is None


def test_none_ends_what_stood(receiver):
    take(receiver, advice())
    assert take(receiver, advice(seq=2, none="stuck")) == "none"
    assert receiver.standing(2.0) is None


def test_advice_ends_by_the_controllers_own_clock(receiver):
    take(receiver, advice())
    for n in range(2, 18):
        beat(receiver, 10.0 * n, seq=n)
    assert receiver.standing(179.0) is not None
    beat(receiver, 180.5, seq=18)
    assert receiver.standing(181.0) is None
    assert receiver.standing(100.0) is None  # what has ended does not come back


def test_dead_man(receiver):
    take(receiver, advice())
    assert receiver.standing(60.0) is not None
    assert receiver.standing(61.0) is None


def test_a_late_beat_does_not_revive_what_silence_has_ended(receiver):
    """Nobody asked in between: the beat itself must end it first."""
    long = advice(ttl=600)
    assert take(receiver, long) == "accepted"
    silence = receiver.limits.beat_timeout + 1.0
    beat(receiver, silence, seq=2)
    assert receiver.standing(silence) is None


def test_an_old_beat_does_not_keep_it_alive(receiver):
    take(receiver, advice())
    assert not beat(receiver, 50.0, seq=1)
    assert not receiver.take_beat(encode(Beat(boot=100, seq=9, id=5)), True, 50.0)
    assert receiver.standing(61.0) is None


def test_local_switch_and_interlock_win(receiver):
    take(receiver, advice())
    receiver.remote = False
    assert receiver.standing(2.0) is None
    assert take(receiver, advice(seq=2)) == "local"
    receiver.remote, receiver.interlock = True, True
    assert take(receiver, advice(seq=3)) == "interlock"
    assert receiver.standing(3.0) is None


def test_own_limits_always_win():
    one = Receiver(boot=7, limits=LocalLimits(door_most=0.2, fan_least=0.4))
    one.note_reading(1, 0.0)
    beat(one, 0.0)
    ack = one.take(encode_advice(advice(fan=0.3, door=0.9), "object"), False, 1.0)
    assert (ack.code, ack.fan, ack.door) == ("clamped", 0.4, 0.2)
    assert one.standing(2.0).door == 0.2


def test_advice_that_comes_too_fast(receiver):
    take(receiver, advice())
    assert take(receiver, advice(seq=2, door=0.9), 5.0) == "rate"
    assert receiver.standing(6.0).door == 0.3


def test_a_person_confirms(receiver):
    assert take(receiver, advice(mode=2)) == "shown"
    ack = receiver.confirm(5.0)
    assert (ack.code, ack.ref, ack.fan) == ("accepted", (100, 1), 0.8), "a second answer"
    assert receiver.standing(6.0).fan == 0.8
    assert receiver.confirm(7.0) is None


def test_nobody_confirms_what_has_ended(receiver):
    take(receiver, advice(mode=2))
    assert not receiver.confirm(181.0)


def test_advice_in_mode_advise_cannot_be_confirmed(receiver):
    take(receiver, advice(mode=1))
    assert not receiver.confirm(5.0)


def test_a_confirmation_covers_what_comes_near_it_for_an_hour(receiver):
    """Advice every half minute in both forms; no second confirmation until the hour is over."""
    take(receiver, advice(mode=2))
    receiver.confirm(2.0)
    given, codes = 2.0, []
    for n in range(2, 130):
        now = 30.0 * n
        receiver.note_reading(n, now)
        beat(receiver, now, seq=n)
        near = advice(seq=n, token=(7, n), mode=2, fan=0.8 + 0.1 * (-1) ** n)
        codes.append(take(receiver, near, now, form=("object", "integers")[n % 2]))
        followed = receiver.standing(now)
        assert (codes[-1] == "accepted") == (followed is not None) == (now <= given + CONSENT)
    assert codes.count("accepted") == 119
    assert receiver.confirm(129 * 30.0 + 1.0).code == "accepted"


@given(st.binary(max_size=250), st.booleans())
def test_no_bytes_can_upset_a_controller(payload, retained):
    one = Receiver(boot=7)
    one.note_reading(1, 0.0)
    assert one.take(payload, retained, 1.0).code in ("schema", "retained", "boot", "stale", "none")
    one.take_beat(payload, retained, 1.0)
    assert one.standing(1.0) is None
