"""Control charts over many rolls, batches or process runs."""

from dataclasses import dataclass

__all__ = ["Capability", "Chart", "ControlLimits", "JointChart", "RuleBreak"]


@dataclass(frozen=True, slots=True, kw_only=True)
class ControlLimits:
    """Centre line and limits, with how they were set."""

    centre: float
    low: float
    high: float
    sigma: float
    basis: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RuleBreak:
    """A run rule that was broken at a point, in words; ``index`` counts points from 0."""

    index: int
    rule: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Chart:
    """Points in time order against limits, and the rules they break.

    Where the limits differ from point to point, ``each`` holds one for each, and ``limits`` those of an average point.
    """

    points: tuple[float, ...]
    limits: ControlLimits
    breaks: tuple[RuleBreak, ...]
    each: tuple[ControlLimits, ...] = ()


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
class Capability:
    """How a process fits between the limits of its product.

    ``cp`` compares the width between the limits with six standard deviations, with an exact interval; ``cpk`` also asks
    how far the mean lies from the nearer limit.
    """

    count: int
    mean: float
    sigma: float
    low: float
    high: float
    cp: float
    cp_low: float
    cp_high: float
    cpk: float
    confidence: float
