"""What somebody wishes is done if it can be, costs what it costs, and is named where it can't be."""

from dataclasses import replace

import pytest
from hypothesis import HealthCheck, assume, given, settings
from oracle_bench import Bench, candidates
from oracle_rules import check_keeps_rules

from wideroll.errors import ArgumentError
from wideroll.roll import Extent
from wideroll.slitting import (
    Avoid,
    ByLength,
    ByMetre,
    CrossCutAt,
    CutRules,
    FinishedLength,
    KnifeAt,
    SlitWidth,
    WithoutWidth,
    plan_cut,
    price_wishes,
)

WEB = Extent(along_from_m=0.0, along_to_m=100.0, across_from_mm=0.0, across_to_mm=116.0)
FILM = SlitWidth(name="50 mm", width_mm=50.0, tolerance_mm=0.1, finish=ByMetre(value_per_m=1.0))


def test_with_wishes_the_plan_is_the_best_of_all_that_grant_them(wishful_requests):
    """No choice that grants the wishes is worth more, and only where none does the request is refused."""

    @settings(max_examples=250, deadline=None)
    @given(request=wishful_requests)
    def check(request):
        changes = candidates(request)
        assume(len(changes) <= 10)
        best = Bench(**request).best(changes)
        if best is None:
            with pytest.raises(ArgumentError, match="wish"):
                plan_cut(**request)
            return
        plan = plan_cut(**request)
        assert plan.net == pytest.approx(float(best), abs=1e-6)
        check_keeps_rules(plan)

    check()


def _on_scale(wish, request):
    start_mm = request["whole"].across_from_mm + request["rules"].edge_trim_mm
    return not isinstance(wish, KnifeAt) or (wish.across_mm - start_mm) % request["rules"].knife_step_mm == 0.0


def test_a_wish_never_pays(wishful_requests):
    """A wish costs what the plan nets less with it: nothing or more, unless its knife stands where no scale has one.

    The plan without it may be better than the usual one, as it also tries the places that the wishes bring.
    """

    @settings(max_examples=80, deadline=None)
    @given(request=wishful_requests)
    def check(request):
        wishes = request.pop("wishes")
        free = plan_cut(**request)
        try:
            prices = price_wishes(**request, wishes=wishes)
        except ArgumentError as refused:
            assert "wish" in refused.where  # noqa: PT017
            return
        for price in prices:
            assert free.net - 1e-9 <= price.net_without <= free.bound + 1e-9
            if not any(isinstance(wish, CrossCutAt) for wish in wishes):
                assert price.net_without == pytest.approx(free.net, abs=1e-9)
            assert price.net_with == pytest.approx(plan_cut(**request, wishes=price.wishes).net, abs=1e-9)
            assert price.off_scale == tuple(wish for wish in price.wishes if not _on_scale(wish, request))
            if not price.off_scale:
                assert price.net_with <= free.bound + 1e-9
                assert price.cost >= 0.0

    check()


def test_a_cross_cut_never_pays_on_a_clean_web():
    """Where the wish brings a good place to change the knives, the plan without it tries that place, too."""
    long, short = (
        SlitWidth(name=f"{mm:g} mm", width_mm=mm, tolerance_mm=0.0, finish=ByLength(lengths=(length,)))
        for mm, length in (
            (10.0, FinishedLength(length_m=60.0, value=60.0)),
            (5.0, FinishedLength(length_m=40.0, value=20.0)),
        )
    )
    web = Extent(along_from_m=0.0, along_to_m=102.0, across_from_mm=0.0, across_to_mm=10.0)
    asked = {"avoid": [], "widths": [long, short], "rules": CutRules(edge_trim_mm=0.0, setup_m=2.0)}
    assert plan_cut(web, **asked).net == pytest.approx(100.0)
    for along_m in (40.0, 17.3, 61.0):
        (price,) = price_wishes(web, **asked, wishes=[CrossCutAt(along_m=along_m)])
        assert price.cost >= 0.0
        assert price.net_without == pytest.approx(100.0)


