"""From a decision to what the slitter is asked for: second quality and marks per finished roll."""

from dataclasses import replace

import polars as pl
import pytest

from wideroll.release import Consequence, Criterion, Finding, Measurand, Reason, RegionVerdict, Verdict, decide
from wideroll.release.model import Decision, Evidence
from wideroll.roll import MARKS_SCHEMA, Coverage, Extent
from wideroll.slitting import CountLimit
from wideroll.store.plain import from_plain, to_plain
from wideroll.workflow import cut_request, scan_web, splices_of

STREAKS = Criterion(
    name="Streaks",
    measurand=Measurand.FLAW,
    limit=1.0,
    unit="%",
    consequence=Consequence.CUT_OUT,
    kinds=("streak",),
    second_quality=True,
)
FEW = Criterion(name="Few", measurand=Measurand.MARK_COUNT, limit=2, unit="marks", consequence=Consequence.CUT_OUT)


@pytest.fixture
def part(whole) -> Extent:
    """A lane of half a metre."""
    return replace(whole, along_from_m=0.5, along_to_m=1.0, across_from_mm=40.0, across_to_mm=50.0)


@pytest.fixture
def decision(part: Extent) -> Decision:
    """A streak that is cut out and may be sold as second quality, and a limit on marks in a finished roll."""
    numbers = dict.fromkeys(("limit", "found", "low", "high", "margin"), 1.0)
    finding = Finding(
        criterion="Streaks",
        extent=part,
        unit="%",
        verdict=Verdict.CUT_OUT,
        reason=Reason.ABOVE_LIMIT,
        why="too strong",
        source="scan",
        **numbers,
    )
    region = RegionVerdict(extent=part, verdict=Verdict.CUT_OUT, findings=(0,), why="too strong", second_quality=True)
    return Decision(
        verdict=Verdict.CUT_OUT,
        why="",
        findings=(finding,),
        regions=(region,),
        missing=(),
        coverage={},
        released_share=1.0,
        criteria=(STREAKS, FEW),
    )


def _marks(*places: tuple[float, float]) -> pl.DataFrame:
    numbers = {name: [1.0] * len(places) for name, kind in MARKS_SCHEMA.items() if kind.is_float()}
    words = {"id": "m", "polarity": "dark", "kind": "spot", "rule": "invented", "source": "s"}
    along, across = zip(*places, strict=True)
    rows = numbers | {name: [word] * len(places) for name, word in words.items()}
    return pl.DataFrame(rows | {"along_m": along, "across_mm": across}, schema=MARKS_SCHEMA)


def test_second_quality_is_a_downgrade_and_not_a_hole(decision, whole, product, part) -> None:
    """A part of second quality may be in a piece of that; its reason says so."""
    asked = cut_request(decision, whole, product, None)
    (avoid,) = asked.avoid
    assert (avoid.extent, avoid.downgrade, avoid.reason) == (part, True, "second quality: Streaks")
    held = replace(decision, regions=(replace(decision.regions[0], verdict=Verdict.HOLD, second_quality=False),))
    assert [a.downgrade for a in cut_request(held, whole, product, None).avoid] == [False]


def test_marks_are_those_of_the_scan_that_the_finding_counted(decision, whole, product, raster) -> None:
    """Each limit on marks in a finished roll arrives with as many marks as the decision said lie on the roll."""
    scan = replace(scan_web(raster()), marks=_marks((0.5, 20.0), (1.2, 60.0), (2.5, 60.0)))
    (limit,) = cut_request(decision, whole, product, scan).counts
    seen = Evidence(whole=whole, marks=scan.marks, coverage={"scan": Coverage(seen=(whole,))}, counts={})
    (finding,) = (f for f in decide(seen, [FEW]).findings if f.criterion == "Few")
    assert (limit.name, limit.most) == ("Few", 2)
    assert len(limit.marks) == finding.found == 2


def test_without_a_scan_nothing_is_counted(decision, whole, product) -> None:
    """A roll that wasn't scanned has no marks to keep apart; such a roll is held as a whole anyway."""
    assert cut_request(decision, whole, product, None).counts == ()


def test_a_decision_read_back_asks_the_same_of_the_slitter(decision, whole, product, raster) -> None:
    """A what-if on a kept decision is planned from what the recorded plan was made from."""
    scan = scan_web(raster())
    again = from_plain(to_plain(decision), Decision)
    asked = cut_request(decision, whole, product, scan, splices_m=(1.0,))
    assert cut_request(again, whole, product, scan, splices_m=(1.0,)) == asked
    assert all(isinstance(limit, CountLimit) for limit in asked.counts)


def test_a_rejected_roll_asks_for_nothing(decision, whole, product) -> None:
    """There is no request that somebody might plan for a roll that is rejected."""
    assert cut_request(replace(decision, verdict=Verdict.REJECT), whole, product, None) is None


def test_splices_of_the_card_come_first(card, raster) -> None:
    """Splices that the coating machine noted and splices that the scanner saw are both told."""
    noted = replace(card, splices_m=(0.5,))
    assert splices_of(noted, None) == (0.5,)
    assert splices_of(noted, scan_web(raster()))[:1] == (0.5,)
