"""When a running roll is looked at for series, and what each look may spend of the roll's allowance of false cards.

A look with the share s raises a card by chance with probability at most s, whatever other looks there are. So all looks
of a roll together do with at most the sum of their shares, which is the allowance: four fifths go to a window that
moves with the web, the rest to looks at everything so far, which have evidence to spare. Nine tenths of either are for
the planned length; the rest is spent ever more slowly beyond it, so that no roll is too long.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from wideroll.errors import ArgumentError
from wideroll.repeats import Roller

__all__ = ["FALSE_CARDS", "WatchPlan", "plan_watch"]

FALSE_CARDS: Final = 0.01
"""At most one roll in a hundred gets a card by chance alone."""

_TURNS: Final = 20
_WITHIN: Final = 0.9
_FOR_WINDOW: Final = 0.8


@dataclass(frozen=True, slots=True, kw_only=True)
class WatchPlan:
    """What a watch may do.

    Raises:
        ArgumentError: when the allowance isn't a probability, or a length isn't greater than 0.
    """

    length_m: float
    """Of the roll, as planned."""
    false_alarm: float = FALSE_CARDS
    """Greatest probability that any card of the roll is raised by chance alone."""
    window_m: float = 60.0
    every_m: float = 0.5
    """New web between two looks."""

    def __post_init__(self) -> None:
        """Refuse what can't be kept."""
        if not 0.0 < self.false_alarm < 1.0:
            raise ArgumentError(
                where="false_alarm",
                rule="must lie between 0 and 1",
                value=self.false_alarm,
                mend="0.01 is usual.",
            )
        for name in ("length_m", "window_m", "every_m"):
            value = getattr(self, name)
            if not (math.isfinite(value) and value > 0.0):
                raise ArgumentError(where=name, rule="must be greater than 0", value=value, mend="Give metres.")

    def window_share(self, from_m: float, to_m: float) -> float:
        """What a look at the window may spend once the web has gone on from one place to another."""
        return self._window_spent(to_m / self.length_m) - self._window_spent(from_m / self.length_m)

    def whole_looks_m(self) -> tuple[float, ...]:
        """Lengths at which everything so far is looked at, the planned end the last of them."""
        lengths = []
        step = 2.0 * self.window_m
        while step < self.length_m:
            lengths.append(step)
            step *= 2.0
        return (*lengths, self.length_m)

    def whole_share(self, before: int, now: int) -> float:
        """What a look at everything may spend when ``now`` of the lengths are reached and ``before`` were paid for.

        Beyond the planned length there is one more each time the roll is as long again.
        """
        return self._looks_spent(now) - self._looks_spent(before)

    def whole_looks_due(self, seen_m: float) -> int:
        """How many of the lengths are reached."""
        planned = sum(length <= seen_m for length in self.whole_looks_m())
        beyond = math.floor(math.log2(seen_m / self.length_m)) if seen_m >= 2.0 * self.length_m else 0
        return planned + beyond

    def _window_spent(self, share: float) -> float:
        beyond = max(share - 1.0, 0.0)
        spent = _WITHIN * min(share, 1.0) + (1.0 - _WITHIN) * beyond / (1.0 + beyond)
        return _FOR_WINDOW * self.false_alarm * spent

    def _looks_spent(self, looks: int) -> float:
        planned = len(self.whole_looks_m())
        beyond = max(looks - planned, 0)
        spent = _WITHIN * min(looks, planned) / planned + (1.0 - _WITHIN) * (1.0 - 0.5**beyond)
        return (1.0 - _FOR_WINDOW) * self.false_alarm * spent


def plan_watch(length_m: float, rollers: Sequence[Roller], false_alarm: float = FALSE_CARDS) -> WatchPlan:
    """The plan for a roll: its window holds twenty turns of the greatest roller, and 60 m at least.

    Args:
        length_m: Planned length of the roll.
        rollers: Of the line.
        false_alarm: Greatest probability that any card of the roll is raised by chance alone.

    Raises:
        ArgumentError: when the allowance isn't a probability, or the length isn't greater than 0.

    Example:
        >>> plan = plan_watch(2000.0, [Roller(name="R1", diameter_mm=1200.0)])
        >>> round(plan.window_m, 1), [round(length) for length in plan.whole_looks_m()]
        (75.4, [151, 302, 603, 1206, 2000])
    """
    turns_m = _TURNS * max((roller.pitch_m for roller in rollers), default=0.0)
    return WatchPlan(length_m=length_m, false_alarm=false_alarm, window_m=max(60.0, turns_m))
