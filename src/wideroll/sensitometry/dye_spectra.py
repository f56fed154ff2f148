"""Dye amounts from a film's spectrum, and the matrix that unmixes broad-band densities, from the dyes' spectra."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from wideroll.errors import ArgumentError
from wideroll.sensitometry.absorption import enough_light, fit_density, fit_transmittance, root_covariance
from wideroll.sensitometry.dyes import DyeAmounts, SpectralFit, judged_amounts
from wideroll.sensitometry.interpolation import LEAST_READINGS, interpolation_matrix
from wideroll.sensitometry.model import Floats
from wideroll.sensitometry.spectra import Spectrum, status_density
from wideroll.sensitometry.spectral_products import STATUS_M, SpectralProduct

__all__ = ["DyeSet", "dye_matrix", "unmix_spectrum"]

_DYES: Final = 3
_POOR_FIT: Final = 0.01


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DyeSet:
    """Spectral densities of a unit of cyan, magenta and yellow dye (3, n) at (n,) ascending wavelengths in nm.

    ``base_density`` (n,) is that of support, fog and mask, 0 when not given. What a unit is, is the giver's choice.

    Raises:
        ArgumentError: when shapes differ, there are fewer than six wavelengths or a value isn't finite.

    Example:
        >>> x = np.arange(400.0, 701.0, 50.0)
        >>> dyes = DyeSet(wavelength_nm=x, density=[np.exp(-(((x - at) / 60.0) ** 2)) for at in (650.0, 540.0, 440.0)])
        >>> dyes.density.shape
        (3, 7)
    """

    wavelength_nm: Floats
    density: Floats
    base_density: Floats | None = None

    def __post_init__(self) -> None:
        """Keep float copies and refuse what can't be three dyes."""
        for name in ("wavelength_nm", "density", "base_density"):
            given = getattr(self, name)
            if given is not None:
                values = np.array(given, dtype=np.float64)
                values.flags.writeable = False
                object.__setattr__(self, name, values)
        count = self.wavelength_nm.size
        Spectrum(wavelength_nm=self.wavelength_nm, transmittance=np.zeros(count))  # checks the wavelengths
        for name, values, shape in (("density", self.density, (_DYES, count)), ("base_density", self.base, (count,))):
            if values.shape != shape or not np.isfinite(values).all():
                raise ArgumentError(
                    where=name, rule=f"finite, {shape}", value=values.shape, mend="Give cyan, magenta and yellow."
                )

    @property
    def base(self) -> Floats:
        """Density (n,) of the base, 0 where none was given."""
        return np.zeros(self.wavelength_nm.size) if self.base_density is None else self.base_density


def dye_matrix(dyes: DyeSet, products: Sequence[SpectralProduct] = STATUS_M, *, amount: float = 1.0) -> Floats:
    """Matrix (3, 3) of densities above the base, of a unit of each dye (columns) by each product (rows).

    M_ij = (D_i(base + amount · dye j) − D_i(base)) ⁄ amount. Broad-band densities aren't quite proportional to amounts:
    take an amount near those to be unmixed.

    Raises:
        ArgumentError: when there aren't three products, the amount isn't positive, a dye with its base lets more than
            all light pass, or the spectra don't reach far enough for a product.

    Example:
        >>> x = np.arange(380.0, 781.0, 10.0)
        >>> dyes = DyeSet(wavelength_nm=x, density=[np.exp(-(((x - at) / 60.0) ** 2)) for at in (650.0, 540.0, 440.0)])
        >>> np.diag(dye_matrix(dyes)).round(2).tolist()
        [0.95, 0.91, 0.89]
    """
    if len(products) != _DYES or not (math.isfinite(amount) and amount > 0.0):
        raise ArgumentError(
            where="products and amount",
            rule="three products and an amount greater than 0",
            value=(tuple(products), amount),
            mend="Give red, green and blue of one status.",
        )
    spectra = [dyes.base, *(dyes.base + amount * dye for dye in dyes.density)]
    base, *columns = (
        np.array([status_density(_passing(dyes.wavelength_nm, density), p).density for p in products])
        for density in spectra
    )
    return np.stack([(column - base) / amount for column in columns], axis=1)


