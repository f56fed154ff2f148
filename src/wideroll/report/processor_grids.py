"""The lab's processors in tables: how each stands, what is charted of it, and its last runs."""

import math
from collections.abc import Mapping, Sequence
from typing import Any, Final

from wideroll.control.model import Chart
from wideroll.report.grid import Cell, Column, Grid
from wideroll.report.quantities import ABSENT, show_count, show_interval, show_number
from wideroll.sensitometry.model import RunVerdict
from wideroll.workflow import quantities_words
from wideroll.workflow.processor_model import ChartedQuantity, ProcessorRun, ProcessorState, Standing

__all__ = [
    "BEYOND",
    "LIMIT_ALONE",
    "NO_CHART",
    "STANDING_SIGNS",
    "broken_rules",
    "charted_grid",
    "last_runs_grid",
    "limits_words",
    "processors_grid",
    "standing_cell",
    "state_json",
]

BEYOND: Final = "one point"
"""How the one rule begins that rules a run out."""
NO_CHART: Final = "no processor chart"
LIMIT_ALONE: Final = "judged by the limit only"
STANDING_SIGNS: Final[Mapping[Standing, str]] = {
    Standing.IN_CONTROL: "●",
    Standing.WARNING: "▲",
    Standing.OUT_OF_CONTROL: "✖",
    Standing.TOO_FEW: "○",
    Standing.NOT_READ: "○",
}
_TONES: Final[Mapping[Standing, str]] = {
    Standing.IN_CONTROL: "release",
    Standing.WARNING: "hold",
    Standing.OUT_OF_CONTROL: "reject",
}
_LAST_RUNS: Final = 12


def standing_cell(run: RunVerdict, states: Sequence[ProcessorState]) -> Cell:
    """The processor a run went through, with what its charts say of the run."""
    state = next((one for one in states if one.run == run.run), None)
    if state is None:
        return Cell(text=ABSENT, note=NO_CHART)
    said = [state.standing.value]
    if state.standing in {Standing.TOO_FEW, Standing.NOT_READ}:
        said = [f"{state.standing.value} ({state.why})", LIMIT_ALONE]
    return Cell(text=state.processor.name, note="; ".join([*said, *state.warnings]))


def processors_grid(states: Sequence[ProcessorState]) -> Grid:
    """One row a processor, as it was at its last run."""
    return Grid(
        caption="Processors, each at its last run",
        columns=(
            Column(head="processor", keep=True),
            Column(head="last run"),
            Column(head="state"),
            Column(head="why"),
            Column(head="limits"),
        ),
        rows=tuple(
            (
                Cell(text=state.processor.name, note=state.processor.process, tone="strong"),
                Cell(text=state.run or ABSENT, note=state.runs[-1].processed_on if state.runs else ""),
                Cell(text=_sign(state), tone=_TONES.get(state.standing, "")),
                Cell(text=state.why, note="; ".join(f"warning: {one}" for one in state.warnings)),
                Cell(text=limits_words(state)),
            )
            for state in states
        ),
        empty="The plant has no processors.toml, so no processor is charted.",
    )


def charted_grid(state: ProcessorState) -> Grid:
    """Each quantity charted: this run against centre and limits."""
    charts: Sequence[Chart | None] = state.chart.charts if state.chart and state.chart.charts else ()
    charts = charts or [None] * len(state.quantities)
    return Grid(
        caption=f"Run {state.run} on the charts of processor {state.processor.name} (reference less aim, density)",
        columns=(
            Column(head="record"),
            Column(head="charted"),
            Column(head="run", number=True),
            Column(head="standard uncertainty", number=True),
            Column(head="centre", number=True),
            Column(head="limits"),
            Column(head="rules broken"),
        ),
        rows=tuple(
            (
                Cell(text=record.value),
                Cell(text=quantity.value),
                Cell(text=show_number(state.runs[-1].values[record, quantity], 3, signed=True)),
                Cell(text=show_number(_uncertainty(state, number), 3)),
                Cell(text=show_number(chart.limits.centre, 3, signed=True) if chart else ABSENT),
                Cell(text=show_interval(chart.limits.low, chart.limits.high, 3) if chart else ABSENT),
                Cell(text="; ".join(_rules_at(chart, len(chart.points) - 1)) or "none" if chart else ABSENT),
            )
            for number, ((record, quantity), chart) in enumerate(zip(state.quantities, charts, strict=True))
        ),
        empty="No run was charted yet.",
    )


