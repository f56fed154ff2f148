"""The marks table: one row for each mark found on the web, whoever found it."""

from collections.abc import Iterable
from enum import StrEnum
from hashlib import blake2b
from math import isfinite
from typing import Final

import polars as pl

from wideroll.errors import ArgumentError, InputError
from wideroll.roll.places import Extent

__all__ = [
    "EXTENDED_KINDS",
    "MARKS_SCHEMA",
    "MARK_KINDS",
    "POLARITIES",
    "MarkKind",
    "Polarity",
    "check_marks",
    "empty_marks",
    "mark_id",
    "marks_within",
]


class MarkKind(StrEnum):
    """What a mark looks like, in the trade's words."""

    SPOT = "spot"
    COMET = "comet"
    BUBBLE = "bubble"
    HOLE = "hole"
    PINHOLE = "pinhole"
    STREAK = "streak"
    BAND = "band"
    SCRATCH = "scratch"
    STATIC_MARK = "static mark"
    PRESSURE_MARK = "pressure mark"
    FOG = "fog"
    COATING_VOID = "coating void"
    EDGE_FAULT = "edge fault"
    OTHER = "other"


class Polarity(StrEnum):
    """Whether the scanner's signal falls or rises at the mark."""

    DARK = "dark"
    BRIGHT = "bright"


EXTENDED_KINDS: Final = frozenset({MarkKind.STREAK, MarkKind.BAND, MarkKind.FOG, MarkKind.EDGE_FAULT})
"""Kinds that run on or spread out: they have no one place, so that nobody counts them as marks."""
MARK_KINDS: Final = tuple(kind.value for kind in MarkKind)
POLARITIES: Final = tuple(polarity.value for polarity in Polarity)

MARKS_SCHEMA: Final = pl.Schema(
    {
        "id": pl.String(),
        "along_m": pl.Float64(),
        "across_mm": pl.Float64(),
        "length_mm": pl.Float64(),
        "width_mm": pl.Float64(),
        "area_mm2": pl.Float64(),
        "contrast": pl.Float64(),
        "snr": pl.Float64(),
        "peak": pl.Float64(),
        "elongation": pl.Float64(),
        "angle_deg": pl.Float64(),
        "ring": pl.Float64(),
        "polarity": pl.Enum(POLARITIES),
        "kind": pl.Enum(MARK_KINDS),
        "rule": pl.String(),
        "source": pl.String(),
    }
)
"""Columns of a marks table.

``length_mm`` is the size along the web, ``width_mm`` across. ``contrast`` is the mean departure of the mark's core from
the background as a fraction of it, ``peak`` the greatest of any of its pixels; neither is negative: the sign is the
polarity. ``snr`` is how far the mark stands out, in units of the noise there. ``elongation`` is length over width of
the best-fitting ellipse (1 for a round mark) and ``angle_deg`` the direction of its long axis: 0 lies along the web, 90
across it, and towards greater places across it turns positive. ``ring`` is the signed contrast of a ring of the other
polarity around the mark, negative where the ring is dark, and 0 where there is none. ``rule`` says what named the kind;
``source`` names the scanner or examiner."""

_ID_BYTES: Final = 6
_WITHIN: Final = {
    "elongation": ("is at least 1", pl.col("elongation") >= 1.0),
    "angle_deg": ("lies above -90 and up to 90", pl.col("angle_deg").is_between(-90.0, 90.0, closed="right")),
}


def empty_marks() -> pl.DataFrame:
    """A marks table with no marks: something was looked at and nothing was found.

    Example:
        >>> empty_marks().height
        0
    """
    return MARKS_SCHEMA.to_frame()


def mark_id(*, source: str, along_m: float, across_mm: float, polarity: str) -> str:
    """A short name for a mark that survives a second run.

    It depends only on where (to 0.01 mm) and by what the mark was seen.

    Raises:
        ArgumentError: when the place isn't finite.

    Example:
        >>> mark_id(source="line-1", along_m=12.5, across_mm=300.0, polarity="dark")
        '28282b663903'
    """
    if not (isfinite(along_m) and isfinite(across_mm)):
        raise ArgumentError(
            where="place of a mark",
            rule="must be finite",
            value=(along_m, across_mm),
            mend="Leave out marks without a place.",
        )
    text = f"{source}|{round(along_m * 1e5)}|{round(across_mm * 1e2)}|{polarity}"
    return blake2b(text.encode(), digest_size=_ID_BYTES).hexdigest()


def check_marks(marks: pl.DataFrame, *, where: str = "marks") -> pl.DataFrame:
    """The same table with exactly the columns and types of ``MARKS_SCHEMA``, in order.

    Numbers must be finite, so that no mark can fall out of every stretch unseen; only ``snr`` may be infinite, where
    there is no noise. ``elongation`` is at least 1 and ``angle_deg`` above -90 and up to 90.

    Raises:
        InputError: naming the column that is missing, of another type, empty, not finite or out of its range.

    Example:
        >>> check_marks(empty_marks()).columns == list(MARKS_SCHEMA)
        True
    """
    missing = [name for name in MARKS_SCHEMA if name not in marks.columns]
    if missing:
        raise InputError(
            where=where,
            rule=f"a marks table has the columns {', '.join(MARKS_SCHEMA)}",
            value=f"no {', '.join(missing)}",
            mend="Add the column, or let wideroll scan write the table.",
        )
    try:
        table = marks.select(list(MARKS_SCHEMA)).cast(MARKS_SCHEMA)
    except pl.exceptions.PolarsError as error:
        first = str(error).splitlines()[0]
        raise InputError(
            where=where,
            rule="each column has its type",
            value=first,
            mend="See docs/reference/files.md for the type of each column.",
        ) from error
    for column in table:
        if faulty := column.null_count() + _not_numbers(column):
            raise InputError(
                where=f"{where}, column {column.name}",
                rule="no value may be empty or not a finite number",
                value=f"{faulty} of {len(column)}",
                mend="Fill the values or leave the rows out.",
            )
    for name, (rule, holds) in _WITHIN.items():
        outside = table.filter(~holds)[name]
        if len(outside):
            raise InputError(
                where=f"{where}, column {name}",
                rule=f"each value {rule}",
                value=outside[0],
                mend="Correct the values or leave the rows out.",
            )
    return table


def _not_numbers(column: pl.Series) -> int:
    if not column.dtype.is_float():
        return 0
    faulty = column.is_nan() if column.name == "snr" else ~column.is_finite()
    return int(faulty.sum())


def marks_within(marks: pl.DataFrame, extents: Iterable[Extent]) -> pl.DataFrame:
    """The marks whose centre lies in at least one of the rectangles, in the order of the table.

    Example:
        >>> lane = Extent(along_from_m=0.0, along_to_m=10.0, across_from_mm=100.0, across_to_mm=135.0)
        >>> marks_within(empty_marks(), [lane]).height
        0
    """
    inside = [
        pl.col("along_m").is_between(box.along_from_m, box.along_to_m, closed="left")
        & pl.col("across_mm").is_between(box.across_from_mm, box.across_to_mm, closed="left")
        for box in extents
    ]
    return marks.filter(pl.any_horizontal(inside)) if inside else marks.clear()
