"""What the slitter is asked for, and the plan it gets."""

import math
from dataclasses import dataclass, field
from enum import StrEnum

from wideroll.roll import Extent

__all__ = [
    "Avoid",
    "ByLength",
    "ByMetre",
    "CountLimit",
    "CrossCutAt",
    "CutPlan",
    "CutRules",
    "Finish",
    "FinishedLength",
    "FinishedRoll",
    "KnifeAt",
    "Loss",
    "Order",
    "OrderFill",
    "Piece",
    "Quality",
    "Run",
    "SlitWidth",
    "Spliced",
    "Wish",
    "WithoutWidth",
]


class Quality(StrEnum):
    """What a piece may be sold as."""

    FIRST = "first"
    SECOND = "second"
    """It holds film that was downgraded."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ByMetre:
    """Bulk film: pieces of any length from the rules' least piece on, worth so much a metre."""

    value_per_m: float
    second_per_m: float = 0.0
    """Of a piece of second quality; with 0 none is cut."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FinishedLength:
    """A length that finished rolls have, and what one of them is worth."""

    length_m: float
    value: float
    second_value: float = 0.0
    """Of a roll of second quality; with 0 none is cut."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ByLength:
    """Finished rolls of fixed lengths, each of one piece."""

    lengths: tuple[FinishedLength, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Spliced:
    """Finished rolls of one length, of one piece or of several from one lane spliced in their order.

    Each part of a spliced roll is at least ``least_between_m`` long, so that no splice lies nearer than that to another
    one or to an end. Downgraded film is in none of them. A counted mark that two parts of one roll meet
    counts once for each.
    """

    length_m: float
    value: float
    most_splices: int
    least_between_m: float
    loss_per_splice: float = 0.0
    """What each splice takes from the roll's value."""


Finish = ByMetre | ByLength | Spliced
"""How the film of one width is sold."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SlitWidth:
    """A width that finishing can use, and how it is sold."""

    name: str
    width_mm: float
    tolerance_mm: float
    finish: Finish
    windings: int = 1
    """How often the film is wound over from the slitter until it is sold, by the rewinder included."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Avoid:
    """A part of the web that may be in no piece, or with ``downgrade`` only in one of second quality."""

    extent: Extent
    reason: str
    downgrade: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class CountLimit:
    """So many of some allowed marks a finished roll may carry; ``marks`` are where they lie on the web.

    A mark counts where the roll's film meets it, were it only in part.
    """

    name: str
    most: int
    marks: tuple[Extent, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class CutRules:
    """How the slitter may cut, and what its time costs."""

    knife_step_mm: float = 1.0
    edge_trim_mm: float = 8.0
    trim_between_mm: float = 0.0
    least_strip_mm: float = 0.0
    """The narrowest strip that the slitter can cut off and lead away, where a strip is wider than the trim.

    So neighbouring lanes lie just the trim apart, or at least this; the strip at an edge is just the edge trim, or at
    least this.
    """
    least_piece_m: float = 5.0
    """Of film sold by the metre."""
    setup_m: float = 2.0
    """Length of web lost when the knives are set anew."""
    most_cross_cuts: int = 40
    """How many places for setting the knives anew are tried; with more to try, the least promising are left out."""
    setup_minutes: float = 0.0
    """Time to set the knives anew."""
    stop_minutes: float = 0.0
    """Time to take the wound rolls off and go on with the same knives."""
    value_per_minute: float = 0.0
    """What a minute of the slitter costs, in the currency of the values."""
    most_run_m: float = math.inf
    """Greatest length that is slit without taking the wound rolls off."""
    most_diameter_mm: float = math.inf
    """Greatest diameter of a wound roll."""
    core_diameter_mm: float = 0.0
    thickness_mm: float = 0.0
    """Of the film, to tell the length from the diameter."""

    @property
    def run_m(self) -> float:
        """Greatest length of a run: the lesser of ``most_run_m`` and what the greatest diameter holds.

        A roll of length L and thickness t on a core of diameter d has the end face area π(D² − d²)/4 = L·t.
        """
        if not (math.isfinite(self.most_diameter_mm) and self.thickness_mm > 0.0):
            return self.most_run_m
        face_mm2 = math.pi / 4.0 * (self.most_diameter_mm**2 - self.core_diameter_mm**2)
        return min(self.most_run_m, face_mm2 / self.thickness_mm / 1000.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class KnifeAt:
    """A wish: in every run a knife stands there, at the border of a lane; no lane lies across it."""

    across_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class CrossCutAt:
    """A wish: the web is cut across there, in coated metres from the head; no piece lies across it."""

    along_m: float


@dataclass(frozen=True, slots=True, kw_only=True)
class WithoutWidth:
    """A wish: no lane of this width."""

    name: str


Wish = KnifeAt | CrossCutAt | WithoutWidth


@dataclass(frozen=True, slots=True, kw_only=True)
class Piece:
    """A length of one lane that becomes a finished roll, or part of a spliced one.

    ``number`` is unique in the plan, in the order the slitter meets the web. ``roll`` is the number of the finished
    roll: that of its first piece. ``value`` is the roll's, shared out by length.
    """

    number: str
    width: str
    extent: Extent
    value: float
    roll: str = ""
    quality: Quality = Quality.FIRST


@dataclass(frozen=True, slots=True, kw_only=True)
class FinishedRoll:
    """What is sold: one piece, or several spliced, in the order the slitter meets them.

    ``marks`` are the counted marks it carries, one number for each of the plan's count limits.
    """

    number: str
    width: str
    quality: Quality
    length_m: float
    value: float
    pieces: tuple[str, ...]
    marks: tuple[int, ...] = ()
    order: str = ""
    """Number of the order it is for; empty where it was cut for none."""

    @property
    def splices(self) -> int:
        """Splices in it."""
        return len(self.pieces) - 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """A stretch of the web slit without a stop; ``lanes`` are (width name, from mm, to mm).

    ``knife_set`` numbers the knife layouts in the order the slitter meets them, from 1: where it is that of the run
    before, the knives stayed and only the wound rolls were taken off.
    """

    along_from_m: float
    along_to_m: float
    lanes: tuple[tuple[str, float, float], ...]
    knife_set: int = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Loss:
    """Area of web that becomes no piece, by reason."""

    reason: str
    area_m2: float


@dataclass(frozen=True, slots=True, kw_only=True)
class CutPlan:
    """The cut: where the web is cut across, the knives of each run, the pieces and the finished rolls.

    The plan is the one with the greatest ``net``: value of the film less cost of the slitter's time. ``bound`` is a net
    value that no plan under the same rules can exceed, wherever it cuts across; ``optimal`` says whether the plan is
    proven best of the places tried for knives and cross-cuts: none was left out, or the bound is reached.

    A plan ``of_book`` was chosen together with those of other rolls for an order book. Its finished rolls are worth
    what they earn there, and how far from the best it may be only the book can say: it has no ``bound`` and isn't
    ``optimal``.
    """

    whole: Extent
    runs: tuple[Run, ...]
    pieces: tuple[Piece, ...]
    value: float
    bound: float | None
    optimal: bool
    losses: tuple[Loss, ...]
    cross_cut_candidates: int
    widths: tuple[SlitWidth, ...]
    avoid: tuple[Avoid, ...]
    rules: CutRules
    rolls: tuple[FinishedRoll, ...] = ()
    minutes: float = 0.0
    """The slitter's time for setting the knives anew and for stops."""
    counts: tuple[CountLimit, ...] = ()
    wishes: tuple[Wish, ...] = ()
    left_out: int = field(default=0)
    """Places for setting the knives anew that were too many to be tried."""
    of_book: bool = False

    @property
    def cost(self) -> float:
        """Cost of the slitter's time."""
        return self.minutes * self.rules.value_per_minute

    @property
    def net(self) -> float:
        """Value less the cost of the slitter's time."""
        return self.value - self.cost


@dataclass(frozen=True, slots=True, kw_only=True)
class Order:
    """Finished rolls that are wanted: so many of one length and width of a product."""

    number: str
    product: str
    width: str
    length_m: float
    quantity: int
    due: str = ""
    """Day by which they must be slit, as 2026-12-24; empty where any day will do."""
    value: float = math.nan
    """Of each finished roll that fills the order; NaN where it is what the product says of the length."""


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderFill:
    """How many finished rolls of an order the pieces of a plan give."""

    order: Order
    filled: int

    @property
    def short(self) -> int:
        """Finished rolls still wanted."""
        return self.order.quantity - self.filled
