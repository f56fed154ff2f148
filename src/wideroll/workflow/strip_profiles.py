"""A roll's strips in their places: what changes at batch borders, along and across, and the profiles that follow."""

import itertools
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from wideroll.roll import Extent
from wideroll.sensitometry import (
    SUPPOSED_SCATTER,
    Aims,
    Border,
    Deviation,
    DeviationSeries,
    Direction,
    Measure,
    PlacedDeviation,
    Profile,
    SeriesChanges,
    StripResult,
    StripScatter,
    find_changes,
    profile,
)
from wideroll.workflow.model import Batch, RollCard, StripRoom

__all__ = ["SeriesProfiles", "StripProfiles", "profile_strips"]

_NORMAL_95: Final = 1.959963984540054
_MEASURES: Final = {"speed": "log H", "contrast": "ratio", "minimum density": "density"}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SeriesProfiles:
    """One measure of one record: what was found, and its profiles."""

    changes: SeriesChanges
    along: Profile
    across: Profile


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class StripProfiles:
    """All measures and records of a roll."""

    series: tuple[SeriesProfiles, ...]
    borders: tuple[Border, ...]
    whole: Extent
    left_out: tuple[str, ...]
    """Strips without a place, or that aren't usable."""


def profile_strips(
    room: StripRoom,
    card: RollCard,
    whole: Extent,
    aims: Aims,
    *,
    scatter: Mapping[str, StripScatter] = SUPPOSED_SCATTER,
) -> StripProfiles:
    """Test the roll's strips for changes and draw up profiles.

    What strips of one run share is the part of a deviation's uncertainty that the process correction and calibrations
    bring. What strips of a batch share counts as each one's own. A deviation that had to be extrapolated is left out.

    Args:
        room: the strips, judged and measured.
        card: the roll, for its batches.
        whole: the roll as a rectangle.
        aims: of the product.
        scatter: between strips of a batch, as known beforehand, by measure.
    """
    usable = [result for result in room.results if result.usable and result.strip.place is not None]
    borders = borders_of(card.batches)
    series = [
        DeviationSeries(
            measure=measure,
            record=record,
            unit=_MEASURES[measure],
            points=tuple(_points(measure, number, usable)),
            scatter=scatter[measure],
        )
        for number, record in enumerate(aims.curves)
        for measure in _MEASURES
    ]
    return StripProfiles(
        series=tuple(
            SeriesProfiles(
                changes=changes,
                along=profile(changes, Direction.ALONG, (whole.along_from_m, whole.along_to_m)),
                across=profile(changes, Direction.ACROSS, (whole.across_from_mm, whole.across_to_mm)),
            )
            for changes in find_changes(series, borders)
        ),
        borders=borders,
        whole=whole,
        left_out=tuple(result.strip.name for result in room.results if result not in usable),
    )


def borders_of(batches: Sequence[Batch]) -> tuple[Border, ...]:
    """Where one batch gives way to the next; a stretch between them that no batch claims has its border in the middle.

    Example:
        >>> one = Batch(name="E-1", along_from_m=0.0, along_to_m=6.0)
        >>> two = Batch(name="E-2", along_from_m=6.0, along_to_m=9.0)
        >>> [border.along_m for border in borders_of([two, one])]
        [6.0]
    """
    ordered = sorted(batches, key=lambda batch: batch.along_from_m)
    return tuple(
        Border(along_m=(one.along_to_m + two.along_from_m) / 2.0, before=one.name, after=two.name)
        for one, two in itertools.pairwise(ordered)
    )


def _points(measure: str, number: int, usable: Sequence[StripResult]) -> Iterator[PlacedDeviation]:
    for result in usable:
        place = result.strip.place
        if place is None or len(result.deviations) <= number:
            continue
        found = _measure(result.deviations[number], measure)
        uncertainty, freedom = _uncertainty(found)
        if found.extrapolated or not math.isfinite(found.value) or not math.isfinite(uncertainty):
            continue
        yield PlacedDeviation(
            strip=result.strip.name,
            run=result.strip.run,
            along_m=place.along_m,
            across_mm=place.across_mm,
            value=found.value,
            standard_uncertainty=uncertainty,
            degrees_of_freedom=freedom,
            shared_uncertainty=min(found.run_uncertainty, uncertainty),
        )


def _measure(deviation: Deviation, name: str) -> Measure:
    named = {"speed": deviation.speed_log_h, "contrast": deviation.contrast, "minimum density": deviation.dmin_density}
    return named[name]


def _uncertainty(measure: Measure) -> tuple[float, float]:
    """Standard uncertainty and its degrees of freedom; where only the interval is known, a quarter of it or so."""
    if math.isfinite(measure.standard_uncertainty):
        return measure.standard_uncertainty, measure.degrees_of_freedom
    return (measure.high - measure.low) / (2.0 * _NORMAL_95), math.inf
