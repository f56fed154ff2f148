"""What a plan is made of: lanes on the knife scale, pieces that touch nothing avoided, and areas that add up."""

import itertools
import math
from dataclasses import replace

import pytest
from hypothesis import given, settings

from wideroll.roll import Extent, union_area_m2
from wideroll.slitting import Avoid, ByMetre, CutRules, SlitWidth, greedy_cut, plan_cut

FILM = SlitWidth(name="35 mm", width_mm=34.975, tolerance_mm=0.025, finish=ByMetre(value_per_m=1.0))
NARROW = SlitWidth(name="16 mm", width_mm=15.95, tolerance_mm=0.025, finish=ByMetre(value_per_m=0.42))
ROLL_FILM = SlitWidth(name="61.5 mm", width_mm=61.5, tolerance_mm=0.1, finish=ByMetre(value_per_m=1.9))


def _extent(along_from_m, along_to_m, across_from_mm, across_to_mm):
    return Extent(
        along_from_m=along_from_m, along_to_m=along_to_m, across_from_mm=across_from_mm, across_to_mm=across_to_mm
    )


WEB = _extent(0.0, 42.0, 0.0, 1380.0)
STREAK = Avoid(extent=_extent(18.2, 42.0, 611.0, 615.5), reason="streak")
DIRT = Avoid(extent=_extent(8.0, 10.0, 0.0, 1380.0), reason="dirt")
SPOT = Avoid(extent=_extent(30.1, 30.4, 100.3, 180.7), reason="spot")


def _check_plan(plan):
    usable = plan.whole.across_from_mm + plan.rules.edge_trim_mm, plan.whole.across_to_mm - plan.rules.edge_trim_mm
    wanted = {width.name: width for width in plan.widths}
    for piece in plan.pieces:
        extent, width = piece.extent, wanted[piece.width]
        assert extent.width_mm == pytest.approx(width.width_mm, abs=1e-9)
        assert extent.length_m >= plan.rules.least_piece_m - 2e-9
        assert piece.value == pytest.approx(extent.length_m * width.finish.value_per_m)
        assert usable[0] <= extent.across_from_mm
        assert extent.across_to_mm <= usable[1]
        assert not any(extent.meet(one.extent) for one in plan.avoid)
        assert extent.meet(plan.whole) == extent
    areas = [piece.extent for piece in plan.pieces]
    assert union_area_m2(areas) == pytest.approx(sum(area.area_m2 for area in areas))
    lost = math.fsum(loss.area_m2 for loss in plan.losses)
    assert lost + sum(area.area_m2 for area in areas) == pytest.approx(plan.whole.area_m2)
    assert all(loss.area_m2 > 0 for loss in plan.losses)
    assert plan.value == pytest.approx(math.fsum(piece.value for piece in plan.pieces))
    _check_runs(plan, usable[0])


def _check_runs(plan, origin):
    spans = [(run.along_from_m, run.along_to_m) for run in plan.runs]
    assert spans == sorted(spans)
    for (_, end), (start, _) in itertools.pairwise(spans):
        assert start - end >= plan.rules.setup_m - 1e-9
    for run in plan.runs:
        reach = -math.inf
        for _, low, high in run.lanes:
            assert low - reach >= plan.rules.trim_between_mm - 1e-9
            steps = (low - origin) / plan.rules.knife_step_mm
            in_pack = low - reach == pytest.approx(plan.rules.trim_between_mm, abs=1e-6)
            assert in_pack or steps == pytest.approx(round(steps), abs=1e-6)
            reach = high
            inside = [p for p in plan.pieces if p.extent.across_from_mm == low and p.extent.across_to_mm == high]
            assert any(
                run.along_from_m <= p.extent.along_from_m and p.extent.along_to_m <= run.along_to_m for p in inside
            )


@pytest.mark.parametrize("make", [plan_cut, greedy_cut])
def test_a_plan_keeps_its_rules_and_everything_adds_up(small_requests, make):
    """Widths are exact, pieces overlap neither each other nor what is avoided; pieces and losses make up the web."""

    @settings(max_examples=120, deadline=None)
    @given(request=small_requests)
    def check(request):
        _check_plan(make(request["whole"], **{k: v for k, v in request.items() if k != "whole"}))

    check()


