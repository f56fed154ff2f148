"""What the flaw of a traced film may be, by what the scan saw there."""

from collections import defaultdict
from collections.abc import Iterator

from wideroll.repeats.model import ANOTHER
from wideroll.workflow.sisters_model import Suspect, SuspectKind
from wideroll.workflow.tracing_model import CoatedStretch, NearMark, Trace, TracedSeries

__all__ = ["ALIKE", "same_maker", "suspects_of"]

ALIKE = 0.5
"""A mark is such a mark if it has the kind and polarity of one in the traced film and at least half its size."""
ASIDE_MM = 6.0
"""Series of one maker, and streaks of one cause, lie within this of one another across: the lane of a search."""


def suspects_of(trace: Trace) -> tuple[Suspect, ...]:
    """The flaws that the scan saw in the traced film; the one that it saw none, where it saw none.

    Args:
        trace: of a place, or of a whole finished roll.
    """
    found = [one for stretch in trace.stretches for one in _of_stretch(stretch)]
    if found:
        return tuple(dict.fromkeys(found))
    first = trace.stretches[0].roll if trace.stretches else trace.roll
    return (Suspect(kind=SuspectKind.UNSEEN, roll=first, words="something that the scan didn't see"),)


def same_maker(one: TracedSeries, other: TracedSeries) -> bool:
    """Whether two series of different rolls were left by one thing that turns.

    They lie within a lane of one another across, and the same roller is their most probable maker; where that is none
    of the plant's, the intervals of their spacings overlap.
    """
    if abs(one.across_mm - other.across_mm) > ASIDE_MM or one.kind != other.kind:
        return False
    makers = [series.candidates[0].roller if series.candidates else ANOTHER for series in (one, other)]
    if makers[0] != makers[1]:
        return False
    overlap = one.spacing_low_m <= other.spacing_high_m and other.spacing_low_m <= one.spacing_high_m
    return overlap or makers[0] != ANOTHER


def _of_stretch(stretch: CoatedStretch) -> Iterator[Suspect]:
    for near in stretch.series:
        yield Suspect(
            kind=SuspectKind.SERIES,
            roll=stretch.roll,
            words=f"marks every {1000.0 * near.series.spacing_m:.1f} mm at {near.series.across_mm:.0f} mm across",
            series=near.series.number,
            across_mm=near.series.across_mm,
        )
    for streak in stretch.streaks:
        yield Suspect(
            kind=SuspectKind.STREAK,
            roll=stretch.roll,
            words=f"a streak at {streak.across_mm:.0f} mm across",
            polarity="dark" if streak.contrast < 0.0 else "bright",
            across_mm=streak.across_mm,
        )
    alike: dict[tuple[str, str], list[NearMark]] = defaultdict(list)
    for mark in stretch.marks:
        if mark.inside and mark.series is None:
            alike[mark.kind, mark.polarity].append(mark)
    for (kind, polarity), marks in alike.items():
        least_mm = ALIKE * min(max(mark.length_mm, mark.width_mm) for mark in marks)
        yield Suspect(
            kind=SuspectKind.MARKS,
            roll=stretch.roll,
            words=f"a {polarity} {kind} of {least_mm:.1f} mm or more",
            mark_kind=kind,
            polarity=polarity,
            least_mm=least_mm,
        )
