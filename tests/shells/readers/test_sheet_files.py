from pathlib import Path

import pytest

from wideroll.examination import FilterColour, Seen, Sheet, Sighting
from wideroll.readers.sheet_files import read_sheets
from wideroll.readers.sighting_files import read_sightings
from wideroll.roll import Extent, MarkKind

WHOLE = Extent(along_from_m=0.0, along_to_m=40.0, across_from_mm=0.0, across_to_mm=1380.0)
SHEETS = "sheet,along_from,along_to,examiner\nA,10 m,10.8 m,examiner A\nB,39 m,40 m,examiner B\n"
SIGHTINGS = """\
sheet,kind,along,across,size,red,blue,embedded,wipes_off,metallic,grade,note
A,comet,30 cm,9 3/8 in,"0,4 mm",darker,same,yes,no,,2,beside the edge
"""


@pytest.fixture
def sheets(tmp_path: Path):
    """Read sheets from their text."""

    def read(text: str = SHEETS) -> tuple[Sheet, ...]:
        (tmp_path / "sheets.csv").write_text(text, encoding="utf-8")
        return read_sheets(tmp_path, WHOLE)

    return read


@pytest.fixture
def sightings(tmp_path: Path, sheets):
    """Read sightings from their text."""

    def read(text: str = SIGHTINGS) -> tuple[Sighting, ...]:
        (tmp_path / "sightings.csv").write_text(text, encoding="utf-8")
        return read_sightings(tmp_path, sheets())

    return read


def test_a_sheet_is_cut_across_the_whole_web(sheets) -> None:
    """A sheet reaches from edge to edge, and may end where the roll does."""
    first, second = sheets()
    assert first == Sheet(
        name="A",
        extent=Extent(along_from_m=10.0, along_to_m=10.8, across_from_mm=0.0, across_to_mm=1380.0),
        examiner="examiner A",
    )
    assert second.extent.along_to_m == WHOLE.along_to_m


def test_a_narrow_sheet_that_was_chosen(sheets) -> None:
    """A sheet may be a part of the web's width, and chosen instead of drawn; empty cells mean the usual."""
    text = (
        "sheet,along_from,along_to,examiner,taken,across_from,across_to\n"
        "A,10 m,10.8 m,E,chosen,4 in,12 in\nB,11 m,12 m,E,,,\nC,13 m,14 m,E,Drawn,1 m,\n"
    )
    first, second, third = sheets(text)
    assert (first.drawn, first.extent.across_from_mm, first.extent.across_to_mm) == (False, 101.6, 304.8)
    assert (second.drawn, second.extent.across_from_mm, second.extent.across_to_mm) == (True, 0.0, 1380.0)
    assert (third.drawn, third.extent.across_from_mm, third.extent.across_to_mm) == (True, 1000.0, 1380.0)


@pytest.mark.parametrize(
    ("cells", "where", "rule"),
    [
        ("picked,,", "column taken", "drawn, chosen, empty"),
        (",1 m,1 m", "column across_to", "has a width"),
        (",1 m,1.4 m", "column across_to", "0 to 1380 mm"),
        (",-1 mm,", "column across_from", "on the web"),
        (",1,", "column across_from", "a number and a unit"),
    ],
)
def test_a_fault_in_how_a_sheet_was_taken_is_named(sheets, refused, cells, where, rule) -> None:
    """An unknown word, or a sheet off the web or without width, is named with its column."""
    with refused("sheets.csv", f"line 2, {where}", rule=rule):
        sheets(f"sheet,along_from,along_to,examiner,taken,across_from,across_to\nA,10 m,11 m,E,{cells}\n")


def test_a_sighting_in_shop_units(sightings) -> None:
    """Inches and centimetres on the sheet become a place on the roll; answers, filters and notes are kept."""
    (seen,) = sightings()
    assert (seen.sheet, seen.kind, seen.size_mm) == ("A", MarkKind.COMET, 0.4)
    assert seen.place.along_m == pytest.approx(10.3)
    assert seen.place.across_mm == 238.125
    assert seen.through == {FilterColour.RED: Seen.DARKER, FilterColour.BLUE: Seen.SAME}
    assert (seen.embedded, seen.wipes_off, seen.metallic) == (True, False, False)
    assert (seen.grade, seen.note) == ("2", "beside the edge")


