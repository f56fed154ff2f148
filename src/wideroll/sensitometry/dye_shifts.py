"""Is it one record, or the process? Which of the two a deviation in dye amounts looks like.

Fog and development act on all records; a wrong melt, a wrong coating weight or a spent sensitising dye on one. Each
explanation is tested against the deviations by generalised least squares, and one is named only when it alone remains:
so the true one is wrongly ruled out at the stated rate, and no other can be named without that.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np
from numpy.typing import ArrayLike
from scipy.linalg import solve_triangular
from scipy.special import chdtrc, fdtrc

from wideroll.errors import ArgumentError
from wideroll.sensitometry.dyes import Dye, DyeDeviations, covariance_matrix
from wideroll.sensitometry.model import Floats

__all__ = ["DyeShift", "ShiftKind", "tell_dye_shift"]

_DYES: Final = 3
_SMALLEST_RATIO: Final = 1e-12
"""Of the covariance's least to its greatest variance; below it a combination of deviations would be known exactly."""


class ShiftKind(StrEnum):
    """What a deviation in dye amounts looks like."""

    NONE_SHOWN = "none shown"
    PROCESS_WIDE = "process-wide"
    ONE_RECORD = "one record"
    PROCESS_AND_RECORD = "process-wide and one record"
    NOT_SETTLED = "not settled"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DyeShift:
    """What a strip's deviations (n, 3) in dye amounts look like, and by which tests.

    ``p_values`` has one probability for each explanation: ``none``; ``process-wide``; ``cyan``, ``magenta``, ``yellow``
    for one record alone; and ``process-wide and cyan`` and so on. A small one speaks against its explanation.
    ``common`` and ``specific`` (n,) are the process-wide and the record's own part at each level under the explanation
    named, NaN where it has no such part; their standard uncertainties stand beside them.
    """

    kind: ShiftKind
    dye: Dye | None
    """The dye of the record named, when one is."""
    p_values: Mapping[str, float]
    level: float
    common: Floats
    common_sd: Floats
    specific: Floats
    specific_sd: Floats
    words: str


def tell_dye_shift(
    deviations: DyeDeviations,
    *,
    response: ArrayLike | None = None,
    level: float = 0.05,
    degrees_of_freedom: float = np.inf,
) -> DyeShift:
    """Tell a deviation of one record from one that the process gives to all.

    At exposure level l and record r the deviation is response(l, r)·c(l) when it is process-wide, f(l) in record r and
    0 in the others when it is that record's alone, with c and f free at each level. Each explanation is judged by
    generalised least squares: the weighted sum of squares it leaves is chi-squared with 2n degrees of freedom when it
    is true (3n for no deviation at all; n for process and one record), or q·F(q, ν) when the covariance was estimated
    with ν degrees of freedom by one common factor. First, no deviation is tested; if that isn't ruled out, nothing more
    is said. Of the four simple explanations, the one that remains is named; if several do, it isn't settled; only if
    none does are the three mixed ones tried in the same way.

    What the process adds need not be the same amount of dye in each record: development adds in proportion to what is
    there. Give the aim's amounts as ``response`` for that, ones for fog.

    Source: tests of linear hypotheses, textbooks; the order of tests is this room's own, its error rates simulated.

    Args:
        deviations: check minus aim, from ``unmix_deviations`` or from spectra. A strip already corrected for its
            process shows what its reference strip didn't; one that isn't shows both.
        response: what a process-wide change of 1 does to each level and record (n, 3), positive; ones when not given.
        level: at which an explanation is ruled out.
        degrees_of_freedom: of the covariance, when its size was estimated from few residuals.

    Raises:
        ArgumentError: when a shape is wrong, the covariance isn't positive definite, the response isn't positive, or
            the level isn't between 0 and 1.

    Example:
        >>> deviation = np.array([[0.08, 0.0, 0.01], [0.09, 0.01, 0.0], [0.10, -0.01, 0.0]])
        >>> told = tell_dye_shift(DyeDeviations(amounts=deviation, covariance=1e-4 * np.eye(9)))
        >>> told.kind.value, told.dye.value
        ('one record', 'cyan')
    """
    amounts, root = _whitening(deviations, level, degrees_of_freedom)
    levels = len(amounts)
    factor = _response(response, levels)
    common = (np.eye(levels)[:, np.newaxis, :] * factor[:, :, np.newaxis]).reshape(-1, levels)
    own = {dye: np.kron(np.eye(levels), np.eye(_DYES)[:, [place]]) for place, dye in enumerate(Dye)}
    designs = {
        "none": np.zeros((amounts.size, 0)),
        ShiftKind.PROCESS_WIDE.value: common,
        **{dye.value: design for dye, design in own.items()},
        **{f"{ShiftKind.PROCESS_WIDE} and {dye}": np.hstack([common, design]) for dye, design in own.items()},
    }
    fits = {name: _fit(design, amounts.ravel(), root) for name, design in designs.items()}
    p_values = {
        name: _p_value(fit[2], amounts.size - designs[name].shape[1], degrees_of_freedom) for name, fit in fits.items()
    }
    named, words = _name(p_values, level)
    kind, dye = _kind(named)
    parts = _parts(kind, fits.get(named), levels)
    return DyeShift(kind=kind, dye=dye, p_values=p_values, level=level, words=words, **parts)


