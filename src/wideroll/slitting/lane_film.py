"""Searching a lane with counted marks for the spliced rolls that end first from a place on.

Parts are put together from *anchor* to anchor: the starts of clean stretches and the ends of marks, where a part may
begin. Parts end where marks begin or with the stretch. As a shorter part carries no more marks, any length down to the
least between splices can be had of each, so of parts of the same number with the same marks only the longest are kept.
The last part is as short as it may be.
"""

from typing import Final, NamedTuple

import numpy as np
from numba import njit

from wideroll.slitting.lane import Floats, Ints, Lane
from wideroll.slitting.lane_plain import Splicing
from wideroll.slitting.lane_stretches import TOUCH_M, count_below

__all__ = ["NOT_FOUND", "Film", "film_of", "first_rolls", "latest_start"]

NOT_FOUND: Final = -1
_MOST_REACHED: Final = 128
"""Loads by ways to end a part, up to which it pays to know first how long parts may be."""
_SHORT_M: Final = 1e-6
"""A roll that lacks more can't be: the lengths of its parts are rounded, each by less than TOUCH_M."""


class Film(NamedTuple):
    """A lane between two places as rolls are made of it; the last row of anchors is free for a place to search from.

    ``place`` (A + 1,) and ``until`` (A + 1,) are the anchors and the ends of their stretches; ``follows`` (A + 1,) the
    first anchor of the next stretch. A part from an anchor may end in ``edges`` (A + 1,) ways: its length ``edge_m``
    (A + 1, E), the anchor beyond ``edge_to`` (A + 1, E), its marks ``edge_load`` (A + 1, E, R). ``whole_m`` (A + 1,) is
    where the first whole roll ends that starts there or later.
    ``loads`` (Q, R) are all numbers of marks that a roll may carry, ``radix`` (R,) how a row of it is found.
    ``longest`` (A + 1, K + 1, Q) is the greatest length of so many parts with such a load that lie before the anchor,
    -1 for none; ``last_from`` and ``last_to`` tell the anchor and the end of the last of them, and ``before`` the
    load without it. ``touched`` (2,) are the first and the last of these rows in use.
    ``reach`` (A + 1, K + 2, Q) is the greatest length of so many parts or fewer from an anchor on that carry no more
    than such a load: what can't become as long as a roll isn't followed.
    """

    place: Floats
    until: Floats
    follows: Ints
    edges: Ints
    edge_m: Floats
    edge_to: Ints
    edge_load: Ints
    whole_m: Floats
    loads: Ints
    radix: Ints
    longest: Floats
    last_from: Ints
    last_to: Floats
    before: Ints
    touched: Ints
    reach: Floats


@njit(cache=True, nogil=True)
def film_of(lane: Lane, most: Ints, splicing: Splicing, stretches: Floats) -> Film:
    """What ``counted_worths`` needs to know of the clean stretches (S, 2) of a lane."""
    room = stretches.shape[0] + lane.mark_to.size + 1
    place, until, follows = np.empty(room), np.empty(room), np.zeros(room, dtype=np.int64)
    count = 0
    for number in range(stretches.shape[0]):
        from_m, to_m, first = stretches[number, 0], stretches[number, 1], count
        if to_m - from_m < min(splicing.between_m, splicing.length_m) - TOUCH_M:
            continue
        place[count], until[count] = from_m, to_m
        count += 1
        for mark in range(count_below(lane.mark_to, from_m + TOUCH_M), lane.mark_to.size):
            if lane.mark_to[mark] >= to_m - TOUCH_M:
                break
            if lane.mark_to[mark] > place[count - 1] + TOUCH_M:
                place[count], until[count] = lane.mark_to[mark], to_m
                count += 1
        follows[first:count] = count
    loads, radix = _loads(most)
    anchors, ends, states = count + 1, min(int(np.sum(most)), lane.mark_from.size) + 2, splicing.most_splices + 1
    film = Film(
        place[:anchors],
        until[:anchors],
        follows[:anchors],
        np.full(anchors, NOT_FOUND),
        np.empty((anchors, ends)),
        np.empty((anchors, ends), dtype=np.int64),
        np.empty((anchors, ends, most.size), dtype=np.int64),
        np.full(anchors, np.inf),
        loads,
        radix,
        np.full((anchors, states, loads.shape[0]), -1.0),
        np.zeros((anchors, states, loads.shape[0]), dtype=np.int64),
        np.zeros((anchors, states, loads.shape[0])),
        np.zeros((anchors, states, loads.shape[0]), dtype=np.int64),
        np.zeros(2, dtype=np.int64),
        np.full((anchors, states + 1, loads.shape[0]), np.inf if loads.shape[0] * ends > _MOST_REACHED else 0.0),
    )
    _look_back(lane, most, splicing, film)
    return film