def test_a_knife_off_the_scale_is_named_as_one_that_may_gain():
    """A knife at half a millimetre adds a place that the scale of whole ones lacks: its price says so."""
    streak = Avoid(extent=replace(WEB, across_to_mm=0.5), reason="edge")
    web, knife = replace(WEB, across_to_mm=50.5), KnifeAt(across_mm=0.5)
    (price,) = price_wishes(web, avoid=[streak], widths=[FILM], rules=CutRules(edge_trim_mm=0.0), wishes=[knife])
    assert (price.net_without, price.net_with, price.off_scale) == (0.0, 100.0, (knife,))


def test_wishes_are_granted_on_wide_rolls(wide_wishful_requests):
    """On rolls as wide as they are coated a plan with wishes keeps all rules, the wishes among them."""

    @settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.data_too_large, HealthCheck.too_slow])
    @given(request=wide_wishful_requests)
    def check(request):
        try:
            plan = plan_cut(**request)
        except ArgumentError as refused:
            assert "wish" in refused.where  # noqa: PT017
            return
        assert plan.wishes == tuple(request["wishes"])
        check_keeps_rules(plan)

    check()


@pytest.mark.parametrize(
    ("wish", "cost"),
    [
        (KnifeAt(across_mm=58.0), 0.0),
        (KnifeAt(across_mm=78.0), 100.0),
        (CrossCutAt(along_m=40.0), 0.0),
        (CrossCutAt(along_m=3.0), 6.0),
        (WithoutWidth(name="60 mm"), 0.0),
    ],
    ids=["at the lanes' border", "off it", "between long pieces", "near the head", "a width that gains nothing"],
)
def test_a_wish_costs_what_can_be_reckoned_by_hand(wish, cost):
    """Two lanes of 50 mm fill a web of 100 mm by 100 m: a knife elsewhere costs one, a cut at 3 m those 3 m of both."""
    wider = SlitWidth(name="60 mm", width_mm=60.0, tolerance_mm=0.1, finish=ByMetre(value_per_m=1.0))
    (price,) = price_wishes(WEB, avoid=[], widths=[FILM, wider], wishes=[wish])
    assert price.net_without == pytest.approx(200.0)
    assert price.cost == pytest.approx(cost)


STREAK = Avoid(extent=replace(WEB, across_from_mm=20.0, across_to_mm=96.0), reason="streak")


@pytest.mark.parametrize(
    ("wishes", "avoid", "named"),
    [
        ([KnifeAt(across_mm=4.0)], [], "a knife at 4 mm"),
        ([KnifeAt(across_mm=float("nan"))], [], "a knife at nan mm"),
        ([KnifeAt(across_mm=58.0)], [STREAK], "a knife at 58 mm"),
        ([CrossCutAt(along_m=100.0)], [], "a cross-cut at 100 m"),
        ([CrossCutAt(along_m=float("nan"))], [], "a cross-cut at nan m"),
        ([WithoutWidth(name="70 mm")], [], "no lane of 70 mm"),
        ([WithoutWidth(name="50 mm")], [], "no lane of 50 mm"),
        ([KnifeAt(across_mm=58.0), KnifeAt(across_mm=60.0)], [], "a knife at 60 mm"),
        ([CrossCutAt(along_m=50.0), KnifeAt(across_mm=8.5), KnifeAt(across_mm=9.0)], [], "a knife at 9 mm"),
    ],
)
def test_a_wish_that_makes_the_plan_impossible_is_named(wishes, avoid, named):
    """Of several wishes the message names the one that can't be met, alone or beside those before it."""
    for make in (plan_cut, price_wishes):
        with pytest.raises(ArgumentError, match=f"wish: {named}"):
            make(WEB, avoid=avoid, widths=[FILM], wishes=wishes, rules=CutRules(trim_between_mm=0.0))


def test_a_cross_cut_that_hides_in_dirt_costs_nothing():
    """Where the whole web is avoided anyway, cutting across there takes nothing away."""
    dirt = Avoid(extent=replace(WEB, along_from_m=30.0, along_to_m=35.0), reason="dirt")
    (price,) = price_wishes(WEB, avoid=[dirt], widths=[FILM], wishes=[CrossCutAt(along_m=32.0)])
    assert price.cost == 0.0
    assert price.net_with == pytest.approx(2 * 95.0)
