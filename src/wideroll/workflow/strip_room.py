"""The strips of a roll: each process run judged, first by the charts of its processor, then each check strip."""

from collections.abc import Mapping
from dataclasses import replace

from wideroll.errors import ArgumentError, InputError
from wideroll.sensitometry import (
    RunVerdict,
    Strip,
    StripKind,
    StripResult,
    correct_strip,
    judge_run,
    measure_strip,
    process_points,
)
from wideroll.workflow.model import Product, StripRoom
from wideroll.workflow.processor_model import ProcessLog, ProcessorState, Standing
from wideroll.workflow.processors import chart_runs

__all__ = ["judge_strips"]


def judge_strips(strips: tuple[Strip, ...], product: Product, log: ProcessLog | None = None) -> StripRoom:
    """Judge each process run by its reference strips, correct the check strips of good runs, and measure them.

    Args:
        strips: of the roll.
        product: with the aims and the limit of the reference film.
        log: the processors' histories and which run went through which; a run that it doesn't name is judged by the
            limit alone.

    Raises:
        InputError: when the log names a run that no strip went through, or contradicts itself.
    """
    names = tuple(dict.fromkeys(strip.run for strip in strips))
    runs = {run: _judge(run, strips, product) for run in names}
    states, unread = _charted(runs, product, log or ProcessLog())
    for run, why in unread.items():
        runs[run] = _judge(run, strips, product, charted=why)
    for state in states:
        if state.standing is Standing.OUT_OF_CONTROL:
            why = f"processor {state.processor.name} is out of control: {state.why}"
            runs[state.run] = _judge(state.run, strips, product, charted=why)
    checks = [strip for strip in strips if strip.kind is StripKind.CHECK]
    results = tuple(_measure(strip, runs[strip.run], product) for strip in checks)
    return StripRoom(strips=strips, runs=tuple(runs.values()), results=results, processors=states)


def _judge(run: str, strips: tuple[Strip, ...], product: Product, *, charted: str = "") -> RunVerdict:
    inside = [strip for strip in strips if strip.run == run]
    return judge_run(
        run,
        [strip for strip in inside if strip.kind is StripKind.REFERENCE],
        [strip for strip in inside if strip.kind is StripKind.CHECK],
        product.reference_aims,
        product.process_limit_density,
        charted=charted,
    )


def _charted(
    runs: Mapping[str, RunVerdict], product: Product, log: ProcessLog
) -> tuple[tuple[ProcessorState, ...], Mapping[str, str]]:
    """The processors' states, and why runs can't be charted that should be."""
    places = {history.processor.name: history.processor.places for history in log.histories}
    strangers = [one.run for one in log.runs if one.run not in runs]
    if strangers:
        raise InputError(
            where="strips/runs.csv",
            rule="each run listed is one that a strip of strips.csv went through",
            value=strangers[0],
            mend="Correct the name of the run, or take it off the list.",
        )
    points = {}
    unread: dict[str, str] = {}
    for one in log.runs:
        if one.processor not in places:
            continue
        try:
            points[one.run] = process_points(runs[one.run], product.reference_aims, places[one.processor])
        except ArgumentError as error:
            unread[one.run] = f"it can't be charted: {error.rule}, log H {error.value}"
    charted = tuple(one for one in log.runs if one.run not in unread)
    return chart_runs(log.histories, charted, points), unread


def _measure(strip: Strip, run: RunVerdict, product: Product) -> StripResult:
    if run.usable:
        return measure_strip(correct_strip(strip, run), product.aims)
    result = measure_strip(strip, product.aims)
    return replace(result, usable=False, why=f"process run {run.run} is void: {run.why}")
