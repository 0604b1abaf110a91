"""
The one door to numba: formulas as they stand, made into machine code (``ventcalc[fast]``).

Everything that an hour is made of is plain Python on floats and layers, and runs as it is. Where
many hours are wanted the very same functions are compiled: numba takes them by their source.
Records of plain numbers stand in for the data classes that the functions read (`record_of`), an
array of them for a list (`records_of`).

Machine code is kept in the user's cache folder under a hash of all sources of the package, of
versions and processor: numba itself would not notice that a function changed in another file. A
folder that cannot be written, or that others may write to, is not used. A user's own function is
compiled anew in every process: what it reads from other files cannot be seen here.
"""

from __future__ import annotations

import gc
import hashlib
import os
import platform
import signal
import sys
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import fields, is_dataclass
from functools import cache
from importlib.metadata import version
from importlib.util import find_spec
from pathlib import Path
from types import FunctionType, ModuleType
from typing import Any

import numpy as np
from numpy.typing import NDArray

__all__ = ["available", "entry", "folder", "pointer", "ready", "record_of", "records_of", "works"]

OPTIONS: dict[str, Any] = {"error_model": "python", "no_rewrites": True, "_nrt": False}
"""Division by zero raises as in Python; the two others save a third of the compiling."""
_ONE_AT_A_TIME = threading.RLock()
_PACKAGE = Path(__file__).parent


@cache
def available() -> bool:
    """Whether numba is installed; nothing is imported to find out."""
    return find_spec("numba") is not None


@cache
def works() -> bool:
    """Whether numba is installed and can be loaded; it is loaded to find out."""
    try:
        return available() and _numba() is not None
    except Exception:  # whatever a broken installation may raise
        return False


# --- where machine code is kept ----------------------------------------------------------


@cache
def folder() -> Path | None:
    """
    Folder of the cache, by the habit of the system; None where there is none that is safe.

    What lies there is run: it must be ours, and nobody else may write into it, nor put another
    in its place. (A user's private group, which often may write everywhere, is not feared there.)
    """
    try:
        base = _base() / "ventcalc"
        place = base / _key()
        if not place.is_absolute():
            return None
        for part, others in ((base.parent, 0o002), (base, 0o022), (place, 0o022)):
            part.mkdir(mode=0o700, parents=True, exist_ok=True)
            seen = part.stat()
            if sys.platform != "win32" and (seen.st_uid != os.getuid() or seen.st_mode & others):
                return None
        return place if os.access(place, os.W_OK) else None
    except (OSError, RuntimeError, ImportError):
        return None


def _base() -> Path:
    if sys.platform == "win32":
        return Path(os.environ.get("LOCALAPPDATA") or Path.home() / "AppData" / "Local")
    if sys.platform == "darwin":
        return Path.home() / "Library" / "Caches"
    found = Path(os.environ.get("XDG_CACHE_HOME", ""))
    return found if found.is_absolute() else Path.home() / ".cache"


def _key() -> str:
    """What machine code hangs on: every source of the package, versions, processor."""
    digest = hashlib.sha256()
    for path in sorted(_PACKAGE.rglob("*.py")):
        digest.update(path.read_bytes())
    words = (sys.version, np.__version__, version("numba"), version("llvmlite"), platform.machine())
    digest.update("\n".join(words).encode())
    return digest.hexdigest()[:24]


def ready(name: str) -> bool:
    """Whether the machine code of a job, once compiled, waits in the cache (or in this process)."""
    place = folder() if available() else None
    return name in _MADE or (place is not None and (place / f"{name}.ready").exists())


def mark_ready(name: str) -> None:
    """Note that all machine code of a job is there."""
    _MADE.add(name)
    place = folder()
    if place is not None:
        with suppress(OSError):
            (place / f"{name}.ready").touch(mode=0o600)


_MADE: set[str] = set()


# --- functions ---------------------------------------------------------------------------


@cache
def _numba() -> Any:
    """Numba, imported when something is first compiled."""
    import numba

    return numba


def _make_known(function: Callable[..., Any]) -> None:
    """Tell numba of every plain function of the package that a function calls, and so on down."""
    from numba.extending import register_jitable

    reached, ahead = set(), [function]
    while ahead:
        for callee in _callees(ahead.pop()):
            if callee not in reached:
                reached.add(callee)
                ahead.append(callee)
    for callee in reached - _KNOWN:
        register_jitable(no_cfunc_wrapper=True, **OPTIONS)(callee)
        _KNOWN.add(callee)


def _callees(function: Callable[..., Any]) -> Iterator[Any]:
    names, space = function.__code__.co_names, function.__globals__
    for name in names:
        found = space.get(name)
        several = [found]
        if isinstance(found, ModuleType):
            several = [vars(found).get(part) for part in names]
        for one in several:
            if isinstance(one, FunctionType) and one.__module__.startswith("ventcalc."):
                yield one


_KNOWN: set[Any] = set()


def entry(function: Callable[..., Any]) -> Callable[..., Any]:
    """
    A plain function as compiled code that is called from Python; it runs without Python's lock.

    Parameters
    ----------
    function : callable
        Of this package, on numbers, records and arrays.

    Returns
    -------
    callable
        Compiled at its first call with given kinds of arguments, or taken from the cache.
    """
    with _ONE_AT_A_TIME:
        return _entry(function)


@cache
def _entry(function: Callable[..., Any]) -> Callable[..., Any]:
    numba = _numba()
    _make_known(function)
    made = numba.njit(nogil=True, no_cfunc_wrapper=True, **OPTIONS)(function)
    _kept(made)

    def call(*given: Any) -> Any:
        if made.signatures:
            return made(*given)
        with _ONE_AT_A_TIME, _compiling():
            return made(*given)

    return call


