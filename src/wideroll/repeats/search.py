"""Search a roll's marks for series that return every turn."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import exp, inf, log
from typing import Final

import numpy as np
from numpy.typing import NDArray

from wideroll.repeats.chain import Gait
from wideroll.repeats.describe import Found, describe, drift_of, extent_of, phase_of
from wideroll.repeats.model import Roller, Series, SeriesSearch, SeriesSettings
from wideroll.repeats.rollers import Prior, Trials, lay_trials, name_rollers, spacing_prior
from wideroll.repeats.web import Web, check_settings, lay_out
from wideroll.repeats.weigh import Weighed, gait, lane_marks, weigh

__all__ = ["find_series"]

_SETTINGS: Final = SeriesSettings()
_SAME_PRINT: Final = 4.0  # jitters
_WORTH_A_SECOND_LOOK: Final = 50.0  # spacings less likely than the best by e^-50 stay out when a lane is moved


def find_series(
    along_m: NDArray[np.float64],
    across_mm: NDArray[np.float64],
    *,
    length_m: float,
    rollers: Sequence[Roller],
    observed: Sequence[tuple[float, float]] | None = None,
    settings: SeriesSettings = _SETTINGS,
) -> SeriesSearch:
    """Find what turns: chains of marks at one place across that return every turn, and the rollers that fit.

    Each lane (a window across, moved by half its width) is weighed: how much more likely are its marks with one chain
    among scattered marks than scattered alone, averaged over the prior of spacings (the table's rollers, and any other
    spacing), print probabilities and all chains. Over scattered marks that ratio averages at most 1, so by Markov's
    inequality the probability that any of L lanes reaches a ratio R is at most L / R: the false-alarm probability,
    trials included, without simulation. A lane's best series is taken out with its marks and the lane weighed again.

    Args:
        along_m: float64 (n,), places along from the head in metres, in any order.
        across_mm: float64 (n,), places across from the datum edge in millimetres.
        length_m: length of the roll.
        rollers: the table of what turns on the line; may be empty.
        observed: stretches (from, to) in metres in which marks could be seen, whole length when None. Marks outside are
            left out, turns outside don't count as silent.
        settings: what counts as a series.

    Returns:
        The series, most significant first; ``members`` are rows of the marks as given. Empty when there are none.

    Raises:
        ArgumentError: unequal lengths, NaN, places outside the roll, a length that isn't greater than 0, stretches that
            are inverted, overlapping or outside the roll, settings out of range.

    Example:
        >>> turns = np.arange(60)
        >>> search = find_series(
        ...     0.2 + 0.7 * turns,
        ...     np.full(60, 300.0),
        ...     length_m=42.0,
        ...     rollers=[Roller(name="T3", diameter_mm=223.0)],
        ... )
        >>> round(search[0].spacing_m, 3), search[0].candidates[0].roller
        (0.7, 'T3')
    """
    check_settings(settings)
    web = lay_out(along_m, across_mm, length_m, observed)
    trials = lay_trials(rollers, settings)
    regular = gait(settings, web.seen_m / trials.spacings[0], settings.spacing_step)
    desk = _Desk(web=web, trials=trials, regular=regular, settings=settings)
    lanes = _lanes(web.across, settings)
    return SeriesSearch(
        series=tuple(sorted(_take_out(desk, lanes), key=lambda one: (-one.log_evidence, one.across_mm))),
        marks=web.along.size,
        lanes=len(lanes),
        trials=len(lanes) * trials.spacings.size,
        length_m=float(length_m),
        observed=web.observed,
        settings=settings,
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Desk:
    """What stays the same through a search."""

    web: Web
    trials: Trials
    regular: Gait
    settings: SeriesSettings


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Lane:
    """A window across and the marks in it."""

    middle_mm: float
    rows: NDArray[np.int64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Case:
    """A lane with its evidence and the chain found in it."""

    weighed: Weighed
    prior: Prior
    found: Found
    members: NDArray[np.int64]


def _lanes(across: NDArray[np.float64], settings: SeriesSettings) -> list[_Lane]:
    """Windows of the lane's width, each half a width on, that hold enough marks; none that a neighbour holds whole."""
    half = settings.lane_mm / 2.0
    number = np.floor(across / half).astype(np.int64)
    used = set(number.tolist())
    order = np.argsort(number, kind="stable")
    lanes: list[_Lane] = []
    for first in sorted(used):
        if first + 1 not in used and first - 1 in used:
            continue
        start = np.searchsorted(number[order], first, side="left")
        end = np.searchsorted(number[order], first + 1, side="right")
        rows = np.sort(order[start:end])
        if rows.size >= settings.least_turns:
            lanes.append(_Lane(middle_mm=float(first + 1) * half, rows=rows))
    return lanes


