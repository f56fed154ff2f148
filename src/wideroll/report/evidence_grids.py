"""The evidence itself in tables: strips, process runs, marks, sightings."""

import math
from collections.abc import Mapping, Sequence
from itertools import pairwise
from typing import Final

import numpy as np
import polars as pl

from wideroll.report.dye_grids import run_dye_words
from wideroll.report.grid import Cell, Column, Grid
from wideroll.report.processor_grids import standing_cell
from wideroll.report.quantities import (
    ABSENT,
    show_interval,
    show_number,
    show_probability,
    show_span,
)
from wideroll.report.sighting_words import layer_note, seen_note
from wideroll.roll import Place
from wideroll.scan.model import ScanResult, Streak, StreakOrigin
from wideroll.sensitometry.model import Record, RunVerdict, StripResult
from wideroll.workflow.model import Examined
from wideroll.workflow.processor_model import ProcessorState

__all__ = [
    "marks_grid",
    "measures_grid",
    "runs_grid",
    "sightings_grid",
    "steps_left_out",
    "streaks_grid",
    "strips_grid",
    "worst_deviation",
    "worst_marks_grid",
]

_SIZE_CLASSES_MM: Final = (0.0, 0.2, 0.5, 1.0, math.inf)
_WORST_MARKS: Final = 20
_FINE_BELOW: Final = 10.0


def worst_deviation(result: StripResult) -> float:
    """The largest departure from aim of any record, in density; NaN when nothing was compared."""
    worst = [abs(d.worst_density.value) for d in result.deviations if math.isfinite(d.worst_density.value)]
    return max(worst, default=math.nan)


def steps_left_out(result: StripResult, record: Record) -> str:
    """Which readings of a record the fit set aside, in words; empty when it used all that were read.

    Such as ``step at log H −1.17 left out: off the curve``.
    """
    fit = result.fits.get(record)
    if fit is None:
        return ""
    faulty = [step in fit.faulty_steps for step in range(fit.log_h.size)]
    aside = np.isfinite(fit.density) & ~fit.used
    parts: list[str] = []
    for off, why in ((True, ": off the curve"), (False, "")):
        places = [show_number(float(fit.log_h[step]), 2) for step in np.flatnonzero(aside) if faulty[step] is off]
        if places:
            parts.append(f"step{'s' if len(places) > 1 else ''} at log H {', '.join(places)} left out{why}")
    return "; ".join(parts)


def strips_grid(results: Sequence[StripResult]) -> Grid:
    """One row a strip and record: shifts of speed, contrast and minimum density, and the worst departure."""
    rows: list[tuple[Cell, ...]] = []
    for result in results:
        about = "; ".join(filter(None, (_strip_place(result.strip.place), result.strip.note)))
        name = Cell(text=result.strip.name, note=about, tone="strong")
        if not result.deviations:
            why = result.why or "no aim to compare with"
            rows.append((name, Cell(text=ABSENT), *(Cell(text=ABSENT) for _ in range(4)), Cell(text=f"✖ {why}")))
        for rank, deviation in enumerate(result.deviations):
            rows.append(
                (
                    name if rank == 0 else Cell(text=""),
                    Cell(text=deviation.record.value, note=steps_left_out(result, deviation.record)),
                    Cell(text=_measured(deviation.speed_log_h.value, deviation.speed_log_h.extrapolated, 3)),
                    Cell(text=_measured(deviation.contrast.value * 100.0, deviation.contrast.extrapolated, 1)),
                    Cell(text=_measured(deviation.dmin_density.value, deviation.dmin_density.extrapolated, 3)),
                    Cell(text=_measured(deviation.worst_density.value, deviation.worst_density.extrapolated, 3)),
                    Cell(text=_usable(result) if rank == 0 else ""),
                )
            )
    return Grid(
        caption="Strips: check minus aim (speed: + is slower; e: extrapolated)",
        columns=(
            Column(head="strip"),
            Column(head="record"),
            Column(head="speed, log H", number=True),
            Column(head="contrast, %", number=True),
            Column(head="Dmin, density", number=True),
            Column(head="worst, density", number=True),
            Column(head="usable"),
        ),
        rows=tuple(rows),
        empty="No strips were read for this roll.",
    )


