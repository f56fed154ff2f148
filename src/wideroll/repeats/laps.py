"""Search a roll's marks for prints of particles that were wound in: one mark a lap, laps growing or shrinking."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import exp, inf, log
from typing import Final

import numpy as np
from numpy.typing import NDArray

from wideroll.errors import ArgumentError
from wideroll.repeats.laps_chain import MOST_LAPS, STEP, LapLane, LapTrial, lap_evidence
from wideroll.repeats.laps_describe import beside, equal_laps, lap_trial, laps_seen, series_of, trace, turning_instead
from wideroll.repeats.model import Series, SeriesSettings, Winding
from wideroll.repeats.scattered import rarity_m
from wideroll.repeats.web import Web, check_settings, lane_rows, lay_out

__all__ = ["find_laps"]

_SETTINGS: Final = SeriesSettings()
_NO_SAY: Final = 20.0  # chains less likely than the clearest by e^-20


def find_laps(
    along_m: NDArray[np.float64],
    across_mm: NDArray[np.float64],
    *,
    length_m: float,
    winding: Winding,
    observed: Sequence[tuple[float, float]] | None = None,
    settings: SeriesSettings = _SETTINGS,
) -> tuple[Series, ...]:
    """Find lap prints: marks at one place across, a lap apart, while laps grow or shrink by 2π × thickness each.

    Each lane is weighed as in ``find_series``: how much more likely are its marks with the prints of one particle among
    scattered marks than scattered alone, averaged over where it starts, radius, direction, thickness, how far it
    reaches and the probability of a print. That ratio averages at most 1 over scattered marks, so that the probability
    that any of L lanes reaches R is at most L / R. Marks that the turns of a roller explain better are left to it.

    Args:
        along_m: float64 (n,), places along from the head in metres, in any order.
        across_mm: float64 (n,), places across from the datum edge in millimetres.
        length_m: length of the roll.
        winding: thickness, core and full roll where the particle was wound in.
        observed: stretches (from, to) in metres in which marks could be seen, whole length when None.
        settings: what counts as a series; only ``lane_mm``, ``jitter_mm``, ``false_alarm``, ``least_turns`` and
            ``wander`` have a say.

    Returns:
        The lap prints, most significant first; ``members`` are rows of the marks as given, ``turns`` the laps.

    Raises:
        ArgumentError: as in ``find_series``; a winding with a thickness or radius that isn't greater than 0, a
            tolerance of the thickness or more, or a core that isn't smaller than the full roll.

    Example:
        >>> laps = np.arange(12)
        >>> along = 20.0 + 2.0 * np.pi * 0.150 * laps + np.pi * 0.00013 * laps**2
        >>> winding = Winding(thickness_mm=0.13, least_radius_mm=75.0, most_radius_mm=300.0)
        >>> found = find_laps(along, np.full(12, 300.0), length_m=100.0, winding=winding)
        >>> round(found[0].lap.radius_mm, 1), round(found[0].lap.per_lap_mm, 2)
        (150.0, 0.82)
    """
    check_settings(settings)
    _check_winding(winding)
    trial = lap_trial(winding, settings)
    desk = _Desk(
        web=lay_out(along_m, across_mm, length_m, observed),
        trial=trial,
        turning=equal_laps(trial, settings),
        settings=settings,
    )
    found = _take_out(desk, [_lane(desk, rows) for _, rows in lane_rows(desk.web.across, settings)])
    return tuple(sorted(found, key=lambda one: (-one.log_evidence, one.across_mm, one.phase_m)))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Desk:
    """What stays the same through a search."""

    web: Web
    trial: LapTrial
    turning: LapTrial
    settings: SeriesSettings


@dataclass(slots=True, kw_only=True, eq=False)
class _Lane:
    """A window across, the marks left in it, and the evidence of the chains that start at each."""

    rows: NDArray[np.int64]
    marks: LapLane
    total: NDArray[np.float64]
    clearest: NDArray[np.float64]
    stale: NDArray[np.bool_]
    """Whether a mark was taken out since, that a chain could have held."""

    @property
    def log_evidence(self) -> float:
        """Of all chains together."""
        return float(np.logaddexp.reduce(self.total)) if self.total.size else -inf


def _check_winding(winding: Winding) -> None:
    for name, good, rule in (
        ("thickness_mm", 0.0 < winding.thickness_mm < inf, "must be greater than 0"),
        ("tolerance_mm", 0.0 <= winding.tolerance_mm < winding.thickness_mm, "must lie from 0 to below the thickness"),
        ("least_radius_mm", 0.0 < winding.least_radius_mm < inf, "must be greater than 0"),
        ("most_radius_mm", winding.least_radius_mm < winding.most_radius_mm < inf, "must be greater than the core's"),
    ):
        if not good:
            raise ArgumentError(
                where=f"winding.{name}", rule=rule, value=getattr(winding, name), mend="Mend the winding."
            )


def _marks(desk: _Desk, rows: NDArray[np.int64]) -> LapLane:
    web = desk.web
    return LapLane(
        along=web.along[rows],
        rarity=rarity_m(web.seen[rows], web.seen, web.seen_m, desk.trial.most_m),
        gaps=web.gaps,
        seen_m=web.seen_m,
        end_m=web.observed[-1][1],
    )


def _lane(desk: _Desk, rows: NDArray[np.int64]) -> _Lane:
    marks = _marks(desk, rows)
    total, clearest, _ = lap_evidence(marks, desk.trial, np.arange(rows.size))
    return _Lane(rows=rows, marks=marks, total=total, clearest=clearest, stale=np.zeros(rows.size, dtype=bool))


def _take_out(desk: _Desk, lanes: Sequence[_Lane]) -> list[Series]:
    """One lap print after another, the clearest lane first, until none is clear."""
    threshold = log(max(len(lanes), 1) / desk.settings.false_alarm)
    evidence = np.array([lane.log_evidence for lane in lanes])
    left = np.ones(desk.web.along.size, dtype=bool)
    series: list[Series] = []
    while evidence.size and evidence.max() >= threshold:
        number = int(np.argmax(evidence))
        lane = lanes[number]
        _refresh(desk, lane)
        if lane.log_evidence < evidence[number]:
            evidence[number] = lane.log_evidence
            continue
        gone, one = _next(desk, lane, left)
        if one is not None:
            chance = min(1.0, len(lanes) * exp(-float(evidence[number])))
            series.append(replace(one, log_evidence=float(evidence[number]), false_alarm=chance))
        left &= ~gone
        for other, another in enumerate(lanes):
            if gone[another.rows].any():
                _without(desk, another, gone)
                evidence[other] = another.log_evidence
        evidence[number] = lane.log_evidence
    return [replace(one, members=tuple(desk.web.given[list(one.members)].tolist())) for one in series]


def _next(desk: _Desk, lane: _Lane, left: NDArray[np.bool_]) -> tuple[NDArray[np.bool_], Series | None]:
    """The marks to take out next, and the lap print they are: None where they are a roller's turns, or too few."""
    first = int(np.argmax(lane.clearest))
    chain = trace(lane.marks, desk.trial, first)
    gone = np.zeros(left.size, dtype=bool)
    turning = turning_instead(lane.marks, desk.turning, chain, float(lane.clearest[first]))
    if turning is not None:
        gone[lane.rows[turning]] = True
        return gone, None
    if chain.rows.size < desk.settings.least_turns:
        lane.total[first] = lane.clearest[first] = -inf
        return gone, None
    one = _settle(desk, lane, left)
    return left & beside(desk.web, np.array(one.members), desk.settings), one


