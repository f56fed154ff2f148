"""A marks table as CSV, for a spreadsheet."""

from pathlib import Path

import polars as pl

from wideroll.roll import check_marks
from wideroll.store.files import write_whole

__all__ = ["write_marks_csv"]


def write_marks_csv(path: Path, marks: pl.DataFrame) -> None:
    """Replace a CSV file in one step: a row for each mark, with the columns of ``MARKS_SCHEMA`` and their names first.

    Raises:
        InputError: when the marks aren't a marks table, or the disk refuses.

    Example:
        >>> from tempfile import TemporaryDirectory
        >>> from wideroll.roll import empty_marks
        >>> with TemporaryDirectory() as folder:
        ...     write_marks_csv(Path(folder, "marks.csv"), empty_marks())
        ...     Path(folder, "marks.csv").read_text()[:22]
        'id,along_m,across_mm,l'
    """
    write_whole(path, check_marks(marks).write_csv().encode())
