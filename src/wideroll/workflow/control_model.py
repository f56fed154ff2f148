"""What the charts of many rolls say: of one quantity, and of all of them in a line each."""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Final, TypeAlias

from wideroll.control.change_model import ChangePoints, EventMatch
from wideroll.control.model import (
    Capability,
    Chart,
    CusumChart,
    FrozenRate,
    FrozenRecords,
    FrozenValues,
    RuleBreak,
)

__all__ = [
    "AnyChart",
    "BaseLimits",
    "Capable",
    "ChartKind",
    "ControlPanel",
    "ControlView",
    "OverviewLine",
    "Quantity",
    "RecordChanges",
    "Steadiness",
]

AnyChart: TypeAlias = Chart | CusumChart
_UNNAMED: Final = re.compile(r" \(point 1 to point \d+, \d+ points\)")
"""What a base period without a name of its own adds to its words."""


class ChartKind(StrEnum):
    """How a quantity is charted."""

    INDIVIDUALS = "individuals"
    """Values, and how far each lies from the one before."""
    XBAR = "xbar"
    """Means and ranges of the strips or places of each roll."""
    EWMA = "ewma"
    CUSUM = "cusum"
    U = "u"
    """Counts per area."""
    C = "c"
    """Counts on areas of one size."""
    RECORDS = "records"
    """Values of each record, and all together."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Quantity:
    """Something that is charted, as a history holds it."""

    name: str
    records: tuple[str, ...]
    """Empty text alone where it has none."""
    counted: bool
    """Whether its values are counts on areas."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BaseLimits:
    """A named base period and what it says of everything that was measured; kept, and never changed.

    Mappings are by quantity, and by quantity and record with a line between (``speed|red``) for single values and
    groups.
    """

    name: str
    product: str
    line: str
    first_day: str
    last_day: str
    rolls: tuple[str, ...]
    who: str
    when_utc: str
    because: str
    values: Mapping[str, FrozenValues] = field(default_factory=dict)
    groups: Mapping[str, FrozenValues] = field(default_factory=dict)
    counts: Mapping[str, FrozenRate] = field(default_factory=dict)
    records: Mapping[str, FrozenRecords] = field(default_factory=dict)

    def holds(self, quantity: Quantity) -> bool:
        """Whether the quantity's usual chart can be drawn by it."""
        if quantity.counted:
            return quantity.name in self.counts
        if len(quantity.records) > 1:
            return quantity.name in self.records
        return f"{quantity.name}|{quantity.records[0]}" in self.values


@dataclass(frozen=True, slots=True, kw_only=True)
class ControlPanel:
    """A chart of a view, over the view's rolls from number ``start`` (counted from 0) on."""

    name: str
    """What it charts, such as ``red`` or ``moving range``."""
    unit: str
    chart: AnyChart
    start: int = 0
    record: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordChanges:
    """Where the level of a record changed for good, held against what was noted."""

    record: str
    found: ChangePoints
    match: EventMatch
    lone: tuple[str, ...] = ()
    """Rolls so far off their neighbours that they were drawn in, or each would look like a change."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Capable:
    """How a record fits between the product's limits of a criterion."""

    record: str
    criterion: str
    capability: Capability


@dataclass(frozen=True, slots=True, kw_only=True)
class ControlView:
    """One quantity over the rolls of one product and line."""

    what: str
    product: str
    line: str
    kind: ChartKind
    rolls: tuple[str, ...]
    coated: tuple[str, ...]
    batches: tuple[str, ...]
    missing: int
    """Rolls of which it wasn't measured."""
    panels: tuple[ControlPanel, ...]
    base: tuple[int, int] | None
    """First and last of the view's rolls in the base period; None where none of them is."""
    changes: tuple[RecordChanges, ...] = ()
    capable: tuple[Capable, ...] = ()

    @property
    def limits_set_by(self) -> str:
        """How the limits were set, in words."""
        chart = self.panels[0].chart
        basis = chart.basis if isinstance(chart, CusumChart) else chart.limits.basis
        return _UNNAMED.sub("", basis).replace("points", "rolls")

    def breaks(self, panel: ControlPanel) -> tuple[tuple[str, RuleBreak], ...]:
        """Each roll of a panel that broke a rule, with the rule."""
        return tuple((self.rolls[panel.start + found.index], found) for found in panel.chart.breaks)


class Steadiness(StrEnum):
    """What a quantity's chart says of the last rolls."""

    BEYOND = "beyond a limit"
    RULE = "run rule broken"
    STEADY = "steady"
    NO_CHART = "no chart"


@dataclass(frozen=True, slots=True, kw_only=True)
class OverviewLine:
    """One chart of one quantity, and the worst that the last rolls did on it."""

    product: str
    line: str
    quantity: str
    panel: str
    state: Steadiness
    why: str
    """The rule in words, or why there is no chart."""
    rolls: int
    roll: str = ""
    """That broke the rule; the newest where none did."""
    value: float | None = None
    """Of that roll."""
    low: float | None = None
    high: float | None = None
    unit: str = ""
    sigmas: float = 0.0
    """How far that roll lies from the centre."""
    broken: int = 0
    """Of the last rolls, how many broke a rule."""
    judged: int = 0
    limits_set_by: str = ""
    """Base period, or how many of the first rolls."""
