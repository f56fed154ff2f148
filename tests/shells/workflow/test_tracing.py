"""A place on a finished roll leads to its film, and that film to all finished rolls that may carry the same."""

from fractions import Fraction

import numpy as np
import polars as pl
import pytest

from wideroll.errors import InputError
from wideroll.examination import Sighting
from wideroll.repeats import Candidate
from wideroll.roll import MARKS_SCHEMA, Coverage, Extent, MarkKind, Place, Polarity, Unseen
from wideroll.scan import Streak
from wideroll.workflow import Batch
from wideroll.workflow.finished_index import FinishedIndex, WideRoll
from wideroll.workflow.finished_rolls import SlitPart, SlitRoll, finished_rows
from wideroll.workflow.sisters import find_sisters
from wideroll.workflow.sisters_model import Link
from wideroll.workflow.tracing import trace_finished
from wideroll.workflow.tracing_model import (
    FinishedFilm,
    RollEvidence,
    StandingDecision,
    StripPlace,
    TracedSeries,
)
from wideroll.workflow.tracing_place import half_widths, read_asked

LENGTH_M, LANE_MM = 20.0, 35.0


def _slit(number, slitter_m, lane, **said):
    parts = tuple(
        SlitPart(
            slitter_from_m=low, slitter_to_m=high, across_from_mm=LANE_MM * lane, across_to_mm=LANE_MM * (lane + 1)
        )
        for low, high in slitter_m
    )
    return SlitRoll(number=number, width="35 mm", parts=parts, **said)


ROLLS = (
    _slit("W-1/1-0", [(0.0, 10.0)], 0),
    _slit("W-1/1-1", [(0.0, 10.0)], 1),
    _slit("W-1/2-0", [(10.0, 20.0)], 0),
    _slit("W-1/2-1", [(10.0, 14.0), (15.0, 20.0)], 1),
)
OTHERS = (_slit("W-2/1-0", [(0.0, 10.0)], 0), _slit("W-2/1-1", [(0.0, 10.0)], 1))


def _rows(rolls, roll):
    return finished_rows(rolls, roll=roll, slit=roll, length_m=Fraction(int(LENGTH_M)))


def _index():
    wide = {
        name: WideRoll(name=name, product="p", status="released", length_m=LENGTH_M, key="", batches=_batches(name))
        for name in ("W-1", "W-2")
    }
    return FinishedIndex(rows=pl.concat([_rows(ROLLS, "W-1"), _rows(OTHERS, "W-2")]), rolls=wide)


def _batches(name):
    half = Batch(name="E-1", along_from_m=0.0, along_to_m=10.0)
    return (half, Batch(name="E-2" if name == "W-1" else "E-1", along_from_m=10.0, along_to_m=20.0))


def _film(number, **said):
    return FinishedFilm(
        number=number,
        rows=_index().find(number),
        decision=_DECISION,
        status="released",
        wide_m=LENGTH_M,
        **said,
    )


_DECISION = StandingDecision(
    roll="W-1", product="p", verdict="release", why="", event=1, who="R. Engineer", when_utc="2026-01-01", digest=""
)


def _mark(name, along_m, across_mm, kind="spot", size_mm=1.0):
    row = dict.fromkeys(MARKS_SCHEMA, 0.0) | {"elongation": 1.0, "snr": 9.0, "contrast": 0.3}
    return row | {
        "id": name,
        "along_m": along_m,
        "across_mm": across_mm,
        "length_mm": size_mm,
        "width_mm": size_mm,
        "polarity": "dark",
        "kind": kind,
        "rule": "",
        "source": "s",
    }


def _marks(*marks):
    return pl.DataFrame(marks, schema=MARKS_SCHEMA) if marks else MARKS_SCHEMA.to_frame()


def _web(to_m=LENGTH_M):
    return Extent(along_from_m=0.0, along_to_m=to_m, across_from_mm=0.0, across_to_mm=4.0 * LANE_MM)


def _evidence(roll="W-1", marks=(), **said):
    return RollEvidence(
        roll=roll,
        length_m=LENGTH_M,
        batches=_batches(roll),
        marks=_marks(*marks),
        coverage=said.pop("coverage", Coverage(seen=(_web(),), unseen=())),
        **said,
    )


def _source(*known):
    given = {one.roll: one for one in known}
    return lambda roll: given.get(roll) or _evidence(roll)


