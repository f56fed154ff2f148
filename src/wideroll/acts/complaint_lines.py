"""Open complaints beside a decision: said with it, and no part of it."""

from collections.abc import Collection
from pathlib import Path

from wideroll.acts.sealing import open_record
from wideroll.report.complaint_words import open_line
from wideroll.store import kept_complaints
from wideroll.workflow.complaints import of_batches, of_roll, still_open

__all__ = ["open_complaint_lines"]


def open_complaint_lines(plant: Path, roll: str, batches: Collection[str]) -> tuple[str, ...]:
    """What to say with a decision on a roll: the open complaints that touch it, and those that touch its batches only.

    Args:
        plant: its folder.
        roll: the wide roll.
        batches: on it.

    Raises:
        RecordError: when a complaint can't be read.
    """
    store = open_record(plant)
    if store is None:
        return ()
    with store:
        cases = still_open(kept_complaints(store))
    own = of_roll(cases, roll)
    others = [case for case in of_batches(cases, batches) if case not in own]
    lines = (
        open_line(own),
        f"other rolls of its batches, {open_line(others)}" if others else "",
    )
    return tuple(line for line in lines if line)
