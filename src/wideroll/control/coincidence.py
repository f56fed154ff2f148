"""Changes of a process held against what was recorded: batches, cleanings, maintenance."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from wideroll.control.change_model import (
    ChangePoint,
    ChangePoints,
    Coincidence,
    EventMatch,
    KindCoincidence,
    NotedEvent,
)
from wideroll.errors import ArgumentError

__all__ = ["match_events"]


def match_events(found: ChangePoints, events: Sequence[NotedEvent], *, reach: int = 0) -> EventMatch:
    """Which recorded events lie where a change may have begun, and how easily chance alone would have it so.

    An event meets a change when it lies between its ``first`` and ``last`` place, or up to ``reach`` points before
    the first. Chance is counted, not modelled: all changes together are turned round the series by every number of
    points, as if it were closed to a ring, and it is the share of turns in which as many changes meet an event of the
    kind. That keeps how events crowd and how regular they are: where there is a new batch every third roll, most
    changes meet one. With n points it can't fall below 1 ⁄ (n − 1). The chance of the best of k kinds is 1 − (1 −
    p)ᵏ.

    Args:
        found: changes of a series.
        events: recorded between its points; those before its first or after its last point meet nothing.
        reach: points by which an event may lie before a change, where it takes time to show.

    Raises:
        ArgumentError: when an event lies outside the series, or the reach is negative.

    Example:
        >>> from wideroll.control import find_changes
        >>> found = find_changes([0.1, -0.2, 0.0, 0.2, -0.1, 0.1, 0.0, 1.1, 0.9, 1.2, 1.0, 0.8, 1.1, 1.0])
        >>> match = match_events(found, [NotedEvent(before=7, kind="batch", name="E-12")])
        >>> match.changes[0].events[0].name, round(match.kinds[0].chance, 3)
        ('E-12', 0.077)
        >>> match.kinds[0].words
        '1 of 1 change met batch, 0.1 by chance; as many with a chance of 0.077 (0.077 for the best of all kinds)'
    """
    _check(found, events, reach)
    kinds = list(dict.fromkeys(event.kind for event in events))
    met = [_meets(found, [one.before for one in events if one.kind == kind], reach) for kind in kinds]
    anything = _meets(found, [one.before for one in events], reach)
    told = [
        _kind(kind, sum(one.kind == kind for one in events), hits, len(kinds))
        for kind, hits in zip(kinds, met, strict=True)
    ]
    return EventMatch(
        changes=tuple(
            Coincidence(change=change, events=_near(change, events, reach), chance=float(anything[number].mean()))
            for number, change in enumerate(found.changes)
        ),
        kinds=tuple(sorted(told, key=lambda one: one.chance)),
        reach=reach,
    )


def _kind(kind: str, events: int, hits: NDArray[np.bool_], kinds: int) -> KindCoincidence:
    counts = hits.sum(axis=0)
    chance = float(np.mean(counts >= counts[0]))
    return KindCoincidence(
        kind=kind,
        events=events,
        met=int(counts[0]),
        changes=len(hits),
        expected=float(counts.mean()),
        chance=chance,
        chance_of_any=1.0 - (1.0 - chance) ** kinds,
    )


def _meets(found: ChangePoints, places: Sequence[int], reach: int) -> NDArray[np.bool_]:
    """(changes, turns): whether the change, turned so far round the ring, meets an event."""
    ring = found.count - 1
    there = np.zeros(ring, dtype=np.int64)
    there[[place - 1 for place in places if 0 < place < found.count]] = 1
    sums = np.concatenate([[0], np.cumsum(np.tile(there, 3))])
    rows = []
    for change in found.changes:
        start = change.first - reach - 1
        length = min(change.last - start, ring)
        starts = (start + np.arange(ring)) % ring
        rows.append(sums[starts + length] > sums[starts])
    return np.array(rows, dtype=np.bool_).reshape(len(rows), ring)


def _near(change: ChangePoint, events: Sequence[NotedEvent], reach: int) -> tuple[NotedEvent, ...]:
    near = [event for event in events if change.first - reach <= event.before <= change.last]
    return tuple(sorted(near, key=lambda event: abs(event.before - change.at)))


def _check(found: ChangePoints, events: Sequence[NotedEvent], reach: int) -> None:
    if reach < 0:
        raise ArgumentError(where="reach", rule="at least 0 points", value=reach, mend="Give 0.")
    for number, event in enumerate(events):
        if not 0 <= event.before <= found.count:
            raise ArgumentError(
                where=f"events[{number}].before",
                rule=f"must lie in the series, 0 to {found.count}",
                value=event.before,
                mend="Count the points before it.",
            )
