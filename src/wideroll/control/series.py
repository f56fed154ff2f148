"""Numbers in time order, checked before a chart is made of them."""

import math
from collections.abc import Sequence

from wideroll.errors import ArgumentError

__all__ = ["base_period", "check_series"]


def check_series(values: Sequence[float], *, where: str, least: float = -math.inf) -> tuple[float, ...]:
    """The values as floats.

    Raises:
        ArgumentError: naming the first value that isn't finite or lies below ``least``.
    """
    for index, value in enumerate(values):
        if not math.isfinite(value) or value < least:
            rule = "must be finite" if least == -math.inf else f"must be finite and at least {least:g}"
            raise ArgumentError(
                where=f"{where}[{index}]", rule=rule, value=value, mend="Leave out what wasn't measured."
            )
    return tuple(float(value) for value in values)


def base_period(count: int, baseline: int | None, *, least: int) -> tuple[int, str]:
    """How many of the first points set the limits, and that in words.

    Raises:
        ArgumentError: when there are fewer than ``least``, or the base period is longer than the series.
    """
    taken = count if baseline is None else baseline
    if not least <= taken <= count:
        raise ArgumentError(
            where="baseline",
            rule=f"limits need a base period of at least {least} points, all among the {count} given",
            value=taken,
            mend="Give more points, or a base period that lies within them.",
        )
    return taken, f"all {taken} points" if taken == count else f"the first {taken} points"