@njit(cache=True, nogil=True)
def _look_back(lane: Lane, most: Ints, splicing: Splicing, film: Film) -> None:
    """From each anchor on, where the first whole roll ends and how long parts may be."""
    none = film.place.size - 1
    reached = film.loads.shape[0] * film.edge_m.shape[1] <= _MOST_REACHED
    for anchor in range(none - 1, -1, -1):
        film.whole_m[anchor] = min(film.whole_m[anchor + 1], _whole_end(lane, most, splicing, film, anchor))
        if reached:
            _find_edges(lane, most, splicing, film, anchor)
            _find_reach(film, anchor)


@njit(cache=True, nogil=True)
def _find_reach(film: Film, anchor: int) -> None:
    """How long the parts from an anchor on may be together, where those from the next one on are known."""
    reach, loads, edge_m, edge_to, edge_load = film.reach, film.loads, film.edge_m, film.edge_to, film.edge_load
    for parts in range(1, reach.shape[1]):
        for kind in range(reach.shape[2]):
            reach[anchor, parts, kind] = reach[anchor + 1, parts, kind]
        for edge in range(film.edges[anchor]):
            beyond, load, length_m = edge_to[anchor, edge], 0, edge_m[anchor, edge]
            for limit in range(film.radix.size):
                load += edge_load[anchor, edge, limit] * film.radix[limit]
            for kind in range(load, reach.shape[2]):
                fits = True
                for limit in range(film.radix.size):
                    fits = fits and edge_load[anchor, edge, limit] <= loads[kind, limit]
                if fits:
                    total_m = length_m + reach[beyond, parts - 1, kind - load]
                    reach[anchor, parts, kind] = max(reach[anchor, parts, kind], total_m)


@njit(cache=True, nogil=True)
def _loads(most: Ints) -> tuple[Ints, Ints]:
    radix, kinds = np.ones(most.size, dtype=np.int64), 1
    for limit in range(most.size):
        radix[limit] = kinds
        kinds *= most[limit] + 1
    loads = np.zeros((kinds, most.size), dtype=np.int64)
    for kind in range(kinds):
        for limit in range(most.size):
            loads[kind, limit] = kind // radix[limit] % (most[limit] + 1)
    return loads, radix


@njit(cache=True, nogil=True)
def _find_edges(lane: Lane, most: Ints, splicing: Splicing, film: Film, anchor: int) -> None:
    """How a part from an anchor may end; no longer than the first that leaves just room for a last part."""
    from_m, until_m, edge, end_m = film.place[anchor], film.until[anchor], 0, -np.inf
    ended = count_below(lane.mark_to, from_m + TOUCH_M)
    mark = count_below(lane.mark_from, from_m + splicing.between_m - TOUCH_M)
    begun, longest_m = count_below(lane.mark_from, from_m), splicing.length_m - splicing.between_m
    while end_m < until_m and end_m - from_m < longest_m:
        within = mark < lane.mark_from.size and lane.mark_from[mark] < until_m
        next_m = lane.mark_from[mark] if within else until_m
        mark += 1
        if next_m <= end_m + TOUCH_M and next_m < until_m:
            continue
        end_m = next_m
        while begun < lane.mark_from.size and lane.mark_from[begun] < end_m - TOUCH_M:
            begun += 1
        if not _may_carry(lane, most, begun, ended):
            break
        if end_m - from_m >= splicing.between_m - TOUCH_M:
            film.edge_m[anchor, edge] = end_m - from_m
            for limit in range(most.size):
                film.edge_load[anchor, edge, limit] = lane.counted_from[begun, limit] - lane.counted_to[ended, limit]
            beyond = film.follows[anchor]
            if end_m < until_m:
                beyond = min(beyond, count_below(film.place[: film.place.size - 1], end_m - TOUCH_M))
            film.edge_to[anchor, edge] = beyond
            edge += 1
    film.edges[anchor] = edge


@njit(cache=True, nogil=True)
def _may_carry(lane: Lane, most: Ints, begun: int, ended: int) -> bool:
    for limit in range(most.size):
        if lane.counted_from[begun, limit] - lane.counted_to[ended, limit] > most[limit]:
            return False
    return True


