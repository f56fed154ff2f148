"""A roll watched while it is made: looks at the marks so far, and cards for what turns."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Final

import numpy as np
from numpy.typing import NDArray

from wideroll.repeats import ASIDE_MM, Roller, Series, SeriesSearch, SeriesSettings, find_series, pick_lanes
from wideroll.roll import Extent
from wideroll.scan import Glance, LookSoFar
from wideroll.workflow.action_card import ActionCard
from wideroll.workflow.take_in import watched_stretches
from wideroll.workflow.watch_plan import WatchPlan
from wideroll.workflow.watch_words import action_words, named

__all__ = ["RollWatch", "Sight", "glanced", "sight_of"]

_SAME_SPACING: Final = 0.01
_SAME_MM: Final = 1.0
_CORRECTS: Final = 0.95
"""Probability from which another roller than the card's is worth a second card."""
_SHOWN: Final = 0.01
_EXPECTED_PRINTS: Final = 50.0
"""A series is silent, not faint, where it would have printed this often."""
_KNOWN_JITTERS: Final = 6.0
"""A mark so near to a turn of a series with a card is taken for its print, between looks at all."""
_KNOWN_SPACING: Final = 0.002
"""How far the spacing may be off from turn to turn."""
_ALL_EACH_M: Final = 10.0
"""New web after which series with a card are looked at again."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sight:
    """Marks of a stretch of web, and where in it marks could be seen."""

    along_m: NDArray[np.float64]
    """(n,) from the head."""
    across_mm: NDArray[np.float64]
    """(n,) from the datum edge."""
    observed: tuple[tuple[float, float], ...]
    to_m: float
    """Where it ends."""

    def only(self, marks: NDArray[np.bool_]) -> "Sight":
        """The same with some of the marks."""
        return replace(self, along_m=self.along_m[marks], across_mm=self.across_mm[marks])


def sight_of(look: LookSoFar) -> Sight:
    """A finder's look as what a watch needs of it."""
    web = Extent(
        along_from_m=look.from_m, along_to_m=look.to_m, across_from_mm=0.0, across_to_mm=max(look.web_width_mm, 1.0)
    )
    along = look.marks["along_m"].to_numpy()
    inside = (along >= look.from_m) & (along <= look.to_m)
    return Sight(
        along_m=along[inside],
        across_mm=look.marks["across_mm"].to_numpy()[inside],
        observed=tuple(watched_stretches(look.coverage, web)),
        to_m=look.to_m,
    )