@cache
def pointer(function: Callable[..., Any], arguments: tuple[Any, ...], result: Any) -> Any:
    """
    A plain function as machine code that other compiled code may be handed.

    Parameters
    ----------
    function : callable
        Of this package, or a numba function of a user.
    arguments : tuple
        Examples or numba types of its arguments.
    result : type
        Numba type of what it gives.

    Returns
    -------
    object
        To be passed on; it does not hold the function's source.
    """
    _numba()
    from numba.core.ccallback import CFunc

    plain = getattr(function, "py_func", function)
    options = {key: value for key, value in OPTIONS.items() if key != "no_cfunc_wrapper"}
    made = CFunc(plain, (arguments, result), locals={}, options=options)
    with _ONE_AT_A_TIME, _compiling():
        _make_known(plain)
        if plain.__module__.startswith("ventcalc."):
            _kept(made)
        made.compile()
    return made


def _kept(made: Any) -> None:
    """Let numba keep the machine code in our folder; without one it lives as long as we do."""
    from numba.core import config as settings

    config: Any = settings

    place = folder()
    if place is None:
        return
    before, config.CACHE_DIR = config.CACHE_DIR, str(place)
    try:
        made.enable_caching()
    except RuntimeError:  # numba found no place to write after all
        pass
    finally:
        config.CACHE_DIR = before


@contextmanager
def _compiling() -> Iterator[None]:
    """A cold compile takes a fifth less without the garbage collector; Ctrl-C ends it."""
    on = gc.isenabled()
    gc.disable()
    try:
        with _interruptible():
            yield
    finally:
        if on:
            gc.enable()


@contextmanager
def _interruptible() -> Iterator[None]:
    """
    Let Ctrl-C end a compile within a second, at numba's next pass.

    Raised where it comes it might be lost: LLVM calls back into Python, and what is raised there,
    or while something is disposed of, goes no further.
    """
    usual = signal.default_int_handler
    main = threading.current_thread() is threading.main_thread()
    if not main or signal.getsignal(signal.SIGINT) is not usual:
        yield
        return
    from numba.core import event

    asked: list[int] = []

    class Interrupt(event.Listener):
        def on_start(self, event: Any) -> None:
            if asked:
                raise KeyboardInterrupt

        on_end = on_start

    signal.signal(signal.SIGINT, lambda number, frame: asked.append(number))
    try:
        with event.install_listener("numba:run_pass", Interrupt()):
            yield
    finally:
        signal.signal(signal.SIGINT, usual)
    if asked:
        raise KeyboardInterrupt


# --- records in the place of data classes ------------------------------------------------


def record_of(thing: Any) -> Any:
    """
    The numbers of a data class, and of those inside it, as one record that compiled code reads.

    Parameters
    ----------
    thing : data class
        Numbers, flags, tuples of numbers and further data classes, with its numeric properties;
        texts and what may be missing are left out.

    Returns
    -------
    numpy.void
        ``record.limits.band`` means in compiled code what ``thing.limits.band`` means here.
    """
    kind, values = _record(thing)
    return np.array(values, dtype=kind)[()]


def _record(thing: Any) -> tuple[np.dtype[Any], tuple[Any, ...]]:
    parts: list[Any] = []
    values: list[Any] = []
    kind_of_thing: Any = type(thing)
    for name in _numbers_of(kind_of_thing):
        value = getattr(thing, name)
        if is_dataclass(value):
            kind, value = _record(value)
            parts.append((name, kind))
        elif isinstance(value, tuple):
            parts.append((name, np.float64, np.shape(value)))
        else:
            parts.append((name, np.bool_ if isinstance(value, bool) else np.float64))
        values.append(value)
    return np.dtype(parts, align=True), tuple(values)


@cache
def _numbers_of(kind: Any) -> tuple[str, ...]:
    """Names of the fields and properties of a data class that are always numbers, or of numbers."""
    hints: dict[str, Any] = {field.name: field.type for field in fields(kind)}
    for name, value in vars(kind).items():
        getter = getattr(value, "fget", None) or getattr(value, "func", None)
        if getter is not None:
            hints[name] = getter.__annotations__.get("return", "")
    return tuple(name for name, hint in hints.items() if _is_number(str(hint)))


def _is_number(hint: str) -> bool:
    never = ("None", "str", "Sequence", "dict", "Any", "tuple[Lot")
    return bool(hint) and not any(word in hint for word in never)


def records_of(things: Sequence[Any]) -> NDArray[Any]:
    """
    Objects of floats (with slots, or named tuples) as an array that compiled code changes in place.

    Parameters
    ----------
    things : sequence
        All of one kind.

    Returns
    -------
    array
        ``array[i].film`` means in compiled code what ``things[i].film`` means here.
    """
    kind = kind_of(type(things[0]))
    rows = [tuple(getattr(thing, name) for name in kind.names or ()) for thing in things]
    return np.array(rows, dtype=kind)


def kind_of(kind: Any) -> np.dtype[Any]:
    """The record type that stands for a class of ``records_of``."""
    names = getattr(kind, "_fields", ()) or kind.__slots__
    return np.dtype([(name, np.float64) for name in names])


def policy_kind(bay: Any, *examples: Any) -> tuple[tuple[Any, ...], Any]:
    """
    Types of a function that is handed on as a pointer.

    Parameters
    ----------
    bay : numpy.void
        Record of a bay.
    *examples : tuple
        Readings, memory and positions: floats, flags and whole numbers as in use.

    Returns
    -------
    tuple
        Types of the arguments (bay, readings, memory), and of the result (positions, memory).
    """
    numba = _numba()
    readings, memory, positions = (numba.typeof(example) for example in examples)
    return (numba.typeof(bay), readings, memory), numba.types.Tuple((positions, memory))
