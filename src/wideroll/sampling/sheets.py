"""Which sheets to take: stratified along the web, so that no stretch goes without."""

import itertools
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from wideroll.errors import ArgumentError
from wideroll.roll import Extent

__all__ = ["place_sheets", "share_out"]


def place_sheets(
    whole: Extent, count: int, sheet_length_m: float, seed: int, borders_m: Sequence[float] = ()
) -> tuple[Extent, ...]:
    """Sample sheets over the full width, one at random in each of ``count`` strata along the web.

    Each stretch between borders (batches, splices) gets at least one sheet, longer stretches more in proportion, and
    no sheet lies across a border. Each stratum has a random start of its own: sheets at one fixed distance could fall
    in step with a mark that returns every turn of a roller and miss it each time (stratified random sampling, Cochran
    1977, *Sampling Techniques*, ch. 5; from memory).

    Args:
        whole: the web to sample.
        count: number of sheets, at least one for each stretch.
        sheet_length_m: length of a sheet along the web.
        seed: of the random starts; the same seed gives the same sheets.
        borders_m: places along where something changes; those outside ``whole`` are ignored.

    Raises:
        ArgumentError: when there are fewer sheets than stretches, or a stretch can't hold its sheets.

    Example:
        >>> web = Extent(along_from_m=0, along_to_m=40, across_from_mm=0, across_to_mm=1380)
        >>> sheets = place_sheets(web, 4, 0.3, seed=1, borders_m=[25.0])
        >>> [round(sheet.along_from_m, 2) for sheet in sheets]
        [6.24, 24.1, 26.04, 39.33]
    """
    if not sheet_length_m > 0.0:
        raise ArgumentError(
            where="sheet_length_m", rule="must be greater than 0", value=sheet_length_m, mend="Give the length cut."
        )
    inner = sorted({float(b) for b in borders_m if whole.along_from_m < b < whole.along_to_m})
    stretches = list(itertools.pairwise([whole.along_from_m, *inner, whole.along_to_m]))
    if count < len(stretches):
        raise ArgumentError(
            where="count",
            rule=f"there must be a sheet for each of the {len(stretches)} stretches between borders",
            value=count,
            mend=f"Take at least {len(stretches)} sheets.",
        )
    shares = share_out([end - start for start, end in stretches], count)
    rng = np.random.Generator(np.random.PCG64(seed))
    sheets: list[Extent] = []
    for (start, end), share in zip(stretches, shares, strict=True):
        step = (end - start) / share
        if step < sheet_length_m:
            raise ArgumentError(
                where="sheet_length_m",
                rule=f"{share} sheet(s) must fit between {start:g} and {end:g} m",
                value=sheet_length_m,
                mend="Take fewer or shorter sheets.",
            )
        starts = start + (np.arange(share) * step) + rng.random(share) * (step - sheet_length_m)
        sheets += [
            replace(whole, along_from_m=float(head), along_to_m=min(float(head) + sheet_length_m, end))
            for head in starts
        ]
    return tuple(sheets)


def share_out(lengths: Sequence[float], count: int) -> list[int]:
    """At least one each, the rest by length: each further sheet goes where the web per sheet is longest.

    Example:
        >>> share_out([25.0, 15.0], 5)
        [3, 2]
    """
    shares = [1] * len(lengths)
    for _ in range(count - len(lengths)):
        longest = max(range(len(lengths)), key=lambda number: lengths[number] / shares[number])
        shares[longest] += 1
    return shares
