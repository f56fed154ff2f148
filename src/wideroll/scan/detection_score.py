"""Which planned marks were found again."""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

import numpy as np
import polars as pl
from numpy.typing import NDArray
from scipy.spatial import KDTree

from wideroll.errors import ArgumentError
from wideroll.roll import Polarity
from wideroll.scan.detection import DetectionClass, DetectionPlan

__all__ = ["Scored", "score_marks", "tally_classes"]

_TOLERANCE_PX: Final = 1.5
"""A mark is found when its place lies within half its size and this of where it was laid, along and across."""
_SAME_PX: Final = 3.0
"""A mark this close to one of the clean scan, of the same polarity, was there before."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Scored:
    """Hit or miss for each mark of a plan, in its order, and the marks that nobody laid."""

    plan: DetectionPlan
    hits: tuple[bool, ...]
    strays: int
    """Marks found neither where one was laid nor in the clean scan."""


def score_marks(plan: DetectionPlan, found: pl.DataFrame, clean: pl.DataFrame) -> Scored:
    """Match the marks found on the laid stretch with those that were laid, by place and polarity.

    What the clean scan has within 3 pixels, of the same polarity, is taken out first, and no mark was planned near it:
    so noise and dirt that lie there anyway can't be taken for a hit. A laid mark is hit when a mark of its polarity
    has its place within half the laid size and 1.5 pixels of it, along and across.

    Args:
        plan: What was laid.
        found: Marks of the stretch with them, as ``MARKS_SCHEMA``, along from the stretch's first line and across from
            the plan's first column (``find_edges`` off).
        clean: Marks of the same stretch without them, placed in the same way.

    Raises:
        ArgumentError: when a table lacks ``along_m``, ``across_mm`` or ``polarity``.

    Example:
        >>> from wideroll.scan.detection import ContrastUnit, Injected
        >>> laid = Injected(line=104.0, column=31.0, size_mm=0.6, contrast=-0.3, level=0.3)
        >>> place = {"first_line": 100, "lines": 9, "first_column": 20, "columns": 99, "pitch_mm": (0.1, 0.1)}
        >>> plan = DetectionPlan(**place, unit=ContrastUnit.SIGNAL, seed=1, marks=(laid,))
        >>> found = pl.DataFrame({"along_m": [0.0005, 0.0002], "across_mm": [1.2, 5.0], "polarity": ["dark"] * 2})
        >>> scored = score_marks(plan, found, clean=found.clear())
        >>> scored.hits, scored.strays
        ((True,), 1)
    """
    hits = np.zeros(len(plan.marks), np.bool_)
    strays = 0
    for polarity in Polarity:
        new = _without(_places(found, polarity, plan), _places(clean, polarity, plan))
        mine = [n for n, mark in enumerate(plan.marks) if mark.polarity is polarity]
        near = _near(new, np.array([[plan.marks[n].line, plan.marks[n].column] for n in mine]), mine, plan)
        hits[mine] = near.any(axis=0)
        strays += int((~near.any(axis=1)).sum())
    return Scored(plan=plan, hits=tuple(hits.tolist()), strays=strays)


def tally_classes(scored: Iterable[Scored]) -> tuple[DetectionClass, ...]:
    """Marks and hits of each size, contrast and polarity over all stretches, in ascending order.

    Example:
        >>> tally_classes([])
        ()
    """
    laid: Counter[tuple[str, float, float]] = Counter()
    hits: Counter[tuple[str, float, float]] = Counter()
    for one in scored:
        for mark, hit in zip(one.plan.marks, one.hits, strict=True):
            key = (mark.polarity.value, mark.size_mm, mark.level)
            laid[key] += 1
            hits[key] += hit
    return tuple(
        DetectionClass(polarity=Polarity(key[0]), size_mm=key[1], contrast=key[2], injected=laid[key], hits=hits[key])
        for key in sorted(laid)
    )


def _places(marks: pl.DataFrame, polarity: Polarity, plan: DetectionPlan) -> NDArray[np.float64]:
    """Line and column (n, 2) in the raster."""
    missing = {"along_m", "across_mm", "polarity"} - set(marks.columns)
    if missing:
        raise ArgumentError(
            where="marks", rule="must be a marks table", value=f"no {', '.join(sorted(missing))}", mend="Scan first."
        )
    table = marks.filter(pl.col("polarity").cast(pl.String()) == polarity.value)
    line = table["along_m"].to_numpy() * 1000.0 / plan.pitch_mm[0] + plan.first_line
    return np.column_stack([line, table["across_mm"].to_numpy() / plan.pitch_mm[1] + plan.first_column])


def _without(found: NDArray[np.float64], clean: NDArray[np.float64]) -> NDArray[np.float64]:
    if not len(found) or not len(clean):
        return found
    distance, _ = KDTree(clean).query(found)
    return found[np.asarray(distance) > _SAME_PX]


def _near(
    found: NDArray[np.float64], laid: NDArray[np.float64], mine: list[int], plan: DetectionPlan
) -> NDArray[np.bool_]:
    """``[found, laid]``: whether a found mark lies where one was laid."""
    if not mine or not len(found):
        return np.zeros((len(found), len(mine)), np.bool_)
    sizes = np.array([plan.marks[n].size_mm for n in mine])
    inside = np.ones((len(found), len(mine)), np.bool_)
    for axis, pitch in enumerate(plan.pitch_mm):
        inside &= np.abs(found[:, axis, None] - laid[None, :, axis]) <= sizes / 2.0 / pitch + _TOLERANCE_PX
    return inside