def measures_grid(result: StripResult) -> Grid:
    """What was read off one strip's curves, each with its interval."""
    rows = tuple(
        (
            Cell(text=measure.name, note=measure.note),
            Cell(text=measure.record.value if measure.record else "all"),
            Cell(text=show_number(measure.value, _decimals(measure.value))),
            Cell(text=show_interval(measure.low, measure.high, _decimals(measure.value))),
            Cell(text=measure.unit or "none"),
            Cell(text="yes" if measure.extrapolated else "no"),
        )
        for measure in result.measures
    )
    return Grid(
        caption=f"Measures of strip {result.strip.name}",
        columns=(
            Column(head="measure"),
            Column(head="record"),
            Column(head="value", number=True),
            Column(head="interval"),
            Column(head="unit"),
            Column(head="extrapolated"),
        ),
        rows=rows,
        empty="Nothing could be measured on this strip.",
    )


def runs_grid(runs: Sequence[RunVerdict], processors: Sequence[ProcessorState] = ()) -> Grid:
    """Process runs: whether each can be believed, by which processor's charts, and which strips to repeat."""
    return Grid(
        caption="Whether each process run can be believed",
        columns=(
            Column(head="run"),
            Column(head="state", keep=True),
            Column(head="why"),
            Column(head="processor"),
            Column(head="reference strips"),
            Column(head="strips to repeat"),
        ),
        rows=tuple(
            (
                Cell(text=run.run, tone="strong"),
                Cell(text="● usable" if run.usable else "✖ void", tone="release" if run.usable else "reject"),
                Cell(text=run.why, note=run_dye_words(run)),
                standing_cell(run, processors),
                Cell(text=", ".join(run.reference_strips) or "none"),
                Cell(text=", ".join(run.void_strips) or "none"),
            )
            for run in runs
        ),
        empty="No process run is recorded for this roll.",
    )


def marks_grid(scan: ScanResult | None) -> Grid:
    """Marks by kind and size class."""
    head = ("kind", "polarity", "under 0.2 mm", "0.2 to 0.5 mm", "0.5 to 1 mm", "1 mm and over", "all")
    columns = tuple(Column(head=text, number=place > 1) for place, text in enumerate(head))
    caption = "Marks found by the scanner (size: the longer side)"
    if scan is None:
        return Grid(caption=caption, columns=columns, empty="The roll was not scanned.")
    counted = _by_size(scan.marks)
    rows = tuple(
        (Cell(text=kind), Cell(text=polarity), *(Cell(text=str(n)) for n in counts), Cell(text=str(sum(counts))))
        for (kind, polarity), counts in counted.items()
    )
    return Grid(caption=caption, columns=columns, rows=rows, empty="No marks were found in what was looked at.")


def worst_marks_grid(marks: pl.DataFrame) -> Grid:
    """The marks that stand out most from the noise."""
    worst = marks.sort(["snr", "along_m", "across_mm"], descending=[True, False, False]).head(_WORST_MARKS)
    return Grid(
        caption=f"The {worst.height} clearest of {marks.height} marks",
        columns=(
            Column(head="id"),
            Column(head="kind"),
            Column(head="along, m", number=True),
            Column(head="across, mm", number=True),
            Column(head="length, mm", number=True),
            Column(head="width, mm", number=True),
            Column(head="contrast, %", number=True),
        ),
        rows=tuple(
            (
                Cell(text=row["id"]),
                Cell(text=f"{row['polarity']} {row['kind']}"),
                Cell(text=show_number(row["along_m"], 3)),
                Cell(text=show_number(row["across_mm"], 1)),
                Cell(text=show_number(row["length_mm"], 2)),
                Cell(text=show_number(row["width_mm"], 2)),
                Cell(text=show_number(row["contrast"] * 100.0, 1)),
            )
            for row in worst.iter_rows(named=True)
        ),
        empty="No marks were found in what was looked at.",
        left_out=marks.height - worst.height,
    )


