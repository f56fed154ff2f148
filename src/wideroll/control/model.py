"""Control charts over many rolls, batches or process runs."""

from dataclasses import dataclass

__all__ = ["Capability", "Chart", "ControlLimits", "RuleBreak"]


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
