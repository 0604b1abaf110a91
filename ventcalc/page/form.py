"""A bay as the fields of a form, and back: the keys, units and words are those of the bay file."""

from __future__ import annotations

import dataclasses
import re
import tomllib
import typing
from collections.abc import Iterable, Mapping
from typing import Any, NamedTuple

from ventcalc.bay.description import USES, Bay, Lot
from ventcalc.bay.file import bay_from_dict, bay_to_toml
from ventcalc.errors import BadInput
from ventcalc.units import UnitSystem, show

__all__ = [
    "Field",
    "Form",
    "Group",
    "bay_of",
    "by_field",
    "differing",
    "form_of_bay",
    "form_of_toml",
    "groups_of",
    "renumbered",
    "typed",
]

_TITLES = {
    "bay": "Bay",
    "site": "Place",
    "pile": "Pile",
    "lots": "Crop",
    "fans": "Fans",
    "ducts": "Plenum and laterals",
    "doors": "Fresh-air door",
    "humidifier": "Humidifier",
    "refrigeration": "Refrigeration",
    "heater": "Heater",
    "envelope": "Walls, ceiling and headspace",
    "schedule": "Calendar",
    "limits": "Limits",
    "control": "Control",
    "sensors": "Sensors",
    "costs": "Prices",
}
"""Tables of the bay file in the order of the form."""
_HEAD = (
    ("name", "name of the bay", ()),
    ("use", "what the crop is for", USES),
    ("notes", "notes", ()),
)
ASKED = (
    "check.height", "check.winter", "check.winter_rh", "check.warm", "check.warm_rh",
    "check.autumn", "check.autumn_rh", "size.target",
)  # fmt: skip
"""Fields of the page that are none of the bay."""
_NAME = re.compile(r"([a-z_]+)(?:\[(\d+)\])?\.([a-z_0-9]+)")
_BEGINS = re.compile(r"\[?\[?([a-z_]+(?:\[\d+\])?)\]?\]?(?:\.([a-z_0-9]+))?(?:: | = )")


class Form(NamedTuple):
    """What stands in the form."""

    texts: Mapping[str, str]
    """By key, such as ``pile.height`` or ``lots[1].mass``, as it was typed."""
    tables: frozenset[str]
    """Optional tables that the bay has."""


class Field(NamedTuple):
    """One field."""

    name: str
    label: str
    value: str
    hint: str
    """What is taken where it is empty, or how one writes it."""
    choices: tuple[str, ...]
    required: bool


class Group(NamedTuple):
    """One table of the bay file."""

    name: str
    title: str
    fields: tuple[Field, ...]
    more: tuple[Field, ...]
    """Those that may stay empty."""
    optional: bool
    present: bool


def _classes() -> dict[str, tuple[Any, bool]]:
    """Class of each table, and whether a bay may lack it."""
    hints = typing.get_type_hints(Bay)
    found: dict[str, tuple[Any, bool]] = {"lots": (Lot, False)}
    for name, kind in hints.items():
        options = typing.get_args(kind) or (kind,)
        table = next((one for one in options if dataclasses.is_dataclass(one)), None)
        if table is not None and name != "lots":
            found[name] = (table, type(None) in options)
    return found


_TABLES = _classes()


# --- into the form -----------------------------------------------------------------------


def form_of_bay(bay: Bay, units: UnitSystem) -> Form:
    """The form of a bay, every key written out in the units that are shown."""
    return _form(tomllib.loads(bay_to_toml(bay, units)))


def form_of_toml(text: str) -> Form:
    """The form of a bay file, every value as it was typed there."""
    try:
        return _form(tomllib.loads(text.replace("\r\n", "\n")))
    except (ValueError, RecursionError) as error:
        raise BadInput(
            f"{' '.join(str(error).split())}; the file is not valid TOML"
            ' (a value with a unit stands in quotes: height = "16 ft")'
        ) from None


def _form(mapping: Mapping[str, Any]) -> Form:
    texts: dict[str, str] = {}
    for table, keys in mapping.items():
        if isinstance(keys, Mapping):
            texts.update({f"{table}.{key}": _text(value) for key, value in keys.items()})
        elif table == "lots" and isinstance(keys, list):
            for k, lot in enumerate(keys, 1):
                if isinstance(lot, Mapping):
                    texts.update({f"lots[{k}].{key}": _text(v) for key, v in lot.items()})
        else:
            texts[f"{table}."] = _text(keys)
    optional = {name for name, (_, may_lack) in _TABLES.items() if may_lack}
    return Form(texts, frozenset(optional & set(mapping)))


def _text(value: Any) -> str:
    if isinstance(value, list):
        return ", ".join(map(_text, value))
    return value if isinstance(value, str) else str(value)


# --- out of the form ---------------------------------------------------------------------


def bay_of(form: Form) -> Bay:
    """The bay that the form describes."""
    mapping: dict[str, Any] = {
        name: {} for name, (_, optional) in _TABLES.items() if not optional or name in form.tables
    }
    mapping["bay"] = {}
    lots: dict[int, dict[str, Any]] = {}
    strange: list[str] = []
    for name, text in form.texts.items():
        found = _NAME.fullmatch(name)
        if found is None:
            strange.append(f"{name}: not a key of a bay")
            continue
        table, number, key = found[1], found[2], found[3]
        if table in _TABLES and _TABLES[table][1] and table not in form.tables:
            continue
        if table == "lots" and number:
            target = lots.setdefault(int(number), {})
        else:
            target = mapping.setdefault(table, {})
        if text.strip():
            target[key] = _value(table, key, text.strip())
    mapping["lots"] = [lots[k] for k in sorted(lots)]
    if strange:
        raise BadInput(strange)
    return bay_from_dict(mapping)


