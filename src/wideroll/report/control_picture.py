"""A quantity's charts across rolls: a panel each, rolls in the order of coating."""

from collections.abc import Sequence
from typing import Final

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from wideroll.control.model import Chart, CusumChart
from wideroll.report.control_grids import Spell, control_words, is_limit, panel_decimals, rolls_words, spells_of
from wideroll.report.labels import stagger
from wideroll.report.quantities import show_number
from wideroll.report.svg import slug, to_svg
from wideroll.report.theme import AIM, FIGURE_WIDTH_IN, INK, MUTED, PAPER, RECORDS, SMALL_PT, TEXT_PT, drawing
from wideroll.sensitometry.model import Record
from wideroll.workflow.control_model import ControlPanel, ControlView, RecordChanges

__all__ = ["draw_control"]

_LEFT_IN: Final = 0.85
_RIGHT_IN: Final = 0.12
_TOP_IN: Final = 0.3
_BELOW_IN: Final = 0.62
_PANEL_IN: Final = 1.5
_GAP_IN: Final = 0.12
_WIDE_IN: Final = FIGURE_WIDTH_IN - _LEFT_IN - _RIGHT_IN
_STRIP: Final = 0.17
"""Share of a panel above and below its points, each kept for two rows of words."""
_LETTER_IN: Final = 0.047
"""Width of a letter of the words in a panel, on the safe side."""
_WORDS_PT: Final = SMALL_PT - 0.5
_LIMIT: Final = (0.0, (5.0, 2.0))
_FAR: Final = 0.75
"""Points farther beyond a limit than this share of the way between the limits stand at the border."""
_MOST_LONE: Final = 150
"""With more rolls a marker for each would only blot the line."""
_KEY: Final = (
    "grey: base period; thin line: centre; dashed: limits; ring: rule broken (words above); "
    "thick line: level; dotted: change (words below)"
)
_SHORT: Final = (
    ("one point above", "above limit"),
    ("one point below", "below limit"),
    ("two of three", "2 of 3 beyond 2 sigma"),
    ("four of five", "4 of 5 beyond 1 sigma"),
    ("eight points in a row more than 1", "8 beyond 1 sigma"),
    ("eight", "8 on one side"),
    ("nine", "9 on one side"),
    ("six points in a row rising", "6 rising"),
    ("six points in a row falling", "6 falling"),
    ("fourteen", "14 up and down"),
    ("fifteen", "15 within 1 sigma"),
    ("the sum above", "sum above beyond"),
    ("the sum below", "sum below beyond"),
)


def draw_control(view: ControlView, *, key: str = "") -> str:
    """The charts as SVG.

    Each panel has the centre (thin line), limits (dashed; stepped where they differ from roll to roll), the base
    period (grey behind), a ring about each roll that broke a rule, with words in the strip above for the last roll of
    each such spell, and the levels between lasting changes (thick line); where one may have begun is hatched, with
    what was noted there in the strip below. A point far off stands at the border, its value beside it. Words that
    find no room are left to the table.

    Args:
        view: of one quantity.
        key: prefix of the ids in the SVG; made from the quantity's name unless given.
    """
    with drawing():
        count = len(view.panels)
        height = _TOP_IN + count * _PANEL_IN + (count - 1) * _GAP_IN + _BELOW_IN
        figure = Figure(figsize=(FIGURE_WIDTH_IN, height))
        for row, panel in enumerate(view.panels):
            bottom = height - _TOP_IN - (row + 1) * _PANEL_IN - row * _GAP_IN
            axes = figure.add_axes(
                (_LEFT_IN / FIGURE_WIDTH_IN, bottom / height, _WIDE_IN / FIGURE_WIDTH_IN, _PANEL_IN / height)
            )
            _draw_panel(axes, view, panel)
            axes.tick_params(labelbottom=row == count - 1, length=3, pad=2)
        head = f"{view.what}, {view.product}: {rolls_words(view)}"
        figure.text(_LEFT_IN / FIGURE_WIDTH_IN, 1.0 - 0.19 / height, head, fontsize=TEXT_PT, color=INK)
        for line, text in enumerate((_KEY, f"limits: {view.limits_set_by}")):
            figure.text(
                0.1 / FIGURE_WIDTH_IN, (0.08 + 0.15 * (1 - line)) / height, text, fontsize=SMALL_PT, color=MUTED
            )
        return to_svg(
            figure,
            key=key or f"control-{slug(view.what)}",
            title=f"Control charts of {view.what}",
            description=control_words(view),
        )


