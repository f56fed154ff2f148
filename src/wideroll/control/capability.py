"""Whether what a process does fits within what the product may be."""

import math
import statistics
from collections.abc import Sequence
from typing import Final

from scipy.stats import chi2

from wideroll.control.model import Capability
from wideroll.control.series import check_series
from wideroll.errors import ArgumentError

__all__ = ["capability"]

_LEAST: Final = 2


def capability(values: Sequence[float], *, low: float, high: float, confidence: float = 0.95) -> Capability:
    """Capability indices of a steady process; look at its control chart first.

    Cp = (high − low) / 6s and Cpk = min(high − mean, mean − low) / 3s (NIST/SEMATECH e-Handbook, 6.1.6). The interval
    of Cp comes from that of a variance: Cp √(χ²(α/2; n − 1) / (n − 1)) to Cp √(χ²(1 − α/2; n − 1) / (n − 1)).

    Args:
        values: at least two, not all the same.
        low: least the product may have, in the unit of the values.
        high: most it may have.
        confidence: two-sided, of the interval of Cp.

    Raises:
        ArgumentError: when there are too few values, they don't vary, the limits are inverted, or confidence isn't
            between 0 and 1.

    Example:
        >>> found = capability([14.0, 15.0, 16.0, 17.0, 18.0], low=8.0, high=20.0)
        >>> round(found.cp, 3), round(found.cpk, 3), round(found.cp_low, 2), round(found.cp_high, 2)
        (1.265, 0.843, 0.44, 2.11)
    """
    points = check_series(values, where="values")
    if not low < high:
        raise ArgumentError(where="low", rule="must lie below high", value=(low, high), mend="Give low < high.")
    if not 0.0 < confidence < 1.0:
        raise ArgumentError(where="confidence", rule="must lie between 0 and 1", value=confidence, mend="Give 0.95.")
    if len(points) < _LEAST or min(points) == max(points):
        raise ArgumentError(
            where="values", rule="at least two that differ", value=points, mend="Give more values, read more finely."
        )
    mean, sigma = statistics.fmean(points), statistics.stdev(points)
    cp = (high - low) / (6.0 * sigma)
    freedom = len(points) - 1
    tail = (1.0 - confidence) / 2.0
    return Capability(
        count=len(points),
        mean=mean,
        sigma=sigma,
        low=low,
        high=high,
        cp=cp,
        cp_low=cp * math.sqrt(float(chi2.ppf(tail, freedom)) / freedom),
        cp_high=cp * math.sqrt(float(chi2.ppf(1.0 - tail, freedom)) / freedom),
        cpk=min(high - mean, mean - low) / (3.0 * sigma),
        confidence=confidence,
    )
