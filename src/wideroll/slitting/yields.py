"""What a plan yields of each width and quality."""

import math
from dataclasses import dataclass

from wideroll.slitting.model import CutPlan, Quality

__all__ = ["WidthYield", "yields_of"]


@dataclass(frozen=True, slots=True, kw_only=True)
class WidthYield:
    """Finished rolls of one width and quality: how many, of how many pieces, length, area, and what they are worth."""

    width: str
    quality: Quality
    rolls: int
    pieces: int
    length_m: float
    area_m2: float
    value: float


def yields_of(plan: CutPlan) -> tuple[WidthYield, ...]:
    """Yield by width in the order of the plan's widths, first quality before second; what yields nothing is left out.

    Example:
        >>> from wideroll.roll import Extent
        >>> from wideroll.slitting import ByMetre, SlitWidth, plan_cut
        >>> web = Extent(along_from_m=0.0, along_to_m=100.0, across_from_mm=0.0, across_to_mm=116.0)
        >>> film = SlitWidth(name="50", width_mm=50.0, tolerance_mm=0.1, finish=ByMetre(value_per_m=1.0))
        >>> [(one.width, one.rolls, one.length_m) for one in yields_of(plan_cut(web, avoid=[], widths=[film]))]
        [('50', 2, 200.0)]
    """
    found: list[WidthYield] = []
    for width in plan.widths:
        for quality in Quality:
            rolls = [roll for roll in plan.rolls if (roll.width, roll.quality) == (width.name, quality)]
            extents = [one.extent for one in plan.pieces if (one.width, one.quality) == (width.name, quality)]
            if rolls:
                found.append(
                    WidthYield(
                        width=width.name,
                        quality=quality,
                        rolls=len(rolls),
                        pieces=len(extents),
                        length_m=math.fsum(extent.length_m for extent in extents),
                        area_m2=math.fsum(extent.area_m2 for extent in extents),
                        value=math.fsum(roll.value for roll in rolls),
                    )
                )
    return tuple(found)
