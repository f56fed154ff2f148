"""Marks leave as CSV that reads back as the same table."""

import polars as pl

from wideroll.roll import MARKS_SCHEMA, empty_marks
from wideroll.store import write_marks_csv


def test_marks_are_read_back_from_csv_as_they_were(tmp_path):
    """Every number keeps all its digits, and words keep theirs."""
    measures = (1 / 3, 100.1, 0.3, 0.3, 0.09, 1e-9, 12.5, 2e-9, 1.5, -45.0, -0.02)
    row = [[value] for value in ("m1", *measures, "dark", "static mark", "rule, one", "line, one")]
    marks = pl.DataFrame(dict(zip(MARKS_SCHEMA, row, strict=True)), schema=MARKS_SCHEMA)
    write_marks_csv(tmp_path / "marks.csv", marks)
    assert pl.read_csv(tmp_path / "marks.csv", schema=MARKS_SCHEMA).equals(marks)


def test_no_marks_leave_a_head(tmp_path):
    """Nothing found is a file with the names of the columns."""
    write_marks_csv(tmp_path / "marks.csv", empty_marks())
    assert (tmp_path / "marks.csv").read_text() == ",".join(MARKS_SCHEMA) + "\n"
