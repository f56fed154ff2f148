"""The command that says which stretch to sample next, and prints the sheet for it."""

from pathlib import Path
from typing import Annotated, Final

import typer

from wideroll.acts.next_sampling import AskedSamples, next_samples_document, sample_next
from wideroll.acts.rolls import RollInHand, take_in_hand, tell_damage
from wideroll.acts.sampling import seed_of
from wideroll.cli.app import app
from wideroll.cli.console import print_json, print_table, say, tell
from wideroll.cli.options import CAUTION, Json, PlantArg, RollArg, misused
from wideroll.cli.sampling import Seed, millimetres
from wideroll.repeats import NextSamples, SampleSettings
from wideroll.report import rich_table
from wideroll.report.next_samples_picture import draw_samples
from wideroll.report.next_samples_sheet import SamplesHead, render_samples
from wideroll.report.next_samples_words import choices_grid, predictions_grid, samples_words, telling_words
from wideroll.store.files import write_whole

__all__ = ["next_samples_command"]

_PAIRED: Final = "needs as many as --to: each stretch has a start and an end"
_ENDINGS: Final = "ends in .html (a page to print) or .svg (the drawing alone)"

_From = Annotated[
    list[float] | None,
    typer.Option("--from", parser=millimetres, metavar="PLACE", help="Start of a stretch that can still be sampled."),
]
_To = Annotated[
    list[float] | None, typer.Option("--to", parser=millimetres, metavar="PLACE", help="Its end; may be repeated.")
]
_Length = Annotated[
    float | None,
    typer.Option("--length", parser=millimetres, metavar="LENGTH", help="Only samples of this length along."),
]
_Sheet = Annotated[
    Path | None, typer.Option(metavar="FILE", help="Write a page to print (.html) or its drawing (.svg).")
]


@app.command("next-samples")
def next_samples_command(  # noqa: PLR0913  (each option is an argument)
    plant: PlantArg,
    roll: RollArg,
    *,
    series: Annotated[int, typer.Option(min=1, help="Number of the series, as `repeats` lists them.")] = 1,
    start: _From = None,
    end: _To = None,
    length: _Length = None,
    seed: Seed = None,
    sheet: _Sheet = None,
    as_json: Json = False,
) -> None:
    """Say which stretch to sample next, so that the rollers that could have made a series are told apart.

    \b
    Examples:
      wideroll next-samples demo W-2042
      wideroll next-samples demo W-2042 --from "42 m" --to "60 m" --sheet next.html
    """
    if len(start or ()) != len(end or ()):
        raise misused(_PAIRED, "--from")
    if sheet is not None and sheet.suffix.lower() not in {".html", ".svg"}:
        raise misused(_ENDINGS, "--sheet")
    asked = AskedSamples(
        series=series,
        stretches=tuple((low / 1000.0, high / 1000.0) for low, high in zip(start or (), end or (), strict=True)),
        tried=SampleSettings(
            seed=seed_of(roll) if seed is None else seed,
            lengths_m=SampleSettings().lengths_m if length is None else (length / 1000.0,),
        ),
    )
    hand = take_in_hand(plant, roll)
    found = sample_next(hand, asked)
    tell_damage(hand)
    if sheet is not None:
        _write(sheet, found, hand, series)
    if as_json:
        print_json(next_samples_document(found, roll, series))
        return
    _show(found)


def _write(sheet: Path, found: NextSamples, hand: RollInHand, series: int) -> None:
    choice = found.choice
    if choice is None:
        tell(f"No sheet is written: {samples_words(found)}")
        return
    head = SamplesHead(
        roll=hand.desk.card.name,
        product=hand.desk.product.name,
        plant=hand.desk.plant.name,
        datum_edge=hand.desk.plant.datum_edge,
        series=series,
    )
    text = draw_samples(choice) if sheet.suffix.lower() == ".svg" else render_samples(found, choice, head)
    write_whole(sheet, text.encode())
    tell(f"sheet: {sheet}")


def _show(found: NextSamples) -> None:
    say(samples_words(found))
    if not found.choices:
        return
    print_table(rich_table(choices_grid(found)))
    choice = found.choice
    if choice is not None:
        print_table(rich_table(predictions_grid(choice)))
        for line in telling_words(choice):
            say(line)
    say(CAUTION)
