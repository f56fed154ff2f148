"""Evidence and criteria to a verdict for every part of the roll, with reasons.

Nothing here measures, and nothing reads files or the clock. What was not looked at is never released: absent, void and
extrapolated evidence hold the part they should have spoken for.
"""

from typing import TYPE_CHECKING

from wideroll.on_demand import on_demand

if TYPE_CHECKING:
    from wideroll.release.conformance import GlobalRisks, conformance_probability, global_risks, guard_band
    from wideroll.release.costs import check_costs, expected_costs
    from wideroll.release.costs_model import Choice, Costs, CostTable, Escaped, PartCosts
    from wideroll.release.criteria import check_criterion
    from wideroll.release.decision import decide
    from wideroll.release.looks import DetectedShare, KnownRate, Looked, NamedPart, RateOf
    from wideroll.release.mark_counts import marks_in_rolls
    from wideroll.release.model import (
        GRADED,
        NEEDED,
        SIGHTED,
        Bound,
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
        Region,
        RegionVerdict,
        Verdict,
    )
    from wideroll.release.rate_units import RATE_UNITS, unit_m2

__all__ = [
    "GRADED",
    "NEEDED",
    "RATE_UNITS",
    "SIGHTED",
    "Bound",
    "Choice",
    "Consequence",
    "CostTable",
    "Costs",
    "Criterion",
    "Decision",
    "DetectedShare",
    "Escaped",
    "Evidence",
    "Finding",
    "Flaw",
    "GlobalRisks",
    "KnownRate",
    "Looked",
    "Measurand",
    "Missing",
    "NamedPart",
    "PartCosts",
    "RateOf",
    "Reading",
    "Reason",
    "Region",
    "RegionVerdict",
    "Verdict",
    "check_costs",
    "check_criterion",
    "conformance_probability",
    "decide",
    "expected_costs",
    "global_risks",
    "guard_band",
    "marks_in_rolls",
    "unit_m2",
]

on_demand(__name__)
