"""How the lab's densitometers and sensitometers stand: each calibration with its line, intervals and days."""

import math
from collections.abc import Iterator, Sequence
from typing import Any, Final

from wideroll.report.grid import Cell, Column, Grid
from wideroll.report.quantities import ABSENT, show_interval, show_number
from wideroll.sensitometry import Calibration, CalibrationLine, calibration_on

__all__ = ["calibration_json", "calibrations_grid", "standing"]

_DECIMALS: Final = 4


def standing(calibration: Calibration, among: Sequence[Calibration], day: str) -> str:
    """Whether a calibration is the one that holds on a day, in words; without a day, whether it can be used at all.

    Args:
        calibration: the one asked about.
        among: all of its instrument.
        day: ISO 8601, or empty.
    """
    if calibration.why_unusable:
        return "✖ unusable"
    if not day:
        return "● usable"
    newest = calibration_on(among, day)
    if calibration.on > day:
        return "○ not yet made"
    if calibration is not newest:
        return "○ superseded"
    return "✖ expired" if calibration.expires < day else "● holds"


def calibrations_grid(instruments: Sequence[Sequence[Calibration]], day: str = "") -> Grid:
    """One row for each line of each calibration: true value = offset + gain · read value, with 95 % intervals."""
    rows = tuple(row for made in instruments for calibration in made for row in _rows(calibration, made, day))
    return Grid(
        caption="Calibrations: true = offset + gain · read" + (f", as on {day}" if day else ""),
        columns=(
            Column(head="instrument"),
            Column(head="made, last day"),
            Column(head="state", keep=True),
            Column(head="of"),
            Column(head="offset", number=True),
            Column(head="interval"),
            Column(head="gain", number=True),
            Column(head="interval"),
            Column(head="residual sd", number=True),
        ),
        rows=rows,
        empty="No instrument has been calibrated.",
    )


def calibration_json(calibration: Calibration, among: Sequence[Calibration], day: str) -> dict[str, Any]:
    """One calibration of ``wideroll/instruments/1``."""
    return {
        "on": calibration.on,
        "expires": calibration.expires,
        "tablet": calibration.tablet,
        "state": standing(calibration, among, day).partition(" ")[2],
        "why_unusable": calibration.why_unusable,
        "note": calibration.note,
        "lines": {str(of): _line_json(line) for of, line in calibration.lines.items()},
    }


def _line_json(line: CalibrationLine) -> dict[str, Any]:
    measures = {
        measure.name: {
            "value": measure.value,
            "low": measure.low,
            "high": measure.high,
            "standard_uncertainty": measure.standard_uncertainty,
        }
        for measure in (line.offset, line.gain)
    }
    bent = {"bend": line.bend, "bend_p_value": line.bend_p_value}
    whole = {"covariance": line.covariance.tolist(), "residual_sd": line.residual_sd, "p_value": line.p_value}
    return {**measures, **{key: _finite(value) for key, value in {**whole, **bent}.items()}}


def _finite(value: Any) -> Any:
    """JSON has no NaN."""
    return None if isinstance(value, float) and math.isnan(value) else value


def _rows(calibration: Calibration, among: Sequence[Calibration], day: str) -> Iterator[tuple[Cell, ...]]:
    state = standing(calibration, among, day)
    tone = {"●": "release", "✖": "reject"}.get(state[0], "")
    note = calibration.why_unusable or calibration.note
    first = (
        Cell(text=calibration.instrument, note=note, tone="strong"),
        Cell(text=f"{calibration.on}, {calibration.expires}", note=f"tablet {calibration.tablet}"),
        Cell(text=state, tone=tone),
    )
    if not calibration.lines:
        yield (*first, *(Cell(text=ABSENT) for _ in range(6)))
    for rank, (of, line) in enumerate(calibration.lines.items()):
        yield (
            *(first if rank == 0 else (Cell(text=""),) * 3),
            Cell(text=str(of)),
            Cell(text=show_number(line.offset.value, _DECIMALS, signed=True)),
            Cell(text=show_interval(line.offset.low, line.offset.high, _DECIMALS)),
            Cell(text=show_number(line.gain.value, _DECIMALS)),
            Cell(text=show_interval(line.gain.low, line.gain.high, _DECIMALS)),
            Cell(text=show_number(line.residual_sd, _DECIMALS)),
        )