def unmix_spectrum(spectrum: Spectrum, dyes: DyeSet, *, fit_base: bool = False) -> DyeAmounts:
    """Amounts of the three dyes in a film, by least squares of its spectrum on theirs.

    −log₁₀ τ(λ) = base(λ) + Σⱼ aⱼ·dyeⱼ(λ): absorbances add (Beer and Lambert). Without uncertainties the spectral
    density is fitted, equal weights, and the residuals' own scatter counts. With them that fit is the start, and the
    transmittance is fitted (Gauss and Newton), weighted by its own and shared uncertainty: where little light passes
    noise falls evenly about the transmittance but not about its logarithm. The dyes' spectra are taken as known.
    Amounts aren't clipped at 0: a negative one is flagged. So is a fit that chi-squared refuses at 1 %.

    Args:
        spectrum: transmittance of the film, base included. Wavelengths that the dyes' spectra don't reach are left out.
        dyes: spectral density of a unit of each, and of the base.
        fit_base: let the base's amount be found too, rather than taken as 1.

    Raises:
        ArgumentError: when fewer than six wavelengths let enough light pass, the dyes can't be told apart there
            (condition number over 100), a shared uncertainty comes without own ones, or an own one is 0.

    Example:
        >>> x = np.arange(400.0, 701.0, 10.0)
        >>> dyes = DyeSet(wavelength_nm=x, density=[np.exp(-(((x - at) / 60.0) ** 2)) for at in (650.0, 540.0, 440.0)])
        >>> film = Spectrum(wavelength_nm=x, transmittance=10.0 ** -(np.array([0.3, 0.5, 0.7]) @ dyes.density))
        >>> unmix_spectrum(film, dyes).amounts.round(6).tolist()
        [0.3, 0.5, 0.7]
    """
    reached = (spectrum.wavelength_nm >= dyes.wavelength_nm[0]) & (spectrum.wavelength_nm <= dyes.wavelength_nm[-1])
    root = root_covariance(spectrum, reached)
    if root is None:
        reached &= spectrum.transmittance > 0.0
    at_nm, passed = spectrum.wavelength_nm[reached], spectrum.transmittance[reached]
    _check_light(passed, root)
    onto = interpolation_matrix(dyes.wavelength_nm, at_nm)
    base, columns = onto @ dyes.base, onto @ dyes.density.T
    if fit_base:
        columns, base = np.column_stack([columns, base]), np.zeros_like(base)
    found = fit_density(columns, base, passed) if root is None else fit_transmittance(columns, base, passed, root)
    fit = SpectralFit(
        wavelength_nm=at_nm,
        residual_density=found.residual_density,
        residual_sd=math.sqrt(float(np.mean(found.residual_density**2)) * len(at_nm) / found.degrees_of_freedom),
        degrees_of_freedom=found.degrees_of_freedom,
        chi_squared=found.chi_squared,
        p_value=found.p_value,
        base_amount=float(found.amounts[_DYES]) if fit_base else 1.0,
        base_sd=math.sqrt(float(found.covariance[_DYES, _DYES])) if fit_base else 0.0,
    )
    notes = [f"the dyes don't explain the spectrum (p = {fit.p_value:.2g})"] if fit.p_value < _POOR_FIT else []
    return judged_amounts(found.amounts[:_DYES], found.covariance[:_DYES, :_DYES], found.condition, fit, notes)


def _passing(wavelength_nm: Floats, density: Floats) -> Spectrum:
    return Spectrum(wavelength_nm=wavelength_nm, transmittance=10.0**-density)


def _check_light(passed: Floats, root: Floats | None) -> None:
    enough = enough_light(passed, root)
    if enough.sum() < LEAST_READINGS:
        raise ArgumentError(
            where="spectrum",
            rule=f"at least {LEAST_READINGS} wavelengths within the dyes' spectra let enough light pass",
            value=int(enough.sum()),
            mend="Measure more wavelengths, or a thinner film.",
        )
