"""Complaints as cases: what may follow on what, what is missing, and which cases touch a roll or batch.

A finding needs a look at something; closing needs a finding; a closed case stays as it is until it is reopened with a
reason, which takes the finding back.
"""

from collections.abc import Collection, Mapping, Sequence
from typing import Final

from wideroll.errors import InputError
from wideroll.record import Json
from wideroll.workflow.complaint_model import (
    Complaint,
    ComplaintState,
    Finding,
    LookedAt,
    Step,
    Touched,
    case_name,
)
from wideroll.workflow.tracing_model import Trace

__all__ = [
    "case_of",
    "looked_at",
    "missing_next",
    "next_number",
    "next_step",
    "of_batches",
    "of_roll",
    "still_open",
    "touched_by",
]

_MOST_NAMED: Final = 8


def next_step(cases: Sequence[Complaint], number: int | None, body: Mapping[str, Json]) -> dict[str, Json]:
    """The body of the event that is to be added, held to be what may follow.

    Args:
        cases: as they stand.
        number: of the case; None opens a new one, which gets the next number.
        body: what is said (``complaint_steps``).

    Raises:
        InputError: when there is no such case, or the step may not follow on its last.

    Example:
        >>> from wideroll.workflow.complaint_steps import opening
        >>> next_step((), None, opening(finished="W-1/001-01", saw="a scratch"))["case"]
        'C-0001'
    """
    if number is None:
        return {**body, "case": case_name(next_number(cases)), "rolls": _rolls(body)}
    case = case_of(cases, number)
    _check(case, body)
    rolls = list(dict.fromkeys([*case.rolls, *_rolls(body)]))
    return {**body, "case": case.name, "finished": case.finished, "rolls": list(rolls)}


def next_number(cases: Sequence[Complaint]) -> int:
    """The number that the next case gets."""
    return max((one.number for one in cases), default=0) + 1


def case_of(cases: Sequence[Complaint], number: int) -> Complaint:
    """The case of a number.

    Raises:
        InputError: when there is none.
    """
    found = next((one for one in cases if one.number == number), None)
    if found is not None:
        return found
    last = cases[-_MOST_NAMED:]
    known = f"The last are: {', '.join(one.name for one in last)}." if last else "No complaint was opened yet."
    raise InputError(where="case", rule="must be a case of this plant", value=case_name(number), mend=known)


def missing_next(case: Complaint) -> tuple[str, ...]:
    """What the case still needs, in the order it is needed; nothing for a closed one."""
    if case.closed:
        return ()
    waiting = [one.name for one in case.samples if one.waited_for]
    missing = [f"look at the retained samples: {', '.join(waiting)}"] if waiting else []
    if case.finding is None:
        if not (looked_at(case) or waiting):
            missing.append("get something to look at: a photograph, a retained sample, or the place on the roll")
        return (*missing, "say whose the fault is, and why")
    if case.finding is Finding.OURS and not case.recalls:
        missing.append("write the recall list of the sister rolls, or say in the outcome why there is none")
    return (*missing, "close it with its outcome")


def looked_at(case: Complaint) -> tuple[LookedAt, ...]:
    """What there is that a finding can rest on: a trace that leads somewhere, a photograph, a sample that is there."""
    there = {
        LookedAt.TRACE: bool(case.touched),
        LookedAt.PHOTOGRAPH: bool(case.photos),
        LookedAt.SAMPLE: any(one.there for one in case.samples),
    }
    return tuple(one for one, known in there.items() if known)


def touched_by(trace: Trace) -> tuple[Touched, ...]:
    """The coated web that a trace leads to."""
    return tuple(
        Touched(
            roll=one.roll,
            batches=one.batches,
            along_from_m=one.extent.along_from_m,
            along_to_m=one.extent.along_to_m,
        )
        for one in trace.stretches
    )


def still_open(cases: Sequence[Complaint]) -> tuple[Complaint, ...]:
    """Those that aren't closed."""
    return tuple(one for one in cases if one.state is not ComplaintState.CLOSED)


def of_roll(cases: Sequence[Complaint], roll: str) -> tuple[Complaint, ...]:
    """Those that touch a wide roll."""
    return tuple(one for one in cases if roll in one.rolls)


def of_batches(cases: Sequence[Complaint], batches: Collection[str]) -> tuple[Complaint, ...]:
    """Those that touch one of the batches, on whichever roll."""
    return tuple(one for one in cases if not set(batches).isdisjoint(one.batches))


def _rolls(body: Mapping[str, Json]) -> list[Json]:
    touched = body.get("touched")
    named = [one["roll"] for one in touched if isinstance(one, dict)] if isinstance(touched, list) else []
    return list(dict.fromkeys(str(one) for one in named))


def _check(case: Complaint, body: Mapping[str, Json]) -> None:
    step = Step(str(body["step"]))
    if case.closed and step is not Step.REOPENED:
        last = case.steps[-1]
        raise _refused(
            case,
            "a closed case must be reopened before anything is added to it",
            f"closed by {last.who} on {last.when_utc[:10]}",
            f'Give the reason: wideroll complaint reopen PLANT {case.name} --why "…".',
        )
    if step is Step.REOPENED and not case.closed:
        raise _refused(case, "only a closed case can be reopened", case.state.value, "Go on with it as it is.")
    if step is Step.SEEN and not (body["saw"] or body.get("files") or body.get("touched")):
        raise _refused(case, "something must be added", "nothing", "Give --saw, --photo or --at.")
    if step is Step.FOUND:
        _check_finding(case, body)
    if step is Step.ASKED:
        _check_samples(case, body)
    if step is Step.CLOSED and case.finding is None:
        raise _refused(
            case,
            "closing it needs a finding",
            "none",
            "Say it first: wideroll complaint find PLANT CASE ours|handling|camera|lab|unknown.",
        )


def _check_finding(case: Complaint, body: Mapping[str, Json]) -> None:
    known = looked_at(case)
    said = body["looked_at"]
    rests = [LookedAt(str(one)) for one in said] if isinstance(said, list) else []
    lacking = [one for one in rests if one not in known]
    if rests and not lacking:
        return
    mend = (
        f"This case has: {', '.join(known)}. Name with --looked-at what was looked at."
        if known
        else "Trace the roll, add a photograph, or ask for a retained sample and look at it."
    )
    raise _refused(
        case,
        "a finding needs a look at a trace, a photograph or a sample of the case",
        ", ".join(lacking) or "none",
        mend,
    )


def _check_samples(case: Complaint, body: Mapping[str, Json]) -> None:
    samples = body["samples"]
    waiting = {one.name.casefold() for one in case.samples if one.waited_for}
    again = [str(one) for one in samples if str(one).casefold() in waiting] if isinstance(samples, list) else []
    if again:
        mend = "Look for it, or ask for another."
        raise _refused(case, "a sample that is waited for isn't asked for again", again[0], mend)


def _refused(case: Complaint, rule: str, value: str, mend: str) -> InputError:
    return InputError(where=f"case {case.name}", rule=rule, value=value, mend=mend)
