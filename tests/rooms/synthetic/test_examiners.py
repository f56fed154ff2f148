import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wideroll.errors import ArgumentError
from wideroll.examination import Layer, Origin, find_origin, locate_layer
from wideroll.roll import Extent, MarkKind, Place
from wideroll.synthetic import (
    PlantedMark,
    PlantedStreak,
    chance_to_see,
    examine_sheets,
    make_sheets,
    pinholes,
    scatter_dirt,
)

ROLL = Extent(along_from_m=0.0, along_to_m=40.0, across_from_mm=0.0, across_to_mm=1380.0)
EIGHTH_MM = 3.175


def _sheets(**changed):
    plain = {
        "whole": ROLL,
        "planted": scatter_dirt(extent=ROLL, per_m2=20.0, seed=1),
        "streaks": (),
        "count": 8,
        "sheet_length_m": 0.8,
        "seed": 3,
        "examiner": "A. Reader",
    }
    return make_sheets(**(plain | changed))


@settings(max_examples=40, deadline=None)
@given(
    length_m=st.floats(3.0, 50.0),
    start_m=st.floats(0.0, 20.0),
    count=st.integers(0, 5),
    sheet_m=st.floats(0.02, 0.55),
    seed=st.integers(0, 2**32),
)
def test_sheets_stay_inside_the_roll_one_in_each_part(length_m, start_m, count, sheet_m, seed):
    """Each sheet is as long as asked, spans the width and lies in its own part of the roll, and its sightings on it."""
    roll = Extent(along_from_m=start_m, along_to_m=start_m + length_m, across_from_mm=2.0, across_to_mm=1381.0)
    planted = scatter_dirt(extent=roll, per_m2=5.0, seed=seed)
    made = _sheets(whole=roll, planted=planted, count=count, sheet_length_m=sheet_m, seed=seed)
    assert len(made.sheets) == count
    for number, sheet in enumerate(made.sheets):
        part = length_m / count
        assert sheet.extent.along_from_m >= start_m + number * part - 1e-6
        assert sheet.extent.along_to_m <= start_m + (number + 1) * part + 1e-6
        assert sheet.extent.length_m == pytest.approx(sheet_m, abs=1e-5)
        assert (sheet.extent.across_from_mm, sheet.extent.across_to_mm) == (2.0, 1381.0)
    by_name = {sheet.name: sheet.extent for sheet in made.sheets}
    assert all(by_name[sighting.sheet].contains(sighting.place) for sighting in made.sightings)


def test_the_same_arguments_give_the_same_sheets_and_sightings():
    """Nothing hidden decides what is seen."""
    assert _sheets() == _sheets()
    assert _sheets() != _sheets(seed=4)


def test_places_are_reported_as_ruler_and_tape_give_them():
    """Across in whole eighths of an inch, along in whole centimetres, each within half a step of the truth."""
    made = _sheets(planted=scatter_dirt(extent=ROLL, per_m2=60.0, seed=2))
    assert len(made.sightings) > 100
    for sighting, true in zip(made.sightings, made.truth, strict=True):
        eighths, centimetres = sighting.place.across_mm / EIGHTH_MM, sighting.place.along_m * 100.0
        assert eighths == pytest.approx(round(eighths), abs=1e-9)
        assert centimetres == pytest.approx(round(centimetres), abs=1e-9)
        assert abs(sighting.place.across_mm - true.place.across_mm) <= EIGHTH_MM / 2.0 + 1e-9
        assert abs(sighting.place.along_m - true.place.along_m) <= 0.01 + 1e-9


def test_truth_names_the_planted_mark():
    """The mark that the truth names lies on the sheet and is the one reported; no mark is reported twice."""
    planted = scatter_dirt(extent=ROLL, per_m2=20.0, seed=1)
    made = _sheets(planted=planted)
    by_name = {sheet.name: sheet.extent for sheet in made.sheets}
    for sighting, true in zip(made.sightings, made.truth, strict=True):
        if true.planted is not None:
            mark = planted[true.planted]
            assert true.place == Place(along_m=mark.along_m, across_mm=mark.across_mm)
            assert by_name[sighting.sheet].contains(true.place)
            assert sighting.size_mm == pytest.approx(max(mark.length_mm, mark.width_mm), abs=0.051)
    numbers = [true.planted for true in made.truth if true.planted is not None]
    assert len(numbers) == len(set(numbers))


