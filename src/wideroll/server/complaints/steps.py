"""The steps of a case as forms: what each asks for, when it may be taken, and what it does."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final

from wideroll.errors import InputError

if TYPE_CHECKING:
    from wideroll.record import Json
    from wideroll.workflow.complaint_model import Complaint, Finding

__all__ = ["FIELDS", "FINDINGS", "LOOKED_AT", "STEPS", "StepForm", "Taking", "may_follow", "open_case", "take"]


@dataclass(frozen=True, slots=True, kw_only=True)
class StepForm:
    """A step: its name in addresses, what its link and its button say, and its fields."""

    name: str
    title: str
    button: str
    fields: tuple[str, ...]


STEPS: Final[Mapping[str, StepForm]] = {
    one.name: one
    for one in (
        StepForm(name="add", title="Add what else is known", button="Add to {}", fields=("saw", "place", "photos")),
        StepForm(
            name="ask",
            title="Ask for retained samples",
            button="Ask for the samples of {}",
            fields=("samples",),
        ),
        StepForm(
            name="look",
            title="Say what a sample shows",
            button="Add the look to {}",
            fields=("sample", "there", "saw", "photos"),
        ),
        StepForm(
            name="find",
            title="Say whose the fault is",
            button="Set down the finding of {}",
            fields=("finding", "why", "looked_at"),
        ),
        StepForm(name="close", title="Close the case", button="Close {}", fields=("outcome",)),
        StepForm(name="reopen", title="Open the case again", button="Open {} again", fields=("why",)),
    )
}

FINDINGS: Final[Mapping[str, str]] = {
    "ours": "ours: it was there when the roll left us",
    "handling": "handling after it left us: storage, transport, loading",
    "camera": "the camera",
    "lab": "the lab",
    "unknown": "not known: what there is was looked at, and it doesn't tell",
}
LOOKED_AT: Final[Mapping[str, str]] = {
    "trace": "the trace",
    "photograph": "photographs",
    "sample": "retained samples",
}
FIELDS: Final[Mapping[str, str]] = {
    "--saw": "saw",
    "--at": "place",
    "place on": "place",
    "--samples": "samples",
    "--sample": "sample",
    "--why": "why",
    "--outcome": "outcome",
    "--reference": "reference",
    "finished roll": "finished",
    "photo": "photos",
    "finding": "finding-ours",
}
"""The field for a part of where an act says that something is wrong."""


def may_follow(case: "Complaint") -> tuple[StepForm, ...]:
    """The steps that may be taken now, what the case needs next first."""
    from wideroll.workflow.complaints import looked_at  # noqa: PLC0415  (loads the rooms)

    if case.closed:
        return (STEPS["reopen"],)
    if any(one.waited_for for one in case.samples):
        first = "look"
    elif case.finding is not None:
        first = "close"
    else:
        first = "find" if looked_at(case) else "add"
    names = ("add", "ask", "look", "find", *(("close",) if case.finding is not None else ()))
    return tuple(STEPS[name] for name in (first, *(name for name in names if name != first)))


def open_case(root: Path, typed: Mapping[str, str], at: str | None, *, photos: Sequence[Path], who: str) -> "Complaint":
    """Open a case.

    Args:
        root: the plant's folder.
        typed: what stands in the form.
        at: the place, with its end; None for all of the roll.
        photos: files that came with it.
        who: opens it.

    Raises:
        InputError: when anything can't be used; nothing is added then.
        RecordError: when the record doesn't hold.
    """
    from wideroll.acts.complaint_desk import open_complaint  # noqa: PLC0415  (loads the store)

    untraced = bool(typed.get("untraced"))
    if untraced and at is not None:
        raise InputError(
            where="place on the roll",
            rule="a place is what is traced",
            mend="Leave it empty where the finished roll isn't known here.",
        )
    return open_complaint(
        root,
        typed.get("finished", "").strip(),
        saw=typed.get("saw", ""),
        at=at,
        reference=typed.get("reference", "").strip(),
        untraced=untraced,
        photos=photos,
        who=who,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Taking:
    """What somebody does with a case: texts as typed, the place with its end, ticks, files."""

    step: str
    typed: Mapping[str, str]
    at: str | None = None
    looked_at: Sequence[str] = ()
    photos: Sequence[Path] = ()
    who: str


def take(root: Path, case: str, taking: Taking) -> "Complaint":
    """Take a step.

    Args:
        root: the plant's folder.
        case: its name.
        taking: what is done.

    Raises:
        InputError: when anything can't be used, or the step may not follow; nothing is added then.
        RecordError: when the record doesn't hold.
    """
    from wideroll.acts.complaint_desk import add_to_complaint, take_step  # noqa: PLC0415  (loads the store)

    if taking.step == "add":
        saw = taking.typed.get("saw", "")
        return add_to_complaint(root, case, saw=saw, at=taking.at, photos=taking.photos, who=taking.who)
    return take_step(root, case, _body(taking), photos=taking.photos, who=taking.who)


def _body(taking: Taking) -> "dict[str, Json]":
    from wideroll.workflow import complaint_steps as said  # noqa: PLC0415
    from wideroll.workflow.complaint_model import LookedAt  # noqa: PLC0415

    typed = taking.typed
    if taking.step == "ask":
        return said.sample_asking([line for line in typed.get("samples", "").splitlines() if line.strip()])
    if taking.step == "look":
        there = typed.get("there") != "no"
        return said.looking(sample=typed.get("sample", ""), saw=typed.get("saw", ""), there=there)
    if taking.step == "find":
        rests = [LookedAt(one) for one in taking.looked_at if one in LOOKED_AT]
        return said.finding_of(_finding(typed.get("finding", "")), why=typed.get("why", ""), looked_at=rests)
    if taking.step == "close":
        return said.closing(outcome=typed.get("outcome", ""))
    return said.reopening(why=typed.get("why", ""))


def _finding(name: str) -> "Finding":
    from wideroll.workflow.complaint_model import Finding  # noqa: PLC0415

    if name not in FINDINGS:
        raise InputError(where="finding", rule="one must be chosen", mend="Choose whose the fault is.")
    return Finding(name)
