"""The command that says whether the sheets settle a roll's rate of marks."""

import math
from collections.abc import Sequence
from pathlib import Path
from typing import Annotated, Final

import polars as pl
import typer

from wideroll.cli.app import EXIT_HOLD, EXIT_REJECT, app
from wideroll.cli.console import decimal, print_json, print_table, say, tell
from wideroll.cli.options import Json, PlantArg, RollArg, misused
from wideroll.cli.sampling import Seed, Size, plant_files, seed_of
from wideroll.errors import InputError
from wideroll.examination import Sheet
from wideroll.readers import PlantFolder
from wideroll.report import rich_table
from wideroll.report.machine import plain
from wideroll.report.sampling_grids import sheets_grid, standing_words
from wideroll.report.sequential_picture import draw_sequential, sequential_caption
from wideroll.roll import Extent, marks_within
from wideroll.sampling import (
    SampleSheet,
    SequentialPlan,
    Settled,
    SheetSize,
    Standing,
    fixed_plan,
    further_sheets,
    measure_dispersion,
    operating_points,
    sequential_plan,
    settle,
)
from wideroll.store.files import write_whole
from wideroll.workflow import Product, examine_sheets, whole_web
from wideroll.workflow.gather_sightings import web_sightings
from wideroll.workflow.roll_rates import strictest_rate

__all__ = ["settle_rate"]

_SETTLED: Final = {Settled.ACCEPT: 0, Settled.GO_ON: EXIT_HOLD, Settled.REJECT: EXIT_REJECT}
_CURVE_POINTS: Final = 61
_MOST_FIXED: Final = 3
"""Times the fixed area, after which a sequence is cut short in the curves."""
_CLUSTERED: Final = 0.05
_LEAST_SHEETS: Final = 2
_USUAL_RISK: Final = 0.05
_NO_LIMIT: Final = "is needed: the product has no criterion on marks per m²"

_NOT_BELOW: Final = "must be above 0 and below the rate to reject"
_NO_GOOD: Final = "is needed: the product's strictest criterion says no good rate"
_Rate = Annotated[
    float | None,
    typer.Option(parser=decimal, metavar="RATE", help="Marks per m² to accept; else the strictest criterion's."),
]
_Risk = Annotated[float | None, typer.Option(parser=decimal, help="Of rejecting at the good rate; else the product's.")]
_Figure = Annotated[Path | None, typer.Option(metavar="FILE.svg", help="Draw the test and its curves here.")]


@app.command(name="settle")
def settle_rate(  # noqa: PLR0913  (each option is an argument)
    plant: PlantArg,
    roll: RollArg,
    *,
    good: _Rate = None,
    bad: Annotated[
        float | None,
        typer.Option(
            parser=decimal, metavar="RATE", help="Marks per m² to reject; else the strictest criterion's limit."
        ),
    ] = None,
    producer_risk: _Risk = None,
    consumer_risk: Annotated[
        float | None, typer.Option(parser=decimal, help="Of accepting at the bad rate; else the product's.")
    ] = None,
    size: Size = None,
    seed: Seed = None,
    figure: _Figure = None,
    as_json: Json = False,
) -> None:
    """Say whether a roll's sheets settle its rate of marks, or how many more to take, and where.

    \b
    Examples:
      wideroll settle demo W-2042                                  by the strictest criterion's rates and risks
      wideroll settle demo W-2042 --good 1 --bad 4 --figure test.svg

    Exit code: 0 accept, 10 take more or contradicted, 11 reject.
    """
    files = plant_files(plant)
    product, whole = _of(files, roll)
    plan = _test(product, (good, bad), (producer_risk, consumer_risk))
    listed, seen = _seen(files, roll, whole, _counted(product, bad, size))
    taken = [(marks_within(seen, [one.extent]).height, one.extent.area_m2) for one in listed]
    counts, areas = [count for count, _ in taken], [area for _, area in taken]
    standing, sheet_m2 = settle(plan, counts, areas), math.fsum(areas) / len(areas)
    chosen = seed_of(roll) + len(listed) if seed is None else seed
    extra = _further(whole, listed, math.ceil(standing.clean_m2 / sheet_m2 - 1e-9), chosen)
    if figure is not None:
        _draw(figure, plan, taken, sheet_m2)
    if as_json:
        document = {"plan": plan, "standing": standing, "further": extra, "seed": chosen}
        print_json({"schema": "wideroll/settle/1", "roll": roll, **{k: plain(v) for k, v in document.items()}})
    else:
        say(standing_words(plan, standing, sheet_m2, counted=_named(product, bad, size)))
        _warn_of_clusters(counts, areas)
        _show_further(extra, chosen)
    raise typer.Exit(_exit_code(standing))


