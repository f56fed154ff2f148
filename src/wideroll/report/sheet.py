"""The decision sheet: one HTML file that says what was decided and why, on screen and on paper."""

from dataclasses import dataclass
from typing import Final

from wideroll.release.model import Verdict
from wideroll.repeats.model import Series
from wideroll.report import (
    cost_grids,
    decision_grids,
    detection_grids,
    dye_grids,
    evidence_grids,
    repeat_grids,
)
from wideroll.report.caution import ROLLER_CAUTION
from wideroll.report.curves import CURVES_GUIDE, curves_caption, curves_grid, draw_curves
from wideroll.report.cut_head import CutHead, status_of, units_of
from wideroll.report.cut_picture import cut_caption, draw_cut
from wideroll.report.cut_words import datum_sentence, work_sentence, worth_sentence
from wideroll.report.cut_yield import losses_grid, yield_grid
from wideroll.report.fold_picture import draw_fold, fold_caption, fold_grid
from wideroll.report.grid import Cell, Column, Grid
from wideroll.report.map_marks import searched_marks
from wideroll.report.matching_words import matching_text
from wideroll.report.page import PageFigure, page_template
from wideroll.report.quantities import show_count, show_interval, show_number, show_quantity, show_share, show_span
from wideroll.report.roll_map import draw_roll_map, roll_map_caption
from wideroll.report.svg import slug
from wideroll.report.theme import VERDICTS
from wideroll.roll import Place
from wideroll.scan.model import ScanResult
from wideroll.sensitometry.model import StripResult
from wideroll.workflow.maker_words import lap_words
from wideroll.workflow.model import Assessment, Batch

__all__ = [
    "CutPart",
    "RepeatPart",
    "curve_figures",
    "cut_head_of",
    "cut_part",
    "map_figure",
    "provenance_grid",
    "render_sheet",
    "repeat_parts",
    "size_words",
    "strips_left_out",
]

_MOST_CURVES: Final = 6


@dataclass(frozen=True, slots=True, kw_only=True)
class CutPart:
    """What a sheet says of the cut."""

    picture: PageFigure
    datum: str
    facts: tuple[str, ...]
    yields: Grid
    losses: Grid


@dataclass(frozen=True, slots=True, kw_only=True)
class RepeatPart:
    """What a sheet says of one series."""

    title: str
    facts: tuple[str, ...]
    candidates: Grid
    figure: PageFigure | None


def render_sheet(assessment: Assessment, *, fingerprint: str = "") -> str:
    """The whole sheet as one self-contained HTML text: no script, no outside address, the same bytes each time.

    What people wrote (notes, names, reasons) is escaped. Parts without evidence are shown as such, not left out.

    Args:
        assessment: of the roll.
        fingerprint: of the inputs, for the block that is signed.
    """
    decision, room = assessment.decision, assessment.strip_room
    every = len(decision.findings) + 1
    return page_template("sheet.html.j2").render(
        roll=assessment.card.name,
        page_foot=f"Roll {assessment.card.name}: {decision.verdict.value}",
        product=assessment.product.name,
        plant=assessment.plant.name,
        verdict=decision.verdict.value,
        style=VERDICTS[decision.verdict],
        styles=VERDICTS,
        why=decision.why,
        on_hold=decision.verdict is Verdict.HOLD,
        released=show_share(decision.released_share),
        size=size_words(assessment),
        criteria=decision_grids.decision_grid(decision),
        all_criteria=decision_grids.decision_grid(decision, most_per_criterion=every, most_released=every),
        regions=decision_grids.regions_grid(decision, assessment.whole),
        coverage=decision_grids.coverage_grid(decision.coverage, assessment.whole),
        detected=detection_grids.detected_grid(assessment.detected),
        costs=None if assessment.costs is None else cost_grids.costs_grid(assessment.costs),
        missing=decision_grids.missing_grid(decision.missing, assessment.whole),
        map=map_figure(assessment),
        curves=curve_figures(assessment),
        curves_guide=CURVES_GUIDE,
        strips=evidence_grids.strips_grid(room.results),
        dyes=dye_grids.dyes_grid(room.results, room.runs) if dye_grids.has_dyes(room.results) else None,
        left_out=strips_left_out(assessment),
        caution=ROLLER_CAUTION,
        runs=evidence_grids.runs_grid(room.runs, room.processors),
        series=repeat_grids.series_grid(assessment.repeats),
        repeats=repeat_parts(assessment),
        sightings=evidence_grids.sightings_grid(assessment.examination.examined),
        matching="" if (found := assessment.examination.matching) is None else matching_text(found),
        cut=cut_part(assessment),
        provenance=provenance_grid(assessment),
        signature=_signature(assessment, fingerprint),
    )


