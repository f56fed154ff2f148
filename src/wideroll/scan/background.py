"""The signal a block would show without marks: across-web profile, noise of each column, gain of each line."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numba import njit
from numpy.typing import NDArray

from wideroll.scan.edges import Edges, find_edges
from wideroll.scan.frame import Frame, join_strips
from wideroll.scan.groups import group_medians, median_rows
from wideroll.scan.sums import BlockSums

__all__ = ["DEAD", "MAD", "MEDIAN_LOSS", "SATURATED", "Background", "find_background"]

MEDIAN_LOSS: Final = 1.2533
"""A median scatters by √(π/2) as much as a mean."""
MAD: Final = 1.4826
"""A normal deviation is this many times the median of the absolute departures."""
DEAD: Final = 1
SATURATED: Final = 2
_DEAD_SHARE: Final = 0.1
"""A column below this share of the web's level shows no web."""
_ROUNDING: Final = 1.0 / 12.0
"""Variance of rounding to whole numbers: no noise is smaller."""
_GROUP: Final = 32
_TELLING: Final = 1000
_MOST_STRIPS: Final = 32
"""A median over few rows is quick."""
_NO_LIGHT: Final = 1e-9
_OFF_LEVEL: Final = 0.1
_OFF_SPREADS: Final = 8.0
_OWN_SPREADS: Final = 5.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Background:
    """Background of one block. Column arrays hold the columns ``first`` to ``last`` only."""

    edges: Edges
    first: int
    last: int
    profile: NDArray[np.float64]
    """Level of each column at a gain of 1."""
    noise: NDArray[np.float64]
    """Standard deviation of a pixel of each column, in the units of the signal."""
    gain: NDArray[np.float64]
    """(lines,) signal of each line over the profile."""
    off_level: NDArray[np.bool_]
    """(lines,) lines so far off that they aren't web as usual: a splice, a dropped line."""
    used: NDArray[np.bool_]
    """(lines,) lines that are looked at: neither off level nor at rest."""
    silent: bool
    """Most columns show no noise at all: nothing tells the scanner from one that stands still."""
    faults: NDArray[np.uint8]
    """0, ``DEAD`` or ``SATURATED`` for each column."""


