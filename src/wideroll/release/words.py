"""Numbers and places as they stand in a reason."""

import math
from typing import Final

from wideroll.roll import Extent

__all__ = ["chance", "fixed", "measured", "number", "percent", "plural", "sentence", "share", "stated", "where"]

_GROUP_FROM: Final = 10_000.0
_THIN: Final = "\u202f"
_FIGURES: Final = 3
_MOST_FIGURES: Final = 7
_RARE: Final = 0.001
_SMALL: Final = 0.1
"""Below this a measured number is given to two figures: the third of a density or log H was never measured."""


def fixed(value: float, decimals: int, *, signed: bool = False) -> str:
    """With so many decimals, a true minus sign, and thin spaces from 10 000 on."""
    if math.isnan(value):
        return "unknown"
    if math.isinf(value):
        return "∞" if value > 0.0 else "−∞"
    text = f"{abs(value):,.{decimals}f}" if abs(value) >= _GROUP_FROM else f"{abs(value):.{decimals}f}"
    nothing = not any(digit in text for digit in "123456789")
    sign = "" if nothing else "−" if value < 0.0 else "+" if signed else ""
    return sign + text.replace(",", _THIN)


def number(value: float, *, beside: float = math.nan) -> str:
    """Three figures, or all before the point; more where it would read like ``beside`` without being it."""
    figures = _FIGURES
    while figures < _MOST_FIGURES and value != beside and _short(value, figures) == _short(beside, figures):
        figures += 1
    return _short(value, figures)


def stated(value: float) -> str:
    """A number that somebody stated, such as an aim, as it was stated."""
    return _short(value, _MOST_FIGURES)


def measured(
    value: float,
    low: float,
    high: float,
    unit: str,
    *,
    limit: float,
    signed: bool = False,
    more: str = "",
    fine: float = 0.0,
) -> str:
    """The number with its interval, all with the same decimals, none reading like the limit without being it.

    ``fine`` is a difference of which two figures must show; 0 where there is none.
    """
    if value == low == high:
        shown = stated(value) if fine else number(value, beside=limit)
        return f"{shown} {unit}{more}"
    largest = max((abs(v) for v in (value, low, high) if math.isfinite(v)), default=0.0)
    decimals = _decimals(largest, _FIGURES if largest >= _SMALL else _FIGURES - 1)
    decimals = max(decimals, _decimals(fine, _FIGURES - 1))
    while decimals < _MOST_FIGURES and any(
        abs(v) != limit and fixed(abs(v), decimals) == fixed(limit, decimals) for v in (value, low, high)
    ):
        decimals += 1
    found, least, most = (fixed(v, decimals, signed=signed) for v in (value, low, high))
    return f"{found} {unit}{more} ({least} to {most})"


def percent(stated: float) -> str:
    """A share that somebody stated, such as a confidence, as it was stated."""
    return f"{_short(100.0 * stated, _MOST_FIGURES)} %"


def share(found: float, *, beside: float = math.nan) -> str:
    """A share that was found, to one decimal; more where it would read as none, all, or like ``beside``."""
    if found in {0.0, 1.0}:
        return f"{100.0 * found:.0f} %"
    decimals = 1
    told = {round(100.0 * v, 6) for v in (0.0, 1.0, beside) if v != found}
    while decimals < _MOST_FIGURES and float(f"{100.0 * found:.{decimals}f}") in told:
        decimals += 1
    return f"{fixed(100.0 * found, decimals)} %"


def chance(probability: float, *, beside: float = math.nan) -> str:
    """A probability to two decimals, never rounded to certainty nor onto the one it is held ``beside``.

    Example:
        >>> chance(0.9731, beside=0.95), chance(0.9499, beside=0.95), chance(0.99999), chance(2e-5)
        ('0.97', '0.9499', 'over 0.999', 'under 0.001')
    """
    if math.isnan(probability):
        return "unknown"
    if probability == beside:
        return _short(probability, _MOST_FIGURES)
    if not _RARE <= probability <= 1.0 - _RARE:
        return f"under {_RARE:g}" if probability < _RARE else f"over {1.0 - _RARE:g}"
    decimals = 2
    while decimals < _MOST_FIGURES and round(probability, decimals) in {0.0, beside, 1.0}:
        decimals += 1
    return _short(round(probability, decimals), _MOST_FIGURES)


def plural(count: int, word: str) -> str:
    """``1 mark``, ``2 marks``, ``no marks``; for our own words only, not for a subject or a kind that others name."""
    return f"{count or 'no'} {word}{'' if count == 1 else 's'}"


def where(extent: Extent, whole: Extent) -> str:
    """A part of the roll in words; across is said only where it isn't the full width."""
    along = f"{_span(extent.along_from_m, extent.along_to_m, 2)} m"
    if extent.across_from_mm <= whole.across_from_mm and extent.across_to_mm >= whole.across_to_mm:
        return along
    return f"{along}, {_span(extent.across_from_mm, extent.across_to_mm, 1)} mm across"


def sentence(words: str) -> str:
    """With a capital and a full stop."""
    ended = words if words.endswith((".", "!", "?")) else f"{words}."
    return ended[:1].upper() + ended[1:]


def _span(start: float, end: float, decimals: int) -> str:
    first, last = fixed(start, decimals), fixed(end, decimals)
    return first if first == last else f"{first} to {last}"


def _short(value: float, figures: int) -> str:
    text = fixed(value, _decimals(abs(value), figures))
    return text.rstrip("0").rstrip(".") if "." in text else text


def _decimals(size: float, figures: int) -> int:
    if not (math.isfinite(size) and size > 0.0):
        return 0
    return max(figures - 1 - math.floor(math.log10(size)), 0)
