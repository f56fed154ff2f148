"""What may be asked of the slitter: widths and rules that make sense before anything is planned."""

import math
from dataclasses import dataclass
from typing import Final

from wideroll.errors import ArgumentError
from wideroll.roll import Extent
from wideroll.slitting.model import (
    Avoid,
    ByLength,
    ByMetre,
    CountLimit,
    CrossCutAt,
    CutRules,
    KnifeAt,
    SlitWidth,
    Spliced,
    Wish,
    WithoutWidth,
)

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
    counts: tuple[CountLimit, ...] = ()
    wishes: tuple[Wish, ...] = ()

    @property
    def least_m(self) -> float:
        """The least length of film by the metre, with a nanometre's grace for rounding; a piece always has length."""
        return max(self.rules.least_piece_m - _SAME_M, _SAME_M)

    def useful_m(self, width: SlitWidth) -> float:
        """The shortest clean length from which this width could take anything."""
        finish = width.finish
        if isinstance(finish, ByMetre):
            return self.least_m
        if isinstance(finish, ByLength):
            return min(one.length_m for one in finish.lengths) - _SAME_M
        part = finish.least_between_m if finish.most_splices else finish.length_m
        return max(min(part, finish.length_m) - _SAME_M, _SAME_M)


def check_request(request: Request) -> None:
    """Refuse a request that no slitter could be set to.

    Raises:
        ArgumentError: naming the width, rule, limit or wish, and the mend.
    """
    whole, widths, rules = request.whole, request.widths, request.rules
    if whole.area_m2 <= 0.0:
        raise ArgumentError(where="whole", rule="must have area", value=whole, mend="Give the wound roll's extent.")
    if not widths:
        raise ArgumentError(where="widths", rule="at least one", value=(), mend="Name a width that finishing can use.")
    for width in widths:
        _check_width(width)
    _check_once("widths", [width.name for width in widths])
    _check_once("counts", [limit.name for limit in request.counts])
    for limit in request.counts:
        if limit.most < 0:
            raise ArgumentError(
                where=f"count limit {limit.name}: most",
                rule="must not be negative",
                value=limit.most,
                mend="Give 0 where no such mark is allowed.",
            )
    _check_rules(rules)
    _check_fit(request)
    for wish in request.wishes:
        _check_wish(wish, request)


def _check_fit(request: Request) -> None:
    web_mm, trim_mm = request.whole.width_mm, request.rules.edge_trim_mm
    usable_mm = web_mm - 2.0 * trim_mm
    if min(width.width_mm for width in request.widths) <= usable_mm + _SAME:
        return
    left = f"in the {usable_mm:g} mm between the edge trims"
    if usable_mm <= _SAME:
        left = f"between the edge trims of {trim_mm:g} mm, which leave nothing of a web of {web_mm:g} mm"
    raise ArgumentError(
        where="widths",
        rule=f"at least one must fit {left}",
        value=tuple(width.width_mm for width in request.widths),
        mend="Check the units of the widths, the web's width and the edge trim.",
    )


def _check_once(where: str, names: list[str]) -> None:
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise ArgumentError(where=where, rule="each name only once", value=twice, mend="Rename one of them.")


def _check_wish(wish: Wish, request: Request) -> None:
    whole = request.whole
    if isinstance(wish, KnifeAt) and not math.isfinite(wish.across_mm):
        raise ArgumentError(
            where=f"wish: a knife at {wish.across_mm:g} mm",
            rule="must stand at a finite place",
            value=wish.across_mm,
            mend="Give it in millimetres.",
        )
    if isinstance(wish, CrossCutAt) and not whole.along_from_m < wish.along_m < whole.along_to_m:
        raise ArgumentError(
            where=f"wish: a cross-cut at {wish.along_m:g} m",
            rule=f"must lie inside the roll ({whole.along_from_m:g} to {whole.along_to_m:g} m)",
            value=f"{wish.along_m:g} m",
            mend="Give it in coated metres from the head.",
        )
    if isinstance(wish, WithoutWidth) and wish.name not in {width.name for width in request.widths}:
        raise ArgumentError(
            where=f"wish: no lane of {wish.name}",
            rule=f"must be one of the widths {', '.join(width.name for width in request.widths)}",
            value=wish.name,
            mend="Name the width as the product does.",
        )


