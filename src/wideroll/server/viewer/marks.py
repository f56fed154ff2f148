"""The marks that are asked for: one by one, in bins where there are many, as a page of a table, or the next of them."""

import math
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, Any, Final

from wideroll.errors import InputError
from wideroll.server.desk import Desk
from wideroll.server.viewer.asked import Asked
from wideroll.server.viewer.data import RollView
from wideroll.server.viewer.kept import Kept

if TYPE_CHECKING:
    import polars as pl

__all__ = [
    "MOST_SINGLE",
    "ROWS",
    "SCHEMA",
    "Step",
    "all_marks",
    "chosen_marks",
    "found_marks",
    "mark_row",
    "next_mark",
    "segment_of",
]

SCHEMA: Final = "wideroll/marks-in-view/1"
MOST_SINGLE: Final = 2_000
"""Above so many they are binned."""
ROWS: Final = 50
"""Of a page of the table."""
_BINS: Final = (96, 32)
"""No more than about so many along and across."""
_NO_LANES: Final = "give the width of a lane too, 1 mm or more"
_KEPT_BYTES: Final = 32 << 20


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """A mark, the how-manieth it is of those asked for, and of how many."""

    row: dict[str, Any]
    number: int
    of: int


def chosen_marks(view: RollView, asked: Asked) -> "pl.DataFrame":
    """The marks asked for, in the order asked for.

    Raises:
        InputError: when there is no such lane, or lanes have no width.
    """
    import polars as pl  # noqa: PLC0415  (slow to load)

    table = _along(view, asked)
    low, high = _across(view, asked)
    wanted = [] if low is None else [pl.col("across_mm") >= low]
    wanted += [] if high is None else [pl.col("across_mm") < high]
    if asked.size_from_mm is not None:
        wanted.append(pl.col("size_mm") >= asked.size_from_mm)
    if asked.size_to_mm is not None:
        wanted.append(pl.col("size_mm") <= asked.size_to_mm)
    for name in ("kind", "source", "polarity"):
        if words := getattr(asked, name):
            wanted.append(pl.col(name).cast(pl.String).is_in(list(words)))
    found = table.filter(*wanted) if wanted else table
    column = asked.sort.removeprefix("-")
    if asked.sort == "along_m":
        return found
    down = asked.sort.startswith("-")
    by = pl.col(column).cast(pl.String) if column in {"kind", "source"} else pl.col(column)
    return found.sort(by, "along_m", "across_mm", "id", descending=[down, False, False, False])


def _along(view: RollView, asked: Asked) -> "pl.DataFrame":
    """Those between two places along: the table is in their order."""
    places = view.marks["along_m"]
    first = 0 if asked.from_m is None else int(places.search_sorted(asked.from_m, side="left"))
    last = len(places) if asked.to_m is None else int(places.search_sorted(asked.to_m, side="left"))
    return view.marks.slice(first, max(last - first, 0))


def _across(view: RollView, asked: Asked) -> tuple[float | None, float | None]:
    low, high = asked.from_mm, asked.to_mm
    if asked.lane is None:
        return low, high
    lanes = view.lanes(asked.lane_mm if asked.lane_mm is not None else view.lane_mm)
    if asked.lane > len(lanes):
        raise InputError(
            where="lane",
            rule=f"the web holds {len(lanes)} lanes of that width"
            if lanes
            else "give the width of a lane too, 1 mm or more",
            value=asked.lane,
            mend="Count lanes from the datum edge, beginning with 1.",
        )
    lane = lanes[asked.lane - 1]
    return max(low or 0.0, lane.across_from_mm), min(high if high is not None else math.inf, lane.across_to_mm)


def found_marks(desk: Desk, view: RollView, asked: Asked) -> bytes:
    """What is in view as JSON: each mark, or bins where there are more than 2,000.

    Raises:
        InputError: as ``chosen_marks``.
    """
    answers: Kept[bytes] = desk.parts.setdefault("viewer marks", Kept(most_bytes=_KEPT_BYTES, size=len))
    return answers.get((view.roll, view.mark, asked), partial(_found, view, asked))


def _found(view: RollView, asked: Asked) -> bytes:
    import polars as pl  # noqa: PLC0415  (slow to load)

    table = chosen_marks(view, asked)
    binned = table.height > MOST_SINGLE
    cell_m, cell_mm = _cell(view, asked)
    rows = _binned(table, cell_m, cell_mm) if binned else _single(table)
    head = {
        "schema": SCHEMA,
        "roll": view.roll,
        "found": table.height,
        "of": view.marks.height,
        "binned": binned,
        "cell": {"m": cell_m, "mm": cell_mm} if binned else None,
    }
    none = pl.DataFrame()
    return _json(head, marks=none if binned else rows, bins=rows if binned else none)


