"""The command that follows a roller from roll to roll."""

from wideroll.acts.cases import cases_document, follow_cases
from wideroll.cli.app import app
from wideroll.cli.console import print_json, print_table, say
from wideroll.cli.options import CAUTION, Json, PlantArg
from wideroll.report import rich_table
from wideroll.report.case_grids import cases_grid, cases_words

__all__ = ["cases"]


@app.command()
def cases(plant: PlantArg, *, as_json: Json = False) -> None:
    """Follow suspected rollers from roll to roll: which stand open, which were cleaned, and which came back.

    \b
    Examples:
      wideroll cases demo
      wideroll cases demo --json
    """
    followed = follow_cases(plant)
    found = followed.found
    if as_json:
        print_json(cases_document(followed))
        return
    print_table(rich_table(cases_grid(found)))
    for case in found.cases:
        for card in followed.closed_of(case):
            one = card.closing
            closed_by = f"closed {one.when_utc[:10]} by {one.who}"
            say(f"{case.roller}: card {one.card} of {card.roll}, {closed_by}: {one.cause}; {one.done}")
    for sentence in cases_words(found):
        say(sentence)
    if found.cases:
        say(CAUTION)