@njit(cache=True, nogil=True)
def _whole_end(lane: Lane, most: Ints, splicing: Splicing, film: Film, anchor: int) -> float:
    """Where a whole roll from an anchor ends; infinite where there can be none."""
    end_m = film.place[anchor] + splicing.length_m
    if end_m > film.until[anchor] + TOUCH_M:
        return np.inf
    begun = count_below(lane.mark_from, end_m - TOUCH_M)
    ended = count_below(lane.mark_to, film.place[anchor] + TOUCH_M)
    return min(end_m, film.until[anchor]) if _may_carry(lane, most, begun, ended) else np.inf


@njit(cache=True, nogil=True)
def first_rolls(lane: Lane, most: Ints, splicing: Splicing, film: Film, wanted: tuple[float, Floats, Ints]) -> float:
    """Find the rolls beyond a place that end first; says how far the lane was looked at, but for its whole rolls.

    ``wanted`` are the place; the ends (K + 1,) with so many splices that are to be undercut; and where such a roll is
    found its last part's anchor and the load of the others (K + 1, 2).
    """
    start_m, ends, lasts = wanted
    none = film.place.size - 1
    first = count_below(film.place[:none], start_m - TOUCH_M)
    far = first - 1
    own = first > 0 and start_m < film.until[first - 1] - TOUCH_M
    own = own and (first == none or film.place[first] > start_m + TOUCH_M)
    whole_m = film.whole_m[first]
    if own:
        film.place[none], film.until[none], film.follows[none] = start_m, film.until[first - 1], film.follows[first - 1]
        _find_edges(lane, most, splicing, film, none)
        whole_m = min(whole_m, _whole_end(lane, most, splicing, film, none))
    if whole_m < ends[0] - TOUCH_M:
        ends[0], lasts[0, 0] = whole_m, none
    for splices in range(1, ends.size):
        ends[splices] = min(ends[splices], ends[splices - 1])
    film.longest[film.touched[0] : film.touched[1] + 1] = -1.0
    film.longest[none] = -1.0
    if own:
        far = max(far, _go_on(film, splicing, none, ends))
    anchor = first
    while anchor < none and (anchor <= far or _may_begin(film, splicing, anchor, ends)):
        if _carry_on(film, splicing, anchor, first, ends):
            far = max(far, anchor + 1)
        _finish(lane, splicing, film, anchor, (ends, lasts))
        if film.edges[anchor] == NOT_FOUND:
            _find_edges(lane, most, splicing, film, anchor)
        far = max(far, _go_on(film, splicing, anchor, ends))
        anchor += 1
    film.touched[0], film.touched[1] = first, max(far, anchor)
    return float(max(start_m + splicing.length_m, ends[min(1, ends.size - 1)]))


@njit(cache=True, nogil=True)
def latest_start(film: Film, splicing: Splicing, found: tuple[float, Floats, Ints]) -> float:
    """Up to where the rolls that ``first_rolls`` has found beyond a place stay those that end first."""
    latest_m, ends, lasts = np.inf, found[1], found[2]
    for splices in range(ends.size):
        if lasts[splices, 0] == NOT_FOUND:
            continue
        from_m, anchor, load = ends[0] - splicing.length_m, lasts[splices, 0], lasts[splices, 1]
        if splices > 0:
            for part in range(splices, 0, -1):
                before = film.before[anchor, part, load]
                anchor, load = film.last_from[anchor, part, load], before
            from_m = film.place[anchor]
        latest_m = min(latest_m, from_m)
    return max(latest_m, found[0])


@njit(cache=True, nogil=True)
def _may_begin(film: Film, splicing: Splicing, anchor: int, ends: Floats) -> bool:
    """Whether a roll of several parts that begins at an anchor or beyond may end sooner than those found."""
    if film.place[anchor] + splicing.length_m >= ends[min(1, ends.size - 1)]:
        return False
    return bool(film.reach[anchor, -1, -1] >= splicing.length_m - _SHORT_M)