def test_a_real_roll_is_cut_beside_the_streak_and_the_dirt():
    """On a web of 1.38 m the streak costs its lane from where it starts, and not the film before it."""
    plan = plan_cut(
        WEB, avoid=[STREAK, DIRT, SPOT], widths=[FILM, NARROW], rules=CutRules(least_piece_m=2.0, setup_m=1.0)
    )
    _check_plan(plan)
    assert plan.optimal
    assert plan.value == plan.bound
    kept = sum(piece.extent.area_m2 for piece in plan.pieces) / WEB.area_m2
    assert kept > 0.9
    before = [
        p for p in plan.pieces if p.extent.along_to_m <= 18.2 and p.extent.across_from_mm < 611 < p.extent.across_to_mm
    ]
    assert before


def test_lanes_follow_gap_free_at_their_exact_widths():
    """No lane is rounded up to the knife step: 39 lanes of 34.975 mm fit where 39 of 35 mm would not."""
    web = _extent(0.0, 20.0, 0.0, 16.0 + 39 * 34.975)
    plan = plan_cut(web, avoid=[], widths=[FILM])
    assert len(plan.pieces) == 39
    assert plan.runs[0].lanes[38][1:] == (8.0 + 38 * 34975 / 1000, 8.0 + 39 * 34975 / 1000)
    assert [loss.reason for loss in plan.losses] == ["edge trim"]


def test_a_streak_on_a_lanes_border_costs_nothing():
    """A region that ends exactly where a lane begins doesn't touch it."""
    web = _extent(0.0, 20.0, 0.0, 51.0)
    beside = Avoid(extent=_extent(0.0, 20.0, 42.975, 51.0), reason="streak")
    assert plan_cut(web, avoid=[beside], widths=[FILM]).value == pytest.approx(20.0)
    over = Avoid(extent=_extent(0.0, 20.0, math.nextafter(42.975, 0.0), 51.0), reason="streak")
    assert plan_cut(web, avoid=[over], widths=[FILM]).value == 0.0


def test_setting_the_knives_hides_behind_what_is_lost_anyway():
    """Where a stretch of the whole web is avoided, the layout changes within it and costs no good film."""
    web = _extent(0.0, 300.0, 0.0, 86.0)
    left = Avoid(extent=_extent(0.0, 100.0, 8.0, 12.0), reason="streak")
    right = Avoid(extent=_extent(110.0, 300.0, 75.0, 78.0), reason="streak")
    dirt = Avoid(extent=_extent(100.0, 110.0, 0.0, 86.0), reason="dirt")
    plan = plan_cut(web, avoid=[left, right, dirt], widths=[replace(FILM, width_mm=33.0)])
    assert plan.value == plan.bound == pytest.approx(2 * 290.0)
    assert len(plan.runs) == 2
    assert "setting the knives" not in {loss.reason for loss in plan.losses}


def test_the_run_the_slitter_meets_first_needs_no_setting():
    """The slitter unwinds the tail first: the web lost with a change lies on the head side of the run met before."""
    web = _extent(0.0, 100.0, 0.0, 86.0)
    streaks = [
        Avoid(extent=_extent(0.0, 50.0, 8.0, 12.0), reason="streak"),
        Avoid(extent=_extent(50.0, 100.0, 74.0, 78.0), reason="streak"),
    ]
    plan = plan_cut(web, avoid=streaks, widths=[replace(FILM, width_mm=33.0)], rules=CutRules(setup_m=2.0))
    assert plan.value == pytest.approx(2 * 98.0)
    head, tail = plan.runs
    assert tail.along_from_m - head.along_to_m == pytest.approx(2.0)
    assert (head.along_from_m, tail.along_to_m) == (0.0, 100.0)


@pytest.mark.parametrize(
    ("few", "many"),
    [((0.0, 50.0), (60.0, 100.0)), ((50.0, 100.0), (0.0, 40.0))],
    ids=["fewer towards the head", "fewer towards the tail"],
)
def test_setting_the_knives_costs_the_side_with_fewer_lanes(few, many):
    """Where streaks leave three lanes on one side and two others on the other, the 2 m are lost from the two."""
    web = _extent(0.0, 100.0, 0.0, 34.0)
    avoid = [
        Avoid(extent=_extent(*few, 0.0, 3.5), reason="streak"),
        Avoid(extent=_extent(*few, 18.5, 22.5), reason="streak"),
        Avoid(extent=_extent(*many, 31.0, 34.0), reason="streak"),
    ]
    rules = CutRules(edge_trim_mm=0.0, setup_m=2.0)
    plan = plan_cut(web, avoid=avoid, widths=[replace(FILM, width_mm=10.0)], rules=rules)
    assert plan.value == plan.bound == pytest.approx(3 * 50.0 + 2 * 48.0)
    lost = {loss.reason: loss.area_m2 for loss in plan.losses}
    assert lost["setting the knives"] == pytest.approx(2.0 * (0.034 - 0.0075))