def _draw_panel(axes: Axes, view: ControlView, panel: ControlPanel) -> None:
    chart = panel.chart
    colour, marker = _style(panel)
    if view.base is not None:
        axes.axvspan(view.base[0] - 0.5, view.base[1] + 0.5, facecolor=AIM, alpha=0.13, linewidth=0, zorder=0.5)
    if isinstance(chart, CusumChart):
        low, high = _draw_sums(axes, chart, colour)
    else:
        low, high = _draw_points(axes, panel, chart, (colour, marker))
    # the strips for words lie beyond the points and limits
    strip = ((high - low) or 1.0) * (_STRIP + 0.06) / (1.0 - 2.0 * _STRIP)
    axes.set_ylim(low - strip, high + strip)
    axes.set_yticks([tick for tick in axes.get_yticks() if low - 0.3 * strip <= tick <= high + 0.3 * strip])
    axes.set_xlim(-1.0, len(view.rolls))
    axes.grid(visible=True, axis="y")
    axes.set_ylabel("\n".join(part for part in (panel.name, panel.unit) if part), labelpad=3, fontsize=SMALL_PT)
    axes.yaxis.set_label_coords(-(_LEFT_IN - 0.36) / _WIDE_IN, 0.5)
    axes.tick_params(axis="y", labelsize=SMALL_PT - 0.5)
    _say_broken(axes, view, panel)
    _show_changes(axes, view, panel)
    _name_rolls(axes, view.rolls)


def _style(panel: ControlPanel) -> tuple[str, str]:
    record = panel.record.split(" ")[0]
    if record in {one.value for one in Record}:
        return RECORDS[Record(record)].colour, RECORDS[Record(record)].marker
    return INK, "o"


def _draw_points(axes: Axes, panel: ControlPanel, chart: Chart, style: tuple[str, str]) -> tuple[float, float]:
    colour, marker = style
    count = len(chart.points)
    places = range(panel.start, panel.start + count)
    low, high = _window(chart)
    shown = [min(max(point, low), high) for point in chart.points]
    axes.plot(places, shown, color=colour, linewidth=0.6, zorder=3)
    if count <= _MOST_LONE:
        axes.plot(places, shown, linestyle="", marker=marker, markersize=2.6, color=colour, zorder=4)
    each = chart.each or (chart.limits,) * count
    for name, style_, width in (("centre", "-", 0.6), ("low", _LIMIT, 0.8), ("high", _LIMIT, 0.8)):
        line = [getattr(one, name) for one in each]
        steps = [place + side for place in places for side in (-0.5, 0.5)]
        axes.plot(
            steps, [value for value in line for _ in (0, 1)], color=INK, linewidth=width, linestyle=style_, zorder=2
        )
    _ring(axes, panel, chart, shown)
    ends = [*shown, *(one.low for one in each), *(one.high for one in each)]
    return min(ends), max(ends)


def _window(chart: Chart) -> tuple[float, float]:
    """Between these points stand where they are; a point farther off, which would flatten the rest, at the border."""
    each = chart.each or (chart.limits,)
    low, high = min(one.low for one in each), max(one.high for one in each)
    room = _FAR * ((high - low) or max(map(abs, chart.points), default=1.0))
    return low - room, high + room


def _draw_sums(axes: Axes, chart: CusumChart, colour: str) -> tuple[float, float]:
    """The sum above upwards, the one below downwards, as they are read."""
    count = len(chart.above)
    below = [-value for value in chart.below]
    for sums, line in ((chart.above, "-"), (below, (0.0, (3.0, 1.0)))):
        axes.plot(range(count), sums, color=colour, linewidth=0.9, linestyle=line, zorder=3)
    axes.plot([-0.5, count - 0.5], [0.0, 0.0], color=INK, linewidth=0.6, zorder=2)
    for limit in (-chart.decision, chart.decision):
        axes.plot([-0.5, count - 0.5], [limit, limit], color=INK, linewidth=0.8, linestyle=_LIMIT, zorder=2)
    for signal in chart.signals:
        sums = chart.above if signal.upwards else below
        axes.plot([signal.index], [sums[signal.index]], linestyle="", marker="o", markersize=7.0,
                  markerfacecolor="none", markeredgecolor=INK, markeredgewidth=1.2, zorder=7)  # fmt: skip
    return -max(chart.decision, *chart.below), max(chart.decision, *chart.above)


def _ring(axes: Axes, panel: ControlPanel, chart: Chart, shown: Sequence[float]) -> None:
    """Thick about points beyond a limit, thin about those of a run rule."""
    beyond = {found.index for found in chart.breaks if is_limit(found.rule)}
    others = {found.index for found in chart.breaks} - beyond
    for places, size, width in ((beyond, 7.0, 1.2), (others, 5.5, 0.6)):
        axes.plot(
            [panel.start + place for place in sorted(places)],
            [shown[place] for place in sorted(places)],
            linestyle="",
            marker="o",
            markersize=size,
            markerfacecolor="none",
            markeredgecolor=INK,
            markeredgewidth=width,
            zorder=7,
        )


