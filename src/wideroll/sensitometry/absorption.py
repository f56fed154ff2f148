"""Amounts of known absorbers behind a spectrum: absorbances add, D(λ) = offset(λ) + Σⱼ aⱼ·columnⱼ(λ)."""

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import solve_triangular
from scipy.special import chdtrc

from wideroll.errors import ArgumentError
from wideroll.sensitometry.dyes import scaled_condition
from wideroll.sensitometry.model import Floats
from wideroll.sensitometry.spectra import Spectrum

__all__ = ["Absorbers", "enough_light", "fit_density", "fit_transmittance", "root_covariance"]

_LEAST_TO_UNCERTAINTY: Final = 5.0
"""Below this transmittance, in standard uncertainties, its logarithm is too crooked to start from."""
_MOST_STEPS: Final = 50
_MOST_HALVINGS: Final = 30
_SETTLED: Final = 1e-12
_LN_10: Final = math.log(10.0)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Absorbers:
    """Amounts (k,) found, their covariance (k, k), and the fit they come from, see ``SpectralFit``."""

    amounts: Floats
    covariance: Floats
    condition: float
    residual_density: Floats
    degrees_of_freedom: int
    chi_squared: float
    p_value: float


def root_covariance(spectrum: Spectrum, used: NDArray[np.bool_]) -> Floats | None:
    """Lower root (m, m) of the covariance of the (m,) transmittances used; None when no uncertainty is known.

    Raises:
        ArgumentError: when a shared uncertainty comes without own ones, or an own one is 0.
    """
    own, shared = spectrum.uncertainty, spectrum.shared_uncertainty
    if own is None and shared is None:
        return None
    if own is None or not (own[used] > 0.0).all():
        raise ArgumentError(
            where="uncertainty",
            rule="greater than 0 at each wavelength, when any is given",
            value=None if own is None else own.tolist(),
            mend="Give each transmittance its own uncertainty, the instrument's repeatability at least.",
        )
    covariance = np.diag(own[used] ** 2)
    if shared is not None:
        covariance += np.outer(shared[used], shared[used])
    return np.asarray(np.linalg.cholesky(covariance), dtype=np.float64)


def enough_light(passed: Floats, root: Floats | None) -> NDArray[np.bool_]:
    """Which transmittances (m,) have a logarithm worth fitting."""
    least = 0.0 if root is None else _LEAST_TO_UNCERTAINTY * np.linalg.norm(root, axis=1)
    enough: NDArray[np.bool_] = (passed > 0.0) & (passed >= least)
    return enough


def fit_density(columns: Floats, offset: Floats, passed: Floats) -> Absorbers:
    """Least squares of the spectral density (m,) on absorbers' unit densities (m, k), equal weights."""
    condition = scaled_condition(columns)
    wanted = -np.log10(passed) - offset
    amounts = np.asarray(np.linalg.lstsq(columns, wanted)[0], dtype=np.float64)
    residual = wanted - columns @ amounts
    freedom = len(wanted) - columns.shape[1]
    return Absorbers(
        amounts=amounts,
        covariance=np.linalg.inv(columns.T @ columns) * float(residual @ residual) / freedom,
        condition=condition,
        residual_density=residual,
        degrees_of_freedom=freedom,
        chi_squared=math.nan,
        p_value=math.nan,
    )


def fit_transmittance(columns: Floats, offset: Floats, passed: Floats, root: Floats) -> Absorbers:
    """Generalised least squares of the transmittance (m,) with covariance ``root`` · ``root``ᵀ, by Gauss and Newton.

    Starts from the weighted fit of the spectral density where enough light passes; a step that would make the sum of
    squares larger is halved.
    """
    clear = enough_light(passed, root)
    weight = passed[clear] / np.linalg.norm(root, axis=1)[clear]
    start = -np.log10(passed[clear]) - offset[clear]
    amounts = np.linalg.lstsq(columns[clear] * weight[:, np.newaxis], start * weight)[0]
    for _ in range(_MOST_STEPS):
        _, slopes, whitened = _linearised(columns, offset, passed, root, amounts)
        step, before = np.linalg.lstsq(slopes, whitened)[0], float(whitened @ whitened)
        for _ in range(_MOST_HALVINGS):
            if _squares(columns, offset, passed, root, amounts + step) <= before:
                break
            step = 0.5 * step
        else:
            break
        amounts = amounts + step
        if float(np.abs(step).max()) <= _SETTLED * (1.0 + float(np.abs(amounts).max())):
            break
    model, slopes, whitened = _linearised(columns, offset, passed, root, amounts)
    squares, freedom = float(whitened @ whitened), len(passed) - columns.shape[1]
    condition = scaled_condition(slopes)
    return Absorbers(
        amounts=amounts,
        covariance=np.asarray(np.linalg.inv(slopes.T @ slopes), dtype=np.float64),
        condition=condition,
        residual_density=(model - passed) / (model * _LN_10),
        degrees_of_freedom=freedom,
        chi_squared=squares,
        p_value=float(chdtrc(freedom, squares)),
    )


def _linearised(
    columns: Floats, offset: Floats, passed: Floats, root: Floats, amounts: Floats
) -> tuple[Floats, Floats, Floats]:
    """The model's transmittance (m,), its whitened derivatives (m, k) and the whitened residuals (m,)."""
    model = _model(columns, offset, amounts)
    slopes = solve_triangular(root, -_LN_10 * model[:, np.newaxis] * columns, lower=True)
    return model, slopes, solve_triangular(root, passed - model, lower=True)


def _squares(columns: Floats, offset: Floats, passed: Floats, root: Floats, amounts: Floats) -> float:
    whitened = solve_triangular(root, passed - _model(columns, offset, amounts), lower=True)
    return float(whitened @ whitened)


def _model(columns: Floats, offset: Floats, amounts: Floats) -> Floats:
    """The transmittance (m,)."""
    model: Floats = 10.0 ** -(offset + columns @ amounts)
    return model