def size_words(assessment: Assessment) -> str:
    """Length and width of the roll."""
    whole = assessment.whole
    return f"{show_number(whole.length_m, 1)} m × {show_number(whole.width_mm, 0)} mm"


def map_figure(assessment: Assessment) -> PageFigure:
    """The roll's map, with marks and streaks in tables."""
    data = [evidence_grids.marks_grid(assessment.scan), evidence_grids.streaks_grid(assessment.scan)]
    if assessment.scan is not None:
        data.append(evidence_grids.worst_marks_grid(assessment.scan.marks))
    return PageFigure(svg=draw_roll_map(assessment), caption=roll_map_caption(assessment), data=tuple(data))


def curve_figures(assessment: Assessment) -> tuple[PageFigure, ...]:
    """The strips that are drawn, against the product's aims."""
    aims = assessment.product.aims
    return tuple(
        PageFigure(
            svg=draw_curves(result, aims, key=f"curves-{rank}"),
            caption=curves_caption(result, aims),
            data=(evidence_grids.measures_grid(result), curves_grid(result, aims)),
        )
        for rank, result in enumerate(_chosen_strips(assessment), start=1)
    )


def strips_left_out(assessment: Assessment) -> str:
    """How many strips aren't drawn, and by what the others were chosen; empty where all are."""
    drawn, count = len(_chosen_strips(assessment)), len(assessment.strip_room.results)
    if drawn >= count:
        return ""
    chosen = ": those usable, or with many strips the one furthest from aim in each batch" if drawn else ""
    return f"{drawn} of {count} strips drawn{chosen}. All are in the table above."


def _chosen_strips(assessment: Assessment) -> tuple[StripResult, ...]:
    """All usable strips, or the one furthest from aim in each batch when there are many."""
    usable = [result for result in assessment.strip_room.results if result.usable and result.fits]
    if len(usable) <= _MOST_CURVES:
        return tuple(usable)
    worst: dict[str, StripResult] = {}
    for result in usable:
        batch = _batch_of(assessment.card.batches, result.strip.place)
        held = worst.get(batch)
        if held is None or evidence_grids.worst_deviation(result) > evidence_grids.worst_deviation(held):
            worst[batch] = result
    return tuple(worst.values())


def _batch_of(batches: tuple[Batch, ...], place: Place | None) -> str:
    for batch in batches:
        if place is not None and batch.along_from_m <= place.along_m <= batch.along_to_m:
            return batch.name
    return ""


def repeat_parts(assessment: Assessment) -> tuple[RepeatPart, ...]:
    """Each series with its likely makers, folded at its spacing."""
    marks = searched_marks(assessment)
    repeats: list[RepeatPart] = []
    for number, series in enumerate(assessment.repeats, start=1):
        figure = None
        if marks is not None and series.lap is None:
            figure = PageFigure(
                svg=draw_fold(series, marks, assessment.repeats.settings, key=f"fold-{number}"),
                caption=fold_caption(series),
                data=(fold_grid(series, marks),),
            )
        spacing = show_number(series.spacing_m * 1000.0, 1)
        interval = show_interval(series.spacing_low_m * 1000.0, series.spacing_high_m * 1000.0, 1)
        turn = "turn" if series.lap is None else "lap"
        repeats.append(
            RepeatPart(
                title=f"Repeat {number}: every {spacing} mm at {show_number(series.across_mm, 0)} mm across",
                facts=(
                    f"spacing {spacing} mm, interval {interval} mm",
                    _members(series),
                    f"a {turn} prints with probability {series.print_probability * 100.0:.0f} %",
                    *([lap_words(series)] if series.lap is not None else ()),
                ),
                candidates=repeat_grids.candidates_grid(series, assessment.plant.rollers),
                figure=figure,
            )
        )
    return tuple(repeats)