def _name(p_values: Mapping[str, float], level: float) -> tuple[str, str]:
    """Name of the explanation that alone remains, empty when there isn't just one, and what is to be said."""
    if p_values["none"] > level:
        return "none", f"no deviation is shown in any dye (p = {p_values['none']:.2g})"
    mixed = [f"{ShiftKind.PROCESS_WIDE} and {dye}" for dye in Dye]
    for tried in ([ShiftKind.PROCESS_WIDE.value, *Dye], mixed):
        left = [name for name in tried if p_values[name] > level]
        if len(left) == 1:
            others = max(p_values[name] for name in tried if name != left[0])
            return str(left[0]), (
                f"{_WORDS[left[0]]} (p = {p_values[left[0]]:.2g}; each other explanation of its kind p ≤ {others:.1g})"
            )
        if left:
            listed = " or ".join(f"{_WORDS[name]} (p = {p_values[name]:.2g})" for name in left)
            return "", f"not settled: {listed}; more strips or levels would tell"
    return "", "not settled: more than one record deviates, each in its own way"


_WORDS: Final[Mapping[str, str]] = {
    ShiftKind.PROCESS_WIDE.value: "all records deviate together, as by the process",
    **{dye.value: f"only {dye} deviates, the {dye.record} record" for dye in Dye},
    **{
        f"{ShiftKind.PROCESS_WIDE} and {dye}": f"all records deviate together, and {dye} ({dye.record} record) besides"
        for dye in Dye
    },
}


def _kind(named: str) -> tuple[ShiftKind, Dye | None]:
    if not named:
        return ShiftKind.NOT_SETTLED, None
    if named == "none":
        return ShiftKind.NONE_SHOWN, None
    if named == ShiftKind.PROCESS_WIDE:
        return ShiftKind.PROCESS_WIDE, None
    if named in list(Dye):
        return ShiftKind.ONE_RECORD, Dye(named)
    return ShiftKind.PROCESS_AND_RECORD, Dye(named.removeprefix(f"{ShiftKind.PROCESS_WIDE} and "))


def _parts(kind: ShiftKind, fit: tuple[Floats, Floats, float] | None, levels: int) -> dict[str, Floats]:
    """The estimated parts of the explanation named, by field; NaN where it has none."""
    parts = {name: np.full(levels, np.nan) for name in ("common", "common_sd", "specific", "specific_sd")}
    names = {
        ShiftKind.PROCESS_WIDE: ("common",),
        ShiftKind.ONE_RECORD: ("specific",),
        ShiftKind.PROCESS_AND_RECORD: ("common", "specific"),
    }.get(kind, ())
    for place, name in enumerate(names):
        if fit is not None:
            among = slice(place * levels, (place + 1) * levels)
            parts[name], parts[f"{name}_sd"] = fit[0][among], np.sqrt(np.diag(fit[1]))[among]
    return parts


def _fit(design: Floats, deviation: Floats, root: Floats) -> tuple[Floats, Floats, float]:
    """Estimates (k,), their covariance (k, k) and the weighted sum of squares that is left."""
    y = solve_triangular(root, deviation, lower=True)
    if design.shape[1] == 0:
        return np.zeros(0), np.zeros((0, 0)), float(y @ y)
    x = solve_triangular(root, design, lower=True)
    found = np.linalg.lstsq(x, y)[0]
    return found, np.linalg.inv(x.T @ x), float(np.sum((y - x @ found) ** 2))


def _p_value(squares: float, tested: int, degrees_of_freedom: float) -> float:
    if np.isinf(degrees_of_freedom):
        return float(chdtrc(tested, squares))
    return float(fdtrc(tested, degrees_of_freedom, squares / tested))


def _response(response: ArrayLike | None, levels: int) -> Floats:
    factor = np.ones((levels, _DYES)) if response is None else np.asarray(response, dtype=np.float64)
    if factor.shape != (levels, _DYES) or not (np.isfinite(factor).all() and (factor > 0.0).all()):
        raise ArgumentError(
            where="response",
            rule=f"greater than 0, ({levels}, 3)",
            value=factor.tolist(),
            mend="Give what the process does to cyan, magenta and yellow at each level, or nothing.",
        )
    return factor


def _whitening(deviations: DyeDeviations, level: float, degrees_of_freedom: float) -> tuple[Floats, Floats]:
    """Deviations (n, 3) and the lower root (3n, 3n) of their covariance."""
    if not 0.0 < level < 1.0 or not degrees_of_freedom > 0.0:
        raise ArgumentError(
            where="level and degrees_of_freedom",
            rule="between 0 and 1, and greater than 0",
            value=(level, degrees_of_freedom),
            mend="Give 0.05 and the residuals' degrees of freedom.",
        )
    amounts = np.asarray(deviations.amounts, dtype=np.float64)
    if amounts.ndim != 2 or amounts.shape[1] != _DYES or not len(amounts) or not np.isfinite(amounts).all():  # noqa: PLR2004
        raise ArgumentError(
            where="deviations",
            rule="finite, (n, 3), at least one level",
            value=amounts.tolist(),
            mend="Give cyan, magenta and yellow by level.",
        )
    covariance = covariance_matrix("covariance of the deviations", deviations.covariance, amounts.size)
    variances = np.linalg.eigvalsh(covariance)
    if not variances[0] > _SMALLEST_RATIO * variances[-1]:
        raise ArgumentError(
            where="covariance of the deviations",
            rule="positive definite",
            value=float(variances[0]),
            mend="Each deviation has an error of its own, of reading at least: add it.",
        )
    return amounts, np.asarray(np.linalg.cholesky(covariance), dtype=np.float64)