def test_losses_are_charged_to_their_reasons():
    """Each area lost has one reason, the first that holds, and what is avoided takes the width of its lane along."""
    web = _extent(0.0, 100.0, 0.0, 96.0)
    avoid = [
        Avoid(extent=_extent(40.0, 50.0, 0.0, 20.0), reason="dirt"),
        Avoid(extent=_extent(53.0, 60.0, 10.0, 20.0), reason="spot"),
    ]
    plan = plan_cut(web, avoid=avoid, widths=[replace(FILM, width_mm=35.0)], rules=CutRules(trim_between_mm=1.0))
    lost = {loss.reason: loss.area_m2 for loss in plan.losses}
    assert list(lost) == ["edge trim", "avoided: dirt", "avoided: spot", "too short", "trim between lanes", "left over"]
    assert lost["edge trim"] == pytest.approx(100 * 0.016)
    assert lost["avoided: dirt"] == pytest.approx(10 * 0.035)
    assert lost["avoided: spot"] == pytest.approx(7 * 0.035)
    assert lost["too short"] == pytest.approx(3 * 0.035)
    assert lost["trim between lanes"] == pytest.approx(100 * 0.001)
    assert lost["left over"] == pytest.approx(100 * 0.009)


def test_the_first_reason_given_is_charged_where_two_overlap():
    """A place avoided twice counts once, for the reason that was given first."""
    web = _extent(0.0, 100.0, 0.0, 86.0)
    whole_width = Avoid(extent=_extent(40.0, 60.0, 0.0, 86.0), reason="dirt")
    part = Avoid(extent=_extent(50.0, 70.0, 0.0, 86.0), reason="splice")
    for first, second in ((whole_width, part), (part, whole_width)):
        plan = plan_cut(web, avoid=[first, second], widths=[replace(FILM, width_mm=35.0)])
        lost = {loss.reason: loss.area_m2 for loss in plan.losses}
        assert lost[f"avoided: {first.reason}"] == pytest.approx(20 * 0.07)
        assert lost[f"avoided: {second.reason}"] == pytest.approx(10 * 0.07)


def test_numbers_follow_the_slitter():
    """Sorted as text, numbers run from the tail to the head and then across, each only once."""
    plan = plan_cut(WEB, avoid=[STREAK, DIRT, SPOT], widths=[FILM, NARROW], rules=CutRules(least_piece_m=2.0))
    numbers = [piece.number for piece in plan.pieces]
    assert numbers == sorted(set(numbers))
    places = [(-piece.extent.along_to_m, piece.extent.across_from_mm) for piece in plan.pieces]
    assert places == sorted(places)
    assert numbers[0] == "001-01"


@pytest.mark.parametrize(
    "avoid",
    [
        [Avoid(extent=WEB, reason="all of it")],
        [Avoid(extent=_extent(4.0 * n, 4.0 * n + 0.1, 0.0, 1380.0), reason="dirt") for n in range(11)],
    ],
    ids=["everything avoided", "nothing long enough"],
)
def test_a_web_of_which_nothing_can_be_kept_gives_an_empty_plan(avoid):
    """Nothing to keep is a plan without pieces whose losses are the whole web, not an error."""
    for make in (plan_cut, greedy_cut):
        plan = make(WEB, avoid=avoid, widths=[FILM])
        assert (plan.runs, plan.pieces, plan.value) == ((), (), 0.0)
        _check_plan(plan)
    assert plan_cut(WEB, avoid=avoid, widths=[FILM]).bound == 0.0


def test_a_roll_shorter_than_a_piece_gives_an_empty_plan():
    """A roll too short for any piece has none, whatever is avoided."""
    plan = plan_cut(_extent(0.0, 4.0, 0.0, 1380.0), avoid=[], widths=[FILM])
    assert (plan.pieces, plan.bound, plan.optimal) == ((), 0.0, True)


def test_regions_may_overlap_reach_over_the_edge_or_have_no_area():
    """Overlapping regions count once, only what lies on the web counts, and a region without area avoids nothing."""
    asked = {"widths": [FILM, NARROW], "rules": CutRules(least_piece_m=2.0)}
    plain = plan_cut(WEB, avoid=[STREAK, DIRT], **asked)
    more = [
        Avoid(extent=DIRT.extent.grown(across_mm=50.0), reason="dirt"),
        STREAK,
        Avoid(extent=_extent(20.0, 30.0, 612.0, 613.0), reason="streak"),
        Avoid(extent=_extent(5.0, 5.0, 0.0, 1380.0), reason="none"),
        Avoid(extent=_extent(50.0, 60.0, 0.0, 1380.0), reason="beyond"),
        DIRT,
    ]
    fuller = plan_cut(WEB, avoid=more, **asked)
    assert fuller.value == pytest.approx(plain.value)
    assert sum(loss.area_m2 for loss in fuller.losses) == pytest.approx(sum(loss.area_m2 for loss in plain.losses))


