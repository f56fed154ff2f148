"""The signal a block would show without marks: across-web profile, noise of each column, gain of each line."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from wideroll.scan.edges import Edges, find_edges
from wideroll.scan.frame import Frame
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
    """Find the background from medians over strips, so that nothing shorter than half a block pulls at it.

    Args:
        totals: The block's sums.
        frame: The raster.
        known: Edges of the block before.
        rest: (lines,) lines at rest, at most half of them; None for none.
    """
    lines = np.diff(totals.cuts).astype(np.float64)
    rest = np.zeros(totals.row_sums.shape[1], np.bool_) if rest is None else rest
    use = _usable(lines, rest, totals.cuts)
    means = totals.sums / np.maximum(lines, 1.0)[:, None]
    level = median_rows(means[use])
    edges = find_edges(level, frame, known)
    first, last = edges.inside(frame)
    gain, off_level = _line_gain(totals.row_sums, level, frame.segment, first, last)
    strip_gain = np.maximum(_strip_means(gain, totals.cuts), _NO_LIGHT)
    means = means[:, first:last]
    profile = median_rows((means / strip_gain[:, None])[use])
    gain_variance = _strip_means(gain**2, totals.cuts) - strip_gain**2
    scatter = (totals.squares[:, first:last] / np.maximum(lines, 1.0)[:, None] - means**2)[use]
    raw = median_rows(scatter)
    faults = _faults(profile, raw, frame.saturation)
    own = median_rows(scatter - gain_variance[use, None] * profile**2)
    sound = faults == 0
    return Background(
        edges=edges,
        first=first,
        last=last,
        profile=profile,
        noise=np.sqrt(_settle(own, raw, lines[use], sound)),
        gain=gain,
        off_level=off_level & ~rest,
        used=~(off_level | rest),
        silent=not np.any(sound) or float(np.median(raw[sound])) <= 0.0,
        faults=faults,
    )


def _usable(lines: NDArray[np.float64], rest: NDArray[np.bool_], cuts: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Strips that aren't much shorter than the others, nor mostly at rest."""
    tall = lines >= lines.max() / 2.0
    live = tall & (_strip_means(rest.astype(np.float64), cuts) <= 0.5)  # noqa: PLR2004
    return np.asarray(live if live.any() else tall)


def _strip_means(values: NDArray[np.float64], cuts: NDArray[np.int64]) -> NDArray[np.float64]:
    ends = np.concatenate([[0.0], np.cumsum(values)])[cuts]
    return np.asarray(np.diff(ends) / np.maximum(np.diff(cuts), 1))


def _line_gain(
    row_sums: NDArray[np.float64], level: NDArray[np.float64], segment: int, first: int, last: int
) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """Median over the segments inside the web: a mark is in a few of them only."""
    wanted = np.add.reduceat(level, np.arange(0, len(level), segment))
    inside = np.flatnonzero(wanted > 0.0)
    inside = inside[(inside * segment >= first) & (np.minimum((inside + 1) * segment, len(level)) <= last)]
    if not inside.size:
        return np.ones(row_sums.shape[1]), np.zeros(row_sums.shape[1], np.bool_)
    gain = median_rows(row_sums[inside] / wanted[inside, None])
    usual = np.median(gain)
    away = np.abs(gain - usual)
    off_level = away > max(_OFF_LEVEL * usual, _OFF_SPREADS * MAD * np.median(away))
    return np.maximum(gain, _NO_LIGHT), off_level | (gain <= 0.0)


def _faults(profile: NDArray[np.float64], raw: NDArray[np.float64], saturation: int) -> NDArray[np.uint8]:
    faults = np.zeros(len(profile), np.uint8)
    if len(profile):
        stuck = (raw <= 0.0) & (np.median(raw) > 2.0 * _ROUNDING)
        faults[stuck | (profile < max(0.5, _DEAD_SHARE * float(np.median(profile))))] = DEAD
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