def _value(table: str, key: str, text: str) -> Any:
    meta = _meta(table, key)
    if meta.get("many"):
        return [part.strip() for part in text.split(",") if part.strip()]
    return text


def _meta(table: str, key: str) -> Mapping[str, Any]:
    cls = _TABLES.get(table, (None,))[0]
    fields = dataclasses.fields(cls) if cls is not None else ()
    return next((field.metadata for field in fields if field.name == key), {})


def by_field(problems: Iterable[str], form: Form) -> tuple[dict[str, str], list[str]]:
    """Problems sorted to the fields that they are about."""
    beside: dict[str, str] = {}
    above: list[str] = []
    names = {
        field.name for group in groups_of(form, "us") for field in (*group.fields, *group.more)
    }
    for line in problems:
        found = _BEGINS.match(line)
        name = f"{found[1]}.{found[2]}" if found and found[2] else ""
        if found is not None and (name in names or name in ASKED):
            words = line[found.end() :]
            beside[name] = f"{beside[name]}; {words}" if name in beside else words
        else:
            above.append(line)
    return beside, above


# --- what the form looks like ------------------------------------------------------------


def groups_of(form: Form, units: UnitSystem) -> list[Group]:
    """The groups of the form, in order, filled in."""
    groups = []
    for table, title in _TITLES.items():
        if table == "bay":
            groups.append(_head(form))
        elif table == "lots":
            for k in _lots(form):
                group = _group(form, table, f"Lot {k}", f"lots[{k}]", units)
                groups.append(group)
        else:
            groups.append(_group(form, table, title, table, units))
    return groups


def _lots(form: Form) -> list[int]:
    numbers = {
        int(found[2]) for name in form.texts if (found := _NAME.fullmatch(name)) and found[2]
    }
    return sorted(numbers) or [1]


def _head(form: Form) -> Group:
    fields = tuple(
        Field(f"bay.{key}", words, form.texts.get(f"bay.{key}", ""), "", choices, key != "notes")
        for key, words, choices in _HEAD
    )
    return Group("bay", _TITLES["bay"], fields, (), optional=False, present=True)


def _group(form: Form, table: str, title: str, prefix: str, units: UnitSystem) -> Group:
    cls, optional = _TABLES[table]
    fields: list[Field] = []
    more: list[Field] = []
    for field in dataclasses.fields(cls):
        required = field.default is dataclasses.MISSING
        name = f"{prefix}.{field.name}"
        one = Field(
            name=name,
            label=field.metadata["about"],
            value=form.texts.get(name, ""),
            hint=_hint(field, units),
            choices=tuple(field.metadata.get("choices", ())),
            required=required,
        )
        (fields if required else more).append(one)
    if not fields:
        fields, more = more, []
    present = not optional or table in form.tables
    return Group(prefix, title, tuple(fields), tuple(more), optional, present)


def _hint(field: dataclasses.Field[Any], units: UnitSystem) -> str:
    meta = field.metadata
    if field.default is dataclasses.MISSING or field.default is None:
        return f"such as {meta['like']}" + (", and more" if meta.get("many") else "")
    if isinstance(field.default, str):
        return field.default
    return f"{show(field.default, meta['shown'], units)} if left empty"


def differing(forms: list[Form]) -> list[tuple[str, list[str]]]:
    """Fields whose texts are not the same in all forms, each with its texts; a dash for none."""
    labels: dict[str, str] = {}
    for form in forms:
        labels |= {name: label for name, label, _ in _labelled(form)}
    rows = []
    for name, label in labels.items():
        table = name.partition(".")[0]
        texts = []
        for form in forms:
            lacks = table in _TABLES and _TABLES[table][1] and table not in form.tables
            texts.append("–" if lacks else form.texts.get(name, "").strip() or "–")
        if len(set(texts)) > 1:
            rows.append((label, texts))
    return rows


def typed(form: Form) -> list[tuple[str, str]]:
    """Label and text of every field that is not empty, for paper."""
    return [(label, text) for _, label, text in _labelled(form) if text.strip()]


def _labelled(form: Form) -> list[tuple[str, str, str]]:
    """Name, label and text of every field of what the bay has."""
    return [
        (field.name, f"{group.title}: {field.label}", field.value)
        for group in groups_of(form, "us")
        if group.present
        for field in (*group.fields, *group.more)
    ]


def renumbered(form: Form, act: str) -> Form:
    """The form with a lot more or less."""
    numbers, texts = _lots(form), dict(form.texts)
    if act == "lot":
        new = f"lots[{len(numbers) + 1}]"
        texts[f"{new}.name"] = f"Lot {len(numbers) + 1}"
        return form._replace(texts=texts)
    out = re.fullmatch(r"take lots\[(\d+)\]", act)
    kept = [k for k in numbers if out is None or k != int(out[1])]
    moved: dict[str, str] = {}
    for name, text in texts.items():
        found = _NAME.fullmatch(name)
        if found is None or not found[2]:
            moved[name] = text
        elif int(found[2]) in kept:
            moved[f"lots[{kept.index(int(found[2])) + 1}].{found[3]}"] = text
    return form._replace(texts=moved)
