"""What was noted of the line, put between the rolls it happened between."""

from bisect import bisect_left
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from wideroll.control import NotedEvent
from wideroll.workflow.model import Plant
from wideroll.workflow.processor_model import ProcessorHistory

__all__ = ["BATCH", "LineEvent", "events_between", "plant_events"]

BATCH: Final = "batch"
"""Kind of the event that the emulsion's batch changed from one roll to the next."""
CLEANING: Final = "cleaning"
ADJUSTED: Final = "processor adjusted"
CALIBRATION: Final = "calibration"
_DAY: Final = len("2026-11-20")


@dataclass(frozen=True, slots=True, kw_only=True)
class LineEvent:
    """Something that happened: a cleaning, maintenance, a calibration."""

    on: str
    """Day, or day and time, in the plant's time."""
    kind: str
    name: str


def plant_events(
    plant: Plant,
    processors: Iterable[ProcessorHistory] = (),
    calibrations: Iterable[tuple[str, str]] = (),
    logbook: Iterable[LineEvent] = (),
) -> tuple[LineEvent, ...]:
    """All that a plant's files note, in the order of time.

    Args:
        plant: with the cleanings of its rollers.
        processors: whose adjustments count.
        calibrations: instrument and day of each.
        logbook: what else was noted.
    """
    found = [
        *(LineEvent(on=one.on.text, kind=CLEANING, name=one.roller) for one in plant.cleanings),
        *_adjustments(processors),
        *(LineEvent(on=day, kind=CALIBRATION, name=instrument) for instrument, day in calibrations),
        *logbook,
    ]
    return tuple(sorted(found, key=lambda one: (one.on, one.kind, one.name)))


def events_between(
    coated: Sequence[str], batches: Sequence[str], events: Iterable[LineEvent]
) -> tuple[NotedEvent, ...]:
    """Each event with the first roll after it; what came before the first roll or after the last is left out.

    An event without a time comes before the rolls of its day; a roll without one was coated when its day began.

    Args:
        coated: when each roll was, ascending, to the minute.
        batches: of each roll, several with commas between; it changed where one wasn't in the roll before.
        events: in any order.

    Example:
        >>> event = LineEvent(on="2026-11-21", kind="maintenance", name="pump overhauled")
        >>> coated = ("2026-11-20T00:00", "2026-11-21T09:30", "2026-11-22T00:00")
        >>> [(one.before, one.kind, one.name) for one in events_between(coated, ("E-1", "E-1", "E-2"), [event])]
        [(2, 'batch', 'E-2'), (1, 'maintenance', 'pump overhauled')]
    """
    named = [[one.strip() for one in batch.split(",") if one.strip()] for batch in batches]
    changed = [
        NotedEvent(before=place, kind=BATCH, name=", ".join(new))
        for place in range(1, len(named))
        if named[place - 1] and (new := [one for one in named[place] if one not in named[place - 1]])
    ]
    placed = (NotedEvent(before=bisect_left(coated, one.on), kind=one.kind, name=one.name) for one in events)
    return (*changed, *(one for one in placed if 0 < one.before < len(coated)))


def _adjustments(processors: Iterable[ProcessorHistory]) -> Iterator[LineEvent]:
    for history in processors:
        for run in history.runs:
            if run.adjusted:
                name = f"{history.processor.name}{f': {run.note}' if run.note else ''}"
                yield LineEvent(on=run.processed_on, kind=ADJUSTED, name=name)
