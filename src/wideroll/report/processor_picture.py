"""The control charts of a processor: a row for each quantity, a column for each record, runs in the order of time."""

from typing import Final

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from wideroll.control.model import Chart
from wideroll.report.processor_grids import BEYOND, limits_words
from wideroll.report.svg import slug, to_svg
from wideroll.report.theme import AIM, FIGURE_WIDTH_IN, INK, MUTED, PAPER, RECORDS, SMALL_PT, drawing
from wideroll.sensitometry.model import Record
from wideroll.sensitometry.process_points import ProcessQuantity
from wideroll.workflow.processor_model import ProcessorState, Standing

__all__ = ["draw_processor", "processor_caption"]

_LEFT_IN: Final = 0.82
_RIGHT_IN: Final = 0.2
_TOP_IN: Final = 0.26
_BELOW_IN: Final = 0.62
_PANEL_IN: Final = 1.25
_GAP_IN: Final = 0.1
_LEAST_REACH: Final = 0.01
_MARGIN: Final = 0.12
_KEY_IN: Final = 0.1
_KEY: Final = (
    "grey: base period; hollow: left out of it; dashed: limits; dotted: adjusted; thick ring: beyond a limit; "
    "thin ring: a run rule, which warns"
)
_LIMIT: Final = (0.0, (5.0, 2.0))
_SHORT: Final = (
    ("one point above", "above limit"),
    ("one point below", "below limit"),
    ("two of three", "2 of 3"),
    ("four of five", "4 of 5"),
    ("eight points", "8 in a row"),
)
"""Words that fit a small chart; the caption and the tables have them in full."""


def draw_processor(state: ProcessorState, *, key: str = "") -> str:
    """The charts as SVG.

    Each has the centre (thin line), the limits (dashed), the base period (grey behind), the runs in the order of time,
    those left out of the base period hollow, the newest with its standard uncertainty where known, and a ring with
    words about each run that broke a rule: thick where it lies beyond a limit, thin for a rule that warns. Where the
    processor was adjusted stands a dotted line; limits hold from there on.

    Args:
        state: of the processor at its newest run.
        key: prefix of the ids in the SVG; made from the processor's name unless given.
    """
    records = tuple(dict.fromkeys(record for record, _ in state.quantities))
    kinds = tuple(dict.fromkeys(quantity for _, quantity in state.quantities))
    with drawing():
        height = _TOP_IN + max(1, len(kinds)) * (_PANEL_IN + _GAP_IN) + _BELOW_IN
        figure = Figure(figsize=(FIGURE_WIDTH_IN, height))
        for row, kind in enumerate(kinds):
            for column, record in enumerate(records):
                axes = _axes(figure, row, column, len(records))
                _draw_chart(axes, state, (record, kind))
                _finish(axes, state, kind)
                if column:
                    axes.tick_params(labelleft=False)
                else:
                    axes.set_ylabel(f"{kind.value},\nfrom aim", labelpad=2)
                if row == 0:
                    axes.set_title(RECORDS[record].label, color=RECORDS[record].colour, fontsize=SMALL_PT, pad=4)
                axes.tick_params(labelbottom=row == len(kinds) - 1, length=3, pad=2)
        for line, text in enumerate((_KEY, f"limits: {limits_words(state)}")):
            bottom = (0.08 + 0.15 * (1 - line)) / height
            figure.text(_KEY_IN / FIGURE_WIDTH_IN, bottom, text, fontsize=SMALL_PT, color=MUTED)
        return to_svg(
            figure,
            key=key or f"processor-{slug(state.processor.name)}",
            title=f"Control charts of processor {state.processor.name}",
            description=processor_caption(state),
        )


def processor_caption(state: ProcessorState) -> str:
    """The finding in words, how the limits were set, and the rules broken by the newest run."""
    at = f" at run {state.run}" if state.run else ""
    why = f": {state.why}" if state.why else ""
    sentences = [f"Processor {state.processor.name}{at} is {_standing_words(state)}{why}."]
    sentences += [f"Warning: {one}." for one in state.warnings]
    sentences.append(f"Limits: {limits_words(state)}. Run rules warn and rule nothing out.")
    return " ".join(sentences)


def _standing_words(state: ProcessorState) -> str:
    if state.standing in {Standing.TOO_FEW, Standing.NOT_READ}:
        return f"not judged ({state.standing.value})"
    return state.standing.value


def _axes(figure: Figure, row: int, column: int, columns: int) -> Axes:
    height = figure.get_figheight()
    width = (FIGURE_WIDTH_IN - _LEFT_IN - _RIGHT_IN - _GAP_IN * (columns - 1)) / columns
    left = _LEFT_IN + column * (width + _GAP_IN)
    bottom = height - _TOP_IN - (row + 1) * _PANEL_IN - row * _GAP_IN
    return figure.add_axes((left / FIGURE_WIDTH_IN, bottom / height, width / FIGURE_WIDTH_IN, _PANEL_IN / height))


