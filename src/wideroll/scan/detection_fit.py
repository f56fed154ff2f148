"""Hit and miss to a curve of detection: logistic in the logarithms of size and contrast [milhdbk1823a]."""

import math
from collections.abc import Iterable
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtrc, expit

from wideroll.errors import ArgumentError
from wideroll.roll import Polarity
from wideroll.scan.detection import ContrastUnit, DetectionClass, DetectionCurve, FitMethod
from wideroll.scan.detection_logistic import LogisticFit, Trials, deviance, is_separated, maximise

__all__ = ["class_trials", "compare_polarities", "fit_detection", "place_row"]

_SIMULATIONS: Final = 199
_SEED: Final = 1823


def place_row(size_mm: float, contrast: float, bends_mm: tuple[float, ...] = ()) -> NDArray[np.float64]:
    """What the coefficients of a curve are multiplied by at a size and a contrast, (coefficients,)."""
    size, strength = math.log(size_mm), math.log(contrast)
    bent = [*(max(0.0, size - math.log(bend)) for bend in bends_mm), size * strength] if bends_mm else []
    return np.array([1.0, size, strength, *bent])


def class_trials(
    tested: Iterable[DetectionClass], bends_mm: tuple[float, ...] = (), at: tuple[float, float] | None = None
) -> Trials:
    """Classes as trials, with rows of ``place_row``; with ``at`` the first coefficient becomes the logit there."""
    classes = tuple(tested)
    design = np.array([place_row(one.size_mm, one.contrast, bends_mm) for one in classes])
    if at is not None:
        design[:, 1:] -= place_row(*at, bends_mm)[1:]
    return Trials(
        design=design.reshape(len(classes), -1),
        number=np.array([one.injected for one in classes], np.float64),
        hits=np.array([one.hits for one in classes], np.float64),
    )


def fit_detection(
    tested: Iterable[DetectionClass],
    *,
    polarity: Polarity | None = None,
    unit: ContrastUnit = ContrastUnit.SIGNAL,
    bent: bool | None = None,
    seed: int = _SEED,
) -> DetectionCurve:
    """Fit the probability of detection by maximum likelihood, logit link, in ln size and ln contrast.

    How well a curve fits is judged by its deviance against those of 199 sets of hits drawn from the curve itself and
    fitted anew: classes hold too few marks, and too many of them are sure hits or misses, for χ². Where the straight
    line in both logarithms doesn't fit at 5 %, its slope in size is let change at each tested size between the smallest
    and the greatest, and its slope in contrast with the logarithm of the size.

    Where hits and misses are separated (found by linear programming, [albert1984]) no slope is the most likely one;
    there Firth's penalised likelihood [firth1993] is fitted and named as the method.

    Args:
        tested: Classes of marks with their hits; only those of ``polarity`` are used, all for None.
        polarity: Of the curve.
        unit: Of the classes' contrasts.
        bent: Whether it bends at the tested sizes; None lets the fit decide.
        seed: Of the drawn sets.

    Raises:
        ArgumentError: when sizes and contrasts are too few or too much alike to give two slopes, a size or contrast
            isn't above 0, or there are more hits than marks.

    Example:
        >>> hits = {(0.2, 0.1): 1, (0.2, 0.2): 12, (0.4, 0.1): 11, (0.4, 0.2): 19}
        >>> tested = [
        ...     DetectionClass(size_mm=s, contrast=c, polarity=Polarity.DARK, injected=20, hits=n)
        ...     for (s, c), n in hits.items()
        ... ]
        >>> curve = fit_detection(tested)
        >>> [round(b, 2) for b in curve.coefficients], curve.method.value, curve.fits
        ([14.16, 4.14, 4.44], 'maximum likelihood', True)
    """
    classes = tuple(one for one in tested if one.injected and polarity in {None, one.polarity})
    if polarity is None:
        classes = _joined(classes)
    _check(classes)
    if not bent:
        straight = _fit(classes, (), polarity, unit, seed)
        if straight.fits or bent is False:
            return straight
    bends = tuple(sorted({one.size_mm for one in classes})[1:-1])
    return _fit(classes, bends, polarity, unit, seed)


