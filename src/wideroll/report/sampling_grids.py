"""Sampling in tables: sheets to take, rates with limits, sequential tests and lots."""

import math
from collections.abc import Sequence
from fractions import Fraction
from typing import Final

from wideroll.report.grid import Cell, Column, Grid
from wideroll.report.quantities import (
    ABSENT,
    decimals_for,
    show_count,
    show_interval,
    show_number,
    show_share,
    show_span,
)
from wideroll.roll import INCH_MM, Length, Notation, format_length
from wideroll.sampling import (
    ClassRate,
    Combined,
    Dispersion,
    Inspection,
    LotResult,
    RateLimits,
    RegionBasis,
    RegionRate,
    SampleSheet,
    SequentialPlan,
    Settled,
    SheetPlan,
    SheetReason,
    Standing,
)

__all__ = [
    "classes_grid",
    "combined_words",
    "dispersion_words",
    "lots_grid",
    "next_plan_words",
    "regions_grid",
    "sheets_grid",
    "standing_words",
]

_MOST_ROWS: Final = 30
_CLEAR: Final = 0.05
_OPPOSITE: Final = {Settled.ACCEPT: Settled.REJECT, Settled.REJECT: Settled.ACCEPT}
_FOOT_M: Final = 0.3048


def sheets_grid(plan: SheetPlan | Sequence[SampleSheet], *, caption: str = "Sheets to take") -> Grid:
    """One row a sheet: where it is cut, in the web's units and the shop's, why, and room to write."""
    sheets = plan.sheets if isinstance(plan, SheetPlan) else tuple(plan)
    whole_width = len({(s.extent.across_from_mm, s.extent.across_to_mm) for s in sheets}) <= 1
    return Grid(
        caption=caption,
        columns=(
            Column(head="sheet", keep=True),
            Column(head="from, m", number=True),
            Column(head="to, m", number=True),
            Column(head="from, ft", number=True),
            Column(head="across, mm", keep=True),
            Column(head="across, in", keep=True),
            Column(head="why"),
            Column(head="cut by"),
        ),
        rows=tuple(
            (
                Cell(text=sheet.name, tone="strong"),
                Cell(text=show_number(sheet.extent.along_from_m, 2)),
                Cell(text=show_number(sheet.extent.along_to_m, 2)),
                Cell(text=show_number(sheet.extent.along_from_m / _FOOT_M, 1)),
                Cell(text="whole width" if whole_width else _across_mm(sheet)),
                Cell(text="whole width" if whole_width else _across_in(sheet)),
                Cell(text=sheet.reason.value if sheet.reason is SheetReason.RANDOM else f"beside {sheet.beside}"),
                Cell(text="………"),
            )
            for sheet in sheets
        ),
        empty="No sheet is needed.",
    )


def _across_mm(sheet: SampleSheet) -> str:
    return show_span(sheet.extent.across_from_mm, sheet.extent.across_to_mm, "mm", 0)


def _across_in(sheet: SampleSheet) -> str:
    ends = (sheet.extent.across_from_mm, sheet.extent.across_to_mm)
    return " to ".join(_eighths(end) for end in ends)


def _eighths(mm: float) -> str:
    """To the nearest eighth of an inch, as a rule on the floor reads."""
    inches = Fraction(round(mm / float(INCH_MM) * 8), 8)
    return format_length(Length(mm=inches * INCH_MM, notation=Notation.INCH), denominator=8)


