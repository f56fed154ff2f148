"""Control charts over many rolls, batches or process runs."""

from dataclasses import dataclass

__all__ = ["Chart", "ControlLimits", "RuleBreak"]


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
    """A run rule that was broken at a point, in words."""

    index: int
    rule: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Chart:
    """Points in time order against limits, and the rules they break."""

    points: tuple[float, ...]
    limits: ControlLimits
    breaks: tuple[RuleBreak, ...]
