"""The configuration: what is read, and that everything wrong is told at once."""

from __future__ import annotations

import pytest

from firmware_bridge.config import is_loopback, read_config
from firmware_bridge.errors import BadConfig
from firmware_bridge.quantities import QUANTITIES, to_internal
from firmware_bridge.sensors.source import history_of

GOOD = """
[bridge]
name = "barn-a"
data = "data"

[broker]
host = "127.0.0.1"

[[bays]]
name = "bay-1"
bay_file = "bay.toml"
"""

MAPPED = """
[bays.mapping]
every_s = 20
[[bays.mapping.readings]]
topic = "plc/7/pt1"
key = "pulp_1"
kind = "pulp_temperature"
unit = "[degF]"
scale = 0.1
[bays.mapping.advice]
fan = "plc/7/set/fan"
valid = "plc/7/set/valid"
beat = "plc/7/set/beat"
"""


@pytest.fixture
def write(tmp_path):
    (tmp_path / "bay.toml").write_text("", encoding="utf-8")

    def make(text):
        path = tmp_path / "bridge.toml"
        path.write_text(text, encoding="utf-8")
        return path

    return make


def problems(path, environment=None):
    with pytest.raises(BadConfig) as caught:
        read_config(path, environment)
    return caught.value.problems


def test_a_short_file_is_enough_and_harmless(write):
    config = read_config(write(GOOD))
    assert config.bays[0].mode == "observe"
    assert not config.broker.tls
    assert config.broker.port == 1883
    assert config.bridge.data.is_absolute()


def test_a_certificate_means_encryption_on_this_machine_too(write, tmp_path):
    (tmp_path / "ca.crt").write_text("")
    text = GOOD.replace('"127.0.0.1"', '"127.0.0.1"\nca_file = "ca.crt"')
    assert read_config(write(text)).broker.tls
    assert not read_config(write(text.replace("ca_file", "tls = false\nca_file"))).broker.tls


def test_another_machine_means_encryption(write):
    config = read_config(write(GOOD.replace("127.0.0.1", "192.0.2.7")))
    assert config.broker.tls
    assert config.broker.port == 8883


def test_encryption_cannot_be_switched_off_for_another_machine(write):
    text = GOOD.replace('"127.0.0.1"', '"192.0.2.7"\ntls = false')
    assert any("in the clear" in line for line in problems(write(text)))


@pytest.mark.parametrize(
    ("host", "here"),
    [("localhost", True), ("127.0.0.5", True), ("::1", True), ("192.0.2.1", False), ("b", False)],
)
def test_loopback(host, here):
    assert is_loopback(host) is here


def test_every_problem_is_told_at_once(write):
    text = """
surprise = 1
[bridge]
name = "Barn A"
low_disk_mb = "much"
[broker]
hots = "x"
keepalive_s = 900
protocol = "4"
username = "u"
password_env = "NOT_THERE"
[[bays]]
name = "bay-1"
bay_file = "nowhere.toml"
mode = "bounded"
ttl_s = 1.5
[bays.limits]
plenum_floor_c = 34
[[bays]]
name = "bay-2"
bay_file = "bay.toml"
lost_after_s = 10
"""
    lines = problems(write(text), {})
    wanted = [
        "surprise",
        "bridge.name",
        "bridge.data is missing",
        "bridge.low_disk_mb",
        "did you mean host",
        "keepalive_s",
        "protocol",
        "nowhere.toml",
        "ttl_s",
        "plenum_floor_c is 34",
        "lost_after_s",
    ]
    for piece in wanted:
        assert any(piece in line for line in lines), (piece, lines)
    assert all(line.startswith("bridge.toml: ") and "\n" not in line for line in lines)


def test_raising_the_mode_needs_a_name(write):
    text = GOOD + 'mode = "bounded"\n'
    assert any("set_by" in line for line in problems(write(text)))
    config = read_config(write(text + 'set_by = "night shift"\n'))
    assert config.bays[0].set_by == "night shift"


def test_a_name_that_stands_twice_is_refused(write):
    text = GOOD + '[[bays]]\nname = "bay-1"\nbay_file = "bay.toml"\n'
    assert any("twice" in line for line in problems(write(text)))


def test_password_file_must_be_private(write, tmp_path):
    secret = tmp_path / "password"
    secret.write_text("much-hidden\n", encoding="utf-8")
    text = GOOD.replace("[[bays]]", 'username = "u"\npassword_file = "password"\n[[bays]]')
    secret.chmod(0o644)
    assert any("chmod 600" in line for line in problems(write(text)))
    secret.chmod(0o600)
    config = read_config(write(text))
    assert config.broker.password == "much-hidden"
    assert "much-hidden" not in repr(config)


