"""Tables as plain values."""

import csv
import io
import json

from wideroll.report.grid import Cell, Column, Grid
from wideroll.report.grid_json import figure_json, grid_csv, grid_json
from wideroll.report.page import PageFigure

GRID = Grid(
    caption="Lanes",
    columns=(Column(head="lane"), Column(head="value, mm", number=True)),
    rows=(
        (Cell(text="=A1", note="by ear"), Cell(text="\u22121.5", tone="hold")),
        (Cell(text="two, and more"), Cell(text="12.25")),
    ),
    left_out=3,
)


def test_numbers_of_a_column_are_of_one_length():
    """As on a sheet, points stand in line; what JSON holds comes back the same."""
    value = grid_json(GRID)
    texts = [row[1]["text"] for row in value["rows"]]
    assert len({len(text) for text in texts}) == 1
    assert json.loads(json.dumps(value)) == value
    assert value["left_out"] == 3


def test_csv_has_plain_numbers_and_no_formula():
    """A spreadsheet reads numbers as numbers, and nobody's words as a formula."""
    rows = list(csv.reader(io.StringIO(grid_csv(grid_json(GRID)))))
    assert rows == [["lane", "value, mm"], ["'=A1 (by ear)", "-1.5"], ["two, and more", "12.25"]]


def test_a_figure_is_told_by_its_file_and_size():
    """The picture itself stays in its file."""
    figure = PageFigure(svg='<svg viewBox="0 0 300 150"></svg>', caption="All is well", data=(GRID,))
    value = figure_json(figure, "map.svg", "lanes")
    assert (value["file"], value["width"], value["height"]) == ("map.svg", 400, 200)
    assert value["data"] == [grid_json(GRID)]
