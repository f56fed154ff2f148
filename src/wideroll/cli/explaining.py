"""decide --explain: its options, and the chain behind a decision as it is shown."""

import sys
from typing import Annotated, Final

import typer

from wideroll.acts.rolls import RollInHand
from wideroll.cli.console import data_console, print_json, say
from wideroll.cli.options import misused
from wideroll.release import NEEDED
from wideroll.report.explanation import Node, explanation_json, named_with, outline

__all__ = ["About", "Explain", "check_about", "show_explanation"]

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


def show_explanation(node: Node, *, as_json: bool, about: str | None) -> None:
    """The tree, as an outline or as one document."""
    if as_json:
        print_json(explanation_json(node))
        return
    width = min(data_console().width, _WIDEST)
    for number, line in enumerate(outline(node, width=width, brief=about is None)):
        say(line, style="bold" if number == 0 and sys.stdout.isatty() else "")
