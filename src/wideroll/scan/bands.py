"""Bands: level that varies periodically along, over all or some of the width.

What all groups of columns have in common carries the gain noise of the lines; what they don't is free of it. Both are
looked through, window by window. White noise and slow drift have no lines in their spectrum: see ``spectra``.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import fdtrc

from wideroll.errors import ArgumentError
from wideroll.roll import Extent
from wideroll.scan.frame import Frame
from wideroll.scan.model import Band
from wideroll.scan.spectra import BandRows, Resolution, chance, floors, low_pass, resolutions, weigh, windows

__all__ = ["FALSE_ALARM", "BandRows", "find_bands", "reduce_lines"]

FALSE_ALARM: Final = 0.01
"""Probability that a scan of noise shows any band."""
_SAMPLE_MM: Final = 0.8
_FIRM: Final = 60000.0
_WEAK: Final = 1e-3
"""Beside a band found, a window or group whose line has a smaller probability than this belongs to it."""
_FEW: Final = 3
_HALF: Final = 0.5
_SKIRT: Final = 16
"""Wave numbers over which a band that starts or ends in a window spreads."""
_SKIRT_SHARE: Final = 0.4
_BESIDE: Final = 2
"""Wave numbers to either side that a line of one frequency fills."""
_MOST_BANDS: Final = 60
_MOST_HARMONIC: Final = 8
_CONFIDENT: Final = 1.959964


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Seed:
    """The surest line of a resolution that no band has yet taken."""

    resolution: Resolution
    chance: float
    wave: int
    window: int


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Course:
    """A wave number in all windows, ``[window, group]``; 0 where not looked at."""

    lines: NDArray[np.float64]
    """Power of each group by itself over its floor."""
    lines_floor: NDArray[np.float64]
    lines_sum: NDArray[np.float64]
    """Power at the wave number and its two neighbours."""
    apart: NDArray[np.float64]
    """The same three of each group less what most groups have."""
    apart_floor: NDArray[np.float64]
    apart_sum: NDArray[np.float64]
    common: NDArray[np.float64]
    """(windows,) power of the mean over the groups, over its floor."""
    sides: NDArray[np.float64]
    """``[window, 3]`` power summed over the groups at the wave numbers below, at and above."""
    worth: float


def reduce_lines(
    row_levels: NDArray[np.float32],
    first_line: int,
    frame: Frame,
    *,
    expected: NDArray[np.float32] | None = None,
    used: NDArray[np.bool_] | None = None,
) -> BandRows:
    """Low-pass the lines of a block and keep a sample about every millimetre.

    Args:
        row_levels: ``[group, line]`` level of each line in each lateral group of columns, over that of the profile.
        first_line: The block's first, counted from the head.
        frame: The raster.
        expected: (groups,) level of the profile, on which the blocks join; None where ``row_levels`` do so already.
        used: (lines,) lines that are looked at; None for all. NaN is not looked at either.
    """
    step = max(1, round(_SAMPLE_MM / frame.pitch_mm[0]))
    seen = ~np.isnan(row_levels)
    if used is not None:
        seen &= used
    level = np.where(seen, row_levels - np.float32(1.0), np.float32(0.0))
    levels, first = weigh(level, first_line, step)
    weights = None if seen.all() else weigh(seen.astype(np.float32), first_line, step)[0].astype(np.float16)
    return BandRows(
        levels=np.clip(levels, -_FIRM, _FIRM).astype(np.float16),
        weights=weights,
        expected=np.ones(len(row_levels), np.float32) if expected is None else expected.astype(np.float32),
        first_sample=first,
        first_line=first_line,
        lines=row_levels.shape[1],
        step=step,
    )


def find_bands(
    rows: Sequence[BandRows | None], borders_mm: Sequence[float], frame: Frame, *, false_alarm: float = FALSE_ALARM
) -> tuple[Band, ...]:
    """Find the periodic variations along, with where they run.

    Every frequency of every window, of what the groups have in common and of each group against the others, is held
    against the floor of its neighbours; together they give a false band with the probability ``false_alarm``.
    A harmonic, up to the eighth, that is fainter than its fundamental is part of it.

    Args:
        rows: Of each block, as ``reduce_lines`` gives them; None for a block that shows no web.
        borders_mm: (groups + 1) borders of the groups of columns, from the datum edge.
        frame: The raster.
        false_alarm: Probability that a scan without bands shows one.

    Returns:
        In order of place, then period.

    Raises:
        ArgumentError: when the borders don't fit the groups.
    """
    held = [row for row in rows if row is not None and row.lines > 0]
    if not held:
        return ()
    groups = held[0].levels.shape[0]
    if len(borders_mm) != groups + 1:
        raise ArgumentError(
            where="borders_mm", rule=f"needs {groups + 1} borders for {groups} groups", value=len(borders_mm),
            mend="Give the borders from the first group's left to the last group's right.",
        )  # fmt: skip
    tried = resolutions(held, frame)
    places = sum(resolution.places for resolution in tried) * (groups + 1)
    found: list[Band] = []
    for resolution in tried:
        limit = float(np.log(false_alarm / places))
        seeds = _find_seeds(held, resolution, limit, frame)
        courses = _follow(held, seeds, resolution, frame)
        for seed in seeds:
            found += _bands(courses[seed.wave], seed, limit, borders_mm, held[0].step)
    return tuple(sorted(_merge(found, tried), key=lambda band: (band.extent, band.period_mm)))


def _find_seeds(rows: Sequence[BandRows], resolution: Resolution, limit: float, frame: Frame) -> list[_Seed]:
    """Wave numbers that stand out in some window, the surest first, none beside a surer one."""
    waves = slice(resolution.first, resolution.last)
    best = np.zeros(resolution.last - resolution.first)
    where = np.zeros(len(best), np.int64)
    for spectrum in windows(rows, resolution, frame):
        power = np.concatenate([spectrum.common[None], np.abs(spectrum.apart) ** 2])
        floor, worth = floors(power, resolution.samples)
        unlikely = chance(power[:, waves] / floor[:, waves], worth[waves]).min(axis=0)
        better = unlikely < best
        best[better], where[better] = unlikely[better], spectrum.window
    seeds: list[_Seed] = []
    for k in np.argsort(best, kind="stable").tolist():
        if best[k] >= limit or len(seeds) == _MOST_BANDS:
            break
        wave = k + resolution.first
        if all(abs(seed.wave - wave) > _BESIDE for seed in seeds):
            seeds.append(_Seed(resolution=resolution, chance=float(best[k]), wave=wave, window=int(where[k])))
    return seeds


def _follow(
    rows: Sequence[BandRows], seeds: Sequence[_Seed], resolution: Resolution, frame: Frame
) -> dict[int, _Course]:
    """The course of each seed's wave number through all windows."""
    if not seeds:
        return {}
    waves = np.array([seed.wave for seed in seeds])
    groups, count = rows[0].levels.shape[0], len(resolution.starts_m)
    table = np.zeros((6, len(waves), count, groups))
    common, sides = np.zeros((len(waves), count)), np.zeros((len(waves), count, 3))
    worths = np.ones(len(waves))
    for spectrum in windows(rows, resolution, frame):
        at = spectrum.window
        for k, lines in ((0, spectrum.lines), (3, spectrum.apart)):
            if len(lines):
                floor, worth = floors(np.abs(lines) ** 2, resolution.samples)
                beside = np.abs(_against(lines[:, waves[:, None] + np.arange(-1, 2)], most=k > 0)) ** 2
                beside = beside.transpose(2, 0, 1)
                table[k, :, at], table[k + 1, :, at] = (beside[1] / floor[:, waves]).T, floor[:, waves].T
                table[k + 2, :, at] = beside.sum(axis=0).T
                sides[:, at] += beside.sum(axis=1).T
                worths = worth[waves]
        floor, _ = floors(spectrum.common[None], resolution.samples)
        common[:, at] = spectrum.common[waves] / floor[0, waves]
    return {
        int(wave): _Course(
            lines=table[0, k],
            lines_floor=table[1, k],
            lines_sum=table[2, k],
            apart=table[3, k],
            apart_floor=table[4, k],
            apart_sum=table[5, k],
            common=common[k],
            sides=sides[k],
            worth=float(worths[k]),
        )
        for k, wave in enumerate(waves.tolist())
    }


