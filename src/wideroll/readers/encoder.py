"""The encoder's table beside a scan: where lines lie along the web, or how far apart they are."""

import math
from pathlib import Path
from typing import Final

from wideroll.errors import InputError
from wideroll.readers.csv_tables import Row, read_table
from wideroll.scan import LinePlaces

__all__ = ["check_within", "read_encoder"]

_LINE: Final = "line"
_PLACE: Final = "along_m"
_STEP: Final = "metres_per_line"
_SLIP: Final = 10.0
"""A web's speed changes several times over while it starts and stops; a wrong unit is a thousand times off."""


def read_encoder(path: Path, *, pitch_along_mm: float) -> LinePlaces:
    """Places of lines from a table with the columns ``line`` and either ``along_m`` or ``metres_per_line``.

    ``along_m`` is where the line starts, measured from the head; between two rows the web ran evenly. With
    ``metres_per_line`` a row holds from its line to the next row's, and line 0 lies at the head.

    Args:
        path: The table.
        pitch_along_mm: What scan.toml says of the distance of lines, to catch a wrong unit.

    Raises:
        InputError: naming the file, line and column, the rule, the value and the mend.
    """
    rows = read_table(path, needed=(_LINE,), allowed=(_PLACE, _STEP))
    given = [column for column in (_PLACE, _STEP) if column in rows[0].cells]
    if len(given) != 1:
        raise InputError(
            where=f"{path}, header",
            rule=f"besides {_LINE}, the table has either {_PLACE} or {_STEP}",
            value=" and ".join(given) or "neither",
            mend="Keep one of the two columns; docs/reference/files.md shows an example.",
        )
    lines = _lines(rows)
    places = _places(path, rows, lines) if given == [_PLACE] else _summed(rows, lines)
    _check_unit(path, places, pitch_along_mm)
    return places


def check_within(places: LinePlaces, lines: int, path: Path) -> None:
    """Refuse a table that tells of lines beyond the raster's end.

    Raises:
        InputError: naming the file and the line.
    """
    beyond = [line for line in places.lines if line > lines]
    if beyond:
        raise InputError(
            where=f"{path}, column {_LINE}",
            rule=f"must lie within the raster, which has {lines} lines",
            value=int(beyond[0]),
            mend="Take the encoder's table of this scan, or add the segment that is missing from scan.toml.",
        )


def _lines(rows: list[Row]) -> list[float]:
    lines: list[float] = []
    for row in rows:
        line = row.whole(_LINE)
        if lines and line <= lines[-1]:
            raise row.refuse(
                _LINE, rule=f"must be above the line before, {lines[-1]:.0f}", mend="Sort the rows by line, each once."
            )
        lines.append(line)
    return lines


def _read(row: Row, column: str) -> float:
    value = row.number(column)
    if math.isnan(value):
        raise row.refuse(column, rule="must be a number", mend="Take the row out where nothing was counted.")
    return value


def _places(path: Path, rows: list[Row], lines: list[float]) -> LinePlaces:
    metres: list[float] = []
    for row in rows:
        place = _read(row, _PLACE)
        if place < 0.0:
            raise row.refuse(_PLACE, rule="must not lie before the head, at 0 m", mend="Measure it from the head.")
        if metres and place <= metres[-1]:
            raise row.refuse(
                _PLACE,
                rule=f"must be above the place before, {metres[-1]:g} m",
                mend="A web that stood still or ran backwards was scanned twice: cut those lines out.",
            )
        metres.append(place)
    if len(rows) == 1:
        raise InputError(
            where=str(path), rule=f"{_PLACE} is needed for two lines or more", value="1 row", mend="Add the last line."
        )
    places = LinePlaces.counted(lines, metres)
    if places.along_m(0.0) < -places.pitch_mm(0.0) / 1000.0:
        raise rows[0].refuse(
            _PLACE,
            rule=f"leaves no room for the {lines[0]:.0f} lines before it at the distance of those after it",
            mend="Add a row for line 0.",
        )
    return places


def _summed(rows: list[Row], lines: list[float]) -> LinePlaces:
    if lines[0] != 0:
        raise rows[0].refuse(_LINE, rule="the first row must be for line 0", mend="Say how far apart the first are.")
    steps = []
    for row in rows:
        step = _read(row, _STEP)
        if step <= 0.0:
            raise row.refuse(_STEP, rule="must be greater than 0", mend="Cut out lines at which the web stood still.")
        steps.append(step)
    knots, metres = [*lines, lines[-1] + 1], [0.0]
    for step, line, after in zip(steps, knots, knots[1:], strict=False):
        metres.append(metres[-1] + step * (after - line))
    return LinePlaces.counted(knots, metres)


def _check_unit(path: Path, places: LinePlaces, pitch_along_mm: float) -> None:
    """The mean distance of lines, within a factor of ten of what scan.toml says."""
    mean_mm = 1000.0 * (places.metres[-1] - places.metres[0]) / (places.lines[-1] - places.lines[0])
    if not pitch_along_mm / _SLIP <= mean_mm <= pitch_along_mm * _SLIP:
        raise InputError(
            where=str(path),
            rule=f"lines must lie about as far apart as pitch_along in scan.toml says, {pitch_along_mm:g} mm",
            value=f"{mean_mm:.3g} mm on average",
            mend="Write places in metres and lines as numbers from 0; correct pitch_along if that is wrong.",
        )
