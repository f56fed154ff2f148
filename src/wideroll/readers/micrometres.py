"""Knives are set by the micrometre: lengths across that must be whole ones."""

import math
from typing import Final

from wideroll.errors import ArgumentError

__all__ = ["check_micrometres"]

_UM: Final = 1000.0
_SAME_UM: Final = 1e-6


def check_micrometres(across_mm: float, *, given: object, where: str, tolerance_mm: float = 0.0) -> None:
    """Refuse a length that isn't a whole number of micrometres, nor within its tolerance of one.

    Args:
        across_mm: the length.
        given: as the file has it.
        where: the field.
        tolerance_mm: by which it may be cut wider or narrower.

    Raises:
        ArgumentError: naming the nearest lengths that will do.

    Example:
        >>> check_micrometres(1.5875, given="1/16 in", where="knife_step")
        Traceback (most recent call last):
        wideroll.errors.ArgumentError: knife_step: must be whole micrometres, got '1/16 in'. Write 1.587 mm or 1.588 mm.
    """
    um = across_mm * _UM
    if abs(um - round(um)) <= max(_SAME_UM, tolerance_mm * _UM):
        return
    near = [one / _UM for one in (math.floor(um), math.ceil(um)) if one > 0]
    raise ArgumentError(
        where=where,
        rule="must be whole micrometres" + (", or within its tolerance of that" if tolerance_mm else ""),
        value=given,
        mend=f"Write {' or '.join(f'{mm:.3f} mm' for mm in near)}.",
    )
