"""One lane on the desk: its evidence, the chain found in it, and what becomes of both."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf
from typing import Final

import numpy as np
from numpy.typing import NDArray

from wideroll.repeats.chain import Gait
from wideroll.repeats.describe import Found, describe, drift_of, extent_of, phase_of
from wideroll.repeats.model import Roller, Series, SeriesSettings
from wideroll.repeats.pairs import PairTable, lay_pairs
from wideroll.repeats.rollers import Prior, Trials, lay_trials, name_rollers, spacing_prior
from wideroll.repeats.web import Web, check_settings
from wideroll.repeats.weigh import Weighed, gaits, lane_marks, weigh

__all__ = [
    "Case",
    "Desk",
    "Lane",
    "as_series",
    "beside",
    "find_chain",
    "open_desk",
    "settle",
    "weigh_fully",
    "weigh_lane",
]

_SAME_PRINT: Final = 4.0  # jitters
_FEW_MARKS: Final = 150  # weighed at every spacing within a second or so


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Desk:
    """What stays the same through a search."""

    web: Web
    trials: Trials
    regular: tuple[Gait, ...]
    pairs: PairTable
    settings: SeriesSettings


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Lane:
    """A window across and the marks in it."""

    middle_mm: float
    rows: NDArray[np.int64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Case:
    """A lane with its evidence and the chain found in it."""

    weighed: Weighed
    prior: Prior
    found: Found
    members: NDArray[np.int64]


def open_desk(web: Web, rollers: Sequence[Roller], settings: SeriesSettings) -> Desk:
    """All that the lanes of a search share.

    Raises:
        ArgumentError: settings out of range.
    """
    check_settings(settings)
    trials = lay_trials(rollers, settings)
    regular = gaits(settings, web.seen_m / trials.spacings[0], settings.spacing_step)
    pairs = lay_pairs(trials.spacings, regular[::2])  # the least and the most regular: enough to rank by
    return Desk(web=web, trials=trials, regular=regular, pairs=pairs, settings=settings)


def weigh_lane(desk: Desk, lane: Lane, left: NDArray[np.bool_]) -> Weighed:
    """Weigh what is left in a lane; nothing where that is fewer marks than a series must have."""
    rows = lane.rows[left[lane.rows]]
    if rows.size < desk.settings.least_turns:
        return Weighed(log_evidence=-inf, by_spacing=np.full(desk.trials.spacings.size, -inf))
    marks = lane_marks(desk.web, rows, left, desk.settings)
    return weigh(marks, desk.regular, spacing_prior(desk.trials, lane.middle_mm), desk.pairs)


def weigh_fully(desk: Desk, lane: Lane) -> Weighed:
    """Weigh a lane of the whole roll, however few its marks, and where they are few at every trial spacing."""
    left = np.ones(desk.web.along.size, dtype=bool)
    marks = lane_marks(desk.web, lane.rows, left, desk.settings)
    prior = spacing_prior(desk.trials, lane.middle_mm)
    return weigh(marks, desk.regular, prior, desk.pairs, every=lane.rows.size <= _FEW_MARKS)


def settle(desk: Desk, lane: Lane, weighed: Weighed, left: NDArray[np.bool_]) -> Case:
    """The chain of a lane, the lane moved to lie about it as long as that adds evidence."""
    case = find_chain(desk, lane, weighed, left)
    for _ in range(2):
        middle = float(np.median(desk.web.across[case.members]))
        near = left & (np.abs(desk.web.across - middle) <= desk.settings.lane_mm / 2.0)
        moved = Lane(middle_mm=middle, rows=np.flatnonzero(near))
        if np.array_equal(moved.rows, lane.rows[left[lane.rows]]):
            break
        again = weigh_lane(desk, moved, left)
        if again.log_evidence <= case.weighed.log_evidence:
            break
        lane, case = moved, find_chain(desk, moved, again, left)
    return case


def find_chain(desk: Desk, lane: Lane, weighed: Weighed, left: NDArray[np.bool_]) -> Case:
    """The most likely chain of what is left in a lane."""
    prior = spacing_prior(desk.trials, lane.middle_mm)
    rows = lane.rows[left[lane.rows]]
    found = describe(lane_marks(desk.web, rows, left, desk.settings), weighed, prior, desk.settings)
    return Case(weighed=weighed, prior=prior, found=found, members=rows[found.chain.rows])


def as_series(desk: Desk, case: Case) -> Series:
    """What was found in a lane, with the false alarm still to be told."""
    found = case.found
    along, across = desk.web.along[case.members], desk.web.across[case.members]
    phase, turns = phase_of(along, found.chain.turns, found.spacing_m)
    return Series(
        spacing_m=found.spacing_m,
        spacing_low_m=found.low_m,
        spacing_high_m=found.high_m,
        phase_m=phase,
        across_mm=float(np.median(across)),
        extent=extent_of(along, across),
        members=tuple(desk.web.given[case.members].tolist()),
        turns=tuple(turns.tolist()),
        print_probability=found.print_probability,
        drift=drift_of(along, turns),
        log_evidence=case.weighed.log_evidence,
        false_alarm=1.0,
        candidates=name_rollers(case.prior, case.weighed.by_spacing, found.spacing_m),
    )


def beside(desk: Desk, members: NDArray[np.int64]) -> NDArray[np.bool_]:
    """The members, and marks so near to one that they are parts of the same print."""
    along, across = desk.web.along, desk.web.across
    near_m = _SAME_PRINT * desk.settings.jitter_mm / 1000.0
    lane = np.abs(across - np.median(across[members])) <= desk.settings.lane_mm
    places = along[members]
    after = np.searchsorted(places, along)
    gap = np.minimum(
        np.abs(along - places[np.minimum(after, places.size - 1)]), np.abs(along - places[np.maximum(after - 1, 0)])
    )
    close: NDArray[np.bool_] = lane & (gap <= near_m)
    close[members] = True
    return close
