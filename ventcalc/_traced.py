"""
Formulas written down as a program while they are called: the carrier of compiled hours.

Called with traced numbers in place of floats, a formula that knows only the operations of an
``Ops`` leaves behind a list of instructions (LLVM's language) that does the same for any numbers,
for one bay or for several side by side in the lanes of a vector. What a formula decides by
``branch`` becomes a jump; what it decides in plain Python is decided once, for the whole program.
"""

from __future__ import annotations

import math
import struct
from collections.abc import Callable
from typing import Any

import numpy as np

from ventcalc._leaves import leaves, mapped
from ventcalc._ops import SCALAR, Ops

__all__ = ["TRACED", "Flag", "Moment", "Number", "Program"]


class Program:
    """Instructions as they come; the one body of a loop over bays and steps."""

    def __init__(self, lanes: int) -> None:
        self.lanes = lanes
        self.lines: list[str] = []
        self.head: list[str] = []
        """What comes before everything else."""
        self.block = "body"
        self.count = 0
        self.inside: Any = True
        """The lanes for which the present block is worked out."""
        self.wrong = Flag(self, self.constant(False))

    def text(self) -> str:
        """All instructions."""
        return self.spell("\n".join([*self.head, *self.lines]))

    def spell(self, text: str) -> str:
        """Put the types of numbers and flags into instructions."""
        wide = self.lanes > 1
        number = f"<{self.lanes} x double>" if wide else "double"
        flag = f"<{self.lanes} x i1>" if wide else "i1"
        suffix = f"v{self.lanes}f64" if wide else "f64"
        return text.replace("{number}", number).replace("{flag}", flag).replace("{of}", suffix)

    def emit(self, text: str) -> str:
        """Write an instruction, and return the name of its result."""
        self.count += 1
        name = f"%v{self.count}"
        self.lines.append(f"  {name} = {text}")
        return name

    def ahead(self, make: Callable[[], Any]) -> Any:
        """What ``make`` gives, with its instructions before all others, so that all may use it."""
        lines, self.lines = self.lines, self.head
        try:
            return make()
        finally:
            self.lines = lines

    def number(self, text: str) -> Number:
        """The number that an instruction gives."""
        return Number(self, self.emit(text))

    def flag(self, text: str) -> Flag:
        """The flag that an instruction gives."""
        return Flag(self, self.emit(text))

    def label(self) -> str:
        """A name for a block."""
        self.count += 1
        return f"b{self.count}"

    def begin(self, label: str) -> None:
        """Go on in another block."""
        self.lines.append(f"{label}:")
        self.block = label

    def jump(self, text: str) -> None:
        """Leave the present block."""
        self.lines.append(f"  br {text}")

    def constant(self, value: float) -> str:
        """A number or flag that is the same for every bay and step."""
        if isinstance(value, bool | np.bool_):
            kind, word = "i1", "true" if value else "false"
        else:
            kind, word = "double", f"0x{struct.unpack('>Q', struct.pack('>d', value))[0]:016X}"
        return word if self.lanes == 1 else f"<{', '.join([f'{kind} {word}'] * self.lanes)}>"

    def word(self, value: Any) -> str:
        """How an instruction names a value."""
        return value.name if isinstance(value, Traced) else self.constant(value)

    def anywhere(self, flag: Flag) -> str:
        """A single bit: whether the flag is set in any lane."""
        if self.lanes == 1:
            return flag.name
        bits = self.emit(f"bitcast {{flag}} {flag.name} to i{self.lanes}")
        return self.emit(f"icmp ne i{self.lanes} {bits}, 0")

    def branch(self, condition: Flag, then: Callable[[], Any], otherwise: Any) -> Any:
        """``then`` in a block of its own, jumped over where no lane needs it."""
        before, inside = self.block, self.inside
        chosen, joined = self.label(), self.label()
        self.jump(f"i1 {self.anywhere(condition)}, label %{chosen}, label %{joined}")
        self.begin(chosen)
        self.inside = condition & inside
        wrong = self.wrong
        value = mapped(lambda a, b: _select(self, condition, a, b), then(), otherwise)
        after, self.inside = self.block, inside
        self.jump(f"label %{joined}")
        self.begin(joined)

        def join(a: Any, b: Any) -> Any:
            if a is b:
                return a
            kind = "{flag}" if _is_flag(a) else "{number}"
            ways = f"[ {self.word(a)}, %{after} ], [ {self.word(b)}, %{before} ]"
            return _like(a, self, self.emit(f"phi {kind} {ways}"))

        self.wrong = join(self.wrong, wrong)
        return mapped(lambda a, b: _each(join, a, b), value, otherwise)

    def repeat(self, times: Any, body: Callable[[Any], Any], start: Any) -> Any:
        """``body`` applied to ``start`` again and again, in each lane as many times as it needs."""
        before, inside, wrong = self.block, self.inside, self.wrong
        head, inner, out = self.label(), self.label(), self.label()
        self.jump(f"label %{head}")
        self.begin(head)
        first = len(self.lines)
        index = self.number("")
        self.wrong = self.flag("")
        held = mapped(lambda a: _each(self._open, a), start)
        # Lanes that need no more turns, or are lost anyhow, keep what they have.
        going, opened = (index < times) & ~self.wrong & inside, self.wrong
        self.jump(f"i1 {self.anywhere(going)}, label %{inner}, label %{out}")
        self.begin(inner)
        self.inside = going
        value = mapped(lambda a, b: _select(self, going, a, b), body(held), held)
        following, after, self.inside = index + 1.0, self.block, inside
        self.jump(f"label %{head}")
        joins = [(index, 0.0, following), (opened, wrong, self.wrong)]
        joins += zip(_flat(held), _flat(start), _flat(value), strict=True)
        for place, (name, begin, last) in enumerate(joins, first):
            kind = "{flag}" if _is_flag(name) else "{number}"
            ways = f"[ {self.word(begin)}, %{before} ], [ {self.word(last)}, %{after} ]"
            self.lines[place] = f"  {name.name} = phi {kind} {ways}"
        self.wrong = opened
        self.begin(out)
        return held

    def _open(self, value: Any) -> Any:
        """A name for what a loop carries; its instruction is written when the loop is."""
        return _like(value, self, self.emit(""))


