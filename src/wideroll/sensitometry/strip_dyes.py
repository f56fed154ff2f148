"""A strip's deviations from aim in amounts of dye: is it one record, or all of them?"""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from wideroll.errors import ArgumentError
from wideroll.sensitometry.dye_shifts import tell_dye_shift
from wideroll.sensitometry.dyes import unmix_deviations
from wideroll.sensitometry.model import CurveFit, Dye, DyeShift, FilmDyes, Floats, Record, ShiftKind
from wideroll.sensitometry.ranges import covered_places, useful_range_of
from wideroll.sensitometry.richards import density_of, gradient_of, jacobian_of

__all__ = ["strip_dye_shift"]

_RECORDS: Final[tuple[Record, ...]] = tuple(dye.record for dye in Dye)
_LEVEL: Final = 0.05
_SHARES: Final = (1 / 6, 1 / 2, 5 / 6)
"""Of the useful range, for the levels looked at. Three: five use up the curve's five parameters, and what they say of
its ends, where it is far from linear in them, makes one strip of five a false alarm (simulated)."""


def strip_dye_shift(
    strips: Sequence[Mapping[Record, CurveFit]],
    aims: Mapping[Record, CurveFit],
    dyes: FilmDyes,
    *,
    log_h_sd: float = 0.0,
) -> DyeShift | None:
    """What the mean of strips, less their aim, looks like in amounts of dye; None unless all three records have aims.

    Read off the free fits at three exposure levels of the useful range that all records share. Records err
    independently, but for the level of log H. A change of the process may give every record the same amount of dye (as
    fog does), amounts in proportion to what is there (as development does), or the same density (as stain and the
    densitometer's zero do): the best of the three counts, see ``tell_dye_shift``.

    Args:
        strips: the fits of each.
        aims: the aim curves as fitted by ``fit_aims``.
        dyes: of the film.
        log_h_sd: standard uncertainty of the level of log H, where the fits leave it out.

    Example:
        >>> from wideroll.sensitometry.fitting import fit_curve
        >>> x = np.linspace(-3.0, 0.5, 25)
        >>> noise = 0.005 * np.cos(40.0 * x)
        >>> aim, off = (fit_curve(x, low + 2.0 / (1.0 + np.exp(-3.0 * (x + 1.2))) + noise) for low in (0.2, 0.3))
        >>> matrix = np.array([[1.0, 0.1, 0.0], [0.1, 1.0, 0.0], [0.0, 0.2, 1.0]])
        >>> aims = dict.fromkeys((Record.RED, Record.GREEN, Record.BLUE), aim)
        >>> strip_dye_shift([{**aims, Record.BLUE: off}], aims, FilmDyes(matrix=matrix)).words[:20]
        'only yellow deviates'
    """
    if not strips or any(record not in fits for fits in (aims, *strips) for record in _RECORDS):
        return None
    ranges = [useful_range_of(aims[record]) for record in _RECORDS]
    wanted = (max(low for low, _ in ranges), min(high for _, high in ranges))
    x, _ = covered_places(wanted, [fits[record] for fits in strips for record in _RECORDS])
    if not len(x):
        return _untold("the readings cover nothing of the useful range that the records' aims share")
    x = x[0] + (x[-1] - x[0]) * np.array(_SHARES)
    aim = np.stack([density_of(aims[record].parameters, x) for record in _RECORDS], axis=1)
    mean, covariance = _mean(strips, x, log_h_sd)
    try:
        deviations = unmix_deviations(mean - aim, dyes.matrix, covariance, matrix_uncertainty=dyes.standard_uncertainty)
        told = tell_dye_shift(
            deviations,
            response=_responses(aim - [aims[record].parameters[0] for record in _RECORDS], dyes.matrix),
            level=_LEVEL,
            degrees_of_freedom=_degrees_of_freedom(strips),
        )
    except ArgumentError as error:
        return _untold(f"{error.where} must be {error.rule}")
    return replace(told, log_h=x)


def _mean(strips: Sequence[Mapping[Record, CurveFit]], x: Floats, log_h_sd: float) -> tuple[Floats, Floats]:
    """Mean density (n, 3) of the strips at log H (n,), and its covariance (3n, 3n), level by level."""
    levels, count = len(x), len(_RECORDS)
    mean, covariance = np.zeros((levels, count)), np.zeros((levels, count, levels, count))
    shared = np.zeros((levels, count))
    for fits in strips:
        for place, record in enumerate(_RECORDS):
            fit = fits[record]
            mean[:, place] += density_of(fit.parameters, x)
            slopes, own = jacobian_of(fit.parameters, x), fit.covariance
            if fit.log_h_sd:
                own = own.copy()
                own[2, 2] -= fit.log_h_sd**2
            shared[:, place] += (fit.log_h_sd or log_h_sd) * gradient_of(fit.parameters, x)
            covariance[:, place, :, place] += slopes @ own @ slopes.T
    whole = covariance.reshape(levels * count, levels * count) + np.outer(shared, shared)
    return mean / len(strips), whole / len(strips) ** 2


def _responses(above: Floats, matrix: Floats) -> Floats:
    """What the process does to each dye (k, n, 3), where the aim lies so far above its minimum (n, 3)."""
    inverse = np.linalg.inv(matrix)
    tried = np.stack([np.ones_like(above), above @ inverse.T, np.broadcast_to(inverse.sum(axis=1), above.shape)])
    return tried[(tried > 0.0).all(axis=(1, 2))]


def _degrees_of_freedom(strips: Sequence[Mapping[Record, CurveFit]]) -> float:
    """Half of all: each record's scatter is estimated apart. Then one strip of twenty is a false alarm (simulated)."""
    return 0.5 * float(sum(fits[record].degrees_of_freedom for fits in strips for record in _RECORDS))


def _untold(why: str) -> DyeShift:
    none = np.empty(0)
    return DyeShift(
        kind=ShiftKind.NOT_SETTLED,
        dye=None,
        p_values={},
        level=_LEVEL,
        common=none,
        common_sd=none,
        specific=none,
        specific_sd=none,
        words=f"not settled: {why}",
    )
