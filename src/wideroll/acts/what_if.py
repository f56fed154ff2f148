"""Wishes as somebody wrote them, and the plan with them."""

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

from wideroll.errors import ArgumentError
from wideroll.report.cut_head import CutUnits
from wideroll.report.cut_words import wish_words
from wideroll.roll import parse_length
from wideroll.slitting import CrossCutAt, CutPlan, KnifeAt, Wish, WithoutWidth, plan_cut
from wideroll.slitting.wishes import WishPrice, price_wishes
from wideroll.slitting.wishes import wish_words as planned_words

__all__ = ["AskedWishes", "ends_at", "plan_with", "read_wishes"]

_UM_PER_MM: Final = 1000.0
_UNIT: Final = re.compile(r"[^\W\d_]+|[\"'″′]+")


@dataclass(frozen=True, slots=True, kw_only=True)
class AskedWishes:
    """Wishes, and the places of knives and cross-cuts as they were written."""

    wishes: tuple[Wish, ...]
    written: Mapping[Wish, str]

    def in_other_units(self, units: CutUnits) -> dict[Wish, str]:
        """What was written in other units than the shop's."""
        return {
            wish: text
            for wish, text in self.written.items()
            if set(_UNIT.findall(text)) != {units.across if isinstance(wish, KnifeAt) else units.along}
        }


def read_wishes(knives: Sequence[str], cross_cuts: Sequence[str], widths: Sequence[str]) -> AskedWishes:
    """What the options ask for.

    Args:
        knives: places of knives from the datum edge, as they were written.
        cross_cuts: places of cross-cuts from the head.
        widths: names of widths to do without.

    Raises:
        InputError: when a length can't be read.
    """
    written: dict[Wish, str] = {}
    for text in knives:
        written[KnifeAt(across_mm=float(parse_length(text, where="--knife-at").mm))] = text.strip()
    for text in cross_cuts:
        written[CrossCutAt(along_m=float(parse_length(text, where="--cross-cut-at").m))] = text.strip()
    return AskedWishes(wishes=(*written, *(WithoutWidth(name=name) for name in widths)), written=written)


def plan_with(recorded: CutPlan, asked: AskedWishes, units: CutUnits) -> tuple[CutPlan, tuple[WishPrice, ...]]:
    """Plan again from what the recorded plan was made from, and price the wishes.

    Args:
        recorded: the plan that stands.
        asked: of ``read_wishes``.
        units: the shop's.

    Raises:
        ArgumentError: naming the wish that can't be met as it was written, and why where that is known.
    """
    _check_widths(recorded, asked.wishes)
    whole, avoid, widths = recorded.whole, recorded.avoid, recorded.widths
    rules, counts = recorded.rules, recorded.counts
    try:
        return (
            plan_cut(whole, avoid=avoid, widths=widths, rules=rules, counts=counts, wishes=asked.wishes),
            price_wishes(whole, avoid=avoid, widths=widths, rules=rules, counts=counts, wishes=asked.wishes),
        )
    except ArgumentError as error:
        raise _in_words(error, recorded, asked, units) from error


def _check_widths(plan: CutPlan, wishes: Sequence[Wish]) -> None:
    names = [width.name for width in plan.widths]
    for wish in wishes:
        if isinstance(wish, WithoutWidth) and wish.name not in names:
            raise ArgumentError(
                where="--without-width",
                rule="must name a width of the product",
                value=wish.name,
                mend=f"Give one of {', '.join(names)}.",
            )


def _in_words(error: ArgumentError, plan: CutPlan, asked: AskedWishes, units: CutUnits) -> ArgumentError:
    words = {planned_words(wish): wish_words(wish, units, asked.in_other_units(units)) for wish in asked.wishes}

    def said(text: str) -> str:
        for planned in sorted(words, key=len, reverse=True):
            text = text.replace(planned, words[planned])
        return text

    value = said(error.value) if isinstance(error.value, str) else error.value
    mend = next(_too_near(plan, asked.wishes, units), error.mend)
    return ArgumentError(where=said(error.where), rule=said(error.rule), value=value, mend=mend)


def _too_near(plan: CutPlan, wishes: Sequence[Wish], units: CutUnits) -> Iterator[str]:
    """Of two knives with no room for a lane between them, and none that ends at the first: why there is no plan."""
    narrow = min(plan.widths, key=lambda width: width.width_mm)
    knives = sorted({wish.across_mm for wish in wishes if isinstance(wish, KnifeAt)})
    for first, then in pairwise(knives):
        if then - first < narrow.width_mm and not ends_at(plan, first):
            place, step = units.show_across(first), units.show_across(plan.rules.knife_step_mm)
            yield (
                f"Move one of the knives. A lane must begin or end at {place} {units.across}. None can begin there: to "
                f"the next knife are {units.show_across(then - first)} {units.across}, and the narrowest width, "
                f"{narrow.name}, takes {units.show_across(narrow.width_mm)}. None can end there: lanes side by side "
                f"begin on the knife step, every {step} {units.across} from the edge trim, and no row of them ends so."
            )


def ends_at(plan: CutPlan, place_mm: float) -> bool:
    """Whether lanes side by side from some place of the knife scale can end there, whatever the film is like.

    Args:
        plan: with its rules and widths.
        place_mm: from the datum edge.
    """
    rules = plan.rules
    step, trim = round(rules.knife_step_mm * _UM_PER_MM), round(rules.trim_between_mm * _UM_PER_MM)
    room = round((place_mm - plan.whole.across_from_mm - rules.edge_trim_mm) * _UM_PER_MM) + trim
    taken = [round(width.width_mm * _UM_PER_MM) + trim for width in plan.widths]
    # bit n of sums: rows of lanes, each with the trim after it, may be n micrometres wide
    sums, mask = 1, (1 << (max(room, 0) + 1)) - 1
    while True:
        more = sums
        for width in taken:
            more |= (more << width) & mask
        if more == sums:
            break
        sums = more
    return any(sums >> width & 1 for width in range(room, 0, -1) if (room - width) % step == 0)
