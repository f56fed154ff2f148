"""Which stretch to sample next, so that the rollers that could have made a series are told apart.

Near the members a stretch tells by phase: where each candidate's next turns fall. Far from them the phase is forgotten
and it tells only by the distances between its own marks. Both come out of the same sum.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from wideroll.errors import ArgumentError
from wideroll.repeats.model import ANOTHER, Roller, Series, SeriesSettings
from wideroll.repeats.next_samples_beliefs import Belief, forecast, hold_beliefs, scattered_per_m
from wideroll.repeats.next_samples_chances import Told, entropy_bits, what_it_tells
from wideroll.repeats.next_samples_model import (
    NextSamples,
    PredictedMark,
    Prediction,
    SampleChoice,
    SampleSettings,
    Separation,
)
from wideroll.repeats.web import lay_out

__all__ = ["next_samples"]

_SETTINGS: Final = SeriesSettings()
_TRIED: Final = SampleSettings()
_LEAST_PROBABILITY: Final = 0.01
_NAMED: Final = 0.99
_MOST_CANDIDATES: Final = 6
_WORTH_BITS: Final = 0.1  # of the uncertainty: less than this isn't worth a sample
_ENOUGH: Final = 0.9
_PLACES: Final = 7
_KEPT: Final = 2
_SHIFTS: Final = 7
_SPREAD: Final = 1.96
_LOST_TURN: Final = 0.35  # of a turn: normal round the turn with this deviation is within 20 % of even


def next_samples(
    along_m: NDArray[np.float64],
    across_mm: NDArray[np.float64],
    series: Series,
    *,
    rollers: Sequence[Roller],
    observed: Sequence[tuple[float, float]],
    can_sample: Sequence[tuple[float, float]],
    settings: SeriesSettings = _SETTINGS,
    tried: SampleSettings = _TRIED,
) -> NextSamples:
    """Which stretch would best tell the candidates of a series apart, and what each predicts there.

    Candidates of at least 1 % are weighed, six at most. For each length the places are tried from coarse to fine by
    made-up samples; the best of each length is then judged anew with samples of its own.

    Args:
        along_m: float64 (n,), the marks the series was found in: places along from the head in metres.
        across_mm: float64 (n,), places across in millimetres.
        series: found among them, or named from sheets.
        rollers: the table its candidates come from.
        observed: stretches (from, to) in metres in which marks could be seen.
        can_sample: stretches (from, to) in metres that can still be sampled. They may lie beyond the length of the
            roll, where the machine still runs. Web already looked at is left out of them.
        settings: of the search.
        tried: lengths of stretches, and the seed.

    Returns:
        The best stretch of each length, most information first, or why none is advised.

    Raises:
        ArgumentError: marks as ``find_series`` refuses them, a candidate that isn't among the rollers, stretches that
            are inverted or in which not even the shortest length is left.

    Example:
        >>> from dataclasses import replace
        >>> from wideroll.repeats import find_series
        >>> table = [Roller(name="T3", diameter_mm=223.0), Roller(name="T6", diameter_mm=446.0)]
        >>> along, across = 0.2 + 0.7 * np.arange(12), np.full(12, 300.0)
        >>> search = find_series(along, across, length_m=9.0, rollers=table)
        >>> search[0].candidates[0].roller
        'T3'
        >>> unsure = replace(
        ...     search[0],
        ...     candidates=tuple(
        ...         replace(one, probability=0.5) for one in search[0].candidates if one.roller.startswith("T")
        ...     ),
        ... )
        >>> told = next_samples(
        ...     along, across, unsure, rollers=table, observed=search.observed, can_sample=[(9.0, 20.0)]
        ... )
        >>> told.choice.information_bits > 0.9, told.uncertainty_bits
        (True, 1.0)
    """
    web = lay_out(along_m, across_mm, max([0.0, *along_m, *(end for _, end in observed)]), observed)
    free = _free(can_sample, web.observed, min(tried.lengths_m))
    names, probabilities = _remaining(series, rollers)
    desk = _Desk(series=series, settings=settings, names=names, probabilities=probabilities, free=free, tried=tried)
    if len(names) < 2 or probabilities[0] > _NAMED:  # noqa: PLR2004  # one has nothing to be told from
        return _answer(desk, (), Separation.NAMED if names else Separation.NONE)
    beliefs = hold_beliefs(web, series, names, rollers, settings)
    weigh = _Weigher(
        beliefs=beliefs, probabilities=probabilities, dirt=scattered_per_m(web, series, settings), seed=tried.seed
    )
    choices = sorted(
        (_choice(desk, weigh, start, length) for start, length in _best_places(desk, weigh)),
        key=lambda one: (-round(one.information_bits, 3), one.length_m, one.from_m),
    )
    enough = choices[0].information_bits > _WORTH_BITS * float(entropy_bits(probabilities))
    return _answer(desk, tuple(choices), Separation.ADVISED if enough else Separation.TIED)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Desk:
    """What is asked."""

    series: Series
    settings: SeriesSettings
    names: tuple[str, ...]
    probabilities: NDArray[np.float64]
    free: tuple[tuple[float, float], ...]
    tried: SampleSettings


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Weigher:
    """Judges stretches."""

    beliefs: tuple[Belief, ...]
    probabilities: NDArray[np.float64]
    dirt: float
    seed: int

    def told(self, start: float, length: float, count: int, again: int = 0) -> Told:
        """What a stretch would tell; ``again`` asks for other samples."""
        draws = (count, 2 * self.seed + again)
        return what_it_tells(self.beliefs, self.probabilities, (start, start + length), self.dirt, draws)

    def unlike(self, starts: Sequence[float], length: float) -> list[float]:
        """One start only where no candidate's phase is known, as all tell the same there; and those where one is."""
        lost = [start for start in starts if all(_is_lost(one, start + length / 2.0) for one in self.beliefs)]
        return [start for start in starts if start not in lost[1:]]


