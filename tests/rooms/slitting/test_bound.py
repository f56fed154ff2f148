"""The bound by itself: not what a plan shows of it, which is never below its own net."""

from dataclasses import replace

from hypothesis import assume, given, settings
from hypothesis import strategies as st

from wideroll.errors import ArgumentError
from wideroll.slitting import CrossCutAt
from wideroll.slitting.across import NONE
from wideroll.slitting.bound import bound_of
from wideroll.slitting.desk import best_knife_sets, prepare_cut
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
