"""The further columns of sightings.csv: sections, measurements, photographs, and lines that take back others."""

from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from wideroll.examination import Section, Sheet
from wideroll.readers.sighting_files import read_sighting_log
from wideroll.roll import Extent, MarkKind

SHEET = Sheet(
    name="A",
    extent=Extent(along_from_m=10.0, along_to_m=11.0, across_from_mm=0.0, across_to_mm=1380.0),
    examiner="examiner A",
)
HEAD = "sheet,kind,along,across,size"
SPOT = "A,spot,30 cm,100 mm,1 mm"


@pytest.fixture
def log(tmp_path: Path):
    """Read lines of sightings under a header."""

    def read(columns: str, *lines: str):
        (tmp_path / "sightings.csv").write_text("\n".join([f"{HEAD},{columns}", *lines, ""]), encoding="utf-8")
        return read_sighting_log(tmp_path, (SHEET,))

    return read


def test_sections_that_were_not_looked_at_say_nothing(log) -> None:
    """Yes and no are kept by section; an empty cell is no answer."""
    (seen,) = log("high_density,unexposed,cyan_separation,mid_density", f"{SPOT},yes,no,,Yes").sightings
    assert seen.shows_in == {Section.HIGH_DENSITY: True, Section.UNEXPOSED: False, Section.MID_DENSITY: True}


def test_measured_densities_come_with_their_uncertainty(log) -> None:
    """Three densities and what they repeat to make one measurement; without any there is none."""
    columns = "density_red,density_green,density_blue,density_uncertainty,magnification"
    measured, not_measured = log(
        columns, f"{SPOT},0.2,−0.01,0,0.02,7", f"{SPOT.replace('30 cm', '31 cm')},,,,,"
    ).sightings
    assert measured.density.density.tolist() == [0.2, -0.01, 0.0]
    assert measured.density.standard_uncertainty.tolist() == pytest.approx([0.02] * 3)
    assert (measured.magnification, not_measured.magnification, not_measured.density) == (7.0, None, None)


def test_a_photograph_lies_beside_the_table_with_its_scale(log, tmp_path: Path) -> None:
    """The file is named, must be there, and says how large a pixel is."""
    Image.fromarray(np.zeros((4, 4, 3), dtype=np.uint8)).save(tmp_path / "one.png")
    (seen,) = log("photograph,photograph_scale", f"{SPOT},one.png,0.0125 mm").sightings
    assert (seen.photograph, seen.photograph_mm_per_pixel) == ("one.png", 0.0125)


def test_a_line_takes_back_another_and_both_stay(log) -> None:
    """Lines without a name are counted; one that takes back needs nothing else, or says what holds instead."""
    found = log(
        "takes_back,note", f"{SPOT},,", f"{SPOT},,", ",,,,,1,dust on the loupe", f"{SPOT.replace('spot', 'comet')},2,"
    )
    assert [s.kind for s in found.sightings] == [MarkKind.COMET]
    assert len(found.entries) == 4
    assert [(before.name, after.name, after.note) for before, after in found.taken_back] == [
        ("1", "3", "dust on the loupe"),
        ("2", "4", ""),
    ]


def test_an_undo_can_be_undone(log) -> None:
    """Taking back the line that took back makes the first hold again."""
    found = log("entry,takes_back", f"{SPOT},a,", ",,,,,b,a", ",,,,,c,b")
    assert [s.entry for s in found.sightings] == ["a"]


@pytest.mark.parametrize(
    ("columns", "lines", "where", "rule"),
    [
        ("high_density", [f"{SPOT},maybe"], "line 2, column high_density", "yes, no, empty"),
        ("magnification", [f"{SPOT},0"], "line 2, column magnification", "greater than 0"),
        ("density_red,density_green", [f"{SPOT},0.1,0.1"], "line 2, column density_blue", "must not be empty"),
        (
            "density_red,density_green,density_blue,density_uncertainty",
            [f"{SPOT},0.1,0.1,20,0.01"],
            "line 2, column density_blue",
            "between",
        ),
        (
            "density_red,density_green,density_blue,density_uncertainty",
            [f"{SPOT},0.1,-,0.1,0.01"],
            "line 2, column density_green",
            "between",
        ),
        (
            "density_red,density_green,density_blue,density_uncertainty",
            [f"{SPOT},0.1,0.1,0.1,0"],
            "line 2, column density_uncertainty",
            "greater than 0",
        ),
        ("photograph", [f"{SPOT},gone.png"], "line 2, column photograph", "beside sightings.csv"),
        ("photograph", [f"{SPOT},../sheets.csv"], "line 2, column photograph", "beside sightings.csv"),
        ("photograph_scale,photograph", [f"{SPOT},1 mm,"], "line 2, column photograph", "needs its photograph"),
        ("photograph,photograph_scale", [f"{SPOT},sightings.csv,"], "column photograph_scale", "must not be empty"),
        ("photograph,photograph_scale", [f"{SPOT},sightings.csv,0 mm"], "column photograph_scale", "greater than 0"),
        ("takes_back", [f"{SPOT},", ",,,,,7", f"{SPOT},"], "line 3, column takes_back", "stands before it"),
        ("takes_back", [f"{SPOT},", ",,,,,1", ",,,,,1"], "line 4, column takes_back", "2 did so already"),
        ("entry", [f"{SPOT},x", f"{SPOT},", f"{SPOT},x"], "line 4, column entry", "a name of its own"),
        ("takes_back", [f"{SPOT},", "A,spot,30 cm,,,1"], "line 3, column across", "must not be empty"),
    ],
)
def test_a_fault_is_named_with_its_line(log, refused, columns, lines, where, rule) -> None:
    """Each fault of the further columns is one error with line, column, rule and mend."""
    with refused("sightings.csv", where, rule=rule):
        log(columns, *lines)


def test_the_same_noted_twice_in_a_look_is_refused(log, refused) -> None:
    """A line copied by a slip would count as a second mark; taken back it may stand."""
    with refused("sightings.csv, line 3, column along", rule="line 2 notes it too"):
        log("note", f"{SPOT},", f"{SPOT},again")
    assert len(log("takes_back", f"{SPOT},", ",,,,,1", f"{SPOT},").sightings) == 1
