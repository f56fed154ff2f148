from dataclasses import replace

import pytest

from wideroll.release import Consequence, Criterion, Decision, Finding, Measurand, Reason, RegionVerdict, Verdict
from wideroll.roll import Coverage, Extent, Unseen
from wideroll.slitting import CutRules
from wideroll.workflow import plan_from, scan_web

CRITERION = Criterion(
    name="Streaks", measurand=Measurand.FLAW, limit=1.0, unit="%", consequence=Consequence.CUT_OUT, kinds=("streak",)
)


def _part(whole: Extent, along: tuple[float, float], across: tuple[float, float] = (0.0, 120.0)) -> Extent:
    return replace(whole, along_from_m=along[0], along_to_m=along[1], across_from_mm=across[0], across_to_mm=across[1])


@pytest.fixture
def decision(whole):
    """Make a decision with regions of given verdicts."""

    def decision(verdict: Verdict, *regions: tuple[Extent, Verdict]) -> Decision:
        finding = Finding(
            criterion="Streaks",
            extent=whole,
            limit=1.0,
            found=2.0,
            low=1.5,
            high=2.5,
            margin=-1.0,
            unit="%",
            verdict=Verdict.CUT_OUT,
            reason=Reason.ABOVE_LIMIT,
            why="too strong",
            source="scan",
        )
        return Decision(
            verdict=verdict,
            why="",
            findings=(finding,),
            regions=tuple(RegionVerdict(extent=e, verdict=v, findings=(0,), why="too strong") for e, v in regions),
            missing=(),
            coverage={},
            released_share=1.0,
            criteria=(CRITERION,),
        )

    return decision


def _clear(plan, extent: Extent) -> bool:
    return all(piece.extent.meet(extent) is None for piece in plan.pieces)


def test_a_good_roll_is_cut_whole(decision, whole, product) -> None:
    """Nothing to avoid: three lanes of 35 mm from end to end."""
    plan = plan_from(decision(Verdict.RELEASE), whole, product, None)
    assert [piece.extent.length_m for piece in plan.pieces] == [2.0] * 3
    assert plan.avoid == ()


def test_a_rejected_roll_has_no_plan(decision, whole, product) -> None:
    """There is nothing to slit on a rejected roll, and no plan that somebody might follow."""
    assert plan_from(decision(Verdict.REJECT, (whole, Verdict.REJECT)), whole, product, None) is None


@pytest.mark.parametrize("verdict", [Verdict.HOLD, Verdict.CUT_OUT])
def test_parts_held_or_cut_out_are_in_no_piece(decision, whole, product, verdict: Verdict) -> None:
    """Whatever isn't released is avoided, with its verdict and criterion as the reason; the rest is still cut."""
    part = _part(whole, (0.5, 0.7), (60.0, 80.0))
    plan = plan_from(decision(verdict, (part, verdict)), whole, product, None)
    assert _clear(plan, part)
    assert plan.pieces
    assert [avoid.reason for avoid in plan.avoid] == [f"{verdict}: Streaks"]


def test_a_roll_wholly_on_hold_has_no_pieces(decision, whole, product) -> None:
    """A roll that is held as a whole has a plan without pieces: provisional is not for sale."""
    plan = plan_from(decision(Verdict.HOLD, (whole, Verdict.HOLD)), whole, product, None)
    assert plan.pieces == ()


def test_what_the_scanner_did_not_see_is_in_no_piece(decision, whole, product, raster) -> None:
    """Unseen parts are avoided even on a roll that is released; the edges that are trimmed anyway aren't listed."""
    hole, edge = _part(whole, (1.0, 1.2)), _part(whole, (0.0, 2.0), (0.0, 4.0))
    coverage = Coverage(seen=(whole,), unseen=(Unseen(extent=hole, why="splice"), Unseen(extent=edge, why="edge bead")))
    scan = replace(scan_web(raster()), coverage=coverage)
    plan = plan_from(decision(Verdict.RELEASE), whole, product, scan)
    assert _clear(plan, hole)
    assert {piece.extent.length_m for piece in plan.pieces} == {0.8, 1.0}
    assert [avoid.reason for avoid in plan.avoid] == ["not looked at: splice"]


def test_splices_are_in_no_piece(decision, whole, product) -> None:
    """A splice is avoided a hand's breadth either way, at the roll's ends too; one outside the roll is nothing."""
    plan = plan_from(decision(Verdict.RELEASE), whole, product, None, splices_m=(0.0, 1.0, 5.0))
    assert _clear(plan, _part(whole, (0.75, 1.25)))
    assert _clear(plan, _part(whole, (0.0, 0.25)))
    assert [avoid.reason for avoid in plan.avoid] == ["splice", "splice"]
    assert {round(piece.extent.length_m, 9) for piece in plan.pieces} == {0.5, 0.75}


def test_a_trim_wider_than_the_web_is_told_as_such(decision, whole, product, raster) -> None:
    """An edge trim that leaves no web is refused by the slitter's own rule, not by a rectangle turned inside out."""
    wide = replace(product, cut_rules=CutRules(edge_trim_mm=70.0))
    with pytest.raises(ValueError, match="between the edge trims"):
        plan_from(decision(Verdict.RELEASE), whole, wide, scan_web(raster()))
