"""One complaint as it stands, in names and what is known of them."""

from wideroll.report.complaint_trace import trace_facts_kept
from wideroll.report.complaint_words import FINDINGS, LOOKED_AT, place_words, touched_words
from wideroll.report.quantities import show_count
from wideroll.workflow.complaint_model import Complaint, RecallList

__all__ = ["case_facts", "finding_facts", "origin_facts"]


def case_facts(case: Complaint) -> tuple[tuple[str, str], ...]:
    """What it is about: finished roll, place, the customer's number, what was seen, since when."""
    first = case.steps[0]
    return (
        ("finished roll", case.finished),
        ("place", place_words(case)),
        *((("customer's number", case.reference),) if case.reference else ()),
        *(("seen", said) for said in case.saw),
        ("opened", f"{first.when_utc[:10]} by {first.who}"),
    )


def origin_facts(case: Complaint) -> tuple[tuple[str, str], ...]:
    """Which coated web it may come from, how far off that may be, and the decision it was sold by."""
    if not case.touched:
        return (("coated", "not known: the roll couldn't be traced"),)
    return (*(("coated", touched_words(one)) for one in case.touched), *trace_facts_kept(case.trace))


def finding_facts(case: Complaint) -> tuple[tuple[str, str], ...]:
    """What was found and how it ended, as far as that is known."""
    if case.finding is None:
        return ()
    return (
        ("finding", FINDINGS[case.finding]),
        ("why", case.why),
        ("looked at", ", ".join(LOOKED_AT[one] for one in case.looked_at)),
        *(("recall list", _recall(one)) for one in case.recalls),
        *((("outcome", case.outcome),) if case.closed else ()),
    )


def _recall(one: RecallList) -> str:
    return f"{show_count(len(one.rolls), 'finished roll')}, {one.when_utc[:10]} by {one.who} (event {one.number})"
