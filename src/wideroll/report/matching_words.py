"""How sheets and scan agree, in words for page and terminal."""

import math
from typing import Final

from wideroll.examination.model import Matching
from wideroll.report.quantities import show_interval, show_number

__all__ = ["matching_text"]

_FEWEST_SEEN: Final = 10
"""Fewer sightings than this say nothing about those that nobody saw."""


def matching_text(matching: Matching) -> str:
    """What examiner and scanner saw on the same sheets, and how many neither saw."""
    both, eye, scanner = len(matching.matches), len(matching.only_examiner), len(matching.only_scanner)
    counted = (
        f"On the sheets, seen by examiner and scanner alike: {both}; by the examiner alone: {eye}; by the scanner "
        f"alone: {scanner}. "
    )
    known = all(math.isfinite(value) for value in (matching.total, matching.total_low, matching.total_high))
    if not known or both + eye + scanner < _FEWEST_SEEN:
        return f"{counted}How many escaped both: too few to say."
    total = show_number(matching.total, 1)
    if matching.total_low == matching.total_high:
        return f"{counted}By this there were about {total} in all; how sure that is can't be said, as one saw all."
    between = show_interval(matching.total_low, matching.total_high, 1)
    escaped = show_number(matching.hidden, 1)
    return f"{counted}By this there were about {total} in all ({between}), of which about {escaped} escaped both."
