"""Control methods by name: the shipped ones, and a user's own as ``module:function``."""

from __future__ import annotations

import hashlib
import sys
from importlib import import_module
from pathlib import Path

from ventcalc.advice.policies import POLICIES, Policy
from ventcalc.errors import BadInput

__all__ = ["method_named", "source_of"]


def method_named(name: str) -> Policy:
    """
    A control method of ``season --policy``, or ``module:function`` of somebody's own, looked for in
    the current folder too.
    """
    if name in POLICIES:
        return POLICIES[name]
    module, colon, function = name.partition(":")
    if not colon:
        raise BadInput(
            f"control method {name!r}: unknown; write one of {', '.join(POLICIES)}, or your own as "
            "module:function"
        )
    if "" not in sys.path:  # a program started by its name does not look where one stands
        sys.path.insert(0, "")
    try:
        found: Policy | None = getattr(import_module(module), function, None)
    except ImportError as error:
        raise BadInput(f"control method {name!r}: cannot import {module} ({error})") from None
    if not callable(found):
        raise BadInput(f"control method {name!r}: {module} has no function {function}")
    return found


def source_of(name: str) -> str:
    """What a method of somebody's own hangs on: a hash of its file; nothing for a shipped one."""
    if name in POLICIES:
        return ""
    method_named(name)
    place = getattr(sys.modules[name.partition(":")[0]], "__file__", None)
    return hashlib.sha256(Path(place).read_bytes()).hexdigest() if place else ""
