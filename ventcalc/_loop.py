"""One step of a bay, traced and compiled, and run for many bays and many steps in one call."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, fields, is_dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ventcalc._leaves import leaves, mapped, rebuilt
from ventcalc._machine import available, compiled
from ventcalc._traced import Flag, Moment, Number, Program, Traced

__all__ = ["Loop", "available", "traced_loop"]

Array = NDArray[np.float64]
Step = Callable[[Any, Any, Any, Any], tuple[Any, Any]]
"""
Takes what stays, what is carried from step to step, what is given to all bays in a step, and what
to each of them; gives what is carried on, and what is to be recorded.
"""

BODY = """
define i64 @run(i64 %fixed.i, i64 %carried.i, i64 %given.i, i64 %own.i, i64 %record.i,
                i64 %steps, i64 %groups) {
entry:
  %fixed = inttoptr i64 %fixed.i to ptr
  %carried = inttoptr i64 %carried.i to ptr
  %given = inttoptr i64 %given.i to ptr
  %own = inttoptr i64 %own.i to ptr
  %record = inttoptr i64 %record.i to ptr
  br label %outer
outer:
  %group = phi i64 [ 0, %entry ], [ %group.next, %outer.end ]
  %fixed.at = mul i64 %group, FIXED
  %carried.at = mul i64 %group, CARRIED
  %first = mul i64 %group, %steps
  %fixed.p = getelementptr double, ptr %fixed, i64 %fixed.at
  %carried.p = getelementptr double, ptr %carried, i64 %carried.at
  br label %body
body:
  %step = phi i64 [ 0, %outer ], [ %step.next, %end ]
  %given.at = mul i64 %step, GIVEN
  %given.p = getelementptr double, ptr %given, i64 %given.at
  %row = add i64 %first, %step
  %own.at = mul i64 %row, OWN
  %own.p = getelementptr double, ptr %own, i64 %own.at
  %record.at = mul i64 %row, RECORD
  %record.p = getelementptr double, ptr %record, i64 %record.at
LINES
  %step.next = add i64 %step, 1
  %more = icmp slt i64 %step.next, %steps
  br i1 WRONG, label %failed, label %end
end:
  br i1 %more, label %body, label %outer.end
outer.end:
  %group.next = add i64 %group, 1
  %others = icmp slt i64 %group.next, %groups
  br i1 %others, label %outer, label %done
failed:
  ret i64 1
done:
  ret i64 0
}
"""


@dataclass(frozen=True, kw_only=True)
class Column:
    """Place of a leaf among the rows."""

    first: int
    layers: int
    """0 for a single number."""
    flag: bool


def _columns(shapes: Sequence[tuple[int, bool]]) -> tuple[list[Column], int]:
    found, first = [], 0
    for layers, flag in shapes:
        found.append(Column(first=first, layers=layers, flag=flag))
        first += max(layers, 1)
    return found, first


def _shape(leaf: Any, bays: int | None) -> tuple[int, bool]:
    """Layers of a leaf, and whether it is a flag."""
    dimensions = np.ndim(leaf) - (0 if bays is None else 1)
    flag = isinstance(leaf, bool) or getattr(leaf, "dtype", None) == np.bool_
    return (np.shape(leaf)[0] if dimensions > 0 else 0), flag


@dataclass(frozen=True, kw_only=True)
class Loop:
    """A compiled step."""

    run: Callable[..., int]
    lanes: int
    bays: int | None
    fixed: Array
    fixed_columns: list[Column]
    own_columns: list[Column]
    carried_like: Any
    carried_columns: list[Column]
    record_like: Any
    record_columns: list[Column]
    record_rows: int
    asked: list[tuple[Callable[..., Any], tuple[str, ...]]]

    def with_fixed(self, fixed: Any) -> Loop:
        """The same steps with other numbers that stay."""
        return replace(
            self, fixed=_packed(leaves(fixed), self.fixed_columns, self.bays, self.lanes)
        )

    def given_rows(self, given: Sequence[Any]) -> Array:
        """What is given in each step, and what plain Python can tell of its moment."""
        rows = []
        for one in given:
            row = leaves(one)
            for find, words in self.asked:
                row += _several(find(one.time, *words))
            rows.append(row)
        return np.array(rows, dtype=float)

    def pack(self, carried: Any) -> Array:
        """What is carried, as the rows of the program."""
        return _packed(leaves(carried), self.carried_columns, self.bays, self.lanes)

    def unpack(self, rows: Array) -> Any:
        """The other way."""
        wide = _wide(rows[:, None], self.bays)
        values = [_column(wide, c)[0] for c in self.carried_columns]
        if self.bays is None:
            values = [v if v.ndim else v.item() for v in values]
        return rebuilt(self.carried_like, values)

    def own_rows(self, own: Any) -> Array:
        """What is given to each bay, with the steps as the first axis of its numbers."""
        parts, bays = leaves(own), self.bays or 1
        steps = max(len(leaf) for leaf in parts)
        rows = np.empty((-(-bays // self.lanes), steps, len(parts), self.lanes))
        for leaf, column in zip(parts, self.own_columns, strict=True):
            values = np.asarray(leaf, dtype=float).reshape(steps, -1)
            _lay(rows[:, :, column.first], values, bays)
        return rows

    def steps(
        self, carried: Array, given: Array, own: Array | None = None, workers: int = 1
    ) -> tuple[Array, Any] | None:
        """
        Run through steps on ``workers`` threads.

        Returns what is carried on, and what was recorded, with the steps as the first axis; None
        where a number left its range.
        """
        if not len(given):
            raise ValueError("at least one step is needed")
        groups, carried = len(carried), carried.copy()
        each = np.empty((groups, 0)) if own is None else own
        record = np.empty((groups, len(given), self.record_rows, self.lanes))

        def run(part: slice) -> int:
            mine = self.fixed[part], carried[part], given, each[part], record[part]
            return self.run(*mine, len(given), len(mine[0]))

        size = -(-groups // workers)
        parts = [slice(first, first + size) for first in range(0, groups, size)]
        if len(parts) == 1:
            failed = [run(parts[0])]
        else:
            with ThreadPoolExecutor(len(parts)) as pool:
                failed = list(pool.map(run, parts))
        if any(failed):
            return None
        wide = _wide(record, self.bays)
        values = [_column(wide, c) for c in self.record_columns]
        return carried, rebuilt(self.record_like, values)


def _several(found: Any) -> list[float]:
    return list(found) if isinstance(found, tuple) else [found]


def _wide(record: Array, bays: int | None) -> Array:
    groups, steps, rows, lanes = record.shape
    if bays is None:
        return record[0, :, :, 0]
    side_by_side = record.transpose(1, 2, 0, 3).reshape(steps, rows, groups * lanes)
    return side_by_side[..., :bays]


def _packed(values: Sequence[Any], columns: list[Column], bays: int | None, lanes: int) -> Array:
    rows = np.empty((-(-(bays or 1) // lanes), sum(max(c.layers, 1) for c in columns), lanes))
    for value, column in zip(values, columns, strict=True):
        many = max(column.layers, 1)
        by_layer = np.asarray(value, dtype=float).reshape(many, -1)
        _lay(rows[:, column.first : column.first + many], by_layer, bays or 1)
    return rows


def _lay(part: Array, values: Array, bays: int) -> None:
    """Lay (n, bays), or (n, 1) for all bays, into the lanes of (groups, n, lanes)."""
    groups, many, lanes = part.shape
    whole, rest = divmod(bays, lanes)
    values = np.broadcast_to(values, (many, bays))
    apart = values[:, : whole * lanes].reshape(many, whole, lanes)
    part[:whole] = apart.transpose(1, 0, 2)
    if whole < groups:
        part[whole, :, :rest] = values[:, whole * lanes :]
        part[whole, :, rest:] = values[:, -1:]  # idle lanes do as the last bay does


def _column(wide: Array, column: Column) -> Any:
    """One leaf of every step."""
    many = slice(column.first, column.first + column.layers)
    values = wide[:, many if column.layers else column.first]
    return values != 0.0 if column.flag else values


class _Rows:
    """Loads and stores of a traced program."""

    def __init__(self, program: Program) -> None:
        self.program = program

    def _place(self, base: str, row: int) -> str:
        at = row * self.program.lanes
        return self.program.emit(f"getelementptr double, ptr {base}, i64 {at}")

    def load(self, base: str, row: int, flag: bool) -> Traced:
        p = self.program
        number = p.number(f"load {{number}}, ptr {self._place(base, row)}, align 8")
        return number != 0.0 if flag else number

    def shared(self, base: str, row: int) -> Number:
        """A number that all bays share."""
        p = self.program
        place = p.emit(f"getelementptr double, ptr {base}, i64 {row}")
        if p.lanes == 1:
            return p.number(f"load double, ptr {place}, align 8")
        one = p.emit(f"load double, ptr {place}, align 8")
        first = p.emit(f"insertelement {{number}} poison, double {one}, i64 0")
        mask = f"<{p.lanes} x i32> zeroinitializer"
        return p.number(f"shufflevector {{number}} {first}, {{number}} poison, {mask}")

    def store(self, base: str, row: int, value: Any) -> None:
        p = self.program
        if isinstance(value, Flag):
            ones, zeros = p.constant(1.0), p.constant(0.0)
            words = f"{{number}} {ones}, {{number}} {zeros}"
            value = p.number(f"select {{flag}} {value.name}, {words}")
        word = p.word(value if isinstance(value, Traced) else float(value))
        p.lines.append(f"  store {{number}} {word}, ptr {self._place(base, row)}, align 8")

    def take(self, base: str, like: Any, columns: list[Column]) -> Any:
        places = iter(columns)

        def one(_: Any) -> Any:
            c = next(places)
            if not c.layers:
                return self.load(base, c.first, c.flag)
            layered = np.empty(c.layers, dtype=object)
            layered[:] = [self.load(base, c.first + i, c.flag) for i in range(c.layers)]
            return layered

        return mapped(one, like)

    def put(self, base: str, thing: Any, columns: list[Column]) -> None:
        for value, c in zip(leaves(thing), columns, strict=True):
            if c.layers:
                for i, layer in enumerate(np.broadcast_to(value, c.layers)):
                    self.store(base, c.first + i, layer)
            else:
                self.store(base, c.first, value)


def traced_loop(
    step: Step,
    fixed: Any,
    carried: Any,
    given: Any,
    own: Any = None,
    *,
    bays: int | None,
    lanes: int = 4,
) -> Loop:
    """
    Trace and compile a step.

    Parameters
    ----------
    step : callable
        See ``Step``.
    fixed, carried, given, own : object
        Records with numbers of the right kind and shape, those of a single step. Numbers of
        ``given`` hold for all bays; where it has a ``time``, that is a moment.
    bays : int or None
        Number of bays; None for one without an axis of its own.
    lanes : int
        Bays side by side in a vector.

    Returns
    -------
    Loop
        Ready to run.
    """
    lanes = 1 if bays is None else lanes
    program = Program(lanes)
    rows = _Rows(program)
    fixed_columns, fixed_rows = _columns([_shape(x, bays) for x in leaves(fixed)])
    carried_columns, carried_rows = _columns([_shape(x, bays) for x in leaves(carried)])
    own_columns, own_rows = _columns([_shape(x, bays) for x in leaves(own)])
    asked: dict[tuple[Callable[..., Any], tuple[str, ...]], tuple[Number, ...]] = {}
    width = len(leaves(given))

    def ask(find: Callable[..., Any], words: tuple[str, ...]) -> Any:
        nonlocal width
        found = find(given.time, *words)
        if (find, words) not in asked:
            many = range(width, width + len(_several(found)))
            asked[find, words] = program.ahead(
                lambda: tuple([rows.shared("%given.p", i) for i in many])
            )
            width = many.stop
        values = asked[find, words]
        return values if isinstance(found, tuple) else values[0]

    numbers = [rows.shared("%given.p", i) for i in range(width)]
    names = [f.name for f in fields(given)] if is_dataclass(given) else []
    if "time" in names:
        place = names.index("time")
        numbers[place] = Moment(numbers[place], ask)
    after, record = step(
        rows.take("%fixed.p", fixed, fixed_columns),
        rows.take("%carried.p", carried, carried_columns),
        rebuilt(given, numbers),
        rows.take("%own.p", own, own_columns),
    )
    rows.put("%carried.p", after, carried_columns)
    record_columns, record_rows = _columns([_traced_shape(x) for x in leaves(record)])
    rows.put("%record.p", record, record_columns)
    wrong = program.anywhere(program.wrong)
    sizes = {"FIXED": fixed_rows, "CARRIED": carried_rows, "OWN": own_rows, "RECORD": record_rows}
    text = BODY.replace("GIVEN", str(width))
    for word, size in sizes.items():
        text = text.replace(word, str(size * lanes))
    text = text.replace("LINES", program.text()).replace("WRONG", wrong)
    return Loop(
        run=compiled(text + _declarations(program)),
        lanes=lanes,
        bays=bays,
        fixed=_packed(leaves(fixed), fixed_columns, bays, lanes),
        fixed_columns=fixed_columns,
        own_columns=own_columns,
        carried_like=carried,
        carried_columns=carried_columns,
        record_like=record,
        record_columns=record_columns,
        record_rows=record_rows,
        asked=list(asked),
    )


def _traced_shape(leaf: Any) -> tuple[int, bool]:
    flat = leaf.flat[0] if isinstance(leaf, np.ndarray) else leaf
    size = len(leaf) if isinstance(leaf, np.ndarray) else 0
    return size, isinstance(flat, Flag | bool | np.bool_)


def _declarations(program: Program) -> str:
    ones = ("exp", "log", "sqrt", "fabs")
    lines = [f"declare {{number}} @llvm.{name}.{{of}}({{number}})" for name in ones]
    lines.append("declare {number} @llvm.pow.{of}({number}, {number})")
    return program.spell("\n".join(lines)) + "\n"
