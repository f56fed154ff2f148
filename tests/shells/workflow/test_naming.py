"""Series named by what examiners saw of their marks, and by cleanings."""

from dataclasses import replace

import polars as pl
import pytest

from wideroll.errors import ArgumentError
from wideroll.examination import FilterColour, Match, Matching, Seen, SeenThing
from wideroll.repeats import (
    ANOTHER,
    Candidate,
    Cleaning,
    Roller,
    Series,
    SeriesKind,
    SeriesSearch,
    SeriesSettings,
    Stage,
)
from wideroll.repeats.traces import Trace, seen_words
from wideroll.roll import Extent, Side
from wideroll.workflow import Examination, cleaned_before, name_series, when
from wideroll.workflow.cases import cases_of, suspect_roll
from wideroll.workflow.naming import sign_of, signs_of
from wideroll.workflow.sightings import examine_thing

DARK = dict.fromkeys(FilterColour, Seen.DARKER)
CYAN = {FilterColour.RED: Seen.DARKER, FilterColour.GREEN: Seen.SAME, FilterColour.BLUE: Seen.SAME}
ROLLERS = (
    Roller(name="base", diameter_mm=200.0, side=Side.BASE, stage=Stage.DRY),
    Roller(name="emulsion", diameter_mm=200.0, side=Side.EMULSION, stage=Stage.DRY),
)
MARKS = pl.DataFrame({"id": [f"m{n}" for n in range(8)]})


class Scanned:
    """As much of a scan as names of marks need."""

    marks = MARKS


@pytest.fixture
def examined(sighting):
    """A sighting with its layer and origin."""

    def examined(**fields: object):
        one = sighting(**fields)
        return examine_thing(SeenThing(sighting=one, seen=(one,)), seen_by_scanner=True)

    return examined


@pytest.fixture
def series() -> Series:
    """Marks m1, m3, m5, m7, tied between two rollers."""
    candidates = [Candidate(roller=one.name, probability=0.45, slip=0.0) for one in ROLLERS]
    return Series(
        spacing_m=0.628,
        spacing_low_m=0.627,
        spacing_high_m=0.629,
        phase_m=0.1,
        across_mm=50.0,
        extent=Extent(along_from_m=0.0, along_to_m=2.0, across_from_mm=49.0, across_to_mm=51.0),
        members=(1, 3, 5, 7),
        turns=(0, 1, 2, 3),
        print_probability=0.8,
        drift=0.0,
        log_evidence=40.0,
        false_alarm=1e-6,
        candidates=(*candidates, Candidate(roller=ANOTHER, probability=0.1, slip=0.0)),
    )


def _search(*series: Series) -> SeriesSearch:
    return SeriesSearch(
        series=series, marks=8, lanes=10, trials=100, length_m=2.0, observed=((0.0, 1.5),), settings=SeriesSettings()
    )


def _matched(examined, pairs: dict[int, str]) -> Examination:
    matches = tuple(Match(sighting=row, mark_id=name, distance_mm=1.0) for row, name in pairs.items())
    matching = Matching(
        matches=matches, only_examiner=(), only_scanner=(), total=0.0, total_low=0.0, total_high=0.0, hidden=0.0
    )
    return Examination(examined=tuple(examined), matching=matching)


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"through": DARK, "embedded": True}, "in the emulsion, in all records"),
        ({"through": DARK, "embedded": True, "metallic": True}, Trace.EMBEDDED.value),
        ({"through": CYAN, "embedded": True}, Trace.SOME_RECORDS.value),
        ({"through": DARK, "embedded": False, "wipes_off": True}, "on the surface"),
        ({"through": DARK, "embedded": False, "wipes_off": True, "side": Side.EMULSION}, Trace.ON_EMULSION.value),
        ({"through": DARK, "embedded": False, "side": Side.BASE}, Trace.ON_BASE.value),
        ({}, ""),
    ],
)
def test_what_was_said_tells_what_a_print_is(examined, fields, words) -> None:
    """Filters, touch, metallic look and side together say whether a print is in the emulsion, on it or on the base."""
    assert seen_words([sign_of(examined(**fields))] * 2) == words


