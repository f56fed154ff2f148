"""The scanner's raster to marks, streaks and an overview, with what was and wasn't looked at.

Nothing here decides whether a mark matters, names the machine part that made it, or reads files: rows of pixels come
in, places and measures go out. What was not looked at is listed and never counted as clean.
"""

from typing import TYPE_CHECKING

from wideroll.on_demand import on_demand

if TYPE_CHECKING:
    from wideroll.scan.channels import MATCHES_SCHEMA, match_channels
    from wideroll.scan.detection import (
        ContrastUnit,
        DetectionClass,
        DetectionCurve,
        DetectionPlan,
        DetectionProbability,
        DetectionResult,
        DetectionThreshold,
        DetectionTrial,
        FitMethod,
        Injected,
        Reach,
    )
    from wideroll.scan.detection_fit import compare_polarities, fit_detection
    from wideroll.scan.detection_inject import inject
    from wideroll.scan.detection_limits import (
        DetectionCell,
        DetectionSize,
        DetectionTable,
        contrast_detected,
        detection_probability,
        detection_table,
        size_detected,
    )
    from wideroll.scan.detection_plan import plan_marks, web_columns
    from wideroll.scan.detection_score import Scored, score_marks, tally_classes
    from wideroll.scan.finder import MarkFinder, find_marks
    from wideroll.scan.look import Glance, LookSoFar
    from wideroll.scan.model import (
        Band,
        ChannelScan,
        Chip,
        LostLines,
        MottleScale,
        Overview,
        ScanResult,
        ScanSettings,
        Splice,
        Streak,
        StreakOrigin,
    )
    from wideroll.scan.origin import compare_scans
    from wideroll.scan.places import LinePlaces

__all__ = [
    "MATCHES_SCHEMA",
    "Band",
    "ChannelScan",
    "Chip",
    "ContrastUnit",
    "DetectionCell",
    "DetectionClass",
    "DetectionCurve",
    "DetectionPlan",
    "DetectionProbability",
    "DetectionResult",
    "DetectionSize",
    "DetectionTable",
    "DetectionThreshold",
    "DetectionTrial",
    "FitMethod",
    "Glance",
    "Injected",
    "LinePlaces",
    "LookSoFar",
    "LostLines",
    "MarkFinder",
    "MottleScale",
    "Overview",
    "Reach",
    "ScanResult",
    "ScanSettings",
    "Scored",
    "Splice",
    "Streak",
    "StreakOrigin",
    "compare_polarities",
    "compare_scans",
    "contrast_detected",
    "detection_probability",
    "detection_table",
    "find_marks",
    "fit_detection",
    "inject",
    "match_channels",
    "plan_marks",
    "score_marks",
    "size_detected",
    "tally_classes",
    "web_columns",
]

on_demand(__name__)
