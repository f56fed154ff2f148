"""Which filter sits in an instrument: its peak, read off a measured transmittance."""

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike
from scipy.optimize import least_squares

from wideroll.errors import ArgumentError
from wideroll.sensitometry.model import Floats

__all__ = ["FilterPeak", "fit_filter_peak"]

_PARAMETERS: Final = 3
_FULL_WIDTH: Final = 2.0 * math.sqrt(2.0 * math.log(2.0))
"""Of a Gaussian at half its height, in standard widths."""
_LEAST_IN_PEAK: Final = 3
_MOST_MISFIT: Final = 0.05
"""Of the height. Above it the peak isn't of the shape supposed (common practice)."""
_FINISHING_STEPS: Final = 3


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FilterPeak:
    """A Gaussian peak τ(λ) = (area ⁄ width) · exp(−½ ((λ − centre) ⁄ width)²), with its fit.

    ``parameters`` is (area, width, centre), in nm, ``covariance`` (3, 3) theirs.
    """

    parameters: Floats
    covariance: Floats
    residual_sd: float
    degrees_of_freedom: int
    note: str = ""
    """Empty, or why the peak should not be relied on."""

    @property
    def centre_nm(self) -> float:
        """Wavelength of the peak."""
        return float(self.parameters[2])

    @property
    def centre_sd_nm(self) -> float:
        """Standard error of the peak's wavelength."""
        return float(np.sqrt(self.covariance[2, 2]))

    @property
    def full_width_nm(self) -> float:
        """Width at half the height: 2 √(2 ln 2) standard widths."""
        return _FULL_WIDTH * float(self.parameters[1])

    @property
    def full_width_sd_nm(self) -> float:
        """Standard error of the width at half the height."""
        return _FULL_WIDTH * float(np.sqrt(self.covariance[1, 1]))

    @property
    def height(self) -> float:
        """Transmittance at the peak."""
        return float(self.parameters[0] / self.parameters[1])

    @property
    def height_sd(self) -> float:
        """Standard error of the height, by the delta method."""
        area, width, _ = self.parameters
        gradient = np.array([1.0 / width, -area / width**2])
        return float(np.sqrt(gradient @ self.covariance[:2, :2] @ gradient))


def fit_filter_peak(
    wavelength_nm: ArrayLike, transmittance: ArrayLike, *, start: tuple[float, float] | None = None
) -> FilterPeak:
    """Peak wavelength, width and height of a narrow filter by least squares, equal weights.

    For given width and centre the best height is known in closed form, so only those two are searched (variable
    projection, Golub and Pereyra 1973, from memory). The model is that of NIST's Eckerle4; interference filters are
    steeper than a Gaussian, which the note says when it matters.

    Args:
        wavelength_nm: (n,) ascending.
        transmittance: (n,) fractions.
        start: width and centre in nm to start from; without it, taken from the readings.

    Raises:
        ArgumentError: when there are fewer than four readings, shapes differ, values aren't finite, nothing passes, or
            no peak is found.

    Example:
        >>> x = np.arange(500.0, 581.0, 5.0)
        >>> y = 0.4 * np.exp(-0.5 * ((x - 546.0) / 8.0) ** 2)
        >>> peak = fit_filter_peak(x, y)
        >>> round(peak.centre_nm, 3), round(peak.height, 3)
        (546.0, 0.4)
    """
    x, y = np.asarray(wavelength_nm, dtype=np.float64), np.asarray(transmittance, dtype=np.float64)
    _check(x, y)
    width, centre = start or _start(x, y)
    found = least_squares(
        lambda p: _projected(p, x, y),
        (math.log(width), centre),
        method="lm",
        x_scale=(1.0, width),
        xtol=1e-15,
        ftol=1e-15,
        gtol=1e-15,
    )
    width, centre = float(np.exp(found.x[0])), float(found.x[1])
    parameters = _finish(np.array([_area(width, centre, x, y), width, centre]), x, y)
    residual = y - _model(parameters, x)
    freedom = len(x) - _PARAMETERS
    variance = float(residual @ residual) / freedom
    jacobian = _jacobian(parameters, x)
    return FilterPeak(
        parameters=parameters,
        covariance=np.asarray(variance * np.linalg.inv(jacobian.T @ jacobian), dtype=np.float64),
        residual_sd=math.sqrt(variance),
        degrees_of_freedom=freedom,
        note=_note(parameters, x, residual),
    )


