"""decide --explain: the kept decision made again from its evidence, and the whole chain behind it."""

import os
import sys
from pathlib import Path
from typing import Annotated, Final

import typer

from wideroll.cli.console import data_console, print_json, say
from wideroll.cli.options import misused
from wideroll.cli.rolls import RollInHand
from wideroll.cli.sealing import assessment_behind, decision_event
from wideroll.readers.raster_segments import SegmentedRaster
from wideroll.release import NEEDED
from wideroll.report.explanation import (
    Entry,
    Input,
    Node,
    Origins,
    Segment,
    explain,
    explanation_json,
    named_with,
    outline,
)
from wideroll.scan import LinePlaces
from wideroll.workflow import Assessment

__all__ = ["About", "Explain", "check_about", "explain_roll", "show_explanation"]

Explain = Annotated[
    bool, typer.Option("--explain", help="The whole chain from the verdict to readings, marks and files.")
]
About = Annotated[
    str | None, typer.Option(metavar="TEXT", help="With --explain: only criteria whose name contains the text.")
]
_WIDEST: Final = 120


def check_about(about: str | None, hand: RollInHand, *, explained: bool) -> None:
    """Refuse --about where nothing is explained or no criterion has such a name, before any work is done."""
    if about is None:
        return
    if not explained:
        wrong = "goes with --explain"
        raise misused(wrong, "--about")
    known = [*(criterion.name for criterion in hand.desk.product.criteria), NEEDED]
    if not named_with(about, known):
        wrong = f"no criterion's name contains {about!r}; the criteria are: {', '.join(known)}"
        raise misused(wrong, "--about")


def explain_roll(hand: RollInHand, assessment: Assessment | None, about: str | None) -> Node:
    """The chain behind the roll's decision as it stands on disk and in the record.

    Args:
        hand: the roll, decided.
        assessment: from which the decision was just made; None makes it again from the same inputs.
        about: text that the criteria to explain contain; None explains all.

    Raises:
        RecordError: when the decision made again isn't the one that stands.
    """
    again = assessment_behind(hand, assessment)
    names = dict.fromkeys(finding.criterion for finding in again.decision.findings)
    return explain(again, _origins(hand), about=None if about is None else named_with(about, names))


def show_explanation(node: Node, *, as_json: bool, about: str | None) -> None:
    """The tree, as an outline or as one document."""
    if as_json:
        print_json(explanation_json(node))
        return
    width = min(data_console().width, _WIDEST)
    for number, line in enumerate(outline(node, width=width, brief=about is None)):
        say(line, style="bold" if number == 0 and sys.stdout.isatty() else "")


def _origins(hand: RollInHand) -> Origins:
    event = decision_event(hand)
    outputs = {} if event is None else event.body.get("outputs")
    return Origins(
        roll=hand.desk.card.name,
        fingerprint=hand.fingerprint,
        inputs=tuple(
            Input(name=name, content=content, size_bytes=(hand.root / name).stat().st_size)
            for name, content in hand.inputs.items()
        ),
        segments=_segments(hand),
        entry=None
        if event is None
        else Entry(
            number=event.number,
            who=event.who,
            when_utc=event.when_utc,
            version=event.version,
            digest=event.digest,
            outputs={name: str(content) for name, content in outputs.items()} if isinstance(outputs, dict) else {},
        ),
        compared_with=hand.compared_with,
        measurements=hand.desk.properties(),
    )


def _segments(hand: RollInHand) -> tuple[Segment, ...]:
    """Which stretch of web each file of the scan holds."""
    raster = hand.desk.raster()
    if not isinstance(raster, SegmentedRaster):
        return ()
    along_m = (raster.places or LinePlaces.steady(raster.pitch_mm[0])).along_m
    return tuple(
        Segment(
            name=Path(os.path.relpath(file.path, hand.root)).as_posix(),
            along_from_m=float(along_m(float(start))),
            along_to_m=float(along_m(float(start + file.lines))),
        )
        for start, file in zip(raster.starts, raster.files, strict=True)
    )
