"""The events of the record, put together to cases."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from typing import Final

from wideroll.errors import InputError, RecordError
from wideroll.record import Event, Json
from wideroll.workflow.complaint_model import (
    COMPLAINT,
    RECALL,
    Complaint,
    ComplaintStep,
    Finding,
    LookedAt,
    Photo,
    RecallList,
    Sample,
    Step,
    Touched,
)
from wideroll.workflow.complaint_steps import case_number

__all__ = ["fold_complaints"]


def fold_complaints(events: Iterable[Event]) -> tuple[Complaint, ...]:
    """The cases as they stand, in the order they were opened.

    Args:
        events: of the record in order; only complaints and recall lists are looked at.

    Raises:
        RecordError: at an event that says something that no step of a complaint says.

    Example:
        >>> from wideroll.record import append_event
        >>> from wideroll.workflow.complaint_steps import opening
        >>> body = opening(finished="W-1/001-01", saw="a scratch") | {"case": "C-0001"}
        >>> when = "2026-03-01T08:00:00Z"
        >>> event = append_event(None, act="complaint", who="C. Desk", when_utc=when, version="0.1.0", body=body)
        >>> [(case.name, case.state.value, case.saw) for case in fold_complaints([event])]
        [('C-0001', 'open', ('a scratch',))]
    """
    cases: dict[int, Complaint] = {}
    before: list[Event] = []
    for event in events:
        try:
            if event.act == COMPLAINT:
                number = case_number(str(event.body["case"]))
                step = Step(str(event.body["step"]))
                case = _opened(number, event, before) if step is Step.OPENED else _THEN[step](cases[number], event.body)
                cases[number] = replace(case, steps=(*case.steps, _step(event, step)))
            elif event.act == RECALL:
                meant = [case for case in cases.values() if _recalls(event, case)]
                for case in meant:
                    cases[case.number] = replace(case, recalls=(*case.recalls, _recall(event)))
                before += () if meant else (event,)
        except (KeyError, TypeError, ValueError, InputError) as error:
            raise RecordError(
                where=f"event {event.number}",
                rule="must be a step of a complaint that was opened",
                value=str(error),
                mend="Read it with the version of wideroll that wrote it, or a newer one.",
            ) from error
    return tuple(cases[number] for number in sorted(cases))


def _opened(number: int, event: Event, before: Sequence[Event]) -> Complaint:
    """A new case; a recall list of its roll that no case was meant by, being older than all of them, counts for it."""
    body = event.body
    recalled = (one for one in before if not one.body.get("case") and one.body.get("finished") == body.get("finished"))
    return Complaint(
        number=number,
        finished=_text(body, "finished"),
        at=_text(body, "at"),
        reference=_text(body, "reference"),
        saw=(_text(body, "saw"),),
        photos=_photos(body),
        samples=(),
        trace=_trace(body),
        touched=_touched(body),
        finding=None,
        why="",
        looked_at=(),
        outcome="",
        closed=False,
        steps=(),
        recalls=tuple(map(_recall, recalled)),
    )


def _seen(case: Complaint, body: Mapping[str, Json]) -> Complaint:
    said = _text(body, "saw")
    case = replace(case, saw=(*case.saw, said) if said else case.saw, photos=_more_photos(case, body))
    if "trace" not in body:
        return case
    return replace(case, at=_text(body, "at"), trace=_trace(body), touched=_touched(body))


def _asked(case: Complaint, body: Mapping[str, Json]) -> Complaint:
    samples = body["samples"]
    if not isinstance(samples, list):
        raise TypeError(samples)
    named = {one.name.casefold(): one for one in case.samples}
    for name in map(str, samples):
        held = named.get(name.casefold(), Sample(name=name, waited_for=True))
        named[name.casefold()] = replace(held, waited_for=True)
    return replace(case, samples=tuple(named.values()))


def _looked(case: Complaint, body: Mapping[str, Json]) -> Complaint:
    name = _text(body, "sample")
    named = {one.name.casefold(): one for one in case.samples}
    held = named.get(name.casefold(), Sample(name=name, waited_for=False))
    there = body["there"] is True
    named[name.casefold()] = replace(held, waited_for=False, there=there, saw=(*held.saw, _text(body, "saw")))
    return replace(case, samples=tuple(named.values()), photos=_more_photos(case, body))


def _found(case: Complaint, body: Mapping[str, Json]) -> Complaint:
    looked_at = body["looked_at"]
    if not isinstance(looked_at, list):
        raise TypeError(looked_at)
    return replace(
        case,
        finding=Finding(_text(body, "finding")),
        why=_text(body, "why"),
        looked_at=tuple(LookedAt(str(one)) for one in looked_at),
    )


def _closed(case: Complaint, body: Mapping[str, Json]) -> Complaint:
    return replace(case, closed=True, outcome=_text(body, "outcome"))


def _reopened(case: Complaint, _: Mapping[str, Json]) -> Complaint:
    return replace(case, closed=False, outcome="", finding=None, why="", looked_at=())


_THEN: Final[Mapping[Step, Callable[[Complaint, Mapping[str, Json]], Complaint]]] = {
    Step.SEEN: _seen,
    Step.ASKED: _asked,
    Step.LOOKED: _looked,
    Step.FOUND: _found,
    Step.CLOSED: _closed,
    Step.REOPENED: _reopened,
}


def _step(event: Event, step: Step) -> ComplaintStep:
    return ComplaintStep(
        number=event.number,
        step=step.value,
        who=event.who,
        when_utc=event.when_utc,
        digest=event.digest,
        words=_said(step, event.body),
    )


def _said(step: Step, body: Mapping[str, Json]) -> str:
    """What a step says, in one line."""
    files = body.get("files")
    count = len(files) if isinstance(files, dict) else 0
    photographs = f"{count} photograph{'s' if count > 1 else ''}" if count else ""
    at = _text(body, "at")
    named = body.get("samples")
    samples = ", ".join(map(str, named)) if isinstance(named, list) else _text(body, "sample")
    finding = body.get("finding")
    parts = {
        Step.OPENED: (_text(body, "saw"), at, photographs),
        Step.SEEN: (_text(body, "saw"), at, photographs),
        Step.ASKED: (samples,),
        Step.LOOKED: (f"{samples}: {_text(body, 'saw')}", photographs),
        Step.FOUND: (f"{finding}: {_text(body, 'why')}",),
        Step.CLOSED: (_text(body, "outcome"),),
        Step.REOPENED: (_text(body, "why"),),
    }
    return "; ".join(part for part in parts[step] if part)


def _recalls(event: Event, case: Complaint) -> bool:
    """By the case's number, or else by its finished roll."""
    named = event.body.get("case")
    if named:
        return case_number(str(named)) == case.number
    return event.body.get("finished") == case.finished


