"""Zones of the line, cleanings of its rollers, and the day a roll was coated."""

from pathlib import Path

import pytest

from wideroll.examination import Sheet
from wideroll.readers import PlantFolder
from wideroll.readers.sighting_files import read_sightings
from wideroll.repeats import Stage
from wideroll.roll import Extent, Side

PLANT = """\
name = "Little Mere, line 1"
web_width = "1380 mm"
datum_edge = "drive side"
usual_days = 14

[[zones]]
name = "unwind"
stage = "before coating"

[[zones]]
name = "dryer"
stage = "coating to drying"

[[zones]]
name = "winder"
stage = "after drying"

[[rollers]]
name = "R1"
diameter = "80 mm"
zone = "unwind"

[[rollers]]
name = "R2"
diameter = "90 mm"
zone = "winder"
"""
ROLL = 'product = "p"\nlength = "2 m"\n{coated}\n[[batches]]\nname = "E"\nalong_from = "0 m"\nalong_to = "2 m"\n'


@pytest.fixture
def plant(tmp_path: Path):
    """A plant of these texts."""

    def plant(text: str = PLANT, cleanings: str | None = None, coated: str = "") -> PlantFolder:
        (tmp_path / "plant.toml").write_text(text)
        if cleanings is not None:
            (tmp_path / "cleanings.csv").write_text(cleanings)
        folder = tmp_path / "rolls" / "W-1"
        folder.mkdir(parents=True, exist_ok=True)
        (folder / "roll.toml").write_text(ROLL.format(coated=coated))
        return PlantFolder(tmp_path)

    return plant


def test_rollers_stand_at_the_stage_of_their_zone(plant) -> None:
    """The stage comes with the zone, and the plant's own days of a cleaning are kept."""
    line = plant().plant()
    assert [roller.stage for roller in line.rollers] == [Stage.BEFORE, Stage.DRY]
    assert line.usual_days == 14.0
    assert line.cleanings == ()


def test_plant_without_zones_reads_as_before(plant) -> None:
    """Where no zones are listed a roller's zone is any text, and its stage isn't known."""
    start, _, rest = PLANT.partition("[[zones]]")
    line = plant(start.replace("usual_days = 14\n", "") + rest[rest.index("[[rollers]]") :]).plant()
    assert [roller.stage for roller in line.rollers] == [None, None]
    assert [roller.zone for roller in line.rollers] == ["unwind", "winder"]
    assert line.usual_days == 30.0


@pytest.mark.parametrize(
    ("old", "new", "where", "rule", "value"),
    [
        ('zone = "winder"', 'zone = "wind"', "roller R2, zone", "one of the zones: unwind, dryer, winder", "wind"),
        ('diameter = "90 mm"\nzone = "winder"', 'diameter = "90 mm"', "roller R2, zone", "one of the zones", ""),
        ('stage = "before coating"', 'stage = "early"', "field zones.1.stage", "'before coating'", "early"),
        ('stage = "before coating"', 'stage = "after drying"', "zone dryer, stage", "after drying", "coating to"),
        ('name = "dryer"', 'name = "unwind"', "zones", "given once", "unwind"),
        ("usual_days = 14", "usual_days = 0", "field usual_days", "greater than 0", "0"),
    ],
)
def test_zones_that_can_not_be_are_refused(plant, refused, old, new, where, rule, value) -> None:
    """An unknown zone, a stage that isn't one, zones that run backwards or share a name: one clear error each."""
    assert old in PLANT
    with refused("plant.toml", where, rule=rule, value=value):
        plant(PLANT.replace(old, new)).plant()


def test_cleanings_are_read_line_by_line(plant) -> None:
    """Days and moments, in any order, with notes."""
    found = plant(cleanings="roller,on,note\nR2,2026-11-20T14:30,nick ground\nR1,2026-11-02,\n").plant().cleanings
    assert [(one.roller, one.on.text, one.note) for one in found] == [
        ("R2", "2026-11-20T14:30", "nick ground"),
        ("R1", "2026-11-02", ""),
    ]
    assert found[1].on.before(found[0].on)
    assert plant(cleanings="roller,on\n").plant().cleanings == ()


@pytest.mark.parametrize(
    ("line", "column", "rule", "value"),
    [
        ("R3,2026-11-02", "column roller", "plant.toml's rollers: R1, R2", "R3"),
        (",2026-11-02", "column roller", "must not be empty", ""),
        ("R1,", "column on", "must not be empty", ""),
        ("R1,2026-02-30", "column on", "day of the calendar", "2026-02-30"),
        ("R1,2 November", "column on", "day of the calendar", "2 November"),
        ("R1,2026-11-02T25:00", "column on", "with a time of the plant", "T25"),
        ("R1,2026-11-02T10:00Z", "column on", "with a time of the plant", "Z"),
        ("R1,2026-11-02\nR1,2026-11-02", "line 3, column on", "listed once", "2026-11-02"),
    ],
)
def test_faults_in_cleanings_are_named(plant, refused, line, column, rule, value) -> None:
    """An unknown roller, a day that isn't one and a line that is there twice are refused with line and column."""
    with refused("cleanings.csv", column, rule=rule, value=value):
        plant(cleanings=f"roller,on\n{line}\n").plant()


@pytest.mark.parametrize(
    ("written", "read"),
    [
        ("", ""),
        ('coated = "2026-11-20"', "2026-11-20"),
        ("coated = 2026-11-20", "2026-11-20"),
        ("coated = 2026-11-20T14:30:00", "2026-11-20T14:30"),
        ('coated = "2026-11-20T14:30"', "2026-11-20T14:30"),
    ],
)
def test_day_of_coating_is_a_day_or_a_moment(plant, written, read) -> None:
    """As text or as a TOML day, with or without a time; it may be left out."""
    assert plant(coated=written).card("W-1").coated == read


@pytest.mark.parametrize("written", ["coated = 20261120", 'coated = "20.11.2026"', "coated = 2026-11-20T14:30:00Z"])
def test_day_of_coating_that_is_none_is_refused(plant, refused, written) -> None:
    """A number, another way of writing a day, or a time with a zone is refused by its field."""
    with refused("roll.toml", "field coated", rule="day of the calendar"):
        plant(coated=written).card("W-1")


def test_side_of_a_sighting_is_said_or_not(tmp_path: Path, refused) -> None:
    """The column side may be left out or empty, and holds emulsion or base."""
    extent = Extent(along_from_m=0.0, along_to_m=1.0, across_from_mm=0.0, across_to_mm=1380.0)
    sheets = (Sheet(name="A", extent=extent, examiner="examiner A"),)
    head, path = "sheet,kind,along,across,size,side\n", tmp_path / "sightings.csv"
    lines = [f"A,spot,{n} cm,1 in,1 mm,{side}\n" for n, side in enumerate(("base", "emulsion", ""), 1)]
    path.write_text(head + "".join(lines))
    assert [one.side for one in read_sightings(tmp_path, sheets)] == [Side.BASE, Side.EMULSION, None]
    path.write_text(f"{head}A,spot,1 cm,1 in,1 mm,top\n")
    with refused("sightings.csv, line 2, column side", rule="emulsion, base", value="top"):
        read_sightings(tmp_path, sheets)
