"""What a search is given, checked once: marks in order along, and the stretches where marks could be seen."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import Final

import numpy as np
from numpy.typing import NDArray

from wideroll.errors import ArgumentError
from wideroll.repeats.model import SeriesSettings

__all__ = ["Web", "check_settings", "lane_rows", "lay_out"]

_MAY_BE_ZERO: Final = ("slip", "wander", "drift")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Web:
    """Marks seen, in order along."""

    along: NDArray[np.float64]
    """(n,) metres, ascending."""
    across: NDArray[np.float64]
    """(n,) millimetres."""
    seen: NDArray[np.float64]
    """(n,) metres of web looked at before each mark, ascending."""
    given: NDArray[np.int64]
    """(n,) row of each mark among those given to the search."""
    observed: tuple[tuple[float, float], ...]
    """Stretches looked at, in order along."""
    gaps: NDArray[np.float64]
    """(g, 2) stretches between them that nobody looked at."""
    seen_m: float
    """Metres of web looked at."""
    length_m: float
    """Of the roll."""


def lay_out(
    along_m: NDArray[np.float64],
    across_mm: NDArray[np.float64],
    length_m: float,
    observed: Sequence[tuple[float, float]] | None,
) -> Web:
    """Check and sort the marks; those outside the stretches looked at are left out.

    Raises:
        ArgumentError: unequal lengths, a place that isn't finite or lies outside the roll, a length that isn't greater
            than 0, stretches that are inverted, empty, overlapping or outside the roll.
    """
    if not (math.isfinite(length_m) and length_m > 0.0):
        raise ArgumentError(
            where="length_m", rule="must be greater than 0", value=length_m, mend="Give the length of the roll."
        )
    along, across = _places(along_m, across_mm, length_m)
    stretches = _stretches(((0.0, length_m),) if observed is None else observed, length_m)
    starts, ends = np.array(stretches).reshape(-1, 2).T
    before = np.concatenate(([0.0], np.cumsum(ends - starts)))
    stretch = np.searchsorted(starts, along, side="right") - 1
    inside = (stretch >= 0) & (along <= ends[stretch]) if stretches else np.zeros(along.size, dtype=bool)
    given = np.flatnonzero(inside)
    given = given[np.lexsort((across[given], along[given]))]
    stretch = stretch[given]
    gaps = np.column_stack((ends[:-1], starts[1:]))
    return Web(
        along=along[given],
        across=across[given],
        seen=before[stretch] + along[given] - starts[stretch],
        given=given,
        observed=stretches,
        gaps=gaps[gaps[:, 1] > gaps[:, 0]],
        seen_m=float(before[-1]),
        length_m=float(length_m),
    )


def lane_rows(across: NDArray[np.float64], settings: SeriesSettings) -> list[tuple[float, NDArray[np.int64]]]:
    """Windows of the lane's width, each half a width on, that hold enough marks; none that a neighbour holds whole.

    Args:
        across: float64 (n,), millimetres, of marks in order along.
        settings: width of a lane, and how many marks are enough.

    Returns:
        The middle of each in millimetres, and the rows of its marks in order along.
    """
    half = settings.lane_mm / 2.0
    number = np.floor(across / half).astype(np.int64)
    used = set(number.tolist())
    order = np.argsort(number, kind="stable")
    ranked = number[order]
    lanes: list[tuple[float, NDArray[np.int64]]] = []
    for first in sorted(used):
        if first + 1 in used or first - 1 not in used:
            start, end = np.searchsorted(ranked, [first, first + 2])
            if end - start >= settings.least_turns:
                lanes.append((float(first + 1) * half, np.sort(order[start:end])))
    return lanes


def check_settings(settings: SeriesSettings) -> None:
    """Refuse settings that no search could use.

    Raises:
        ArgumentError: a setting that isn't finite, is negative or, where it can't be, 0; most below least spacing; a
            false alarm of 1 or more; fewer than 2 turns.
    """
    for field in fields(settings):
        value = float(getattr(settings, field.name))
        if not math.isfinite(value) or value < 0.0 or (value == 0.0 and field.name not in _MAY_BE_ZERO):
            raise ArgumentError(
                where=f"settings.{field.name}", rule="must be greater than 0", value=value, mend="Mend the setting."
            )
    for name, good, rule in (
        ("most_spacing_m", settings.most_spacing_m > settings.least_spacing_m, "must be greater than least_spacing_m"),
        ("false_alarm", settings.false_alarm < 1.0, "must be less than 1"),
        ("least_turns", settings.least_turns > 1, "must be at least 2"),
    ):
        if not good:
            value = getattr(settings, name)
            raise ArgumentError(where=f"settings.{name}", rule=rule, value=value, mend="Mend the setting.")


def _places(
    along_m: NDArray[np.float64], across_mm: NDArray[np.float64], length_m: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    along, across = np.asarray(along_m, dtype=np.float64), np.asarray(across_mm, dtype=np.float64)
    if along.ndim != 1 or along.shape != across.shape:
        raise ArgumentError(
            where="along_m, across_mm",
            rule="must be two rows of the same length",
            value=(along.shape, across.shape),
            mend="Give both places of each mark.",
        )
    for where, places in (("along_m", along), ("across_mm", across)):
        if not np.isfinite(places).all():
            row = int(np.flatnonzero(~np.isfinite(places))[0])
            raise ArgumentError(
                where=f"{where}[{row}]", rule="must be finite", value=float(places[row]), mend="Leave out this mark."
            )
    outside = np.flatnonzero((along < 0.0) | (along > length_m))
    if outside.size:
        row = int(outside[0])
        raise ArgumentError(
            where=f"along_m[{row}]",
            rule=f"must lie on the roll, 0 to {length_m:g} m",
            value=float(along[row]),
            mend="Check the unit, and the length of the roll.",
        )
    return along, across


def _stretches(observed: Sequence[tuple[float, float]], length_m: float) -> tuple[tuple[float, float], ...]:
    stretches = sorted((float(start), float(end)) for start, end in observed)
    reach = 0.0
    for start, end in stretches:
        if not start < end:
            rule = "the end of a stretch must lie after its start"
        elif not (start >= 0.0 and end <= length_m):
            rule = f"a stretch must lie on the roll, 0 to {length_m:g} m"
        elif start < reach:
            rule = "stretches must not overlap"
        else:
            reach = end
            continue
        raise ArgumentError(where="observed", rule=rule, value=(start, end), mend="Give (from, to) in metres.")
    return tuple(stretches)
