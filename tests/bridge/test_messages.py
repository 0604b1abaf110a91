"""The messages: strict, small, and the same in the code and in the published contract."""

from __future__ import annotations

import json

import jsonschema
import pytest
from hypothesis import given
from hypothesis import strategies as st
from jsonschema import Draft202012Validator

from firmware_bridge import codes, config
from firmware_bridge.errors import BadMessage
from firmware_bridge.wire import contract, messages, topics
from firmware_bridge.wire.messages import AdviceMessage, AdviceRow, ReadingMessage

U32 = 2**32 - 1
MOST = 99_999_999


def advice(**changes):
    values = {
        "id": (29_000_000, 7),
        "rests_on": (3, 4),
        "ttl": 180,
        "mode": 3,
        "why": "outside",
        "fan": 1.0,
        "door": 0.217,
        "water": 0.078,
        "air": 6.69,
    }
    return AdviceMessage(**{**values, **changes})


# --- the published contract --------------------------------------------------------------


@pytest.mark.parametrize("name", sorted(contract.documents()))
def test_published_files_are_those_of_the_code(name):
    text = (contract.FOLDER / name).read_text(encoding="utf-8")
    assert text == contract.documents()[name], "run python -m firmware_bridge.wire.contract"


def test_no_stray_file_in_the_contract():
    assert {path.name for path in contract.FOLDER.iterdir()} == set(contract.documents())


@pytest.mark.parametrize("name", sorted(contract.MESSAGES))
def test_schema_is_sound_2020_12(name):
    Draft202012Validator.check_schema(contract.schema(name))


def test_asyncapi_references_lead_somewhere():
    document = json.loads((contract.FOLDER / "asyncapi.json").read_text(encoding="utf-8"))
    assert document["asyncapi"].startswith("3.")
    found = []

    def walk(node):
        if isinstance(node, dict):
            if "$ref" in node:
                found.append(node["$ref"])
            for value in node.values():
                walk(value)
        elif isinstance(node, list):
            for value in node:
                walk(value)

    walk(document)
    for reference in found:
        if reference.startswith("#/"):
            node = document
            for part in reference[2:].split("/"):
                node = node[part]
        else:
            assert (contract.FOLDER / reference).is_file()
    assert len(found) > 20


def test_what_can_move_things_is_never_retained_nor_queued():
    document = contract.asyncapi()
    for name in ("advice", "beat"):
        binding = document["operations"][name]["bindings"]["mqtt"]
        assert (binding["qos"], binding["retain"]) == (0, False)


# --- one corpus through the code and through the schema ----------------------------------

