"""
Traced programs made into machine code by LLVM, for those who have llvmlite (``ventcalc[fast]``).

Compiling takes some seconds once; the machine code is kept in the user's cache folder, or, where
that cannot be written, for this process only.
"""

from __future__ import annotations

import ctypes
import hashlib
import inspect
import os
import sys
import threading
from collections.abc import Callable
from contextlib import suppress
from functools import cache, lru_cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ventcalc._schedule import scheduled

__all__ = ["available", "compiled"]

Array = NDArray[np.float64]

MOST_KEPT = 64
"""Programs in the cache; each is a tenth of a megabyte."""
_ONE_AT_A_TIME = threading.Lock()


@cache
def available() -> bool:
    """Whether programs can be compiled here; a broken llvmlite counts as none."""
    try:
        _target()
    except (ImportError, OSError, RuntimeError):
        return False
    return True


def _target() -> Any:
    """This machine, as LLVM sees it; anew each time, for whoever takes it disposes of it."""
    import llvmlite.binding as llvm

    llvm.initialize_native_target()
    llvm.initialize_native_asmprinter()
    return llvm.Target.from_default_triple().create_target_machine(
        cpu=llvm.get_host_cpu_name(),
        features=llvm.get_host_cpu_features().flatten(),
        opt=2,
        jit=True,
    )


def _folder() -> Path:
    """
    Folder of the cache, by the habit of the system.

    Raises
    ------
    OSError
        If others could write into it: what lies there is run.
    """
    if sys.platform == "win32":
        base = Path(os.environ.get("LOCALAPPDATA") or Path.home() / "AppData" / "Local")
    elif sys.platform == "darwin":
        base = Path.home() / "Library" / "Caches"
    else:
        base = Path(os.environ.get("XDG_CACHE_HOME", ""))
        base = base if base.is_absolute() else Path.home() / ".cache"
    folder = base / "ventcalc"
    if not folder.is_absolute():
        raise OSError("no place for a cache")
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    if sys.platform != "win32":
        seen = folder.stat()
        if seen.st_uid != os.getuid() or seen.st_mode & 0o022:
            raise OSError("others may write into the cache")
    return folder


def _object_code(text: str) -> bytes:
    """Machine code of a program, from the cache if it is there and whole."""
    import llvmlite
    import llvmlite.binding as llvm

    machine = llvm.get_host_cpu_name(), llvm.get_host_cpu_features().flatten(), sys.platform
    words = (text, *_own_source(), llvmlite.__version__, *machine)
    key = hashlib.sha256("\n".join(words).encode()).hexdigest()[:32]
    with suppress(OSError, RuntimeError):  # no such file, or no home
        place = _folder() / f"{key}.code"
        data = place.read_bytes()
        if hashlib.sha256(data[32:]).digest() == data[:32]:
            os.utime(place)  # used today: not among the first to be thrown out
            return data[32:]
    code = _translated(text)
    with suppress(OSError, RuntimeError):  # nowhere to keep it
        _keep(_folder(), key, code)
    return code


@cache
def _own_source() -> tuple[str, ...]:
    """What stands between a program and its machine code; when it changes, old code is void."""
    return tuple(inspect.getsource(sys.modules[name]) for name in (__name__, scheduled.__module__))


def _keep(folder: Path, key: str, code: bytes) -> None:
    """Put machine code into the cache, and throw the oldest out."""
    part = folder / f"{key}.{os.getpid()}.{threading.get_ident()}"
    try:
        part.write_bytes(hashlib.sha256(code).digest() + code)
        part.replace(folder / f"{key}.code")
    finally:
        part.unlink(missing_ok=True)
    kept = sorted(folder.iterdir(), key=lambda one: one.stat().st_mtime)
    for old in kept[:-MOST_KEPT]:
        old.unlink(missing_ok=True)


def _translated(text: str) -> bytes:
    import llvmlite.binding as llvm

    module = llvm.parse_assembly(scheduled(text))
    module.verify()
    options = llvm.create_pipeline_tuning_options(speed_level=1)
    options.slp_vectorization = options.loop_vectorization = False
    target = _target()
    builder = llvm.create_pass_builder(target, options)
    builder.getModulePassManager().run(module, builder)
    code: bytes = target.emit_object(module)
    return code


def compiled(text: str) -> Callable[..., int]:
    """
    The function ``run`` of a program; arrays and whole numbers in, a whole number out.

    It runs without Python's lock.
    """
    with _ONE_AT_A_TIME:  # others that want the same program wait for it
        return _compiled(text)


@lru_cache(maxsize=MOST_KEPT)
def _compiled(text: str) -> Callable[..., int]:
    import llvmlite.binding as llvm

    code = _object_code(text)
    engine = llvm.create_mcjit_compiler(llvm.parse_assembly(""), _target())
    engine.add_object_file(llvm.ObjectFileRef.from_data(code))
    engine.finalize_object()
    address = engine.get_function_address("run")

    kinds = [ctypes.c_int64] * 7
    run = ctypes.CFUNCTYPE(ctypes.c_int64, *kinds)(address)

    def call(*values: Array | int) -> int:
        return int(run(*(v if isinstance(v, int) else v.ctypes.data for v in values)))

    call.engine = engine  # type: ignore[attr-defined]  # the code lives as long as it does
    return call