def _draw_chart(axes: Axes, state: ProcessorState, which: tuple[Record, ProcessQuantity]) -> None:
    style = RECORDS[which[0]]
    number = state.quantities.index(which)
    values = [run.values[which] for run in state.runs]
    places = range(len(values))
    axes.plot(places, values, color=style.colour, linewidth=0.6, zorder=3)
    left_out = state.chart.excluded if state.chart else ()
    for chosen, face in ((False, style.colour), (True, PAPER)):
        shown = [place for place in places if (place in left_out) is chosen]
        axes.plot(
            shown,
            [values[place] for place in shown],
            linestyle="",
            marker=style.marker,
            markersize=2.8,
            markerfacecolor=face,
            markeredgecolor=style.colour,
            markeredgewidth=0.7,
            zorder=5,
        )
    if state.points:
        error = state.points[number].standard_uncertainty
        axes.errorbar(
            [places[-1]], [values[-1]], yerr=[error], color=INK, linestyle="", elinewidth=0.7, capsize=1.5, zorder=4
        )
    if state.chart is None:
        return
    for place, run in enumerate(state.runs):
        if run.adjusted:
            axes.axvline(place - 0.5, color=INK, linewidth=0.8, linestyle=":", zorder=2)
    if state.chart.charts:
        _draw_limits(axes, state, state.chart.charts[number])
        _ring(axes, state.chart.charts[number], state.chart.start)


def _draw_limits(axes: Axes, state: ProcessorState, chart: Chart) -> None:
    if state.chart is None:
        return
    first, last = state.chart.start - 0.5, len(state.runs) - 0.5
    limits = chart.limits
    axes.axvspan(first, state.chart.baseline[-1] + 0.5, facecolor=AIM, alpha=0.13, linewidth=0, zorder=0.5)
    axes.plot([first, last], [limits.centre] * 2, color=INK, linewidth=0.6, zorder=2)
    for limit in (limits.low, limits.high):
        axes.plot([first, last], [limit] * 2, color=INK, linewidth=0.8, linestyle=_LIMIT, zorder=2)


def _ring(axes: Axes, chart: Chart, start: int) -> None:
    """A ring about each run that broke a rule; the words stand at the newest of each rule."""
    said: dict[str, int] = {}
    outside = {found.index for found in chart.breaks if found.rule.startswith(BEYOND)}
    for found in chart.breaks:
        beyond = found.rule.startswith(BEYOND)
        if found.index in outside and not beyond:
            continue
        axes.plot(
            [start + found.index],
            [chart.points[found.index]],
            linestyle="",
            marker="o",
            markersize=8.0 if beyond else 6.5,
            markerfacecolor="none",
            markeredgecolor=INK,
            markeredgewidth=1.3 if beyond else 0.6,
            zorder=7,
        )
        said[next(short for begin, short in _SHORT if found.rule.startswith(begin))] = found.index
    newest: dict[int, list[str]] = {}
    for short, index in said.items():
        newest.setdefault(index, []).append(short)
    for index, shorts in newest.items():
        late = index > len(chart.points) / 2
        axes.annotate(
            ", ".join(shorts),
            (start + index, chart.points[index]),
            xytext=(-7 if late else 7, 0),
            textcoords="offset points",
            ha="right" if late else "left",
            va="center",
            fontsize=SMALL_PT - 1.0,
            color=INK,
            bbox={"facecolor": PAPER, "edgecolor": "none", "pad": 0.4, "alpha": 0.8},
            zorder=8,
        )


def _finish(axes: Axes, state: ProcessorState, kind: ProcessQuantity) -> None:
    """One scale for all records of a quantity, so that they can be compared."""
    numbers = [number for number, (_, quantity) in enumerate(state.quantities) if quantity is kind]
    values = [run.values[state.quantities[number]] for run in state.runs for number in numbers]
    if state.chart and state.chart.charts:
        values += [end for n in numbers for end in _ends(state.chart.charts[n])]
    low, high = min(-_LEAST_REACH, *values), max(_LEAST_REACH, *values)
    axes.set_ylim(low - _MARGIN * (high - low), high + _MARGIN * (high - low))
    axes.set_xlim(-1.0, len(state.runs))
    axes.grid(visible=True, axis="y")
    names = [run.run for run in state.runs]
    step = max(1, len(names) // 3)
    ticks = [place for place in range(len(names) - 1, -1, -step) if place >= step or place == len(names) - 1]
    axes.set_xticks(ticks, [names[place] for place in ticks], ha="center")


def _ends(chart: Chart) -> tuple[float, float]:
    return chart.limits.low, chart.limits.high
