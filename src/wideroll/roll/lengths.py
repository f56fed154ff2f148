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

__all__ = ["FOOT_MM", "INCH_MM", "Length", "Notation", "ShopUnits", "format_length", "parse_length"]

INCH_MM: Final = Fraction(254, 10)
FOOT_MM: Final = 12 * INCH_MM


class Notation(StrEnum):
    """How a length is written."""

    MILLIMETRE = "mm"
    CENTIMETRE = "cm"
    METRE = "m"
    INCH = "in"
    FOOT_INCH = "ft in"


class ShopUnits(StrEnum):
    """The units that people at the machines measure in."""

    METRIC = "metric"
    """Metres along, millimetres across."""
    INCHES = "inches"
    """Feet along, inches across."""


_UNIT_MM: Final = {
    "mm": Fraction(1),
    "cm": Fraction(10),
    "m": Fraction(1000),
    "in": INCH_MM,
    "ft": FOOT_MM,
}
_ALIASES: Final = {
    '"': "in",
    "''": "in",
    "′′": "in",
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
_NUMBER: Final = (
    r"(?:(?P<whole>[0-9]+)[\s-]+)?(?P<above>[0-9]+)/(?P<below>[0-9]+)|(?P<decimal>[0-9]+(?:[.,][0-9]+)?|[.,][0-9]+)"
)
_UNIT: Final = r"mm|cm|metres?|m|inches|inch|in|feet|foot|ft|''|′′|[\"″”'′’]"
_TERM: Final = re.compile(rf"\s*(?:{_NUMBER})\s*(?P<unit>{_UNIT})", re.IGNORECASE)
_LONGEST: Final = 2000
"""Characters; more than any number has that was once a float, and clear of Python's limit on digits."""
_ROUNDED_DIGITS: Final = 6
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
    """Read a length exactly; a decimal comma is a decimal point, never a mark between thousands.

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
    while rest.strip() or not terms:
        match = _TERM.match(rest) if len(rest) <= _LONGEST else None
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
    decimal. ``parse_length`` reads back exactly the same length, with one exception: a decimal that doesn't end, such
    as 1 mm in inches, is rounded to a millionth of its unit.

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
    feet_too = length.notation is Notation.FOOT_INCH
    unit_mm = INCH_MM if feet_too else _UNIT_MM[length.notation]
    # Rounded before feet are taken off, so that 11.9999999… in becomes 1 ft 0 in and not 0 ft 12 in.
    size = _writable(abs(length.mm) / unit_mm, denominator if unit_mm == INCH_MM else 1)
    sign = "-" if length.mm < 0 and size else ""
    if feet_too:
        feet, inches = divmod(size, 12)
        return f"{sign}{feet} ft {_inches(inches, denominator)} in"
    if length.notation is Notation.INCH:
        return f"{sign}{_inches(size, denominator)} in"
    return f"{sign}{_decimal(size)} {length.notation}"


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
    if denominator % inches.denominator:
        return _decimal(inches)
    whole, part = divmod(inches, 1)
    if part == 0:
        return str(whole)
    return f"{whole} {part}" if whole else str(part)


def _writable(value: Fraction, denominator: int) -> Fraction:
    """The value if it is a multiple of 1/denominator or its decimals end, else the nearest millionth."""
    below = value.denominator
    for prime in (2, 5):
        while below % prime == 0:
            below //= prime
    exact = below == 1 or denominator % value.denominator == 0
    return value if exact else round(value, _ROUNDED_DIGITS)


def _decimal(value: Fraction) -> str:
    """All decimals of a number whose decimals end."""
    digits = 0
    while (value * 10**digits).denominator != 1:
        digits += 1
    text = f"{int(value * 10**digits):0{digits + 1}d}"
    return f"{text[:-digits]}.{text[-digits:]}" if digits else text