def _settle(desk: _Desk, lane: _Lane, left: NDArray[np.bool_]) -> Series:
    """The clearest chain of a lane, the lane moved to lie about it as long as that adds evidence."""
    first = int(np.argmax(lane.clearest))
    rows, marks, best = lane.rows, lane.marks, float(lane.clearest[first])
    chain = trace(marks, desk.trial, first)
    for _ in range(2):
        middle = float(np.median(desk.web.across[rows[chain.rows]]))
        near = np.flatnonzero(left & (np.abs(desk.web.across - middle) <= desk.settings.lane_mm / 2.0))
        moved = _marks(desk, near)
        start = marks.along[chain.rows[0]]
        firsts = _within(moved.along, start - STEP * desk.trial.most_m, float(marks.along[chain.rows[1]]))
        _, clearest, _ = lap_evidence(moved, desk.trial, firsts)
        if not clearest.size or clearest.max() <= best:
            break
        rows, marks, best = near, moved, float(clearest.max())
        chain = trace(marks, desk.trial, int(firsts[np.argmax(clearest)]))
    return series_of(replace(chain, rows=rows[chain.rows]), desk.web, laps_seen(chain, marks))


def _within(along: NDArray[np.float64], start: float, end: float) -> NDArray[np.int64]:
    return np.arange(np.searchsorted(along, start), np.searchsorted(along, end, side="right"))


def _without(desk: _Desk, lane: _Lane, gone: NDArray[np.bool_]) -> None:
    """Take marks out of a lane; the chains they could have been in are weighed anew once they matter."""
    keep = ~gone[lane.rows]
    taken = lane.marks.along[~keep]
    lane.rows = lane.rows[keep]
    lane.marks = lane.marks._replace(along=lane.marks.along[keep], rarity=lane.marks.rarity[keep])
    lane.total, lane.clearest, lane.stale = lane.total[keep], lane.clearest[keep], lane.stale[keep]
    reach = MOST_LAPS * (desk.trial.most_m + MOST_LAPS * desk.trial.bend_m)
    lane.stale[_within(lane.marks.along, float(taken[0]) - reach, float(taken[-1]))] = True


def _refresh(desk: _Desk, lane: _Lane) -> None:
    """Weigh anew the stale chains that have a say in a lane's evidence; fewer marks only make them less."""
    while lane.total.size:
        due = np.flatnonzero(lane.stale & (lane.total > lane.total.max() - _NO_SAY))
        if not due.size:
            return
        again, clear, _ = lap_evidence(lane.marks, desk.trial, due)
        set_aside = np.isneginf(lane.total[due])
        lane.total[due] = np.where(set_aside, -inf, again)
        lane.clearest[due] = np.where(set_aside, -inf, clear)
        lane.stale[due] = False
