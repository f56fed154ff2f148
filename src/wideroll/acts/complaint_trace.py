"""The trace of a complaint: from the finished roll to the coated web, as it is kept with the case."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from wideroll.acts.tracing import trace_of
from wideroll.record import Json
from wideroll.report.trace_document import trace_json
from wideroll.workflow.complaint_model import Touched
from wideroll.workflow.complaints import touched_by

__all__ = ["PlaceTraced", "trace_place"]


@dataclass(frozen=True, slots=True, kw_only=True)
class PlaceTraced:
    """The finished roll as its label has it, the document of a trace, and the coated web that it leads to."""

    finished: str
    document: Mapping[str, Json]
    touched: tuple[Touched, ...]


def trace_place(plant: Path, finished: str, at: str | None) -> PlaceTraced:
    """Trace a place on a finished roll, or all of it, as ``wideroll trace`` does.

    Args:
        plant: its folder.
        finished: number of the finished roll.
        at: where on it; None for all of it.

    Raises:
        InputError: when there is no such roll or place, or a file has a fault.
        RecordError: when the record, or a file that it names, doesn't hold.
    """
    found = trace_of(plant, finished, at)
    return PlaceTraced(finished=found.finished, document=trace_json(found), touched=touched_by(found))