def classes_grid(rates: Sequence[ClassRate], source: str) -> Grid:
    """Rates by kind and size over the whole width, then lane by lane for all marks, the worst first."""
    lanes = sorted(
        (r for r in rates if r.lane is not None and not r.of.kind and r.of == rates[0].of),
        key=lambda r: (-r.per_m2.low, -r.per_m2.rate, r.lane.number if r.lane else 0),
    )
    rows = [rate for rate in rates if rate.lane is None] + lanes
    shown = rows[:_MOST_ROWS]
    places = decimals_for([r.per_m2.high for r in shown])
    return Grid(
        caption=f"Rates by the {source}, with 95 % limits" + (" (lanes: the worst first)" if lanes else ""),
        columns=(
            Column(head="where", keep=True),
            Column(head="kind"),
            Column(head="size, mm", keep=True),
            Column(head="found", number=True),
            Column(head="looked at, m²", number=True),
            Column(head="per m²", number=True),
            Column(head="limits, per m²", keep=True),
            Column(head="per 100 ft", keep=True),
        ),
        rows=tuple(
            (
                Cell(text=f"lane {r.lane.number}" if r.lane else "whole width", tone="strong"),
                Cell(text=r.of.kind or "all"),
                Cell(text=_size(r)),
                Cell(text=show_number(r.per_m2.count)),
                Cell(text=show_number(r.per_m2.extent, 2)),
                Cell(text=show_number(r.per_m2.rate, places)),
                Cell(text=show_interval(r.per_m2.low, r.per_m2.high, places)),
                Cell(text=_per_100_ft(r.per_m)),
            )
            for r in shown
        ),
        left_out=len(rows) - len(shown),
        empty=f"Nothing was looked at by the {source}.",
    )


def _size(rate: ClassRate) -> str:
    if math.isinf(rate.of.size_to_mm):
        return f"{rate.of.size_from_mm:g} or more" if rate.of.size_from_mm else "all"
    return f"{rate.of.size_from_mm:g} to {rate.of.size_to_mm:g}"


def _per_100_ft(rate: RateLimits) -> str:
    scale = 100.0 * _FOOT_M
    places = decimals_for([scale * rate.high], significant=2)
    return show_interval(scale * rate.low, scale * rate.high, places)


def dispersion_words(found: Dispersion | None, clustered: RateLimits | None, parts: str) -> str:
    """Whether marks come in clusters, and the limits that allow for it."""
    if found is None or found.count == 0:
        return f"Whether marks come in clusters can't be told from the {parts}."
    said = f"index of dispersion {show_number(found.index, 2)} over {found.samples} {parts}"
    if clustered is not None:
        places = decimals_for([clustered.high])
        limits = show_interval(clustered.low, clustered.high, places)
        return (
            f"Marks come in clusters ({said}, p = {found.p_clustered:.2g}): the limits above are too narrow; "
            f"allowing for clusters {limits} per m² (negative binomial)."
        )
    if found.p_even <= _CLEAR:
        return f"Marks lie more evenly than chance ({said}, p = {found.p_even:.2g}): look for something periodic."
    return f"No sign of clusters ({said}, p = {found.p_clustered:.2g})."


def combined_words(found: Combined | None, least_size_mm: float) -> str:
    """Scan and sheets together."""
    if found is None:
        return "Nothing was looked at."
    places = decimals_for([found.high])
    of = f" of {least_size_mm:g} mm or more" if least_size_mm else ""
    looks = " and ".join(f"{look.source} ({look.count} in {show_number(look.area_m2, 2)} m²)" for look in found.looks)
    said = (
        f"Together {looks}: {show_number(found.rate, places)} marks{of} per m², "
        f"{show_interval(found.low, found.high, places)} at {100.0 * found.confidence:g} %."
    )
    if found.p_agree <= _CLEAR:
        return (
            f"{said} But they don't agree (p = {found.p_agree:.2g}), so don't rely on it: find out which misses marks."
        )
    return said if math.isnan(found.p_agree) else f"{said} They agree (p = {found.p_agree:.2g})."


def regions_grid(rates: Sequence[RegionRate]) -> Grid:
    """Lane by stretch: first what nobody looked at, then the worst."""
    order = {RegionBasis.NOTHING: 0, RegionBasis.OTHERS: 1, RegionBasis.LOOKED_AT: 2}
    rows = sorted(rates, key=lambda r: (order[r.basis], -r.low, -r.rate, r.extent))
    shown = rows[:_MOST_ROWS]
    places = decimals_for([r.high for r in shown])
    return Grid(
        caption="Regions (lane by stretch), what nobody looked at first, then the worst",
        columns=(
            Column(head="along", keep=True),
            Column(head="across", keep=True),
            Column(head="looked at"),
            Column(head="found", number=True),
            Column(head="per m²", number=True),
            Column(head="limits, per m²", keep=True),
            Column(head="rests on"),
        ),
        rows=tuple(
            (
                Cell(text=show_span(r.extent.along_from_m, r.extent.along_to_m, "m", 1)),
                Cell(text=show_span(r.extent.across_from_mm, r.extent.across_to_mm, "mm", 0)),
                Cell(text=show_share(min(1.0, r.looked_share))),
                Cell(text=show_number(r.count) if r.looked_m2 else ABSENT),
                Cell(text=show_number(r.rate, places)),
                Cell(text=show_interval(r.low, r.high, places)),
                Cell(text=r.basis.value),
            )
            for r in shown
        ),
        left_out=len(rows) - len(shown),
        empty="There is no scan to rate regions by.",
    )


