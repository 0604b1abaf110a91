"""What is wrong with this bay, by its log: where, since when, how sure, what to look at first?"""

from ventcalc.diagnose.diagnose import Diagnosis, diagnose
from ventcalc.diagnose.findings import Finding
from ventcalc.diagnose.log import Log, read_log

__all__ = ["Diagnosis", "Finding", "Log", "diagnose", "read_log"]
