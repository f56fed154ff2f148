"""Marks along the web to series that return every turn, and the roller that made them.

Nothing here reads files, waits for the machine or decides what becomes of a roll. It knows places of marks and the
table of rollers; what examiners say of marks comes in as plain likelihoods (``Sign``).
"""

from typing import TYPE_CHECKING

from wideroll.on_demand import on_demand

if TYPE_CHECKING:
    from wideroll.repeats.cases import days_since_cleaning, gather_cases
    from wideroll.repeats.cases_model import Case, CaseState, Cleaning, SuspectRoll, Suspicion, When
    from wideroll.repeats.fold import fold, h_test, rayleigh_test
    from wideroll.repeats.laps import find_laps
    from wideroll.repeats.makers import ASIDE_MM
    from wideroll.repeats.model import (
        ANOTHER,
        SEARCH_REVISION,
        Candidate,
        FoldTest,
        Lap,
        Roller,
        Series,
        SeriesKind,
        SeriesSearch,
        SeriesSettings,
        SpacingEvidence,
        Stage,
        Winding,
    )
    from wideroll.repeats.naming import USUAL_DAYS, cleaning_weight, weigh_candidates
    from wideroll.repeats.next_samples import next_samples
    from wideroll.repeats.next_samples_model import (
        NextSamples,
        PredictedMark,
        Prediction,
        SampleChoice,
        SampleSettings,
        Separation,
    )
    from wideroll.repeats.one_place import name_roller, spacing_evidence
    from wideroll.repeats.pick_lanes import pick_lanes
    from wideroll.repeats.rival import settle_rivals
    from wideroll.repeats.search import find_series
    from wideroll.repeats.traces import Sign

__all__ = [
    "ANOTHER",
    "ASIDE_MM",
    "SEARCH_REVISION",
    "USUAL_DAYS",
    "Candidate",
    "Case",
    "CaseState",
    "Cleaning",
    "FoldTest",
    "Lap",
    "NextSamples",
    "PredictedMark",
    "Prediction",
    "Roller",
    "SampleChoice",
    "SampleSettings",
    "Separation",
    "Series",
    "SeriesKind",
    "SeriesSearch",
    "SeriesSettings",
    "Sign",
    "SpacingEvidence",
    "Stage",
    "SuspectRoll",
    "Suspicion",
    "When",
    "Winding",
    "cleaning_weight",
    "days_since_cleaning",
    "find_laps",
    "find_series",
    "fold",
    "gather_cases",
    "h_test",
    "name_roller",
    "next_samples",
    "pick_lanes",
    "rayleigh_test",
    "settle_rivals",
    "spacing_evidence",
    "weigh_candidates",
]

on_demand(__name__)
