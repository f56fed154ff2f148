"""What the order book asks of several wide rolls, and the cut of all of them that serves it."""

import math
from dataclasses import dataclass
from enum import StrEnum

from wideroll.roll import Extent
from wideroll.slitting.model import Avoid, CountLimit, CutPlan, Order, Wish

__all__ = ["BookFill", "BookPlan", "BookTerms", "OverMade", "RollOfOrder", "ShortReason", "WideRoll"]


@dataclass(frozen=True, slots=True, kw_only=True)
class WideRoll:
    """A roll that waits for the slitter, with what to avoid on it and the day it is to be slit.

    With ``day`` empty it is in time for every order; else a day as 2026-12-24.
    """

    name: str
    whole: Extent
    avoid: tuple[Avoid, ...] = ()
    counts: tuple[CountLimit, ...] = ()
    wishes: tuple[Wish, ...] = ()
    day: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class BookTerms:
    """What failing an order costs, as a share of the value of its finished rolls, and how long to search."""

    late_share: float = 0.25
    """Of the value of a finished roll that is slit after the order's day."""
    short_share: float = 0.5
    """Of the value of a finished roll that is never made, on top of the value not earned."""
    over_share: float = 0.5
    """Of the ordinary value of a finished roll of an ordered kind that no order is left for."""
    gap: float = 0.01
    """The search ends when the film could earn no more than this share above the plan found."""
    seconds: float = 60.0
    """Time limit of the solver; where it is reached, ``timed_out`` says so."""
    rounds: int = 60
    """How often every kind of roll is priced at most."""


class ShortReason(StrEnum):
    """Why an order isn't filled."""

    NO_ROOM = "no-room"
    """Its width fits between the edge trims of no roll, or wishes forbid it on all of them."""
    NO_LENGTH = "no-length"
    """No clean stretch is long enough for one of its finished rolls."""
    NO_FILM = "no-film"
    """All rolls together can't give so many, even if nothing else were cut."""
    TOO_LATE = "too-late"
    """The rolls slit in time can't give so many, and late ones were worth more elsewhere or could not either."""
    OTHERS_FIRST = "others-first"
    """Enough could be made, but the film is worth more in other orders, or in film sold without one."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RollOfOrder:
    """A finished roll that fills an order: the wide roll it comes from and its number there."""

    wide_roll: str
    number: str
    late: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class BookFill:
    """What fills an order; where it stays short, why, and the most that could be made were it the only one."""

    order: Order
    rolls: tuple[RollOfOrder, ...]
    most: int | None = None
    """None where the order is filled: then nobody asked."""
    reason: ShortReason | None = None

    @property
    def late(self) -> int:
        """Finished rolls that come after the order's day."""
        return sum(roll.late for roll in self.rolls)

    @property
    def on_time(self) -> int:
        """Finished rolls that come in time."""
        return len(self.rolls) - self.late

    @property
    def short(self) -> int:
        """Finished rolls still wanted."""
        return self.order.quantity - len(self.rolls)


@dataclass(frozen=True, slots=True, kw_only=True)
class OverMade:
    """Finished rolls of an ordered kind that no order is left for."""

    width: str
    length_m: float
    quantity: int


@dataclass(frozen=True, slots=True, kw_only=True)
class BookPlan:
    """The cut of each roll, what fills which order, and proof of how good it is.

    ``plans`` are in the sequence of the rolls asked for; in them a finished roll is worth what it earns in the book.
    ``value`` is their net value less what short orders cost. ``bound`` is a value that no plan can exceed for the
    knife step and the places tried for setting the knives anew; ``bound_anywhere`` none wherever they are set.
    """

    plans: tuple[tuple[str, CutPlan], ...]
    fills: tuple[BookFill, ...]
    over: tuple[OverMade, ...]
    value: float
    bound: float
    bound_anywhere: float
    rounds: int
    timed_out: bool
    terms: BookTerms

    @property
    def film(self) -> float:
        """Net value of the plans: what the finished rolls earn less what the slitter's time costs."""
        return math.fsum(plan.net for _, plan in self.plans)

    @property
    def short_cost(self) -> float:
        """What short orders cost."""
        return math.fsum(fill.short * fill.order.value * self.terms.short_share for fill in self.fills)

    @property
    def gap(self) -> float:
        """How much more than ``value`` any plan can be worth at most, as a share of what its film could then earn.

        What short orders cost is left out of the share: it would say nothing where many can't be filled.
        """
        missing = max(self.bound - self.value, 0.0)
        return missing / (max(self.film, 0.0) + missing) if missing else 0.0
