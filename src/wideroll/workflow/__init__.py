"""The use cases, over ports: what a person does in one go.

Rooms hand frozen results to one another only through here. Nothing here reads a file, a clock or a database: adapters
for the ports come from above.
"""

from wideroll.workflow.assess import RollDesk, assess_roll, check_widths, open_roll, plan_from
from wideroll.workflow.gather import (
    BATCHES,
    FLAW_UNITS,
    READING_UNITS,
    SCAN,
    SHEETS,
    STRIPS,
    batch_extents,
    gather_evidence,
)
from wideroll.workflow.model import (
    Assessment,
    Batch,
    Examination,
    Examined,
    Plant,
    Product,
    RollCard,
    Scanner,
    StripRoom,
)
from wideroll.workflow.ports import Grey, PlantFiles, Progress, Raster, Results, Silent
from wideroll.workflow.take_in import (
    examine_sheets,
    fit_to_roll,
    judge_strips,
    scan_web,
    search_repeats,
    whole_web,
)

__all__ = [
    "BATCHES",
    "FLAW_UNITS",
    "READING_UNITS",
    "SCAN",
    "SHEETS",
    "STRIPS",
    "Assessment",
    "Batch",
    "Examination",
    "Examined",
    "Grey",
    "Plant",
    "PlantFiles",
    "Product",
    "Progress",
    "Raster",
    "Results",
    "RollCard",
    "RollDesk",
    "Scanner",
    "Silent",
    "StripRoom",
    "assess_roll",
    "batch_extents",
    "check_widths",
    "examine_sheets",
    "fit_to_roll",
    "gather_evidence",
    "judge_strips",
    "open_roll",
    "plan_from",
    "scan_web",
    "search_repeats",
    "whole_web",
]
