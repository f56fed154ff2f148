"""The command that says which stretch to sample next, and prints the sheet for it."""

from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Final

import typer

from wideroll.cli.app import app
from wideroll.cli.console import print_json, print_table, say, tell
from wideroll.cli.options import CAUTION, Json, PlantArg, RollArg, misused
from wideroll.cli.rolls import RollInHand, take_in_hand, tell_damage
from wideroll.cli.sampling import Seed, millimetres, seed_of
from wideroll.errors import InputError
from wideroll.repeats import NextSamples, SampleSettings, SeriesSearch, next_samples
from wideroll.report import rich_table
from wideroll.report.machine import plain
from wideroll.report.next_samples_picture import draw_samples
from wideroll.report.next_samples_sheet import SamplesHead, render_samples
from wideroll.report.next_samples_words import choices_grid, predictions_grid, samples_words, telling_words
from wideroll.store.files import write_whole

__all__ = ["next_samples_command"]

_COMING_M: Final = 30.0
"""Web that is still to come, where the whole roll was looked at and no stretch is named."""
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


@dataclass(frozen=True, slots=True, kw_only=True)
class _Asked:
    """The options."""

    series: int
    stretches: tuple[tuple[float, float], ...]
    tried: SampleSettings


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
    asked = _Asked(
        series=series,
        stretches=tuple((low / 1000.0, high / 1000.0) for low, high in zip(start or (), end or (), strict=True)),
        tried=SampleSettings(
            seed=seed_of(roll) if seed is None else seed,
            lengths_m=SampleSettings().lengths_m if length is None else (length / 1000.0,),
        ),
    )
    hand = take_in_hand(plant, roll)
    found = _found(hand, asked)
    tell_damage(hand)
    if sheet is not None:
        _write(sheet, found, hand, series)
    if as_json:
        print_json({"schema": "wideroll/next-samples/1", "roll": roll, "series": series, **_machine(found)})
        return
    _show(found)


def _found(hand: RollInHand, asked: _Asked) -> NextSamples:
    scan = hand.desk.scan()
    search = hand.desk.named_repeats(scan, hand.desk.examination(hand.desk.sheets(), scan))
    if scan is None or len(search) < asked.series:
        raise InputError(
            where="--series",
            rule=f"must be a series of the roll, of which there are {len(search)}",
            value=asked.series,
            mend="List them with `wideroll repeats PLANT ROLL`.",
        )
    return next_samples(
        scan.marks["along_m"].to_numpy(),
        scan.marks["across_mm"].to_numpy(),
        search[asked.series - 1],
        rollers=hand.desk.plant.rollers,
        observed=search.observed,
        can_sample=asked.stretches or _usual(search, hand.desk.card.length_m, min(asked.tried.lengths_m)),
        settings=search.settings,
        tried=asked.tried,
    )


def _usual(search: SeriesSearch, length_m: float, least_m: float) -> tuple[tuple[float, float], ...]:
    """Where nobody looked; where everything was looked at, the web that comes next."""
    ends = [0.0, *(place for pair in search.observed for place in pair), length_m]
    unseen = [(low, high) for low, high in zip(ends[::2], ends[1::2], strict=True) if high - low >= least_m]
    last = max((end for _, end in search.observed), default=length_m)
    return tuple(unseen) or ((last, last + _COMING_M),)


def _machine(found: NextSamples) -> dict[str, Any]:
    candidates = [{"roller": name, "probability": probability} for name, probability in found.candidates]
    return {**plain(found), "candidates": candidates, "words": samples_words(found)}


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
