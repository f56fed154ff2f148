"""One complaint as it stands, in names and what is known of them."""

from wideroll.report.complaint_trace import trace_facts_kept
from wideroll.report.complaint_words import FINDINGS, LOOKED_AT, place_words
from wideroll.report.quantities import show_count
from wideroll.workflow.complaint_model import Complaint, RecallList

__all__ = ["case_facts", "finding_facts"]


def case_facts(case: Complaint) -> tuple[tuple[str, str], ...]:
    """What it is about: finished roll, place, the customer's number, what was seen, since when."""
    first = case.steps[0]
    return (
        ("finished roll", case.finished),
        ("place", place_words(case)),
        *((("customer's number", case.reference),) if case.reference else ()),
        *(("seen", said) for said in case.saw),
        *trace_facts_kept(case.trace),
        ("opened", f"{first.when_utc[:10]} by {first.who}"),
    )


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