def glanced(glance: Glance) -> Sight:
    """A finder's glance as a sight: all of its stretch taken as looked at."""
    inside = (glance.along_m >= glance.from_m) & (glance.along_m <= glance.to_m)
    return Sight(
        along_m=glance.along_m[inside],
        across_mm=glance.across_mm[inside],
        observed=((glance.from_m, glance.to_m),),
        to_m=glance.to_m,
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Seen:
    """The members of a series."""

    members: frozenset[int]
    """Places along in mm."""
    first_m: float
    last_m: float

    @staticmethod
    def of(series: Series, sight: Sight) -> "_Seen":
        """Those of a series found in a sight."""
        along = sight.along_m[list(series.members)]
        members = frozenset(np.rint(along * 1000.0 / _SAME_MM).astype(np.int64).tolist())
        return _Seen(members=members, first_m=float(along.min()), last_m=float(along.max()))

    def joined(self, other: "_Seen") -> "_Seen":
        """The members of both."""
        return _Seen(
            members=self.members | other.members,
            first_m=min(self.first_m, other.first_m),
            last_m=max(self.last_m, other.last_m),
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Raised:
    """A series that has a card."""

    card: ActionCard
    roller: str
    """As last said."""
    seen: _Seen


class RollWatch:
    """Looks at a roll while it is made. The same web in the same steps gives the same cards.

    A series is new unless one with a card lies within 40 mm across and has the same spacing within 1 %, or lies within
    a lane and shares half of its members. It gets another card when a look names another roller with 95 %, and
    when it comes back after it was silent for as long as the window and fifty expected prints.
    """

    def __init__(
        self,
        plan: WatchPlan,
        *,
        plant: str,
        roll: str,
        datum_edge: str,
        rollers: Sequence[Roller],
        settings: SeriesSettings | None = None,
        known: Sequence[ActionCard] = (),
        name: Callable[[SeriesSearch], SeriesSearch] | None = None,
    ) -> None:
        """Begin at the head.

        Args:
            plan: When to look, and what a look may spend.
            plant: Name, for the cards.
            roll: Name, for the cards.
            datum_edge: Which places across are measured from.
            rollers: Of the line.
            settings: Of the search.
            known: Cards raised before.
            name: Weighs the rollers of what was found by more than the spacing.
        """
        self.plan = plan
        self._names = plant, roll, datum_edge
        self._rollers = tuple(rollers)
        self._settings = settings or SeriesSettings()
        self._known = list(known)
        self._last_number = max((card.number for card in known), default=0)
        self._raised: list[_Raised] = []
        self._name = name
        self._looked_m = self._all_m = 0.0
        self._whole_looks = 0
        self._behind: dict[int, tuple[Series, Sight]] = {}

    def due(self, seen_m: float) -> bool:
        """Whether enough new web was seen for a look."""
        return seen_m >= self._looked_m + self.plan.every_m

    def behind(self, card: ActionCard) -> tuple[Series, Sight] | None:
        """The series behind a card of the last look, and the marks it was found among; given once."""
        return self._behind.pop(card.number, None)

    def look(
        self,
        seen_m: float,
        see: Callable[[float], Sight | None],
        *,
        glance: Callable[[float], Sight | None] | None = None,
        end: bool = False,
    ) -> tuple[ActionCard, ...]:
        """Look at the window and, where it is time, at everything so far.

        Args:
            seen_m: How far from the head marks are known.
            see: Gives the marks from a place on, or from a little before it; None where nothing was seen yet.
            glance: The same, quicker and with marks that ``see`` would leave out; it only tells when to see.
            end: No more web comes: everything is looked at once more.

        Returns:
            The cards that this look raises, but for those known from before.
        """
        window = max(seen_m - self.plan.window_m, 0.0)
        first = (glance or see)(window)
        if first is None or first.to_m <= self._looked_m:
            return ()
        share = self.plan.window_share(self._looked_m, first.to_m)
        cards = self._look_at_window(first, None if glance is None else partial(see, window), share)
        self._looked_m = first.to_m
        due = self.plan.whole_looks_due(first.to_m)
        if end:
            due = max(due, len(self.plan.whole_looks_m()))
        if due > self._whole_looks:
            share = self.plan.whole_share(self._whole_looks, due)
            self._whole_looks = due
            everything = see(0.0)
            cards += self._cards(everything, share) if everything is not None else []
        return tuple(cards)

    def _look_at_window(self, first: Sight, see: Callable[[], Sight | None] | None, share: float) -> list[ActionCard]:
        """Search the window where new marks stand in step that aren't prints of a series with a card."""
        everything = first.to_m >= self._all_m + _ALL_EACH_M
        rest = first if everything else self._without_known(first)
        if not self._picked(rest).any():
            return []
        if everything:
            self._all_m = first.to_m
        sight = first if see is None else see()
        if sight is None or not self._worth_a_search(sight, share):
            return []
        return self._cards(sight, share)

    def _without_known(self, sight: Sight) -> Sight:
        """Leave out what falls on a turn of a series that has a card."""
        known = np.zeros(sight.along_m.size, np.bool_)
        for one in self._raised:
            off = sight.along_m - one.seen.last_m
            turns = np.rint(off / one.card.spacing_m)
            slack = _KNOWN_JITTERS * self._settings.jitter_mm / 1000.0 + _KNOWN_SPACING * np.abs(off)
            on_turn = np.abs(off - turns * one.card.spacing_m) <= slack
            known |= on_turn & (np.abs(sight.across_mm - one.card.across_mm) <= self._settings.lane_mm)
        return sight if not known.any() else sight.only(~known)

    def _picked(self, sight: Sight) -> NDArray[np.bool_]:
        return pick_lanes(sight.along_m, sight.across_mm, since_m=self._looked_m, settings=self._settings)

    def _worth_a_search(self, sight: Sight, share: float) -> bool:
        """Whether lanes in which new marks stand in step hold something that isn't known; it only saves time."""
        picked = self._picked(sight)
        if not picked.any():
            return False
        some = sight.only(picked)
        search = self._search(some, share)
        return search is not None and any(self._is_news(one, some) for one in search.series)

    def _cards(self, sight: Sight, share: float) -> list[ActionCard]:
        search = self._search(sight, share)
        raised = (self._judge(one, sight) for one in search.series if one.false_alarm <= share) if search else ()
        return [card for card in raised if card is not None]

    def _search(self, sight: Sight, share: float) -> SeriesSearch | None:
        if not sight.observed or sight.along_m.size < self._settings.least_turns:
            return None
        search = find_series(
            sight.along_m,
            sight.across_mm,
            length_m=math.nextafter(sight.to_m, math.inf),
            rollers=self._rollers,
            observed=sight.observed,
            settings=replace(self._settings, false_alarm=share),
        )
        return search if self._name is None else self._name(search)

    def _judge(self, series: Series, sight: Sight) -> ActionCard | None:
        """A card, where the series is new or there is news of it."""
        seen = _Seen.of(series, sight)
        number, why = self._news(series, seen)
        card, told = (None, False) if why is None else self._numbered(self._card(series, sight), why)
        if number is None and card is not None:
            self._raised.append(_Raised(card=card, roller=card.roller, seen=seen))
        elif number is not None:
            before = self._raised[number]
            roller = before.roller if card is None else card.roller
            self._raised[number] = replace(before, roller=roller, seen=before.seen.joined(seen))
        if card is None or told:
            return None
        self._behind[card.number] = series, sight
        return card

    def _is_news(self, series: Series, sight: Sight) -> bool:
        """Whether it would get a card; where it has one, what was seen of it is remembered."""
        seen = _Seen.of(series, sight)
        number, why = self._news(series, seen)
        if why is None and number is not None:
            self._raised[number] = replace(self._raised[number], seen=self._raised[number].seen.joined(seen))
        return why is not None

    def _news(self, series: Series, seen: "_Seen") -> tuple[int | None, str | None]:
        """Which raised series it is, and with what words it gets a card; None where it gets none."""
        number = next((n for n, one in enumerate(self._raised) if self._same(one, series, seen)), None)
        if number is None:
            return None, ""
        before = self._raised[number]
        roller, probability = named(series)
        if self._came_back(before, series, seen.first_m):
            return number, f"It marks again, silent since {before.seen.last_m:.1f} m. "
        if roller != before.roller and probability >= _CORRECTS:
            return number, f"Corrects card {before.card.number}. "
        return number, None

    def _same(self, before: _Raised, series: Series, seen: _Seen) -> bool:
        aside_mm = abs(before.card.across_mm - series.across_mm)
        alike = abs(series.spacing_m / before.card.spacing_m - 1.0) <= _SAME_SPACING
        if aside_mm > self._settings.lane_mm:
            return alike and aside_mm <= ASIDE_MM
        return alike or 2 * len(before.seen.members & seen.members) >= len(seen.members)

    def _came_back(self, before: _Raised, series: Series, first_m: float) -> bool:
        prints = max(before.card.print_probability, 1e-3)
        silent_m = max(self.plan.window_m, _EXPECTED_PRINTS / prints * series.spacing_m)
        return first_m - before.seen.last_m > silent_m

    def _numbered(self, card: ActionCard, why: str) -> tuple[ActionCard, bool]:
        """The card with its number, and whether it was raised before this watch began."""
        before = next((one for one in self._known if self._same_card(one, card)), None)
        if before is not None:
            self._known.remove(before)
            return before, True
        self._last_number += 1
        return replace(card, number=self._last_number, action=why + card.action), False

    def _same_card(self, one: ActionCard, other: ActionCard) -> bool:
        near = abs(one.across_mm - other.across_mm) <= ASIDE_MM and one.roller == other.roller
        alike = abs(one.spacing_m / other.spacing_m - 1.0) <= _SAME_SPACING
        return near and (alike or (one.first_m <= other.last_m and other.first_m <= one.last_m))

    def _card(self, series: Series, sight: Sight) -> ActionCard:
        plant, roll, datum_edge = self._names
        roller, probability = named(series)
        zones = {one.name: one.zone for one in self._rollers}
        return ActionCard(
            plant=plant,
            roll=roll,
            number=0,
            at_m=sight.to_m,
            first_m=series.extent.along_from_m,
            last_m=series.extent.along_to_m,
            across_mm=series.across_mm,
            spacing_m=series.spacing_m,
            spacing_low_m=series.spacing_low_m,
            spacing_high_m=series.spacing_high_m,
            marks=len(series.members),
            print_probability=series.print_probability,
            roller=roller,
            probability=probability,
            others=tuple((c.roller, c.probability) for c in series.candidates[1:] if c.probability >= _SHOWN),
            log10_evidence=series.log_evidence / math.log(10.0),
            false_alarm=self.plan.false_alarm,
            zone=zones.get(roller, ""),
            action=action_words(series, self._rollers, datum_edge),
        )