def _answer(desk: _Desk, choices: tuple[SampleChoice, ...], separation: Separation) -> NextSamples:
    least = None
    if separation is Separation.ADVISED:
        most = choices[0].information_bits
        least = min(one.length_m for one in choices if one.information_bits >= _ENOUGH * most)
    return NextSamples(
        separation=separation,
        candidates=tuple(zip(desk.names, desk.probabilities.tolist(), strict=True)),
        uncertainty_bits=float(entropy_bits(desk.probabilities)) + 0.0,
        choices=choices,
        least_m=least,
        across_mm=desk.series.across_mm,
        spacing_m=desk.series.spacing_m,
        can_sample=desk.free,
        tried=desk.tried,
        settings=desk.settings,
    )


def _remaining(series: Series, rollers: Sequence[Roller]) -> tuple[tuple[str, ...], NDArray[np.float64]]:
    known = {roller.name for roller in rollers} | {ANOTHER}
    ranked = sorted(series.candidates, key=lambda one: -one.probability)
    kept = [one for one in ranked if one.probability >= _LEAST_PROBABILITY][:_MOST_CANDIDATES]
    for one in kept:
        if one.roller not in known:
            raise ArgumentError(
                where="rollers",
                rule="must hold the candidates of the series",
                value=one.roller,
                mend="Give the table that the search was given.",
            )
    shares = np.array([one.probability for one in kept])
    return tuple(one.roller for one in kept), shares / max(float(shares.sum()), _LEAST_PROBABILITY)


def _free(
    can_sample: Sequence[tuple[float, float]], observed: Sequence[tuple[float, float]], least_m: float
) -> tuple[tuple[float, float], ...]:
    """What of the stretches nobody has looked at, as far as the shortest length fits."""
    free: list[tuple[float, float]] = []
    for start, end in sorted(can_sample):
        if not (math.isfinite(start) and math.isfinite(end) and 0.0 <= start < end):
            raise ArgumentError(
                where="can_sample",
                rule="the end of a stretch must lie after its start, and its start at 0 or after",
                value=(start, end),
                mend="Give (from, to) in metres.",
            )
        begin = max(start, free[-1][1]) if free else start
        inside = [(low, high) for low, high in observed if high > begin and low < end]
        ends = [begin, *(place for pair in inside for place in pair), end]
        free += [(low, high) for low, high in list(pairwise(ends))[::2] if high - low >= least_m]
    if not free:
        raise ArgumentError(
            where="can_sample",
            rule="must hold web that nobody has looked at, as long as the shortest sample",
            value=tuple(can_sample),
            mend="Give stretches between or beyond those looked at, or shorter lengths.",
        )
    return tuple(free)


