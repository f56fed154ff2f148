"""The strip room: the strips of a roll, or readings of the user's own."""

import math
from pathlib import Path
from typing import Annotated, Final

import typer

from wideroll.cli.app import app
from wideroll.cli.bare_readings import Readings, bare_room
from wideroll.cli.bare_words import bare_json, show_bare, write_figures
from wideroll.cli.console import decimal, print_json, tell
from wideroll.cli.options import NAME_A_ROLL, Json, OptionalRoll, misused
from wideroll.cli.roll_strips import show_roll
from wideroll.sensitometry import DensitometerStatus, FilmType

__all__ = ["strips"]

_GIVE_AN_EXPOSURE: Final = "must be greater than 0"
_OF_A_FILE: Final = "is about a file of readings; of a plant's roll its own files say it"
_OF_A_ROLL: Final = "needs a plant's folder and a roll, whose strips have places"
_OF_NO_FILE: Final = {"target", "roll", "as_json", "profiles"}

_Target = Annotated[
    Path,
    typer.Argument(metavar="PATH", help="A plant's folder, a file of readings of your own, or - for a pasted table."),
]
_Exposure = Annotated[
    float | None,
    typer.Option(
        parser=decimal,
        metavar="LXS",
        help="Illuminance × time on a bare file's tablet, in lx·s; without it, speeds are relative.",
    ),
]
_Steps = Annotated[int | None, typer.Option(min=5, max=200, help="Steps of a bare file's tablet; else 21.")]
_Increment = Annotated[float | None, typer.Option(min=0.001, max=1.0, help="Density between its steps; else 0.15.")]
_Film = Annotated[
    FilmType | None, typer.Option(help="Film of a bare file; by default told from its records and their direction.")
]
_Status = Annotated[
    DensitometerStatus | None, typer.Option(help="Status of the densities in a bare file, for the output.")
]
_Columns = Annotated[
    str, typer.Option(metavar="NAMES", help="Columns of a table without a header, like step,red,green,blue.")
]
_DensityAt = Annotated[
    list[float] | None,
    typer.Option(parser=decimal, metavar="LOG_H", help="Read a bare file's densities off here; may be repeated."),
]
_AimsOf = Annotated[
    Path | None, typer.Option(metavar="PRODUCT.toml", help="Compare a bare file's strips with a product's aims.")
]
_Figure = Annotated[
    Path | None, typer.Option(metavar="FILE.svg", help="Draw the curves; one file a strip where there are several.")
]
_Profiles = Annotated[Path | None, typer.Option(metavar="FILE.svg", help="Draw a roll's profiles along and across.")]


@app.command()
def strips(  # noqa: PLR0913  (each option is an argument)
    context: typer.Context,
    target: _Target,
    roll: OptionalRoll = None,
    *,
    exposure_lxs: _Exposure = None,
    steps: _Steps = None,
    increment: _Increment = None,
    film_type: _Film = None,
    status: _Status = None,
    columns: _Columns = "",
    aims: _AimsOf = None,
    density_at: _DensityAt = None,
    figure: _Figure = None,
    profiles: _Profiles = None,
    as_json: Json = False,
) -> None:
    """Fit characteristic curves to step-tablet readings and measure them.

    \b
    Examples:
      wideroll strips demo W-2043                            the strips of a roll, run by run
      wideroll strips readings.csv --exposure-lxs 2.0        readings of your own: step, red, green, blue
    """
    if roll is not None:
        _refuse_options_of_a_file(context)
        show_roll(target, roll, profiles, as_json=as_json)
        return
    if profiles is not None:
        raise misused(_OF_A_ROLL, "--profiles")
    told = Readings(
        path=target,
        exposure_lxs=exposure_lxs,
        steps=steps,
        increment=increment,
        film_type=film_type,
        status=status,
        columns=tuple(name.strip() for name in columns.split(",")) if columns else (),
        aims=aims,
        density_at=tuple(density_at or ()),
    )
    _of_a_file(told, figure, as_json=as_json)


def _refuse_options_of_a_file(context: typer.Context) -> None:
    """What a roll's own files say can't be said again; left out unseen, it would be taken for heard."""
    for parameter in context.command.params:
        given = context.params.get(parameter.name or "")
        if parameter.name not in _OF_NO_FILE and (given or given == 0.0):
            raise misused(_OF_A_FILE, parameter.opts[0])


def _of_a_file(told: Readings, figure: Path | None, *, as_json: bool) -> None:
    """Readings of the user's own, strip by strip."""
    if told.path.is_dir():
        raise misused(NAME_A_ROLL, "ROLL")
    if told.exposure_lxs is not None and not 0 < told.exposure_lxs < math.inf:
        raise misused(_GIVE_AN_EXPOSURE, "--exposure-lxs")
    bare = bare_room(told)
    for assumed in bare.assumed:
        tell(assumed)
    if figure is not None:
        write_figures(bare.room.results, bare.product.aims if bare.product else None, figure)
    if as_json:
        print_json(bare_json(bare))
    else:
        show_bare(bare)
