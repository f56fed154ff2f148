"""The demo's examiners leave what the readers take, with the truth beside it, on rolls of either size."""

import csv
import io

import pytest

from wideroll.examination import locate_layer, measure_photograph, merge_looks
from wideroll.readers.look_files import read_looks
from wideroll.readers.photograph_file import read_photograph
from wideroll.readers.sheet_files import read_sheets
from wideroll.readers.sighting_files import read_sighting_log
from wideroll.roll import Extent
from wideroll.store.demo_examination import examine_roll
from wideroll.store.demo_product import DYES, grade_fit
from wideroll.store.demo_scene import ROLLS
from wideroll.synthetic import PlantedStreak, plant_comet, scatter_dirt

SCENES = {scene.name: scene for scene in ROLLS}


def _whole(length_m):
    return Extent(along_from_m=0.0, along_to_m=length_m, across_from_mm=0.0, across_to_mm=1380.0)


def _examined(length_m, scene=SCENES["W-2042"]):
    whole = _whole(length_m)
    streaks = (
        PlantedStreak(across_mm=905.0, along_from_m=0.4 * length_m, along_to_m=length_m, width_mm=0.9, contrast=-0.02),
    )
    dirt = (
        *scatter_dirt(extent=whole, per_m2=3.0, seed=5),
        plant_comet(along_m=9.0, across_mm=310.0, head_mm=1.5, tail_mm=9.0, contrast=-0.3),
    )
    return whole, dirt, streaks, examine_roll(scene, whole, dirt, streaks)


@pytest.fixture(params=[42.0, 21.0])
def read(request, tmp_path):
    """The folder as the readers take it, and what was made."""
    whole, *laid, made = _examined(request.param)
    for name, rows in made.tables.items():
        out = io.StringIO()
        csv.writer(out, lineterminator="\n").writerows(rows)
        (tmp_path / name).write_text(out.getvalue(), encoding="utf-8")
    for name, picture in made.pictures.items():
        (tmp_path / name).write_bytes(picture)
    sheets = read_sheets(tmp_path, whole)
    return tmp_path, sheets, read_sighting_log(tmp_path, sheets), laid, made


def test_the_same_scene_gives_the_same_bytes():
    """Seeds are explicit: examined again, every table, picture and truth is the same."""
    first, second = _examined(21.0)[-1], _examined(21.0)[-1]
    assert (first.tables, first.pictures, first.truth) == (second.tables, second.pictures, second.truth)


def test_one_sheet_was_chosen_and_lies_apart_from_the_drawn(read):
    """The chosen sheet begins just beyond the batch border, or beyond the drawn sheet that lies there."""
    _, sheets, *_ = read
    (chosen,) = [sheet for sheet in sheets if not sheet.drawn]
    assert not any(sheet.extent.meet(chosen.extent) for sheet in sheets if sheet is not chosen)


def test_what_was_mistyped_is_taken_back_once(read):
    """One line is ten times too large, and a later one takes it back with the reason."""
    _, _, log, *_ = read
    ((before, after),) = log.taken_back
    assert before.sighting.size_mm == pytest.approx(10.0 * after.sighting.size_mm)
    assert "point" in after.note


def test_the_truth_names_every_line(read):
    """Each line has its truth; what is planted lies where the sighting says, within how well it was measured."""
    _, _, log, (dirt, _), made = read
    assert [true["line"] for true in made.truth] == list(range(1, len(made.tables["sightings.csv"])))
    for sighting in log.sightings:
        true = made.truth[int(sighting.entry) - 1]
        if true["planted"] is not None:
            mark = dirt[true["planted"]]
            assert sighting.place.across_mm == pytest.approx(mark.across_mm, abs=1.6)
            assert sighting.place.along_m == pytest.approx(mark.along_m, abs=0.0051)


def test_the_photograph_shows_what_is_planted(read):
    """The photographed mark's size and layer are found from its photograph."""
    folder, _, log, _, made = read
    (shown,) = [sighting for sighting in log.sightings if sighting.photograph]
    found = measure_photograph(read_photograph(folder / shown.photograph), mm_per_pixel=shown.photograph_mm_per_pixel)
    assert found.refused == ""
    assert found.size_mm == pytest.approx(shown.size_mm, abs=3.0 * found.size_standard_uncertainty_mm)
    layer = locate_layer(shown, change=found.change, dye_matrix=DYES)
    assert layer.likeliest.value == made.truth[int(shown.entry) - 1]["layer"]


def test_one_sighting_contradicts_itself_and_is_known(read):
    """The mark whose densities are another's is told as a contradiction, and the truth says so."""
    _, _, log, _, made = read
    (odd,) = [s for s in log.sightings if "densities" in made.truth[int(s.entry) - 1].get("odd", "")]
    assert locate_layer(odd, change=odd.density, dye_matrix=DYES).contradiction


def test_further_looks_miss_some_and_find_others(read):
    """Two more looks by another and one again by the same share things with the first, and not all of them."""
    folder, sheets, log, *_ = read
    looks = read_looks(folder, sheets)
    assert [look.examiner for look in looks] == ["examiner B", "examiner B", "examiner A"]
    for look in looks:
        here = [s for s in log.sightings if s.sheet == look.sheet and s.look in {"", look.name}]
        things = merge_looks(here, 0.014, 5.7)
        assert len(here) > len(things)


def test_grades_come_from_how_visible_a_mark_is(read):
    """Every sighting that came with the web is graded on the product's scale; dirt from handling isn't."""
    _, _, log, _, made = read
    for sighting in log.sightings:
        true = made.truth[int(sighting.entry) - 1]
        handling = true["planted"] is None and true["streak"] is None
        assert sighting.grade == "" if handling else sighting.grade in grade_fit().grades


def test_rolls_without_oddities_have_plain_tables():
    """The last roll has no further look, photograph or mistake."""
    made = _examined(14.0, SCENES["W-2043"])[-1]
    assert "looks.csv" not in made.tables
    assert made.pictures == {}
    assert not any("odd" in true for true in made.truth)
