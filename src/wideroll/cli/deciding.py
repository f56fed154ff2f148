"""The command that brings everything together: decide."""

from typing import Annotated, Any, Final

import typer

from wideroll.acts.complaint_lines import open_complaint_lines
from wideroll.acts.deciding import Decided, decide_roll
from wideroll.acts.explaining import explain_roll
from wideroll.acts.rolls import take_in_hand
from wideroll.cli.app import EXIT_HOLD, EXIT_REJECT, app
from wideroll.cli.console import print_json, print_table, say, tell
from wideroll.cli.explaining import About, Explain, check_about, show_explanation
from wideroll.cli.options import CAUTION, Json, PlantArg, RollArg, Who, misused
from wideroll.release import Verdict
from wideroll.repeats import Candidate
from wideroll.report import (
    costs_table,
    decision_table,
    missing_table,
)
from wideroll.workflow.maker_words import likely_makers

__all__ = ["EXIT_OF", "decide"]

EXIT_OF: Final = {Verdict.RELEASE: 0, Verdict.CUT_OUT: 0, Verdict.HOLD: EXIT_HOLD, Verdict.REJECT: EXIT_REJECT}
_EMPTY: Final = "must say something"
_WHY: Final = "Why the decision before is superseded, in your words; what changed of the files is recorded by itself."
Why = Annotated[str | None, typer.Option(metavar="TEXT", help=_WHY)]


@app.command()
def decide(
    plant: PlantArg,
    roll: RollArg,
    *,
    who: Who = None,
    why: Why = None,
    explain: Explain = False,
    about: About = None,
    as_json: Json = False,
) -> None:
    """Say for every part of a roll: release, hold, cut out or reject. Does all that is stale.

    \b
    Examples:
      wideroll decide demo W-2042
      wideroll decide demo W-2042 --explain --about streaks

    Exit code: 0 released (perhaps with parts cut out), 10 hold, 11 reject.
    """
    if why is not None and not why.strip():
        raise misused(_EMPTY, "--why")
    hand = take_in_hand(plant, roll)
    check_about(about, hand, explained=explain)
    done = decide_roll(hand, who=who, why=why or "")
    if why is not None and done.fresh:
        tell("--why isn't recorded: nothing was stale, so no decision was superseded.")
    if explain:
        show_explanation(explain_roll(hand, done.assessment, about), as_json=as_json, about=about)
    elif as_json:
        print_json(done.document)
    else:
        _show_decision(done)
    if not as_json:
        for line in open_complaint_lines(plant, roll, [batch.name for batch in hand.desk.card.batches]):
            say(line)
    raise typer.Exit(EXIT_OF[done.decision.verdict])


def _made_by(series: dict[str, Any]) -> str:
    if series["lap"] is not None:
        return f"lap print at radius {series['lap']['radius_mm']:.1f} mm"
    candidates = [Candidate(**one) for one in series["candidates"]]
    return " or ".join(
        f"{one.roller} ({100.0 * one.probability:.1f} %{'; ' if one.why else ''}{one.why})"
        for one in likely_makers(candidates)
    )


def _show_decision(done: Decided) -> None:
    decision = done.decision
    say(f"{done.document['roll']}: {decision.verdict.upper()}", style="bold")
    say(decision.why)
    print_table(decision_table(decision))
    print_table(missing_table(decision))
    if done.costs is not None:
        print_table(costs_table(done.costs))
    for one in done.document["detected"]:
        say(f"{one['criterion']}: {one['words']}")
    for series in done.document["series"]:
        say(
            f"repeating marks at {series['across_mm']:.0f} mm across, every {series['spacing_m'] * 1000:.1f} mm: "
            f"{_made_by(series)}"
        )
        say(CAUTION)
    say(f"sheet: {done.folder / 'sheet.html'}")
    if done.plan is not None:
        say(f"cut list: {done.folder / 'cut.html'}")
    if done.fresh:
        tell("Nothing was stale; this is the decision on record.")
    if done.supersedes:
        say(done.supersedes)