def _trace(number, at=None, *known, within_m=0.1):
    asked = None if at is None else read_asked(at)
    return trace_finished(_film(number), asked, _source(*known), within_m=within_m)


def test_a_mark_is_found_from_the_finished_roll():
    """The spot at 12.5 m lies 7.5 m from the outer end of the piece that was slit first, and 12 mm from its edge."""
    found = _trace("W-1/1-1", "7.5 m from outer end", _evidence(marks=[_mark("a", 12.5, 47.0)]))
    (stretch,) = found.stretches
    assert (stretch.roll, stretch.at_m, stretch.batches) == ("W-1", pytest.approx(12.5), ("E-2",))
    (mark,) = stretch.marks
    assert (mark.id, mark.inside) == ("a", True)
    assert (mark.on.edge_mm, mark.on.other_edge_mm) == (pytest.approx(12.0), pytest.approx(23.0))
    assert (mark.on.from_m + mark.on.to_m) / 2.0 == pytest.approx(7.5)
    assert found.seen


def test_from_the_core_is_the_other_end():
    """The same place measured from both ends leads to one coated place."""
    outer, core = (_trace("W-1/1-0", at).stretches[0].at_m for at in ("2 m from outer end", "8 m from core"))
    assert outer == core == pytest.approx(18.0)


def test_a_mark_beside_the_lane_is_shown_as_such_and_one_farther_is_not():
    """1.5 mm past the edge is within what knives and scanner may differ; 3 mm isn't."""
    known = _evidence(marks=[_mark("near", 12.5, 71.9), _mark("far", 12.5, 73.6)])
    found = _trace("W-1/1-1", "7.5 m", known)
    assert [(mark.id, mark.inside) for mark in found.stretches[0].marks] == [("near", False)]
    assert not found.seen


def test_over_a_splice_film_comes_from_two_stretches():
    """An interval over a splice leads to both sides of it, each with its own metres."""
    found = _trace("W-1/2-1", "4 m")
    spans = [(one.extent.along_from_m, one.extent.along_to_m) for one in found.stretches]
    assert spans == [pytest.approx((6.0, 6.1)), pytest.approx((4.9, 5.0))]
    assert found.splices_m == (pytest.approx(4.0),)


def test_the_whole_roll_is_traced_without_a_place():
    """Without a place every stretch is there in full, and no interval is claimed."""
    found = _trace("W-1/2-1")
    assert [one.extent.length_m for one in found.stretches] == [pytest.approx(4.0), pytest.approx(5.0)]
    assert (found.half_widths, found.half_width_m) == ((), 0.0)


def test_the_rule_of_the_interval():
    """0.1 m and 1 % of 8 m, 0.05 m and 0.1 % of 20 m, and one splice: the root of the sum of squares."""
    film, asked = _film("W-1/2-1"), read_asked("8 m from outer end")
    assert [one.metres for one in half_widths(film, asked)] == [pytest.approx(x) for x in (0.18, 0.07, 0.05)]
    found = trace_finished(film, asked, _source())
    assert found.half_width_m == pytest.approx((0.18**2 + 0.07**2 + 0.05**2) ** 0.5)
    assert found.to_m - found.from_m == pytest.approx(2.0 * found.half_width_m)


def test_a_splice_counts_only_on_the_way_to_the_place():
    """From the core the splice at 4 m of 9 m lies past a place at 3 m."""
    assert len(half_widths(_film("W-1/2-1"), read_asked("3 m from core"))) == 2
    assert len(half_widths(_film("W-1/2-1"), read_asked("6 m from core"))) == 3


@pytest.mark.parametrize("at", ["nonsense", "3", "-1 m from core", "5 m to 3 m from core", "2 m from the left", ""])
def test_a_place_that_can_not_be_read_is_refused(at):
    """The error says how to write it."""
    with pytest.raises(InputError, match=r"--at"):
        read_asked(at)


def test_a_place_past_the_roll_is_refused():
    """Nothing lies 11 m into a roll of 10 m."""
    with pytest.raises(InputError, match="must lie within its 10 m"):
        _trace("W-1/1-0", "11 m")


