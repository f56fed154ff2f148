"""Numbers as a person reads them: sensible digits, with units, never rounded into a better verdict."""

import math
from collections.abc import Iterable, Sequence
from typing import Final

__all__ = [
    "ABSENT",
    "align_points",
    "decimals_for",
    "show_count",
    "show_interval",
    "show_number",
    "show_probability",
    "show_quantity",
    "show_share",
    "show_span",
]

ABSENT: Final = "–"
_MOST_DECIMALS: Final = 4
_GROUP_FROM: Final = 10_000.0
_THIN: Final = "\u202f"
_LEAST_SHARE: Final = 0.001


def decimals_for(values: Iterable[float], *, significant: int = 3) -> int:
    """Decimals that show the largest of the values to so many significant digits, at most 4.

    Example:
        >>> decimals_for((0.052, 1.31)), decimals_for((0.02, 0.05)), decimals_for((412.0,))
        (2, 4, 0)
    """
    largest = max((abs(value) for value in values if math.isfinite(value)), default=0.0)
    if largest <= 0.0:
        return 0
    return min(max(significant - 1 - math.floor(math.log10(largest)), 0), _MOST_DECIMALS)


def show_number(value: float, decimals: int = 0, *, signed: bool = False) -> str:
    """The number with so many decimals, a true minus sign, and thin spaces from 10 000 on.

    Example:
        >>> show_number(-0.125, 2), show_number(float("nan")), show_number(float("inf"))
        ('−0.12', '–', '∞')
    """
    if math.isnan(value):
        return ABSENT
    if math.isinf(value):
        return "∞" if value > 0.0 else "−∞"
    text = f"{abs(value):,.{decimals}f}" if abs(value) >= _GROUP_FROM else f"{abs(value):.{decimals}f}"
    zero = float(f"{abs(value):.{decimals}f}") == 0.0
    sign = "−" if value < 0.0 and not zero else "+" if signed and not zero else ""
    return sign + text.replace(",", _THIN)


def show_interval(low: float, high: float, decimals: int, *, counted: bool = False) -> str:
    """The interval in words that can't be taken for a minus sign.

    An interval of no width is an absent one, not a certainty, unless it is of something ``counted``, as strips are.

    Example:
        >>> show_interval(-0.01, 0.03, 2), show_interval(3.0, float("inf"), 1), show_interval(2.0, 2.0, 1)
        ('−0.01 to 0.03', '3.0 or more', '–')
        >>> show_interval(2.0, 2.0, 0, counted=True)
        '2 exactly'
    """
    if math.isnan(low) or math.isnan(high):
        return ABSENT
    if low == -math.inf and high == math.inf:
        return "unknown"
    if high == math.inf:
        return f"{show_number(low, decimals)} or more"
    if low == -math.inf:
        return f"{show_number(high, decimals)} or less"
    if low == high:
        return f"{show_number(low, decimals)} exactly" if counted else ABSENT
    return f"{show_number(low, decimals)} to {show_number(high, decimals)}"


def show_count(count: int, one: str, many: str = "") -> str:
    """So many of a thing, with its word in the right number.

    Example:
        >>> show_count(1, "run"), show_count(3, "run"), show_count(2, "batch", "batches")
        ('1 run', '3 runs', '2 batches')
    """
    return f"{show_number(count)} {one if count == 1 else many or one + 's'}"


def show_quantity(value: float, unit: str, *, significant: int = 3) -> str:
    """The number to so many significant digits, with its unit.

    Example:
        >>> show_quantity(0.7531, "m"), show_quantity(1380.0, "mm")
        ('0.753 m', '1380 mm')
    """
    number = show_number(value, decimals_for((value,), significant=significant))
    return f"{number} {unit}".rstrip()


def show_span(start: float, end: float, unit: str, decimals: int = 1) -> str:
    """A stretch from one place to another.

    Example:
        >>> show_span(8.0, 10.25, "m")
        '8.0 to 10.3 m'
    """
    # a half that rounds to even would shorten the stretch that is shown
    scale = 10**decimals
    upper = math.floor(end * scale + 0.5 + 1e-9) / scale
    return f"{show_number(start, decimals)} to {show_number(upper, decimals)} {unit}"


def show_share(share: float) -> str:
    """A share of the whole in per cent; only all is 100 %, and only nothing is 0 %.

    Example:
        >>> show_share(0.9999), show_share(1.0), show_share(0.0002), show_share(0.985)
        ('over 99.9 %', '100 %', 'under 0.1 %', '98.5 %')
    """
    if math.isnan(share):
        return ABSENT
    if share in {0.0, 1.0}:
        return f"{share * 100.0:.0f} %"
    if 1.0 - _LEAST_SHARE < share < 1.0:
        return "over 99.9 %"
    if 0.0 < share < _LEAST_SHARE:
        return "under 0.1 %"
    return f"{share * 100.0:.1f} %"


def show_probability(probability: float) -> str:
    """A probability in per cent that never claims certainty.

    Example:
        >>> show_probability(0.9997), show_probability(0.31)
        ('over 99.9 %', '31.0 %')
    """
    if probability >= 1.0 - _LEAST_SHARE:
        return "over 99.9 %"
    if probability < _LEAST_SHARE:
        return "under 0.1 %"
    return f"{probability * 100.0:.1f} %"


def align_points(texts: Sequence[str], *, pad: str = " ", pad_point: str = " ") -> tuple[str, ...]:
    """The texts padded to one length so that their decimal points stand in one column.

    ``pad`` is as wide as a digit, ``pad_point`` as a point: in proportional type they differ.

    Example:
        >>> align_points(("1.25", "300", "–"))
        ('  1.25', '300   ', '  –   ')
    """
    heads = [text.split(".", 1)[0] for text in texts]
    tails = [text[len(head) :] for text, head in zip(texts, heads, strict=True)]
    left = max((len(head) for head in heads), default=0)
    right = max((len(tail) for tail in tails), default=0)
    filled = [tail or pad_point * (right > 0) for tail in tails]
    return tuple(f"{head:{pad}>{left}}{tail:{pad}<{right}}" for head, tail in zip(heads, filled, strict=True))
