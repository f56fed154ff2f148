"""The scanner's lines to cards: the mark finder and the series search kept running on a roll that isn't finished."""

from collections.abc import Callable
from functools import partial

from wideroll.scan import LinePlaces, LostLines, MarkFinder
from wideroll.workflow.action_card import ActionCard
from wideroll.workflow.ports import Grey
from wideroll.workflow.watch import RollWatch, Sight, glanced, sight_of

__all__ = ["WatchedWeb"]

_PLAIN = 2
"""Dimensions of a block of one channel."""


class WatchedWeb:
    """A web whose lines come one block after the other; of several channels the first is watched.

    Args:
        finder: Fed with nothing yet.
        watch: Of the roll.
        pitch_mm: Distance of lines along.
        places: Where lines lie by now, where an encoder counts; None where it doesn't, or hasn't yet.
    """

    def __init__(
        self, finder: MarkFinder, watch: RollWatch, *, pitch_mm: float, places: Callable[[], LinePlaces | None]
    ) -> None:
        self._finder, self._watch = finder, watch
        self._steady, self._places = LinePlaces.steady(pitch_mm), places
        self._lines = 0

    @property
    def fed_m(self) -> float:
        """How far from the head lines have come."""
        return (self._places() or self._steady).along_m(float(self._lines))

    @property
    def marks(self) -> int:
        """How many marks have ended, those on streaks included."""
        return self._finder.marks_ended

    def take(self, block: Grey | LostLines) -> tuple[ActionCard, ...]:
        """The next lines, ``[along, across]`` or with channels; the cards they give rise to."""
        if isinstance(block, LostLines):
            self._finder.lose(block)
            self._lines += block.lines
        else:
            self._finder.feed(block if block.ndim == _PLAIN else block[..., 0])
            self._lines += len(block)
        if not self._watch.due(self._steady.along_m(float(self._finder.screened_lines))):
            return ()
        return self.look()

    def look(self, *, end: bool = False) -> tuple[ActionCard, ...]:
        """Look at once, and at everything where it is the end."""
        places = self._places()
        seen_m = (places or self._steady).along_m(float(self._finder.screened_lines))
        return self._watch.look(seen_m, partial(self._see, places), glance=partial(self._glance, places), end=end)

    def _glance(self, places: LinePlaces | None, from_m: float) -> Sight | None:
        glance = self._finder.glance(from_m, places)
        return None if glance is None else glanced(glance)

    def _see(self, places: LinePlaces | None, from_m: float) -> Sight | None:
        look = self._finder.look(from_m, places)
        return None if look is None else sight_of(look)