def _start(x: Floats, y: Floats) -> tuple[float, float]:
    """Width from the area under the readings over their height, centre at the highest."""
    width = float(np.trapezoid(y, x)) / (float(y.max()) * math.sqrt(2.0 * math.pi))
    return max(width, 0.5 * float(np.diff(x).min())), float(x[np.argmax(y)])


def _shape(width: float, centre: float, x: Floats) -> Floats:
    shape: Floats = np.exp(-0.5 * ((x - centre) / width) ** 2) / width
    return shape


def _area(width: float, centre: float, x: Floats, y: Floats) -> float:
    shape = _shape(width, centre, x)
    power = float(shape @ shape)
    return float(shape @ y) / power if power > 0.0 else 0.0


def _projected(searched: Floats, x: Floats, y: Floats) -> Floats:
    width, centre = float(np.exp(np.clip(searched[0], -20.0, 20.0))), float(searched[1])
    return _area(width, centre, x, y) * _shape(width, centre, x) - y


def _model(parameters: Floats, x: Floats) -> Floats:
    area, width, centre = parameters.tolist()
    peak: Floats = area * _shape(width, centre, x)
    return peak


def _jacobian(parameters: Floats, x: Floats) -> Floats:
    """Derivatives (n, 3) of the model by area, width and centre."""
    area, width, centre = parameters.tolist()
    shape, z = _shape(width, centre, x), (x - centre) / width
    return np.stack([shape, area * shape * (z**2 - 1.0) / width, area * shape * z / width], axis=1)


def _finish(parameters: Floats, x: Floats, y: Floats) -> Floats:
    """A few Gauss-Newton steps: a search by sums of squares stops at half the digits they have."""
    where_found = parameters
    for _ in range(_FINISHING_STEPS):
        jacobian = _jacobian(parameters, x)
        if not np.linalg.matrix_rank(jacobian) == _PARAMETERS:
            raise ArgumentError(
                where="transmittance",
                rule="has one peak",
                value=where_found.tolist(),
                mend="Measure at closer wavelengths, or give a start nearer the peak.",
            )
        parameters = parameters + np.linalg.lstsq(jacobian, y - _model(parameters, x))[0]
    return parameters


def _note(parameters: Floats, x: Floats, residual: Floats) -> str:
    _, width, centre = parameters.tolist()
    if not x[0] <= centre <= x[-1]:
        return "the peak lies outside the readings"
    in_peak = int((np.abs(x - centre) <= 0.5 * _FULL_WIDTH * width).sum())
    if in_peak < _LEAST_IN_PEAK:
        return f"only {in_peak} readings above half the height"
    worst = float(np.abs(residual).max()) * width / abs(float(parameters[0]))
    if worst > _MOST_MISFIT:
        return f"readings lie up to {worst:.0%} of the height off a Gaussian"
    return ""


def _check(x: Floats, y: Floats) -> None:
    if x.ndim != 1 or x.shape != y.shape or len(x) <= _PARAMETERS:
        raise ArgumentError(
            where="wavelength_nm",
            rule=f"more than {_PARAMETERS} readings, as many as transmittances",
            value=(x.shape, y.shape),
            mend="Give both with the same length.",
        )
    if not (np.isfinite(x).all() and np.isfinite(y).all() and (np.diff(x) > 0.0).all()):
        raise ArgumentError(
            where="wavelength_nm",
            rule="finite readings at ascending wavelengths",
            value=x.tolist(),
            mend="Sort the readings and leave out those that weren't taken.",
        )
    if not y.max() > 0.0:
        raise ArgumentError(
            where="transmittance", rule="light passes somewhere", value=float(y.max()), mend="Measure again."
        )
