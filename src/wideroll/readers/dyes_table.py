"""``[dyes]`` of a product file: what a unit of each of the film's dyes reads, as densities or from their spectra."""

import re
from pathlib import Path
from typing import Final, Literal

import numpy as np
from pydantic import model_validator

from wideroll.errors import ArgumentError, InputError
from wideroll.readers.fields import FileModel, Finite, Positive
from wideroll.readers.spectra_files import read_spectra
from wideroll.readers.toml_files import placed
from wideroll.sensitometry import (
    STATUS_A,
    STATUS_M,
    Dye,
    DyeSet,
    FilmDyes,
    Floats,
    SpectralProduct,
    Spectrum,
    dye_matrix,
    unmix_densities,
)

__all__ = ["DyesTable"]

_PRODUCTS: Final[dict[str, tuple[SpectralProduct, ...]]] = {"M": tuple(STATUS_M), "A": tuple(STATUS_A)}
_PLAIN_NAME: Final = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,119}")
_BASE: Final = "base"
_Triple = tuple[Finite, Finite, Finite]


class DyesTable(FileModel):
    """``[dyes]`` and ``[reference.dyes]`` in a product file."""

    matrix: tuple[_Triple, _Triple, _Triple] | None = None
    matrix_uncertainty: tuple[_Triple, _Triple, _Triple] | None = None
    spectra: str | None = None
    status: Literal["M", "A"] | None = None
    amount: Positive = 1.0

    @model_validator(mode="after")
    def _one_of_two(self) -> "DyesTable":
        if (self.matrix is None) == (self.spectra is None) or (self.spectra is None) != (self.status is None):
            raise ArgumentError(
                where="dyes",
                rule="either a matrix, or spectra and the status they are to be read by",
                mend="Give one of the two.",
            )
        if self.spectra is None and "amount" in self.model_fields_set:
            raise ArgumentError(
                where="amount",
                rule="goes with spectra; a matrix is already stated for a unit",
                value=self.amount,
                mend="Leave it out.",
            )
        if self.spectra is not None and not _PLAIN_NAME.fullmatch(self.spectra):
            raise ArgumentError(
                where="spectra",
                rule="the name of a file beside the product's",
                value=self.spectra,
                mend="Put it there and give its plain name, without a folder.",
            )
        if self.matrix_uncertainty is not None and any(u < 0.0 for row in self.matrix_uncertainty for u in row):
            raise ArgumentError(
                where="matrix_uncertainty",
                rule="standard uncertainties aren't negative",
                value=self.matrix_uncertainty,
                mend="Give 0 for an entry that is known.",
            )
        if self.matrix is not None:
            _check_told_apart(np.array(self.matrix))
        return self

    def build(self, folder: Path) -> FilmDyes:
        """The film's dyes; spectra are read from the folder.

        Raises:
            InputError: when the spectra can't be read, or aren't those of three dyes.
        """
        u = None if self.matrix_uncertainty is None else np.array(self.matrix_uncertainty, dtype=np.float64)
        if self.spectra is None or self.status is None:
            return FilmDyes(matrix=np.array(self.matrix, dtype=np.float64), standard_uncertainty=u)
        path = folder / self.spectra
        with placed(path):
            matrix = dye_matrix(_dye_set(path), _PRODUCTS[self.status], amount=self.amount)
            _check_told_apart(matrix)
        return FilmDyes(matrix=matrix, standard_uncertainty=u)


def _dye_set(path: Path) -> DyeSet:
    spectra = read_spectra(path)
    if set(spectra) - {_BASE} != set(Dye):
        raise InputError(
            where=str(path),
            rule=f"columns {', '.join(Dye)} and, where it isn't clear, {_BASE}",
            value=", ".join(spectra),
            mend="Name the columns after the dyes.",
        )
    base = _density(path, _BASE, spectra[_BASE]) if _BASE in spectra else None
    dyes = np.array([_density(path, dye, spectra[dye]) for dye in Dye])
    return DyeSet(wavelength_nm=spectra[Dye.CYAN].wavelength_nm, density=dyes, base_density=base)


def _density(path: Path, name: str, spectrum: Spectrum) -> Floats:
    if not (spectrum.transmittance > 0.0).all():
        dark = float(spectrum.wavelength_nm[int(np.argmin(spectrum.transmittance))])
        raise InputError(
            where=f"{path}, column {name}",
            rule="some light passes at every wavelength",
            value=f"none at {dark:g} nm",
            mend="Measure a thinner section, and give the transmittance of a unit.",
        )
    return np.asarray(-np.log10(spectrum.transmittance), dtype=np.float64)


def _check_told_apart(matrix: Floats) -> None:
    """Refuse a matrix that can't be unmixed with."""
    unmix_densities(np.zeros(3), matrix, np.eye(3))
