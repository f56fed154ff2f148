"""Evidence and criteria to a verdict for every part of the roll, with reasons.

Nothing here measures, and nothing reads files or the clock. What was not looked at is never released: absent, void and
extrapolated evidence hold the part they should have spoken for.
"""

from wideroll.release.conformance import GlobalRisks, conformance_probability, global_risks, guard_band
from wideroll.release.criteria import check_criterion
from wideroll.release.decision import decide
from wideroll.release.model import (
    NEEDED,
    Consequence,
    Criterion,
    Decision,
    Evidence,
    Finding,
    Flaw,
    Measurand,
    Missing,
    Reading,
    Reason,
    RegionVerdict,
    Verdict,
)

__all__ = [
    "NEEDED",
    "Consequence",
    "Criterion",
    "Decision",
    "Evidence",
    "Finding",
    "Flaw",
    "GlobalRisks",
    "Measurand",
    "Missing",
    "Reading",
    "Reason",
    "RegionVerdict",
    "Verdict",
    "check_criterion",
    "conformance_probability",
    "decide",
    "global_risks",
    "guard_band",
]