def _take_out(desk: _Desk, lanes: Sequence[_Lane]) -> list[Series]:
    """One series after another, the clearest lane first, until none is clear."""
    left = np.ones(desk.web.along.size, dtype=bool)
    weighed = [_weigh(desk, lane, left) for lane in lanes]
    series: list[Series] = []
    while lanes:
        best = max(range(len(lanes)), key=lambda number: weighed[number].log_evidence)
        evidence = weighed[best].log_evidence
        if evidence < log(len(lanes) / desk.settings.false_alarm):
            break
        case = _settle(desk, lanes[best], weighed[best], left)
        if case.members.size < desk.settings.least_turns:
            weighed[best] = replace(weighed[best], log_evidence=-inf)
            continue
        one = _series(desk, case)
        series.append(replace(one, log_evidence=evidence, false_alarm=len(lanes) * exp(-evidence)))
        gone = left & _beside(desk, case.members)
        left &= ~gone
        for number, lane in enumerate(lanes):
            if gone[lane.rows].any():
                weighed[number] = _weigh(desk, lane, left)
    return series


def _weigh(desk: _Desk, lane: _Lane, left: NDArray[np.bool_], among: NDArray[np.bool_] | None = None) -> Weighed:
    """Weigh what is left in a lane, at all trial spacings or some."""
    rows = lane.rows[left[lane.rows]]
    if rows.size < desk.settings.least_turns:
        return Weighed(log_evidence=-inf, by_spacing=np.full(desk.trials.spacings.size, -inf))
    marks = lane_marks(desk.web, rows, left, desk.settings)
    return weigh(marks, desk.regular, spacing_prior(desk.trials, lane.middle_mm), among)


def _settle(desk: _Desk, lane: _Lane, weighed: Weighed, left: NDArray[np.bool_]) -> _Case:
    """The chain of a lane, the lane moved to lie about it as long as that adds evidence."""
    case = _case(desk, lane, weighed, left)
    for _ in range(2):
        middle = float(np.median(desk.web.across[case.members]))
        near = left & (np.abs(desk.web.across - middle) <= desk.settings.lane_mm / 2.0)
        moved = _Lane(middle_mm=middle, rows=np.flatnonzero(near))
        among = case.weighed.by_spacing > case.weighed.by_spacing.max() - _WORTH_A_SECOND_LOOK
        again = _weigh(desk, moved, left, among)
        if again.log_evidence <= case.weighed.log_evidence:
            break
        case = _case(desk, moved, again, left)
    return case


def _case(desk: _Desk, lane: _Lane, weighed: Weighed, left: NDArray[np.bool_]) -> _Case:
    prior = spacing_prior(desk.trials, lane.middle_mm)
    rows = lane.rows[left[lane.rows]]
    found = describe(lane_marks(desk.web, rows, left, desk.settings), weighed, prior, desk.settings)
    return _Case(weighed=weighed, prior=prior, found=found, members=rows[found.chain.rows])


def _series(desk: _Desk, case: _Case) -> Series:
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


def _beside(desk: _Desk, members: NDArray[np.int64]) -> NDArray[np.bool_]:
    """The members, and marks so near to one that they are parts of the same print."""
    along, across = desk.web.along, desk.web.across
    near_m = _SAME_PRINT * desk.settings.jitter_mm / 1000.0
    lane = np.abs(across - np.median(across[members])) <= desk.settings.lane_mm
    places = along[members]
    after = np.searchsorted(places, along)
    gap = np.minimum(
        np.abs(along - places[np.minimum(after, places.size - 1)]), np.abs(along - places[np.maximum(after - 1, 0)])
    )
    beside: NDArray[np.bool_] = lane & (gap <= near_m)
    beside[members] = True
    return beside