def _json(head: dict[str, Any], **tables: "pl.DataFrame") -> bytes:
    """One object: what stands in the head, then each table as a list of rows."""
    from wideroll.store import json_bytes  # noqa: PLC0415  (slow to load)

    lists = (f', "{name}": {table.write_json() if table.height else "[]"}' for name, table in tables.items())
    return b"".join((json_bytes(head, sort_keys=False).rstrip()[:-1], *(one.encode() for one in lists), b"}\n"))


def all_marks(view: RollView, asked: Asked) -> bytes:
    """All that are asked for, however many, in the same form.

    Raises:
        InputError: as ``chosen_marks``.
    """
    import polars as pl  # noqa: PLC0415  (slow to load)

    rows = _single(chosen_marks(view, asked))
    head = {"schema": SCHEMA, "roll": view.roll, "found": rows.height, "of": view.marks.height, "binned": False}
    return _json({**head, "cell": None}, marks=rows, bins=pl.DataFrame())


def _single(table: "pl.DataFrame") -> "pl.DataFrame":
    import polars as pl  # noqa: PLC0415  (slow to load)

    from wideroll.roll import MARKS_SCHEMA  # noqa: PLC0415

    return table.select(
        *(name for name in MARKS_SCHEMA if name != "snr"),
        "size_mm",
        snr=pl.when(pl.col("snr").is_finite()).then(pl.col("snr")),
    )


def _cell(view: RollView, asked: Asked) -> tuple[float, float]:
    """Size of a bin: a power of two, and borders at its multiples, so that bins stay put while the view moves."""
    web = view.pyramid.extent
    long_m = (asked.to_m if asked.to_m is not None else web.along_to_m) - (asked.from_m or 0.0)
    wide_mm = (asked.to_mm if asked.to_mm is not None else web.across_to_mm) - (asked.from_mm or 0.0)
    sizes = (max(long_m, 0.001) / _BINS[0], max(wide_mm, 1.0) / _BINS[1])
    cell_m, cell_mm = (2.0 ** math.ceil(math.log2(size)) for size in sizes)
    return cell_m, cell_mm


def _binned(table: "pl.DataFrame", cell_m: float, cell_mm: float) -> "pl.DataFrame":
    """Of each bin that holds any: where it lies, how many, how many of them dark, the clearest and its kind."""
    import polars as pl  # noqa: PLC0415  (slow to load)

    worst = pl.col("snr").arg_max()
    return (
        table.group_by(
            i=(pl.col("along_m") / cell_m).floor().cast(pl.Int64),
            j=(pl.col("across_mm") / cell_mm).floor().cast(pl.Int64),
        )
        .agg(
            count=pl.len(),
            dark=(pl.col("polarity") == "dark").sum(),
            clearest=pl.col("id").get(worst),
            kind=pl.col("kind").get(worst),
        )
        .sort("i", "j")
        .select(
            from_m=pl.col("i") * cell_m,
            to_m=(pl.col("i") + 1) * cell_m,
            from_mm=pl.col("j") * cell_mm,
            to_mm=(pl.col("j") + 1) * cell_mm,
            count="count",
            dark="dark",
            clearest="clearest",
            kind="kind",
        )
    )


def mark_row(view: RollView, mark: str) -> dict[str, Any] | None:
    """A mark by its name; None when there is none."""
    import polars as pl  # noqa: PLC0415  (slow to load)

    rows = _single(view.marks.filter(pl.col("id") == mark))
    return rows.row(0, named=True) if rows.height else None


def next_mark(view: RollView, asked: Asked, after: str, *, back: bool) -> Step | None:
    """The mark after (or before) another in the order asked for; the first (or last) where that isn't among them.

    Raises:
        InputError: as ``chosen_marks``.
    """
    table = chosen_marks(view, asked)
    if not table.height:
        return None
    ids = table["id"].to_list()
    place = len(ids) - 1 if back else 0
    if after in ids:
        place = ids.index(after) + (-1 if back else 1)
    if not 0 <= place < len(ids):
        return None
    return Step(row=_single(table.slice(place, 1)).row(0, named=True), number=place + 1, of=len(ids))


def segment_of(view: RollView, along_m: float) -> int:
    """The number of the segment that a place lies in."""
    for segment in view.segments:
        if along_m < view.span_m(segment)[1]:
            return segment.number
    return max(len(view.segments), 1)