def _exit_code(standing: Standing) -> int:
    contradicted = {standing.settled, standing.together} == {Settled.ACCEPT, Settled.REJECT}
    return EXIT_HOLD if contradicted else _SETTLED[standing.settled]


def _of(files: PlantFolder, roll: str) -> tuple[Product, Extent]:
    card = files.card(roll)
    return files.product(card.product), whole_web(card.length_m, files.plant().web_width_mm)


def _show_further(extra: Sequence[SampleSheet], seed: int) -> None:
    if extra:
        print_table(rich_table(sheets_grid(extra, caption=f"Next sheets to take (seed {seed})")))


def _further(whole: Extent, listed: Sequence[Sheet], count: int, seed: int) -> tuple[SampleSheet, ...]:
    """More sheets as long as those taken, where nobody looked."""
    typical = SheetSize(length_m=math.fsum(one.extent.length_m for one in listed) / len(listed))
    return further_sheets(whole, [one.extent for one in listed], count, typical, seed) if count else ()


def _warn_of_clusters(counts: Sequence[int], areas: Sequence[float]) -> None:
    if len(counts) < _LEAST_SHEETS:
        return
    found = measure_dispersion(counts, areas)
    if found.p_clustered <= _CLUSTERED:
        say(
            f"Marks come in clusters (index of dispersion {found.index:.1f}, p = {found.p_clustered:.2g}): the "
            "test's risks hold for independent marks, so they are greater than stated here."
        )


def _seen(
    files: PlantFolder, roll: str, whole: Extent, counted: tuple[float, tuple[str, ...]]
) -> tuple[tuple[Sheet, ...], pl.DataFrame]:
    """The roll's sheets that were drawn by chance, and the marks on them of a size and kinds that came with the web."""
    listed = files.sheets(roll, whole)
    drawn = tuple(sheet for sheet in listed if sheet.drawn)
    if not drawn:
        raise InputError(
            where=f"{files.root}/rolls/{roll}/examination/sheets.csv",
            rule="there must be sheets drawn by chance to settle it by",
            mend="`wideroll sheets` says which to take.",
        )
    size_mm, kinds = counted
    examination = examine_sheets(listed, files.sightings(roll, listed), None, looks=files.looks(roll, listed))
    marks = web_sightings(examination, least_size_mm=size_mm)
    return drawn, marks.filter(pl.col("kind").cast(pl.String).is_in(kinds)) if kinds else marks


def _counted(product: Product, bad: float | None, size: float | None) -> tuple[float, tuple[str, ...]]:
    """From which size on, and which kinds: as asked, or those of the criterion that the test's limit is taken from."""
    strictest = strictest_rate(product.criteria)
    if bad is not None or size is not None or strictest is None:
        return size or 0.0, ()
    return strictest.least_size_mm, strictest.kinds


def _named(product: Product, bad: float | None, size: float | None) -> str:
    """Which marks count, in words; empty for all."""
    least, kinds = _counted(product, bad, size)
    strictest = strictest_rate(product.criteria)
    by = [f"criterion {strictest.name}"] if bad is None and size is None and strictest else []
    return ", ".join([*kinds, *([f"{least:g} mm or more"] if least > 0.0 else []), *by])


def _test(
    product: Product, rates: tuple[float | None, float | None], risks: tuple[float | None, float | None]
) -> SequentialPlan:
    """The test between two rates with two risks; what isn't given is the strictest criterion's."""
    strictest = strictest_rate(product.criteria)
    good, bad = rates
    if bad is None:
        if strictest is None:
            raise misused(_NO_LIMIT, "--bad")
        bad = strictest.limit
    if good is None:
        if strictest is None or math.isnan(strictest.good):
            raise misused(_NO_GOOD, "--good")
        good = strictest.good
    if not 0.0 < good < bad:
        raise misused(_NOT_BELOW, "--good")
    usual = (strictest.producer_risk, strictest.risk) if strictest else (_USUAL_RISK, _USUAL_RISK)
    producer, consumer = (usual[n] if risk is None else risk for n, risk in enumerate(risks))
    return sequential_plan(good, bad, producer, consumer)


def _draw(figure: Path, plan: SequentialPlan, taken: list[tuple[int, float]], sheet_m2: float) -> None:
    fixed = fixed_plan(plan.good_rate, plan.bad_rate, plan.producer_risk, plan.consumer_risk)
    most = math.ceil(_MOST_FIXED * fixed.area_m2 / sheet_m2)
    top = 1.5 * plan.bad_rate
    grid = sorted({plan.good_rate, plan.bad_rate, *(top * n / (_CURVE_POINTS - 1) for n in range(_CURVE_POINTS))})
    points = operating_points(plan, grid, sheet_m2, most)
    write_whole(figure, draw_sequential(plan, points, fixed, taken).encode())
    tell(f"test: {figure}")
    tell(sequential_caption(plan, points, fixed))