def test_sightings_strips_and_what_was_not_seen_are_told():
    """What examiners saw, the nearest strips, and why the scan is silent stand beside the marks."""
    sighting = Sighting(
        sheet="A", kind=MarkKind.SPOT, place=Place(along_m=12.5, across_mm=50.0), size_mm=1.0, through={}
    )
    hole = Unseen(
        extent=Extent(along_from_m=12.0, along_to_m=13.0, across_from_mm=0.0, across_to_mm=140.0), why="splice"
    )
    strips = tuple(
        StripPlace(name=n, along_m=at, across_mm=1.0, run="P", usable=True)
        for n, at in zip("abc", (1, 11, 19), strict=True)
    )
    known = _evidence(coverage=Coverage(seen=(_web(),), unseen=(hole,)), sightings=(sighting,), strips=strips)
    (stretch,) = _trace("W-1/1-1", "7.5 m", known).stretches
    assert [(seen.sheet, seen.inside) for seen in stretch.sightings] == [("A", True)]
    assert [near.strip.name for near in stretch.strips] == ["b", "c"]
    assert stretch.not_seen == ("splice",)


def _sisters(found, *known, series=None):
    return find_sisters(found, _index(), _source(*known), lambda roll: (series or {}).get(roll, ()))


def test_sisters_of_a_scattered_mark():
    """Rolls in which the scan saw such marks come first with risk 1; of the others it says that it saw none."""
    marks = [
        _mark("mine", 12.5, 47.0),
        _mark("twin", 13.0, 10.0),
        _mark("small", 3.0, 10.0, size_mm=0.3),
        _mark("hole", 3.0, 47.0, kind="hole"),
    ]
    known = _evidence(marks=marks)
    listed = _sisters(_trace("W-1/1-1", "7.5 m", known), known)
    assert [(one.finished, one.risk, one.seen) for one in listed.sisters] == [
        ("W-1/1-0", 1.0, 1),
        ("W-1/2-1", 0.0, 0),
    ]
    (look,) = listed.sisters[0].look
    assert (look.from_m + look.to_m) / 2.0 == pytest.approx(7.0)
    assert (look.edge_mm, look.what) == (pytest.approx(10.0), "spot seen, twin")
    assert [one.finished for one in listed.at_risk] == ["W-1/1-0"]
    assert listed.sisters[1].links == (Link.LANE,)


def test_where_the_scan_did_not_look_the_rate_counts_with_its_limits():
    """One such mark in the 2.45 m² that were looked at, over the 0.35 m² of a sister that weren't: Garwood's limits."""
    hole = Unseen(
        extent=Extent(along_from_m=10.0, along_to_m=20.0, across_from_mm=0.0, across_to_mm=35.0), why="no signal"
    )
    known = _evidence(marks=[_mark("mine", 12.5, 47.0)], coverage=Coverage(seen=(_web(),), unseen=(hole,)))
    first = _sisters(_trace("W-1/1-1", "7.5 m", known), known).sisters[0]
    assert first.finished == "W-1/1-0"
    assert first.expected == pytest.approx(0.35 / 2.45)
    assert first.expected_low == pytest.approx(0.0253178 * 0.35 / 2.45, rel=1e-5)
    assert first.expected_high == pytest.approx(5.5716434 * 0.35 / 2.45, rel=1e-6)
    assert first.risk == pytest.approx(1.0 - np.exp(-0.35 / 2.45))


def test_sisters_of_a_streak_are_of_its_lane():
    """A streak is in every roll that it crosses, on another roll of the batch too, and in none beside it."""
    streak = _streak(5.0, 20.0)
    known = _evidence(streaks=(streak,)), _evidence("W-2", streaks=(_streak(12.0, 13.0, 12.0),))
    listed = _sisters(_trace("W-1/2-0", "2 m", *known), *known)
    at_risk = {one.finished: one for one in listed.at_risk}
    assert set(at_risk) == {"W-1/1-0", "W-2/1-0"}
    (look,) = at_risk["W-2/1-0"].look
    assert (look.from_m, look.to_m) == (pytest.approx(7.0), pytest.approx(8.0))
    assert {one.risk for one in at_risk.values()} == {1.0}


def _streak(from_m, to_m, across_mm=10.0):
    return Streak(
        extent=Extent(along_from_m=from_m, along_to_m=to_m, across_from_mm=across_mm - 1, across_to_mm=across_mm + 1),
        across_mm=across_mm,
        width_mm=1.0,
        contrast=-0.02,
        contrast_low=-0.03,
        contrast_high=-0.01,
        snr=20.0,
        polarity=Polarity.DARK,
        whole_length=False,
    )


