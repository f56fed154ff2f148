"""What a gauge study finds: how much of what is read comes from the gauge, from who reads, and from what is read."""

from dataclasses import dataclass
from enum import StrEnum

__all__ = ["GaugeMethod", "GaugePart", "GaugeStudy", "RangeBeyond", "VarianceLine"]


class GaugeMethod(StrEnum):
    """How a study was worked out."""

    RANGES = "average and range"
    ANOVA = "analysis of variance"


@dataclass(frozen=True, slots=True, kw_only=True)
class GaugePart:
    """One source of variation."""

    sigma: float
    """Its standard deviation, in the unit of the readings."""
    of_total: float
    """Its standard deviation as a share of the total's; shares don't add up to 1, their squares do."""
    of_tolerance: float | None
    """Six of it as a share of the tolerance; None where none was given."""


@dataclass(frozen=True, slots=True, kw_only=True)
class VarianceLine:
    """A line of the analysis of variance; ``ratio`` and ``p_value`` are None where nothing is tested."""

    source: str
    sum_of_squares: float
    freedom: int
    mean_square: float
    ratio: float | None = None
    p_value: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class RangeBeyond:
    """Readings of one part by one operator that lie farther apart than the limit: read them again."""

    operator: str
    part: str
    range: float


@dataclass(frozen=True, slots=True, kw_only=True)
class GaugeStudy:
    """A gauge study of operators who read parts several times.

    ``gauge`` is repeatability and reproducibility together, ``total`` gauge and parts together.
    """

    method: GaugeMethod
    operators: int
    parts: int
    trials: int
    repeatability: GaugePart
    reproducibility: GaugePart
    """From operators, and from how operators and parts go together."""
    interaction: GaugePart | None
    """The latter alone; None where the method doesn't know it or it was taken for repeatability."""
    gauge: GaugePart
    gauge_low: float | None
    """Interval of the gauge's standard deviation; None where the method has none."""
    gauge_high: float | None
    part: GaugePart
    total: GaugePart
    categories: int
    """Classes of parts that the gauge can tell apart: 1.41 part ⁄ gauge, cut to a whole number, and at least 1."""
    range_limit: float
    beyond: tuple[RangeBeyond, ...]
    table: tuple[VarianceLine, ...]
    """Empty for the method of ranges."""
    confidence: float

    @property
    def verdict(self) -> str:
        """What the share of the total says, by the AIAG manual's customary borders of 10 % and 30 %."""
        share, good, bad = self.gauge.of_total, 0.10, 0.30
        if share < good:
            return "the gauge is good enough"
        return "the gauge may do, by what it costs to err" if share <= bad else "the gauge isn't good enough"