def find_background(
    totals: BlockSums, frame: Frame, known: Edges | None, rest: NDArray[np.bool_] | None = None
) -> Background:
    """Find the background from medians over stretches, so that nothing shorter than half a block pulls at it.

    Args:
        totals: The block's sums.
        frame: The raster.
        known: Edges of the block before.
        rest: (lines,) lines at rest, at most half of them; None for none.
    """
    rest = np.zeros(totals.row_sums.shape[1], np.bool_) if rest is None else rest
    seen = _stretches(totals, rest, join_strips(len(totals.cuts) - 1, _MOST_STRIPS))
    coarse = _stretches(totals, rest, totals.stretches)
    level = median_rows(coarse.sums / coarse.lines[:, None]).astype(np.float64)
    edges = find_edges(level, frame, known)
    first, last = edges.inside(frame)
    gain, off_level = _line_gain(totals, level, frame.segment, (first, last))
    profile = median_rows(seen.sums[:, first:last] / seen.weigh(gain)[:, None]).astype(np.float64)
    raw, own, lines = _noise(totals, rest, (gain, profile), first)
    faults = _faults(profile, raw, frame.saturation)
    sound = faults == 0
    return Background(
        edges=edges,
        first=first,
        last=last,
        profile=profile,
        noise=np.sqrt(_settle(own, raw, lines, sound)),
        gain=gain,
        off_level=off_level & ~rest,
        used=~(off_level | rest),
        silent=not np.any(sound) or float(np.median(_some(raw[sound]))) <= 0.0,
        faults=faults,
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Stretches:
    """The stretches to take medians over, without those at rest."""

    use: NDArray[np.int64]
    cuts: NDArray[np.int64]
    """(stretches + 1,) of all of them, in lines."""
    sums: NDArray[np.float32]
    """``[stretch, column]`` of those used."""

    @property
    def lines(self) -> NDArray[np.float32]:
        """Lines of each stretch used."""
        return np.diff(self.cuts)[self.use].astype(np.float32)

    def weigh(self, gain: NDArray[np.float64]) -> NDArray[np.float32]:
        """Gain summed over the lines of each stretch used."""
        return np.maximum(_span_sums(gain, self.cuts)[self.use], _NO_LIGHT).astype(np.float32)


def _stretches(totals: BlockSums, rest: NDArray[np.bool_], borders: NDArray[np.int64]) -> _Stretches:
    cuts = totals.cuts[borders]
    use = np.flatnonzero(_usable(np.diff(cuts), rest, cuts))
    sums = np.empty((len(use), totals.sums.shape[1]), np.float32)
    for k, stretch in enumerate(use.tolist()):
        _join(totals.sums[borders[stretch] : borders[stretch + 1]], sums[k])
    return _Stretches(use=use, cuts=cuts, sums=sums)


@njit(cache=True, nogil=True)
def _join(strips: NDArray[np.uint32], out: NDArray[np.float32]) -> None:
    out[:] = 0.0
    for i in range(strips.shape[0]):
        strip = strips[i]
        for j in range(out.size):
            out[j] += np.float32(strip[j])


def _noise(
    totals: BlockSums,
    rest: NDArray[np.bool_],
    ground: tuple[NDArray[np.float64], NDArray[np.float64]],
    first: int,
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Variance of each column as it is, and less what the gain of the lines makes of it; and the lines sampled."""
    gain, profile = ground
    cuts = totals.cuts[totals.stretches]
    use = np.flatnonzero(_usable(np.diff(cuts), rest, cuts))
    lines, spread = (values[use] for values in _sampled_gain(gain, cuts, totals.step))
    raw, own = (np.empty((len(use), len(profile)), np.float32) for _ in range(2))
    part = slice(first, first + len(profile))
    for k, stretch in enumerate(use.tolist()):
        given = totals.sampled[stretch, part], totals.squares[stretch, part], profile
        _scatter(given, (1.0 / lines[k], spread[k]), raw[k], own[k])
    return median_rows(raw).astype(np.float64), median_rows(own).astype(np.float64), lines


def _sampled_gain(
    gain: NDArray[np.float64], cuts: NDArray[np.int64], step: int
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """How many lines of each stretch were sampled, and the variance of their gain."""
    few, starts = gain[::step], -(-cuts // step)
    lines = np.maximum(np.diff(starts), 1)
    spread = _span_sums(few**2, starts) / lines - (_span_sums(few, starts) / lines) ** 2
    return lines.astype(np.float64), spread


@njit(cache=True, nogil=True)
def _scatter(
    given: tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]],
    weights: tuple[float, float],
    raw: NDArray[np.float32],
    own: NDArray[np.float32],
) -> None:
    (sums, squares, profile), (weight, spread) = given, weights
    for j in range(raw.size):
        mean = sums[j] * weight
        scatter = squares[j] * weight - mean * mean
        raw[j] = scatter
        own[j] = scatter - spread * profile[j] * profile[j]


def _usable(lines: NDArray[np.int64], rest: NDArray[np.bool_], cuts: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Stretches that aren't much shorter than the others, nor mostly at rest."""
    tall = lines >= lines.max() / 2.0
    live = tall & (_span_means(rest.astype(np.float64), cuts) <= 0.5)  # noqa: PLR2004
    return np.asarray(live if live.any() else tall)


def _span_sums(values: NDArray[np.float64], cuts: NDArray[np.int64]) -> NDArray[np.float64]:
    return np.diff(np.concatenate([[0.0], np.cumsum(values)])[cuts])


def _span_means(values: NDArray[np.float64], cuts: NDArray[np.int64]) -> NDArray[np.float64]:
    return np.asarray(_span_sums(values, cuts) / np.maximum(np.diff(cuts), 1))


def _line_gain(
    totals: BlockSums, level: NDArray[np.float64], segment: int, web: tuple[int, int]
) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """Median over the segments inside the web: a mark is in a few of them only."""
    starts = np.arange(0, len(level), segment)
    ends = np.minimum(starts + totals.summed, len(level))
    before = np.concatenate([[0.0], np.cumsum(level)])
    wanted = before[ends] - before[starts]
    inside = np.flatnonzero((wanted > 0.0) & (starts >= web[0]) & (ends <= web[1]))
    lines = totals.row_sums.shape[1]
    if not inside.size:
        return np.ones(lines), np.zeros(lines, np.bool_)
    gain = median_rows(totals.row_sums[inside] / wanted[inside, None])
    usual = np.median(gain)
    away = np.abs(gain - usual)
    off_level = away > max(_OFF_LEVEL * usual, _OFF_SPREADS * MAD * np.median(away))
    return np.maximum(gain, _NO_LIGHT), off_level | (gain <= 0.0)


def _some(values: NDArray[np.float64]) -> NDArray[np.float64]:
    """So many, evenly spread, that their median tells the level of all."""
    return values[:: max(1, len(values) // _TELLING)]


def _faults(profile: NDArray[np.float64], raw: NDArray[np.float64], saturation: int) -> NDArray[np.uint8]:
    faults = np.zeros(len(profile), np.uint8)
    if len(profile):
        stuck = (raw <= 0.0) & (np.median(_some(raw)) > 2.0 * _ROUNDING)
        faults[stuck | (profile < max(0.5, _DEAD_SHARE * float(np.median(_some(profile)))))] = DEAD
        faults[profile > saturation - 0.5] = SATURATED
    return faults


def _settle(
    own: NDArray[np.float64], raw: NDArray[np.float64], lines: NDArray[np.float64], sound: NDArray[np.bool_]
) -> NDArray[np.float64]:
    """Variance of each column: the neighbourhood's, or its own where that is surely greater."""
    freedom = max(float(np.median(lines)) - 1.0, 1.0)
    # A median of variances is low by this factor [wilson1931].
    unbiased = (freedom + 1.0) / freedom / (1.0 - 2.0 / (9.0 * freedom)) ** 3
    own = np.maximum(own, raw / 50.0) * unbiased
    if not sound.any():
        return np.maximum(own, _ROUNDING)
    near = np.interp(np.arange(len(own)), *group_medians(own, np.flatnonzero(sound), _GROUP))
    spread = MEDIAN_LOSS * np.sqrt(2.0 / freedom / len(lines))
    return np.maximum(np.where(own > near * (1.0 + _OWN_SPREADS * spread), own, near), _ROUNDING)
