"""Further looks at sheets, who looked, and how often their answers are wrong."""

from pathlib import Path

import pytest

from wideroll.examination import Reliability, Sheet, SheetLook
from wideroll.readers.examiner_file import read_examiners
from wideroll.readers.look_files import read_looks
from wideroll.readers.sighting_files import read_sightings
from wideroll.roll import Extent

EXTENT = Extent(along_from_m=1.0, along_to_m=2.0, across_from_mm=0.0, across_to_mm=1380.0)
SHEETS = tuple(Sheet(name=name, extent=EXTENT, examiner="examiner A") for name in ("A", "B"))
LOOKS = "look,sheet,examiner,on,blind\nR1,A,examiner B,2026-11-20,yes\nR2,B,examiner A,,no\n"
SIGHTINGS = "sheet,kind,along,across,size,look\nA,spot,1 cm,1 in,1 mm,\nA,spot,1 cm,1 in,1 mm,R1\n"
EXAMINERS = '[[examiners]]\nname = "examiner A"\nfilters = 0.03\n'


@pytest.fixture
def looks(tmp_path: Path):
    """Read looks from their text."""

    def read(text: str = LOOKS) -> tuple[SheetLook, ...]:
        (tmp_path / "looks.csv").write_text(text, encoding="utf-8")
        return read_looks(tmp_path, SHEETS)

    return read


def test_looks_as_written(looks, tmp_path: Path) -> None:
    """Each look has its sheet, examiner, day and whether it was blind; without the file there are none."""
    assert read_looks(tmp_path, SHEETS) == ()
    first, second = looks()
    assert first == SheetLook(name="R1", sheet="A", examiner="examiner B", on="2026-11-20", blind=True)
    assert (second.on, second.blind) == ("", False)
    assert looks(LOOKS.splitlines()[0]) == ()


@pytest.mark.parametrize(
    ("old", "new", "where", "rule"),
    [
        ("R2,B", "R1,B", "line 3, column look", "listed once"),
        ("R1,A", "R1,C", "line 2, column sheet", "listed in sheets.csv"),
        ("R1,A", ",A", "line 2, column look", "must not be empty"),
        ("examiner B", "", "line 2, column examiner", "must not be empty"),
        ("2026-11-20", "20.11.2026", "line 2, column on", "day of the calendar"),
        ("yes", "", "line 2, column blind", "yes, no"),
        ("yes", "maybe", "line 2, column blind", "yes, no"),
        ("blind\n", "seen\n", "line 1", "must have the columns look, sheet, examiner, blind"),
    ],
)
def test_a_fault_in_the_looks_is_named(looks, refused, old, new, where, rule) -> None:
    """Looks listed twice, without examiner, at unknown sheets or on no day are named with their line."""
    assert old in LOOKS
    with refused("looks.csv", where, rule=rule):
        looks(LOOKS.replace(old, new, 1))


def test_sightings_name_their_look(looks, tmp_path: Path) -> None:
    """An empty cell is the sheet's own first look."""
    looks()
    (tmp_path / "sightings.csv").write_text(SIGHTINGS)
    assert [seen.look for seen in read_sightings(tmp_path, SHEETS)] == ["", "R1"]


@pytest.mark.parametrize(("look", "rule"), [("R3", "listed in looks.csv"), ("R2", "the look is at B")])
def test_a_look_that_isn_t_at_the_sheet_is_refused(looks, tmp_path: Path, refused, look, rule) -> None:
    """A sighting's look must be listed, and at the sighting's sheet."""
    looks()
    (tmp_path / "sightings.csv").write_text(SIGHTINGS.replace("R1", look))
    with refused("sightings.csv", "line 3, column look", rule=rule, value=look):
        read_sightings(tmp_path, SHEETS)


def test_examiners_as_written(tmp_path: Path) -> None:
    """What isn't given is usual; without the file nothing is known of anybody."""
    path = tmp_path / "examiners.toml"
    assert read_examiners(path) == {}
    path.write_text(EXAMINERS)
    assert read_examiners(path) == {"examiner A": Reliability(filters=0.03)}


@pytest.mark.parametrize(
    ("text", "where", "rule"),
    [
        (EXAMINERS.replace("0.03", "0.5"), "examiners.1.filters", "less than 0.5"),
        (EXAMINERS.replace("0.03", "0"), "examiners.1.filters", "greater than 0"),
        (EXAMINERS.replace("filters", "filter"), "examiners.1.filter", "no such field"),
        (EXAMINERS * 2, "examiners", "given once"),
    ],
)
def test_a_fault_in_the_examiners_is_named(tmp_path: Path, refused, text, where, rule) -> None:
    """A share that can't be, an unknown field or a name given twice is named."""
    path = tmp_path / "examiners.toml"
    path.write_text(text)
    with refused("examiners.toml", where, rule=rule):
        read_examiners(path)
