"""The check before fill: one height, and a sweep of 200."""

from __future__ import annotations

from ventcalc.bay.file import example_bay
from ventcalc.check.check import check_pile, sweep_heights
from ventcalc.commands.words import as_json
from ventcalc.report.check_data import check_data
from ventcalc.report.check_page import check_page
from ventcalc.report.check_text import check_text, table_heights


def test_check_of_one_height(benchmark):
    benchmark(check_pile, example_bay())


def test_check_of_200_heights(benchmark):
    benchmark(check_pile, example_bay(), sweep_heights())


def test_check_with_its_text(benchmark):
    benchmark(lambda: check_text(check_pile(example_bay()), "us"))


def test_sweep_as_json(benchmark):
    bay = example_bay()
    benchmark(lambda: as_json(check_data(check_pile(bay), check_pile(bay, sweep_heights()))))


def test_page(benchmark):
    bay = example_bay()
    rounds = check_pile(bay, table_heights("metric"))
    benchmark.pedantic(check_page, args=(check_pile(bay), rounds), rounds=3)