def _say_broken(axes: Axes, view: ControlView, panel: ControlPanel) -> None:
    """Words above, each with a line to the last point of its spell; those beyond a limit get room first."""
    spells = sorted(spells_of(panel), key=lambda spell: (spell.beyond, len(spell.places)), reverse=True)
    words = {panel.start + spell.places[-1]: [_short(spell)] for spell in spells}
    placed = _with_room(list(words.items()), len(view.rolls))
    for place, text, row in placed:
        axes.annotate(
            text,
            (place, _height_at(panel, place)),
            xycoords="data",
            xytext=(_within(place, text, len(view.rolls)), 0.985 - 0.09 * row),
            textcoords=axes.get_xaxis_transform(),
            ha="center",
            va="top",
            fontsize=_WORDS_PT,
            color=INK,
            arrowprops={"arrowstyle": "-", "linewidth": 0.4, "color": MUTED, "shrinkA": 0, "shrinkB": 3},
            bbox={"facecolor": PAPER, "edgecolor": "none", "pad": 0.3, "alpha": 0.85},
            zorder=8,
        )


def _height_at(panel: ControlPanel, place: int) -> float:
    chart, index = panel.chart, place - panel.start
    if isinstance(chart, CusumChart):
        return chart.above[index] if chart.above[index] >= chart.below[index] else -chart.below[index]
    low, high = _window(chart)
    return min(max(chart.points[index], low), high)


def _short(spell: Spell) -> str:
    rule = spell.rules[0][0]
    word = next((short for begin, short in _SHORT if rule.startswith(begin)), rule)
    count, last, chart = len(spell.places), spell.places[-1], spell.panel.chart
    if not isinstance(chart, CusumChart):
        low, high = _window(chart)
        if not low <= chart.points[last] <= high:
            word = f"{word}: {show_number(chart.points[last], panel_decimals(spell.panel))}"
    return word if count == 1 else f"{word} …, {count} rolls" if len(spell.rules) > 1 else f"{word}, {count} rolls"


def _show_changes(axes: Axes, view: ControlView, panel: ControlPanel) -> None:
    of = next((one for one in view.changes if one.record == panel.record), None)
    if of is None or not of.match.changes or panel.start or not _charts_values(panel):
        return
    _draw_levels(axes, of, len(view.rolls))
    words: list[tuple[int, list[str]]] = []
    for one in of.match.changes:
        change = one.change
        axes.axvspan(
            change.first - 0.5, change.last - 0.5, facecolor="none", edgecolor=MUTED, hatch="////", linewidth=0,
            alpha=0.4, zorder=0.6,
        )  # fmt: skip
        axes.axvline(change.at - 0.5, color=INK, linewidth=0.9, linestyle=":", zorder=2)
        noted = ", ".join(f"{event.kind} {event.name}" for event in one.events) or "nothing noted"
        words.append((change.at, [noted]))
    for place, text, row in _with_room(words, len(view.rolls)):
        axes.text(
            _within(place, text, len(view.rolls)),
            0.015 + 0.09 * row,
            text,
            transform=axes.get_xaxis_transform(),
            ha="center",
            va="bottom",
            fontsize=_WORDS_PT,
            color=INK,
            bbox={"facecolor": PAPER, "edgecolor": "none", "pad": 0.3, "alpha": 0.85},
            zorder=8,
        )


def _charts_values(panel: ControlPanel) -> bool:
    """Whether the panel's points are the values whose level is told."""
    return not isinstance(panel.chart, CusumChart) and not panel.name.startswith(("together", "range", "mean"))


def _draw_levels(axes: Axes, of: RecordChanges, count: int) -> None:
    borders = [0, *(change.at for change in of.found.changes), count]
    for start, end, level in zip(borders, borders[1:], of.found.levels, strict=False):
        axes.plot([start - 0.5, end - 0.5], [level, level], color=MUTED, linewidth=1.8, alpha=0.7, zorder=2.5)


def _with_room(words: Sequence[tuple[int, Sequence[str]]], count: int) -> list[tuple[int, str, int]]:
    """Those that find room in one of two rows, with their row; the first given are placed first."""
    kept: list[tuple[int, str]] = []
    for place, several in words:
        trial = [*kept, (place, _cut("; ".join(several)))]
        if None not in _rows(trial, count):
            kept = trial
    return [(place, text, row or 0) for (place, text), row in zip(kept, _rows(kept, count), strict=True)]


def _rows(words: Sequence[tuple[int, str]], count: int) -> tuple[int | None, ...]:
    return stagger(
        [_within(place, text, count) for place, text in words], [_width(text, count) for _, text in words], rows=2
    )


def _cut(text: str, most: int = 60) -> str:
    return text if len(text) <= most else f"{text[: most - 1]}…"


def _width(text: str, count: int) -> float:
    """In rolls."""
    return (len(text) * _LETTER_IN + 0.08) * (count + 1) / _WIDE_IN


def _within(place: int, text: str, count: int) -> float:
    """Where the words' middle stands so that they don't leave the panel."""
    half = _width(text, count) / 2.0
    return min(max(float(place), -1.0 + half), count - half)


def _name_rolls(axes: Axes, rolls: Sequence[str]) -> None:
    step = max(1, -(-len(rolls) // 8))
    ticks = [place for place in range(len(rolls) - 1, -1, -step) if place > 1 or place == len(rolls) - 1]
    axes.set_xticks(ticks, [rolls[place] for place in ticks], ha="center")
