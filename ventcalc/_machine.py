"""
Traced programs made into machine code by LLVM, for those who have llvmlite (``ventcalc[fast]``).

Compiling takes some seconds once; the machine code is kept in the user's cache folder, or, where
that cannot be written, for this process only.
"""

from __future__ import annotations

import ctypes
import hashlib
import os
import sys
from collections.abc import Callable
from contextlib import suppress
from functools import cache, lru_cache
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ventcalc._schedule import scheduled

__all__ = ["available", "compiled"]

Array = NDArray[np.float64]

MOST_KEPT = 64
"""Programs in the cache; each is a tenth of a megabyte."""


def available() -> bool:
    """Whether programs can be compiled here."""
    return find_spec("llvmlite") is not None


@cache
def _target() -> Any:
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
    """The user's cache folder, by the habit of the system."""
    if sys.platform == "win32":
        base = os.environ.get("LOCALAPPDATA") or Path.home() / "AppData" / "Local"
    elif sys.platform == "darwin":
        base = Path.home() / "Library" / "Caches"
    else:
        base = os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache"
    return Path(base) / "ventcalc"


def _object_code(text: str) -> bytes:
    """Machine code of a program, from the cache if it is there and whole."""
    import llvmlite
    import llvmlite.binding as llvm

    words = (text, llvmlite.__version__, llvm.get_host_cpu_name(), sys.platform)
    key = hashlib.sha256("\n".join(words).encode()).hexdigest()[:32]
    try:
        data = (_folder() / f"{key}.code").read_bytes()
        if hashlib.sha256(data[32:]).digest() == data[:32]:
            return data[32:]
    except (OSError, RuntimeError):  # no such file, or no home
        pass
    code = _translated(text)
    with suppress(OSError, RuntimeError):  # nowhere to keep it
        _keep(_folder(), key, code)
    return code


def _keep(folder: Path, key: str, code: bytes) -> None:
    """Put machine code into the cache, and throw the oldest out."""
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    part = folder / f"{key}.{os.getpid()}"
    part.write_bytes(hashlib.sha256(code).digest() + code)
    part.replace(folder / f"{key}.code")
    kept = sorted(folder.glob("*.code"), key=lambda one: one.stat().st_mtime)
    for old in kept[:-MOST_KEPT]:
        old.unlink(missing_ok=True)


def _translated(text: str) -> bytes:
    import llvmlite.binding as llvm

    module = llvm.parse_assembly(scheduled(text))
    module.verify()
    options = llvm.create_pipeline_tuning_options(speed_level=1)
    options.slp_vectorization = options.loop_vectorization = False
    builder = llvm.create_pass_builder(_target(), options)
    builder.getModulePassManager().run(module, builder)
    code: bytes = _target().emit_object(module)
    return code


@lru_cache(maxsize=MOST_KEPT)
def compiled(text: str) -> Callable[..., int]:
    """
    The function ``run`` of a program; arrays and whole numbers in, a whole number out.

    It runs without Python's lock.
    """
    import llvmlite.binding as llvm

    engine = llvm.create_mcjit_compiler(llvm.parse_assembly(""), _target())
    engine.add_object_file(llvm.ObjectFileRef.from_data(_object_code(text)))
    engine.finalize_object()
    address = engine.get_function_address("run")

    kinds = [ctypes.c_int64] * 7
    run = ctypes.CFUNCTYPE(ctypes.c_int64, *kinds)(address)

    def call(*values: Array | int) -> int:
        return int(run(*(v if isinstance(v, int) else v.ctypes.data for v in values)))

    call.engine = engine  # type: ignore[attr-defined]  # the code lives as long as it does
    return call
