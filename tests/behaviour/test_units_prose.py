"""Quantities inside sentences, in the units of the reader."""

from __future__ import annotations

import pytest

from ventcalc.units import reworded


@pytest.mark.parametrize(
    ("metric", "us"),
    [
        ("0.6-0.8 K works well", "1.1-1.4 °F works well"),
        ("air of 1.2 kg/m3", "air of 0.075 lb/ft³"),
        ("at 2.5 and 5 m, not 3 months", "at 8.2 and 16 ft, not 3 months"),
        ("43 W/t fresh", "130 Btu/(h ton) fresh"),
        ('--winter "-11.7 degC"', '--winter "10.9 degF"'),
        ("in 7 months at 4 °C", "in 7 months at 39 °F"),
        ("m3, R717 and 20 h of 24 a day", "m3, R717 and 20 h of 24 a day"),
    ],
)
def test_metric_sentences_for_us_readers(metric, us):
    assert reworded(metric, "us") == us
    assert reworded(us, "us") == us


@pytest.mark.parametrize(
    ("us", "metric"),
    [
        ("10-30 cfm/ton while healing", "19-56 m³/(h t) while healing"),
        ("40-43 lb/ft3: Olsen", "640-690 kg/m³: Olsen"),
        ("1000-1400 ft/min", "5.1-7.1 m/s"),
    ],
)
def test_us_sentences_for_metric_readers(us, metric):
    assert reworded(us, "metric") == metric


def test_where_both_stand_the_readers_own_is_left():
    text = "250-310 Pa (1.0-1.25 inH2O, from memory), above 18 °C (64 °F) (Bethke)"
    assert reworded(text, "us") == "1.0-1.25 inH2O (from memory), above 64 °F (Bethke)"
    assert reworded(text, "metric") == "250-310 Pa (from memory), above 18 °C (Bethke)"
