"""From a roll's strips and batches to changes and profiles."""

from dataclasses import replace

import pytest

from wideroll.roll import Extent, Place
from wideroll.sensitometry import (
    ChangeKind,
    FilmType,
    Record,
    StripKind,
    correct_strip,
    judge_run,
    measure_strip,
)
from wideroll.synthetic.strips import StripRecipe, make_aims, make_strips
from wideroll.workflow import Batch, RollCard, StripRoom
from wideroll.workflow.strip_profiles import borders_of, profile_strips

_FILM = FilmType.COLOUR_NEGATIVE
_WHOLE = Extent(along_from_m=0.0, along_to_m=1000.0, across_from_mm=0.0, across_to_mm=1380.0)
_CARD = RollCard(
    name="W-1",
    product="p",
    length_m=1000.0,
    batches=(
        Batch(name="E-1", along_from_m=0.0, along_to_m=500.0),
        Batch(name="E-2", along_from_m=500.0, along_to_m=1000.0),
    ),
)


@pytest.fixture(scope="module")
def room():
    """Eight strips of one run, the last four 0.12 log H slow in green, and one without a place."""
    places = [Place(along_m=60.0 + 125.0 * n, across_mm=200.0 + 120.0 * n) for n in range(8)]
    checks = make_strips(
        StripRecipe(
            name=f"S-{n + 1}",
            film_type=_FILM,
            run="P-1",
            place=place,
            shift_log_h={Record.GREEN: 0.12 if n > 3 else 0.0},
            noise_sd=0.004,
            seed=n,
        )
        for n, place in enumerate([*places, None])
    ).strips
    references = make_strips(
        StripRecipe(name=f"R-{n}", film_type=_FILM, kind=StripKind.REFERENCE, run="P-1", noise_sd=0.004, seed=90 + n)
        for n in range(2)
    ).strips
    aims = make_aims(_FILM)
    run = judge_run("P-1", references, checks, aims, 0.1)
    results = tuple(measure_strip(correct_strip(strip, run), aims) for strip in checks)
    return StripRoom(strips=(*checks, *references), runs=(run,), results=results)


def test_a_slow_batch_is_found_at_its_border(room):
    """The green record's speed steps at the border between batches, and nothing else changes."""
    found = profile_strips(room, _CARD, _WHOLE, make_aims(_FILM))
    changed = {
        (one.changes.series.measure, one.changes.series.record): one.changes.borders[0]
        for one in found.series
        if one.changes.borders[0].kind is not ChangeKind.NONE
    }
    assert list(changed) == [("speed", Record.GREEN)]
    (change,) = changed.values()
    assert change.kind is ChangeKind.STEP
    assert (change.border.before, change.border.after, change.border.along_m) == ("E-1", "E-2", 500.0)
    assert change.step.low < 0.12 < change.step.high


def test_a_strip_without_a_place_or_not_usable_is_left_out_and_named(room):
    """What can't be placed or believed takes no part, and is said."""
    first, *rest = room.results
    found = profile_strips(
        replace(room, results=(replace(first, usable=False, why="void"), *rest)), _CARD, _WHOLE, make_aims(_FILM)
    )
    assert found.left_out == ("S-1", "S-9")
    assert all({p.strip for p in one.changes.series.points} == {f"S-{n}" for n in range(2, 9)} for one in found.series)


def test_what_a_run_shares_comes_from_its_correction(room):
    """Corrected strips share a part of their error; the same strips taken uncorrected share none."""
    corrected = profile_strips(room, _CARD, _WHOLE, make_aims(_FILM))
    bare = tuple(measure_strip(strip, make_aims(_FILM)) for strip in room.strips if strip.kind is StripKind.CHECK)
    uncorrected = profile_strips(replace(room, results=bare), _CARD, _WHOLE, make_aims(_FILM))
    assert all(0.0 < p.shared_uncertainty < p.standard_uncertainty for p in corrected.series[0].changes.series.points)
    assert all(p.shared_uncertainty == 0.0 for p in uncorrected.series[0].changes.series.points)


def test_a_roll_without_strips_has_series_but_no_profiles():
    """With no strips every series is there, empty, with the reason."""
    found = profile_strips(StripRoom(), _CARD, _WHOLE, make_aims(_FILM))
    assert len(found.series) == 9
    assert {one.along.why for one in found.series} == {"no usable strip"}


def test_a_gap_between_batches_has_its_border_in_the_middle():
    """A stretch that no batch claims doesn't hide the border."""
    batches = (replace(_CARD.batches[0], along_to_m=480.0), _CARD.batches[1])
    assert [border.along_m for border in borders_of(batches)] == [490.0]
