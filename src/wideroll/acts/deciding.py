"""The decision on a roll: the one that stands, or a new one, written and recorded."""

from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from wideroll.acts.rolls import RollInHand, tell_damage
from wideroll.acts.sealing import (
    decision_document,
    drop_changed_stages,
    outputs_as_recorded,
    record_decision,
    sealing,
)
from wideroll.acts.superseding import reasons, superseding_words
from wideroll.acts.taking_in import take_in_first
from wideroll.acts.whoever import who_acts
from wideroll.errors import InputError
from wideroll.release import CostTable, Decision
from wideroll.report import (
    cut_head_of,
    cut_json,
    cut_list_csv,
    render_cut_sheet,
    render_sheet,
)
from wideroll.slitting import CutPlan
from wideroll.store import FOLDERS, Standing, json_bytes, list_folders, read_json, sealed_bytes, write_json, write_whole
from wideroll.workflow import Assessment, assess_roll
from wideroll.workflow.measured import measured_document

__all__ = ["Costed", "Decided", "Planned", "decide_roll"]

_DECISION: Final = "decision.json"
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


def decide_roll(hand: RollInHand, *, who: str | None, why: str = "", only: str = "", signed: str = "") -> Decided:
    """The decision on a roll: the one on disk when its inputs are the same, else a new one, written and recorded.

    What is new of its files is taken in first.

    Args:
        hand: the roll.
        who: decides; None takes the name logged in with.
        why: the decision before is superseded, in the engineer's words.
        only: the fingerprint of what was looked at before; nothing else is decided when it is given.
        signed: how whoever decides put their name to it, in words; for the record.

    Raises:
        InputError: when a file has a fault, nobody is there to name, or the disk refuses; when the evidence isn't what
            was looked at before.
        OvertakenError: when somebody else sealed a decision or a cut of the roll meanwhile.
        RecordError: when the record doesn't hold.
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
    if only and mark != only:
        raise InputError(
            where=f"roll {hand.desk.card.name}",
            rule="what is sealed is what was looked at; the evidence changed meanwhile",
            mend="Look at the evidence again.",
        )
    document = decision_document(hand, assessment)
    with sealing([hand], [after], who=who) as store:
        _write(hand, assessment, mark)
        made = {name: sealed_bytes(path) for name in _FILES if (path := hand.results.path / name).exists()}
        made |= {_DECISION: json_bytes(document)}
        because = reasons(hand, store, document, why=why)
        sealed = record_decision(store, hand, document, made, who=who, after=after, because=because, signed=signed)
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
