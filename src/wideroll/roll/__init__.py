"""Places on the web, the marks found on it, and how places move when a roll is wound, cut and slit.

The only thing rooms share. Nothing here reads files, the clock or the network; nothing here judges.
"""

from typing import TYPE_CHECKING

from wideroll.on_demand import on_demand

if TYPE_CHECKING:
    from wideroll.roll.ancestry import Genealogy
    from wideroll.roll.coverage import Coverage, Unseen, unseen_within
    from wideroll.roll.genealogy import Handling, Stretch, WebPlace
    from wideroll.roll.lengths import FOOT_MM, INCH_MM, Length, Notation, ShopUnits, format_length, parse_length
    from wideroll.roll.marks import (
        EXTENDED_KINDS,
        MARK_KINDS,
        MARKS_SCHEMA,
        POLARITIES,
        MarkKind,
        Polarity,
        check_marks,
        empty_marks,
        mark_id,
        marks_within,
    )
    from wideroll.roll.places import Extent, Lane, Place, Side, lanes_of, union_area_m2

__all__ = [
    "EXTENDED_KINDS",
    "FOOT_MM",
    "INCH_MM",
    "MARKS_SCHEMA",
    "MARK_KINDS",
    "POLARITIES",
    "Coverage",
    "Extent",
    "Genealogy",
    "Handling",
    "Lane",
    "Length",
    "MarkKind",
    "Notation",
    "Place",
    "Polarity",
    "ShopUnits",
    "Side",
    "Stretch",
    "Unseen",
    "WebPlace",
    "check_marks",
    "empty_marks",
    "format_length",
    "lanes_of",
    "mark_id",
    "marks_within",
    "parse_length",
    "union_area_m2",
    "unseen_within",
]

on_demand(__name__)
