"""May this bay be filled to this height, and what binds?"""

from ventcalc.check.check import PileCheck, Reach, check_pile, sweep_heights
from ventcalc.check.heat_balance import HeatBalance, heat_balances
from ventcalc.check.record import Aside, Check

__all__ = [
    "Aside",
    "Check",
    "HeatBalance",
    "PileCheck",
    "Reach",
    "check_pile",
    "heat_balances",
    "sweep_heights",
]
