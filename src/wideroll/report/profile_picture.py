"""Departures from aim along and across the roll: strips with intervals, profiles, batch borders and what was found."""

from typing import Final

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.transforms import ScaledTranslation
from numpy.typing import NDArray

from wideroll.report.profile_grids import MEASURES_SHOWN, change_sentences, series_sentences, show_metres
from wideroll.report.svg import to_svg
from wideroll.report.theme import FIGURE_WIDTH_IN, INK, MUTED, PAPER, RECORDS, SMALL_PT, drawing
from wideroll.sensitometry import ChangeKind, Direction, Record
from wideroll.workflow.strip_profiles import SeriesProfiles, StripProfiles

__all__ = ["PROFILES_GUIDE", "draw_profiles", "profiles_caption"]

PROFILES_GUIDE: Final = (
    "Each sign is a strip, its bar the 95 % interval of measurement; signs of several records stand a little apart. "
    "Line: the mean of the strips with the steps and slopes that were found, and only these; band: 95 % interval of "
    "that mean. Across, what was found along is taken off each strip. Upright dashes: batch borders; solid where a "
    "step was found."
)
"""How to read the figure, said once."""

_LEFT_IN: Final = 0.74
_RIGHT_IN: Final = 0.1
_BETWEEN_IN: Final = 0.32
_ALONG_SHARE: Final = 0.68
_PANEL_IN: Final = 1.25
_TITLE_IN: Final = 0.2
_WORDS_IN: Final = 0.135
_AXIS_IN: Final = 0.42
_TOP_IN: Final = 0.18
_LEGEND_IN: Final = 0.22
_APART_PT: Final = 3.2
_ABOVE: Final = 1.08
_BELOW: Final = 1.3
"""Room for the names of batches beneath the data."""
_LETTERS: Final = 132
_LEAST_REACH: Final = {"speed": 0.05, "contrast": 4.0, "minimum density": 0.03}


def draw_profiles(profiles: StripProfiles, *, key: str = "profiles") -> str:
    """Profiles of all measures and records as SVG: along to the left, across to the right, one row a measure.

    Args:
        profiles: the roll's.
        key: prefix of the ids in the SVG, its own for each figure of a page.
    """
    with drawing():
        measures = [measure for measure in MEASURES_SHOWN if _of(profiles, measure)]
        words = {measure: _words(profiles, measure) for measure in measures}
        figure, rows = _axes(measures, {measure: len(lines) for measure, lines in words.items()})
        for measure, (along, across) in rows.items():
            shown = _of(profiles, measure)
            for rank, one in enumerate(shown):
                _draw(along, one, Direction.ALONG, rank - (len(shown) - 1) / 2.0)
                _draw(across, one, Direction.ACROSS, rank - (len(shown) - 1) / 2.0)
            _finish(profiles, measure, along, across)
            _write(along, words[measure])
        _name_borders(profiles, rows[measures[0]][0])
        _legend(figure, _of(profiles, measures[0]))
        last_along, last_across = rows[measures[-1]]
        last_along.set_xlabel("head  ←  along, coated m  →  tail", labelpad=2)
        last_across.set_xlabel("across from datum edge, mm", labelpad=2)
        return to_svg(
            figure, key=key, title="Departures from aim along and across", description=profiles_caption(profiles)
        )


def profiles_caption(profiles: StripProfiles) -> str:
    """The findings in a few sentences."""
    return " ".join(change_sentences(profiles))


def _of(profiles: StripProfiles, measure: str) -> list[SeriesProfiles]:
    return [one for one in profiles.series if one.changes.series.measure == measure]


def _axes(measures: list[str], words: dict[str, int]) -> tuple[Figure, dict[str, tuple[Axes, Axes]]]:
    tall = {measure: _TITLE_IN + _WORDS_IN * words[measure] + _PANEL_IN for measure in measures}
    height = _TOP_IN + sum(tall.values()) + _AXIS_IN + _LEGEND_IN
    figure = Figure(figsize=(FIGURE_WIDTH_IN, height))
    width = FIGURE_WIDTH_IN - _LEFT_IN - _RIGHT_IN - _BETWEEN_IN
    rows: dict[str, tuple[Axes, Axes]] = {}
    top = height - _TOP_IN
    for measure in measures:
        top -= tall[measure]
        places = (
            (_LEFT_IN, width * _ALONG_SHARE),
            (_LEFT_IN + width * _ALONG_SHARE + _BETWEEN_IN, width * (1.0 - _ALONG_SHARE)),
        )
        pair = [
            figure.add_axes((left / FIGURE_WIDTH_IN, top / height, wide / FIGURE_WIDTH_IN, _PANEL_IN / height))
            for left, wide in places
        ]
        rows[measure] = (pair[0], pair[1])
    return figure, rows


def _draw(axes: Axes, one: SeriesProfiles, direction: Direction, rank: float) -> None:
    series = one.changes.series
    factor = MEASURES_SHOWN[series.measure][0]
    style = RECORDS[series.record]
    found = one.along if direction is Direction.ALONG else one.across
    if not found.why:
        low, high = factor * found.low, factor * found.high
        axes.fill_between(found.at, low, high, facecolor=style.colour, alpha=0.10, linewidth=0, zorder=1)
        axes.plot(found.at, factor * found.value, color=style.colour, linestyle=style.line, linewidth=1.1, zorder=3)
    place, values = series.along_m, series.values
    if direction is Direction.ACROSS:
        place, values = series.across_mm, values - _along_found(one)
    half = [1.96 * factor * point.standard_uncertainty for point in series.points]
    before = len(axes.collections), len(axes.lines)
    axes.errorbar(
        place,
        factor * values,
        yerr=half,
        linestyle="",
        marker=style.marker,
        markersize=3.4,
        color=style.colour,
        markeredgecolor=PAPER,
        markeredgewidth=0.3,
        elinewidth=0.7,
        zorder=5,
    )
    _move(axes, before, rank * _APART_PT)


