"""A cut in sentences: what it keeps and how sure that is the most, its knife sets and wishes."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from wideroll.report.cut_head import METRIC, CutHead, CutUnits
from wideroll.report.cut_places import knife_sets
from wideroll.report.quantities import decimals_for, show_count, show_number, show_share
from wideroll.slitting.model import CrossCutAt, CutPlan, KnifeAt, Quality, Wish

__all__ = [
    "CAUTION",
    "SLITTER_ZERO",
    "datum_sentence",
    "kept_sentence",
    "label_words",
    "proof_words",
    "rewinding_words",
    "value_words",
    "wish_words",
    "work_sentence",
    "worth_sentence",
]

CAUTION: Final = (
    "Caution: moving web, nips, and knives that run down. Guards shut; stop and lock out before setting a knife, "
    "threading or taking off a roll. Raw film: no lit page or screen in the dark room. Site procedure rules."
)
SLITTER_ZERO: Final = (
    "Slitter 0 assumes that none of the web is lost in threading. Splice a leader to the tail for that. Else begin "
    "with the counter at what was lost: the piece at the tail of each lane is then so much shorter."
)
_NOTHING: Final = "No piece can be cut from this roll."
_SIGNIFICANT: Final = 4
_AS_PLANNED: Final[Mapping[Wish, str]] = MappingProxyType({})


def datum_sentence(datum_edge: str) -> str:
    """From which edge the knives are measured, and that the edge stays while the web's direction turns round."""
    return (
        f"Across is measured from the datum edge ({datum_edge} at the coater). The slitter unwinds the tail first: "
        "this is still the same edge of the film, but with the same face up and looking the way the web now runs it "
        "lies on the other hand. Find the edge on the film, not by the side of the machine."
    )


def label_words(head: CutHead) -> str:
    """How labels are read, and from where places count."""
    return (
        f"Labels read {head.label('number')}: from one the place on the wide roll can be found. Below, “{head.roll}/” "
        "is left out, and “003-lane” stands for 003 and the lane of each: lane 07 gives 003-07. Slitter places count "
        "from 0 where the tail comes off; coated places from the head."
    )


def rewinding_words(*, spliced: bool) -> str:
    """In which order wound lanes come apart at the rewinder.

    Args:
        spliced: whether any finished roll is.
    """
    order = (
        " Of a spliced roll the last part comes off first; where parts lie in two runs of a set, rewind the later run "
        "first."
    )
    return (
        "The slitter winds each lane whole; the lanes are parted into pieces here. What was slit last lies outermost: "
        "unwound from its loose end, a lane comes off from the end of its run back to the start, head side first. Set "
        "the counter to 0 at the loose end of each wound lane. Each line begins where the one before it ended; "
        f"“062-lane” stands for 062 and the lane’s own number.{order if spliced else ''}"
    )


def wish_words(wish: Wish, units: CutUnits = METRIC, asked: Mapping[Wish, str] = _AS_PLANNED) -> str:
    """A wish as it was made.

    Args:
        wish: it.
        units: of the shop.
        asked: places as they were written, where that was in other units.

    Example:
        >>> wish_words(KnifeAt(across_mm=612.5)), wish_words(CrossCutAt(along_m=120.0))
        ('a knife at 612.500 mm', 'a cross-cut at coated 120.00 m')
        >>> wish = KnifeAt(across_mm=612.775)
        >>> wish_words(wish, asked={wish: "24 1/8 in"})
        'a knife at 24 1/8 in (612.775 mm)'
    """
    if not isinstance(wish, KnifeAt | CrossCutAt):
        return f"no lane of {wish.name}"
    if isinstance(wish, KnifeAt):
        what, place = "a knife at", f"{units.show_across(wish.across_mm)} {units.across}"
    else:
        what, place = "a cross-cut at coated", f"{units.show_along(wish.along_m)} {units.along}"
    return f"{what} {asked[wish]} ({place})" if wish in asked else f"{what} {place}"


def proof_words(plan: CutPlan) -> str:
    """Whether the plan is proven best, or how much better another one could at most be."""
    if plan.optimal:
        return "proven best of the places tried for knives and cross-cuts"
    if plan.bound is None:
        return "chosen together with the other rolls of the order book, whose gap says how far from the best it may be"
    bound = show_number(plan.bound, decimals_for([plan.bound], significant=_SIGNIFICANT))
    share = (plan.bound - plan.net) / plan.bound if plan.bound > 0.0 else 0.0
    far = f": at most {show_share(share)} of that is missed" if share > 0.0 else ""
    left = f"; {show_count(plan.left_out, 'place')} for setting the knives anew left untried" if plan.left_out else ""
    return f"no cut under the same rules can net more than {bound}{far}{left}"


def value_words(value: float, decimals: int, currency: str = "") -> str:
    """A value in its currency, where it has one.

    Example:
        >>> value_words(1772.8, 0), value_words(1772.8, 1, "cost units")
        ('1773', '1772.8 cost units')
    """
    return f"{show_number(value, decimals)} {currency}".rstrip()


def kept_sentence(plan: CutPlan, currency: str = "") -> str:
    """How many pieces, how much of the web, and what they are worth, before and after the slitter's time."""
    if not plan.pieces:
        return _NOTHING
    kept = sum(piece.extent.area_m2 for piece in plan.pieces) / plan.whole.area_m2
    pieces = "1 piece keeps" if len(plan.pieces) == 1 else f"{len(plan.pieces)} pieces keep"
    decimals = decimals_for([plan.value], significant=_SIGNIFICANT)
    worth = value_words(plan.value, decimals, currency)
    net = f" (net of the slitter's time {show_number(plan.net, decimals)})" if plan.cost else ""
    return f"{pieces} {show_share(kept)} of the web, worth {worth}{net}; {proof_words(plan)}."


def worth_sentence(plan: CutPlan, currency: str = "") -> str:
    """Value, cost of the slitter's time and net, and how sure that is the most."""
    decimals = decimals_for([plan.value], significant=_SIGNIFICANT)
    value, cost = value_words(plan.value, decimals, currency), show_number(plan.cost, decimals)
    minutes = f" ({show_number(plan.minutes, 0)} minutes)" if plan.minutes else ""
    net = show_number(round(plan.value, decimals) - round(plan.cost, decimals), decimals)
    less = f" less {cost} for the slitter's time{minutes} is net {net}" if plan.cost else ""
    return f"Value {value}{less}; {proof_words(plan)}."


def work_sentence(plan: CutPlan) -> str:
    """What the slitter does: finished rolls, knife sets, stops and minutes."""
    if not plan.pieces:
        return _NOTHING
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
