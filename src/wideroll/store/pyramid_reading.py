"""A stretch of a roll out of its overview pyramid, as fine as is wanted."""

import math
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np
import zarr
from numpy.typing import NDArray

from wideroll.errors import InputError
from wideroll.roll import Extent
from wideroll.scan import Overview
from wideroll.store.pyramid import LAYERS, PYRAMID_VERSION

__all__ = ["Pyramid", "Stretch", "open_pyramid"]

_MOST_ROWS: Final = 1500


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Stretch:
    """Some rows of one level. ``overview`` starts at ``first_m`` from the head, not at the head."""

    overview: Overview
    first_m: float
    level: int


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pyramid:
    """An overview pyramid on disk; nothing of it is read until a stretch is asked for."""

    path: Path
    cell_m: float
    """Of the finest level, 0; each further level's is twice as large."""
    cell_mm: float
    extent: Extent
    shapes: tuple[tuple[int, int], ...]
    """Rows and cells of each level."""
    fingerprint: str

    def stretch(self, from_m: float, to_m: float, *, level: int | None = None, most_rows: int = _MOST_ROWS) -> Stretch:
        """The rows that cover from ``from_m`` to ``to_m``, as far as there are any.

        Args:
            from_m: from the head.
            to_m: from the head.
            level: which; without it the finest that needs no more than ``most_rows``.
            most_rows: of the stretch.

        Raises:
            InputError: when what is on disk can't be read.
        """
        if level is None:
            fit = (n for n in range(len(self.shapes)) if (to_m - from_m) / self._cell_m(n) <= most_rows)
            level = next(fit, len(self.shapes) - 1)
        cell_m, (rows, _) = self._cell_m(level), self.shapes[level]
        # Borders of stretches are borders of cells more often than not, up to rounding.
        first = min(max(math.floor(from_m / cell_m + 1e-6), 0), rows)
        last = min(max(math.ceil(to_m / cell_m - 1e-6), first), rows)
        mean, worst = (self._read(f"{level}/{layer}", first, last) for layer in LAYERS)
        overview = Overview(
            mean=mean, worst=worst, cell_m=cell_m, cell_mm=self.cell_mm * 2.0**level, extent=self.extent
        )
        return Stretch(overview=overview, first_m=first * cell_m, level=level)

    def _cell_m(self, level: int) -> float:
        return self.cell_m * 2.0**level

    def _read(self, name: str, first: int, last: int) -> NDArray[np.float32]:
        try:
            array: Any = zarr.open_array(self.path / name, mode="r")
            values = np.asarray(array[first:last], np.float32)
        except (OSError, ValueError, KeyError, RuntimeError) as error:
            raise _damaged(self.path, str(error)) from error
        return values + np.float32(1.0)


def open_pyramid(path: Path) -> Pyramid:
    """What a folder of ``PyramidWriter`` says of itself.

    Raises:
        InputError: when there is none, or one of another version.
    """
    try:
        group: Any = zarr.open_group(path, mode="r")
        said = dict(group.attrs)
        version = said["version"]
        pyramid = Pyramid(
            path=path,
            cell_m=float(said["cell_m"]),
            cell_mm=float(said["cell_mm"]),
            extent=Extent(**said["extent"]),
            shapes=tuple(group[f"{level}/{LAYERS[0]}"].shape for level in range(int(said["levels"]))),
            fingerprint=str(said["fingerprint"]),
        )
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise _damaged(path, f"{type(error).__name__}: {error}") from error
    if version != PYRAMID_VERSION:
        raise _damaged(path, f"version {version}")
    return pyramid


def _damaged(path: Path, what: str) -> InputError:
    return InputError(
        where=str(path),
        rule=f"must be a whole overview of version {PYRAMID_VERSION}",
        value=what,
        mend="Remove the folder and scan the roll again.",
    )
