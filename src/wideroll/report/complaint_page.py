"""Complaints as pages: one case for the customer's file, and those that touch a wide roll for beside its sheet."""

import base64
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from wideroll.report import complaint_grids
from wideroll.report.complaint_text import case_facts, finding_facts, origin_facts
from wideroll.report.complaint_trace import known_grid
from wideroll.report.complaint_words import next_words, open_line
from wideroll.report.page import page_template
from wideroll.report.theme import VERDICTS
from wideroll.workflow.complaint_model import Complaint, ComplaintState, Photo
from wideroll.workflow.complaints import still_open

__all__ = ["complaint_page", "roll_complaints_page"]

_SIGNS: Final = {
    ComplaintState.OPEN: "○",
    ComplaintState.WAITING: "◔",
    ComplaintState.FOUND: "◑",
    ComplaintState.CLOSED: "●",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class _Picture:
    photo: Photo
    address: str
    """Empty where what is kept isn't what was sent."""


def complaint_page(case: Complaint, pictures: Mapping[str, bytes]) -> str:
    """One self-contained HTML text, to print for the customer's file; the same bytes for the same case.

    Args:
        case: as it stands.
        pictures: small JPEG copies of its photographs by where they are kept; one that is left out is said to be
            missing or changed.
    """
    return page_template("complaint.html.j2").render(
        case=case,
        state=case.state.value,
        sign=_SIGNS[case.state],
        facts=case_facts(case),
        found=finding_facts(case),
        origin=origin_facts(case),
        known=known_grid(case.trace) if case.trace else None,
        samples=complaint_grids.samples_grid(case),
        steps=complaint_grids.steps_grid(case),
        pictures=[_picture(photo, pictures) for photo in case.photos],
        next=next_words(case),
        last=case.steps[-1],
        styles=VERDICTS,
        page_foot=f"Complaint {case.name}: {case.state.value}",
    )


def roll_complaints_page(roll: str, cases: Sequence[Complaint]) -> str:
    """One self-contained HTML text: the complaints that touch a wide roll, open ones first.

    Example:
        >>> "No complaint touches this roll." in roll_complaints_page("W-1", ())
        True
    """
    first = still_open(cases)
    closed = [case for case in cases if case.closed]
    return page_template("roll_complaints.html.j2").render(
        roll=roll,
        line=open_line(first),
        untouched=not cases,
        open=complaint_grids.complaints_grid(first, caption="Open"),
        closed=complaint_grids.complaints_grid(closed, caption="Closed"),
        styles=VERDICTS,
        page_foot=f"Roll {roll}: complaints",
    )


def _picture(photo: Photo, pictures: Mapping[str, bytes]) -> _Picture:
    data = pictures.get(photo.file)
    address = "" if data is None else f"data:image/jpeg;base64,{base64.b64encode(data).decode()}"
    return _Picture(photo=photo, address=address)