def streaks_grid(scan: ScanResult | None) -> Grid:
    """Streaks with their place, width and signed contrast."""
    return Grid(
        caption="Streaks",
        columns=(
            Column(head="across, mm", number=True),
            Column(head="along, m"),
            Column(head="width, mm", number=True),
            Column(head="contrast, %", number=True),
            Column(head="interval, %"),
            Column(head="note"),
        ),
        rows=tuple(
            (
                Cell(text=show_number(streak.across_mm, 1)),
                Cell(text=show_span(streak.extent.along_from_m, streak.extent.along_to_m, "").rstrip()),
                Cell(text=show_number(streak.width_mm, 2)),
                Cell(text=show_number(streak.contrast * 100.0, 2, signed=True)),
                Cell(text=show_interval(streak.contrast_low * 100.0, streak.contrast_high * 100.0, 2)),
                Cell(text=_streak_note(streak)),
            )
            for streak in (scan.streaks if scan else ())
        ),
        empty="No streaks were found in what was looked at." if scan else "The roll was not scanned.",
    )


def _streak_note(streak: Streak) -> str:
    """Of what doesn't plainly belong to the web, whose it is and how that was told."""
    if streak.origin is not StreakOrigin.WEB:
        return ": ".join(part for part in (streak.origin.value, streak.why) if part)
    return "from end to end: may be the scanner's own pattern" if streak.whole_length and not streak.why else streak.why


def sightings_grid(examined: Sequence[Examined]) -> Grid:
    """What examiners saw, with the layer it sits in and where it came from."""
    return Grid(
        caption="Sightings on the sample sheets",
        columns=(
            Column(head="sheet"),
            Column(head="along, m", number=True),
            Column(head="across, mm", number=True),
            Column(head="seen", keep_on_page=True),
            Column(head="layer (probability)", keep_on_page=True),
            Column(head="origin"),
        ),
        rows=tuple(_sighting_row(item) for item in examined),
        empty="No sightings: no sheet was examined, or nothing was seen on them.",
    )


def _sighting_row(item: Examined) -> tuple[Cell, ...]:
    sighting, layer = item.sighting, item.layer
    dye = {True: ", excess", False: ", lack", None: ""}[layer.excess]
    likeliest = layer.likeliest
    chance = show_probability(layer.probability[likeliest])
    told = layer.probability[likeliest] > min(layer.probability.values()) + 1e-9
    seen = f"{sighting.kind.value}, {show_number(sighting.size_mm, 2)} mm"
    return (
        Cell(text=sighting.sheet, tone="strong"),
        Cell(text=show_number(sighting.place.along_m, 2)),
        Cell(text=show_number(sighting.place.across_mm, 1)),
        Cell(text=seen, note=seen_note(item)),
        Cell(text=f"{likeliest.value} ({chance}){dye}" if told else "can't be said", note=layer_note(item)),
        Cell(text=": ".join(part for part in (item.origin.origin.value, item.origin.why) if part)),
    )


def _by_size(marks: pl.DataFrame) -> Mapping[tuple[str, str], list[int]]:
    size = pl.max_horizontal("length_mm", "width_mm")
    classes = [
        (pl.lit(low) <= size).and_(size < high).sum().alias(f"class{rank}")
        for rank, (low, high) in enumerate(pairwise(_SIZE_CLASSES_MM))
    ]
    table = (
        marks.with_columns(pl.col("kind").cast(pl.String), pl.col("polarity").cast(pl.String))
        .group_by("kind", "polarity")
        .agg(*classes, pl.len().alias("all"))
        .sort(["all", "kind", "polarity"], descending=[True, False, False])
    )
    count = len(_SIZE_CLASSES_MM) - 1
    return {(row[0], row[1]): list(row[2 : 2 + count]) for row in table.iter_rows()}


def _usable(result: StripResult) -> str:
    # of a void run the table of runs says the rest
    why = result.why.partition(": ")[0] if result.strip.run and result.strip.run in result.why else result.why
    return "● yes" if result.usable else f"✖ no: {why}"


def _measured(value: float, extrapolated: bool, decimals: int) -> str:  # noqa: FBT001  # a column's two halves
    text = show_number(value, decimals, signed=True)
    return f"{text} e" if extrapolated else text


def _strip_place(place: Place | None) -> str:
    if place is None:
        return "place not given"
    return f"{show_number(place.along_m, 1)} m, {show_number(place.across_mm, 0)} mm"


def _decimals(value: float) -> int:
    return 3 if math.isfinite(value) and abs(value) < _FINE_BELOW else 1
