"""What lies on the web, as the slitter meets it, and the places where setting the knives anew can pay.

From here on along is in slitter metres: 0 at the tail, which the slitter unwinds first, up to the head.
"""

import itertools
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from wideroll.roll import Extent
from wideroll.slitting.knives import Knives, down_um, up_um
from wideroll.slitting.model import ByLength, CrossCutAt, Spliced
from wideroll.slitting.request import Request

__all__ = ["Box", "Change", "Web", "border_changes", "changes_of", "lay_out", "wished_changes"]

_SAME_M: Final = 1e-9
_SAME_DIGITS: Final = 9
_COMPLETE: Final = 8
"""Places tried in each stretch because lengths are complete before and after."""
_MOST_SUMS: Final = 5000


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


def border_changes(request: Request, web: Web) -> tuple[Change, ...]:
    """The changes at the borders of regions, those of the largest first.

    With both layouts given and film sold by the metre, the value of a change is a piecewise linear function of its
    place, so it is best where either end of the web lost with it meets the start or the end of a region (bar what a
    least length of piece adds). First come the changes that hide behind a region: lost web that begins with the region
    or ends with it; then those around one.
    """
    return _distinct(_borders(web), web, request.rules.setup_m)


def changes_of(request: Request, web: Web) -> tuple[Change, ...]:
    """The places where setting the knives anew can pay, most promising first.

    First come those at the borders of regions (``border_changes``). Where rolls have fixed lengths, a change that waits
    for the rolls in hand comes next: the last whole number of one length, from the tail or from a region across the
    whole web, that is complete before a region or the head. Then come those at which several lengths are just complete
    and what is left up to the next region across the whole web, or the head, is nearly a sum of lengths, too: for each
    such stretch the few that waste least. Within each kind the order is that of the regions, avoided before downgraded,
    largest first.
    """
    lengths = tuple(sorted({length for width in request.widths for length in _lengths(width.finish)}, reverse=True))
    setup = request.rules.setup_m
    places = (_borders(web), _waiting(lengths, web), _complete(lengths, web, setup) if lengths else ())
    return _distinct(itertools.chain.from_iterable(places), web, setup)


def _borders(web: Web) -> Iterator[tuple[float, bool]]:
    """Places, and whether the web lost begins or else ends there: along a region, then beside one."""
    boxes = (*web.blocked, *web.second)
    hidden = ((place, begins) for box in boxes for place, begins in ((box.to_m, False), (box.from_m, True)))
    beside = ((place, begins) for box in boxes for place, begins in ((box.to_m, True), (box.from_m, False)))
    return itertools.chain(hidden, beside)


def _distinct(places: Iterable[tuple[float, bool]], web: Web, setup_m: float) -> tuple[Change, ...]:
    """Changes that begin or end at places on the web; of two nearer than a nanometre the first."""
    found: dict[int, Change] = {}
    for place, begins in places:
        change = (
            Change(end_m=place, begin_m=place + setup_m) if begins else Change(end_m=place - setup_m, begin_m=place)
        )
        inside = change.end_m > _SAME_M and change.begin_m < web.length_m - _SAME_M
        near = round(change.begin_m / _SAME_M)
        # neighbouring numbers of one place count as one, whichever side of the rounding they fall on
        if inside and near not in found and near - 1 not in found and near + 1 not in found:
            found[near] = change
    return tuple(found.values())


def _clean_spans(web: Web) -> list[tuple[float, float]]:
    """Where the web isn't blocked over its whole width, from the tail on."""
    boxes = (*web.blocked, *web.second)
    full = max((box.high_um for box in boxes), default=0), min((box.low_um for box in boxes), default=0)
    across = sorted((box.from_m, box.to_m) for box in web.blocked if (box.high_um, box.low_um) == full)
    reach, spans = 0.0, []
    for from_m, to_m in [*across, (web.length_m, web.length_m)]:
        if from_m > reach:
            spans.append((reach, from_m))
        reach = max(reach, to_m)
    return spans


def _waiting(lengths: Sequence[float], web: Web) -> Iterator[tuple[float, bool]]:
    """Where the rolls that every lane winds from a common start are just complete, next to each region and the head."""
    starts = [start for start, _ in _clean_spans(web)] or [0.0]
    for place in (*(box.from_m for box in (*web.blocked, *web.second)), web.length_m):
        start = max((one for one in starts if one <= max(place, 0.0)), default=0.0)
        for length in lengths:
            whole_rolls = start + length * ((place - start + _SAME_M) // length)
            if whole_rolls > start:
                yield whole_rolls, True


def _complete(lengths: Sequence[float], web: Web, setup_m: float) -> Iterator[tuple[float, bool]]:
    """Where sums of lengths are complete before a change and after it, in each clean stretch those that waste least."""
    for start, end in _clean_spans(web):
        sums = _sums_of(lengths, end - start)
        rest = (end - start) - setup_m - sums
        rest, done = rest[rest > 0.0], sums[rest > 0.0]
        waste = rest - sums[np.searchsorted(sums, rest + _SAME_M, side="right") - 1]
        chosen = np.argsort(np.round(waste[1:], _SAME_DIGITS), kind="stable")[:_COMPLETE] + 1
        yield from ((start + place, True) for place in done[chosen].tolist())


def _sums_of(lengths: Sequence[float], most_m: float) -> NDArray[np.float64]:
    """(N,) sums of the lengths up to the greatest, ascending from 0; of so many that they are too many, fewer."""
    sums = np.zeros(1)
    for length in lengths:
        multiples = length * np.arange(int((most_m + _SAME_M) // length) + 1)
        more = np.unique(np.round(np.add.outer(sums, multiples).ravel(), _SAME_DIGITS))
        more = more[more <= most_m + _SAME_M]
        sums = more if more.size <= _MOST_SUMS else np.union1d(sums, np.round(multiples, _SAME_DIGITS))
    return sums


def _lengths(finish: object) -> tuple[float, ...]:
    if isinstance(finish, ByLength):
        return tuple(one.length_m for one in finish.lengths)
    return (finish.length_m,) if isinstance(finish, Spliced) else ()