def _fit(
    classes: tuple[DetectionClass, ...],
    bends_mm: tuple[float, ...],
    polarity: Polarity | None,
    unit: ContrastUnit,
    seed: int,
) -> DetectionCurve:
    trials = class_trials(classes, bends_mm)
    penalised = is_separated(trials)
    fit = maximise(trials, penalised=penalised)
    lost = deviance(fit.coefficients, trials)
    return DetectionCurve(
        polarity=polarity,
        unit=unit,
        bends_mm=bends_mm,
        coefficients=tuple(fit.coefficients.tolist()),
        covariance=tuple(tuple(row) for row in np.linalg.inv(fit.information).tolist()),
        method=FitMethod.FIRTH if penalised else FitMethod.LIKELIHOOD,
        log_likelihood=fit.log_likelihood,
        slopes_p=_slopes_p(trials, lost),
        deviance=lost,
        fit_p=_fit_p(trials, fit, lost, penalised=penalised, seed=seed),
        tested=classes,
    )


def compare_polarities(dark: DetectionCurve, bright: DetectionCurve, both: DetectionCurve) -> float:
    """Probability, if dark and bright marks were found alike, of curves that differ as much (likelihood ratio, χ²).

    NaN where one of them isn't a plain maximum-likelihood fit, or they don't bend at the same sizes.

    Example:
        >>> tested = [
        ...     DetectionClass(size_mm=s, contrast=c, polarity=p, injected=9, hits=round(9 * s * c + 1))
        ...     for s in (0.2, 0.8)
        ...     for c in (0.1, 0.9)
        ...     for p in Polarity
        ... ]
        >>> compare_polarities(*(fit_detection(tested, polarity=p) for p in (Polarity.DARK, Polarity.BRIGHT, None)))
        1.0
    """
    curves = (dark, bright, both)
    if any(c.method is not FitMethod.LIKELIHOOD or c.bends_mm != both.bends_mm for c in curves):
        return math.nan
    gain = 2.0 * (dark.log_likelihood + bright.log_likelihood - both.log_likelihood)
    # What rounding leaves of two equal likelihoods isn't a difference.
    return float(chdtrc(len(both.coefficients), max(round(gain, 9), 0.0)))


def _joined(classes: tuple[DetectionClass, ...]) -> tuple[DetectionClass, ...]:
    """One class for each size and contrast; its polarity, which says nothing any more, is that of the first."""
    joined: dict[tuple[float, float], DetectionClass] = {}
    for one in sorted(classes, key=lambda c: (c.size_mm, c.contrast)):
        seen = joined.get((one.size_mm, one.contrast))
        joined[one.size_mm, one.contrast] = DetectionClass(
            size_mm=one.size_mm,
            contrast=one.contrast,
            polarity=seen.polarity if seen else one.polarity,
            injected=one.injected + (seen.injected if seen else 0),
            hits=one.hits + (seen.hits if seen else 0),
        )
    return tuple(joined.values())


def _check(classes: tuple[DetectionClass, ...]) -> None:
    for one in classes:
        sound = 0.0 < one.size_mm < np.inf and 0.0 < one.contrast < np.inf and 0 <= one.hits <= one.injected
        if not sound:
            raise ArgumentError(
                where="tested",
                rule="sizes and contrasts must be finite and above 0, hits at most the marks laid",
                value=one,
                mend="Leave out the class.",
            )
    if not classes or np.linalg.matrix_rank(class_trials(classes).design) < len(place_row(1.0, 1.0)):
        raise ArgumentError(
            where="tested",
            rule="must have several sizes and several contrasts",
            value=f"{len(classes)} classes",
            mend="Inject marks of more sizes and contrasts, or give the stretches more room.",
        )


def _slopes_p(trials: Trials, lost: float) -> float:
    level = Trials(design=trials.design[:, :1], number=trials.number, hits=trials.hits)
    share = trials.hits.sum() / trials.number.sum()
    if share in {0.0, 1.0}:
        return 1.0
    flat = deviance(np.array([np.log(share / (1.0 - share))]), level)
    return float(chdtrc(trials.design.shape[1] - 1, max(flat - lost, 0.0)))


def _fit_p(trials: Trials, fit: LogisticFit, lost: float, *, penalised: bool, seed: int) -> float:
    random = np.random.Generator(np.random.PCG64(seed))
    p = expit(trials.design @ fit.coefficients)
    greater = 0
    for _ in range(_SIMULATIONS):
        hits = random.binomial(trials.number.astype(np.int64), p).astype(np.float64)
        drawn = Trials(design=trials.design, number=trials.number, hits=hits)
        # Drawn hits may be separated where the real ones aren't: the deviance reaches its limit all the same.
        again = maximise(drawn, penalised=penalised, start=fit.coefficients)
        greater += deviance(again.coefficients, drawn) >= lost
    return (1 + greater) / (1 + _SIMULATIONS)
