"""The bound by itself: not what a plan shows of it, which is never below its own net."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from wideroll.errors import ArgumentError
from wideroll.roll import Extent
from wideroll.slitting import Avoid, ByMetre, CrossCutAt, CutRules, SlitWidth
from wideroll.slitting.across import NONE
from wideroll.slitting.bound import bound_of
from wideroll.slitting.desk import best_knife_sets, prepare_cut
from wideroll.slitting.plan import finish_plan
from wideroll.slitting.regions import Change
from wideroll.slitting.request import Request

_SAME = 1e-6


def _desk(request, **changed):
    asked = request | changed
    return prepare_cut(Request(**{n: v if n in {"whole", "rules"} else tuple(v) for n, v in asked.items()}))


def test_no_plan_is_worth_more_than_the_bound(mixed_requests, wishful_requests):
    """With wishes or without, thinned or not, the best plan found lies within the bound."""

    @settings(max_examples=200, deadline=None)
    @given(request=st.one_of(mixed_requests, wishful_requests), most=st.sampled_from([0, 2, 40]))
    def check(request, most):
        request |= {"rules": replace(request["rules"], most_cross_cuts=most)}
        try:
            desk = _desk(request)
        except (ArgumentError, ValueError):
            assume(False)  # noqa: FBT003
        net = best_knife_sets(desk)[0]
        assume(net > NONE)
        assert net <= bound_of(desk) + _SAME

    check()


def test_changes_anywhere_stay_within_the_bound(mixed_requests):
    """A plan with cross-cuts at places drawn at random is a plan without the wish, too: the bound holds for it."""

    @settings(max_examples=200, deadline=None)
    @given(request=mixed_requests, shares=st.lists(st.floats(0.01, 0.99), min_size=1, max_size=3))
    def check(request, shares):
        whole = request["whole"]
        cuts = [CrossCutAt(along_m=whole.along_from_m + share * whole.length_m) for share in shares]
        net = best_knife_sets(_desk(request, wishes=cuts))[0]
        assert net <= bound_of(_desk(request)) + _SAME

    check()


def _everywhere(desk, step_m):
    """The desk with a change of knives at every place of a grid."""
    setup_m, length_m = desk.request.rules.setup_m, desk.web.length_m
    ends = np.arange(step_m, length_m, step_m)
    changes = tuple(Change(end_m=end, begin_m=end + setup_m) for end in ends.tolist() if end + setup_m < length_m)
    return replace(desk, changes=(*desk.changes, *changes), others=())


def _mirrored(request):
    """A request with its head where the tail was, and its far edge where the datum edge was."""
    whole = request["whole"]
    length_m, width_mm = whole.along_to_m, whole.across_to_mm

    def turned(one):
        return Extent(
            along_from_m=length_m - one.along_to_m,
            along_to_m=length_m - one.along_from_m,
            across_from_mm=width_mm - one.across_to_mm,
            across_to_mm=width_mm - one.across_from_mm,
        )

    return request | {
        "avoid": [replace(one, extent=turned(one.extent)) for one in request["avoid"]],
        "counts": [replace(one, marks=tuple(map(turned, one.marks))) for one in request.get("counts", ())],
        "wishes": [],
    }


def test_the_best_of_changes_at_all_places_stays_within_the_bound(finishing_requests, wishful_requests):
    """With a change tried at every half metre, wishes, counts, stops, strips and splices or not, mirrored or not.

    Lengths, regions and marks are whole metres here, so marks end just where pieces do.
    """

    @settings(max_examples=80, deadline=None)
    @given(request=st.one_of(finishing_requests, wishful_requests), mirrored=st.booleans())
    def check(request, mirrored):
        try:
            desk = _desk(_mirrored(request) if mirrored else request)
        except (ArgumentError, ValueError):
            assume(False)  # noqa: FBT003
        net = best_knife_sets(_everywhere(desk, 0.5))[0]
        assume(net > NONE)
        assert net <= bound_of(desk) + _SAME

    check()


def test_a_lane_with_a_hair_of_film_holds_its_neighbour_in_place():
    """A change a hair beyond a border gives a lane there film, so that the next may stand off the scale."""
    web = Extent(along_from_m=0.0, along_to_m=12.0, across_from_mm=0.0, across_to_mm=5.0)
    widths = [
        SlitWidth(name=f"{mm:g}", width_mm=mm, tolerance_mm=0.0, finish=ByMetre(value_per_m=value))
        for mm, value in ((1.5, 0.01), (3.5, 1.0), (5.0, 10.0))
    ]
    edge = Avoid(extent=replace(web, along_from_m=3.0, across_to_mm=1.5), reason="edge")
    rules = CutRules(edge_trim_mm=0.0, least_piece_m=0.1, setup_m=0.0)
    desk = _desk({"whole": web, "avoid": [edge], "widths": widths, "rules": rules})
    beyond = replace(desk, changes=(Change(end_m=9.1, begin_m=9.1),))
    assert best_knife_sets(beyond)[0] == pytest.approx(9.1 + 0.001 + 29.0)
    assert bound_of(desk) == pytest.approx(9.0 + 30.0)


def test_a_bound_below_its_plan_is_our_bug():
    """What lies above the bound by more than rounding isn't passed over in silence."""
    web = Extent(along_from_m=0.0, along_to_m=10.0, across_from_mm=0.0, across_to_mm=50.0)
    film = SlitWidth(name="50", width_mm=50.0, tolerance_mm=0.0, finish=ByMetre(value_per_m=1.0))
    desk = _desk({"whole": web, "avoid": [], "widths": [film], "rules": CutRules(edge_trim_mm=0.0)})
    net, sets = best_knife_sets(desk)
    assert finish_plan(desk, sets, bound=net * (1.0 - 1e-8)).bound == net
    with pytest.raises(RuntimeError, match="above the bound"):
        finish_plan(desk, sets, bound=net * (1.0 - 1e-5))
