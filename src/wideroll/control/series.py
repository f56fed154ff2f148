"""Numbers in time order, checked before a chart is made of them, and the base period they set limits by."""

import json
import math
from collections.abc import Sequence
from hashlib import sha256
from typing import Final

from wideroll.control.model import BasePeriod
from wideroll.errors import ArgumentError

__all__ = ["base_period", "check_confidence", "check_series", "first_points", "is_base", "named_period", "same_length"]

_LEVEL: Final = "must lie between 0 and 1"


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


def check_confidence(confidence: float) -> None:
    """Refuse a confidence that is none.

    Raises:
        ArgumentError: when it isn't between 0 and 1.
    """
    if not 0.0 < confidence < 1.0:
        raise ArgumentError(where="confidence", rule=_LEVEL, value=confidence, mend="Give 0.95.")


def same_length(first: int, second: int, *, where: str, rule: str) -> None:
    """Refuse columns of different length.

    Raises:
        ArgumentError: when they differ.
    """
    if first != second:
        raise ArgumentError(where=where, rule=rule, value=f"{second} for {first}", mend="Give one for each.")


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


def first_points(columns: Sequence[Sequence[float]], taken: int, words: str) -> BasePeriod:
    """The base period that a chart takes from the first of its own points."""
    return named_period(words, [f"point {number}" for number in range(1, taken + 1)], taken, columns)


def named_period(name: str, labels: Sequence[str], count: int, columns: Sequence[Sequence[float]]) -> BasePeriod:
    """A base period with the digest of its labels and values.

    Raises:
        ArgumentError: when it has no name or no points, or there isn't a label for each point.
    """
    if not name.strip():
        raise ArgumentError(where="name", rule="a base period needs a name", value=name, mend="Say what it was.")
    same_length(count, len(labels), where="labels", rule="each point needs its label")
    return BasePeriod(name=name, first=labels[0], last=labels[-1], count=count, digest=_digest(labels, columns))


def is_base(base: BasePeriod, labels: Sequence[str], *columns: Sequence[float]) -> bool:
    """Whether these points, and no others, set the limits.

    Args:
        base: of the limits.
        labels: of the points, in time order.
        columns: their values; of a rate the counts and then the areas, of records and groups one after the other.

    Returns:
        True when labels, values and their order are the same to the last digit.

    Example:
        >>> from wideroll.control import freeze_values
        >>> frozen = freeze_values([1.0, 1.2, 0.9], labels=["W-1", "W-2", "W-3"], name="spring")
        >>> is_base(frozen.base, ["W-1", "W-2", "W-3"], [1.0, 1.2, 0.9])
        True
        >>> is_base(frozen.base, ["W-1", "W-2", "W-3"], [1.0, 1.2, 0.8])
        False
    """
    return base.count == len(labels) and base.digest == _digest(labels, columns)


def _digest(labels: Sequence[str], columns: Sequence[Sequence[float]]) -> str:
    told = [[str(label) for label in labels], *([float(value) for value in column] for column in columns)]
    return sha256(json.dumps(told, ensure_ascii=True, separators=(",", ":")).encode()).hexdigest()