def _members(series: Series) -> str:
    span = show_span(series.extent.along_from_m, series.extent.along_to_m, "m")
    return f"{show_count(len(series.members), 'mark')}, from {span}"


def cut_part(assessment: Assessment) -> CutPart | None:
    """The cut in short; None where nothing is cut."""
    plan = assessment.plan
    if plan is None:
        return None
    head = cut_head_of(assessment)
    return CutPart(
        picture=PageFigure(
            svg=draw_cut(plan, head, key=f"cut-{slug(head.roll)}"), caption=cut_caption(plan, head.currency)
        ),
        datum=datum_sentence(head.datum_edge),
        facts=(work_sentence(plan), worth_sentence(plan, head.currency)),
        yields=yield_grid(plan, head.units, head.currency),
        losses=losses_grid(plan, head.units),
    )


def cut_head_of(assessment: Assessment) -> CutHead:
    """What stands above the roll's cut list; a roll on hold has a provisional one."""
    return CutHead(
        roll=assessment.card.name,
        status=status_of(assessment.decision.verdict),
        product=assessment.product.name,
        plant=assessment.plant.name,
        datum_edge=assessment.plant.datum_edge,
        units=units_of(assessment.plant.shop_units),
        currency="" if assessment.product.costs is None else assessment.product.costs.currency,
    )


def _signature(assessment: Assessment, fingerprint: str) -> tuple[tuple[str, str], ...]:
    """What whoever signs puts their name to."""
    return (
        ("roll", assessment.card.name),
        ("product", assessment.product.name),
        ("verdict", assessment.decision.verdict.value),
        ("fingerprint of the inputs", fingerprint or "not given"),
        ("software", f"wideroll {assessment.version}"),
    )


def provenance_grid(assessment: Assessment) -> Grid:
    """What was put in, and by which settings it was looked at."""
    search, room = assessment.repeats, assessment.strip_room
    searched = (
        f"{show_count(search.marks, 'mark')}, {show_count(search.lanes, 'lane')}, "
        f"{show_count(search.trials, 'trial spacing')}; "
    )
    facts = (
        ("software", f"wideroll {assessment.version}"),
        ("plant", assessment.plant.name),
        ("product", f"{assessment.product.name}, {assessment.product.film_type.value}"),
        ("criteria", f"{len(assessment.decision.criteria)}"),
        *_scan_facts(assessment.scan),
        ("strips", f"{len(room.strips)} in {show_count(len(room.runs), 'process run')}"),
        ("sample sheets", f"{len(assessment.examination.sheets)}"),
        ("search for repeats", f"{searched}chance of a false series at most {search.settings.false_alarm:g}"),
    )
    return Grid(
        caption="What this sheet was computed from",
        columns=(Column(head="input"), Column(head="value")),
        rows=tuple((Cell(text=name, tone="strong"), Cell(text=value)) for name, value in facts),
    )


def _scan_facts(scan: ScanResult | None) -> tuple[tuple[str, str], ...]:
    if scan is None:
        return (("scan", "none"),)
    use = scan.settings
    size = f"{show_number(scan.lines)} lines of {show_number(scan.columns)} columns"
    marks = f"mark from {use.seed_snr:g} × noise, grown to {use.grow_snr:g} ×, at least {use.least_pixels} pixels"
    streaks = f"streak from {use.streak_snr:g} × noise over {show_quantity(use.streak_least_m, 'm')}"
    return (
        ("scan", f"{use.source}: {size}, pitch {scan.pitch_mm[0]:g} mm along and {scan.pitch_mm[1]:g} mm across"),
        ("noise of a pixel", f"{scan.noise * 100.0:.2f} % of the background"),
        ("scan settings", f"{marks}; {streaks}; edge bead {use.edge_bead_mm:g} mm"),
    )