def standing_words(plan: SequentialPlan, standing: Standing, sheet_m2: float, *, counted: str = "") -> str:
    """What the sheets settle, or how much more is needed; ``counted`` says which marks."""
    which = f" ({counted})" if counted else ""
    looked = f"{show_count(standing.count, 'mark')}{which} in {show_number(standing.area_m2, 2)} m²"
    good, bad = f"{plan.good_rate:g}", f"{plan.bad_rate:g} per m²"
    if standing.settled is not Settled.GO_ON:
        for_, against = (good, bad) if standing.settled is Settled.ACCEPT else (bad, good)
        word = standing.settled.value.capitalize()
        said = f"{word}: {looked}, settled by sheet {standing.at_sheet} in favour of {for_} against {against}."
        if standing.together is _OPPOSITE[standing.settled]:
            said += (
                f" But all sheets together would {standing.together.value}: the roll isn't alike all along, or marks "
                "come in clusters. Hold it and find out."
            )
        return said
    clean = show_count(math.ceil(standing.clean_m2 / sheet_m2 - 1e-9), "sheet")
    likely = [show_number(math.ceil(area / sheet_m2)) for area in (standing.expected_good_m2, standing.expected_bad_m2)]
    return (
        f"Take more: {looked} settles nothing. {clean} more ({show_number(standing.clean_m2, 2)} m²) without a mark "
        f"accept; {show_count(standing.marks_to_reject, 'mark')} at once reject. To be expected: about {likely[0]} "
        f"sheets where the rate is {good}, {likely[1]} where it is {bad}."
    )


def lots_grid(results: Sequence[LotResult], *, product: str) -> Grid:
    """The lots in order, the newest last, each with the plan it fell under."""
    shown = results[-_MOST_ROWS:]
    return Grid(
        caption=f"Lots of {product}",
        columns=(
            Column(head="lot", keep=True),
            Column(head="size", number=True),
            Column(head="AQL, %", number=True),
            Column(head="inspection", keep=True),
            Column(head="letter", keep=True),
            Column(head="inspect", number=True),
            Column(head="Ac / Re", keep=True),
            Column(head="found", number=True),
            Column(head="lot is"),
            Column(head="after it"),
        ),
        rows=tuple(
            (
                Cell(text=r.lot.name, note="resubmitted" if r.lot.resubmitted else "", tone="strong"),
                Cell(text=show_number(r.lot.size)),
                Cell(text=f"{r.lot.aql:g}"),
                Cell(text=r.plan.severity.value, note="" if r.plan.seen else "plan from memory"),
                Cell(text=r.plan.used if r.plan.used == r.plan.letter else f"{r.plan.letter} → {r.plan.used}"),
                Cell(text=show_number(r.plan.sample_size), note="all of it" if r.plan.whole_lot else ""),
                Cell(text=f"{r.plan.accept} / {r.plan.reject}"),
                Cell(text=show_number(r.lot.found)),
                Cell(text="● accepted" if r.accepted else "✖ not accepted", tone="release" if r.accepted else "reject"),
                Cell(text=r.change),
            )
            for r in shown
        ),
        left_out=len(results) - len(shown),
        empty="No lot of it was inspected yet.",
    )


def next_plan_words(state: Inspection) -> str:
    """How strictly the next lot is inspected, and why."""
    return f"Next lot: {state.severity.value} inspection ({state.why})."
