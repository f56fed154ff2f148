"""The kept searches of many rolls as cases: the same roller suspected in roll after roll."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import log

from wideroll.repeats import Case, SeriesSearch, SuspectRoll, Suspicion, gather_cases
from wideroll.scan import ScanResult
from wideroll.workflow.model import Examination, Plant, RollCard
from wideroll.workflow.moments import when
from wideroll.workflow.naming import signs_of

__all__ = ["PlantCases", "cases_of", "suspect_roll"]


@dataclass(frozen=True, slots=True, kw_only=True)
class PlantCases:
    """The cases of a plant, and what they are made from."""

    cases: tuple[Case, ...]
    searched: tuple[str, ...]
    """Rolls whose search is kept and not stale."""
    undated: tuple[str, ...]
    """Those of them whose day of coating isn't noted."""
    not_searched: tuple[str, ...]
    """Rolls of which nothing is known: that isn't the same as nothing found."""


def suspect_roll(
    card: RollCard, search: SeriesSearch, scan: ScanResult | None = None, examination: Examination | None = None
) -> SuspectRoll:
    """What the search of a roll makes suspect, with what was said of its marks on sheets.

    Args:
        card: of the roll.
        search: as it was kept, its candidates by the spacing alone.
        scan: whose marks were searched; without it and the examination no signs are known.
        examination: of the roll's sheets.
    """
    return SuspectRoll(
        roll=card.name,
        coated=when(card.coated) if card.coated else None,
        observed_m=sum(end - start for start, end in search.observed),
        needed_log_evidence=log(max(search.lanes, 1) / search.settings.false_alarm),
        least_turns=search.settings.least_turns,
        slip=search.settings.slip,
        suspicions=tuple(
            Suspicion(series=series, signs=signs_of(series, scan, examination) if examination else ())
            for series in search
        ),
    )


def cases_of(plant: Plant, rolls: Sequence[SuspectRoll], not_searched: Sequence[str]) -> PlantCases:
    """The cases of a plant.

    Args:
        plant: its rollers, and when they were cleaned.
        rolls: all whose search is at hand.
        not_searched: names of the others.
    """
    return PlantCases(
        cases=gather_cases(rolls, plant.rollers, plant.cleanings, usual_days=plant.usual_days),
        searched=tuple(roll.roll for roll in rolls),
        undated=tuple(roll.roll for roll in rolls if roll.coated is None),
        not_searched=tuple(not_searched),
    )