def test_what_was_not_asked_is_not_answered(sightings) -> None:
    """Columns that aren't there leave a sighting without these answers, not with a no."""
    (seen,) = sightings("sheet,kind,along,across,size\nA,Spot,0 m,0 mm,1 mm\n")
    assert (seen.embedded, seen.wipes_off, seen.metallic, seen.through) == (None, None, False, {})
    assert (seen.grade, seen.note) == ("", "")


def test_nothing_was_seen(tmp_path: Path, sightings) -> None:
    """No folder is no sheets and no sightings; a header alone says that nothing was seen on the sheets."""
    assert read_sheets(tmp_path / "examination", WHOLE) == ()
    assert read_sightings(tmp_path / "examination", ()) == ()
    assert sightings(SIGHTINGS.splitlines()[0]) == ()


def test_sheets_nobody_reported_on_are_incomplete(tmp_path: Path, refused, sheets) -> None:
    """Sheets without a table of sightings aren't taken for clean: nobody has said what was seen."""
    with refused("sightings.csv", rule="need a table of sightings"):
        read_sightings(tmp_path, sheets())


def test_a_folder_without_its_list_is_incomplete(tmp_path: Path, refused) -> None:
    """A folder of an examination without sheets.csv isn't taken for no examination."""
    with refused("sheets.csv", rule="must be there"):
        read_sheets(tmp_path, WHOLE)


@pytest.mark.parametrize(
    ("old", "new", "where", "rule", "value"),
    [
        ("10.8 m", "10 m", "line 2, column along_to", "inside the roll (0 to 40 m)", "10 m"),
        ("10.8 m", "9 m", "line 2, column along_to", "ends after it starts", "9 m"),
        ("A,10 m", "A,-1 m", "line 2, column along_to", "inside the roll", None),
        ("40 m", "40.1 m", "line 3, column along_to", "inside the roll", "40.1 m"),
        ("39 m", "39", "line 3, column along_from", "a number and a unit", "39"),
        ("B,", "A,", "line 3, column sheet", "listed once", "A"),
        ("examiner B", "", "line 3, column examiner", "must not be empty", None),
        ("B,", ",", "line 3, column sheet", "must not be empty", None),
    ],
)
def test_a_fault_in_the_sheets_is_named(
    sheets, refused, old: str, new: str, where: str, rule: str, value: str | None
) -> None:
    """Sheets off the roll, upside down, listed twice or without an examiner are named with their line."""
    assert old in SHEETS
    with refused("sheets.csv", where, rule=rule, value=value):
        sheets(SHEETS.replace(old, new))


@pytest.mark.parametrize(
    ("old", "new", "where", "rule", "value"),
    [
        ("A,comet", "C,comet", "line 2, column sheet", "listed in sheets.csv", "C"),
        ("comet", "comit", "line 2, column kind", "must be one of spot, comet", "comit"),
        ("comet", "", "line 2, column kind", "must be one of", None),
        ("30 cm", "81 cm", "line 2, column along", "on the sheet, 800 mm long and 1380 mm wide", "81 cm"),
        ("30 cm", "-1 mm", "line 2, column along", "on the sheet", "-1 mm"),
        ("9 3/8 in", "54.5 in", "line 2, column across", "on the sheet", "54.5 in"),
        ("9 3/8 in", "9 3/8", "line 2, column across", "a number and a unit", "9 3/8"),
        ('"0,4 mm"', "0 mm", "line 2, column size", "greater than 0", "0 mm"),
        ('"0,4 mm"', "-3 mm", "line 2, column size", "greater than 0", "-3 mm"),
        ("darker", "dark", "line 2, column red", "darker, lighter, same", "dark"),
        ("yes", "y", "line 2, column embedded", "yes, no, empty", "y"),
        ("no,,2", "no,iron,2", "line 2, column metallic", "yes, no, empty", "iron"),
        ("note\n", "remark\n", "line 1", "the columns are", "remark"),
    ],
)
def test_a_fault_in_the_sightings_is_named(
    sightings, refused, old: str, new: str, where: str, rule: str, value: str | None
) -> None:
    """Unknown sheets, kinds and words, and places or sizes that can't be, are named with line and column."""
    assert old in SIGHTINGS
    with refused("sightings.csv", where, rule=rule, value=value):
        sightings(SIGHTINGS.replace(old, new))
