"""The whole roll on one page: what was found where, what isn't released, and what nobody looked at."""

from collections.abc import Sequence
from itertools import pairwise
from typing import Any, Final

from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from wideroll.release.model import RegionVerdict, Verdict
from wideroll.report.canvas import (
    Flag,
    arrange_flags,
    box,
    draw_band,
    draw_flags,
    flags_height_in,
    stretch_ratio,
    web_axes,
)
from wideroll.report.map_marks import draw_marks, draw_series, draw_streaks
from wideroll.report.quantities import show_number, show_share
from wideroll.report.svg import slug, to_svg
from wideroll.report.theme import (
    INK,
    MUTED,
    PAPER,
    SMALL_PT,
    UNSEEN_HATCH,
    VERDICTS,
    drawing,
)
from wideroll.roll import Extent, Unseen, union_area_m2, unseen_within
from wideroll.workflow.model import Assessment

__all__ = ["draw_roll_map", "roll_map_caption", "unseen_parts"]

_LABEL_SHARE: Final = 0.06
"""Of the roll's length that the name of a sheet takes; nearer together, only its last word is written."""
_HEIGHT_IN: Final = 2.75
_MARGIN_IN: Final = 0.05
_BELOW_IN: Final = 0.95
_BAND_IN: Final = 0.17
_LABEL_ROWS: Final = 4
_LEAST_HATCHED_MM: Final = 12.0
_THIN_PT: Final = 2.6
_THIN_DASH: Final = (0.0, (0.7, 0.7))
_THIN_LABEL: Final = "not looked at, narrow"
_LAYER: Final = {Verdict.RELEASE: 0, Verdict.HOLD: 1, Verdict.CUT_OUT: 2, Verdict.REJECT: 3}

_LEGEND: Final[dict[str, Any]] = {
    "loc": "upper left",
    "bbox_to_anchor": (-0.02, -0.155),
    "ncols": 5,
    "handlelength": 1.8,
    "columnspacing": 1.2,
    "handletextpad": 0.5,
    "labelspacing": 0.45,
    "borderaxespad": 0.0,
}


def draw_roll_map(assessment: Assessment, *, key: str = "") -> str:
    """The roll map as SVG.

    Along (m) to the right from head to tail, across (mm) upwards from the datum edge, not to one scale. Marks by kind
    and size (above 2,000 as squares that grow with the number in a cell), streaks, members of repeating series, sample
    sheets, batches, splices, parts that aren't released (numbered, hatched, with the word) and parts not looked at.

    Args:
        assessment: of the roll.
        key: prefix of the ids in the SVG, its own for each figure of a page; made from the roll's name unless given.
    """
    whole = assessment.whole
    arranged = _arranged(assessment)
    with drawing():
        figure, axes = web_axes(
            whole,
            height_in=_HEIGHT_IN,
            above_in=_BAND_IN + flags_height_in(arranged) + _MARGIN_IN,
            below_in=_BELOW_IN,
            datum_edge=assessment.plant.datum_edge,
        )
        _draw_regions(axes, assessment)
        unseen = _draw_unseen(axes, assessment)
        draw_flags(axes, whole, arranged, first_in=_BAND_IN)
        _draw_batches(axes, assessment)
        _draw_splices(axes, assessment)
        keys: list[Artist] = [
            *draw_marks(axes, assessment),
            *draw_streaks(axes, assessment),
            *draw_series(axes, assessment),
        ]
        keys += [*_draw_sheets(axes, assessment), *_verdict_keys(assessment), *unseen]
        axes.legend(handles=keys, **_LEGEND)
        return to_svg(
            figure,
            key=key or f"map-{slug(assessment.card.name)}",
            title=f"Map of roll {assessment.card.name}",
            description=roll_map_caption(assessment),
        )