def last_runs_grid(state: ProcessorState) -> Grid:
    """The last runs of a processor, newest first, with the rules that each broke."""
    shown = range(len(state.runs) - 1, max(-1, len(state.runs) - 1 - _LAST_RUNS), -1)
    return Grid(
        caption=f"Last runs of processor {state.processor.name}, newest first",
        columns=(
            Column(head="run", keep=True),
            Column(head="processed on", keep=True),
            Column(head="base period"),
            Column(head="rules broken"),
            Column(head="note"),
        ),
        rows=tuple(
            (
                Cell(text=state.runs[place].run, tone="strong"),
                Cell(text=state.runs[place].processed_on),
                Cell(text=_base_word(state, place)),
                Cell(text="; ".join(broken_rules(state, place)) or ("none" if _charted(state, place) else ABSENT)),
                Cell(text=_note(state.runs[place])),
            )
            for place in shown
        ),
        empty="No run was charted yet.",
        left_out=len(state.runs) - len(shown),
    )


def broken_rules(state: ProcessorState, place: int) -> tuple[str, ...]:
    """The rules that a run of the processor's line breaks, each with the quantities it is broken by."""
    if state.chart is None or not _charted(state, place):
        return ()
    found: dict[str, list[ChartedQuantity]] = {}
    for quantity, chart in zip(state.quantities, state.chart.charts, strict=True):
        for rule in _rules_at(chart, place - state.chart.start):
            found.setdefault(rule, []).append(quantity)
    return tuple(f"{rule}: {quantities_words(broken)}" for rule, broken in found.items())


def limits_words(state: ProcessorState) -> str:
    """How the limits of a processor's charts were set, and how often they are passed by chance."""
    action = state.processor.action_density
    fixed = f"; action limits ± {action:g} density" if action is not None else ""
    if state.chart is None or not state.chart.charts:
        return f"none yet: they need {state.processor.baseline_runs} good runs{fixed}"
    basis = state.chart.charts[0].limits.basis.replace("points", "runs")
    often = show_number(1.0 / state.chart.false_alarm, 0)
    return f"{basis}; a steady process passes one of the {_all_charts(state)} about once in {often} runs{fixed}"


def state_json(state: ProcessorState) -> dict[str, Any]:
    """A processor at one run, as plain values."""
    chart = state.chart
    limits = [one.limits for one in chart.charts] if chart else []
    return {
        "processor": state.processor.name,
        "process": state.processor.process,
        "run": state.run,
        "processed_on": state.runs[-1].processed_on if state.runs else None,
        "state": state.standing.value,
        "why": state.why,
        "warnings": list(state.warnings),
        "limits_set_by": limits_words(state),
        "baseline": [state.runs[place].run for place in chart.baseline] if chart else [],
        "excluded": [state.runs[place].run for place in chart.excluded] if chart else [],
        "charts": [
            {
                "record": record.value,
                "quantity": quantity.value,
                "value": state.runs[-1].values[record, quantity],
                "standard_uncertainty": None if math.isnan(u := _uncertainty(state, number)) else u,
                "centre": limits[number].centre if limits else None,
                "low": limits[number].low if limits else None,
                "high": limits[number].high if limits else None,
                "sigma": limits[number].sigma if limits else None,
            }
            for number, (record, quantity) in enumerate(state.quantities)
        ],
    }


def _sign(state: ProcessorState) -> str:
    return f"{STANDING_SIGNS[state.standing]} {state.standing.value}"


def _all_charts(state: ProcessorState) -> str:
    return show_count(len(state.quantities), "chart")


def _uncertainty(state: ProcessorState, number: int) -> float:
    return state.points[number].standard_uncertainty if state.points else math.nan


def _rules_at(chart: Chart, index: int) -> list[str]:
    """Those broken there; of a point beyond a limit only that."""
    rules = [found.rule for found in chart.breaks if found.index == index]
    return [rule for rule in rules if rule.startswith(BEYOND)] or rules


def _charted(state: ProcessorState, place: int) -> bool:
    return bool(state.chart and state.chart.charts and place >= state.chart.start)


def _base_word(state: ProcessorState, place: int) -> str:
    if state.chart is None or place < state.chart.start:
        return "earlier"
    if place in state.chart.excluded:
        return "left out"
    return "sets limits" if place in state.chart.baseline else "after"


def _note(run: ProcessorRun) -> str:
    return "; ".join(part for part in ("adjusted before it" if run.adjusted else "", run.note) if part)