def _recall(event: Event) -> RecallList:
    rolls = event.body.get("rolls")
    return RecallList(
        number=event.number,
        who=event.who,
        when_utc=event.when_utc,
        rolls=tuple(map(str, rolls)) if isinstance(rolls, list) else (),
    )


def _text(body: Mapping[str, Json], name: str) -> str:
    value = body.get(name, "")
    if not isinstance(value, str):
        raise TypeError(name)
    return value


def _trace(body: Mapping[str, Json]) -> Mapping[str, Json]:
    trace = body["trace"]
    if not isinstance(trace, dict):
        raise TypeError(trace)
    return trace


def _touched(body: Mapping[str, Json]) -> tuple[Touched, ...]:
    touched = body["touched"]
    if not isinstance(touched, list):
        raise TypeError(touched)
    return tuple(_touch(one) for one in touched)


def _touch(one: Json) -> Touched:
    if not isinstance(one, dict):
        raise TypeError(one)
    start, end, batches = one["along_from_m"], one["along_to_m"], one["batches"]
    if not (isinstance(start, int | float) and isinstance(end, int | float) and isinstance(batches, list)):
        raise TypeError(one)
    return Touched(roll=_text(one, "roll"), batches=tuple(map(str, batches)), along_from_m=start, along_to_m=end)


def _photos(body: Mapping[str, Json]) -> tuple[Photo, ...]:
    files, names = body.get("files", {}), body.get("names", {})
    if not (isinstance(files, dict) and isinstance(names, dict)):
        raise TypeError(files)
    return tuple(Photo(name=_text(names, file), file=file, sha256=_text(files, file)) for file in sorted(files))


def _more_photos(case: Complaint, body: Mapping[str, Json]) -> tuple[Photo, ...]:
    held = {photo.file: photo for photo in case.photos}
    return tuple((held | {photo.file: photo for photo in _photos(body) if photo.file not in held}).values())