GOOD = [
    ("state", b'{"boot":1,"on":1}'),
    ("birth", b'{"v":1,"boot":7,"channels":[{"key":"a","kind":"co2","unit":"[ppm]"}]}'),
    ("birth", b'{"boot":7,"new_field":1,"channels":[{"key":"a","kind":"other","unit":"V","x":2}]}'),
    ("reading", b'{"boot":7,"seq":1,"up":3.5,"t":1800000000,"v":{"a":1.5,"b":null}}'),
    ("reading", b'{"boot":7,"seq":1,"i":[1,null,-3]}'),
    ("reading", b'{"boot":7,"seq":1,"v":null,"i":[1]}'),
    ("ack", b'{"boot":7,"ref":[1,2],"code":"clamped","fan":0.5}'),
    ("alarm", b'{"boot":7,"on":[]}'),
    ("alarm", b'{"boot":7,"on":[{"id":"fan_1","level":2}]}'),
    ("advice", b'{"id":[1,2],"for":[3,4],"ttl":180,"mode":1,"none":"stale"}'),
    ("advice", b'{"id":[1,2],"for":[3,4],"ttl":180,"mode":3,"why":"rest","fan":0,"door":0}'),
    ("advice_integers", b"[1,1,2,3,4,180,1,0,2]"),
    ("advice_integers", b"[1,1,2,3,4,180,3,11,0,1000,217,78,-1,-1,669]"),
    ("beat", b'{"boot":1,"seq":2,"id":9,"birth":1}'),
]
BAD = [
    ("state", b'{"boot":-1,"on":1}'),
    ("state", b'{"boot":1,"on":2}'),
    ("state", b'{"on":1}'),
    ("birth", b'{"boot":7,"channels":[]}'),
    ("birth", b'{"v":2,"boot":7,"channels":[{"key":"a","kind":"co2","unit":"[ppm]"}]}'),
    ("birth", b'{"boot":7,"channels":[{"key":"A b","kind":"co2","unit":"[ppm]"}]}'),
    ("birth", b'{"boot":7,"channels":[{"key":"a","kind":"guess","unit":"[ppm]"}]}'),
    ("birth", b'{"boot":7,"takes":["roof"],"channels":[{"key":"a","kind":"co2","unit":"1"}]}'),
    ("reading", b'{"boot":7,"seq":1}'),
    ("reading", b'{"boot":7,"seq":1,"v":{},"i":[]}'),
    ("reading", b'{"boot":true,"seq":1,"v":{}}'),
    ("reading", b'{"boot":7,"seq":"1","v":{}}'),
    ("reading", b'{"boot":7,"seq":1,"v":{"a":"7.1"}}'),
    ("reading", b'{"boot":7,"seq":1,"v":{"a":true}}'),
    ("reading", b'{"boot":7,"seq":1,"v":{"a":[1]}}'),
    ("reading", b'{"boot":7,"seq":1,"i":[1.5]}'),
    ("reading", b'{"boot":7,"seq":1,"i":[99999999999]}'),
    ("ack", b'{"boot":7,"ref":[1],"code":"shown"}'),
    ("ack", b'{"boot":7,"ref":[1,2],"code":"perhaps"}'),
    ("advice", b'{"id":[1,2],"for":[3,4],"ttl":180,"mode":3,"why":"rest"}'),
    ("advice", b'{"id":[1,2],"for":[3,4],"ttl":180,"mode":3,"none":"stale","fan":0.5}'),
    ("advice", b'{"id":[1,2],"for":[3,4],"ttl":180,"mode":3,"none":"stale","why":"rest","fan":1}'),
    ("advice", b'{"id":[1,2],"for":[3,4],"ttl":0,"mode":3,"why":"rest","fan":0}'),
    ("advice", b'{"id":[1,2],"for":[3,4],"ttl":180,"mode":3,"why":"rest","fan":1.01}'),
    ("advice", b'{"id":[1,2],"for":[3,4],"ttl":180,"mode":0,"why":"rest","fan":1}'),
    ("advice", b'{"id":[1,2],"for":[3,4],"ttl":180,"mode":3,"why":"rest","fan":1,"force":1}'),
    ("advice", b'{"v":2,"id":[1,2],"for":[3,4],"ttl":180,"mode":3,"why":"rest","fan":1}'),
    ("advice_integers", b"[1,1,2,3,4,180,1,0,0]"),
    ("advice_integers", b"[1,1,2,3,4,180,1,0,2,500,0,0,0,0,0]"),
    ("advice_integers", b"[1,1,2,3,4,180,3,11,0,1000,217]"),
    ("advice_integers", b"[1,1,2,3,4,180,3,11,5,1000,217,78,-1,-1,669]"),
    ("advice_integers", b"[1,1,2,3,4,180,3,11,0,-1,217,78,-1,-1,669]"),
    ("advice_integers", b"[2,1,2,3,4,180,3,11,0,1000,217,78,-1,-1,669]"),
    ("advice_integers", b"[1,1,2,3,4,180,3,11,0,1001,217,78,-1,-1,669]"),
    ("advice_integers", b"[1,1,2,3,4,180,3,11,0,1000,217,78,-1,-1,669,0]"),
    ("beat", b'{"boot":1,"seq":2}'),
]
ONLY_THE_CODE_REFUSES = [
    ("reading", b'{"boot":7.0,"seq":1,"v":{}}', "JSON Schema counts 7.0 as an integer"),
    ("reading", b'{"boot":7,"seq":1,"v":{"a":NaN}}', "not JSON; many readers take it"),
    ("reading", b'{"boot":7,"seq":1,"v":{"a":1e999}}', "infinite for most readers"),
    (
        "birth",
        b'{"boot":7,"channels":[{"key":"a","kind":"co2","unit":"1"},'
        b'{"key":"a","kind":"other","unit":"V"}]}',
        "JSON Schema cannot say that keys differ",
    ),
]


@pytest.mark.parametrize(("name", "payload"), GOOD)
def test_good_messages_pass_both(name, payload):
    messages.decode(payload, contract.MESSAGES[name])
    jsonschema.validate(json.loads(payload), contract.schema(name), cls=Draft202012Validator)


@pytest.mark.parametrize(("name", "payload"), BAD)
def test_bad_messages_fail_both(name, payload):
    with pytest.raises(BadMessage):
        messages.decode(payload, contract.MESSAGES[name])
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(json.loads(payload), contract.schema(name), cls=Draft202012Validator)


@pytest.mark.parametrize(("name", "payload", "why"), ONLY_THE_CODE_REFUSES)
def test_known_differences_between_code_and_schema(name, payload, why):
    with pytest.raises(BadMessage):
        messages.decode(payload, contract.MESSAGES[name])


HOSTILE = {
    "deep nesting": b"[" * 60000,
    "deep object": b'{"v":' * 12000,
    "many digits": b'{"boot":' + b"9" * 5000 + b"}",
    "byte order mark": b'\xef\xbb\xbf{"boot":1,"on":1}',
    "utf-16": '{"boot":1,"on":1}'.encode("utf-16"),
    "cut utf-8": b'{"boot":1,"seq":1,"v":{"\xc3',
    "lone surrogate": b'{"boot":1,"seq":1,"v":{"\\ud800":1}}',
    "bad utf-8": b'{"boot":1,"seq":1,"fw":"\xff","v":{}}',
    "minus infinity": b'{"boot":1,"seq":1,"v":{"a":-Infinity}}',
    "empty": b"",
    "too long": b" " * 70000,
    "null": b"null",
}