def _against(lines: NDArray[np.complex128], *, most: bool) -> NDArray[np.complex128]:
    """Lines of each group as they are, or less what most groups have: the mean holds a share of what few bear."""
    return lines - np.median(lines.real, axis=0) - 1j * np.median(lines.imag, axis=0) if most else lines


def _bands(course: _Course, seed: _Seed, limit: float, borders_mm: Sequence[float], step: int) -> list[Band]:
    """One band for each run of windows that show the line, if one of them shows it surely."""
    looked = np.column_stack([course.common, course.apart])
    unlikely = chance(looked, np.full(looked.shape, course.worth)).min(axis=1)
    shows = np.flatnonzero(unlikely < np.log(_WEAK / looked.shape[1]))
    runs = np.split(shows, np.flatnonzero(np.diff(shows) > 2) + 1)  # noqa: PLR2004
    return [
        _band(course, seed, np.arange(run[0], run[-1] + 1), borders_mm, step)
        for run in runs
        if run.size and unlikely[run].min() < limit
    ]


def _band(course: _Course, seed: _Seed, run: NDArray[np.int64], borders_mm: Sequence[float], step: int) -> Band:
    resolution = seed.resolution
    use, apart = _groups(course, run)
    run = _filled(run, (course.apart_sum if apart else course.lines_sum)[:, use])
    inner = run[1:-1] if run.size > _FEW else run
    floor = (course.apart_floor if apart else course.lines_floor)[np.ix_(inner, use)]
    total = (course.apart_sum if apart else course.lines_sum)[np.ix_(inner, use)]
    wave = seed.wave + _offset(course.sides[inner].sum(axis=0))
    response = _response(resolution.samples / wave, step, resolution.coarser)
    # A line of amplitude a has a²n/6 in its own wave number and half as much again in its two neighbours.
    scale = 6.0 / 1.5 / resolution.samples
    power = np.maximum(total - 3.0 * floor, 0.0) * scale
    amplitude = float(np.sqrt(power.mean()))
    starts = np.array(resolution.starts_m)[inner]
    # Windows overlap by half, or by more where the scan is hardly longer than one.
    looks = min(float(inner.size), 1.0 + 2.0 * float(np.ptp(starts)) / resolution.length_m)
    independent = looks * (len(use) if apart else 1)
    deviation = float(np.sqrt(3.0 / resolution.samples * floor.mean() / independent))
    if inner.size > _FEW:
        by_window = np.sqrt(power.mean(axis=1))
        deviation = max(deviation, float(np.std(by_window)) / float(np.sqrt(looks)))
    amplitude, deviation = amplitude / response, deviation / response
    return Band(
        extent=_extent(resolution, run, (borders_mm[use[0]], borders_mm[use[-1] + 1])),
        period_mm=1000.0 * resolution.length_m / wave,
        amplitude=amplitude,
        amplitude_low=max(0.0, amplitude - _CONFIDENT * deviation),
        amplitude_high=amplitude + _CONFIDENT * deviation,
        snr=amplitude / deviation,
    )


