"""Marks along the web to series that return every turn, and the roller that made them.

Nothing here reads files, waits for the machine or decides what becomes of a roll. It knows places of marks and the
table of rollers; what the marks look like, and what layer they lie in, is others' knowledge.
"""

from wideroll.repeats.fold import fold, h_test, rayleigh_test
from wideroll.repeats.model import (
    ANOTHER,
    Candidate,
    FoldTest,
    Lap,
    Roller,
    Series,
    SeriesKind,
    SeriesSearch,
    SeriesSettings,
    SpacingEvidence,
    Stage,
    Winding,
)
from wideroll.repeats.search import find_series

__all__ = [
    "ANOTHER",
    "Candidate",
    "FoldTest",
    "Lap",
    "Roller",
    "Series",
    "SeriesKind",
    "SeriesSearch",
    "SeriesSettings",
    "SpacingEvidence",
    "Stage",
    "Winding",
    "find_series",
    "fold",
    "h_test",
    "rayleigh_test",
]
