"""Counts in samples to rates with limits, and where to take the next sample.

A rate never leaves this room without its limits, and nothing here judges it by a criterion: whether a rate is good
enough is release's matter. The tests of lots and of sequences judge by their own stated numbers. Nothing here reads
files or the clock, and the only chance is that of a stated seed.
"""

from typing import TYPE_CHECKING

from wideroll.on_demand import on_demand

if TYPE_CHECKING:
    from wideroll.sampling.acceptance import (
        AcceptancePlan,
        Severity,
        acceptance_plan,
        acceptance_probability,
        code_letter,
        quality_at,
    )
    from wideroll.sampling.dispersion import clustered_limits, measure_dispersion
    from wideroll.sampling.known_rate import RateKnowledge, know_rate
    from wideroll.sampling.looks import combine_looks
    from wideroll.sampling.mark_classes import class_rates
    from wideroll.sampling.model import (
        Border,
        ClassRate,
        Combined,
        Detected,
        Dispersion,
        Look,
        MarkClass,
        RateLimits,
        RegionBasis,
        RegionLook,
        RegionRate,
        SampleSheet,
        SheetPlan,
        SheetReason,
    )
    from wideroll.sampling.operating import FixedPlan, OperatingPoint, fixed_plan, operating_points
    from wideroll.sampling.proportions import share_limits
    from wideroll.sampling.rates import area_needed, rate_limits
    from wideroll.sampling.regions import region_rates
    from wideroll.sampling.sequential import (
        SequentialPlan,
        Settled,
        Standing,
        approximate_point,
        sequential_plan,
        settle,
    )
    from wideroll.sampling.sheet_plan import SheetSize, further_sheets, plan_sheets, sheets_needed
    from wideroll.sampling.sheets import place_sheets
    from wideroll.sampling.switching import Inspection, Lot, LotResult, judge_lots, switch

__all__ = [
    "AcceptancePlan",
    "Border",
    "ClassRate",
    "Combined",
    "Detected",
    "Dispersion",
    "FixedPlan",
    "Inspection",
    "Look",
    "Lot",
    "LotResult",
    "MarkClass",
    "OperatingPoint",
    "RateKnowledge",
    "RateLimits",
    "RegionBasis",
    "RegionLook",
    "RegionRate",
    "SampleSheet",
    "SequentialPlan",
    "Settled",
    "Severity",
    "SheetPlan",
    "SheetReason",
    "SheetSize",
    "Standing",
    "acceptance_plan",
    "acceptance_probability",
    "approximate_point",
    "area_needed",
    "class_rates",
    "clustered_limits",
    "code_letter",
    "combine_looks",
    "fixed_plan",
    "further_sheets",
    "judge_lots",
    "know_rate",
    "measure_dispersion",
    "operating_points",
    "place_sheets",
    "plan_sheets",
    "quality_at",
    "rate_limits",
    "region_rates",
    "sequential_plan",
    "settle",
    "share_limits",
    "sheets_needed",
    "switch",
]

on_demand(__name__)
