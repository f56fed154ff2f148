"""Complaints in words: the one line beside a decision, what a case touches, what to do next."""

from collections.abc import Sequence
from typing import Final

from wideroll.report.quantities import show_number
from wideroll.workflow.complaint_model import Complaint, Finding, LookedAt, Touched
from wideroll.workflow.complaints import missing_next

__all__ = ["FINDINGS", "LOOKED_AT", "next_words", "open_line", "place_words", "recall_command", "touched_words"]

FINDINGS: Final = {
    Finding.OURS: "ours",
    Finding.HANDLING: "handling after it left us",
    Finding.CAMERA: "camera",
    Finding.LAB: "lab",
    Finding.UNKNOWN: "not known",
}
LOOKED_AT: Final = {
    LookedAt.TRACE: "the trace",
    LookedAt.PHOTOGRAPH: "photographs",
    LookedAt.SAMPLE: "retained samples",
}
_MOST_NAMED: Final = 5
_FEW_LETTERS: Final = 40


def open_line(cases: Sequence[Complaint]) -> str:
    """Open complaints in one line, each with what was seen; empty where there are none."""
    if not cases:
        return ""
    named = "; ".join(f"{case.name} {_short(case.saw[0])}" for case in cases[:_MOST_NAMED])
    more = f"; and {len(cases) - _MOST_NAMED} more" if len(cases) > _MOST_NAMED else ""
    return f"open complaints: {len(cases)} ({named}{more})"


def touched_words(one: Touched) -> str:
    """A stretch of coated web, its wide roll and batch."""
    named = "batch" if len(one.batches) == 1 else "batches"
    batch = f", {named} {', '.join(one.batches)}" if one.batches else ", batch not known"
    return f"{one.roll}, {show_number(one.along_from_m, 2)} to {show_number(one.along_to_m, 2)} m from its head{batch}"


def place_words(case: Complaint) -> str:
    """Where on the finished roll, in the customer's words."""
    return case.at or "anywhere on the roll"


def next_words(case: Complaint) -> str:
    """What the case still needs; empty for a closed one."""
    return "; ".join(missing_next(case))


def recall_command(case: Complaint) -> str:
    """How to get the list of sister rolls at risk."""
    at = f' --at "{case.at}"' if case.at else ""
    return f"wideroll trace PLANT {case.finished}{at} --sisters --recall FILE.csv"


def _short(text: str) -> str:
    return text if len(text) <= _FEW_LETTERS else text[: _FEW_LETTERS - 1].rstrip() + "…"