def _series(number, turns, first_m, across_mm, roller="R1"):
    places = tuple(first_m + 0.5 * turn for turn in turns)
    return TracedSeries(
        number=number,
        spacing_m=0.5,
        spacing_low_m=0.499,
        spacing_high_m=0.501,
        across_mm=across_mm,
        extent=Extent(
            along_from_m=places[0], along_to_m=places[-1], across_from_mm=across_mm - 1, across_to_mm=across_mm + 1
        ),
        members=tuple(range(len(turns))),
        places_m=places,
        turns=tuple(turns),
        print_probability=0.8,
        candidates=(Candidate(roller=roller, probability=0.9, slip=0.0),),
    )


def test_sisters_of_a_series_carry_its_turns():
    """Prints count where they were seen, those of another roll's series by the same roller and place too."""
    turns = [0, 1, 2, 3, 5, 6, 7, 8, 9, 10]
    mine = _series(1, turns, 8.1, 10.0)
    marks = [_mark(f"p{turn}", 8.1 + 0.5 * turn, 10.0) for turn in turns]
    known = _evidence(marks=marks, series=(mine,))
    there = {"W-1": (mine,), "W-2": (_series(1, [0, 1], 15.0, 12.0), _series(2, [0, 1], 11.0, 100.0))}
    found = _trace("W-1/1-0", "6.5 m to 10 m", known, within_m=0.01)
    (near,) = found.stretches[0].series
    assert near.turns == (4, 5, 6, 7, 8, 9, 10)
    assert near.seen == 6
    listed = _sisters(found, known, series=there)
    by_name = {one.finished: one for one in listed.sisters}
    other = by_name["W-1/2-0"]
    assert other.links[0] is Link.SERIES
    assert (other.seen, other.expected) == (4, pytest.approx(4.0))
    assert by_name["W-2/1-0"].links == (Link.SERIES,)
    assert by_name["W-2/1-0"].seen == 2
    assert "W-2/1-1" not in by_name


def test_a_turn_without_a_print_counts_by_the_share_of_prints():
    """Of 11 turns 10 were printed: the silent one in the sister counts 0.8, the search's figure, with exact limits."""
    turns = [0, 1, 2, 3, 5, 6, 7, 8, 9, 10]
    mine = _series(1, turns, 5.6, 10.0)
    known = _evidence(marks=[_mark(f"p{turn}", 5.6 + 0.5 * turn, 10.0) for turn in turns], series=(mine,))
    found = _trace("W-1/1-0", None, known)
    sister = next(one for one in _sisters(found, known, series={"W-1": (mine,)}).sisters if one.finished == "W-1/2-0")
    assert (sister.seen, sister.expected, sister.risk) == (8, pytest.approx(8.8), 1.0)
    assert sister.expected_low == pytest.approx(8.0 + 0.5872, abs=1e-4)
    assert sister.expected_high == pytest.approx(8.0 + 0.9977, abs=1e-4)
    assert "turn, print not seen" in {look.what for look in sister.look}


def test_what_the_scan_did_not_see_has_an_unknown_risk():
    """Nothing near: no number is made up, and those that share the stretch come before lane and batch."""
    listed = _sisters(_trace("W-1/1-1", "7.5 m"))
    assert [(one.finished, one.links, one.risk) for one in listed.sisters] == [
        ("W-1/1-0", (Link.STRETCH, Link.BATCH), None),
        ("W-1/2-1", (Link.LANE,), None),
    ]
    assert listed.at_risk == listed.sisters
    assert listed.sisters[0].look[0].from_m == pytest.approx(7.4)
    assert listed.sisters[1].look[0].what == "all of it"


def test_batches_are_followed_over_rolls():
    """Another wide roll of the same batch is there, its metres of other batches aren't."""
    listed = _sisters(_trace("W-1/2-1", "2 m"))
    shares = {one.finished: one.links for one in listed.sisters}
    assert shares["W-2/1-0"] == shares["W-2/1-1"] == (Link.BATCH,)


def test_cautions_tell_of_provisional_and_earlier_lists():
    """Film of a list that isn't for slitting, or of one that was replaced, is told."""
    film = _film("W-1/1-0")
    earlier = StandingDecision(**{name: getattr(_DECISION, name) for name in _DECISION.__slots__} | {"earlier": (1,)})
    told = FinishedFilm(
        number=film.number, rows=film.rows, decision=earlier, status="provisional: on hold", wide_m=20.0
    )
    first, second = trace_finished(told, None, _source()).cautions
    assert "provisional" in first
    assert "event 1" in second