def _filled(run: NDArray[np.int64], total: NDArray[np.float64]) -> NDArray[np.int64]:
    """Without the windows at either end that the band fills by less than half."""
    strength = np.sqrt(total.mean(axis=1)[run])
    full = np.flatnonzero(strength >= _HALF * np.percentile(strength, 75.0))
    return run[full[0] : full[-1] + 1]


def _groups(course: _Course, run: NDArray[np.int64]) -> tuple[NDArray[np.int64], bool]:
    """The groups that bear the line, and whether that shows against the other groups only.

    Against the others, a line over most of the width looks like one over the rest of it: what the rest shows by itself
    tells which. Where gain noise hides that, the fewer groups are taken.
    """
    groups = course.lines.shape[1]
    against = _surely(course.apart[run], course.worth)
    bearing = np.flatnonzero(against)
    if bearing.size and 2 * bearing.size <= groups:
        rest = np.flatnonzero(~against)
        if not _surely(course.lines[np.ix_(run, rest)].mean(axis=1, keepdims=True), course.worth)[0]:
            return bearing, True
    alone = np.flatnonzero(_surely(course.lines[run], course.worth))
    return (alone if alone.size else np.arange(groups)), False


def _surely(ratios: NDArray[np.float64], worth: float) -> NDArray[np.bool_]:
    """For each column, whether the mean of power over floor is above what noise gives."""
    count = len(ratios)
    unlikely = fdtrc(2.0 * count, 2.0 * worth * count, ratios.mean(axis=0))
    return np.asarray(unlikely < _WEAK / ratios.shape[1])


