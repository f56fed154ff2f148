"""Gauge studies and causes in tables and sentences."""

from collections.abc import Mapping, Sequence
from typing import Any, Final

from wideroll.control import GaugePart, GaugeStudy, ParetoLine
from wideroll.report.grid import Cell, Column, Grid
from wideroll.report.machine import plain
from wideroll.report.quantities import ABSENT, decimals_for, show_interval, show_number

__all__ = ["causes_grid", "causes_json", "gauge_grid", "gauge_json", "gauge_words"]

_GOOD: Final = 0.10
_BAD: Final = 0.30
"""The AIAG manual's customary borders."""


def gauge_grid(study: GaugeStudy) -> Grid:
    """Where the scatter of what was read comes from, by one of the methods."""
    decimals = decimals_for((study.gauge.sigma,))
    rows = [("repeatability", study.repeatability), ("reproducibility", study.reproducibility)]
    rows += [("of it operator and part", study.interaction)] if study.interaction is not None else []
    rows += [("gauge, both together", study.gauge), ("parts", study.part), ("total", study.total)]
    return Grid(
        caption=f"By {study.method.value}: {study.operators} operators, {study.parts} parts, each read {study.trials}×",
        columns=(
            Column(head="source", keep=True),
            Column(head="standard deviation", number=True),
            Column(head="% of the total", number=True),
            Column(head="% of the tolerance", number=True),
            Column(head="interval of the deviation"),
        ),
        rows=tuple(
            (
                Cell(text=name, tone="strong" if part is study.gauge else ""),
                Cell(text=show_number(part.sigma, decimals)),
                Cell(text=show_number(100.0 * part.of_total, 1)),
                Cell(text=_of_tolerance(part)),
                Cell(text=_interval(study, decimals) if part is study.gauge else ABSENT),
            )
            for name, part in rows
        ),
    )


def gauge_words(study: GaugeStudy) -> tuple[str, ...]:
    """The verdict in a sentence, and what to read again."""
    share = show_number(100.0 * study.gauge.of_total, 1)
    classes = f"it can tell {study.categories} classes of these parts apart"
    said = [f"By {study.method.value} {study.verdict}: {share} % of the total is the gauge's; {classes}."]
    if study.gauge.of_tolerance is not None:
        taken = study.gauge.of_tolerance
        word = "little" if taken < _GOOD else "that may do" if taken <= _BAD else "too much"
        said.append(f"It takes {show_number(100.0 * taken, 1)} % of the tolerance: {word}.")
    said += [
        f"Read again: {one.operator} read {one.part} {one.range:g} apart, more than {study.range_limit:.4g}."
        for one in study.beyond
    ]
    return tuple(said)


def gauge_json(studies: Sequence[GaugeStudy]) -> dict[str, Any]:
    """``wideroll/gauge/1``: the study by both methods."""
    return {"schema": "wideroll/gauge/1", "studies": [{**plain(one), "verdict": one.verdict} for one in studies]}


def causes_grid(lines: Sequence[ParetoLine], caption: str, unit: str) -> Grid:
    """Causes from the largest to the smallest."""
    decimals = 0 if unit == "cases" else decimals_for([line.amount for line in lines])
    return Grid(
        caption=caption,
        columns=(
            Column(head="cause"),
            Column(head=unit, number=True),
            Column(head="% of all", number=True),
            Column(head="interval, %"),
            Column(head="% with those above", number=True),
            Column(head="which"),
        ),
        rows=tuple(
            (
                Cell(text=line.cause, tone="strong" if line.vital else ""),
                Cell(text=show_number(line.amount, decimals)),
                Cell(text=show_number(100.0 * line.share, 1)),
                Cell(text=_share_interval(line)),
                Cell(text=show_number(100.0 * line.cumulative, 1)),
                Cell(text="of the vital few" if line.vital else ""),
            )
            for line in lines
        ),
        empty="None.",
    )


def causes_json(parts: Mapping[str, Sequence[ParetoLine]]) -> dict[str, Any]:
    """``wideroll/pareto/1``: causes by what they are counted in."""
    return {"schema": "wideroll/pareto/1", **{name: [plain(line) for line in lines] for name, lines in parts.items()}}


def _of_tolerance(part: GaugePart) -> str:
    return ABSENT if part.of_tolerance is None else show_number(100.0 * part.of_tolerance, 1)


def _interval(study: GaugeStudy, decimals: int) -> str:
    if study.gauge_low is None or study.gauge_high is None:
        return ABSENT
    return show_interval(study.gauge_low, study.gauge_high, decimals)


def _share_interval(line: ParetoLine) -> str:
    if line.share_low is None or line.share_high is None:
        return ABSENT
    return show_interval(100.0 * line.share_low, 100.0 * line.share_high, 1)
