"""Whether one record of a strip deviates or all of them, in amounts of dye, as a table."""

from collections.abc import Sequence
from typing import Final

from wideroll.report.grid import Cell, Column, Grid
from wideroll.report.quantities import ABSENT, show_number
from wideroll.sensitometry import Dye, DyeShift, RunVerdict, ShiftKind, StripResult

__all__ = ["dyes_grid", "has_dyes", "run_dye_words"]

_TOGETHER: Final = {ShiftKind.PROCESS_WIDE, ShiftKind.PROCESS_AND_RECORD}
_TAKEN_OFF: Final = "the run's process is taken off already: look to the exposure and to what the layers share"
_NOT_TAKEN_OFF: Final = "the run's process isn't taken off: look to it first"


def has_dyes(results: Sequence[StripResult]) -> bool:
    """Whether any strip's deviations were told in amounts of dye."""
    return any(result.dye_shift for result in results)


def dyes_grid(results: Sequence[StripResult], runs: Sequence[RunVerdict] = ()) -> Grid:
    """One row a strip: what deviates, and by how much dye at the middle of the range; runs say what was taken off."""
    usable = {run.run for run in runs if run.usable}
    return Grid(
        caption="One record or all: check minus aim in amounts of dye, at the middle of the useful range",
        columns=(
            Column(head="strip"),
            Column(head="what deviates"),
            *(Column(head=dye.value, number=True) for dye in Dye),
        ),
        rows=tuple(
            (
                Cell(text=result.strip.name, tone="strong"),
                Cell(text=result.dye_shift.words, note=_advice(result.dye_shift, corrected=result.strip.run in usable)),
                *_amounts(result.dye_shift),
            )
            for result in results
            if result.dye_shift is not None
        ),
        empty="The product's dyes aren't known, or no strip could be compared.",
    )


def run_dye_words(run: RunVerdict) -> str:
    """What the run's reference strips say of the process; empty when they show no deviation.

    Of a usable run, whose process is taken off, what isn't settled isn't said.
    """
    told = run.dye_shift
    unsaid = {ShiftKind.NONE_SHOWN, ShiftKind.NOT_SETTLED} if run.usable else {ShiftKind.NONE_SHOWN}
    return "" if told is None or told.kind in unsaid else f"reference strips: {told.words}"


def _advice(told: DyeShift, *, corrected: bool) -> str:
    if told.kind not in _TOGETHER:
        return ""
    return _TAKEN_OFF if corrected else _NOT_TAKEN_OFF


def _amounts(told: DyeShift) -> tuple[Cell, ...]:
    if not len(told.amounts):
        return tuple(Cell(text=ABSENT) for _ in Dye)
    return tuple(
        Cell(text=show_number(float(amount), 3, signed=True)) for amount in told.amounts[len(told.amounts) // 2]
    )
