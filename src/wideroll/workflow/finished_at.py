"""From a coated place of a wide roll to the finished rolls that hold it, and where on each it lies."""

from dataclasses import dataclass

import polars as pl

from wideroll.errors import InputError
from wideroll.roll import Extent
from wideroll.workflow.finished_index import FinishedIndex
from wideroll.workflow.tracing import FilmPiece

__all__ = ["FinishedPlace", "finished_at"]

_NM_PER_M = 10**9
_NM_PER_MM = 10**6
_NAMED = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class FinishedPlace:
    """Where a coated place lies on a finished roll: from its outer end and from its two edges.

    The edges are None where all of the web's width was asked for.
    """

    finished: str
    width: str
    order: str
    from_outer_m: float
    edge_mm: float | None
    other_edge_mm: float | None


def finished_at(index: FinishedIndex, roll: str, along_m: float, across_mm: float | None) -> tuple[FinishedPlace, ...]:
    """The finished rolls that hold a coated place, by their numbers.

    Args:
        index: the plant's finished rolls.
        roll: the coated roll.
        along_m: from its head.
        across_mm: from the datum edge; None for all across.

    Raises:
        InputError: when no finished roll is of that coated roll.

    Example:
        >>> from wideroll.workflow.finished_rolls import FINISHED_SCHEMA
        >>> try:
        ...     finished_at(FinishedIndex(rows=FINISHED_SCHEMA.to_frame(), rolls={}), "W-1", 2.0, None)
        ... except InputError as error:
        ...     error.mend
        'Take one of: none yet.'
    """
    mine = index.rows.filter(pl.col("coated") == roll)
    if not mine.height:
        known = index.rows["coated"].unique().sort().to_list()
        raise InputError(
            where="roll",
            rule="must be a coated roll with a cut list that stands",
            value=roll,
            mend=f"Take one of: {', '.join(known[:_NAMED]) or 'none yet'}{' …' if len(known) > _NAMED else ''}.",
        )
    along = round(along_m * _NM_PER_M)
    here = (pl.col("along_from_nm") <= along) & (pl.col("along_to_nm") >= along)
    if across_mm is not None:
        across = round(across_mm * _NM_PER_MM)
        here &= (pl.col("across_from_nm") <= across) & (pl.col("across_to_nm") >= across)
    rows = mine.filter(here).sort("across_from_nm", "finished").iter_rows(named=True)
    return tuple(_place(row, along_m, across_mm) for row in rows)


def _place(row: dict[str, object], along_m: float, across_mm: float | None) -> FinishedPlace:
    piece = FilmPiece(row)
    middle = sum(piece.across_mm) / 2.0 if across_mm is None else across_mm
    on = piece.on_finished(Extent(along_from_m=along_m, along_to_m=along_m, across_from_mm=middle, across_to_mm=middle))
    return FinishedPlace(
        finished=str(row["finished"]),
        width=str(row["width"]),
        order=str(row["order"]),
        from_outer_m=on.from_m,
        edge_mm=None if across_mm is None else on.edge_mm,
        other_edge_mm=None if across_mm is None else on.other_edge_mm,
    )
