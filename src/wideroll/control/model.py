"""Control charts over many rolls, batches or process runs."""

from dataclasses import dataclass

__all__ = [
    "BasePeriod",
    "Capability",
    "CapabilityIndex",
    "Chart",
    "ControlLimits",
    "CusumChart",
    "CusumSignal",
    "FrozenRate",
    "FrozenRecords",
    "FrozenValues",
    "JointChart",
    "Normality",
    "Overdispersion",
    "RecordsChart",
    "RuleBreak",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class BasePeriod:
    """The points that limits were set by, so that it can be shown later which they were."""

    name: str
    first: str
    """Label of its first point, such as a roll's number or a date."""
    last: str
    count: int
    digest: str
    """SHA-256 of the labels and values, in hexadecimal."""

    @property
    def words(self) -> str:
        """Name, ends and number of its points."""
        return f"{self.name} ({self.first} to {self.last}, {self.count} points)"


@dataclass(frozen=True, slots=True, kw_only=True)
class FrozenValues:
    """What a base period says of single values: limits of all charts of values follow from it."""

    base: BasePeriod
    centre: float
    sigma: float
    """Standard deviation of a single value as the process scatters from one point, or within one group, to the next."""
    freedom: float
    """Degrees of freedom of ``sigma``, for intervals."""
    basis: str
    """How centre and sigma were found, and from which period, in words."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Overdispersion:
    """Whether rates differ more from point to point than Poisson counts do."""

    sigma_z: float
    """Laney's: how many times as far as Poisson's law says; 1 for Poisson counts."""
    chi_square: float
    freedom: int
    p_value: float
    """Chance that Poisson counts differ as much."""
    corrected: bool
    """Whether the limits were widened (or narrowed) by ``sigma_z``."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FrozenRate:
    """What a base period says of counts on areas: limits of count charts follow from it."""

    base: BasePeriod
    rate: float
    """Counts for one unit of area."""
    spread: Overdispersion | None
    """None where there are fewer than two points or no count."""
    basis: str
    extent: float = 0.0
    """All area that was counted on; 0 where it isn't known."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FrozenRecords:
    """What a base period says of several records of one quantity, together."""

    base: BasePeriod
    records: tuple[FrozenValues, ...]
    covariance: tuple[tuple[float, ...], ...]
    """From differences of neighbours, so that slow changes don't widen it."""
    freedom: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ControlLimits:
    """Centre line and limits, with how they were set, and by which points where a base period is known."""

    centre: float
    low: float
    high: float
    sigma: float
    basis: str
    base: BasePeriod | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class RuleBreak:
    """A run rule that was broken at a point, in words, and the points that make up the pattern; all counted from 0."""

    index: int
    rule: str
    points: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Chart:
    """Points in time order against limits, and the rules they break.

    Where the limits differ from point to point, ``each`` holds one for each, and ``limits`` those of an average point
    (those they settle to, of a chart that smooths).
    """

    points: tuple[float, ...]
    limits: ControlLimits
    breaks: tuple[RuleBreak, ...]
    each: tuple[ControlLimits, ...] = ()
    spread: Overdispersion | None = None
    """Of counts: whether they vary more than Poisson counts do."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CusumSignal:
    """A sum that passed its decision interval."""

    index: int
    """First point beyond; counted from 0, as ``since``."""
    upwards: bool
    since: int
    """First point after the sum was last zero: where the change most likely began."""
    mean: float
    """Mean of the process since then, as the sum has it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CusumChart:
    """Sums of what lies above and below the aim by more than the slack; both are 0 or more, in the unit of the values.

    ``breaks`` names each point at which a sum is beyond its interval, ``signals`` each time it passes it.
    """

    above: tuple[float, ...]
    below: tuple[float, ...]
    target: float
    sigma: float
    slack: float
    decision: float
    head_start: float
    """Value both sums began with."""
    basis: str
    breaks: tuple[RuleBreak, ...]
    signals: tuple[CusumSignal, ...]
    base: BasePeriod | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordsChart:
    """One quantity of several records: a chart of individuals for each, and one of how far they lie off together.

    ``together`` charts Hotelling's T²: records that move against one another pass its limit while each is within its
    own. It is None for a single record.
    """

    quantity: str
    names: tuple[str, ...]
    charts: tuple[Chart, ...]
    together: Chart | None
    base: BasePeriod


@dataclass(frozen=True, slots=True, kw_only=True)
class JointChart:
    """Charts of several quantities of one process, in one sequence of points, whose newest point is judged.

    ``charts`` has one for each quantity over the points from ``start`` on; it is empty where there are too few of them
    to set limits by. All other numbers count points from 0.
    """

    charts: tuple[Chart, ...]
    start: int
    """First point of the present base period; what came before the process was last adjusted says nothing of it."""
    baseline: tuple[int, ...]
    """Points that set the limits, or that will, once there are enough."""
    excluded: tuple[int, ...]
    """Points left out of the base period because they lie off the others."""
    wanted: int
    """Points that the base period must have."""
    false_alarm: float
    """Chance that the newest point of a steady process lies beyond a limit of any quantity."""

    @property
    def beyond(self) -> tuple[int, ...]:
        """Quantities of which the newest point lies beyond a limit."""
        return tuple(
            number
            for number, chart in enumerate(self.charts)
            if not chart.limits.low <= chart.points[-1] <= chart.limits.high
        )

    @property
    def warnings(self) -> tuple[tuple[int, str], ...]:
        """Rules that the newest point breaks in quantities of which it isn't beyond a limit: quantity and rule."""
        return tuple(
            (number, found.rule)
            for number, chart in enumerate(self.charts)
            for found in chart.breaks
            if found.index == len(chart.points) - 1 and number not in self.beyond
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class CapabilityIndex:
    """An index with its two-sided interval."""

    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Normality:
    """Whether values look normal: Anderson and Darling's test with mean and deviation from the values."""

    statistic: float
    p_value: float
    skewness: float
    excess_kurtosis: float
    words: str
    """How the values aren't normal; empty where nothing speaks against it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Capability:
    """How a process fits between the limits of its product.

    ``cp`` and ``cpk`` ask with the scatter from point to point, what the process could do if it stayed put; ``pp`` and
    ``ppk`` with that of all values, what it did. ``cp`` and ``pp`` are None where a limit is missing.
    """

    count: int
    mean: float
    within: float
    """Standard deviation from point to point (or within groups)."""
    overall: float
    """Sample standard deviation of all values."""
    low: float | None
    high: float | None
    cp: CapabilityIndex | None
    cpk: CapabilityIndex
    pp: CapabilityIndex | None
    ppk: CapabilityIndex
    outside: int
    """Values outside the limits of the product."""
    outside_low: float
    outside_high: float
    """Interval of the share outside, that holds for any distribution."""
    normality: Normality | None
    """None where there are too few values to say."""
    cautions: tuple[str, ...]
    """What makes the indices doubtful, in words."""
    confidence: float
