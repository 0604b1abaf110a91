"""``python -m ventcalc``."""

from __future__ import annotations

import sys

from ventcalc.cli import main

if __name__ == "__main__":
    sys.exit(main())