def test_whole_numbers_are_as_good_as_any():
    """Places given as integers give the same plan as the same places given as floats."""
    places = (0, 42, 0, 1380), (8, 11, 0, 700), (20, 42, 500, 503)
    plans = [
        plan_cut(
            _extent(*map(kind, places[0])),
            avoid=[Avoid(extent=_extent(*map(kind, place)), reason="x") for place in places[1:]],
            widths=[FILM, NARROW],
            rules=CutRules(setup_m=kind(1)),
        )
        for kind in (int, float)
    ]
    assert plans[0] == plans[1]


def test_the_same_request_gives_the_same_plan():
    """Planning twice gives equal plans, and the order of regions changes neither pieces nor value."""
    asked = {"widths": [FILM, NARROW, ROLL_FILM], "rules": CutRules(least_piece_m=2.0)}
    plan = plan_cut(WEB, avoid=[STREAK, DIRT, SPOT], **asked)
    assert plan == plan_cut(WEB, avoid=[STREAK, DIRT, SPOT], **asked)
    assert plan.pieces == plan_cut(WEB, avoid=[SPOT, DIRT, STREAK], **asked).pieces


def test_a_web_moved_or_mirrored_along_is_worth_the_same(small_requests):
    """Where the head lies doesn't matter, nor, with free settings of the knives, which end is the head."""

    def moved(extent, along_m, across_mm):
        return _extent(
            extent.along_from_m + along_m,
            extent.along_to_m + along_m,
            extent.across_from_mm + across_mm,
            extent.across_to_mm + across_mm,
        )

    def mirrored(extent, end_m):
        return replace(extent, along_from_m=end_m - extent.along_to_m, along_to_m=end_m - extent.along_from_m)

    @settings(max_examples=60, deadline=None)
    @given(request=small_requests)
    def check(request):
        whole, avoid, widths = request["whole"], request["avoid"], request["widths"]
        rules = replace(request["rules"], setup_m=0.0)
        value = plan_cut(whole, avoid=avoid, widths=widths, rules=rules).value
        others = [replace(one, extent=moved(one.extent, 64.0, 32.0)) for one in avoid]
        assert plan_cut(moved(whole, 64.0, 32.0), avoid=others, widths=widths, rules=rules).value == pytest.approx(
            value
        )
        turned = [replace(one, extent=mirrored(one.extent, whole.along_to_m)) for one in avoid]
        assert plan_cut(whole, avoid=turned, widths=widths, rules=rules).value == pytest.approx(value)

    check()


def test_avoiding_more_or_asking_more_never_pays(small_requests):
    """One more region or a longer least piece never raises the bound; double values double the value."""

    @settings(max_examples=60, deadline=None)
    @given(request=small_requests)
    def check(request):
        whole, avoid, widths, rules = (request[name] for name in ("whole", "avoid", "widths", "rules"))
        plan = plan_cut(whole, avoid=avoid, widths=widths, rules=rules)
        if avoid:
            assert plan_cut(whole, avoid=avoid[1:], widths=widths, rules=rules).bound >= plan.bound - 1e-9
        longer = replace(rules, least_piece_m=rules.least_piece_m + 1.0)
        assert plan_cut(whole, avoid=avoid, widths=widths, rules=longer).bound <= plan.bound + 1e-9
        double = [replace(width, finish=ByMetre(value_per_m=2.0 * width.finish.value_per_m)) for width in widths]
        assert plan_cut(whole, avoid=avoid, widths=double, rules=rules).value == pytest.approx(2.0 * plan.value)

    check()


def test_a_width_within_its_tolerance_is_cut_in_whole_micrometres():
    """A width given in inches is cut to the nearest micrometre, which lies within its tolerance."""
    inches = SlitWidth(name="35 mm", width_mm=1.377 * 25.4, tolerance_mm=0.0254, finish=ByMetre(value_per_m=1.0))
    plan = plan_cut(_extent(0.0, 20.0, 0.0, 125.0), avoid=[], widths=[inches])
    assert len(plan.pieces) == 3
    assert all(abs(piece.extent.width_mm - inches.width_mm) <= 0.0005 for piece in plan.pieces)
