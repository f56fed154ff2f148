"""The command that shows the cut, and what it costs to want it otherwise."""

from pathlib import Path
from typing import Annotated, Final

import typer

from wideroll.acts.cutting import check_cut_orders, currency_of, plan_what_if, write_what_if
from wideroll.acts.deciding import Decided, decide_roll
from wideroll.acts.order_lists import orders_digest
from wideroll.acts.rolls import RollInHand, take_in_hand
from wideroll.acts.sealing import cut_event
from wideroll.acts.what_if import AskedWishes, read_wishes
from wideroll.cli.app import app
from wideroll.cli.console import print_json, print_table, say, tell
from wideroll.cli.deciding import EXIT_OF
from wideroll.cli.options import Json, PlantArg, RollArg, Who, misused
from wideroll.cli.waiting import waiting
from wideroll.release import Verdict
from wideroll.report import cut_json, cut_table, rich_table, units_of
from wideroll.report.book_grids import fill_words
from wideroll.report.cut_words import CAUTION, work_sentence, worth_sentence
from wideroll.report.cut_yield import losses_grid, wishes_grid, yield_grid
from wideroll.report.knife_grids import all_knives_grid
from wideroll.slitting import CutPlan, fill_orders
from wideroll.store import read_json

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
    asked = read_wishes(knife_at or (), cross_cut_at or (), without_width or ())
    if write is not None and not asked.wishes:
        raise misused(_ONLY_A_WISH, "--write")
    hand = take_in_hand(plant, roll)
    check_cut_orders(hand)
    with waiting(f"{roll}: deciding first, as that wasn't done or is stale", alone=False):
        done = decide_roll(hand, who=who)
    if done.plan is None:
        _show_nothing(done, roll, as_json=as_json)
    elif asked.wishes:
        _what_if(hand, done.plan, asked, write=write, as_json=as_json)
    elif as_json:
        print_json(read_json(done.folder / "cut.json"))
    else:
        _show(hand, done, done.plan)
    raise typer.Exit(EXIT_OF[done.decision.verdict])


def _show_nothing(done: Decided, roll: str, *, as_json: bool) -> None:
    if as_json:
        print_json(read_json(done.folder / "cut.json"))
    else:
        say(f"{roll} is rejected: there is nothing to cut.")


def _show(hand: RollInHand, done: Decided, plan: CutPlan) -> None:
    if done.decision.verdict is Verdict.HOLD:
        say("Provisional: the roll is on hold. Parts on hold are left out of the plan.")
    event = cut_event(hand) if plan.of_book else None
    if event is not None:
        say(f"Planned for the order book, recorded by {event.who} on {event.when_utc[:10]} (event {event.number}).")
        if event.body.get("orders") != orders_digest(hand.root):
            tell("orders.toml has changed since; `wideroll orders --record` plans anew.")
    _show_plan(hand, plan)
    say(f"cut list: {done.folder / 'cut.html'}; for machines cut.csv and cut.json beside it")


def _show_plan(hand: RollInHand, plan: CutPlan) -> None:
    units, currency = units_of(hand.desk.plant.shop_units), currency_of(hand)
    say(CAUTION)
    print_table(rich_table(all_knives_grid(plan, units)))
    print_table(cut_table(plan, units))
    print_table(rich_table(yield_grid(plan, units, currency)))
    print_table(rich_table(losses_grid(plan, units)))
    say(work_sentence(plan))
    say(worth_sentence(plan, currency))
    for fill in fill_orders(plan, hand.orders):
        say(fill_words(fill, plan, units))


def _what_if(hand: RollInHand, recorded: CutPlan, asked: AskedWishes, *, write: Path | None, as_json: bool) -> None:
    """Plan again from what the recorded plan was made from; nothing that is recorded changes.

    Raises:
        ArgumentError: naming the wish that can't be met.
    """
    with waiting(f"planning the cut of {hand.desk.card.name} with the wishes and without"):
        found = plan_what_if(hand, recorded, asked)
    plan, head, prices = found.plan, found.head, found.prices
    if as_json:
        print_json(cut_json(plan, head, prices))
    else:
        say("What-if: this isn't the recorded plan, which stays as it is.")
        _show_plan(hand, plan)
        print_table(rich_table(wishes_grid(prices, head.units, head.asked)))
    if write is not None:
        write_what_if(write, found)
        tell(f"what-if: {write / 'what-if.html'}, what-if.csv and what-if.json")
