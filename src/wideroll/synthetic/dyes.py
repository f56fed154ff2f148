"""Spectra of invented dyes and of films made of them, with the truth about the amounts."""

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from wideroll.errors import ArgumentError
from wideroll.sensitometry import DyeSet, Floats, Spectrum

__all__ = ["DyedFilm", "make_dyed_film", "make_dyes"]

_BUMPS: Final = (
    ((1.00, 660.0, 48.0), (0.14, 545.0, 55.0), (0.12, 430.0, 40.0)),
    ((1.00, 542.0, 34.0), (0.22, 440.0, 38.0), (0.06, 640.0, 45.0)),
    ((1.00, 446.0, 36.0), (0.08, 530.0, 40.0)),
)
"""Cyan, magenta and yellow: height, place and standard width in nm of each bump; the later ones are unwanted."""
_MASK_BUMPS: Final = ((0.55, 440.0, 40.0), (0.40, 520.0, 40.0))
_FIRST_NM: Final = 380.0
_LAST_NM: Final = 780.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DyedFilm:
    """A film's spectrum as measured, and the amounts (3,) of cyan, magenta and yellow that are truly in it."""

    spectrum: Spectrum
    amounts: Floats
    base_amount: float


def make_dyes(*, spacing_nm: float = 10.0, masked: bool = False, unwanted: float = 1.0) -> DyeSet:
    """Three invented dyes of the usual kind, at every ``spacing_nm`` from 380 to 780 nm, on a nearly clear base.

    Args:
        spacing_nm: from wavelength to wavelength.
        masked: give the base an orange mask, as a colour negative's.
        unwanted: factor on the dyes' absorptions outside their own region; 0 makes them ideal.

    Raises:
        ArgumentError: when the spacing isn't positive or leaves too few wavelengths, or the factor is negative.

    Example:
        >>> dyes = make_dyes()
        >>> [float(dyes.wavelength_nm[dye.argmax()]) for dye in dyes.density]
        [660.0, 540.0, 450.0]
    """
    if not (math.isfinite(spacing_nm) and spacing_nm > 0.0 and unwanted >= 0.0):
        raise ArgumentError(
            where="spacing_nm and unwanted",
            rule="greater than 0, and not negative",
            value=(spacing_nm, unwanted),
            mend="Give 10 nm and 1 for usual dyes.",
        )
    x = np.arange(_FIRST_NM, _LAST_NM + 0.5 * min(spacing_nm, 1.0), spacing_nm)
    base = 0.05 + 0.10 * np.exp(-(x - _FIRST_NM) / 20.0)
    if masked:
        base = base + _bumps(_MASK_BUMPS, x)
    density = [_bumps(bumps[:1], x) + unwanted * _bumps(bumps[1:], x) for bumps in _BUMPS]
    return DyeSet(wavelength_nm=x, density=np.array(density), base_density=base)


def make_dyed_film(
    dyes: DyeSet, amounts: tuple[float, float, float], *, base_amount: float = 1.0, noise: float = 0.0, seed: int = 0
) -> DyedFilm:
    """The spectrum of a film with these amounts of dye, measured with this noise; the same seed gives the same bytes.

    Args:
        dyes: their spectra and the base's.
        amounts: cyan, magenta and yellow.
        base_amount: how much of the base.
        noise: standard deviation of the transmittances; the spectrum carries it as its uncertainty. A reading that
            falls below 0 is cut there, as instruments do.
        seed: of the noise.

    Raises:
        ArgumentError: when the noise is negative, or the film comes out brighter than light.

    Example:
        >>> film = make_dyed_film(make_dyes(), (0.2, 0.4, 0.6))
        >>> film.amounts.tolist()
        [0.2, 0.4, 0.6]
    """
    if not noise >= 0.0:
        raise ArgumentError(where="noise", rule="not negative", value=noise, mend="Give a transmittance.")
    truth = np.array(amounts, dtype=np.float64)
    true_density = base_amount * dyes.base + truth @ dyes.density
    generator = np.random.Generator(np.random.PCG64(seed))
    read = 10.0**-true_density + noise * generator.standard_normal(len(dyes.wavelength_nm))
    spectrum = Spectrum(
        wavelength_nm=dyes.wavelength_nm,
        transmittance=np.maximum(read, 0.0) if noise else read,
        uncertainty=np.full(len(read), noise) if noise else None,
    )
    return DyedFilm(spectrum=spectrum, amounts=truth, base_amount=base_amount)


def _bumps(bumps: tuple[tuple[float, float, float], ...], x: Floats) -> Floats:
    total = np.zeros_like(x)
    for height, place, width in bumps:
        total += height * np.exp(-0.5 * ((x - place) / width) ** 2)
    return total
