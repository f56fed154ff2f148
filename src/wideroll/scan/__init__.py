"""The scanner's raster to marks, streaks and an overview, with what was and wasn't looked at.

Nothing here decides whether a mark matters, names the machine part that made it, or reads files: rows of pixels come
in, places and measures go out. What was not looked at is listed and never counted as clean.
"""

from wideroll.scan.channels import MATCHES_SCHEMA, match_channels
from wideroll.scan.finder import MarkFinder, find_marks
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
from wideroll.scan.places import LinePlaces

__all__ = [
    "MATCHES_SCHEMA",
    "Band",
    "ChannelScan",
    "Chip",
    "LinePlaces",
    "LostLines",
    "MarkFinder",
    "MottleScale",
    "Overview",
    "ScanResult",
    "ScanSettings",
    "Splice",
    "Streak",
    "StreakOrigin",
    "find_marks",
    "match_channels",
]
