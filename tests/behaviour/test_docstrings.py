"""Every public docstring says what goes in, what comes out, in which unit, and what is refused."""

from __future__ import annotations

import ast
import dataclasses
import importlib
import inspect
import pkgutil
import re
import textwrap
from collections.abc import Callable, Iterator
from functools import cache
from typing import Any

import pytest
from numpydoc.docscrape import NumpyDocString

import ventcalc

UNIT = re.compile(r"\[[^\[\]]+\]")
NUMBER = re.compile(r"\b(float|array|array-like|ndarray|Array)\b")
NO_NUMBER = re.compile(r"\b(bool|str|int|datetime64)\b")
NO_UNIT = re.compile(r"\b(code|whether)\b|^``", re.IGNORECASE)
SENTENCE_IS_ENOUGH = ("ventcalc.commands", "ventcalc.report")
"""Rooms that write and do not reckon."""
BARE_SUMS = ("ventcalc.air.kernel", "ventcalc.air.solve", "ventcalc.air.numbers")
"""Their heads say what t, w and p are; the public functions stand in ``air.moist``."""
REFUSALS = {"check_range": "OutOfRange", "OutOfRange": "OutOfRange", "BadInput": "BadInput"}


def public_places() -> Iterator[tuple[str, str]]:
    """Module and name of everything that a user reaches through ``ventcalc`` and its packages."""
    for name in ventcalc.__all__:
        thing = getattr(ventcalc, name)
        if inspect.ismodule(thing):
            yield from ((thing.__name__, inner) for inner in thing.__all__)
        else:
            yield thing.__module__, name
    for found in pkgutil.iter_modules(ventcalc.__path__, "ventcalc."):
        if found.ispkg:
            names = getattr(importlib.import_module(found.name), "__all__", ())
            yield from ((found.name, name) for name in names)


def inner_places() -> Iterator[tuple[str, str]]:
    """Module and name of everything in any ``__all__``."""
    for found in pkgutil.walk_packages(ventcalc.__path__, "ventcalc."):
        names = getattr(importlib.import_module(found.name), "__all__", ())
        yield from ((found.name, name) for name in names)


@cache
def members(kind: Callable[[Any], bool], places: Callable[[], Iterator[tuple[str, str]]]) -> Any:
    """Functions or classes, each once, under the first module that lists it."""
    found: dict[Any, str] = {}
    for home, name in places():
        thing = getattr(importlib.import_module(home), name)
        if kind(thing):
            found.setdefault(thing, f"{home.removeprefix('ventcalc.')}.{name}")
    return list(found.items())


def names_in(entry: Any) -> list[str]:
    """``low, high : float`` stands for both."""
    return [name.strip() for name in entry.name.split(",")]


def is_number(kind: str) -> bool:
    return bool(NUMBER.search(kind)) and not NO_NUMBER.search(kind)


def without_unit(entries: list[Any]) -> list[str]:
    return [
        f"{entry.name or entry.type}: a number without [unit]"
        for entry in entries
        # numpydoc puts the type of a nameless return where the name would stand
        if is_number(entry.type or entry.name) and not UNIT.search(" ".join(entry.desc))
    ]


def out_of_step(entries: list[Any], taken: list[str]) -> list[str]:
    """Differences from the signature; names told together may stand apart there."""
    told = [name for entry in entries for name in names_in(entry)]
    if sorted(told) != sorted(taken):
        return [f"Parameters tells {told}, the signature takes {taken}"]
    order = [taken.index(names_in(entry)[0]) for entry in entries]
    return [] if order == sorted(order) else ["Parameters is not in the order of the signature"]


def refused_in(function: Any) -> set[str]:
    """Errors raised (and not caught) in the body or the private functions that it calls."""
    module = inspect.getmodule(function)
    raised: set[str] = set()
    seen: set[str] = set()
    waiting = [function]
    while waiting:
        tree = ast.parse(textwrap.dedent(inspect.getsource(waiting.pop())))
        caught = {
            id(inner)
            for node in ast.walk(tree)
            if isinstance(node, ast.Try)
            for statement in node.body
            for inner in ast.walk(statement)
        }
        for call in (node for node in ast.walk(tree) if isinstance(node, ast.Call)):
            if id(call) in caught:
                continue
            name = call.func.id if isinstance(call.func, ast.Name) else ""
            if name in REFUSALS:
                raised.add(REFUSALS[name])
            helper = getattr(module, name, None) if name.startswith("_") else None
            if inspect.isfunction(helper) and name not in seen:
                seen.add(name)
                waiting.append(helper)
    return raised


