"""What may be asked of the slitter: widths and rules that make sense before anything is planned."""

import math
from dataclasses import dataclass
from typing import Final

from wideroll.errors import ArgumentError
from wideroll.roll import Extent
from wideroll.slitting.model import Avoid, CutRules, SlitWidth

__all__ = ["Request", "check_request"]

_UM_PER_MM: Final = 1000.0
_SAME: Final = 1e-6
_SAME_M: Final = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class Request:
    """A roll, what to avoid on it, and what to cut it into."""

    whole: Extent
    avoid: tuple[Avoid, ...]
    widths: tuple[SlitWidth, ...]
    rules: CutRules

    @property
    def least_m(self) -> float:
        """The least length of a piece, with a nanometre's grace for rounding; a piece always has some length."""
        return max(self.rules.least_piece_m - _SAME_M, _SAME_M)


def check_request(request: Request) -> None:
    """Refuse a request that no slitter could be set to.

    Raises:
        ArgumentError: naming the width or rule, and the mend.
    """
    whole, widths, rules = request.whole, request.widths, request.rules
    if whole.area_m2 <= 0.0:
        raise ArgumentError(where="whole", rule="must have area", value=whole, mend="Give the wound roll's extent.")
    if not widths:
        raise ArgumentError(where="widths", rule="at least one", value=(), mend="Name a width that finishing can use.")
    for width in widths:
        _check_width(width)
    names = [width.name for width in widths]
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise ArgumentError(where="widths", rule="each name only once", value=twice, mend="Rename one of them.")
    _check_rules(rules)
    usable_mm = whole.width_mm - 2.0 * rules.edge_trim_mm
    if min(width.width_mm for width in widths) > usable_mm + _SAME:
        raise ArgumentError(
            where="widths",
            rule=f"at least one must fit in the {usable_mm:g} mm between the edge trims",
            value=tuple(width.width_mm for width in widths),
            mend="Check the units of the widths, the web's width and the edge trim.",
        )


def _check_width(width: SlitWidth) -> None:
    where = f"width {width.name}"
    _at_least(width.width_mm, 0.0, where=f"{where}: width_mm", above=True)
    _at_least(width.tolerance_mm, 0.0, where=f"{where}: tolerance_mm")
    _at_least(width.finish.value_per_m, 0.0, where=f"{where}: value_per_m")
    off_um = abs(width.width_mm * _UM_PER_MM - round(width.width_mm * _UM_PER_MM))
    if off_um > max(_SAME, width.tolerance_mm * _UM_PER_MM):
        raise ArgumentError(
            where=f"{where}: width_mm",
            rule="must be whole micrometres, or within its tolerance of that",
            value=width.width_mm,
            mend="Give the width to three decimals, or its tolerance.",
        )


def _check_rules(rules: CutRules) -> None:
    _at_least(rules.knife_step_mm, 0.0, where="knife_step_mm", above=True)
    for name in ("edge_trim_mm", "trim_between_mm", "least_piece_m", "setup_m"):
        _at_least(getattr(rules, name), 0.0, where=name)
    step_um = rules.knife_step_mm * _UM_PER_MM
    if abs(step_um - round(step_um)) > _SAME:
        raise ArgumentError(
            where="knife_step_mm",
            rule="must be whole micrometres",
            value=rules.knife_step_mm,
            mend="Give the pitch of the knife scale to three decimals.",
        )
    if rules.most_cross_cuts < 0:
        raise ArgumentError(
            where="most_cross_cuts",
            rule="must not be negative",
            value=rules.most_cross_cuts,
            mend="Give 0 for one knife layout over the whole roll.",
        )


def _at_least(value: float, least: float, *, where: str, above: bool = False) -> None:
    if math.isfinite(value) and (value > least or (value == least and not above)):
        return
    rule = f"must be finite and {'greater than' if above else 'at least'} {least:g}"
    raise ArgumentError(where=where, rule=rule, value=value, mend="Check the number and its unit.")
