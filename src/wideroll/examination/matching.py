"""Examiners' sightings and the scanner's marks, matched within how well each place is known."""

from collections.abc import Sequence

import numpy as np
import polars as pl
from numpy.typing import NDArray
from scipy.optimize import linear_sum_assignment

from wideroll.errors import ArgumentError
from wideroll.examination.capture import chapman
from wideroll.examination.model import Match, Matching, Origin, Sheet, Sighting
from wideroll.examination.origin import find_origin
from wideroll.roll import EXTENDED_KINDS, marks_within

__all__ = ["match_sightings", "pair_places"]


def match_sightings(
    sheets: Sequence[Sheet],
    sightings: Sequence[Sighting],
    marks: pl.DataFrame,
    tolerance_along_m: float,
    tolerance_across_mm: float,
) -> Matching:
    """Pair sightings with marks, as many as can be, with the least total distance among such pairings.

    A pair may differ by at most the tolerance on each axis; the distance that is minimised is the sum of squares in
    units of the tolerances (optimal assignment). Marks count when they lie on a sheet or are paired with something on
    one. Sightings that came by handling the sheet are left aside: they lie on top or wipe off and the scanner has
    nothing there. So are streaks, bands, fog and edge faults, which the scanner doesn't report as marks.

    Args:
        sheets: the sheets that were examined.
        sightings: with places on the roll, each naming its sheet.
        marks: the scanner's marks (``MARKS_SCHEMA``).
        tolerance_along_m: greatest difference along, in metres.
        tolerance_across_mm: greatest difference across, in millimetres.

    Returns:
        The pairs, what only one of them saw, and Chapman's estimate of how many there are with its 95 % interval.

    Raises:
        ArgumentError: when a tolerance isn't positive or a sighting names no sheet that was given.

    Example:
        >>> from wideroll.roll import empty_marks
        >>> match_sightings([], [], empty_marks(), tolerance_along_m=0.01, tolerance_across_mm=4.0).total
        0.0
    """
    _check(sheets, sightings, tolerance_along_m, tolerance_across_mm)
    places = marks.select("along_m", "across_mm").to_numpy()
    tolerance = np.array([tolerance_along_m, tolerance_across_mm])
    compared = [n for n, sighting in enumerate(sightings) if sighting.kind not in EXTENDED_KINDS]
    own = np.array([[sightings[n].place.along_m, sightings[n].place.across_mm] for n in compared]).reshape(-1, 2)
    pairs = [(compared[row], column) for row, column in pair_places(own, places, tolerance)]
    ids = marks["id"].to_list()
    matches = tuple(
        Match(sighting=row, mark_id=ids[column], distance_mm=_distance_mm(sightings[row], places[column]))
        for row, column in pairs
    )
    matched = {match.sighting for match in matches}
    rest = [number for number in compared if number not in matched]
    handling = tuple(n for n in rest if find_origin(sightings[n], seen_by_scanner=False).origin is Origin.HANDLING)
    only_examiner = tuple(n for n in rest if n not in handling)
    paired = {match.mark_id for match in matches}
    on_sheets = marks_within(marks, [sheet.extent for sheet in sheets])["id"].to_list()
    only_scanner = tuple(name for name in on_sheets if name not in paired)
    estimate = chapman(len(matches) + len(only_scanner), len(matches) + len(only_examiner), len(matches))
    return Matching(
        matches=matches,
        only_examiner=only_examiner,
        only_scanner=only_scanner,
        total=estimate.total,
        total_low=estimate.low,
        total_high=estimate.high,
        hidden=estimate.hidden,
        handling=handling,
    )


def _check(sheets: Sequence[Sheet], sightings: Sequence[Sighting], along_m: float, across_mm: float) -> None:
    for name, value in (("tolerance_along_m", along_m), ("tolerance_across_mm", across_mm)):
        if not value > 0.0:
            raise ArgumentError(
                where=name, rule="must be greater than 0", value=value, mend="Give how well a place is known."
            )
    names = {sheet.name for sheet in sheets}
    for sighting in sightings:
        if sighting.sheet not in names:
            raise ArgumentError(
                where="sightings",
                rule="each sighting lies on one of the sheets",
                value=sighting.sheet,
                mend="Give that sheet too, or mend its name.",
            )


def pair_places(
    own: NDArray[np.float64], places: NDArray[np.float64], tolerance: NDArray[np.float64]
) -> list[tuple[int, int]]:
    """Row numbers of places that belong together, in order of the first; as many as can be, nearest in all.

    Args:
        own: (n, 2), along in metres and across in millimetres.
        places: (m, 2), the same.
        tolerance: (2,) greatest difference along and across; infinite where an axis doesn't count.

    Example:
        >>> one, other = np.array([[1.0, 100.0], [1.01, 100.0]]), np.array([[1.0, 100.0], [0.99, 100.0]])
        >>> pair_places(one, other, np.array([0.0101, 4.0]))
        [(0, 1), (1, 0)]
    """
    if not len(own) or not len(places):
        return []
    near = [np.flatnonzero((np.abs(places - place) <= tolerance).all(axis=1)) for place in own]
    columns = np.unique(np.concatenate(near))
    if not len(columns):
        return []
    off = (places[None, columns, :] - own[:, None, :]) / tolerance
    allowed: NDArray[np.bool_] = np.all(np.abs(off) <= 1.0, axis=2)
    # A forbidden pair costs more than all allowed ones together, so that it is taken only where nothing else is left.
    forbidden = 2.0 * min(allowed.shape) + 1.0
    rows, picked = linear_sum_assignment(np.where(allowed, (off**2).sum(axis=2), forbidden))
    picks = zip(rows.tolist(), picked.tolist(), strict=True)
    return [(r, int(columns[c])) for r, c in picks if allowed.item(r, c)]


def _distance_mm(sighting: Sighting, place: NDArray[np.float64]) -> float:
    along_mm = (float(place[0]) - sighting.place.along_m) * 1000.0
    return float(np.hypot(along_mm, float(place[1]) - sighting.place.across_mm))
