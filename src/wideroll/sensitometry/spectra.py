"""Transmittance against wavelength, and the densities that ISO 5-3 makes of it."""

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from wideroll.errors import ArgumentError
from wideroll.sensitometry.interpolation import LEAST_READINGS, interpolation_matrix
from wideroll.sensitometry.model import Floats
from wideroll.sensitometry.spectral_products import SpectralProduct, spectral_product

__all__ = ["Spectrum", "StatusDensity", "status_density"]

_MOST_TRANSMITTANCE: Final = 1.1
"""A clear sample may read a little over 1; more means per cent, or a wrong 100 % line."""
_WIDEST_GAP_NM: Final = 20.0
"""Dye absorptions are 50 nm wide and more; coarser readings don't hold them (common practice)."""
_LARGEST_SHARE_UNSEEN: Final = 0.005
"""Of a product outside the spectrum's range. Spectra often end at 700 nm, where 0.3 % of status M red are to come."""
_UNSEEN_WORTH_SAYING_DENSITY: Final = 0.01
_FINE_NM: Final = 1.0
_TWO_SIDED_95: Final = 1.959964
_CAUTION: Final = (
    "computed from the 10 nm spectral products; ISO 5-3:2009 means those for instruments and computes with weights "
    "that weren't at hand: the difference from sums at 1 nm stands beside it"
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Spectrum:
    """Transmittance (n,) of a film, dye or filter at (n,) ascending wavelengths in nm, with at least six readings.

    ``uncertainty`` (n,) is each transmittance's own standard uncertainty, ``shared_uncertainty`` (n,) that of an error
    which moves all of them together, such as the 100 % line's; none where nothing is known. Where light is scattered,
    the transmittance must be diffuse for a density by ISO 5-2.

    Raises:
        ArgumentError: when shapes differ, wavelengths don't ascend, a transmittance is below 0 or above 1.1, or an
            uncertainty is negative.

    Example:
        >>> grey = Spectrum(wavelength_nm=np.arange(380.0, 781.0, 10.0), transmittance=np.full(41, 0.1))
        >>> len(grey.wavelength_nm)
        41
    """

    wavelength_nm: Floats
    transmittance: Floats
    uncertainty: Floats | None = None
    shared_uncertainty: Floats | None = None

    def __post_init__(self) -> None:
        """Keep float copies and refuse what can't be a spectrum."""
        for name in ("wavelength_nm", "transmittance", "uncertainty", "shared_uncertainty"):
            given = getattr(self, name)
            if given is not None:
                values = np.array(given, dtype=np.float64)
                values.flags.writeable = False
                object.__setattr__(self, name, values)
        _check_wavelengths(self.wavelength_nm)
        self._check_values("transmittance", self.transmittance, _MOST_TRANSMITTANCE)
        for name in ("uncertainty", "shared_uncertainty"):
            if (values := getattr(self, name)) is not None:
                self._check_values(name, values, _MOST_TRANSMITTANCE)

    def _check_values(self, name: str, values: Floats, most: float) -> None:
        if values.shape != self.wavelength_nm.shape:
            raise ArgumentError(
                where=name,
                rule=f"one value for each of {len(self.wavelength_nm)} wavelengths",
                value=values.shape,
                mend="Give both with the same length.",
            )
        bad = ~((values >= 0.0) & (values <= most))
        if bad.any():
            at = int(np.argmax(bad))
            raise ArgumentError(
                where=f"{name} at {self.wavelength_nm[at]:g} nm",
                rule=f"from 0 to {most:g}",
                value=float(values[at]),
                mend="Give fractions, not per cent; take the dark reading and the 100 % line again.",
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class StatusDensity:
    """A density by an ISO 5-3 spectral product, computed from a spectrum, and how far it can be trusted."""

    product: SpectralProduct
    density: float
    """−log10 of the transmittance weighed by the product, every 10 nm."""
    standard_uncertainty: float
    """From the transmittances' uncertainties; NaN when none were given."""
    fine_density: float
    """The same with product and spectrum interpolated to every 1 nm."""
    unseen_density: float
    """By how much at most the density would move if the film were clear or opaque where the spectrum doesn't reach."""
    note: str

    @property
    def sampling_density(self) -> float:
        """Sum at 1 nm minus sum at 10 nm: what the choice of weights may bring."""
        return self.fine_density - self.density

    @property
    def combined_uncertainty(self) -> float:
        """Standard uncertainty of readings, sampling and what wasn't seen; NaN when the readings' isn't known.

        The sampling difference is taken whole, the unseen part as half the width of a rectangle (JCGM 100).
        """
        return math.hypot(self.standard_uncertainty, self.sampling_density, self.unseen_density / math.sqrt(3.0))

    @property
    def interval(self) -> tuple[float, float]:
        """95 % interval from the combined uncertainty."""
        half = _TWO_SIDED_95 * self.combined_uncertainty
        return self.density - half, self.density + half


def status_density(spectrum: Spectrum, product: SpectralProduct) -> StatusDensity:
    """Density of a spectrum by one of ISO 5-3's products: D = −log10(Σ Π·τ ⁄ Σ Π).

    The spectrum is interpolated to the product's wavelengths where it wasn't measured at them (Sprague's polynomial, or
    a cubic spline when readings are unevenly spaced). Where a small share of the product lies outside the spectrum's
    range, its end value is held there and the bound on the error is given. Source: definition seen in a public colour
    library, products as transcribed from ISO 5-3; the result's note repeats the standard's caution.

    Args:
        spectrum: transmittance of the film, base included.
        product: which density.

    Raises:
        ArgumentError: when more than 0.5 % of the product lies outside the spectrum's range, readings lie more than
            20 nm apart within it, or no light passes.

    Example:
        >>> grey = Spectrum(wavelength_nm=np.arange(380.0, 781.0, 10.0), transmittance=np.full(41, 0.1))
        >>> round(status_density(grey, SpectralProduct.STATUS_M_RED).density, 9)
        1.0
    """
    at_nm, log_product = spectral_product(product)
    weight, share, held = _weights(spectrum, product, at_nm, 10.0**log_product)
    passed = _passed(weight, spectrum, product)
    fine_nm = np.arange(at_nm[0], at_nm[-1] + 0.5 * _FINE_NM, _FINE_NM)
    fine_product = 10.0 ** (interpolation_matrix(at_nm, fine_nm) @ log_product)
    fine_weight = _weights(spectrum, product, fine_nm, fine_product)[0]
    unseen = _unseen(passed, share, held)
    return StatusDensity(
        product=product,
        density=-math.log10(passed),
        standard_uncertainty=_uncertainty(weight, spectrum) / (passed * math.log(10.0)),
        fine_density=-math.log10(_passed(fine_weight, spectrum, product)),
        unseen_density=unseen,
        note=_CAUTION + _words_unseen(share, unseen),
    )


def _weights(
    spectrum: Spectrum, product: SpectralProduct, at_nm: Floats, weight: Floats
) -> tuple[Floats, float, float]:
    """Weights (n,) of the readings, the share of the product they don't reach, and what held end values pass there."""
    first, last = spectrum.wavelength_nm[[0, -1]]
    outside = (at_nm < first) | (at_nm > last)
    weight = weight / weight.sum()
    share = float(weight[outside].sum())
    if share > _LARGEST_SHARE_UNSEEN:
        raise ArgumentError(
            where=f"spectrum for {product}",
            rule=f"covers {at_nm[0]:g} to {at_nm[-1]:g} nm but for at most {_LARGEST_SHARE_UNSEEN:.1%} of the product",
            value=f"{first:g} to {last:g} nm, {share:.1%} outside",
            mend="Measure over the whole range.",
        )
    _check_gaps(spectrum.wavelength_nm, product, at_nm)
    rows = weight[:, np.newaxis] * interpolation_matrix(spectrum.wavelength_nm, np.clip(at_nm, first, last))
    held = float(rows[outside].sum(axis=0) @ spectrum.transmittance)
    return rows.sum(axis=0), share, held


def _check_gaps(wavelength_nm: Floats, product: SpectralProduct, at_nm: Floats) -> None:
    needed = (wavelength_nm[1:] > at_nm[0]) & (wavelength_nm[:-1] < at_nm[-1])
    widest = float(np.diff(wavelength_nm)[needed].max())
    if widest > _WIDEST_GAP_NM:
        raise ArgumentError(
            where=f"spectrum for {product}",
            rule=f"readings at most {_WIDEST_GAP_NM:g} nm apart",
            value=f"{widest:g} nm",
            mend="Measure at closer wavelengths.",
        )


def _passed(weight: Floats, spectrum: Spectrum, product: SpectralProduct) -> float:
    passed = float(weight @ spectrum.transmittance)
    if passed <= 0.0:
        raise ArgumentError(
            where=f"spectrum for {product}",
            rule="lets some light pass",
            value=passed,
            mend="A density can't be computed; use an instrument that reads lower transmittances.",
        )
    return passed


def _uncertainty(weight: Floats, spectrum: Spectrum) -> float:
    """Standard uncertainty of the transmittance passed: own errors add in square, the shared one along the sum."""
    own, shared = spectrum.uncertainty, spectrum.shared_uncertainty
    if own is None and shared is None:
        return math.nan
    apart = 0.0 if own is None else float(np.linalg.norm(weight * own))
    together = 0.0 if shared is None else float(weight @ shared)
    return math.hypot(apart, together)


def _unseen(passed: float, share: float, held: float) -> float:
    seen = passed - held
    if share == 0.0:
        return 0.0
    if seen <= 0.0:
        return math.inf
    return max(abs(math.log10(seen / passed)), abs(math.log10((seen + share) / passed)))


def _words_unseen(share: float, unseen: float) -> str:
    if unseen <= _UNSEEN_WORTH_SAYING_DENSITY:
        return ""
    return f"; {share:.2%} of the product lies outside the spectrum, which may move the density by up to {unseen:.2g}"


def _check_wavelengths(wavelength_nm: Floats) -> None:
    if wavelength_nm.ndim != 1 or len(wavelength_nm) < LEAST_READINGS:
        raise ArgumentError(
            where="wavelength_nm",
            rule=f"at least {LEAST_READINGS} wavelengths, (n,)",
            value=wavelength_nm.shape,
            mend="Give a spectrum with more readings.",
        )
    if not (np.isfinite(wavelength_nm).all() and (np.diff(wavelength_nm) > 0.0).all() and wavelength_nm[0] > 0.0):
        raise ArgumentError(
            where="wavelength_nm",
            rule="positive and ascending",
            value=wavelength_nm.tolist(),
            mend="Sort the readings; give each wavelength once, in nm.",
        )
