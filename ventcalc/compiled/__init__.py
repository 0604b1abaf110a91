"""
The one door to numba: formulas as they stand, made into machine code (``ventcalc[fast]``).

Everything that an hour is made of is plain Python on floats and layers, and runs as it is. Where
many hours are wanted the very same functions are compiled: numba takes them by their source.
Records of plain numbers stand in for the data classes that the functions read (`record_of`), an
array of them for a list (`records_of`).

Machine code is kept in the user's cache folder (`kept`). A user's own function is compiled anew in
every process: what it reads from other files cannot be seen here.
"""

from __future__ import annotations

import gc
import signal
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import cache
from types import FunctionType, ModuleType
from typing import Any

from ventcalc.compiled.kept import available, folder, mark_ready, ready
from ventcalc.compiled.records import kind_of, record_of, records_of

__all__ = [
    "available", "entry", "folder", "kind_of", "mark_ready", "pointer", "policy_kind", "ready",
    "record_of", "records_of", "works",
]  # fmt: skip

OPTIONS: dict[str, Any] = {"error_model": "python", "no_rewrites": True, "_nrt": False}
"""Division by zero raises as in Python; the two others save a third of the compiling."""
_ONE_AT_A_TIME = threading.RLock()


@cache
def works() -> bool:
    """Whether numba is installed and can be loaded; it is loaded to find out."""
    try:
        return available() and _numba() is not None
    except Exception:  # whatever a broken installation may raise
        return False


# --- functions ---------------------------------------------------------------------------


@cache
def _numba() -> Any:
    """Numba, imported when something is first compiled."""
    with _deferred():
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
            with _deferred():
                return made(*given)
        with _ONE_AT_A_TIME, _alone(), _compiling():
            return made(*given)

    return call


@cache
def pointer(function: Callable[..., Any], arguments: tuple[Any, ...], result: Any) -> Any:
    """A plain function as machine code that other compiled code may be handed."""
    _numba()
    from numba.core.ccallback import CFunc

    plain = getattr(function, "py_func", function)
    options = {key: value for key, value in OPTIONS.items() if key != "no_cfunc_wrapper"}
    made = CFunc(plain, (arguments, result), locals={}, options=options)
    with _ONE_AT_A_TIME, _alone(), _compiling():
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


_INSIDE: list[bool] = []
"""Whether this process holds the lock; guarded by ``_ONE_AT_A_TIME``."""


@contextmanager
def _alone() -> Iterator[None]:
    """
    One process at a time compiles or loads what is kept.

    Numba's index of kept code bears no two writers: one's index may name the other's machine code.
    """
    place = folder()
    try:
        import fcntl
    except ImportError:  # a system without it
        place = None
    if place is None or _INSIDE:
        yield
        return
    with open(place / "lock", "w") as file:
        fcntl.flock(file, fcntl.LOCK_EX)
        _INSIDE.append(True)
        try:
            yield
        finally:
            _INSIDE.clear()


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
def _deferred() -> Iterator[list[int]]:
    """
    Keep Ctrl-C until the block is done; the list tells whether it came.

    Raised where it comes it might be lost, or worse: LLVM calls back into Python, and what is
    raised there, or while something is loaded or disposed of, goes no further. What machine code
    returns numba builds by calling Python, and crashes where that raises.
    """
    usual, asked = signal.default_int_handler, list[int]()
    main = threading.current_thread() is threading.main_thread()
    if not main or signal.getsignal(signal.SIGINT) is not usual:
        yield asked
        return
    signal.signal(signal.SIGINT, lambda number, frame: asked.append(number))
    try:
        yield asked
    finally:
        signal.signal(signal.SIGINT, usual)
    if asked:
        raise KeyboardInterrupt


@contextmanager
def _interruptible() -> Iterator[None]:
    """Let Ctrl-C end a compile within a second, at numba's next pass."""
    from numba.core import event

    with _deferred() as asked:

        class Interrupt(event.Listener):
            def on_start(self, event: Any) -> None:
                if asked:
                    raise KeyboardInterrupt

            on_end = on_start

        with event.install_listener("numba:run_pass", Interrupt()):
            yield


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