@njit(cache=True, nogil=True)
def _carry_on(film: Film, splicing: Splicing, anchor: int, first: int, ends: Floats) -> bool:
    """What lies before the anchor before lies before this one, less what can't end soon enough; whether any is left."""
    # arrays taken out of their tuple once: out of a tuple each use would count references
    longest, last_from, last_to, before = film.longest, film.last_from, film.last_to, film.before
    any_left, place_m, one_limit, reach = False, film.place[anchor], film.radix.size == 1, film.reach
    for number in range(1, longest.shape[1]):
        best = max(-1.0, splicing.length_m + place_m - ends[number])
        if place_m + splicing.between_m >= ends[number] - TOUCH_M:
            best = np.inf
        for load in range(longest.shape[2]):
            here = longest[anchor, number, load]
            if anchor > first and longest[anchor - 1, number, load] > here:
                here = longest[anchor - 1, number, load]
                longest[anchor, number, load] = here
                last_from[anchor, number, load] = last_from[anchor - 1, number, load]
                last_to[anchor, number, load] = last_to[anchor - 1, number, load]
                before[anchor, number, load] = before[anchor - 1, number, load]
            more_m = reach[anchor, reach.shape[1] - 1 - number, reach.shape[2] - 1 - load]
            if here <= best or here + more_m < splicing.length_m - _SHORT_M:
                longest[anchor, number, load] = -1.0
                continue
            any_left = True
            if one_limit:
                best = here
    return any_left


@njit(cache=True, nogil=True)
def _finish(lane: Lane, splicing: Splicing, film: Film, anchor: int, found: tuple[Floats, Ints]) -> None:
    """Last parts from an anchor on, where a roll ends sooner for that than those found; none with fewer splices may."""
    ends, lasts = found
    longest, loads, until_m, mark_from = film.longest, film.loads, film.until[anchor], lane.mark_from
    from_m, most, left = film.place[anchor], film.loads[-1], np.zeros(film.radix.size, dtype=np.int64)
    ended = count_below(lane.mark_to, from_m + TOUCH_M)
    for number in range(1, longest.shape[1]):
        for load in range(longest.shape[2]):
            longest_m = longest[anchor, number, load]
            end_m = from_m + max(splicing.between_m, splicing.length_m - longest_m)
            if longest_m < 0.0 or end_m >= ends[number] - TOUCH_M or end_m > until_m + TOUCH_M:
                continue
            for limit in range(most.size):
                left[limit] = most[limit] - loads[load, limit]
            if not _may_carry(lane, left, count_below(mark_from, end_m - TOUCH_M), ended):
                continue
            ends[number] = min(end_m, until_m)
            lasts[number, 0], lasts[number, 1] = anchor, load
            for more in range(number + 1, ends.size):
                if ends[more] >= ends[number]:
                    ends[more], lasts[more, 0] = ends[number], NOT_FOUND


@njit(cache=True, nogil=True)
def _go_on(film: Film, splicing: Splicing, anchor: int, ends: Floats) -> int:
    """Parts from an anchor on that aren't the last of a roll; the farthest anchor that comes after one."""
    longest, loads, radix, edges, none = film.longest, film.loads, film.radix, film.edges[anchor], film.place.size - 1
    edge_m, edge_to, edge_load, reach = film.edge_m, film.edge_to, film.edge_load, film.reach
    far, from_m, most, longest_m = -1, film.place[anchor], film.loads[-1], splicing.length_m - splicing.between_m
    needed_m = splicing.length_m - _SHORT_M
    for number in range(longest.shape[1] - 1):
        if (number + 2.0) * splicing.between_m > splicing.length_m + TOUCH_M:
            break
        for load in range(longest.shape[2] if number > 0 else 1):
            before_m = longest[anchor, number, load] if number > 0 else 0.0
            if before_m < 0.0 or from_m + splicing.length_m - before_m >= ends[number + 1] - TOUCH_M:
                continue
            for edge in range(edges):
                beyond, both, fits = edge_to[anchor, edge], load, True
                for limit in range(radix.size):
                    added = edge_load[anchor, edge, limit]
                    both += added * radix[limit]
                    fits = fits and loads[load, limit] + added <= most[limit]
                if not fits or beyond >= none:
                    break
                length_m = min(before_m + edge_m[anchor, edge], longest_m)
                more_m = reach[beyond, reach.shape[1] - 2 - number, reach.shape[2] - 1 - both]
                if length_m > longest[beyond, number + 1, both] and length_m + more_m >= needed_m:
                    longest[beyond, number + 1, both] = length_m
                    film.last_from[beyond, number + 1, both] = anchor
                    film.last_to[beyond, number + 1, both] = from_m + edge_m[anchor, edge]
                    film.before[beyond, number + 1, both] = load
                    far = max(far, beyond)
                if length_m >= longest_m:
                    break
    return far