@pytest.mark.parametrize("name", HOSTILE)
@pytest.mark.parametrize("kind", list(contract.MESSAGES.values()))
def test_hostile_payloads_are_refused_in_one_line(name, kind):
    with pytest.raises(BadMessage) as caught:
        messages.decode(HOSTILE[name], kind)
    assert "\n" not in str(caught.value)
    assert len(str(caught.value)) < 200


@given(st.binary(max_size=300), st.sampled_from(list(contract.MESSAGES.values())))
def test_any_bytes_give_a_message_or_a_refusal(payload, kind):
    try:
        message = messages.decode(payload, kind)
    except BadMessage:
        return
    assert isinstance(message, kind)


json_values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=4), inner),
    max_leaves=12,
)


@given(
    st.fixed_dictionaries(
        {"boot": json_values, "seq": json_values}, optional={"v": json_values, "i": json_values}
    )
)
def test_a_reading_that_passes_holds_finite_numbers_only(content):
    try:
        reading = messages.decode(json.dumps(content).encode(), ReadingMessage)
    except BadMessage:
        return
    assert b"NaN" not in messages.encode(reading)
    assert b"Infinity" not in messages.encode(reading)


# --- size --------------------------------------------------------------------------------


def test_longest_topic_and_advice_fit_small_clients():
    root, bay = "abcdef", "x" * 12
    assert config.ROOT.fullmatch(root)
    assert config.NAME.fullmatch(bay)
    assert not config.ROOT.fullmatch(root + "g")
    assert not config.NAME.fullmatch(bay + "y")
    assert max(len(topics.bay_topic(root, bay, leaf)) for leaf in topics.LEAVES) <= 40
    assert max(len(topics.bridge_topic(root, bay, leaf)) for leaf in topics.BRIDGE_LEAVES) <= 40
    topic = topics.bay_topic(root, bay, "advice")
    share = dict.fromkeys(codes.TARGETS, 0.123)
    longest = max(codes.ACTIONS, key=len)
    worst = advice(id=(MOST, MOST), rests_on=(U32, U32), ttl=3600, why=longest, air=-4.99, **share)
    void = advice(
        id=(MOST, MOST), rests_on=(U32, U32), ttl=3600, why=None,
        none=max(codes.NONE_REASONS, key=len), fan=None, door=None, water=None, air=None,
    )  # fmt: skip
    for message in (worst, void):
        for form in ("object", "integers"):
            assert len(topic) + len(messages.encode_advice(message, form)) <= 200
    beat = messages.Beat(boot=MOST, seq=MOST, id=U32, t=4.2e9, birth=1)
    assert len(topics.bay_topic(root, bay, "beat")) + len(messages.encode(beat)) <= 200


shares = st.none() | st.integers(0, 1000).map(lambda count: count / 1000)


@given(
    shares, shares, shares, shares,
    st.integers(0, 1000).map(lambda count: count / 1000),
    st.sampled_from(codes.ACTIONS[1:]),
    st.none() | st.integers(-499, 3000).map(lambda count: count / 100),
    st.integers(0, MOST), st.integers(0, U32),
)  # fmt: skip
def test_integer_form_says_the_same(door, water, cool, heat, fan, why, air, own, other):
    message = advice(
        id=(own, 1), rests_on=(other, other), fan=fan, door=door, water=water, cool=cool,
        heat=heat, why=why, air=air,
    )  # fmt: skip
    row = messages.decode(messages.encode_advice(message, "integers"), AdviceRow)
    assert messages.advice_of_row(row) == message
    assert messages.decode(messages.encode_advice(message, "object"), AdviceMessage) == message


@pytest.mark.parametrize("reason", codes.NONE_REASONS[1:])
def test_none_has_no_positions_to_misuse(reason):
    message = advice(why=None, none=reason, fan=None, door=None, water=None, air=None)
    integers = json.loads(messages.encode_advice(message, "integers"))
    assert len(integers) == 9
    row = messages.decode(messages.encode_advice(message, "integers"), AdviceRow)
    assert messages.advice_of_row(row) == message


# --- topics ------------------------------------------------------------------------------


@pytest.mark.parametrize("leaf", topics.LEAVES)
def test_topics_round_trip(leaf):
    assert topics.split("vent", topics.bay_topic("vent", "bay-1", leaf)) == ("bay-1", leaf)


@pytest.mark.parametrize(
    "topic",
    [
        "vent/1/bay-1/to/reading",  # wrong direction
        "vent/1/bay-1/from/advice",
        "vent/2/bay-1/from/reading",  # another version
        "other/1/bay-1/from/reading",
        "vent/1/bay-1/from/reading/x",
        "vent/1/bay-1/from",
        "vent/1/" + "x" * 60000 + "/from/reading",
        "",
    ],
)
def test_foreign_topics_are_not_ours(topic):
    assert topics.split("vent", topic) is None
