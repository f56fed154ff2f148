"""Recall lists that are written from the desk."""

from pathlib import Path
from typing import Final

from pydantic import Field

from wideroll.server.complaints.data import case_at
from wideroll.server.desk import Desk
from wideroll.server.trace.data import Found, Question

__all__ = ["RecallAsked", "recall_rolls"]

_LONGEST: Final = 20


class RecallAsked(Question):
    """The question whose sisters are recalled, and the case that it is for."""

    case: str = Field(default="", max_length=_LONGEST)


def recall_rolls(desk: Desk, asked: RecallAsked, found: Found, *, who: str) -> tuple[Path, int]:
    """Write the recall list, and the record's word that it was.

    Args:
        desk: with the plant.
        asked: for which case, if any.
        found: the trace.
        who: asks for it.

    Returns:
        The list's file and the number of the event.

    Raises:
        HTTPException: 404 when there is no such case.
    """
    from wideroll.acts.recalling import recall_place, write_recall  # noqa: PLC0415  (loads the store)

    case = case_at(desk, asked.case).name if asked.case.strip() else ""
    path = recall_place(desk.root, found.trace.finished)
    return path, write_recall(desk.root, path, found.trace, found.sisters, who=who, case=case)
