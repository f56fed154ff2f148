"""What the slitter is asked for, and the plan it gets."""

from dataclasses import dataclass

from wideroll.roll import Extent

__all__ = ["Avoid", "CutPlan", "CutRules", "Loss", "Order", "OrderFill", "Piece", "Run", "SlitWidth"]


@dataclass(frozen=True, slots=True, kw_only=True)
class SlitWidth:
    """A width that finishing can use, and what a metre of it is worth."""

    name: str
    width_mm: float
    tolerance_mm: float
    value_per_m: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Avoid:
    """A part of the web that may not be in any piece."""

    extent: Extent
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CutRules:
    """How the slitter may cut."""

    knife_step_mm: float = 1.0
    edge_trim_mm: float = 8.0
    trim_between_mm: float = 0.0
    least_piece_m: float = 5.0
    setup_m: float = 2.0
    """Length of web lost when the knives are set anew."""
    most_cross_cuts: int = 40
    """How many places for setting the knives anew are tried; with more to try, the least promising are left out."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Piece:
    """One finished length in one lane. ``number`` is unique in the plan, in the order the slitter meets the web."""

    number: str
    width: str
    extent: Extent
    value: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """A stretch of the web slit with one knife layout; ``lanes`` are (width name, from mm, to mm)."""

    along_from_m: float
    along_to_m: float
    lanes: tuple[tuple[str, float, float], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Loss:
    """Area of web that becomes no piece, by reason."""

    reason: str
    area_m2: float


@dataclass(frozen=True, slots=True, kw_only=True)
class CutPlan:
    """The cut: where the web is cut across, the knives of each run, and the pieces.

    ``bound`` is a value that no plan under the same rules can exceed, wherever it cuts across; ``optimal`` says whether
    the plan is proven best for its knife step and cross-cut candidates: none was left out, or the bound is reached.
    """

    whole: Extent
    runs: tuple[Run, ...]
    pieces: tuple[Piece, ...]
    value: float
    bound: float
    optimal: bool
    losses: tuple[Loss, ...]
    cross_cut_candidates: int
    widths: tuple[SlitWidth, ...]
    avoid: tuple[Avoid, ...]
    rules: CutRules


@dataclass(frozen=True, slots=True, kw_only=True)
class Order:
    """Finished rolls that are wanted: so many of one length and width of a product."""

    number: str
    product: str
    width: str
    length_m: float
    quantity: int


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderFill:
    """How many finished rolls of an order the pieces of a plan give."""

    order: Order
    filled: int

    @property
    def short(self) -> int:
        """Finished rolls still wanted."""
        return self.order.quantity - self.filled