def _best_places(desk: _Desk, weigh: _Weigher) -> list[tuple[float, float]]:
    """The best start for each length that fits: places from coarse to fine, then shifted."""
    usual = sorted(desk.tried.lengths_m)[len(desk.tried.lengths_m) // 2]
    usual = min(usual, max(end - start for start, end in desk.free))
    coarse = {
        start: weigh.told(start, usual, desk.tried.quick).bits
        for start in weigh.unlike(_starts(desk.free, usual), usual)
    }
    best = sorted(coarse, key=lambda start: (-coarse[start], start))[:_KEPT]
    found: list[tuple[float, float]] = []
    for length in sorted(set(desk.tried.lengths_m)):
        shifted = {
            min(max(place, low), high - length)
            for start in best
            for place in np.linspace(start - min(length, usual) / 2.0, start + usual, _SHIFTS).tolist()
            for low, high in desk.free
            if high - low >= length and low <= start <= high
        } or set(_starts(desk.free, length))
        if shifted:
            starts = weigh.unlike(sorted(shifted), length)
            tried = {start: weigh.told(start, length, desk.tried.quick).bits for start in starts}
            found.append((max(tried, key=lambda start: (tried[start], -start)), length))
    return found


def _starts(free: Sequence[tuple[float, float]], length: float) -> list[float]:
    """Starts in each stretch, dense at its ends and ever sparser away from them."""
    starts: set[float] = set()
    for low, high in free:
        room = high - low - length
        if room < 0.0:
            continue
        away = np.concatenate(([0.0], np.geomspace(0.1, 1.0, _PLACES) ** 2)) * room
        starts |= {low + float(step) for step in away} | {high - length - float(step) for step in away}
    return sorted(starts)


def _choice(desk: _Desk, weigh: _Weigher, start: float, length: float) -> SampleChoice:
    told = weigh.told(start, length, desk.tried.final, again=1)
    return SampleChoice(
        from_m=start,
        to_m=start + length,
        information_bits=told.bits,
        error_bits=told.error_bits,
        expected_probability=told.probability,
        predictions=tuple(
            _prediction(desk, weigh.beliefs, number, (start, start + length)) for number in range(len(desk.names))
        ),
    )


def _is_lost(belief: Belief, at_m: float) -> bool:
    """Whether the place of a turn is known no better than by chance."""
    return bool((forecast(belief, at_m).sd_m > _LOST_TURN * belief.spacings).all())


def _prediction(desk: _Desk, beliefs: Sequence[Belief], candidate: int, stretch: tuple[float, float]) -> Prediction:
    belief = max((one for one in beliefs if one.candidate == candidate), key=lambda one: float(one.weights.sum()))
    share = belief.weights / belief.weights.sum()
    spacing = float(share @ belief.spacings)
    step2 = (desk.settings.spacing_step * spacing) ** 2 / 12.0
    sd = math.sqrt(float(share @ (belief.spacings - spacing) ** 2) + step2)
    marks = _marks(belief, share, stretch)
    return Prediction(
        roller=desk.names[candidate],
        probability=float(desk.probabilities[candidate]),
        spacing_m=spacing,
        spacing_low_m=spacing - _SPREAD * sd,
        spacing_high_m=spacing + _SPREAD * sd,
        print_probability=belief.chance,
        phase_known=all(mark.high_m - mark.low_m < spacing / 2.0 for mark in marks),
        marks=marks,
    )


def _marks(belief: Belief, share: NDArray[np.float64], stretch: tuple[float, float]) -> tuple[PredictedMark, ...]:
    """Turns whose limits reach into the stretch."""
    spacing = float(share @ belief.spacings)
    middle = forecast(belief, 0.5 * sum(stretch))
    turn, at = int(middle.turn[int(np.argmax(share))]), float(middle.along_m[int(np.argmax(share))])
    half = math.ceil((stretch[1] - stretch[0]) / spacing / 2.0) + 1
    jitter = belief.settings.jitter_mm / 1000.0
    marks: list[PredictedMark] = []
    for step in range(-half, half + 1):
        ahead = forecast(belief, at + step * spacing)
        places = ahead.along_m + (turn + step - ahead.turn) * belief.spacings
        place = float(share @ places)
        sd = math.sqrt(float(share @ (ahead.sd_m**2 + (places - place) ** 2)) + jitter**2)
        reach = min(_SPREAD * sd, spacing / 2.0)
        if place + reach >= stretch[0] and place - reach <= stretch[1]:
            marks.append(PredictedMark(turn=turn + step, along_m=place, low_m=place - reach, high_m=place + reach))
    return tuple(marks)
