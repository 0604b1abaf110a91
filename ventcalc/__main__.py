"""``python -m ventcalc`` and the program ``ventcalc``: light, so that Ctrl-C is heard at once."""

from __future__ import annotations

import os
from typing import NoReturn

__all__ = ["start"]


def start() -> NoReturn:
    """Read the library, run the command line and end."""
    try:
        from ventcalc.commands.main import leave

        leave()
    except KeyboardInterrupt:  # while the library was still being read
        os._exit(130)


if __name__ == "__main__":
    start()
