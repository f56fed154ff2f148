"""Lengths as the shop floor writes them, read exactly.

``9 3/8 in``, ``9-3/8"``, ``41 ft 3 in``, ``238.1 mm`` and ``238,1 mm`` become an exact fraction of a millimetre
together with the notation they came in, so that they can be shown back the way they were given. 1 in = 25.4 mm and
1 ft = 304.8 mm are exact by the international yard and pound agreement of 1959.
"""

import re
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction
from typing import Final

from wideroll.errors import ArgumentError, InputError

__all__ = ["FOOT_MM", "INCH_MM", "Length", "Notation", "format_length", "parse_length"]

INCH_MM: Final = Fraction(254, 10)
FOOT_MM: Final = 12 * INCH_MM


class Notation(StrEnum):
    """How a length is written."""

    MILLIMETRE = "mm"
    CENTIMETRE = "cm"
    METRE = "m"
    INCH = "in"
    FOOT_INCH = "ft in"


_UNIT_MM: Final = {
    "mm": Fraction(1),
    "cm": Fraction(10),
    "m": Fraction(1000),
    "in": INCH_MM,
    "ft": FOOT_MM,
}
_ALIASES: Final = {
    '"': "in",
    "″": "in",
    "”": "in",
    "inch": "in",
    "inches": "in",
    "'": "ft",
    "′": "ft",
    "’": "ft",
    "foot": "ft",
    "feet": "ft",
    "metre": "m",
    "metres": "m",
}
_NUMBER: Final = r"(?:(?P<whole>\d+)[ -]+)?(?P<above>\d+)/(?P<below>\d+)|(?P<decimal>\d+(?:[.,]\d+)?)"
_UNIT: Final = r"mm|cm|metres?|m|inches|inch|in|feet|foot|ft|[\"″”'′’]"
_TERM: Final = re.compile(rf"\s*(?:{_NUMBER})\s*(?P<unit>{_UNIT})", re.IGNORECASE)
_MEND: Final = 'Write it like 9 3/8 in, 9-3/8", 41 ft 3 in or 238.1 mm.'


@dataclass(frozen=True, slots=True, kw_only=True)
class Length:
    """An exact length with the notation it was written in."""

    mm: Fraction
    notation: Notation = Notation.MILLIMETRE

    def __str__(self) -> str:
        """The length as the shop floor would write it."""
        return format_length(self)

    @property
    def m(self) -> Fraction:
        """The length in metres, exact."""
        return self.mm / 1000


def parse_length(text: str, *, where: str = "length") -> Length:
    """Read a length exactly; a decimal comma is a decimal point.

    Args:
        text: such as ``9 3/8 in``, ``9-3/8"``, ``41 ft 3 in``, ``238.1 mm``, ``1.5 m``; a minus may stand in front.
        where: file, line or field named in the error.

    Raises:
        InputError: when the text isn't a number with a unit, or feet come with anything but inches.

    Example:
        >>> parse_length("9 3/8 in").mm
        Fraction(1905, 8)
        >>> str(parse_length('9-3/8"'))
        '9 3/8 in'
    """
    stripped = text.strip()
    negative = stripped.startswith(("-", "−"))
    rest = stripped[1:] if negative else stripped
    terms: list[tuple[str, Fraction]] = []
    while rest.strip():
        match = _TERM.match(rest)
        if match is None:
            raise InputError(where=where, rule="a length is a number and a unit", value=text, mend=_MEND)
        terms.append((_unit(match["unit"]), _number(match, where=where, text=text)))
        rest = rest[match.end() :]
    notation = _notation([unit for unit, _ in terms], where=where, text=text)
    mm = sum((value * _UNIT_MM[unit] for unit, value in terms), start=Fraction(0))
    return Length(mm=-mm if negative else mm, notation=notation)


def format_length(length: Length, *, denominator: int = 64) -> str:
    """Write a length in its own notation.

    Inches become a whole number and a fraction when the length is an exact multiple of 1/``denominator`` in, else a
    decimal. A decimal that doesn't end is rounded to a millionth of its unit, otherwise reading back what was written
    gives the same length.

    Raises:
        ArgumentError: when ``denominator`` isn't positive.

    Example:
        >>> format_length(Length(mm=Fraction(12573), notation=Notation.FOOT_INCH))
        '41 ft 3 in'
    """
    if denominator < 1:
        raise ArgumentError(
            where="denominator", rule="must be at least 1", value=denominator, mend="Use 8, 16, 32 or 64."
        )
    sign = "-" if length.mm < 0 else ""
    size = abs(length.mm)
    if length.notation is Notation.FOOT_INCH:
        feet = size // FOOT_MM
        inches = _inches((size - feet * FOOT_MM) / INCH_MM, denominator)
        return f"{sign}{feet} ft {inches} in"
    if length.notation is Notation.INCH:
        return f"{sign}{_inches(size / INCH_MM, denominator)} in"
    return f"{sign}{_decimal(size / _UNIT_MM[length.notation])} {length.notation}"


def _unit(text: str) -> str:
    lower = text.lower()
    return _ALIASES.get(lower, lower)


def _number(match: re.Match[str], *, where: str, text: str) -> Fraction:
    if match["decimal"] is not None:
        return Fraction(match["decimal"].replace(",", "."))
    below = int(match["below"])
    if below == 0:
        raise InputError(where=where, rule="a fraction can't have 0 below the line", value=text, mend=_MEND)
    return Fraction(int(match["whole"] or 0)) + Fraction(int(match["above"]), below)


def _notation(units: list[str], *, where: str, text: str) -> Notation:
    if units in (["ft", "in"], ["ft"]):
        return Notation.FOOT_INCH
    if len(units) == 1:
        return Notation(units[0])
    raise InputError(where=where, rule="a length has one unit, or feet and inches", value=text, mend=_MEND)


def _inches(inches: Fraction, denominator: int) -> str:
    if (inches * denominator).denominator != 1:
        return _decimal(inches)
    whole, part = divmod(inches, 1)
    if part == 0:
        return str(whole)
    return f"{whole} {part}" if whole else str(part)


def _decimal(value: Fraction) -> str:
    below = value.denominator
    for prime in (2, 5):
        while below % prime == 0:
            below //= prime
    if below == 1:
        digits = 0
        while (value * 10**digits).denominator != 1:
            digits += 1
    else:
        digits = 6
    scaled = round(value * 10**digits)
    if digits == 0:
        return str(scaled)
    text = f"{scaled:0{digits + 1}d}"
    return f"{text[:-digits]}.{text[-digits:]}"
