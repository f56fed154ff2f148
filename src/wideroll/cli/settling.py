"""The command that says whether the sheets settle a roll's rate of marks."""

from collections.abc import Sequence
from pathlib import Path
from typing import Annotated, Final

import typer

from wideroll.acts.settling import SettledRoll, settle_roll, settled_document, settling_curves
from wideroll.cli.app import EXIT_HOLD, EXIT_REJECT, app
from wideroll.cli.console import decimal, print_json, print_table, say, tell
from wideroll.cli.options import Json, PlantArg, RollArg, asked
from wideroll.cli.sampling import Seed, Size
from wideroll.report import rich_table
from wideroll.report.sampling_grids import sheets_grid, standing_words
from wideroll.report.sequential_picture import draw_sequential, sequential_caption
from wideroll.sampling import SampleSheet, Settled, Standing, measure_dispersion
from wideroll.store.files import write_whole

__all__ = ["settle_rate"]

_SETTLED: Final = {Settled.ACCEPT: 0, Settled.GO_ON: EXIT_HOLD, Settled.REJECT: EXIT_REJECT}
_CLUSTERED: Final = 0.05
_LEAST_SHEETS: Final = 2
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
    with asked():
        found = settle_roll(
            plant, roll, rates=(good, bad), risks=(producer_risk, consumer_risk), size_mm=size, seed=seed
        )
    if figure is not None:
        _draw(figure, found)
    if as_json:
        print_json(settled_document(found, roll))
    else:
        say(standing_words(found.plan, found.standing, found.sheet_m2, counted=found.counted))
        _warn_of_clusters(found.counts, found.areas_m2)
        _show_further(found.further, found.seed)
    raise typer.Exit(_exit_code(found.standing))


def _exit_code(standing: Standing) -> int:
    contradicted = {standing.settled, standing.together} == {Settled.ACCEPT, Settled.REJECT}
    return EXIT_HOLD if contradicted else _SETTLED[standing.settled]


def _show_further(extra: Sequence[SampleSheet], seed: int) -> None:
    if extra:
        print_table(rich_table(sheets_grid(extra, caption=f"Next sheets to take (seed {seed})")))


def _warn_of_clusters(counts: Sequence[int], areas: Sequence[float]) -> None:
    if len(counts) < _LEAST_SHEETS:
        return
    found = measure_dispersion(counts, areas)
    if found.p_clustered <= _CLUSTERED:
        say(
            f"Marks come in clusters (index of dispersion {found.index:.1f}, p = {found.p_clustered:.2g}): the "
            "test's risks hold for independent marks, so they are greater than stated here."
        )


def _draw(figure: Path, found: SettledRoll) -> None:
    points, fixed = settling_curves(found)
    write_whole(figure, draw_sequential(found.plan, points, fixed, found.taken).encode())
    tell(f"test: {figure}")
    tell(sequential_caption(found.plan, points, fixed))