def test_seen_and_missed_together_are_all_marks_on_the_sheets():
    """Each planted mark on a sheet is seen or counted as missed, never both; marks off the sheets are neither."""
    planted = scatter_dirt(extent=ROLL, per_m2=20.0, seed=1)
    made = _sheets(planted=planted)
    seen = [true.planted for true in made.truth if true.planted is not None]
    on_sheets = [
        number
        for number, mark in enumerate(planted)
        if any(sheet.extent.contains(Place(along_m=mark.along_m, across_mm=mark.across_mm)) for sheet in made.sheets)
    ]
    assert sorted([*seen, *made.missed]) == on_sheets
    assert made.missed


@pytest.mark.parametrize("size_mm", [0.2, 0.3, 0.5, 1.0, 3.0])
def test_the_share_seen_is_the_chance_to_see(size_mm):
    """Of marks of one size, the share seen is the stated probability, to four standard errors."""
    planted = [
        PlantedMark(along_m=0.01 + 0.01 * n, across_mm=300.0, length_mm=size_mm, width_mm=size_mm, contrast=-0.4)
        for n in range(3990)
    ]
    made = _sheets(planted=planted, count=20, sheet_length_m=1.9, detection=0.8, handling_per_sheet=0.0)
    looked_at = len(made.sightings) + len(made.missed)
    chance = chance_to_see(size_mm, detection=0.8)
    assert looked_at > 3500
    assert len(made.sightings) / looked_at == pytest.approx(chance, abs=4.0 * math.sqrt(chance / looked_at))


def test_the_chance_grows_with_size_towards_the_detection():
    """Larger marks are likelier seen, and none likelier than told."""
    chances = [chance_to_see(size, detection=0.9) for size in (0.1, 0.2, 0.4, 0.8, 1.6, 10.0)]
    assert chances == sorted(chances)
    assert chances[-1] == pytest.approx(0.9, abs=0.001)


def test_the_extremes_of_detection():
    """With no detection nothing planted is seen; with full detection all large marks are."""
    large = [
        PlantedMark(along_m=n / 10, across_mm=9.0, length_mm=99.0, width_mm=99.0, contrast=-0.4) for n in range(400)
    ]
    assert not _sheets(planted=large, detection=0.0, handling_per_sheet=0.0).sightings
    assert not _sheets(planted=large, detection=1.0).missed


def test_handling_dirt_lies_on_top_and_was_never_planted():
    """What is no planted mark wipes off, isn't embedded, and comes as often as told."""
    made = _sheets(planted=(), count=20, sheet_length_m=0.5, handling_per_sheet=30.0)
    assert all(true.handling for true in made.truth)
    assert all(s.wipes_off and s.embedded is False for s in made.sightings)
    assert len(made.sightings) == pytest.approx(600, abs=4.0 * math.sqrt(600))


def test_coating_marks_are_embedded():
    """A mark that came with the coating is reported as embedded, and nothing is said of wiping."""
    made = _sheets()
    coated = [s for s, true in zip(made.sightings, made.truth, strict=True) if not true.handling]
    assert coated
    assert all(s.embedded and s.wipes_off is None for s in coated)


def test_the_examination_room_finds_the_true_layer_and_origin():
    """The answers are consistent: layer and origin worked out from them are the true ones, without contradiction."""
    made = _sheets(planted=scatter_dirt(extent=ROLL, per_m2=60.0, seed=2), handling_per_sheet=5.0)
    layers = set()
    for sighting, true in zip(made.sightings, made.truth, strict=True):
        found = locate_layer(sighting)
        assert found.likeliest is true.layer
        assert not found.contradiction
        origin = find_origin(sighting, seen_by_scanner=not true.handling).origin
        assert origin is (Origin.HANDLING if true.handling else Origin.WEB)
        layers.add(true.layer)
    assert layers == {Layer.CYAN, Layer.MAGENTA, Layer.YELLOW, Layer.OPAQUE, Layer.SURFACE}


def test_holes_are_lighter_through_every_filter():
    """Where all layers are missing, no filter shows the surround's darkness."""
    made = _sheets(planted=pinholes(extent=ROLL, per_m2=20.0, seed=1), handling_per_sheet=0.0)
    assert made.sightings
    assert all(s.kind is MarkKind.PINHOLE and set(s.through.values()) == {"lighter"} for s in made.sightings)


def test_metal_looks_metallic():
    """A mark whose cause names metal is reported as metallic and opaque, others aren't."""
    metal = scatter_dirt(extent=ROLL, per_m2=10.0, seed=1, cause="metal from a bearing")
    assert all(s.metallic for s in _sheets(planted=metal, handling_per_sheet=0.0).sightings)
    assert not any(s.metallic for s in _sheets().sightings)


