"""Where lanes may lie across the web, exactly: in whole micrometres, on a common measure of widths and knife step.

Lanes stand in packs. A pack starts on the knife scale (multiples of the knife step from the first usable place);
inside a pack the lanes follow one another at their exact widths with exactly the least trim between them, as they do on
a slitter whose knives are set apart by spacers. So no lane loses what its width lacks to the next whole step.
"""

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from wideroll.errors import ArgumentError
from wideroll.slitting.model import KnifeAt
from wideroll.slitting.request import Request

__all__ = ["Ints", "Knives", "down_um", "set_knives", "up_um"]

Ints = NDArray[np.int64]

_FUZZ_UM: Final = 1e-6
_UM: Final = 1000.0
"""Micrometres in a millimetre."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Knives:
    """The places where a lane may start are ``origin_um + place · unit_um``, ``place`` a whole number from 0.

    ``step`` is the knife step in units. For each width (W,): ``width_um``; ``spans``, the units from a lane's start to
    the earliest start of the next; ``lasts``, the last place where it fits, negative where it never does.
    ``fixed`` (K,) are the places where a knife must stand, ascending: there a lane starts, or one ends, so that the
    next may start ``between`` units on; no lane lies across.

    So that no strip is too narrow: a lane that doesn't start just where it may behind another one starts at least
    ``apart`` units on; the first starts at place 0 or from ``lead`` on; and the last ends where the next could start
    at ``flush``, which is the end of the usable web (-1 where no place is there), or not beyond ``tail``.
    """

    origin_um: int
    usable_um: int
    unit_um: int
    step: int
    width_um: tuple[int, ...]
    spans: Ints
    lasts: Ints
    fixed: Ints
    between: int
    apart: int
    lead: int
    flush: int
    tail: int

    @property
    def usable_mm(self) -> tuple[float, float]:
        """The web between the edge trims, from and to."""
        return self.origin_um / 1000.0, (self.origin_um + self.usable_um) / 1000.0

    def on_scale(self, across_mm: float) -> bool:
        """Whether a lane may start there anyway."""
        place_um = round(across_mm * _UM) - self.origin_um
        return place_um % (self.step * self.unit_um) == 0

    def lane_mm(self, place: int, width: int) -> tuple[float, float]:
        """Borders of a lane across the web, each the nearest number to a whole micrometre."""
        start = self.origin_um + place * self.unit_um
        return start / 1000.0, (start + self.width_um[width]) / 1000.0


def set_knives(request: Request) -> Knives:
    """The places for lanes on a web: widths to the nearest micrometre, trims to the next.

    Raises:
        ArgumentError: when a knife is wished for where none can stand.
    """
    whole, widths, rules = request.whole, request.widths, request.rules
    trim_um = math.ceil(rules.edge_trim_mm * _UM - _FUZZ_UM)
    between_um = math.ceil(rules.trim_between_mm * _UM - _FUZZ_UM)
    origin_um = up_um(whole.across_from_mm) + trim_um
    usable_um = down_um(whole.across_to_mm) - trim_um - origin_um
    fixed_um = sorted({_fixed_um(wish, origin_um, usable_um) for wish in request.wishes if isinstance(wish, KnifeAt)})
    near = [after for before, after in pairwise(fixed_um) if after - before < between_um]
    if near:
        raise ArgumentError(
            where=f"wish: a knife at {(origin_um + near[0]) / _UM:g} mm",
            rule=f"must stand at least the trim between lanes ({rules.trim_between_mm:g} mm) from another one",
            value=f"{(origin_um + near[0]) / _UM:g} mm",
            mend="Move one of the two knives.",
        )
    step_um = round(rules.knife_step_mm * _UM)
    strip_um = math.ceil(rules.least_strip_mm * _UM - _FUZZ_UM)
    apart_um, lead_um = max(strip_um - between_um, 0), max(strip_um - trim_um, 0)
    width_um = tuple(round(width.width_mm * _UM) for width in widths)
    unit_um = math.gcd(step_um, between_um, *(width + between_um for width in width_um), *fixed_um)
    return Knives(
        origin_um=origin_um,
        usable_um=usable_um,
        unit_um=unit_um,
        step=step_um // unit_um,
        width_um=width_um,
        spans=np.array([(width + between_um) // unit_um for width in width_um], dtype=np.int64),
        lasts=np.array([(usable_um - width) // unit_um for width in width_um], dtype=np.int64),
        fixed=np.array([place // unit_um for place in fixed_um], dtype=np.int64),
        between=between_um // unit_um,
        apart=-(-apart_um // unit_um),
        lead=-(-lead_um // unit_um),
        flush=-1 if (usable_um + between_um) % unit_um else (usable_um + between_um) // unit_um,
        tail=(usable_um + between_um - lead_um) // unit_um,
    )


def _fixed_um(wish: KnifeAt, origin_um: int, usable_um: int) -> int:
    """Where a wished knife stands, in whole micrometres from the first usable place."""
    place = round(wish.across_mm * _UM) - origin_um
    if not 0 <= place <= usable_um:
        low, high = origin_um / _UM, (origin_um + usable_um) / _UM
        raise ArgumentError(
            where=f"wish: a knife at {wish.across_mm:g} mm",
            rule=f"must lie between the edge trims ({low:g} to {high:g} mm)",
            value=f"{wish.across_mm:g} mm",
            mend="Measure it across from the datum edge.",
        )
    return place


def down_um(across_mm: float) -> int:
    """The last whole micrometre that doesn't lie after a place, both compared as the numbers they are stored as."""
    near = round(across_mm * 1000.0)
    while near / 1000.0 > across_mm:
        near -= 1
    return near


def up_um(across_mm: float) -> int:
    """The first whole micrometre that doesn't lie before a place."""
    near = round(across_mm * 1000.0)
    while near / 1000.0 < across_mm:
        near += 1
    return near
