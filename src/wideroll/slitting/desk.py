"""A request made ready to be planned, once for all values that its lengths may have."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import partial
from itertools import pairwise

import numpy as np

from wideroll.slitting.across import Scale, scale_of
from wideroll.slitting.along import KnifeSet, best_sets
from wideroll.slitting.knives import Knives, set_knives
from wideroll.slitting.lane import Floats, Ints, Lane, Selling
from wideroll.slitting.lanes import LaneTable, lane_of_berth, tabulate_lanes
from wideroll.slitting.model import SlitWidth, WithoutWidth
from wideroll.slitting.regions import Change, Web, changes_of, lay_out, wished_changes
from wideroll.slitting.request import Request, check_request
from wideroll.slitting.rows import fill_rows, rows_at
from wideroll.slitting.rows_lazy import TOGETHER, LazyRows, pays
from wideroll.slitting.selling import selling_of

__all__ = ["CutDesk", "KnifeSet", "best_knife_sets", "lane_at", "prepare_cut", "rows_of"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CutDesk:
    """A request with everything about it that doesn't depend on what its widths are worth."""

    request: Request
    knives: Knives
    web: Web
    table: LaneTable
    scale: Scale
    changes: tuple[Change, ...]
    """The places for setting the knives anew that are tried."""
    others: tuple[Change, ...]
    """Those that were too many."""
    sold: tuple[Selling, ...]

    def priced(self, widths: tuple[SlitWidth, ...]) -> "CutDesk":
        """The same with other values; names, widths, lengths and what is sold as second quality must stay."""
        request = replace(self.request, widths=widths)
        return replace(self, request=request, sold=tuple(selling_of(width, request) for width in widths))


def prepare_cut(request: Request) -> CutDesk:
    """Check a request and lay out what every lane would meet.

    Raises:
        ArgumentError: as ``plan_cut``.
    """
    check_request(request)
    barred = {wish.name for wish in request.wishes if isinstance(wish, WithoutWidth)}
    request = replace(request, widths=tuple(width for width in request.widths if width.name not in barred))
    knives = set_knives(request)
    web = lay_out(request, knives)
    table = tabulate_lanes(request, web, knives)
    wished = wished_changes(web, request.rules.setup_m)
    found = tuple(change for change in changes_of(request, web) if change not in wished)
    most = request.rules.most_cross_cuts
    return CutDesk(
        request=request,
        knives=knives,
        web=web,
        table=table,
        scale=scale_of(table),
        changes=(*wished, *found[:most]),
        others=found[most:],
        sold=tuple(selling_of(width, request) for width in request.widths),
    )


def best_knife_sets(desk: CutDesk) -> tuple[float, list[KnifeSet]]:
    """The net value of the best plan, and its knife sets in the order the slitter meets them.

    The value is NONE where no knives can be set as wished.
    """
    rules, length_m = desk.request.rules, desk.web.length_m
    if not any(pays(sold, desk.table) for sold in desk.sold):
        return best_sets(desk.scale, desk.changes, partial(rows_of, desk), rules=rules, length_m=length_m)
    rough = tabulate_lanes(desk.request, desk.web, desk.knives, together=TOGETHER)
    lazy = LazyRows(desk.table, rough, desk.sold)
    return best_sets(desk.scale, desk.changes, lazy.rows, rules=rules, length_m=length_m, sharpen=lazy.sharpen)


def rows_of(desk: CutDesk, starts_m: Floats, ends_m: Floats, firsts: Ints) -> Iterator[Floats]:
    """(E − first, B) worths for each beginning of a set."""
    table = desk.table
    at = rows_at(firsts, ends_m.size, table.breaks.size).tolist()
    out = np.empty(at[-1])
    for sold, first, end in zip(desk.sold, table.offsets[:-1].tolist(), table.offsets[1:].tolist(), strict=True):
        fill_rows(table.stowed, table.banned, (first, end), sold, starts_m, ends_m, firsts, out)
    return (out[low:high].reshape(-1, table.breaks.size) for low, high in pairwise(at))


def lane_at(desk: CutDesk, place: int, width: int) -> Lane:
    """What the lane of a width meets at a place across."""
    return lane_of_berth(desk.table.stowed, desk.table.berth_of(place, width))
