"""How the lab's instruments stand: each calibration with its line or correction, intervals and days."""

import math
from collections.abc import Iterator, Sequence
from typing import Any, Final

from wideroll.report.grid import Cell, Column, Grid
from wideroll.report.quantities import ABSENT, show_interval, show_number
from wideroll.sensitometry import Calibration, CalibrationLine, calibration_on
from wideroll.workflow.property_model import Gauge, GaugeCalibration, gauge_calibration_on

__all__ = ["calibration_json", "calibrations_grid", "gauge_json", "gauges_grid", "standing"]

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


def gauges_grid(gauges: Sequence[Gauge], day: str = "") -> Grid:
    """One row for each calibration of each gauge: what it measures, and what is added to its values."""
    return Grid(
        caption="Gauges" + (f", as on {day}" if day else ""),
        columns=(
            Column(head="gauge"),
            Column(head="measures"),
            Column(head="made, last day"),
            Column(head="state", keep=True),
            Column(head="correction", number=True),
            Column(head="in common ±", number=True),
            Column(head="repeatability", number=True),
            Column(head="unit", keep=True),
        ),
        rows=tuple(row for gauge in gauges for row in _gauge_rows(gauge, day)),
        empty="No gauge is listed.",
    )


def gauge_json(gauge: Gauge, day: str) -> dict[str, Any]:
    """One gauge of ``wideroll/instruments/1``."""
    return {
        "name": gauge.name,
        "measures": list(gauge.measures),
        "unit": gauge.unit,
        "common_standard_uncertainty": gauge.common_standard_uncertainty,
        "repeatability": gauge.repeatability,
        "calibrations": [
            {
                "on": made.on,
                "expires": made.expires,
                "correction": made.correction,
                "state": _gauge_state(gauge, made, day).partition(" ")[2],
            }
            for made in gauge.calibrations
        ],
    }


def _gauge_rows(gauge: Gauge, day: str) -> Iterator[tuple[Cell, ...]]:
    name, measures = Cell(text=gauge.name, tone="strong"), Cell(text=", ".join(gauge.measures))
    ends = tuple(Cell(text=f"{number:.4g}") for number in (gauge.common_standard_uncertainty, gauge.repeatability))
    if not gauge.calibrations:
        yield (
            name,
            measures,
            Cell(text=ABSENT),
            Cell(text="✖ never calibrated"),
            Cell(text=ABSENT),
            *ends,
            Cell(text=gauge.unit),
        )
    for made in gauge.calibrations:
        days, state = Cell(text=f"{made.on}, {made.expires}"), Cell(text=_gauge_state(gauge, made, day))
        correction = Cell(text=f"{made.correction:+.4g}".replace("-", "−") if made.correction else "0")
        yield (name, measures, days, state, correction, *ends, Cell(text=gauge.unit))


def _gauge_state(gauge: Gauge, made: GaugeCalibration, day: str) -> str:
    if not day:
        return "● usable"
    if made.on > day:
        return "○ not yet made"
    if made is not gauge_calibration_on(gauge.calibrations, day):
        return "○ superseded"
    return "✖ expired" if made.expires < day else "● holds"


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
