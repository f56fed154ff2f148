"""Where a process changed, and what was noted there."""

import math
from dataclasses import dataclass

__all__ = ["ChangePoint", "ChangePoints", "Coincidence", "EventMatch", "KindCoincidence", "NotedEvent"]


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangePoint:
    """A lasting step between two stretches; points are counted from 0.

    ``at`` is the most likely first point of the new level; from ``first`` to ``last`` it may lie as well.
    """

    at: int
    first: int
    last: int
    before: float
    """Mean of the stretch before."""
    after: float
    step_low: float
    """Interval of ``after`` less ``before``."""
    step_high: float
    chance: float
    """Chance, at most, that two such stretches of a steady process look as different at their best dividing place."""

    @property
    def step(self) -> float:
        """Change of the mean."""
        return self.after - self.before


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangePoints:
    """Changes of a series, in order; empty where one level explains it."""

    count: int
    """Points of the series."""
    changes: tuple[ChangePoint, ...]
    levels: tuple[float, ...]
    """Mean of each stretch; one more than changes."""
    sigma: float
    penalty: float
    """What each change must gain in Σ (x − mean)² ⁄ σ²."""
    false_alarm: float
    confidence: float
    cost: float
    """Σ (x − mean)² ⁄ σ² of the stretches, and the penalty of each change."""
    resemblance: float
    """Correlation of neighbours in what the levels leave over."""

    @property
    def caution(self) -> str:
        """That neighbours resemble one another, so that some changes may be none; empty where they don't."""
        if not self.changes or self.resemblance <= 1.0 / math.sqrt(self.count):
            return ""
        return f"neighbours resemble one another (correlation {self.resemblance:.2f}): some changes may be none"


@dataclass(frozen=True, slots=True, kw_only=True)
class NotedEvent:
    """Something recorded between two points: a new batch, a cleaning, maintenance."""

    before: int
    """First point after it, counted from 0."""
    kind: str
    name: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Coincidence:
    """A change and what was noted where it may have begun."""

    change: ChangePoint
    events: tuple[NotedEvent, ...]
    """Nearest to the most likely place first; empty where nothing was noted."""
    chance: float
    """Share of all places where a change as vague as this one would have met an event of any kind."""


@dataclass(frozen=True, slots=True, kw_only=True)
class KindCoincidence:
    """How often changes met one kind of event, against chance."""

    kind: str
    events: int
    met: int
    """Changes that met an event of the kind."""
    changes: int
    expected: float
    """Changes that would meet one by chance."""
    chance: float
    """Chance that as many would meet one, had changes nothing to do with it."""
    chance_of_any: float
    """The same for the best of all kinds that were tried."""

    @property
    def words(self) -> str:
        """The finding in a sentence."""
        noun = "change" if self.changes == 1 else "changes"
        return (
            f"{self.met} of {self.changes} {noun} met {self.kind}, {self.expected:.1f} by chance; "
            f"as many with a chance of {self.chance:.2g} ({self.chance_of_any:.2g} for the best of all kinds)"
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class EventMatch:
    """Changes and recorded events held against one another; meeting one is no proof that it was the cause."""

    changes: tuple[Coincidence, ...]
    kinds: tuple[KindCoincidence, ...]
    """The least likely to be chance first."""
    reach: int