def test_password_from_the_environment(write):
    text = GOOD.replace("[[bays]]", 'username = "u"\npassword_env = "PW"\n[[bays]]')
    assert read_config(write(text), {"PW": "x1"}).broker.password == "x1"
    assert any("PW is not in the environment" in line for line in problems(write(text), {}))


def test_client_certificate_and_key_go_together(write, tmp_path):
    (tmp_path / "c.pem").write_text("", encoding="utf-8")
    text = GOOD.replace("[[bays]]", 'cert_file = "c.pem"\n[[bays]]')
    assert any("go together" in line for line in problems(write(text)))


def test_plain_topics(write):
    bay = read_config(write(GOOD + MAPPED)).bays[0]
    assert bay.mapping.every_s == 20
    assert bay.mapping.readings[0].key == "pulp_1"
    assert bay.mapping.advice.fan == "plc/7/set/fan"


@pytest.mark.parametrize(
    ("old", "new", "piece"),
    [
        ("[degF]", "bar", "does not fit"),
        ("plc/7/set/fan", "plc/7/set/valid", "stands twice"),
        ("plc/7/set/fan", 'plc/7/x"\nconfirm = "plc/7/set/beat', "stands twice"),
        ('fan = "plc/7/set/fan"', 'object = "plc/7/o"\nfan = "n"\ndoor = "n"', "one name"),
        ("plc/7/set/fan", "plc/7/pt1", "both read and written"),
        ("plc/7/set/fan", "plc/+/fan", "without + # $"),
        ("plc/7/set/fan", "vent/1/bay-1/from/ack", "own tree"),
        ("every_s = 20", "every_s = 0", "every_s"),
        ("every_s = 20", "every_s = 200", "every reading would be too old"),
        ("every_s = 20", "alive_within_s = 20", "alive_within_s needs alive"),
        ("scale = 0.1", "retained = true", "retained needs time"),
        ("scale = 0.1", 'time = "t"', "time needs path"),
        (
            "[bays.mapping.advice]",
            '[[bays.mapping.readings]]\ntopic = "plc/7/pt1"\nkey = "pulp_2"\n'
            'kind = "pulp_temperature"\nunit = "Cel"\n[bays.mapping.advice]',
            "plc/7/pt1 is read as pulp_temperature 2 times",
        ),
        ("scale = 0.1", "max_age_s = 900", "pulp_1.max_age_s is longer"),
        ("every_s = 20", "every = 20", "unknown key"),
        ('valid = "plc/7/set/valid"', "", "valid is missing"),
    ],
)
def test_plain_topics_refused(write, old, new, piece):
    lines = problems(write((GOOD + MAPPED).replace(old, new)))
    assert any(piece in line for line in lines), lines


def test_a_mode_that_its_topics_cannot_carry_is_refused(write):
    text = (GOOD + MAPPED).replace(
        "[bays.mapping]", 'mode = "confirm"\nset_by = "x"\n[bays.mapping]'
    )
    assert any("text, offer, confirm missing" in line for line in problems(write(text)))
    text = text.replace("confirm", "bounded").replace('fan = "plc/7/set/fan"', "")
    assert any("fan is missing" in line for line in problems(write(text)))


@pytest.mark.parametrize("text", ["", "bays = 3", "[broker]\nhost = [", "[[bays]]", "bays = [3]"])
def test_damaged_files_give_problems_not_a_crash(write, text):
    assert problems(write(text))


def test_a_missing_file_is_said(tmp_path):
    assert "cannot be read" in problems(tmp_path / "none.toml")[0]


def test_units_turn_into_internal_ones():
    """Fixed points: 32 degF is 0 °C, 212 degF is 100 °C, 273.15 K is 0 °C (SI Brochure, 2019)."""
    for unit, points in {"[degF]": ((32, 0), (212, 100)), "K": ((273.15, 0),)}.items():
        factor, offset = to_internal("pulp_temperature", unit)
        for given, wanted in points:
            assert factor * given + offset == pytest.approx(wanted, abs=1e-9)
    assert to_internal("co2", "[ppm]") == (1e-6, 0.0)
    assert to_internal("co2", "Cel") is None
    assert to_internal("other", "anything") == (1.0, 0.0)


@pytest.mark.parametrize("kind", QUANTITIES)
def test_packing_spans_the_believed_range(kind):
    limits = history_of(kind).limits
    if kind != "other":
        assert max(abs(limits.low), limits.high) / QUANTITIES[kind].packing < 32767
