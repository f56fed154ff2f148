"""The commands that bring everything together: decide and cut."""

import getpass
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated, Any, Final

import typer

from wideroll import __version__
from wideroll.cli.app import EXIT_HOLD, EXIT_REJECT, app
from wideroll.cli.console import message_console, print_json, print_table, say
from wideroll.cli.rolls import RollInHand, take_in_hand, tell_damage
from wideroll.record import canonical_bytes, digest
from wideroll.release import Decision, Verdict
from wideroll.report import cut_list_csv, cut_table, decision_table, missing_table, render_sheet
from wideroll.report.machine import cut_json, decision_json
from wideroll.slitting import CutPlan
from wideroll.store import RecordStore, read_json, write_json, write_whole
from wideroll.workflow import Assessment, assess_roll

__all__ = ["cut", "decide"]

Json = Annotated[bool, typer.Option("--json", help="One JSON document on standard output instead of tables.")]
PlantArg = Annotated[Path, typer.Argument(metavar="PLANT", help="Folder of the plant.")]
RollArg = Annotated[str, typer.Argument(metavar="ROLL", help="Name of the roll.")]
_EXIT: Final = {Verdict.RELEASE: 0, Verdict.CUT_OUT: 0, Verdict.HOLD: EXIT_HOLD, Verdict.REJECT: EXIT_REJECT}
_FILES: Final = ("cut.csv", "cut.json", "sheet.html")


@dataclass(frozen=True, slots=True, kw_only=True)
class Decided:
    """A decision with its plan as they stand on disk."""

    document: dict[str, Any]
    decision: Decision
    plan: CutPlan | None
    folder: Path
    fresh: bool
    """True when nothing was stale and nothing was computed."""


@app.command()
def decide(
    plant: PlantArg,
    roll: RollArg,
    *,
    who: Annotated[
        str | None, typer.Option(help="Who decides, for the record; by default the name you log in with.")
    ] = None,
    as_json: Json = False,
) -> None:
    """Say for every part of a roll: release, hold, cut out or reject. Does all that is stale.

    \b
    Examples:
      wideroll decide demo W-2042
      wideroll decide demo W-2042 --json

    Exit code: 0 released (perhaps with parts cut out), 10 hold, 11 reject.
    """
    done = decide_roll(take_in_hand(plant, roll), who=who)
    if as_json:
        print_json(done.document)
    else:
        _show_decision(done)
    raise typer.Exit(_EXIT[done.decision.verdict])


@app.command()
def cut(
    plant: PlantArg,
    roll: RollArg,
    *,
    who: Annotated[str | None, typer.Option(help="Who decides, for the record.")] = None,
    as_json: Json = False,
) -> None:
    """Plan the cut that keeps the most good film, from the decision; decides first where that is stale.

    \b
    Examples:
      wideroll cut demo W-2042
      wideroll cut demo W-2042 --json
    """
    done = decide_roll(take_in_hand(plant, roll), who=who)
    if as_json:
        print_json(read_json(done.folder / "cut.json"))
        return
    if done.plan is None:
        say(f"{roll} is rejected: there is nothing to cut.")
        return
    if done.decision.verdict is Verdict.HOLD:
        say("Provisional: the roll is on hold. Parts on hold are left out of the plan.")
    print_table(cut_table(done.plan))
    say(
        f"value {done.plan.value:,.1f} (no plan can exceed {done.plan.bound:,.1f}); "
        f"{len(done.plan.pieces)} pieces in {len(done.plan.runs)} runs"
    )
    say(f"cut list: {done.folder / 'cut.csv'}")


def decide_roll(hand: RollInHand, *, who: str | None) -> Decided:
    """The decision on a roll: the one on disk when its inputs are the same, else a new one, written and recorded."""
    kept = _kept(hand)
    if kept is not None:
        return kept
    assessment = assess_roll(hand.desk)
    tell_damage(hand)
    document = decision_json(assessment) | {"fingerprint": hand.fingerprint, "inputs": hand.inputs}
    _write(hand, assessment, document)
    _record(hand, document, who=who or getpass.getuser())
    return Decided(
        document=document,
        decision=assessment.decision,
        plan=assessment.plan,
        folder=hand.results.path,
        fresh=False,
    )


def _kept(hand: RollInHand) -> Decided | None:
    decision = hand.results.load("state/decision", Decision, hand.fingerprint)
    plan = hand.results.load("state/plan", Planned, hand.fingerprint)
    path = hand.results.path / "decision.json"
    if decision is None or plan is None or not all((hand.results.path / name).is_file() for name in _FILES):
        return None
    if not path.is_file():
        return None
    document = read_json(path)
    if document.get("fingerprint") != hand.fingerprint:
        return None
    return Decided(
        document=document,
        decision=decision,
        plan=plan.plan,
        folder=hand.results.path,
        fresh=True,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Planned:
    """A plan, or none where the roll is rejected."""

    plan: CutPlan | None


def _write(hand: RollInHand, assessment: Assessment, document: dict[str, Any]) -> None:
    """Each file is replaced whole; decision.json comes last, so it never speaks of files that aren't there."""
    folder = hand.results.path
    length_m = assessment.card.length_m
    write_whole(folder / "cut.csv", cut_list_csv(assessment.plan, length_m).encode())
    write_json(folder / "cut.json", cut_json(assessment.plan, length_m))
    write_whole(folder / "sheet.html", render_sheet(assessment).encode())
    hand.results.save("state/decision", assessment.decision, hand.fingerprint)
    hand.results.save("state/plan", Planned(plan=assessment.plan), hand.fingerprint)
    write_json(folder / "decision.json", document)


def _record(hand: RollInHand, document: dict[str, Any], *, who: str) -> None:
    body = {
        "roll": document["roll"],
        "product": document["product"],
        "verdict": document["verdict"],
        "why": document["why"],
        "inputs": hand.fingerprint,
        "decision": digest(canonical_bytes(document)),
    }
    with RecordStore(f"sqlite:///{hand.root / 'wideroll.db'}") as store:
        store.append(
            act="decision",
            who=who,
            when_utc=datetime.now(UTC).isoformat(timespec="seconds"),
            version=__version__,
            body=body,
        )


def _show_decision(done: Decided) -> None:
    decision = done.decision
    say(f"{done.document['roll']}: {decision.verdict.upper()}", style="bold")
    say(decision.why)
    print_table(decision_table(decision))
    print_table(missing_table(decision))
    for series in done.document["series"]:
        best = series["candidates"][0]
        say(
            f"repeating marks at {series['across_mm']:.0f} mm across, every {series['spacing_m'] * 1000:.1f} mm: "
            f"{best['roller']} ({best['probability']:.1%})"
        )
        message_console().print(
            "Caution: nip points and moving web. Lock out before touching a roller; site procedure, local code and "
            "licensed practice rule."
        )
    say(f"sheet: {done.folder / 'sheet.html'}")
    if done.fresh:
        message_console().print("Nothing was stale; this is the decision on record.")