class Traced:
    """A value of the program: what the bays' numbers will be."""

    __slots__ = ("name", "program")
    ops: Ops

    def __init__(self, program: Program, name: str) -> None:
        self.program, self.name = program, name

    def __bool__(self) -> bool:
        raise TypeError("a traced value decides nothing in plain Python; use Ops.branch or where")

    def __float__(self) -> float:
        raise TypeError("a traced value is no number yet; use the operations of Ops")

    __int__ = __float__


class Flag(Traced):
    """A condition."""

    __slots__ = ()

    def _with(self, other: Any, word: str) -> Flag:
        p = self.program
        return p.flag(f"{word} {{flag}} {self.name}, {p.word(_bool_of(other))}")

    def __and__(self, other: Any) -> Any:
        if isinstance(other, Flag):
            return self._with(other, "and")
        return NotImplemented if isinstance(other, np.ndarray) else self if other else False

    def __or__(self, other: Any) -> Any:
        if isinstance(other, Flag):
            return self._with(other, "or")
        return NotImplemented if isinstance(other, np.ndarray) else True if other else self

    __rand__, __ror__ = __and__, __or__

    def __ne__(self, other: object) -> Any:
        return self._with(other, "xor")

    def __eq__(self, other: object) -> Any:
        return ~self._with(other, "xor")

    def __invert__(self) -> Flag:
        return self._with(True, "xor")

    __hash__ = None  # type: ignore[assignment]


def _bool_of(other: Any) -> Any:
    """A condition, traced or plain."""
    return other if isinstance(other, Flag) else bool(other)


class Number(Traced):
    """A number."""

    __slots__ = ()

    def _with(self, word: str, a: Any, b: Any) -> Any:
        if isinstance(a, np.ndarray | Flag) or isinstance(b, np.ndarray | Flag):
            return NotImplemented
        p = self.program
        return p.number(f"{word} {{number}} {p.word(a)}, {p.word(b)}")

    def _compared(self, word: str, other: Any) -> Any:
        if isinstance(other, np.ndarray):
            return NotImplemented
        p = self.program
        return p.flag(f"fcmp {word} {{number}} {self.name}, {p.word(other)}")

    def __add__(self, other: Any) -> Any:
        return self._with("fadd", self, other)

    def __radd__(self, other: Any) -> Any:
        return self._with("fadd", other, self)

    def __sub__(self, other: Any) -> Any:
        return self._with("fsub", self, other)

    def __rsub__(self, other: Any) -> Any:
        return self._with("fsub", other, self)

    def __mul__(self, other: Any) -> Any:
        return self._with("fmul", self, other)

    def __rmul__(self, other: Any) -> Any:
        return self._with("fmul", other, self)

    def __truediv__(self, other: Any) -> Any:
        return self._with("fdiv", self, other)

    def __rtruediv__(self, other: Any) -> Any:
        return self._with("fdiv", other, self)

    def __neg__(self) -> Number:
        return self.program.number(f"fneg {{number}} {self.name}")

    def __abs__(self) -> Number:
        return self.call("fabs")

    def __pow__(self, power: float) -> Any:
        if power == 0.5:
            return self.call("sqrt")
        if power in (2, 3):
            return self * self if power == 2 else self * self * self
        if power == -2:
            return 1.0 / (self * self)
        return self.call("pow", power)

    def call(self, name: str, *others: Any) -> Number:
        """An elementary function."""
        p = self.program
        given = ", ".join(f"{{number}} {p.word(x)}" for x in (self, *others))
        return p.number(f"call {{number}} @llvm.{name}.{{of}}({given})")

    def __lt__(self, other: Any) -> Any:
        return self._compared("olt", other)

    def __le__(self, other: Any) -> Any:
        return self._compared("ole", other)

    def __gt__(self, other: Any) -> Any:
        return self._compared("ogt", other)

    def __ge__(self, other: Any) -> Any:
        return self._compared("oge", other)

    def __eq__(self, other: object) -> Any:
        return self._compared("oeq", other)

    def __ne__(self, other: object) -> Any:
        return self._compared("une", other)

    __hash__ = None  # type: ignore[assignment]

    def require(self, low: float, high: float) -> None:
        """Note where it is out of its range; the plain way then says what is wrong."""
        p = self.program
        p.wrong = p.wrong | ((self < low) | (self > high)) & p.inside


