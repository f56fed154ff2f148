"""One complaint as it stands, in names and what is known of them."""

from collections.abc import Callable

from wideroll.report.complaint_trace import trace_facts_kept
from wideroll.report.complaint_words import FINDINGS, LOOKED_AT, place_words, touched_words
from wideroll.report.history_words import utc_day
from wideroll.report.quantities import show_count
from wideroll.workflow.complaint_model import Complaint, RecallList

__all__ = ["case_facts", "finding_facts", "origin_facts"]


def case_facts(case: Complaint, *, day: Callable[[str], str] = utc_day) -> tuple[tuple[str, str], ...]:
    """What it is about: finished roll, place, the customer's number, what was seen, since when.

    Args:
        case: that is told.
        day: makes a day of a moment.
    """
    first = case.steps[0]
    return (
        ("finished roll", case.finished),
        ("place", place_words(case)),
        *((("customer's number", case.reference),) if case.reference else ()),
        *(("seen", said) for said in case.saw),
        ("opened", f"{day(first.when_utc)} by {first.who}"),
    )


def origin_facts(case: Complaint, *, day: Callable[[str], str] = utc_day) -> tuple[tuple[str, str], ...]:
    """Which coated web it may come from, how far off that may be, and the decision it was sold by."""
    if not case.touched:
        return (("coated", "not known: the roll couldn't be traced"),)
    return (*(("coated", touched_words(one)) for one in case.touched), *trace_facts_kept(case.trace, day=day))


def finding_facts(case: Complaint, *, day: Callable[[str], str] = utc_day) -> tuple[tuple[str, str], ...]:
    """What was found and how it ended, as far as that is known; ``day`` makes a day of a moment."""
    if case.finding is None:
        return ()
    return (
        ("finding", FINDINGS[case.finding]),
        ("why", case.why),
        ("looked at", ", ".join(LOOKED_AT[one] for one in case.looked_at)),
        *(("recall list", _recall(one, day)) for one in case.recalls),
        *((("outcome", case.outcome),) if case.closed else ()),
    )


def _recall(one: RecallList, day: Callable[[str], str]) -> str:
    return f"{show_count(len(one.rolls), 'finished roll')}, {day(one.when_utc)} by {one.who} (event {one.number})"