def test_a_streak_is_seen_on_the_sheets_it_crosses_and_the_fainter_the_less():
    """Sheets before a streak's start don't show it; a strong one is seen on nearly all others, a faint one on few."""
    seen = {}
    for contrast in (-0.1, -0.003):
        streak = PlantedStreak(across_mm=905.0, along_from_m=20.0, along_to_m=40.0, width_mm=1.0, contrast=contrast)
        made = _sheets(planted=(), streaks=(streak,), count=40, handling_per_sheet=0.0)
        assert all(s.kind is MarkKind.STREAK and s.place.along_m >= 20.0 for s in made.sightings)
        assert all(true.streak == 0 and not true.handling for true in made.truth)
        seen[contrast] = len(made.sightings)
    assert seen[-0.1] > 14
    assert seen[-0.003] < 7


def test_another_examiner_sees_the_same_sheets_with_other_eyes():
    """Under one seed, two examiners get the same sheets and marks in the same layers, and miss different marks."""
    one, two = _sheets(examiner="A. Reader"), _sheets(examiner="B. Looker")
    assert [sheet.extent for sheet in one.sheets] == [sheet.extent for sheet in two.sheets]
    assert one.missed != two.missed
    layers = [{true.planted: true.layer for true in made.truth if true.planted is not None} for made in (one, two)]
    both = layers[0].keys() & layers[1].keys()
    assert both
    assert all(layers[0][number] is layers[1][number] for number in both)


def test_sheets_are_spread_over_their_parts():
    """Over many seeds a sheet starts anywhere in its part, on the average in the middle of its freedom."""
    starts = [_sheets(planted=(), count=2, seed=seed).sheets[1].extent.along_from_m for seed in range(200)]
    assert np.mean(starts) == pytest.approx(20.0 + 19.2 / 2.0, abs=4.0 * 19.2 / math.sqrt(12.0 * 200.0))


@pytest.mark.parametrize(
    ("wrong", "named"),
    [
        ({"count": -1}, "count"),
        ({"sheet_length_m": 5.1}, "sheet_length_m"),
        ({"sheet_length_m": math.nan}, "sheet_length_m"),
        ({"detection": 1.1}, "detection"),
        ({"handling_per_sheet": -1.0}, "handling_per_sheet"),
    ],
)
def test_impossible_sheets_are_refused_by_name(wrong, named):
    """The error names the argument that can't be, such as sheets too long for their parts of the roll."""
    with pytest.raises(ArgumentError, match=named):
        _sheets(**wrong)


def test_the_first_look_is_the_one_of_the_sheets_that_were_made():
    """Sheets examined anew with the same seed and examiner give what was reported when they were made."""
    planted = scatter_dirt(extent=ROLL, per_m2=4.0, seed=3)
    made = make_sheets(
        whole=ROLL, planted=planted, streaks=(), count=3, sheet_length_m=0.5, seed=9, examiner="A", detection=0.8
    )
    again = examine_sheets(made.sheets, planted=planted, streaks=(), seed=9, examiner="A", detection=0.8)
    assert (again.sightings, again.truth, again.missed) == (made.sightings, made.truth, made.missed)


def test_another_look_has_other_eyes_and_the_same_layers():
    """Another examiner, or the same again, misses other marks; a mark that both saw lies in one layer."""
    planted = scatter_dirt(extent=ROLL, per_m2=6.0, seed=3)
    made = make_sheets(whole=ROLL, planted=planted, streaks=(), count=3, sheet_length_m=0.8, seed=9, examiner="A")
    for how in ({"examiner": "B"}, {"examiner": "A", "again": 1}):
        look = examine_sheets(made.sheets, planted=planted, streaks=(), seed=9, **how)
        assert look.missed != made.missed
        layers = {true.planted: true.layer for true in made.truth if true.planted is not None}
        assert all(layers.get(true.planted, true.layer) is true.layer for true in look.truth)


def test_answers_are_wrong_as_often_as_asked():
    """Of many answers through filters the stated share departs from those of an examiner who is never wrong."""
    planted = scatter_dirt(extent=ROLL, per_m2=60.0, seed=3)
    sheets = make_sheets(whole=ROLL, planted=(), streaks=(), count=2, sheet_length_m=1.0, seed=9, examiner="A").sheets
    right, wrong = (
        examine_sheets(sheets, planted=planted, streaks=(), seed=9, examiner="A", wrong=share) for share in (0.0, 0.1)
    )
    pairs = [
        (one.through[colour], other.through[colour])
        for one, other in zip(right.sightings, wrong.sightings, strict=True)
        for colour in one.through
    ]
    assert sum(one is not other for one, other in pairs) / len(pairs) == pytest.approx(0.1, abs=0.04)
    with pytest.raises(ArgumentError, match="wrong"):
        examine_sheets(sheets, planted=planted, streaks=(), seed=9, examiner="A", wrong=1.0)
