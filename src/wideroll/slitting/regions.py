"""What lies on the web, as the slitter meets it, and the places where setting the knives anew can pay.

From here on along is in slitter metres: 0 at the tail, which the slitter unwinds first, up to the head.
"""

import itertools
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from wideroll.roll import Extent
from wideroll.slitting.knives import Knives, down_um, up_um
from wideroll.slitting.model import ByLength, CrossCutAt, Spliced
from wideroll.slitting.request import Request

__all__ = ["Box", "Change", "Web", "changes_of", "lay_out", "wished_changes"]

_SAME_M: Final = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class Box:
    """A part inside the usable web; across outward to whole micrometres from the first usable place."""

    from_m: float
    to_m: float
    low_um: int
    high_um: int

    @property
    def size(self) -> float:
        """Area in m·µm, to compare."""
        return (self.to_m - self.from_m) * (self.high_um - self.low_um)


@dataclass(frozen=True, slots=True, kw_only=True, order=True)
class Change:
    """A place to set the knives anew: the web from ``end_m``, where one set ends, to ``begin_m`` is lost with it."""

    end_m: float
    begin_m: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Web:
    """Everything on the web that a lane may meet. Blocked and second largest first; marks by limit."""

    length_m: float
    blocked: tuple[Box, ...]
    second: tuple[Box, ...]
    marks: tuple[tuple[int, Box], ...]
    cuts_m: tuple[float, ...]
    """Where the web is cut across because somebody wishes it."""


def lay_out(request: Request, knives: Knives) -> Web:
    """The web of a request, turned round; a part without area, or outside the usable web, is nothing."""
    whole = request.whole
    blocked = _boxes((one.extent for one in request.avoid if not one.downgrade), whole, knives)
    second = _boxes((one.extent for one in request.avoid if one.downgrade), whole, knives)
    marks = [
        (number, box)
        for number, limit in enumerate(request.counts)
        for extent in limit.marks
        if (box := _mark_box(extent, whole, knives)) is not None
    ]
    cuts = {whole.along_to_m - wish.along_m for wish in request.wishes if isinstance(wish, CrossCutAt)}
    return Web(
        length_m=whole.along_to_m - whole.along_from_m,
        blocked=_largest_first(set(blocked)),
        second=_largest_first(set(second)),
        marks=tuple(sorted(marks, key=lambda one: (one[1].from_m, one[1].low_um, one[0], one[1].to_m))),
        cuts_m=tuple(sorted(cuts)),
    )


def _boxes(extents: Iterable[Extent], whole: Extent, knives: Knives) -> Iterator[Box]:
    for extent in (part for one in extents if (part := one.meet(whole)) is not None):
        low_um = max(down_um(extent.across_from_mm) - knives.origin_um, 0)
        high_um = min(up_um(extent.across_to_mm) - knives.origin_um, knives.usable_um)
        if low_um < high_um:
            yield Box(
                from_m=whole.along_to_m - extent.along_to_m,
                to_m=whole.along_to_m - extent.along_from_m,
                low_um=low_um,
                high_um=high_um,
            )


def _mark_box(extent: Extent, whole: Extent, knives: Knives) -> Box | None:
    """A counted mark; one without width is taken for the micrometres on either side of it."""
    low_um = down_um(extent.across_from_mm) - knives.origin_um
    high_um = up_um(extent.across_to_mm) - knives.origin_um
    if low_um == high_um:
        low_um, high_um = low_um - 1, high_um + 1
    low_um, high_um = max(low_um, 0), min(high_um, knives.usable_um)
    outside = extent.along_to_m < whole.along_from_m or extent.along_from_m > whole.along_to_m
    if outside or low_um >= high_um:
        return None
    from_m, to_m = whole.along_to_m - extent.along_to_m, whole.along_to_m - extent.along_from_m
    return Box(from_m=from_m, to_m=to_m, low_um=low_um, high_um=high_um)


def _largest_first(boxes: Iterable[Box]) -> tuple[Box, ...]:
    return tuple(sorted(boxes, key=lambda box: (-box.size, -box.to_m, box.low_um, box.from_m)))


def wished_changes(web: Web, setup_m: float) -> tuple[Change, ...]:
    """At a cross-cut that is wished for, the knives may be set anew on either side of it."""
    return tuple(
        change
        for place in web.cuts_m
        for change in (
            Change(end_m=place, begin_m=place + setup_m),
            Change(end_m=place - setup_m, begin_m=place),
        )
        if change.end_m > _SAME_M and change.begin_m < web.length_m - _SAME_M
    )


def changes_of(request: Request, web: Web) -> tuple[Change, ...]:
    """The places where setting the knives anew can pay, most promising first.

    With both layouts given and film sold by the metre, the value of a change is a piecewise linear function of its
    place, so it is best where either end of the web lost with it meets the start or the end of a region (bar what a
    least length of piece adds). First come the changes that hide behind a region: lost web that begins with the region
    or ends with it; then those around one. Where rolls have fixed lengths, a change that waits for the roll in hand
    comes next: the first whole number of lengths from the tail or from a region across the whole web. Within each kind
    the order is that of the regions, avoided before downgraded, largest first.
    """
    setup, boxes = request.rules.setup_m, (*web.blocked, *web.second)
    hidden = ((place, keep) for box in boxes for place, keep in ((box.to_m, False), (box.from_m, True)))
    beside = ((place, keep) for box in boxes for place, keep in ((box.to_m, True), (box.from_m, False)))
    found: dict[int, Change] = {}
    for place, begins in itertools.chain(hidden, beside, _waiting(request, web, boxes)):
        change = Change(end_m=place, begin_m=place + setup) if begins else Change(end_m=place - setup, begin_m=place)
        inside = change.end_m > _SAME_M and change.begin_m < web.length_m - _SAME_M
        near = round(change.begin_m / _SAME_M)
        # neighbouring numbers of one place count as one, whichever side of the rounding they fall on
        if inside and not {near - 1, near, near + 1} & found.keys():
            found[near] = change
    return tuple(found.values())


def _waiting(request: Request, web: Web, boxes: Sequence[Box]) -> Iterator[tuple[float, bool]]:
    """Places where the rolls that every lane winds from a common start are just complete, next to each region."""
    lengths = sorted({length for width in request.widths for length in _lengths(width.finish)}, reverse=True)
    if not lengths:
        return
    full = max((box.high_um for box in boxes), default=0), min((box.low_um for box in boxes), default=0)
    starts = sorted({0.0, *(box.to_m for box in web.blocked if (box.high_um, box.low_um) == full)})
    for box in boxes:
        start = max(place for place in starts if place <= max(box.from_m, 0.0))
        for length in lengths:
            whole_rolls = start + length * ((box.from_m - start + _SAME_M) // length)
            if whole_rolls > start:
                yield whole_rolls, True


def _lengths(finish: object) -> tuple[float, ...]:
    if isinstance(finish, ByLength):
        return tuple(one.length_m for one in finish.lengths)
    return (finish.length_m,) if isinstance(finish, Spliced) else ()
