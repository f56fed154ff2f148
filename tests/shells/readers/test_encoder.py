from pathlib import Path

import pytest

from wideroll.readers.encoder import check_within, read_encoder


@pytest.fixture
def encoder(tmp_path: Path):
    """Write an encoder's table and read it for lines 0.5 mm apart."""

    def encoder(text: str):
        (tmp_path / "encoder.csv").write_text(text)
        return read_encoder(tmp_path / "encoder.csv", pitch_along_mm=0.5)

    return encoder


def test_places_of_lines_are_kept_and_joined_by_straight_pieces(encoder) -> None:
    """Between two rows the web ran evenly, and after the last as between the last two."""
    places = encoder("line,along_m\n0,1.0\n1000,1.5\n2000,1.7\n")
    assert (places.lines, places.metres) == ((0.0, 1000.0, 2000.0), (1.0, 1.5, 1.7))
    assert [places.along_m(line) for line in (0.0, 500.0, 1500.0, 3000.0)] == pytest.approx([1.0, 1.25, 1.6, 1.9])


def test_metres_per_line_are_summed_from_the_head(encoder) -> None:
    """Each row holds up to the next row's line, the last to the end of the scan."""
    places = encoder("line;metres_per_line\n0;0,0005\n1000;0,0002\n1500;0,001\n")
    at = [places.along_m(line) for line in (0.0, 1000.0, 1500.0, 2500.0)]
    assert at == pytest.approx([0.0, 0.5, 0.6, 1.6])
    assert encoder("line,metres_per_line\n0,0.0004\n").along_m(100.0) == pytest.approx(0.04)


@pytest.mark.parametrize(
    ("text", "where", "rule", "value"),
    [
        (
            "line,along_m,metres_per_line\n0,0,0.1\n",
            "header",
            "either along_m or metres_per_line",
            "along_m and metres",
        ),
        ("line\n0\n", "header", "either along_m or metres_per_line", "neither"),
        ("along_m\n0\n", "line 1", "must have the columns line", "no line"),
        ("line,along_m,speed\n0,0,1\n", "line 1", "the columns are", "speed"),
        ("line,along_m\n0,0\n10,0.005\n10,0.006\n", "line 4, column line", "above the line before, 10", "10"),
        ("line,along_m\n0,0\n1.5,0.005\n", "line 3, column line", "whole number", "1.5"),
        (
            "line,along_m\n0,0\n10,0.005\n20,0.005\n",
            "line 4, column along_m",
            "above the place before, 0.005 m",
            "0.005",
        ),
        ("line,along_m\n0,0\n10,-\n", "line 3, column along_m", "must be a number", "-"),
        ("line,along_m\n0,-1\n10,1\n", "line 2, column along_m", "before the head", "-1"),
        ("line,along_m\n1000,0.1\n2000,0.6\n", "line 2, column along_m", "no room for the 1000 lines before", "0.1"),
        ("line,along_m\n0,0\n", "encoder.csv", "two lines or more", "1 row"),
        ("line,metres_per_line\n5,0.0005\n", "line 2, column line", "for line 0", "5"),
        ("line,metres_per_line\n0,0\n", "line 2, column metres_per_line", "greater than 0", "0"),
        ("line,metres_per_line\n0,0.5\n", "encoder.csv", "about as far apart as pitch_along", "500 mm"),
        ("line,along_m\n0,0\n100,50\n", "encoder.csv", "scan.toml says, 0.5 mm", "500 mm"),
    ],
)
def test_a_fault_is_named_with_its_line(encoder, refused, text: str, where: str, rule: str, value: str) -> None:
    """Lines that don't ascend, places that don't rise, gaps, wrong units and columns are refused with the mend."""
    with refused("encoder.csv", where, rule=rule, value=value):
        encoder(text)


def test_the_table_must_lie_within_the_raster(encoder, refused, tmp_path: Path) -> None:
    """A table that tells of more lines than there are belongs to another scan; the end itself may be told."""
    places = encoder("line,along_m\n0,0\n1000,0.5\n2000,1.0\n")
    check_within(places, 2000, tmp_path / "encoder.csv")
    with refused("encoder.csv, column line", rule="within the raster, which has 1999 lines", value=2000):
        check_within(places, 1999, tmp_path / "encoder.csv")
