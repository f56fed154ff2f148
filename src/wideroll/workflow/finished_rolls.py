"""From a roll's cut list to the table of finished rolls: which film of which wide roll each of them is."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Any, Final

import polars as pl

from wideroll.roll import Genealogy, Handling, Stretch

__all__ = ["FINISHED_SCHEMA", "SlitPart", "SlitRoll", "exact", "finished_handling", "finished_rows", "table_of"]

NM_PER_M: Final = 10**9
NM_PER_MM: Final = 10**6

FINISHED_SCHEMA: Final = pl.Schema(
    {
        "finished": pl.String(),
        "roll": pl.String(),
        "part": pl.Int32(),
        "from_nm": pl.Int64(),
        "to_nm": pl.Int64(),
        "coated": pl.String(),
        "along_from_nm": pl.Int64(),
        "along_to_nm": pl.Int64(),
        "reversed": pl.Boolean(),
        "across_from_nm": pl.Int64(),
        "across_to_nm": pl.Int64(),
        "mirrored": pl.Boolean(),
        "turned": pl.Boolean(),
        "width": pl.String(),
        "quality": pl.String(),
        "order": pl.String(),
    }
)
"""One row for each stretch of a finished roll that is one stretch of a coated one, all lengths in whole nanometres:
1 in and its 64 parts are whole numbers of them, so nothing is lost.

``from_nm`` and ``to_nm`` count from the finished roll's outer end; ``along_…`` and ``across_…`` are coated places.
``reversed``: the coated metres fall towards the core. ``mirrored``: its first edge lay away from the datum edge.
``turned``: the other face looks outwards than on the roll as coated. ``part`` counts from the outer end, from 1."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SlitPart:
    """A piece of one lane as the slitter's counter and knives have it: from the loose end of the roll it slits."""

    slitter_from_m: float
    slitter_to_m: float
    across_from_mm: float
    across_to_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SlitRoll:
    """A finished roll of a cut list; its parts in the order the slitter meets them."""

    number: str
    """Such as W-2041/003-07: no other roll of the plant has it."""
    width: str
    parts: tuple[SlitPart, ...]
    windings: int = 1
    """How often it is wound over from the slitter until it is sold."""
    quality: str = "first"
    order: str = ""

    @property
    def as_slit(self) -> bool:
        """Whether its outer end was slit first: the slitter winds that onto the core, each winding turns it about."""
        return self.windings % 2 == 1


def exact(value: float, per_unit: int) -> int:
    """A length of a cut list in whole nanometres.

    Args:
        value: in m or mm.
        per_unit: nanometres in one of them.

    Example:
        >>> exact(34.975, 10**6)
        34975000
    """
    return round(value * per_unit)


def finished_handling(one: SlitRoll, slit: str, length_m: Fraction) -> Handling:
    """How a finished roll was made from the wide roll that was slit, counted from its outer end.

    The head of a roll is the end at its core, so the slitter's counter starts at the wide roll's length and runs down.

    Args:
        one: the finished roll.
        slit: name of the roll on the slitter.
        length_m: of that roll.

    Example:
        >>> part = SlitPart(slitter_from_m=0.0, slitter_to_m=6.0, across_from_mm=8.0, across_to_mm=42.975)
        >>> step = finished_handling(SlitRoll(number="W-1/001-01", width="35 mm", parts=(part,)), "W-1", Fraction(14))
        >>> step.to_parent(Fraction(1)), step.to_parent(Fraction(6))
        (('W-1', Fraction(13, 1)), ('W-1', Fraction(8, 1)))
    """
    parts = one.parts if one.as_slit else tuple(reversed(one.parts))
    return Handling(child=one.number, stretches=tuple(_stretch(part, one, slit, length_m) for part in parts))


def _stretch(part: SlitPart, one: SlitRoll, slit: str, length_m: Fraction) -> Stretch:
    low, high = (Fraction(exact(at, NM_PER_M), NM_PER_M) for at in (part.slitter_from_m, part.slitter_to_m))
    left, right = (Fraction(exact(at, NM_PER_MM), NM_PER_MM) for at in (part.across_from_mm, part.across_to_mm))
    return Stretch(
        parent=slit,
        from_m=length_m - high,
        to_m=length_m - low,
        reversed=one.as_slit,
        across_from_mm=left,
        across_to_mm=right,
    )


def finished_rows(
    rolls: Sequence[SlitRoll], *, roll: str, slit: str, length_m: Fraction, family: Genealogy | None = None
) -> pl.DataFrame:
    """The finished rolls of a cut list as rows of ``FINISHED_SCHEMA``.

    Args:
        rolls: of the list.
        roll: the wide roll whose list it is.
        slit: what came onto the slitter: the roll itself, or what was made of it before.
        length_m: of that.
        family: the steps from coated rolls to it; None where there were none.

    Raises:
        ArgumentError: when a piece reaches past the roll.
    """
    steps = (finished_handling(one, slit, length_m) for one in rolls)
    if family is None:
        return table_of(roll, zip(rolls, steps, strict=True))
    whole = Genealogy.of([*family.made.values(), *steps])
    return table_of(roll, ((one, whole.from_coated(one.number)) for one in rolls))


def table_of(roll: str, made: Iterable[tuple[SlitRoll, Handling | None]]) -> pl.DataFrame:
    """Finished rolls, each with the one step that makes it from coated rolls, as rows of ``FINISHED_SCHEMA``."""
    columns: dict[str, list[Any]] = defaultdict(list)
    for one, step in made:
        for row in () if step is None else _rows(roll, one, step):
            for name, value in row.items():
                columns[name].append(value)
    return pl.DataFrame(dict(columns) or None, schema=FINISHED_SCHEMA)


def _rows(roll: str, one: SlitRoll, step: Handling) -> Iterator[dict[str, Any]]:
    starts = step.starts_m
    for number, stretch in enumerate(step.stretches):
        yield {
            "finished": one.number,
            "roll": roll,
            "part": number + 1,
            "from_nm": _nm(starts[number], NM_PER_M),
            "to_nm": _nm(starts[number + 1], NM_PER_M),
            "coated": stretch.parent,
            "along_from_nm": _nm(stretch.from_m, NM_PER_M),
            "along_to_nm": _nm(stretch.to_m, NM_PER_M),
            "reversed": stretch.reversed,
            "across_from_nm": _nm(stretch.across_from_mm, NM_PER_MM),
            "across_to_nm": _nm(stretch.across_to_mm, NM_PER_MM),
            "mirrored": stretch.mirrored,
            "turned": stretch.turned,
            "width": one.width,
            "quality": one.quality,
            "order": one.order,
        }


def _nm(value: Fraction | None, per_unit: int) -> int:
    return 0 if value is None else round(value * per_unit)
