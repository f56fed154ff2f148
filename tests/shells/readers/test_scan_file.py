from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
import tifffile

from wideroll.readers import PlantFolder
from wideroll.readers.scan_file import ScanFile
from wideroll.readers.toml_files import read_toml

HEAD = 'scanner = "s"\npitch_along = "0.5 mm"\npitch_across = "0.2 mm"\n'


@pytest.fixture
def read(tmp_path: Path):
    """Write scan.toml and read it."""

    def read(text: str) -> ScanFile:
        (tmp_path / "scan.toml").write_text(HEAD + text)
        return read_toml(tmp_path / "scan.toml", ScanFile)

    return read


def test_segments_are_a_list_of_names_or_tables_with_places(read) -> None:
    """Both forms give the same, and a table may leave its place out."""
    plain = read('segments = ["a.tif", "b.tif"]')
    tables = read('[[segments]]\nfile = "a.tif"\n[[segments]]\nfile = "b.tif"\nfrom = "41 ft 3 in"\n')
    assert [(one.file, one.start) for one in plain.segments] == [("a.tif", None), ("b.tif", None)]
    assert [one.file for one in tables.segments] == ["a.tif", "b.tif"]
    assert tables.segments[1].start == pytest.approx(12.573)
    assert (plain.channels, plain.encoder) == ((), None)


@pytest.mark.parametrize(
    ("text", "where", "rule", "value"),
    [
        ("segments = [3]", "field segments.1", "must be a table", "3"),
        ('segments = ["a.tif", ""]', "field segments.2.file", "must not be empty", ""),
        ('segments = [{from = "1 m"}]', "field segments.1.file", "must be there", None),
        ('segments = [{file = "a.tif", form = "1 m"}]', "field segments.1.form", "no such field", None),
        ('segments = [{file = "a.tif", start = "1 m"}]', "field segments.1.start", "no such field", None),
        ('segments = [{file = "a.tif", from = 1}]', "field segments.1.from", "text with a unit", "1"),
        ('segments = [{file = "a.tif", from = "-1 m"}]', "field segments.1.from", "greater than or equal to 0", "-1"),
        (
            'segments = [{file = "a.tif", from = "5 m"}, "b.tif", {file = "c.tif", from = "3 m"}]',
            "segment c.tif, from",
            "listed from the head; a.tif starts at 5 m",
            "3 m",
        ),
        ('segments = [{file = "a.tif"}, "a.tif"]', "segments", "given once", "a.tif"),
        ('segments = ["a.tif"]\nchannels = ["red", "red"]', "channels", "given once", "red"),
        ('segments = ["a.tif"]\nchannels = "red"', "field channels", "list in square brackets", "red"),
        ('segments = ["a.tif"]\nencoder = 3', "field encoder", "text in quotes", "3"),
    ],
)
def test_a_fault_is_named(read, refused, text: str, where: str, rule: str, value: str | None) -> None:
    """Swapped segments, places without unit, misspelt and doubled names are refused at their field."""
    with refused("scan.toml", where, rule=rule, value=value):
        read(text)


@pytest.fixture
def roll(tmp_path: Path):
    """A plant's folder with one scanned roll, and what reads its scan once scan.toml has a text."""
    folder = tmp_path / "rolls" / "T-1" / "scan"
    folder.mkdir(parents=True)
    for number, name in enumerate(("a.tif", "b.tif")):
        tifffile.imwrite(folder / name, np.full((100, 40), number, np.uint8), photometric="minisblack")
    two = np.zeros((100, 40, 2), np.uint8)
    tifffile.imwrite(folder / "two.tif", two, photometric="minisblack", planarconfig="contig")

    plant = SimpleNamespace(scanners={"s": object()})
    product = SimpleNamespace(check_scanner=lambda *_, **__: None)

    def roll(text: str):
        (folder / "scan.toml").write_text(HEAD + text)
        return PlantFolder(tmp_path).raster("T-1", plant, product)

    roll.folder = folder
    return roll


def test_places_encoder_and_channels_reach_the_raster(roll) -> None:
    """What scan.toml says of segments, encoder and channels is what the raster is made of."""
    (roll.folder / "encoder.csv").write_text("line,along_m\n0,0\n300,0.075\n")
    raster = roll('encoder = "encoder.csv"\nsegments = ["a.tif", {file = "b.tif", from = "50 mm"}]')
    assert (raster.starts, raster.lines) == ((0, 200), 300)
    assert raster.places.along_m(100.0) == pytest.approx(0.025)
    raster = roll('channels = ["infrared", "red"]\nsegments = ["two.tif"]')
    assert (raster.channels, raster.channel_names, raster.places) == (2, ("infrared", "red"), None)


def test_an_encoder_that_is_missing_elsewhere_or_of_another_scan_is_refused(roll, refused) -> None:
    """The table lies beside scan.toml and tells of this raster's lines."""
    (roll.folder / "encoder.csv").write_text("line,along_m\n0,0\n201,0.1\n")
    with refused("encoder.csv, column line", rule="within the raster, which has 200 lines", value=201):
        roll('encoder = "encoder.csv"\nsegments = ["a.tif", "b.tif"]')
    with refused("none.csv", rule="must be there"):
        roll('encoder = "none.csv"\nsegments = ["a.tif", "b.tif"]')
    with refused("scan.toml, encoder", rule="letters, digits, dots", value="../encoder.csv"):
        roll('encoder = "../encoder.csv"\nsegments = ["a.tif", "b.tif"]')


def test_an_overlap_is_named_at_its_segment(roll, refused) -> None:
    """A start that lies inside the segment before is refused where it is written."""
    with refused("scan.toml, field segments.2.from", rule="before it ends, at 0.0500 m", value="0.04 m"):
        roll('segments = ["a.tif", {file = "b.tif", from = "40 mm"}]')
