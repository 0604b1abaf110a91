"""``python -m ventcalc``."""

from __future__ import annotations

from ventcalc.commands.main import leave

if __name__ == "__main__":
    leave()