class Moment(Number):
    """A moment; what only plain Python can tell of it is worked out beforehand for every step."""

    __slots__ = ("ask",)

    def __init__(self, number: Number, ask: Callable[..., Any]) -> None:
        super().__init__(number.program, number.name)
        self.ask = ask

    def known_by(self, find: Callable[..., Any], *words: Any) -> Any:
        """Numbers that ``find`` gives for the moment."""
        return self.ask(find, words)


def _is_flag(value: Any) -> bool:
    return isinstance(value, Flag | bool | np.bool_)


def _like(value: Any, program: Program, name: str) -> Any:
    return (Flag if _is_flag(value) else Number)(program, name)


def _each(change: Callable[..., Any], *values: Any) -> Any:
    """``change`` of numbers, or of the layers of arrays one by one."""
    size = next((v.shape for v in values if isinstance(v, np.ndarray)), None)
    if size is None:
        return change(*values)
    rows = [v.flat if isinstance(v, np.ndarray) else [v] * math.prod(size) for v in values]
    found = np.empty(math.prod(size), dtype=object)
    found[:] = [change(*parts) for parts in zip(*rows, strict=True)]
    return found.reshape(size)


def _flat(thing: Any) -> list[Any]:
    parts = leaves(thing)
    return [x for one in parts for x in (one.flat if isinstance(one, np.ndarray) else [one])]


def _select(program: Program, condition: Flag, a: Any, b: Any) -> Any:
    def one(x: Any, y: Any) -> Any:
        if x is y:
            return x
        if _is_flag(x) != _is_flag(y):
            raise TypeError("a flag and a number cannot stand for one another")
        kind = "{flag}" if _is_flag(x) else "{number}"
        words = f"{kind} {program.word(x)}, {kind} {program.word(y)}"
        return _like(x, program, program.emit(f"select {{flag}} {condition.name}, {words}"))

    return _each(one, a, b)


def _program_of(*values: Any) -> Program | None:
    for value in values:
        first = value.flat[0] if isinstance(value, np.ndarray) else value
        if isinstance(first, Traced):
            return first.program
    return None


def _where_one(condition: Any, a: Any, b: Any) -> Any:
    if not isinstance(condition, Flag):
        return a if condition else b
    return _select(condition.program, condition, a, b)


def _extreme(word: str, plain: Callable[[Any, Any], Any]) -> Callable[[Any, Any], Any]:
    """The lesser or greater of two, NaN if one of them is; ``word`` compares them."""

    def one(a: Any, b: Any) -> Any:
        if any(isinstance(x, float) and x != x for x in (a, b)):
            return math.nan
        if isinstance(a, Number):
            takes = a._compared(f"u{word}", b)  # holds for a NaN too
            if isinstance(b, Number):
                takes = takes & (b == b) | (a != a)
            return _where_one(takes, a, b)
        if isinstance(b, Number):
            return _where_one(b._compared(f"u{word}", a), b, a)
        return plain(a, b)

    return lambda a, b: _each(one, a, b)


def _function(name: str) -> Callable[[Any], Any]:
    plain = getattr(SCALAR, name)

    def one(x: Any) -> Any:
        return x.call(name) if isinstance(x, Number) else plain(x)

    return lambda x: _each(one, x)


def _branch(condition: Any, then: Callable[[], Any], otherwise: Any) -> Any:
    if isinstance(condition, Flag):
        return condition.program.branch(condition, then, otherwise)
    return SCALAR.branch(condition, then, otherwise)


def _repeat(times: Any, body: Callable[[Any], Any], start: Any) -> Any:
    program = _program_of(times, *leaves(start))
    if program is None:
        return SCALAR.repeat(times, body, start)
    return program.repeat(times, body, start)


TRACED = Ops(
    exp=_function("exp"),
    log=_function("log"),
    sqrt=_function("sqrt"),
    isnan=lambda x: _each(lambda one: one != one, x),
    where=lambda condition, a, b: _each(_where_one, condition, a, b),
    minimum=_extreme("lt", SCALAR.minimum),
    maximum=_extreme("gt", SCALAR.maximum),
    negate=lambda x: _each(lambda one: ~one if isinstance(one, Flag) else not one, x),
    less=lambda a, b: _each(lambda x, y: x < y, a, b),
    any=lambda condition: condition is not False,
    all=lambda condition: condition is True,
    branch=_branch,
    repeat=_repeat,
)
"""For traced values, and object arrays of them layer by layer."""
Traced.ops = TRACED
