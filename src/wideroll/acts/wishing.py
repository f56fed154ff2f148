"""Wishes for the cut of a decided roll, asked for from a page: the answer as plain values, nothing changed."""

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from wideroll.acts.cutting import WhatIf, plan_what_if
from wideroll.acts.deciding import Planned
from wideroll.acts.rolls import RollInHand, take_in_hand
from wideroll.acts.what_if import AskedWishes
from wideroll.errors import InputError
from wideroll.report import cut_json, cut_list_csv, render_cut_sheet
from wideroll.report.cut_compare import beside_grid, cost_sentence, losses_beside_grid, yields_beside_grid
from wideroll.report.cut_picture import cut_caption, draw_cut
from wideroll.report.cut_yield import wishes_grid
from wideroll.report.grid_json import figure_json, grid_json
from wideroll.report.page import PageFigure
from wideroll.report.svg import slug
from wideroll.slitting import CutPlan

__all__ = ["WishAnswer", "answer_wishes", "wish_csv", "wish_sheet"]


@dataclass(frozen=True, slots=True, kw_only=True)
class WishAnswer:
    """What wishes cost against the cut that stands.

    Args:
        sentence: the cost, in words.
        tables: by name, as ``report.grid_json`` gives them: ``costs``, ``beside``, ``yields``, ``losses``.
        figure: of the cut with the wishes, as ``report.grid_json.figure_json`` gives it.
        svg: its picture.
        document: ``wideroll/cut/2``, marked as a what-if.
        found: the plan itself, for its list and its sheet.
    """

    sentence: str
    tables: dict[str, Any]
    figure: dict[str, Any]
    svg: str
    document: dict[str, Any]
    found: WhatIf


def answer_wishes(root: Path, roll: str, fingerprint: str, asked: AskedWishes) -> WishAnswer:
    """Plan again with the wishes, from what the cut that stands was made from; that stays as it is.

    Args:
        root: the plant's folder.
        roll: its name.
        fingerprint: of the decision that was looked at.
        asked: of ``read_wishes``.

    Raises:
        ArgumentError: naming the wish that can't be met.
        InputError: when the roll isn't decided on its evidence as it is now, or nothing of it is cut.
    """
    hand = take_in_hand(root, roll)
    standing = _standing(hand, fingerprint)
    found = plan_what_if(hand, standing, asked)
    plan, head, prices = found.plan, found.head, found.prices
    units, currency = head.units, head.currency
    picture = PageFigure(
        svg=draw_cut(plan, head, key=f"wish-{slug(roll)}"),
        caption=f"{cost_sentence(prices, units, currency, head.asked)} {cut_caption(plan, currency)}",
    )
    tables = {
        "costs": wishes_grid(prices, units, head.asked),
        "beside": beside_grid(standing, plan, units, currency),
        "yields": yields_beside_grid(standing, plan, units, currency),
        "losses": losses_beside_grid(standing, plan, units),
    }
    return WishAnswer(
        sentence=cost_sentence(prices, units, currency, head.asked),
        tables={name: grid_json(grid) for name, grid in tables.items()},
        figure=figure_json(picture, "wish.svg", "cut with the wishes"),
        svg=picture.svg,
        document=cut_json(plan, head, prices),
        found=found,
    )


def wish_csv(answer: WishAnswer) -> str:
    """The cut list with the wishes; each line says that it isn't the recorded one.

    Args:
        answer: of ``answer_wishes``.
    """
    return cut_list_csv(answer.found.plan, answer.found.head)


def wish_sheet(answer: WishAnswer) -> str:
    """The sheet of the cut with the wishes, marked as not to be slit by.

    Args:
        answer: of ``answer_wishes``.
    """
    return render_cut_sheet(answer.found.plan, answer.found.head, answer.found.prices)


def _standing(hand: RollInHand, fingerprint: str) -> CutPlan:
    planned = hand.results.load("state/plan", Planned, hand.fingerprint)
    if planned is None or hand.fingerprint != fingerprint:
        raise InputError(
            where=f"roll {hand.desk.card.name}",
            rule="wishes are priced against a cut of the evidence as it is now; it changed since the decision",
            mend="Decide the roll again, then ask for the wish.",
        )
    if planned.plan is None or not planned.plan.pieces:
        raise InputError(
            where=f"roll {hand.desk.card.name}",
            rule="wishes need a cut to be priced against; nothing of this roll is cut",
            mend="See the decision: why nothing of it can be sold.",
        )
    return planned.plan