def roll_map_caption(assessment: Assessment) -> str:
    """What the map shows, in one or two sentences, and its scales."""
    whole, decision = assessment.whole, assessment.decision
    regions = [region.extent for region in decision.regions]
    if regions:
        share = union_area_m2(part for box_ in regions if (part := box_.meet(whole))) / whole.area_m2
        parts = "1 part is" if len(regions) == 1 else f"{len(regions)} parts are"
        finding = f"{parts} not released, {show_share(share)} of the roll."
    elif decision.verdict is Verdict.RELEASE:
        finding = "No part of the roll is held, cut out or rejected."
    else:
        finding = f"The verdict “{decision.verdict.value}” holds for the whole roll."
    ratio = stretch_ratio(whole, height_in=_HEIGHT_IN)
    scale = (
        f"Not to one scale: across is drawn {show_number(ratio, 0)} times larger than along."
        if ratio >= 1.5  # noqa: PLR2004  # below that nobody would be misled
        else "Across and along are drawn to nearly one scale."
    )
    return f"{finding} {_seen_sentence(assessment)} {scale}"


def unseen_parts(assessment: Assessment) -> tuple[Unseen, ...]:
    """The parts of the roll the scanner did not look at, the whole roll when there is no scan."""
    whole = assessment.whole
    if assessment.scan is None:
        return (Unseen(extent=whole, why="the roll was not scanned"),)
    coverage = assessment.scan.coverage
    listed = tuple(
        Unseen(extent=part, why=hole.why) for hole in coverage.unseen if (part := hole.extent.meet(whole)) is not None
    )
    looked = [*coverage.seen, *(hole.extent for hole in coverage.unseen)]
    return listed + unseen_within(whole, looked, "outside the scan")


def _seen_sentence(assessment: Assessment) -> str:
    if assessment.scan is None:
        return "The roll was not scanned: nothing is known of marks."
    count = assessment.scan.marks.height
    share = assessment.scan.coverage.share(assessment.whole)
    marks = "No mark was" if count == 0 else "1 mark was" if count == 1 else f"{show_number(count)} marks were"
    return f"{marks} found in the {show_share(share)} of it that was scanned."


def _draw_unseen(axes: Axes, assessment: Assessment) -> list[Artist]:
    """The parts not looked at; those too narrow to be seen at this scale are drawn as wide as the eye needs.

    Gives the keys for the legend.
    """
    kinds: set[bool] = set()
    for part in unseen_parts(assessment):
        thin = part.extent.width_mm < _LEAST_HATCHED_MM
        kinds.add(thin)
        if thin:
            _draw_thin(axes, part.extent, assessment.whole)
        else:
            axes.add_patch(
                box(part.extent, facecolor="#eef0f2", edgecolor=MUTED, hatch=UNSEEN_HATCH, linewidth=0.6, zorder=3)
            )
    if assessment.scan is None:
        axes.text(
            0.5,
            0.5,
            "not looked at: no scan",
            transform=axes.transAxes,
            ha="center",
            va="center",
            fontsize=11,
            bbox={"facecolor": PAPER, "edgecolor": MUTED, "linewidth": 0.6, "pad": 4},
            zorder=8,
        )
    keys: list[Artist] = [_patch("not looked at", MUTED, UNSEEN_HATCH)] if False in kinds else []
    if True in kinds:
        keys.append(Line2D([], [], color=MUTED, linewidth=_THIN_PT, linestyle=_THIN_DASH, label=_THIN_LABEL))
    return keys


def _draw_thin(axes: Axes, extent: Extent, whole: Extent) -> None:
    half_mm = _THIN_PT / 2.0 / (72.0 * _HEIGHT_IN) * whole.width_mm
    middle = (extent.across_from_mm + extent.across_to_mm) / 2.0
    middle = min(max(middle, whole.across_from_mm + half_mm), whole.across_to_mm - half_mm)
    ends = [extent.along_from_m, extent.along_to_m]
    for colour, dash in ((PAPER, "-"), (MUTED, _THIN_DASH)):
        axes.plot(ends, [middle] * 2, color=colour, linewidth=_THIN_PT, linestyle=dash, zorder=3, solid_capstyle="butt")


def _arranged(assessment: Assessment) -> tuple[Flag, ...]:
    items = [
        (
            _clear_along(region, assessment.decision.regions),
            region.extent.across_to_mm,
            f"{number} {region.verdict.value}",
            VERDICTS[region.verdict].colour,
        )
        for number, region in enumerate(assessment.decision.regions, start=1)
    ]
    return arrange_flags(assessment.whole, items, rows=_LABEL_ROWS)


