"""Expected costs beside a roll's decision, where its product says what things cost."""

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Final

from wideroll.examination.model import Sheet
from wideroll.release import Costs, CostTable, Decision, Evidence, expected_costs
from wideroll.roll import Extent

__all__ = ["cost_roll", "usual_sheet_m2"]

_USUAL_M: Final = 0.3
"""Length of a sample sheet across the web where the roll has none yet: about a foot (common practice)."""


def cost_roll(decision: Decision, evidence: Evidence, costs: Costs | None, sheets: Sequence[Sheet]) -> CostTable | None:
    """What each choice is expected to cost; None where the product has no costs."""
    if costs is None:
        return None
    return expected_costs(decision, evidence, costs, sheet_m2=usual_sheet_m2(evidence.whole, sheets))


def usual_sheet_m2(whole: Extent, sheets: Sequence[Sheet]) -> float:
    """Area of one more sheet: the mean of those there are, else 0.3 m of the web.

    Example:
        >>> usual_sheet_m2(Extent(along_from_m=0.0, along_to_m=40.0, across_from_mm=0.0, across_to_mm=1000.0), [])
        0.3
    """
    if not sheets:
        return replace(whole, along_to_m=whole.along_from_m + min(_USUAL_M, whole.length_m)).area_m2
    return math.fsum(sheet.extent.area_m2 for sheet in sheets) / len(sheets)