def _along_found(one: SeriesProfiles) -> NDArray[np.float64]:
    """How far the profile along lies from its mean over the strips, at each strip."""
    if one.along.why:
        return np.zeros(len(one.changes.series.points))
    # just after a border is where a strip on it belongs
    level = np.interp(np.nextafter(one.changes.series.along_m, np.inf), one.along.at, one.along.value)
    off: NDArray[np.float64] = level - level.mean()
    return off


def _move(axes: Axes, before: tuple[int, int], points: float) -> None:
    """Shift what was drawn last sideways, by so many points whatever the scale."""
    figure = axes.figure
    shift = ScaledTranslation(points / 72.0, 0.0, figure.dpi_scale_trans)
    for line in axes.lines[before[1] :]:
        line.set_transform(axes.transData + shift)
    for bars in axes.collections[before[0] :]:
        bars.set_transform(axes.transData + shift)


def _finish(profiles: StripProfiles, measure: str, along: Axes, across: Axes) -> None:
    whole, (factor, unit, _) = profiles.whole, MEASURES_SHOWN[measure]
    along.set_xlim(whole.along_from_m, whole.along_to_m)
    across.set_xlim(whole.across_from_mm, whole.across_to_mm)
    reach = _LEAST_REACH[measure]
    for one in _of(profiles, measure):
        for point in one.changes.series.points:
            reach = max(reach, factor * (abs(point.value) + 1.96 * point.standard_uncertainty))
    changed = _changed(profiles, measure)
    for border in profiles.borders:
        solid = border.along_m in changed
        along.axvline(
            border.along_m,
            color=INK,
            linewidth=1.1 if solid else 0.7,
            linestyle="-" if solid else (0, (4, 3)),
            zorder=2,
        )
    for axes in (along, across):
        axes.set_ylim(-_BELOW * reach, _ABOVE * reach)
        axes.axhline(0.0, color=INK, linewidth=0.7, zorder=2)
        axes.grid(visible=True)
        axes.tick_params(length=3, pad=2, labelbottom=measure == list(MEASURES_SHOWN)[-1])
    across.tick_params(labelleft=False)
    named = measure if measure == unit or unit in measure else f"{measure}, {unit}"
    along.set_ylabel(f"{named}\nslower  →" if measure == "speed" else named, labelpad=2)


def _changed(profiles: StripProfiles, measure: str) -> set[float]:
    quiet = {ChangeKind.NONE, ChangeKind.NOT_TESTED, ChangeKind.TREND}
    return {
        change.border.along_m
        for one in _of(profiles, measure)
        for change in one.changes.borders
        if change.kind not in quiet
    }


def _words(profiles: StripProfiles, measure: str) -> list[tuple[str, Record | None]]:
    """The lines above a row: what was found in each record, or that nothing was."""
    lines: list[tuple[str, Record | None]] = []
    for one in _of(profiles, measure):
        for sentence in series_sentences(one.changes):
            lines += [(line, one.changes.series.record) for line in _wrapped(sentence)]
    if lines:
        return lines
    strips = max((len(one.changes.series.points) for one in _of(profiles, measure)), default=0)
    why = next((one.along.why for one in _of(profiles, measure) if one.along.why), "")
    return [(f"No profile: {why}." if why and not strips else "No change found.", None)]


def _wrapped(sentence: str) -> list[str]:
    lines, line = [], ""
    for word in sentence.split(" "):
        if line and len(line) + 1 + len(word) > _LETTERS:
            lines.append(line)
            line = "   "
        line = f"{line} {word}" if line else word
    return [*lines, line]


def _write(axes: Axes, lines: list[tuple[str, Record | None]]) -> None:
    for rank, (text, record) in enumerate(reversed(lines)):
        axes.annotate(
            text,
            (0.0, 1.0),
            xytext=(0.0, 3.0 + rank * _WORDS_IN * 72.0),
            xycoords="axes fraction",
            textcoords="offset points",
            color=RECORDS[record].colour if record else MUTED,
            fontsize=SMALL_PT,
            annotation_clip=False,
        )


def _name_borders(profiles: StripProfiles, axes: Axes) -> None:
    """Where each batch begins and its name, at the foot of the first row; in turn lower and higher."""
    if not profiles.borders:
        return
    starts = [(profiles.whole.along_from_m, profiles.borders[0].before)]
    starts += [(border.along_m, border.after) for border in profiles.borders]
    for rank, (start, name) in enumerate(starts):
        axes.annotate(
            f"batch {name}" if rank == 0 else f"{show_metres(start)} m: batch {name}",
            (start, 0.0),
            xycoords=("data", "axes fraction"),
            xytext=(2.0, 3.0 + 8.0 * (rank % 2)),
            textcoords="offset points",
            fontsize=SMALL_PT,
            color=INK,
        )


def _legend(figure: Figure, shown: list[SeriesProfiles]) -> None:
    handles = []
    for one in shown:
        style = RECORDS[one.changes.series.record]
        (handle,) = figure.axes[0].plot(
            [], [], color=style.colour, linestyle=style.line, marker=style.marker, markersize=3.4, label=style.label
        )
        handles.append(handle)
    figure.legend(handles=handles, loc="lower center", ncols=max(len(handles), 1), handlelength=3.0)