def test_statement_about_a_side_never_settles_it(examined) -> None:
    """With the side said, the other side keeps a tenth."""
    sign = sign_of(examined(through=DARK, embedded=False, side=Side.BASE))
    assert sign.on_emulsion == pytest.approx(sign.on_base / 9.0)


def test_only_marks_of_the_series_count(examined, series) -> None:
    """A sighting of another mark, or of none, says nothing of the series."""
    seen = [examined(through=DARK, embedded=False, side=Side.EMULSION), examined(through=CYAN)]
    examination = _matched(seen, {0: "m3", 1: "m4"})
    assert signs_of(series, Scanned(), examination) == (sign_of(seen[0]),)
    assert signs_of(series, None, examination) == ()
    assert signs_of(series, Scanned(), Examination()) == ()


def test_series_are_named_by_signs_and_cleanings(files, examined, series) -> None:
    """The tie is broken and the why said; spacing, members and a lap print stay as they were."""
    plant = replace(files.the_plant, rollers=ROLLERS)
    lap = replace(series, kind=SeriesKind.LAP, candidates=())
    seen = [examined(through=DARK, embedded=False, wipes_off=True, side=Side.EMULSION)] * 2
    named = name_series(_search(series, lap), Scanned(), _matched(seen, {0: "m1", 1: "m5"}), plant, files.the_card)
    assert named[0].candidates[0].roller == "emulsion"
    assert "on top of the emulsion" in named[0].candidates[0].why
    assert replace(named[0], candidates=series.candidates) == series
    assert named[1] is lap
    assert sum(one.probability for one in named[0].candidates) == pytest.approx(1.0)


def test_only_cleanings_before_the_roll_count(files, series) -> None:
    """A cleaning after the roll was coated, or of a roll whose day isn't known, changes nothing."""
    done = tuple(Cleaning(roller="base", on=when(day)) for day in ("2026-11-01", "2026-11-18", "2026-11-22"))
    plant = replace(files.the_plant, rollers=ROLLERS, cleanings=done)
    card = replace(files.the_card, coated="2026-11-20")
    assert {name: one.on.text for name, one in cleaned_before(plant, card).items()} == {"base": "2026-11-18"}
    assert cleaned_before(plant, files.the_card) == {}
    named = name_series(_search(series), None, Examination(), plant, card)[0].candidates
    assert (named[0].roller, named[0].why) == ("emulsion", "")
    assert next(one.why for one in named if one.roller == "base") == "against: cleaned 2 days before"
    assert name_series(_search(series), None, Examination(), plant, files.the_card)[0].candidates == series.candidates


def test_moments_of_one_scale_are_ordered() -> None:
    """A day, an hour of it and the next day stand in order; what is no day is refused."""
    day, hour, after = when("2026-11-20"), when("2026-11-20T18:00"), when("2026-11-21")
    assert hour.earliest == day.earliest + 0.75
    assert day.before(after)
    assert hour.before(after)
    assert not day.before(hour)
    for text in ("20 November", "2026-11-20T18:00+01:00", ""):
        with pytest.raises(ArgumentError):
            when(text)


def test_case_knows_what_was_not_searched(files, series) -> None:
    """Rolls without a search are named, so that silence isn't taken for nothing found; so are those without a day."""
    plant = replace(files.the_plant, rollers=ROLLERS)
    found = cases_of(plant, [suspect_roll(files.the_card, _search(series))], ["W-9"])
    assert (found.searched, found.undated, found.not_searched) == (("T-1",), ("T-1",), ("W-9",))
    (case,) = found.cases
    assert case.rolls == ("T-1",)
    assert suspect_roll(files.the_card, _search(series)).observed_m == 1.5


def test_named_repeats_are_not_what_is_kept(desk, files, results) -> None:
    """The kept search stays that of the spacing alone, so that a cleaning noted later makes nothing stale."""
    roll = desk(files)
    scan = roll.scan()
    named = roll.named_repeats(scan, roll.examination(roll.sheets(), scan))
    assert results.searches["repeats-scan-1"] == roll.repeats(scan)
    assert named == roll.repeats(scan)
