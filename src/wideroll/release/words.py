"""Numbers and places as they stand in a reason."""

from wideroll.roll import Extent

__all__ = ["number", "percent", "plural", "sentence", "where"]

_MANY = 1000.0


def number(value: float) -> str:
    """Three figures, or all before the point."""
    return f"{value:.0f}" if abs(value) >= _MANY else f"{value:.3g}"


def percent(share: float) -> str:
    """A share with enough digits to be told apart from a limit near it."""
    return f"{100.0 * share:.4g} %"


def plural(count: int, word: str) -> str:
    """``1 mark``, ``2 marks``, ``no marks``."""
    return f"{count or 'no'} {word}{'' if count == 1 else 's'}"


def where(extent: Extent, whole: Extent) -> str:
    """A part of the roll in words; across is said only where it isn't the full width."""
    along = f"{extent.along_from_m:.2f} to {extent.along_to_m:.2f} m"
    if extent.across_from_mm <= whole.across_from_mm and extent.across_to_mm >= whole.across_to_mm:
        return along
    return f"{along}, {extent.across_from_mm:.1f} to {extent.across_to_mm:.1f} mm across"


def sentence(words: str) -> str:
    """With a capital and a full stop."""
    ended = words if words.endswith((".", "!", "?")) else f"{words}."
    return ended[:1].upper() + ended[1:]
