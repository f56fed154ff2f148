"""Units as a shop floor writes them, from one into another."""

import re
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Any, Final

from wideroll.errors import ArgumentError

if TYPE_CHECKING:
    import pint

__all__ = ["UnitChange", "same_unit", "unit_change"]

_ALIASES: Final = {"mil": "thou", "mils": "thou", "lbs": "lb", "mpm": "m/min", "fpm": "ft/min"}
"""Of an inch, where the library means an angle; and what it doesn't know."""
_OWN: Final = "ratio = 1"
_NAME: Final = r"(?:Δ?°?[A-Za-zµμΩ]{1,24}|%|‰)(?:_[A-Za-z]{1,24})?(?:(?:\^|\*\*)[+-]?[0-9]|[⁻]?[¹²³])?"
_UNIT: Final = re.compile(rf"(?:1/)?{_NAME}(?: ?[/*·] ?{_NAME}){{0,5}}")
_MICRO: Final = str.maketrans({"\N{GREEK SMALL LETTER MU}": "µ"})
_CLOSE: Final = 1e-9
_WRITE: Final = "Write it like um, mm, in, mil, N, gf, N/m, % or degC."


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitChange:
    """From one unit into another: so many times the number, and more by ``offset``."""

    factor: float = 1.0
    offset: float = 0.0

    def value(self, number: float) -> float:
        """A number in the other unit."""
        return number * self.factor + self.offset

    def difference(self, number: float) -> float:
        """A difference of two numbers in the other unit, such as an uncertainty or a correction."""
        return number * self.factor


def same_unit(one: str, other: str) -> bool:
    r"""Whether two units are written alike; the two signs for micro are one.

    Example:
        >>> same_unit("\N{MICRO SIGN}m", "\N{GREEK SMALL LETTER MU}m"), same_unit("um", "µm"), same_unit("N", "n")
        (True, True, False)
    """
    return _plain(one) == _plain(other)


def unit_change(of: str, to: str) -> UnitChange:
    """How a number of one unit is told in another; units written alike need not be known.

    A temperature changes with its offset, but only as one: not within a compound. An angle is no ratio.

    Raises:
        ArgumentError: when one of the two isn't known, they are of different kinds, or their scales aren't straight.

    Example:
        >>> change = unit_change("degF", "degC")
        >>> round(change.value(68.0), 9), round(change.difference(1.8), 9)
        (20.0, 1.0)
        >>> round(unit_change("mil", "µm").value(5.0), 9)
        127.0
    """
    if same_unit(of, to):
        return UnitChange()
    first, second = _known(of), _known(to)
    if first is None or second is None:
        unknown = of if first is None else to
        mend = _WRITE if first is None else f"Give the value in {to}, as the product does."
        raise ArgumentError(where="unit", rule=f"{unknown} is no unit known here", value=of, mend=mend)
    if _kind(first) != _kind(second):
        raise ArgumentError(
            where="unit", rule=f"must be of the same kind as {to}, the product's", value=of, mend=_mend(first, to)
        )
    return _affine(first, second, of, to)


@cache
def _registry() -> "pint.UnitRegistry[Any]":
    import pint  # noqa: PLC0415  -- loading takes a second, and only values in other units need it

    registry: pint.UnitRegistry[Any] = pint.UnitRegistry()
    registry.define(_OWN)
    return registry


@cache
def _known(name: str) -> Any:
    """The library's unit; None where it has none, or the text is no plain product of units."""
    if not _UNIT.fullmatch(name):
        return None
    text = re.sub(r"[A-Za-z]+", lambda word: _ALIASES.get(word[0], word[0]), name).replace("·", "*")
    try:
        return _registry().Unit(text)
    except Exception:  # noqa: BLE001  (the library raises many kinds for a text that is no unit)
        return None


def _kind(unit: Any) -> Any:
    """What it is in base units; by dimensions alone an angle would be a ratio."""
    return _registry().get_base_units(unit, check_nonmult=False)[1]


def _affine(first: Any, second: Any, of: str, to: str) -> UnitChange:
    make = _registry().Quantity
    try:
        zero, one, two = (float(make(n, first).to(second).magnitude) for n in (0.0, 1.0, 2.0))
    except Exception as error:
        raise _bent(of, to) from error
    if not abs(two - 2.0 * one + zero) <= _CLOSE * max(abs(zero), abs(one), abs(two)):
        raise _bent(of, to)
    return UnitChange(factor=one - zero, offset=zero)


def _bent(of: str, to: str) -> ArgumentError:
    return ArgumentError(
        where="unit", rule=f"can't be told in {to}, the product's", value=of, mend=f"Give the value in {to}."
    )


def _mend(unit: Any, to: str) -> str:
    force = _known(to)
    weighed = _registry().Unit("m/s**2")
    if force is not None and _kind(unit * weighed) == _kind(force):
        return "A force of weight is written gf, kgf or lbf; g, kg and lb are masses."
    return f"Give the value in {to}, or in a unit of its kind."


def _plain(unit: str) -> str:
    micro = unit.strip().translate(_MICRO)
    return re.sub(r"(?<![A-Za-z])µ(?=[A-Za-z])", "u", micro)
