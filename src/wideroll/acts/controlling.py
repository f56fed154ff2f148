"""Charts of what was measured across rolls, and the base periods that set their limits."""

from dataclasses import dataclass

import polars as pl

from wideroll import __version__
from wideroll.acts.rolls_history import HistoryAtHand, one_process
from wideroll.acts.telling import tell
from wideroll.record import Event
from wideroll.store import RecordStore
from wideroll.store.base_periods import save_base
from wideroll.workflow.base_period import BasePeriodSaid, freeze_base
from wideroll.workflow.charting import ChartTerms, chart_quantity, find_quantity, history_quantities
from wideroll.workflow.control_model import BaseLimits, ControlView, OverviewLine
from wideroll.workflow.control_overview import control_overview

__all__ = ["FrozenBase", "chart_rolls", "freeze_rolls", "overview_rolls"]


@dataclass(frozen=True, slots=True, kw_only=True)
class FrozenBase:
    """A base period that was just frozen."""

    base: BaseLimits
    product: str
    line: str
    event: Event

    @property
    def frozen(self) -> list[str]:
        """The quantities whose limits it holds."""
        base = self.base
        return sorted({*base.counts, *base.records, *(key.split("|")[0] for key in base.values)})


def chart_rolls(
    hand: HistoryAtHand, rolls: pl.LazyFrame, what: str, *, terms: ChartTerms, base: str | None = None
) -> ControlView:
    """The chart of one quantity, with what broke a rule, what changed, and what the process is capable of.

    Args:
        hand: the history.
        rolls: those of it that are charted.
        what: the quantity, by its name or a part that only one has.
        terms: how it is charted; its base period is set here.
        base: name of the base period that sets the limits; None takes the newest frozen one that fits.

    Raises:
        InputError: when there is no such quantity or base period, or the rolls are of several products or lines.
        RecordError: when the base period's file isn't the one on record.
    """
    quantity = find_quantity(history_quantities(rolls), what)
    mine = rolls.filter(pl.col("quantity") == quantity.name)
    product, line = one_process(mine, quantity.name)
    limits = hand.base(base, product, line)
    if base is None and limits is not None and not limits.holds(quantity):
        tell(f"Base period {limits.name} doesn't hold {quantity.name}; the first rolls set its limits.")
        limits = None
    return chart_quantity(
        mine,
        quantity,
        terms=ChartTerms(kind=terms.kind, base=limits, rules=terms.rules),
        events=hand.events(),
        criteria=hand.criteria(product),
    )


def overview_rolls(hand: HistoryAtHand, rolls: pl.LazyFrame) -> tuple[tuple[OverviewLine, ...], int]:
    """A line for each quantity, the worst of the last rolls first, and how many rolls there are.

    Args:
        hand: the history.
        rolls: those of it that are charted.
    """
    lines = control_overview(rolls, lambda product, line: hand.base(None, product, line))
    return lines, int(rolls.select(pl.col("roll").n_unique()).collect().item())


def freeze_rolls(hand: HistoryAtHand, rolls: pl.LazyFrame, said: BasePeriodSaid) -> FrozenBase:
    """Freeze the limits of all that was measured of the rolls, and record it.

    Args:
        hand: the history.
        rolls: those of it that set the limits.
        said: name, days, reason, and who freezes.

    Raises:
        InputError: when the rolls are of several products or lines, are too few, or the name is taken.
        RecordError: when the last event doesn't hold what was written.
    """
    product, line = one_process(rolls, f"base period {said.name}")
    base = freeze_base(rolls, said)
    with RecordStore(hand.files.record_url()) as record:
        event = save_base(hand.files.root, record, base, version=__version__)
    return FrozenBase(base=base, product=product, line=line, event=event)