def _offset(sides: NDArray[np.float64]) -> float:
    """By how much of a wave number the line lies beside its own, from the greater neighbour under a Hann taper."""
    below, own, above = np.sqrt(sides)
    share = max(below, above) / max(own, np.finfo(np.float64).tiny)
    return float(np.clip(np.copysign((2.0 * share - 1.0) / (share + 1.0), above - below), -0.5, 0.5))


def _response(wave_samples: float, step: int, coarser: int) -> float:
    """What the low-passes leave of a wave of so many samples.

    Args:
        wave_samples: Length of the wave, in samples of its resolution.
        step: Lines to a fine sample.
        coarser: Fine samples to one of the resolution.
    """
    left = 1.0
    for size, wave in ((step, wave_samples * coarser * step), (coarser, wave_samples * coarser)):
        taps = low_pass(size)
        left *= abs(complex(np.sum(taps * np.exp(-2j * np.pi * np.arange(len(taps)) / wave))))
    return left


def _extent(resolution: Resolution, run: NDArray[np.int64], across_mm: tuple[float, float]) -> Extent:
    """Half of what a window reaches beyond its taper's weight is taken off where other windows don't show it."""
    starts, quarter = resolution.starts_m, resolution.length_m / 4.0
    first, last = int(run[0]), int(run[-1])
    return Extent(
        along_from_m=starts[first] + (quarter if first > 0 else 0.0),
        along_to_m=starts[last] + resolution.length_m - (quarter if last + 1 < len(starts) else 0.0),
        across_from_mm=float(across_mm[0]),
        across_to_mm=float(across_mm[1]),
    )


def _merge(found: Sequence[Band], tried: Sequence[Resolution]) -> list[Band]:
    """Join what is one band in pieces, and leave out harmonics fainter than their fundamental."""
    joined: list[Band] = []
    for band in sorted(found, key=lambda one: (-one.amplitude, one.extent)):
        partner = next((other for other in joined if _same(band, other, tried)), None)
        if partner is None:
            joined.append(band)
        elif band.amplitude >= _SKIRT_SHARE * partner.amplitude:
            joined[joined.index(partner)] = replace(partner, extent=_union(partner.extent, band.extent))
    return [band for band in joined if not any(_is_harmonic(band, other, tried) for other in joined)]


def _slack(band: Band, tried: Sequence[Resolution]) -> float:
    """Waves in a metre by which two lines may differ and be the same."""
    length = max((one.length_m for one in tried if _covers(one, band)), default=tried[-1].length_m)
    return _BESIDE / length


def _covers(resolution: Resolution, band: Band) -> bool:
    waves = band.frequency_per_m * resolution.length_m
    return resolution.first - 1 <= waves <= resolution.last + 1


def _same(band: Band, other: Band, tried: Sequence[Resolution]) -> bool:
    near = band.extent.grown(along_m=tried[0].length_m / 2.0, across_mm=1.0).meet(other.extent)
    slack = max(_slack(band, tried), _slack(other, tried))
    if band.amplitude < _SKIRT_SHARE * other.amplitude:
        slack *= _SKIRT / _BESIDE
    return near is not None and abs(band.frequency_per_m - other.frequency_per_m) <= slack


def _is_harmonic(band: Band, base: Band, tried: Sequence[Resolution]) -> bool:
    order = round(band.frequency_per_m / base.frequency_per_m)
    if not 2 <= order <= _MOST_HARMONIC or band.amplitude >= base.amplitude:  # noqa: PLR2004
        return False
    slack = _slack(band, tried) + order * _slack(base, tried) / _BESIDE
    return (
        abs(band.frequency_per_m - order * base.frequency_per_m) <= slack and band.extent.meet(base.extent) is not None
    )


def _union(one: Extent, other: Extent) -> Extent:
    return Extent(
        along_from_m=min(one.along_from_m, other.along_from_m),
        along_to_m=max(one.along_to_m, other.along_to_m),
        across_from_mm=min(one.across_from_mm, other.across_from_mm),
        across_to_mm=max(one.across_to_mm, other.across_to_mm),
    )
