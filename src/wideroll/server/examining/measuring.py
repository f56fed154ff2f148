"""Lengths on a photograph: two points on it and what is known of its scale give millimetres."""

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from wideroll.errors import InputError

__all__ = ["POINTS", "Measured", "measure"]

POINTS: Final = {"scale": ("ax", "ay", "bx", "by"), "mark": ("cx", "cy", "dx", "dy")}
"""Columns and rows of the two points that a known length lies between, and of the mark's two ends."""
_NUMBER: Final = re.compile(r"[0-9]{1,7}(?:[.,][0-9]*)?")
_BARE: Final = re.compile(r"[0-9][0-9 /.,-]*|[.,][0-9]+")
_WORDS: Final = {"scale": "the known length", "mark": "the mark"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """The scale of a photograph, and the mark's size where its ends were named; both with their unit."""

    scale: str
    size: str = ""


def measure(typed: Mapping[str, str]) -> Measured:
    """From what was typed or clicked.

    Args:
        typed: ``per_pixel``, film in a pixel; or ``length`` with its points; and the mark's points, by ``POINTS``.

    Raises:
        InputError: when a point or the scale is missing or can't be read; ``where`` is the field.

    Example:
        >>> measure({"length": "10", "ax": "0", "ay": "0", "bx": "300", "by": "400", "per_pixel": ""})
        Measured(scale='0.02 mm', size='')
        >>> measure({"per_pixel": "0,02", "cx": "10", "cy": "10", "dx": "40", "dy": "10"}).size
        '0.6 mm'
    """
    mark = _distance(typed, "mark")
    scale_mm = _scale_mm(typed)
    size = "" if mark is None else f"{_plain(mark * scale_mm, 3)} mm"
    return Measured(scale=f"{_plain(scale_mm, 6)} mm", size=size)


def _scale_mm(typed: Mapping[str, str]) -> float:
    if typed.get("per_pixel", "").strip():
        return _length_mm(typed, "per_pixel")
    pixels = _distance(typed, "scale")
    if pixels is None:
        raise InputError(
            where="per_pixel",
            rule="the photograph needs a scale",
            mend="Name two points and the length between them, or type how much film is in a pixel.",
        )
    return _length_mm(typed, "length") / pixels


def _distance(typed: Mapping[str, str], what: str) -> float | None:
    """Pixels between two points; None where neither is named."""
    names = POINTS[what]
    if not any(typed.get(name, "").strip() for name in names):
        return None
    ax, ay, bx, by = (_pixel(typed, name, what) for name in names)
    distance = math.hypot(bx - ax, by - ay)
    if distance < 1.0:
        raise InputError(
            where=names[0],
            rule=f"the two points of {_WORDS[what]} must lie a pixel apart at least",
            mend="Name the second point again.",
        )
    return distance


def _pixel(typed: Mapping[str, str], name: str, what: str) -> float:
    text = typed.get(name, "").strip()
    if _NUMBER.fullmatch(text) is None:
        raise InputError(
            where=name,
            rule=f"{_WORDS[what]} needs column and row of both points",
            value=text,
            mend="Click on the photograph, or type the numbers.",
        )
    return float(text.replace(",", "."))


def _length_mm(typed: Mapping[str, str], name: str) -> float:
    from wideroll.roll.lengths import parse_length  # noqa: PLC0415  (the room loads tables)

    text = typed.get(name, "").strip()
    mm = float(parse_length(f"{text} mm" if _BARE.fullmatch(text) else text, where=name).mm)
    if not mm > 0.0:
        raise InputError(where=name, rule="must be greater than 0", value=text, mend="Type it again.")
    return mm


def _plain(value: float, digits: int) -> str:
    """So many figures, never with an exponent."""
    places = max(0, digits - 1 - math.floor(math.log10(value)))
    text = f"{value:.{places}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text
