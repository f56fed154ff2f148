"""A cut in sentences: what it keeps and how sure that is the most, its knife sets and wishes."""

from typing import Final

from wideroll.report.cut_head import METRIC, CutUnits
from wideroll.report.cut_places import knife_sets
from wideroll.report.quantities import decimals_for, show_count, show_number, show_share
from wideroll.slitting.model import CrossCutAt, CutPlan, KnifeAt, Quality, Wish

__all__ = ["datum_sentence", "kept_sentence", "proof_words", "wish_words", "work_sentence", "worth_sentence"]

_SIGNIFICANT: Final = 4


def datum_sentence(datum_edge: str) -> str:
    """From which edge the knives are measured, and that the edge stays while the web's direction turns round."""
    return (
        f"Across is measured from the datum edge ({datum_edge} at the coater). The slitter unwinds the tail first: "
        "this is still the same edge of the film, but with the same face up and looking the way the web now runs it "
        "lies on the other hand. Find the edge on the film, not by the side of the machine."
    )


def wish_words(wish: Wish, units: CutUnits = METRIC) -> str:
    """A wish as it was made.

    Example:
        >>> wish_words(KnifeAt(across_mm=612.5)), wish_words(CrossCutAt(along_m=120.0))
        ('a knife at 612.500 mm', 'a cross-cut at coated 120.00 m')
    """
    if isinstance(wish, KnifeAt):
        return f"a knife at {units.show_across(wish.across_mm)} {units.across}"
    if isinstance(wish, CrossCutAt):
        return f"a cross-cut at coated {units.show_along(wish.along_m)} {units.along}"
    return f"no lane of {wish.name}"


def proof_words(plan: CutPlan) -> str:
    """Whether the plan is proven best, or how much better another one could at most be."""
    if plan.optimal:
        return "proven best for its knife step and cross-cut candidates"
    if plan.bound <= plan.net:
        return "chosen together with the other rolls of the order book, whose gap says how far from the best it may be"
    bound = show_number(plan.bound, decimals_for([plan.bound], significant=4))
    far = f", {show_share((plan.bound - plan.net) / plan.bound)} more" if plan.bound > 0.0 else ""
    left = f"; {show_count(plan.left_out, 'place')} for setting the knives anew left untried" if plan.left_out else ""
    return f"no cut under the same rules can be worth more than {bound}{far}{left}"


def kept_sentence(plan: CutPlan) -> str:
    """How many pieces, how much of the web, and what they are worth."""
    if not plan.pieces:
        return "No piece can be cut from this roll."
    kept = sum(piece.extent.area_m2 for piece in plan.pieces) / plan.whole.area_m2
    pieces = "1 piece keeps" if len(plan.pieces) == 1 else f"{len(plan.pieces)} pieces keep"
    return f"{pieces} {show_share(kept)} of the web, worth {show_number(plan.value, 0)}; {proof_words(plan)}."


def worth_sentence(plan: CutPlan) -> str:
    """Value, cost of the slitter's time and net, and how sure that is the most."""
    decimals = decimals_for([plan.value], significant=_SIGNIFICANT)
    value, cost, net = (show_number(one, decimals) for one in (plan.value, plan.cost, plan.net))
    minutes = f" ({show_number(plan.minutes, 0)} minutes)" if plan.minutes else ""
    less = f" less {cost} for the slitter's time{minutes} is net {net}" if plan.cost else ""
    return f"Value {value}{less}; {proof_words(plan)}."


def work_sentence(plan: CutPlan) -> str:
    """What the slitter does: finished rolls, knife sets, stops and minutes."""
    sets = knife_sets(plan)
    rolls = show_count(len(plan.rolls) or len(plan.pieces), "finished roll")
    second = sum(roll.quality is Quality.SECOND for roll in plan.rolls)
    spliced = sum(roll.splices > 0 for roll in plan.rolls)
    kinds = [f"{spliced} spliced"] * (spliced > 0) + [f"{second} of second quality"] * (second > 0)
    of_them = f" ({', '.join(kinds)})" if kinds else ""
    stops = sum(len(one.stops_m) for one in sets)
    minutes = f"; about {show_number(plan.minutes, 0)} minutes for knives and stops" if plan.minutes else ""
    halts = f" and {show_count(stops, 'stop')}" if stops else ""
    return (
        f"{rolls}{of_them} in {show_count(len(plan.pieces), 'piece')}, "
        f"with {show_count(len(sets), 'knife set')}{halts}{minutes}."
    )