def _clear_along(region: RegionVerdict, regions: Sequence[RegionVerdict]) -> float:
    """Where along a leader to the region's upper edge meets it and no worse part: the middle of its longest stretch."""
    mine = region.extent
    ends = [mine.along_from_m, mine.along_to_m]
    over = [
        other.extent
        for other in regions
        if _LAYER[other.verdict] > _LAYER[region.verdict]
        and other.extent.across_from_mm < mine.across_to_mm <= other.extent.across_to_mm
    ]
    ends += [
        place
        for worse in over
        for place in (worse.along_from_m, worse.along_to_m)
        if mine.along_from_m < place < mine.along_to_m
    ]
    free = [
        (start, end)
        for start, end in pairwise(sorted(ends))
        if not any(worse.along_from_m <= start and end <= worse.along_to_m for worse in over)
    ]
    start, end = max(free, key=lambda span: span[1] - span[0], default=(mine.along_from_m, mine.along_to_m))
    return (start + end) / 2.0


def _draw_regions(axes: Axes, assessment: Assessment) -> None:
    """The worse lies over the milder, and hides it: what is cut out isn't on hold too."""
    for region in assessment.decision.regions:
        style = VERDICTS[region.verdict]
        axes.add_patch(
            box(
                region.extent,
                facecolor=style.tint,
                edgecolor=style.colour,
                hatch=style.hatch,
                linewidth=0.9,
                zorder=2.0 + _LAYER[region.verdict] / 10.0,
            )
        )


def _draw_batches(axes: Axes, assessment: Assessment) -> None:
    batches = assessment.card.batches
    spans = [(batch.along_from_m, batch.along_to_m, (f"batch {batch.name}", batch.name)) for batch in batches]
    draw_band(axes, assessment.whole, spans, height_in=_BAND_IN)
    for batch in batches[1:]:
        axes.axvline(batch.along_from_m, color=INK, linewidth=0.7, linestyle=(0.0, (1.0, 2.0)), zorder=4)


def _draw_splices(axes: Axes, assessment: Assessment) -> None:
    transform = axes.get_xaxis_transform()
    for splice in assessment.card.splices_m:
        axes.axvline(splice, color=INK, linewidth=1.6, zorder=5)
        axes.axvline(splice, color=PAPER, linewidth=0.6, zorder=5)
        axes.annotate(
            "splice",
            (splice, 0.02),
            xycoords=transform,
            xytext=(2, 0),
            textcoords="offset points",
            fontsize=SMALL_PT,
            rotation=90,
            va="bottom",
            bbox={"facecolor": PAPER, "edgecolor": "none", "pad": 0.4},
            zorder=8,
        )


def _draw_sheets(axes: Axes, assessment: Assessment) -> list[Patch]:
    starts = sorted(sheet.extent.along_from_m for sheet in assessment.examination.sheets)
    room_m = _LABEL_SHARE * assessment.whole.length_m
    for sheet in assessment.examination.sheets:
        start = sheet.extent.along_from_m
        crowded = any(start < other < start + room_m for other in starts)
        axes.add_patch(
            box(sheet.extent, facecolor="none", edgecolor=INK, linewidth=1.0, linestyle=(0.0, (3.0, 1.5)), zorder=7)
        )
        axes.annotate(
            sheet.name.split()[-1] if crowded else sheet.name,
            (start, sheet.extent.across_to_mm),
            xytext=(1, -2),
            va="top",
            textcoords="offset points",
            fontsize=SMALL_PT,
            bbox={"facecolor": PAPER, "edgecolor": "none", "pad": 0.3},
            zorder=8,
        )
    if not assessment.examination.sheets:
        return []
    return [Patch(facecolor="none", edgecolor=INK, linewidth=1.0, linestyle=(0.0, (3.0, 1.5)), label="sample sheet")]


def _verdict_keys(assessment: Assessment) -> list[Patch]:
    present = {region.verdict for region in assessment.decision.regions}
    return [
        _patch(verdict.value, VERDICTS[verdict].colour, VERDICTS[verdict].hatch, VERDICTS[verdict].tint)
        for verdict in Verdict
        if verdict in present
    ]


def _patch(label: str, colour: str, hatch: str, tint: str = "#eef0f2") -> Patch:
    return Patch(facecolor=tint, edgecolor=colour, hatch=hatch, linewidth=0.7, label=label)
