"""The spectral products of ISO 5-3: what each density weighs light by, wavelength by wavelength.

log10 of the product, its peak 5.000, every 10 nm. The standard's tables were not opened: the values are those of a
public colour-management library's transcription (``tests/reference/iso5_3/SOURCE.md``), with three choices:

- Visual, 410 and 440 nm: 1.322 and 2.811 in place of the transcription's 1.332 and 2.881. Those are digit errors: the
  product is V(λ) times CIE illuminant A, which gives 1.321 and 2.811.
- Status A blue, 480 nm: 2.898, as two transcriptions have it; two others have 2.989. It moves 0.06 % of the product.
- Below 10⁻⁶ of its peak a product is taken for zero. Where a status product is below about 10⁻⁵ of its peak, the
  transcription continues its end slope. A spectrum's density would have to exceed about 4 for either to matter.
"""

from collections.abc import Mapping
from enum import StrEnum
from typing import Final

import numpy as np

from wideroll.sensitometry.model import Floats

__all__ = ["STATUS_A", "STATUS_M", "SpectralProduct", "spectral_product"]


class SpectralProduct(StrEnum):
    """One of the nine ways in which ISO 5-3 weighs a spectrum.

    Status M is for film to be printed, status A for film to be looked at, visual for black-and-white film; types 1 and
    2 weigh the blue and near ultraviolet that print materials see (what they are for is from memory).
    """

    VISUAL = "visual"
    TYPE_1 = "type 1"
    TYPE_2 = "type 2"
    STATUS_A_RED = "status A red"
    STATUS_A_GREEN = "status A green"
    STATUS_A_BLUE = "status A blue"
    STATUS_M_RED = "status M red"
    STATUS_M_GREEN = "status M green"
    STATUS_M_BLUE = "status M blue"


STATUS_A: Final = (SpectralProduct.STATUS_A_RED, SpectralProduct.STATUS_A_GREEN, SpectralProduct.STATUS_A_BLUE)
STATUS_M: Final = (SpectralProduct.STATUS_M_RED, SpectralProduct.STATUS_M_GREEN, SpectralProduct.STATUS_M_BLUE)

_STEP_NM: Final = 10.0
_TABLES: Final[Mapping[SpectralProduct, tuple[float, tuple[float, ...]]]] = {
    SpectralProduct.VISUAL: (
        400.0,
        (
            *(0.500, 1.322, 1.914, 2.447, 2.811, 3.090, 3.346, 3.582, 3.818, 4.041),
            *(4.276, 4.513, 4.702, 4.825, 4.905, 4.957, 4.989, 5.000, 4.989, 4.956),
            *(4.902, 4.827, 4.731, 4.593, 4.433, 4.238, 4.013, 3.749, 3.490, 3.188),
            *(2.901, 2.622, 2.334, 2.041, 1.732, 1.431, 1.146, 0.500),
        ),
    ),
    SpectralProduct.TYPE_1: (
        360.0,
        (*(0.500, 1.640, 2.860, 4.460, 5.000, 4.460, 2.860, 1.640, 0.500),),
    ),
    SpectralProduct.TYPE_2: (
        340.0,
        (
            *(0.500, 2.708, 4.280, 4.583, 4.760, 4.851, 4.916, 4.956, 4.988, 5.000),
            *(4.990, 4.951, 4.864, 4.743, 4.582, 4.351, 3.993, 3.402, 2.805, 2.211),
            *(0.500,),
        ),
    ),
    SpectralProduct.STATUS_A_RED: (
        590.0,
        (
            *(-0.132, 2.568, 4.638, 5.000, 4.871, 4.604, 4.286, 3.900, 3.551, 3.165),
            *(2.776, 2.383, 1.970, 1.551, 1.141, 0.741, 0.341),
        ),
    ),
    SpectralProduct.STATUS_A_GREEN: (
        490.0,
        (
            *(-0.550, 1.650, 3.822, 4.782, 5.000, 4.906, 4.644, 4.221, 3.609, 2.766),
            *(1.579, -0.121),
        ),
    ),
    SpectralProduct.STATUS_A_BLUE: (
        410.0,
        (*(-0.198, 3.602, 4.819, 5.000, 4.912, 4.620, 4.040, 2.898, 1.566, 0.165),),
    ),
    SpectralProduct.STATUS_M_RED: (
        610.0,
        (
            *(-0.491, 2.109, 4.479, 5.000, 4.899, 4.578, 4.252, 3.875, 3.491, 3.099),
            *(2.687, 2.269, 1.859, 1.449, 1.054, 0.654, 0.254),
        ),
    ),
    SpectralProduct.STATUS_M_GREEN: (
        450.0,
        (
            *(-0.968, 0.092, 1.152, 2.207, 3.156, 3.804, 4.272, 4.626, 4.872, 5.000),
            *(4.995, 4.818, 4.458, 3.915, 3.172, 2.239, 1.070, -0.130),
        ),
    ),
    SpectralProduct.STATUS_M_BLUE: (
        400.0,
        (
            *(-0.397, 2.103, 4.111, 4.632, 4.871, 5.000, 4.955, 4.743, 4.343, 3.743),
            *(2.990, 1.852, -0.348),
        ),
    ),
}
"""First wavelength in nm, and log10 of the product from there on."""


def spectral_product(product: SpectralProduct) -> tuple[Floats, Floats]:
    """Wavelengths (n,) in nm, 10 nm apart, and log10 of the product (n,) there, its peak 5; zero outside.

    Source: ISO 5-3, tables 2 to 7, as transcribed (see above).

    Example:
        >>> wavelength_nm, log_product = spectral_product(SpectralProduct.STATUS_M_GREEN)
        >>> float(wavelength_nm[log_product.argmax()])
        540.0
    """
    first, values = _TABLES[product]
    log_product = np.array(values, dtype=np.float64)
    wavelength_nm: Floats = first + _STEP_NM * np.arange(len(values), dtype=np.float64)
    return wavelength_nm, log_product
