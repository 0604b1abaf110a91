"""``python -m ventcalc``."""

from __future__ import annotations

import sys

from ventcalc.commands.main import main

if __name__ == "__main__":
    sys.exit(main())
