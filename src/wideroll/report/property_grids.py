"""What was measured of a roll's properties: batch by batch, and which values are no evidence."""

import math
from collections.abc import Sequence
from typing import Any, Final

from wideroll.report.grid import Cell, Column, Grid
from wideroll.report.quantities import decimals_for, show_interval, show_number
from wideroll.workflow import Judged, Measurement, PropertyEvidence, PropertySummary

__all__ = ["no_evidence_grid", "properties_grid", "properties_json"]

_DECIMALS: Final = 6
_INTERVALS: Final = {Judged.EACH_PLACE: "a further place", Judged.MEAN: "the mean"}


def properties_grid(summaries: Sequence[PropertySummary]) -> Grid:
    """One row for each property of each batch: places, mean, scatter and the 95 % interval of what is judged."""
    return Grid(
        caption="Measured properties, batch by batch",
        columns=(
            Column(head="property", keep=True),
            Column(head="batch", keep=True),
            Column(head="places", number=True),
            Column(head="mean", number=True),
            Column(head="scatter", number=True),
            Column(head="95 % interval", keep=True),
            Column(head="unit", keep=True),
            Column(head="measured by"),
        ),
        rows=tuple(_row(summary) for summary in summaries),
        empty="No property of this roll has a usable value.",
    )


def no_evidence_grid(measurements: Sequence[Measurement]) -> Grid:
    """The values that can't be believed: which line, why, and what would mend it."""
    return Grid(
        caption="Values that are no evidence",
        columns=(
            Column(head="line", number=True),
            Column(head="property"),
            Column(head="where", keep=True),
            Column(head="why"),
            Column(head="what mends it"),
        ),
        rows=tuple(
            (
                Cell(text=str(m.line)),
                Cell(text=m.subject, note=m.sample, tone="strong"),
                Cell(text=f"{show_number(m.place.along_m, 2)} m, {show_number(m.place.across_mm, 0)} mm"),
                Cell(text=m.why_unusable, note=m.note),
                Cell(text=m.mend),
            )
            for m in measurements
            if not m.usable
        ),
        empty="None.",
    )


def properties_json(roll: str, evidence: PropertyEvidence, measurements: Sequence[Measurement]) -> dict[str, Any]:
    """``wideroll/properties/1``; what is infinite or not known is null."""
    return {
        "schema": "wideroll/properties/1",
        "roll": roll,
        "properties": [_summary_json(summary) for summary in evidence.summaries],
        "values": [_value_json(m) for m in measurements],
    }


def _row(summary: PropertySummary) -> tuple[Cell, ...]:
    decimals = _decimals(summary)
    interval = show_interval(summary.low, summary.high, decimals)
    return (
        Cell(text=summary.spec.name, tone="strong"),
        Cell(text=summary.batch),
        Cell(text=str(summary.places)),
        Cell(text=f"{summary.mean:.7g}" if summary.why else show_number(summary.mean, decimals)),
        Cell(text=show_number(summary.scatter, decimals)),
        Cell(text=interval, note="" if summary.why else f"of {_INTERVALS[summary.spec.judged]}"),
        Cell(text=summary.spec.unit),
        Cell(text=summary.source, note=f"{summary.why}. {summary.mend}" if summary.why else ""),
    )


def _decimals(summary: PropertySummary) -> int:
    """Enough to show two figures of the uncertainty."""
    error = summary.standard_uncertainty
    if math.isfinite(error) and error > 0.0:
        return min(max(1 - math.floor(math.log10(error)), 0), _DECIMALS)
    return decimals_for((summary.mean,))


def _summary_json(summary: PropertySummary) -> dict[str, Any]:
    spec = summary.spec
    numbers = {
        "mean": summary.mean,
        "scatter": summary.scatter,
        "known_scatter": spec.scatter,
        "standard_uncertainty": summary.standard_uncertainty,
        "degrees_of_freedom": summary.degrees_of_freedom,
        "low": summary.low,
        "high": summary.high,
    }
    words = {"source": summary.source, "why": summary.why, "mend": summary.mend}
    return {
        "property": spec.name,
        "batch": summary.batch,
        "unit": spec.unit,
        "judged": spec.judged.value,
        "values": summary.values,
        "places": summary.places,
        **{name: _finite(number) for name, number in numbers.items()},
        **words,
    }


def _value_json(m: Measurement) -> dict[str, Any]:
    return {
        "line": m.line,
        "property": m.subject,
        "along_m": m.place.along_m,
        "across_mm": m.place.across_mm,
        "value": m.value,
        "own_uncertainty": m.own_uncertainty,
        "shared_uncertainty": m.shared_uncertainty,
        "instrument": m.instrument,
        "on": m.on,
        "calibration": m.calibration,
        "sample": m.sample,
        "note": m.note,
        "usable": m.usable,
        "why_unusable": m.why_unusable,
        "mend": m.mend,
    }


def _finite(value: float) -> float | None:
    """JSON has neither NaN nor infinity."""
    return value if math.isfinite(value) else None