def _check_width(width: SlitWidth) -> None:
    where = f"width {width.name}"
    _at_least(width.width_mm, 0.0, where=f"{where}: width_mm", above=True)
    _at_least(width.tolerance_mm, 0.0, where=f"{where}: tolerance_mm")
    if not width.tolerance_mm < width.width_mm:
        raise ArgumentError(
            where=f"{where}: tolerance_mm",
            rule=f"must be less than the width ({width.width_mm:g} mm)",
            value=width.tolerance_mm,
            mend="Check its unit.",
        )
    off_um = abs(width.width_mm * _UM_PER_MM - round(width.width_mm * _UM_PER_MM))
    if off_um > max(_SAME, width.tolerance_mm * _UM_PER_MM):
        raise ArgumentError(
            where=f"{where}: width_mm",
            rule="must be whole micrometres, or within its tolerance of that",
            value=width.width_mm,
            mend="Give the width to three decimals, or its tolerance.",
        )
    finish = width.finish
    if isinstance(finish, ByMetre):
        _check_values(where, "value_per_m", finish.value_per_m, "second_per_m", finish.second_per_m)
    elif isinstance(finish, ByLength):
        _check_lengths(where, finish)
    else:
        _check_spliced(where, finish)


def _check_values(where: str, first: str, value: float, second: str, second_value: float) -> None:
    _at_least(value, 0.0, where=f"{where}: {first}")
    _at_least(second_value, 0.0, where=f"{where}: {second}")
    if second_value > value:
        raise ArgumentError(
            where=f"{where}: {second}",
            rule=f"second quality must not be worth more than first ({value:g})",
            value=second_value,
            mend="Change the two values, or lower the second.",
        )


def _check_lengths(where: str, finish: ByLength) -> None:
    if not finish.lengths:
        raise ArgumentError(
            where=f"{where}: lengths",
            rule="at least one",
            value=(),
            mend="Give a finished length, or sell by the metre.",
        )
    for one in finish.lengths:
        _at_least(one.length_m, 0.0, where=f"{where}: length_m", above=True)
        _check_values(f"{where}, {one.length_m:g} m", "value", one.value, "second_value", one.second_value)
    _check_once(f"{where}: lengths", [f"{one.length_m:g} m" for one in finish.lengths])


def _check_spliced(where: str, finish: Spliced) -> None:
    _at_least(finish.length_m, 0.0, where=f"{where}: length_m", above=True)
    _at_least(finish.value, 0.0, where=f"{where}: value")
    _at_least(finish.loss_per_splice, 0.0, where=f"{where}: loss_per_splice")
    if finish.most_splices < 0:
        raise ArgumentError(
            where=f"{where}: most_splices",
            rule="must not be negative",
            value=finish.most_splices,
            mend="Give 0 where no splice is allowed.",
        )
    _at_least(finish.least_between_m, 0.0, where=f"{where}: least_between_m", above=finish.most_splices > 0)


def _check_rules(rules: CutRules) -> None:
    _at_least(rules.knife_step_mm, 0.0, where="knife_step_mm", above=True)
    for name in (
        "edge_trim_mm",
        "trim_between_mm",
        "least_strip_mm",
        "least_piece_m",
        "setup_m",
        "setup_minutes",
        "stop_minutes",
    ):
        _at_least(getattr(rules, name), 0.0, where=name)
    for name in ("value_per_minute", "core_diameter_mm", "thickness_mm"):
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
    _check_winding(rules)


def _check_winding(rules: CutRules) -> None:
    if not rules.most_run_m > 0.0:
        raise ArgumentError(
            where="most_run_m", rule="must be greater than 0", value=rules.most_run_m, mend="Leave it out for no limit."
        )
    if math.isfinite(rules.most_diameter_mm) and not rules.thickness_mm > 0.0:
        raise ArgumentError(
            where="thickness_mm",
            rule="must be greater than 0 where most_diameter_mm limits a run",
            value=rules.thickness_mm,
            mend="Give the film's thickness, or limit runs by their length.",
        )
    if not rules.core_diameter_mm < rules.most_diameter_mm:
        raise ArgumentError(
            where="most_diameter_mm",
            rule=f"must be greater than the core's diameter ({rules.core_diameter_mm:g} mm)",
            value=rules.most_diameter_mm,
            mend="Give the diameters of the bare core and of the fullest roll.",
        )


def _at_least(value: float, least: float, *, where: str, above: bool = False) -> None:
    if math.isfinite(value) and (value > least or (value == least and not above)):
        return
    rule = f"must be finite and {'greater than' if above else 'at least'} {least:g}"
    raise ArgumentError(where=where, rule=rule, value=value, mend="Check the number and its unit.")
