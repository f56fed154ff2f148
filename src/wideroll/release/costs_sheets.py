"""What further sample sheets are worth before a choice: preposterior analysis."""

from collections.abc import Sequence
from typing import Final

import numpy as np

from wideroll.release.costs_sums import Rate, add_up, further_counts

__all__ = ["MOST_SHEETS", "best_sheets", "cost_after"]

MOST_SHEETS: Final = 100
"""More are not weighed: it would be another way of examining."""


def cost_after(known: float, rates: Sequence[Rate], scrap: float, sheets_m2: float) -> float:
    """Expected cost of the cheaper of release and scrap once so much more film has been looked at.

    The sum over all that may be counted there of min(cost of release after that count, ``scrap``), weighted with how
    probable that count is now (Raiffa and Schlaifer 1961, from memory). The looking itself isn't in it.

    Args:
        known: cost of a release that no sheet tells more about.
        rates: what sheets tell more about, each by its ``sheet_share``.
        scrap: cost of scrapping.
        sheets_m2: area of all further sheets together.
    """
    informed = [further_counts(rate, sheets_m2 * rate.sheet_share) for rate in rates if rate.sheet_share > 0.0]
    fixed = known + sum(rate.expected * rate.cost for rate in rates if rate.sheet_share <= 0.0)
    after = add_up(informed)
    return float(np.minimum(fixed + after.values, scrap) @ after.probabilities)


def best_sheets(
    known: float, rates: Sequence[Rate], scrap: float, *, sheet: float, sheet_m2: float, most: int = MOST_SHEETS
) -> tuple[int, float]:
    """The number of further sheets, 1 to ``most``, with the least expected cost, their own included; and that cost.

    0 sheets, and the cost of the cheaper choice now, where no number of them is cheaper than that.
    """
    now = min(known + sum(rate.expected * rate.cost for rate in rates), scrap)
    best, least = 0, now
    for number in range(1, most + 1):
        if number * sheet >= least:  # the sheets alone cost as much
            break
        total = number * sheet + cost_after(known, rates, scrap, number * sheet_m2)
        if total < least * (1.0 - 1e-9):
            best, least = number, total
    return best, least
