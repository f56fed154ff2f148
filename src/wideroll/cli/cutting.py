"""The command that shows the cut, and what it costs to want it otherwise."""

from collections.abc import Sequence
from pathlib import Path
from typing import Annotated, Final

import typer

from wideroll.cli.app import app
from wideroll.cli.console import print_json, print_table, say, tell
from wideroll.cli.deciding import EXIT_OF, Decided, decide_roll
from wideroll.cli.options import Json, PlantArg, RollArg, Who, misused
from wideroll.cli.rolls import RollInHand, take_in_hand
from wideroll.errors import ArgumentError
from wideroll.release import Verdict
from wideroll.report import (
    CutHead,
    CutStatus,
    cut_json,
    cut_list_csv,
    cut_table,
    render_cut_sheet,
    rich_table,
    units_of,
)
from wideroll.report.cut_words import work_sentence, worth_sentence
from wideroll.report.cut_yield import losses_grid, wishes_grid, yield_grid
from wideroll.roll import parse_length
from wideroll.slitting import CrossCutAt, CutPlan, KnifeAt, Wish, WithoutWidth, fill_orders, plan_cut
from wideroll.slitting.wishes import WishPrice, price_wishes
from wideroll.store import read_json, write_json, write_whole

__all__ = ["cut"]

_ONLY_A_WISH: Final = "goes with a wish; the recorded cut list lies in the roll's results"
_KNIFE: Final = "What if a knife stood here from the datum edge, like 612.5mm or '24 1/8 in'; may be repeated."
_CROSS_CUT: Final = "What if the web were cut across here, in coated length from the head; may be repeated."
_WITHOUT: Final = "What if no lane had this width; may be repeated."
_WRITE: Final = "Write the what-if's list and sheet to this folder; the recorded ones stay as they are."


@app.command()
def cut(
    plant: PlantArg,
    roll: RollArg,
    *,
    knife_at: Annotated[list[str] | None, typer.Option(metavar="LENGTH", help=_KNIFE)] = None,
    cross_cut_at: Annotated[list[str] | None, typer.Option(metavar="LENGTH", help=_CROSS_CUT)] = None,
    without_width: Annotated[list[str] | None, typer.Option(metavar="NAME", help=_WITHOUT)] = None,
    write: Annotated[Path | None, typer.Option(metavar="FOLDER", help=_WRITE)] = None,
    who: Who = None,
    as_json: Json = False,
) -> None:
    """Plan the cut that keeps the most good film, from the decision; decides first where that is stale.

    \b
    Examples:
      wideroll cut demo W-2042
      wideroll cut demo W-2042 --knife-at 612.5mm    what if, and what the wish costs

    Exit code: as of decide; the plan for a roll on hold is provisional.
    """
    wishes = _wishes(knife_at or (), cross_cut_at or (), without_width or ())
    if write is not None and not wishes:
        raise misused(_ONLY_A_WISH, "--write")
    hand = take_in_hand(plant, roll)
    done = decide_roll(hand, who=who)
    if done.plan is None:
        _show_nothing(done, roll, as_json=as_json)
    elif wishes:
        _what_if(hand, done.plan, wishes, write=write, as_json=as_json)
    elif as_json:
        print_json(read_json(done.folder / "cut.json"))
    else:
        _show(hand, done, done.plan)
    raise typer.Exit(EXIT_OF[done.decision.verdict])


def _wishes(knives: Sequence[str], cross_cuts: Sequence[str], widths: Sequence[str]) -> tuple[Wish, ...]:
    """What the options ask for.

    Raises:
        InputError: when a length can't be read.
    """
    return (
        *(KnifeAt(across_mm=float(parse_length(text, where="--knife-at").mm)) for text in knives),
        *(CrossCutAt(along_m=float(parse_length(text, where="--cross-cut-at").m)) for text in cross_cuts),
        *(WithoutWidth(name=name) for name in widths),
    )


def _show_nothing(done: Decided, roll: str, *, as_json: bool) -> None:
    if as_json:
        print_json(read_json(done.folder / "cut.json"))
    else:
        say(f"{roll} is rejected: there is nothing to cut.")


def _show(hand: RollInHand, done: Decided, plan: CutPlan) -> None:
    if done.decision.verdict is Verdict.HOLD:
        say("Provisional: the roll is on hold. Parts on hold are left out of the plan.")
    _show_plan(hand, plan)
    say(f"cut list: {done.folder / 'cut.html'}; for machines cut.csv and cut.json beside it")


def _show_plan(hand: RollInHand, plan: CutPlan) -> None:
    units = units_of(hand.desk.plant.shop_units)
    print_table(cut_table(plan, units))
    print_table(rich_table(yield_grid(plan, units)))
    print_table(rich_table(losses_grid(plan, units)))
    say(work_sentence(plan))
    say(worth_sentence(plan))
    for fill in fill_orders(plan, hand.orders):
        order = fill.order
        say(
            f"order {order.number}: {fill.filled} of {order.quantity} rolls of {order.width} × "
            f"{units.show_along(order.length_m)} {units.along}; "
            f"{fill.short} still wanted"
        )


def _what_if(hand: RollInHand, recorded: CutPlan, wishes: Sequence[Wish], *, write: Path | None, as_json: bool) -> None:
    """Plan again from what the recorded plan was made from; nothing that is recorded changes.

    Raises:
        ArgumentError: naming the wish that can't be met.
    """
    _check_widths(recorded, wishes)
    plan = plan_cut(
        recorded.whole,
        avoid=recorded.avoid,
        widths=recorded.widths,
        rules=recorded.rules,
        counts=recorded.counts,
        wishes=wishes,
    )
    prices = price_wishes(
        recorded.whole,
        avoid=recorded.avoid,
        widths=recorded.widths,
        rules=recorded.rules,
        counts=recorded.counts,
        wishes=wishes,
    )
    head = CutHead(
        roll=hand.desk.card.name,
        status=CutStatus.WHAT_IF,
        product=hand.desk.product.name,
        plant=hand.desk.plant.name,
        datum_edge=hand.desk.plant.datum_edge,
        units=units_of(hand.desk.plant.shop_units),
    )
    if as_json:
        print_json(cut_json(plan, head, prices))
    else:
        say("What-if: this isn't the recorded plan, which stays as it is.")
        _show_plan(hand, plan)
        print_table(rich_table(wishes_grid(prices, head.units)))
    if write is not None:
        _write(write, plan, head, prices)


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


def _write(folder: Path, plan: CutPlan, head: CutHead, prices: Sequence[WishPrice]) -> None:
    """Under other names than the recorded list has, so that it is never taken for it nor written over it."""
    folder.mkdir(parents=True, exist_ok=True)
    write_whole(folder / "what-if.csv", cut_list_csv(plan, head).encode())
    write_whole(folder / "what-if.html", render_cut_sheet(plan, head, prices).encode())
    write_json(folder / "what-if.json", cut_json(plan, head, prices))
    tell(f"what-if: {folder / 'what-if.html'}, what-if.csv and what-if.json")
