"""Ranges of small groups of normal values: what their mean and scatter say of the standard deviation."""

import math
from dataclasses import dataclass
from functools import cache
from typing import Final

import numpy as np
from scipy.special import ndtr

from wideroll.errors import ArgumentError

__all__ = ["RangeConstants", "moving_range_freedom", "range_constants"]

_LEAST: Final = 2
_MOST: Final = 100
_REACH: Final = 14.0
"""No range of 100 values is wider, in standard deviations, but by a chance of 1e-18."""
_LEAST_VALUE: Final = 9.0
"""The least of a group lies within this of the mean, but by a chance of 1e-17."""
_NODES: Final = 240


@dataclass(frozen=True, slots=True, kw_only=True)
class RangeConstants:
    """Mean and standard deviation of the range of a group, for a standard deviation of 1 of its values."""

    size: int
    d2: float
    d3: float

    @property
    def low_factor(self) -> float:
        """Lower limit of the range as a multiple of its mean (D3)."""
        return max(0.0, 1.0 - 3.0 * self.d3 / self.d2)

    @property
    def high_factor(self) -> float:
        """Upper limit of the range as a multiple of its mean (D4)."""
        return 1.0 + 3.0 * self.d3 / self.d2

    def few_groups(self, groups: int) -> float:
        """What to divide the mean range of a few groups by (d2*): √(d2² + d3² ⁄ groups)."""
        return math.sqrt(self.d2**2 + self.d3**2 / groups)


@cache
def range_constants(size: int) -> RangeConstants:
    """Constants of the range of a group of normal values.

    From the range's distribution, P(R ≤ r) = n ∫ φ(x) (Φ(x + r) − Φ(x))ⁿ⁻¹ dx: d2 = ∫ P(R > r) dr and
    d3² = 2 ∫ r P(R > r) dr − d2² (Tippett 1925, from memory). They round to the constants tabled in ASTM E2587.

    Args:
        size: values in a group, 2 to 100.

    Raises:
        ArgumentError: for any other size.

    Example:
        >>> five = range_constants(5)
        >>> round(five.d2, 3), round(five.d3, 3), round(five.high_factor, 3), round(3 / five.d2 / 5**0.5, 3)
        (2.326, 0.864, 2.114, 0.577)
    """
    if not _LEAST <= size <= _MOST:
        raise ArgumentError(
            where="size", rule=f"a group has {_LEAST} to {_MOST} values", value=size, mend="Group them otherwise."
        )
    nodes, weights = np.polynomial.legendre.leggauss(_NODES)
    r, r_weights = (nodes + 1.0) * _REACH / 2.0, weights * _REACH / 2.0
    x, x_weights = nodes * _LEAST_VALUE, weights * _LEAST_VALUE
    density = np.exp(-0.5 * x * x) / math.sqrt(2.0 * math.pi)
    above = 1.0 - size * np.sum(x_weights * density * (ndtr(x + r[:, None]) - ndtr(x)) ** (size - 1), axis=1)
    d2 = float(np.sum(r_weights * above))
    return RangeConstants(size=size, d2=d2, d3=math.sqrt(2.0 * float(np.sum(r_weights * r * above)) - d2 * d2))


def moving_range_freedom(count: int) -> float:
    """Degrees of freedom of the standard deviation that a mean moving range gives.

    ν = 1 ⁄ 2V, V the relative variance of the mean of the n − 1 absolute differences of neighbours, exact for
    independent normal values: two differences that share a value have the correlation −½ (arithmetic; about 0.6 n).

    Args:
        count: of values, at least 2.

    Raises:
        ArgumentError: when there are fewer.

    Example:
        >>> round(moving_range_freedom(2), 2), round(moving_range_freedom(25), 1)
        (0.88, 14.7)
    """
    if count < _LEAST:
        raise ArgumentError(where="count", rule="at least 2 values", value=count, mend="Give more values.")
    alone = math.pi / 2.0 - 1.0
    together = math.sqrt(0.75) + math.pi / 12.0 - 1.0
    moves = count - 1
    return moves * moves / (2.0 * (moves * alone + 2.0 * (moves - 1) * together))
