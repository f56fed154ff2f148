"""The command that brings everything together: decide."""

from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Final

import typer

from wideroll.cli.app import EXIT_HOLD, EXIT_REJECT, app
from wideroll.cli.complaint_lines import open_complaint_lines
from wideroll.cli.console import print_json, print_table, say, tell
from wideroll.cli.explaining import About, Explain, check_about, explain_roll, show_explanation
from wideroll.cli.options import CAUTION, Json, PlantArg, RollArg, Who, misused
from wideroll.cli.rolls import RollInHand, take_in_hand, tell_damage
from wideroll.cli.sealing import (
    decision_document,
    drop_changed_stages,
    outputs_as_recorded,
    record_decision,
    sealing,
)
from wideroll.cli.superseding import reasons, superseding_words
from wideroll.cli.taking_in import take_in_first
from wideroll.cli.whoever import who_acts
from wideroll.release import CostTable, Decision, Verdict
from wideroll.repeats import Candidate
from wideroll.report import (
    costs_table,
    cut_head_of,
    cut_json,
    cut_list_csv,
    decision_table,
    missing_table,
    render_cut_sheet,
    render_sheet,
)
from wideroll.slitting import CutPlan
from wideroll.store import FOLDERS, Standing, json_bytes, list_folders, read_json, sealed_bytes, write_json, write_whole
from wideroll.workflow import Assessment, assess_roll
from wideroll.workflow.maker_words import likely_makers
from wideroll.workflow.measured import measured_document

__all__ = ["EXIT_OF", "Decided", "Planned", "decide", "decide_roll", "who_acts"]

EXIT_OF: Final = {Verdict.RELEASE: 0, Verdict.CUT_OUT: 0, Verdict.HOLD: EXIT_HOLD, Verdict.REJECT: EXIT_REJECT}
_DECISION: Final = "decision.json"
_EMPTY: Final = "must say something"
_WHY: Final = "Why the decision before is superseded, in your words; what changed of the files is recorded by itself."
_MEASURED: Final = "measured.json"
_FILES: Final = (
    "cut.csv",
    "cut.html",
    "cut.json",
    "sheet.html",
    _MEASURED,
    "state/decision.json",
    "state/plan.json",
    "state/costs.json",
    "marks.parquet",
    "chips",
    "overview.zarr",
    "channel-matches.parquet",
    "state/scan.json",
    "state/detection.json",
    "state/series.json",
    FOLDERS,
)


Why = Annotated[str | None, typer.Option(metavar="TEXT", help=_WHY)]


@dataclass(frozen=True, slots=True, kw_only=True)
class Decided:
    """A decision with its plan as they stand on disk."""

    document: dict[str, Any]
    decision: Decision
    plan: CutPlan | None
    folder: Path
    costs: CostTable | None
    fresh: bool
    """True when nothing was stale and nothing was computed."""
    standing: Standing
    """What stood on the roll in the record when this was read, or since this was added to it."""
    assessment: Assessment | None = None
    """What a decision just made was made from."""
    supersedes: str = ""
    """Which decision was superseded by one just recorded, and why, in words."""


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


def decide_roll(hand: RollInHand, *, who: str | None, why: str = "") -> Decided:
    """The decision on a roll: the one on disk when its inputs are the same, else a new one, written and recorded.

    What is new of its files is taken in first.
    """
    after = take_in_first(hand, who=who)
    kept = _kept(hand, after)
    if kept is not None:
        return kept
    who = who_acts(who)
    drop_changed_stages(hand)
    assessment = assess_roll(hand.desk)
    tell_damage(hand)
    # What the decision rests on beside the roll's files is known only now.
    mark = hand.fingerprint
    document = decision_document(hand, assessment)
    with sealing([hand], [after], who=who) as store:
        _write(hand, assessment, mark)
        made = {name: sealed_bytes(path) for name in _FILES if (path := hand.results.path / name).exists()}
        made |= {_DECISION: json_bytes(document)}
        because = reasons(hand, store, document, why=why)
        sealed = record_decision(store, hand, document, made, who=who, after=after, because=because)
        # Last, so that a decision that stands has its files and its place in the record, wherever the work was stopped.
        write_json(hand.results.path / _DECISION, document)
    return Decided(
        document=document,
        decision=assessment.decision,
        plan=assessment.plan,
        folder=hand.results.path,
        costs=assessment.costs,
        fresh=False,
        standing=sealed.standing,
        assessment=assessment,
        supersedes=superseding_words(sealed),
    )


def _kept(hand: RollInHand, standing: Standing) -> Decided | None:
    # A version that kept no measured values left a decision that the history of rolls would lack.
    there = all((hand.results.path / name).is_file() for name in (_DECISION, _MEASURED))
    if not there or not outputs_as_recorded(hand):
        return None
    mark = hand.fingerprint
    decision = hand.results.load("state/decision", Decision, mark)
    plan = hand.results.load("state/plan", Planned, mark)
    costed = hand.results.load("state/costs", Costed, mark)
    if decision is None or plan is None or costed is None:
        return None
    return Decided(
        document=read_json(hand.results.path / _DECISION),
        decision=decision,
        plan=plan.plan,
        folder=hand.results.path,
        costs=costed.costs,
        fresh=True,
        standing=standing,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Planned:
    """A plan, or none where the roll is rejected."""

    plan: CutPlan | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Costed:
    """Expected costs, or none where the product gives no costs."""

    costs: CostTable | None


def _write(hand: RollInHand, assessment: Assessment, mark: str) -> None:
    """Each file is replaced whole."""
    folder, plan, head = hand.results.path, assessment.plan, cut_head_of(assessment)
    write_whole(folder / "cut.csv", cut_list_csv(plan, head).encode())
    write_whole(folder / "cut.html", render_cut_sheet(plan, head).encode())
    write_json(folder / "cut.json", cut_json(plan, head))
    write_json(folder / _MEASURED, measured_document(assessment))
    write_whole(folder / "sheet.html", render_sheet(assessment, fingerprint=mark).encode())
    hand.results.save("state/decision", assessment.decision, mark)
    hand.results.save("state/plan", Planned(plan=assessment.plan), mark)
    hand.results.save("state/costs", Costed(costs=assessment.costs), mark)
    write_json(folder / FOLDERS, list_folders(folder, _FILES))


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
