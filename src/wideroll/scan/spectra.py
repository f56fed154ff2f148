"""Windowed periodograms of the level along the web, and how surely a line in one stands out.

The floor below each line is the median of its neighbours in frequency over ln 2. For noise that is smooth in frequency
the ratio follows an F distribution, nearly: P(ratio > r) = (1 + r / κ)^−κ, where κ is a quarter of the number of
neighbours, as a median is worth about half of a mean and a Hann taper ties neighbours together [fisher1929]
[harris1978].
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.signal import upfirdn

from wideroll.scan.frame import Frame

__all__ = ["COARSER", "BandRows", "Resolution", "Spectrum", "chance", "low_pass", "resolutions", "weigh", "windows"]

COARSER: Final = 8
_SAMPLES: Final = 4096
_LEAST_SAMPLES: Final = 256
_SHORTEST: Final = 2.4
"""Samples in the shortest wave looked for."""
_CHANGE: Final = 40.0
"""Samples in a wave from which the coarser resolution is better."""
_LONGEST_MM: Final = 600.0
_FIRST_GROUP: Final = 12
"""Waves in a window below which neighbours don't tell a floor."""
_MOST_GROUP: Final = 128
_WORTH: Final = 4.0
_LEAST_SEEN: Final = 0.6
_OUTLYING: Final = 5.0
_MAD: Final = 1.4826
_SOME: Final = 3
_LEAST_WEIGHT: Final = 0.5
"""A sample of which less was looked at is left out."""
_TOGETHER: Final = 16
"""Windows that are assembled at once."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BandRows:
    """What is kept of a block's lines for finding bands: its share of each low-passed sample.

    Sample g lies about the lines from ``g × step`` to ``(g + 1) × step``, counted from the head. Samples at the borders
    of a block have shares of both neighbours, so that nothing shows where blocks meet.
    """

    levels: NDArray[np.float16]
    """``[group, sample]`` weighted sum of each group's level over ``expected``, less 1, over the lines looked at."""
    weights: NDArray[np.float16] | None
    """``[group, sample]`` of the lines looked at; None where all were."""
    expected: NDArray[np.float32]
    """(groups,) level of the block's profile."""
    first_sample: int
    first_line: int
    lines: int
    step: int
    """Lines to a sample."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Resolution:
    """One set of windows."""

    spacing_m: float
    """Of the samples."""
    coarser: int
    """1, or how many of the finer samples make one."""
    samples: int
    """To a window."""
    starts_m: tuple[float, ...]
    """Of the windows."""
    first: int
    last: int
    """Waves in a window looked for, half open."""

    @property
    def length_m(self) -> float:
        """Of a window."""
        return self.samples * self.spacing_m

    @property
    def places(self) -> int:
        """Frequencies looked at in all windows."""
        return len(self.starts_m) * (self.last - self.first)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Spectrum:
    """Of one window; power is such that white noise of variance v gives v."""

    window: int
    lines: NDArray[np.complex128]
    """``[group, wave number]`` of each group by itself."""
    common: NDArray[np.float64]
    """(wave numbers,) power of the mean over the groups."""
    apart: NDArray[np.complex128]
    """``[group, wave number]`` of each group less the mean over the groups; empty where there are fewer than 3."""


def chance(ratio: NDArray[np.float64], worth: NDArray[np.float64]) -> NDArray[np.float64]:
    """Natural logarithm of the probability that noise gives a ratio of a line to its floor as great as this.

    Args:
        ratio: Power over floor.
        worth: κ, as ``floors`` gives it.
    """
    return -worth * np.log1p(ratio / worth)


def resolutions(rows: Sequence[BandRows], frame: Frame) -> list[Resolution]:
    """A fine one for waves of millimetres and a coarse one, with longer windows, for waves of decimetres."""
    first_m, last_m = _ends(rows, frame)
    spacing = _spacing(rows, frame)
    found = []
    for coarser in (1, COARSER):
        step = spacing * coarser
        samples = min(_SAMPLES, int((last_m - first_m) / step))
        if samples < _LEAST_SAMPLES:
            continue
        count = 1 + -(-max(0.0, (last_m - first_m) - samples * step) // (samples * step / 2.0))
        starts = np.linspace(first_m, max(first_m, last_m - samples * step), int(count))
        shortest = _SHORTEST if coarser == 1 else _CHANGE / COARSER
        longest = _CHANGE if coarser == 1 else _LONGEST_MM / 1000.0 / step
        first = max(_FIRST_GROUP, int(np.ceil(samples / longest)))
        last = int(samples / shortest)
        if last > first:
            found.append(
                Resolution(
                    spacing_m=step,
                    coarser=coarser,
                    samples=samples,
                    starts_m=tuple(starts.tolist()),
                    first=first,
                    last=last,
                )
            )
    return found


def windows(rows: Sequence[BandRows], resolution: Resolution, frame: Frame) -> Iterator[Spectrum]:
    """The spectrum of each window that was looked at for the greater part."""
    starts = frame.lines_m(np.array([float(row.first_line) for row in rows]))
    taper = np.hanning(resolution.samples + 1)[:-1]
    taper /= np.sqrt(np.sum(taper**2))
    fine = resolution.spacing_m / resolution.coarser
    for part in range(0, len(resolution.starts_m), _TOGETHER):
        here = resolution.starts_m[part : part + _TOGETHER]
        grid = _grid(rows, starts, (here[0], here[-1] + resolution.length_m), fine, frame)
        if grid is None:
            continue
        if resolution.coarser > 1:
            grid = _coarsened(grid, resolution.coarser)
        for k, start in enumerate(here):
            first = min(round((start - here[0]) / resolution.spacing_m), grid.shape[1] - resolution.samples)
            shown = grid[:, max(first, 0) : max(first, 0) + resolution.samples]
            spectrum = _spectrum(shown, taper, part + k) if shown.shape[1] == resolution.samples else None
            if spectrum is not None:
                yield spectrum


def low_pass(step: int) -> NDArray[np.float64]:
    """Weights over four samples of the coarser spacing: a raised cosine, nothing from its Nyquist frequency on."""
    taps = np.hanning(4 * step + 2)[1:-1] if step > 1 else np.ones(1)
    return np.asarray(taps / taps.sum())


def weigh(values: NDArray[np.float32], first_line: int, step: int) -> tuple[NDArray[np.float32], int]:
    """Weighted sums of lines ``[group, line]`` for every sample they have a share in, and the first such sample."""
    taps = low_pass(step).astype(np.float32)
    ahead = (len(taps) - step) // 2
    lines = values.shape[1]
    first = -(-(first_line + ahead - len(taps) + 1) // step)
    last = (first_line + lines - 1 + ahead) // step
    before = first_line + ahead - first * step
    after = max(0, (last - first) * step + len(taps) - before - lines)
    padded = np.zeros((len(values), before + lines + after), np.float32)
    padded[:, before : before + lines] = values
    return np.lib.stride_tricks.sliding_window_view(padded, len(taps), axis=1)[:, ::step] @ taps, first


@lru_cache(maxsize=8)
def group_borders(samples: int) -> NDArray[np.int64]:
    """Borders of the groups of wave numbers that share a floor: octaves, then groups of equal width."""
    borders = [_FIRST_GROUP]
    while borders[-1] < samples // 2:
        borders.append(borders[-1] + min(max(borders[-1], 2 * _FIRST_GROUP), _MOST_GROUP))
    borders[-1] = samples // 2 + 1
    if len(borders) > 2 and borders[-1] - borders[-2] < borders[-2] - borders[-3]:  # noqa: PLR2004
        del borders[-2]
    return np.array(borders)


def floors(power: NDArray[np.float64], samples: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """The floor below each wave number, and what it is worth.

    Args:
        power: ``[series, wave number]``.
        samples: To a window.

    Returns:
        ``[series, wave number]``, straight in logarithms between the middles of the groups; and κ (wave numbers,).
    """
    borders = group_borders(samples)
    middles = np.sqrt(borders[:-1] * (borders[1:] - 1.0))
    medians = np.stack([np.median(power[:, low:high], axis=1) for low, high in pairwise(borders.tolist())], axis=1)
    levels = np.log(np.maximum(medians / np.log(2.0), np.finfo(np.float64).tiny))
    waves = np.log(np.maximum(np.arange(power.shape[1]), 1.0))
    out = np.stack([np.exp(np.interp(waves, np.log(middles), level)) for level in levels])
    widths = np.diff(borders) / _WORTH
    return out, np.interp(np.arange(power.shape[1]), middles, widths)


@lru_cache(maxsize=64)
def _all_seen(lines: int, phase: int, step: int) -> NDArray[np.float32]:
    return weigh(np.ones((1, lines), np.float32), phase, step)[0]


def _ends(rows: Sequence[BandRows], frame: Frame) -> tuple[float, float]:
    return frame.along_m(float(rows[0].first_line)), frame.along_m(float(rows[-1].first_line + rows[-1].lines))


def _spacing(rows: Sequence[BandRows], frame: Frame) -> float:
    """Metres to a sample, the median over the blocks."""
    steps = [
        frame.along_m(float(row.first_line + row.step)) - frame.along_m(float(row.first_line))
        for row in rows[:: max(1, len(rows) // 256)]
    ]
    return float(np.median(steps))


def _grid(
    rows: Sequence[BandRows], starts: NDArray[np.float64], span_m: tuple[float, float], spacing: float, frame: Frame
) -> NDArray[np.float64] | None:
    """``[group, sample]`` at equal distances along; NaN in gaps."""
    low = max(0, int(np.searchsorted(starts, span_m[0], side="right")) - 2)
    part = rows[low : int(np.searchsorted(starts, span_m[1], side="left")) + 1]
    if not part:
        return None
    step, first = part[0].step, part[0].first_sample
    count = part[-1].first_sample + part[-1].levels.shape[1] - first
    total, weight = np.zeros((2, len(part[0].expected), count))
    for row in part:
        held = _all_seen(row.lines, row.first_line % step, step) if row.weights is None else row.weights
        here = slice(row.first_sample - first, row.first_sample - first + row.levels.shape[1])
        total[:, here] += (row.levels.astype(np.float32) + held) * row.expected[:, None]
        weight[:, here] += held
    # Lines are hardly ever missing in some of the groups only.
    seen = np.flatnonzero(weight.min(axis=0) > _LEAST_WEIGHT)
    places = _places(part, (seen.astype(np.float64) + first + 0.5) * step, frame)
    wanted = span_m[0] + (np.arange(round((span_m[1] - span_m[0]) / spacing), dtype=np.float64) + 0.5) * spacing
    if seen.size:
        # Between samples a straight line lies lower than a wave: at a steady pitch there is no need to.
        nearest = places[np.argmin(np.abs(places - wanted[0]))]
        wanted += np.clip(nearest - wanted[0], -spacing / 2.0, spacing / 2.0)
    return _even(places, total[:, seen] / weight[:, seen], wanted, spacing)


def _places(part: Sequence[BandRows], lines: NDArray[np.float64], frame: Frame) -> NDArray[np.float64]:
    """Metres along of lines; within half a block the speed is taken to be steady."""
    knots = np.array([line for row in part for line in (row.first_line, row.first_line + row.lines / 2.0)])
    knots = np.append(knots, part[-1].first_line + part[-1].lines).astype(np.float64)
    return np.asarray(np.interp(lines, knots, frame.lines_m(knots)), np.float64)


def _even(
    places: NDArray[np.float64], level: NDArray[np.float64], wanted: NDArray[np.float64], spacing: float
) -> NDArray[np.float64]:
    """Straight between the samples; NaN where the nearest is further than one and a half spacings."""
    if len(places) < 2:  # noqa: PLR2004
        return np.full((len(level), len(wanted)), np.nan)
    after = np.clip(np.searchsorted(places, wanted), 1, len(places) - 1)
    share = np.clip((wanted - places[after - 1]) / (places[after] - places[after - 1]), 0.0, 1.0)
    out = level[:, after - 1] * (1.0 - share) + level[:, after] * share
    out[:, np.minimum(np.abs(wanted - places[after - 1]), np.abs(places[after] - wanted)) > 1.5 * spacing] = np.nan
    return np.asarray(out)


def _coarsened(grid: NDArray[np.float64], step: int) -> NDArray[np.float64]:
    """Every ``step``-th of the low-passed samples; NaN where less than half was looked at."""
    taps = low_pass(step)
    seen = ~np.isnan(grid)
    ends = ((0, 0), (len(taps) // 2 - step // 2, len(taps)))
    weight = upfirdn(taps, np.pad(seen.astype(np.float64), ends), 1, step, axis=1)
    total = upfirdn(taps, np.pad(np.where(seen, grid, 0.0), ends), 1, step, axis=1)
    skip, count = (len(taps) - 1) // step, grid.shape[1] // step
    weight, total = weight[:, skip : skip + count], total[:, skip : skip + count]
    return np.where(weight > _LEAST_WEIGHT, total / np.maximum(weight, _LEAST_WEIGHT), np.nan)


def _spectrum(shown: NDArray[np.float64], taper: NDArray[np.float64], window: int) -> Spectrum | None:
    if np.any(np.mean(~np.isnan(shown), axis=1) < _LEAST_SEEN):
        return None
    level = _departures(shown)
    lines = np.fft.rfft(level * taper, axis=1)
    common = np.abs(lines.mean(axis=0)) ** 2
    # Without the mean, as a median would make waves of its own where two meet.
    apart = lines - lines.mean(axis=0) if len(level) > 2 else lines[:0]  # noqa: PLR2004
    return Spectrum(window=window, lines=lines, common=common, apart=apart)


def _departures(shown: NDArray[np.float64]) -> NDArray[np.float64]:
    """From a straight line, as a fraction of the level; gaps are 0, and what a mark leaves is cut off."""
    seen = ~np.isnan(shown)
    count = seen.sum(axis=1, keepdims=True)
    places = np.where(seen, np.arange(shown.shape[1]) / shown.shape[1], 0.0)
    places = np.where(seen, places - places.sum(axis=1, keepdims=True) / count, 0.0)
    rise = np.sum(places**2, axis=1, keepdims=True)
    away = np.where(seen, shown, 0.0)
    away = np.where(seen, away / (away.sum(axis=1, keepdims=True) / count) - 1.0, 0.0)
    for _ in range(2):
        level = away.sum(axis=1, keepdims=True) / count
        slope = np.sum(places * away, axis=1, keepdims=True) / rise
        away = np.where(seen, away - level - slope * places, 0.0)
        most = _OUTLYING * _MAD * np.median(np.abs(away[:, ::_SOME]), axis=1, keepdims=True)
        away = np.minimum(np.maximum(away, -most), most)
    return away