def faults_of_function(function: Any) -> list[str]:
    signature = inspect.signature(function)
    if not function.__doc__:
        return ["no docstring"]
    if function.__module__.startswith(SENTENCE_IS_ENOUGH):
        return []
    text = NumpyDocString(inspect.cleandoc(function.__doc__))
    faults = []
    if not " ".join(text["Summary"]).strip():
        faults.append("no summary line")
    taken = [
        {p.VAR_POSITIONAL: "*", p.VAR_KEYWORD: "**"}.get(p.kind, "") + p.name
        for p in signature.parameters.values()
    ]
    faults += out_of_step(text["Parameters"], taken)
    gives = signature.return_annotation not in (None, "None", inspect.Signature.empty)
    if gives and not (text["Returns"] or text["Yields"]):
        faults.append("no Returns")
    faults += without_unit(text["Parameters"]) + without_unit(text["Returns"])
    for error in refused_in(function) - {entry.type for entry in text["Raises"]}:
        faults.append(f"raises {error}, and Raises does not say so")
    return faults


def field_words(thing: type) -> dict[str, str]:
    """What is written under each field, or in the class's own docstring."""
    tree = ast.parse(textwrap.dedent(inspect.getsource(thing))).body[0]
    assert isinstance(tree, ast.ClassDef)
    words: dict[str, str] = {}
    text = NumpyDocString(inspect.cleandoc(thing.__doc__ or ""))
    for section in ("Parameters", "Attributes"):
        for entry in text[section]:
            words.update(dict.fromkeys(names_in(entry), " ".join(entry.desc)))
    for field, after in zip(tree.body, [*tree.body[1:], None], strict=True):
        told = isinstance(after, ast.Expr) and isinstance(after.value, ast.Constant)
        if told and isinstance(field, ast.AnnAssign) and isinstance(field.target, ast.Name):
            words[field.target.id] = str(after.value.value)
    return words


def faults_of_class(thing: Any) -> list[str]:
    doc = vars(thing).get("__doc__") or ""
    if not doc or doc.startswith(f"{thing.__name__}("):  # dataclass makes one of its signature
        return ["no docstring"]
    if thing.__module__.startswith(SENTENCE_IS_ENOUGH):
        return []
    faults = []
    if dataclasses.is_dataclass(thing):
        words = field_words(thing)
        for field in dataclasses.fields(thing):
            if field.name.startswith("_") or "about" in field.metadata:
                continue
            told = words.get(field.name, "")
            number = is_number(str(field.type)) or field.type == "Any"
            if number and not UNIT.search(told) and not NO_UNIT.search(told):
                faults.append(f"{field.name}: says {told!r} without [unit], code or whether")
    for name, member in vars(thing).items():
        body = member.fget if isinstance(member, property) else member
        body = getattr(body, "__func__", body)
        if name.startswith("_") or not inspect.isfunction(body):
            continue
        if not body.__doc__:
            faults.append(f"{name}: no docstring")
        elif body.__annotations__.get("return") == "float" and not UNIT.search(body.__doc__):
            faults.append(f"{name}: a number without [unit]")
    return faults


def faults_of_inner(function: Any) -> list[str]:
    """One to three lines are enough inside, with the unit of what comes out."""
    if function.__module__ in BARE_SUMS:
        return []
    if not function.__doc__:
        return ["no docstring"]
    number = inspect.signature(function).return_annotation == "float"
    return ["a number without [unit]"] if number and not UNIT.search(function.__doc__) else []


@pytest.mark.parametrize(
    ("kind", "places", "faults_of"),
    [
        (inspect.isfunction, public_places, faults_of_function),
        (inspect.isfunction, inner_places, faults_of_inner),
        (inspect.isclass, inner_places, faults_of_class),
    ],
    ids=["public functions", "inner functions", "classes"],
)
def test_all_is_told(
    kind: Callable[[Any], bool],
    places: Callable[[], Iterator[tuple[str, str]]],
    faults_of: Callable[[Any], list[str]],
) -> None:
    found = members(kind, places)
    assert len(found) > 100
    faults = [f"{name}: {fault}" for thing, name in found for fault in faults_of(thing)]
    assert not faults, "\n".join(faults)


def test_faults_are_found() -> None:
    """The checker itself: each fault below is told, and the sound one passes."""

    def sound(height: float) -> float:
        """
        Half of it.

        Parameters
        ----------
        height : float
            Of the pile. [m]

        Returns
        -------
        float
            Half. [m]
        """
        return height / 2.0

    def faulty(height: float, width: float) -> float:
        """
        Half of it.

        Parameters
        ----------
        height : float
            Of the pile.
        """
        return height / width

    assert faults_of_function(sound) == []
    assert len(faults_of_function(faulty)) == 3
