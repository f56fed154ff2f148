"""What to plant besides marks: unevenness of the web, splices, and the scanner's own faults."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from wideroll.roll import Extent

__all__ = ["DroppedLines", "FaultyColumns", "PlantedBand", "PlantedMottle", "PlantedSplice"]

_STEPS: Final = 512


@dataclass(frozen=True, slots=True, kw_only=True)
class PlantedBand:
    """A periodic variation along over some of the width, such as chatter.

    The signal is multiplied by 1 + ``amplitude`` × sin(2π × distance from the start of ``extent`` / ``period_mm`` +
    ``phase_rad``), as it is at the middle of each line.
    """

    extent: Extent
    period_mm: float
    amplitude: float
    phase_rad: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class PlantedMottle:
    """Unevenness all over the web, with a normal distribution of standard deviation ``amplitude`` at every place.

    Between the nodes of a lattice of ``size_mm``, each with a normal number of its own, it runs smoothly. Places
    further apart than twice that, along or across, have nothing to do with each other.
    """

    size_mm: float
    amplitude: float

    def between_squares(self, side_mm: float) -> float:
        """Standard deviation of the mean over squares of a side, taken over all places that they can lie at.

        Example:
            >>> mottle = PlantedMottle(size_mm=5.0, amplitude=0.01)
            >>> [round(mottle.between_squares(side), 5) for side in (0.5, 5.0, 50.0)]
            [0.00997, 0.00806, 0.00135]
        """
        side = side_mm / self.size_mm
        step = min(side, 1.0) / _STEPS
        at = np.arange(-1.0 - side, 1.0 + step, step)
        # The variance of a mean along one axis is the integral of the square of one node's share of it.
        share = (_summed_weight(at + side) - _summed_weight(at)) / side
        return self.amplitude * float((share**2).sum() * step)


def _summed_weight(at: NDArray[np.float64]) -> NDArray[np.float64]:
    """Integral of a node's weight from the left up to a place, in cells from the node."""
    grid = np.linspace(-1.0, 1.0, 2 * _STEPS + 1)
    rising = 1.0 - np.abs(grid)
    smooth = rising * rising * (3.0 - 2.0 * rising)
    weight = smooth / np.hypot(smooth, 1.0 - smooth)
    steps = (weight[1:] + weight[:-1]) / 2.0 * (grid[1] - grid[0])
    summed: NDArray[np.float64] = np.interp(at, grid, np.concatenate([[0.0], np.cumsum(steps)]))
    return summed


@dataclass(frozen=True, slots=True, kw_only=True)
class PlantedSplice:
    """Tape over the whole width: between two places along, the web's signal is 1 + ``contrast`` times what it was."""

    along_from_m: float
    along_to_m: float
    contrast: float = -0.4


@dataclass(frozen=True, slots=True, kw_only=True)
class DroppedLines:
    """Lines that the scanner lost; every column reads ``counts``."""

    first: int
    lines: int = 1
    counts: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class FaultyColumns:
    """Columns of the scanner that read the same on every line: dead at 0 counts, saturated at 255."""

    first: int
    columns: int = 1
    counts: int = 0

    @property
    def across(self) -> range:
        """The columns."""
        return range(self.first, self.first + self.columns)
