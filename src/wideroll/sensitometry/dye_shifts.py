"""Is it one record, or the process? Which of the two a deviation in dye amounts looks like.

Fog and development act on all records; a wrong melt, a wrong coating weight or a spent sensitising dye on one. Each
explanation is tested against the deviations by generalised least squares, and one is named only when it alone remains:
so the true one is wrongly ruled out at the stated rate, and no other can be named without that.
"""

from collections.abc import Mapping
from typing import Final

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import chdtrc, fdtrc

from wideroll.errors import ArgumentError
from wideroll.sensitometry.dye_designs import common_design, record_design, squares_left
from wideroll.sensitometry.dyes import DyeDeviations, covariance_matrix
from wideroll.sensitometry.model import Dye, DyeShift, Floats, ShiftKind

__all__ = ["tell_dye_shift"]

_DYES: Final = 3
_SMALLEST_RATIO: Final = 1e-12
"""Of the covariance's least to its greatest variance; below it a combination of deviations would be known exactly."""

_COMMON: Final = ShiftKind.PROCESS_WIDE.value
_OWN: Final = tuple(dye.value for dye in Dye)
_MIXED: Final = tuple(f"{_COMMON} and {dye}" for dye in Dye)


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
    there. Give the aim's amounts as ``response`` for that, ones for fog. Of several responses the one that leaves least
    counts as the process's: then a record is named a little less often, and none is ruled out more often than stated.

    Source: tests of linear hypotheses, textbooks; the order of tests is this room's own, its error rates simulated.

    Args:
        deviations: check minus aim, from ``unmix_deviations`` or from spectra. A strip already corrected for its
            process shows what its reference strip didn't; one that isn't shows both.
        response: what a process-wide change of 1 does to each level and record (n, 3), positive; ones when not given;
            or several such (k, n, 3).
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
    responses = _responses(response, levels)
    whitening = np.asarray(np.linalg.inv(root), dtype=np.float64)
    y = whitening @ amounts.ravel()
    left, best = _explain(whitening, y, responses)
    p_values = {
        name: _p_value(squares, amounts.size - levels * _free(name), degrees_of_freedom)
        for name, squares in left.items()
    }
    named, words = _name(p_values, level)
    kind, dye = _kind(named)
    parts = _parts((kind, dye), whitening, y, responses[best.get(named, 0)])
    return DyeShift(kind=kind, dye=dye, p_values=p_values, level=level, words=words, amounts=amounts, **parts)


def _explain(whitening: Floats, y: Floats, responses: Floats) -> tuple[dict[str, float], dict[str, int]]:
    """Sum of squares that each explanation leaves, and which response left so little where there is one."""
    tried = len(responses)
    squares = squares_left(whitening, y, responses)
    common, own, mixed = np.split(squares, [tried, tried + _DYES])
    left = {"none": float(y @ y), _COMMON: float(common.min()), **dict(zip(_OWN, own.tolist(), strict=True))}
    best = {_COMMON: int(common.argmin())}
    for name, among in zip(_MIXED, mixed.reshape(_DYES, tried), strict=True):
        left[name], best[name] = float(among.min()), int(among.argmin())
    return left, best


def _free(name: str) -> int:
    """Free parameters at each level."""
    return 0 if name == "none" else 2 if name in _MIXED else 1


def _name(p_values: Mapping[str, float], level: float) -> tuple[str, str]:
    """Name of the explanation that alone remains, empty when there isn't just one, and what is to be said."""
    if p_values["none"] > level:
        return "none", f"no deviation is shown in any dye (p = {p_values['none']:.2g})"
    for tried in ((_COMMON, *_OWN), _MIXED):
        left = [name for name in tried if p_values[name] > level]
        if len(left) == 1:
            others = max(p_values[name] for name in tried if name != left[0])
            return left[0], (
                f"{_WORDS[left[0]]} (p = {p_values[left[0]]:.2g}; each other such explanation p ≤ {others:.1g})"
            )
        if left:
            listed = " or ".join(f"{_WORDS[name]} (p = {p_values[name]:.2g})" for name in left)
            return "", f"not settled: {listed}; more strips or levels would tell"
    return "", "not settled: more than one record deviates, each in its own way"


_WORDS: Final[Mapping[str, str]] = {
    _COMMON: "all records deviate together",
    **{dye.value: f"only {dye} deviates, the {dye.record} record" for dye in Dye},
    **{
        name: f"all records deviate together, and {dye} ({dye.record} record) besides"
        for name, dye in zip(_MIXED, Dye, strict=True)
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


def _parts(told: tuple[ShiftKind, Dye | None], whitening: Floats, y: Floats, response: Floats) -> dict[str, Floats]:
    """The estimated parts of the explanation named, by field; NaN where it has none."""
    kind, dye = told
    levels = len(response)
    parts = {name: np.full(levels, np.nan) for name in ("common", "common_sd", "specific", "specific_sd")}
    designs: dict[str, Floats] = {}
    if kind in {ShiftKind.PROCESS_WIDE, ShiftKind.PROCESS_AND_RECORD}:
        designs["common"] = common_design(whitening, response)
    if dye is not None:
        designs["specific"] = record_design(whitening, _OWN.index(dye.value), _DYES)
    if designs:
        basis, triangle = np.linalg.qr(np.hstack(list(designs.values())))
        inverse = np.linalg.inv(triangle)
        found, sd = inverse @ (basis.T @ y), np.sqrt(np.sum(inverse**2, axis=1))
        for place, name in enumerate(designs):
            among = slice(place * levels, (place + 1) * levels)
            parts[name], parts[f"{name}_sd"] = found[among], sd[among]
    return parts


def _p_value(squares: float, tested: int, degrees_of_freedom: float) -> float:
    if np.isinf(degrees_of_freedom):
        return float(chdtrc(tested, squares))
    return float(fdtrc(tested, degrees_of_freedom, squares / tested))


def _responses(response: ArrayLike | None, levels: int) -> Floats:
    """Each response that is tried (k, n, 3)."""
    given = np.ones((levels, _DYES)) if response is None else np.asarray(response, dtype=np.float64)
    tried = given[np.newaxis] if given.ndim == 2 else given  # noqa: PLR2004 (levels and records)
    right = tried.ndim == 3 and len(tried) and tried.shape[1:] == (levels, _DYES)  # noqa: PLR2004
    if not right or not (np.isfinite(tried).all() and (tried > 0.0).all()):
        raise ArgumentError(
            where="response",
            rule=f"greater than 0, ({levels}, 3) or several such",
            value=given.tolist(),
            mend="Give what the process does to cyan, magenta and yellow at each level, or nothing.",
        )
    return tried


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
    covariance, variances = covariance_matrix("covariance of the deviations", deviations.covariance, amounts.size)
    if not variances[0] > _SMALLEST_RATIO * variances[-1]:
        raise ArgumentError(
            where="covariance of the deviations",
            rule="positive definite",
            value=float(variances[0]),
            mend="Each deviation has an error of its own, of reading at least: add it.",
        )
    return amounts, np.asarray(np.linalg.cholesky(covariance), dtype=np.float64)
