"""Trial spacings, what the table of rollers makes of them, and which roller a series came from.

The prior of a spacing is a mixture: each roller that reaches the place gives a normal about π × diameter, as wide as
its tolerance and slip; *another, not in the table* spreads evenly over the logarithm of the spacing.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, floor, hypot, log, sqrt
from typing import Final

import numpy as np
from numpy.typing import NDArray

from wideroll.repeats.model import ANOTHER, Candidate, Roller, SeriesSettings

__all__ = ["ANOTHER_SHARE", "Prior", "Trials", "lay_trials", "name_rollers", "spacing_prior"]

ANOTHER_SHARE: Final = 0.25
"""Prior probability that a series comes from something that isn't in the table."""

_LEAST_JITTERS: Final = 12.0  # a turn shorter than this many jitters has marks everywhere
_FAR: Final = 4.0  # standard deviations to which a roller's neighbourhood is tried


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Trials:
    """The spacings tried, and what each maker would give."""

    spacings: NDArray[np.float64]
    """(k,) metres, ascending; neighbours lie one step apart in the logarithm, or have a hole between them."""
    rollers: tuple[Roller, ...]
    by_roller: NDArray[np.float64]
    """(rollers, k): each row sums to 1."""
    by_another: NDArray[np.float64]
    """(k,), sums to 1."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Prior:
    """Prior probability of each trial spacing at a place across, by what could have made it."""

    spacings: NDArray[np.float64]
    """(k,) metres, ascending."""
    rollers: tuple[Roller, ...]
    """Those that reach the place."""
    shares: NDArray[np.float64]
    """(rollers + 1, k): the last row is *another*; sums to 1."""
    total: NDArray[np.float64]
    """(k,) over all that could have made it."""


def lay_trials(rollers: Sequence[Roller], settings: SeriesSettings) -> Trials:
    """Trial spacings between least and most and about each roller; a roller too small for the jitter is left out."""
    fit = tuple(roller for roller in rollers if roller.pitch_m * 1000.0 > _LEAST_JITTERS * settings.jitter_mm)
    broad = _cells(log(settings.least_spacing_m), log(settings.most_spacing_m), settings.spacing_step)
    cells = {*broad}
    for roller in fit:
        reach = _FAR * _relative_sd(roller, settings)
        cells.update(_cells(log(roller.pitch_m) - reach, log(roller.pitch_m) + reach, settings.spacing_step))
    tried = np.array(sorted(cells), dtype=np.int64)
    log_spacing = tried.astype(np.float64) * settings.spacing_step
    within = (tried >= broad.start) & (tried < broad.stop)
    return Trials(
        spacings=np.exp(log_spacing),
        rollers=fit,
        by_roller=np.array([_normal(log_spacing, roller, settings) for roller in fit]).reshape(len(fit), tried.size),
        by_another=within / within.sum(),
    )


def spacing_prior(trials: Trials, across_mm: float) -> Prior:
    """Prior of the trial spacings for a series at a place across."""
    reaching = [row for row, roller in enumerate(trials.rollers) if _reaches(roller, across_mm)]
    another = ANOTHER_SHARE if reaching else 1.0
    each = (1.0 - ANOTHER_SHARE) / max(len(reaching), 1)
    shares = np.vstack([each * trials.by_roller[reaching], another * trials.by_another])
    return Prior(
        spacings=trials.spacings,
        rollers=tuple(trials.rollers[row] for row in reaching),
        shares=shares,
        total=shares.sum(axis=0),
    )


def name_rollers(prior: Prior, log_evidence: NDArray[np.float64], spacing_m: float) -> tuple[Candidate, ...]:
    """Posterior probability of each roller and of *another*, most probable first.

    Args:
        prior: of the trial spacings.
        log_evidence: float64 (k,), of each trial spacing.
        spacing_m: the spacing found, from which the slip of a roller is told that has no evidence at all.
    """
    evidence = np.exp(log_evidence - log_evidence.max())
    by_maker = prior.shares * evidence
    weights = by_maker.sum(axis=1)
    candidates: list[Candidate] = []
    for roller, cells, weight in zip(prior.rollers, by_maker, weights, strict=False):
        spacing = float(cells @ prior.spacings / weight) if weight > 0.0 else spacing_m
        probability = float(weight / weights.sum())
        candidates.append(Candidate(roller=roller.name, probability=probability, slip=spacing / roller.pitch_m - 1.0))
    rest = max(0.0, 1.0 - sum(candidate.probability for candidate in candidates))
    candidates.append(Candidate(roller=ANOTHER, probability=rest, slip=0.0))
    return tuple(sorted(candidates, key=lambda candidate: -candidate.probability))


def _cells(low: float, high: float, step: float) -> range:
    return range(floor(low / step), ceil(high / step) + 1)


def _relative_sd(roller: Roller, settings: SeriesSettings) -> float:
    # a tolerance is a pair of limits, any diameter between them as likely: standard deviation tolerance / √3 (JCGM 100)
    return max(settings.spacing_step, hypot(settings.slip, roller.tolerance_mm / sqrt(3.0) / roller.diameter_mm))


def _normal(log_spacing: NDArray[np.float64], roller: Roller, settings: SeriesSettings) -> NDArray[np.float64]:
    z = (log_spacing - log(roller.pitch_m)) / _relative_sd(roller, settings)
    density = np.exp(-0.5 * z**2)
    normal: NDArray[np.float64] = density / density.sum()
    return normal


def _reaches(roller: Roller, across_mm: float) -> bool:
    low = roller.across_from_mm
    high = roller.across_to_mm
    return (low is None or across_mm >= low) and (high is None or across_mm <= high)
