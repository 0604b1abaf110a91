"""Sizing: the whole question for an example bay, and its parts."""

from __future__ import annotations

from ventcalc.bay.file import example_bay
from ventcalc.sizing.air import design_air
from ventcalc.sizing.size import size_bay
from ventcalc.sizing.weather import design_states
from ventcalc.weather import example_weather

TARGET = 0.0104


def test_size_of_the_example_bay(benchmark):
    """The goal is 10 s for the command, reading weather and loading refrigerants included."""
    bay, weather = example_bay(), example_weather()
    benchmark(size_bay, bay, airflow_per_tonne=TARGET, weather=weather)


def test_design_states_of_a_year(benchmark):
    benchmark(design_states, example_bay(), example_weather())


def test_air_system(benchmark):
    benchmark(design_air, example_bay(), airflow_per_tonne=TARGET, pressure=84e3)
