"""Search a roll's marks for series that return every turn."""

from collections.abc import Sequence
from dataclasses import replace
from math import exp, inf, log
from typing import Final

import numpy as np
from numpy.typing import NDArray

from wideroll.repeats.desk import Desk, Lane, as_series, beside, open_desk, settle, weigh_lane
from wideroll.repeats.laps import find_laps
from wideroll.repeats.makers import with_makers
from wideroll.repeats.model import Roller, Series, SeriesSearch, SeriesSettings, Winding
from wideroll.repeats.rival import settle_rivals
from wideroll.repeats.web import Web, lane_rows, lay_out

__all__ = ["find_series"]

_SETTINGS: Final = SeriesSettings()
_RIVAL: Final = 0.5  # false alarm up to which the other kind has a say in what made the same marks
_MOST_LAPS: Final = 60  # a particle prints through some 3 to 20 laps (common practice): a longer series is no lap print


def find_series(
    along_m: NDArray[np.float64],
    across_mm: NDArray[np.float64],
    *,
    length_m: float,
    rollers: Sequence[Roller],
    observed: Sequence[tuple[float, float]] | None = None,
    winding: Winding | None = None,
    settings: SeriesSettings = _SETTINGS,
) -> SeriesSearch:
    """Find what turns: chains of marks at one place across that return every turn, and the rollers that fit.

    Each lane (a window across, moved by half its width) is weighed: how much more likely are its marks with one chain
    among scattered marks than scattered alone, averaged over the prior of spacings (the table's rollers, and any other
    spacing), print probabilities and all chains. Over scattered marks that ratio averages at most 1, so by Markov's
    inequality the probability that any of L lanes reaches a ratio R is at most L / R: the false-alarm probability,
    trials included, without simulation. A lane's best series is taken out with its marks and the lane weighed again.

    Args:
        along_m: float64 (n,), places along from the head in metres, in any order.
        across_mm: float64 (n,), places across from the datum edge in millimetres.
        length_m: length of the roll.
        rollers: the table of what turns on the line; may be empty.
        observed: stretches (from, to) in metres in which marks could be seen, whole length when None. Marks outside are
            left out, turns outside don't count as silent.
        winding: how the roll was wound: then lap prints are looked for too, each search at half of the false alarm, and
            where a lap print and a roller's series claim the same marks the likelier one stays.
        settings: what counts as a series.

    Returns:
        The series, most significant first; ``members`` are rows of the marks as given. Empty when there are none.

    Raises:
        ArgumentError: unequal lengths, NaN, places outside the roll, a length that isn't greater than 0, stretches that
            are inverted, overlapping or outside the roll, settings or winding out of range.

    Example:
        >>> turns = np.arange(60)
        >>> search = find_series(
        ...     0.2 + 0.7 * turns,
        ...     np.full(60, 300.0),
        ...     length_m=42.0,
        ...     rollers=[Roller(name="T3", diameter_mm=223.0)],
        ... )
        >>> round(search[0].spacing_m, 3), search[0].candidates[0].roller
        (0.7, 'T3')
    """
    web = lay_out(along_m, across_mm, length_m, observed)
    wanted = settings if winding is None else replace(settings, false_alarm=max(settings.false_alarm, _RIVAL))
    desk = open_desk(web, rollers, wanted)
    lanes = [Lane(middle_mm=middle, rows=rows) for middle, rows in lane_rows(web.across, settings)]
    series = tuple(sorted(_take_out(desk, lanes), key=lambda one: (-one.log_evidence, one.across_mm)))
    if winding is not None:
        rivals = settle_rivals(series, _laps_beside(series, web, winding, wanted))
        series = tuple(one for one in rivals if one.false_alarm <= settings.false_alarm / 2.0)
    return SeriesSearch(
        series=with_makers(series, settings.lane_mm),
        marks=web.along.size,
        lanes=len(lanes),
        trials=len(lanes) * desk.trials.spacings.size,
        length_m=float(length_m),
        observed=web.observed,
        settings=settings,
    )


def _laps_beside(series: Sequence[Series], web: Web, winding: Winding, settings: SeriesSettings) -> tuple[Series, ...]:
    """Lap prints among the marks that no series of too many turns for one holds; members as rows of what was given."""
    turning = {member for one in series if len(one.members) > _MOST_LAPS for member in one.members}
    rows = np.array([row for row, given in enumerate(web.given.tolist()) if given not in turning], dtype=np.int64)
    laps = find_laps(
        web.along[rows],
        web.across[rows],
        length_m=web.length_m,
        winding=winding,
        observed=web.observed,
        settings=settings,
    )
    given = web.given[rows]
    return tuple(replace(one, members=tuple(given[list(one.members)].tolist())) for one in laps)


def _take_out(desk: Desk, lanes: Sequence[Lane]) -> list[Series]:
    """One series after another, the clearest lane first, until none is clear."""
    left = np.ones(desk.web.along.size, dtype=bool)
    weighed = [weigh_lane(desk, lane, left) for lane in lanes]
    series: list[Series] = []
    while lanes:
        best = max(range(len(lanes)), key=lambda number: weighed[number].log_evidence)
        evidence = weighed[best].log_evidence
        if evidence < log(len(lanes) / desk.settings.false_alarm):
            break
        case = settle(desk, lanes[best], weighed[best], left)
        if case.members.size < desk.settings.least_turns:
            weighed[best] = replace(weighed[best], log_evidence=-inf)
            continue
        one = as_series(desk, case)
        series.append(replace(one, log_evidence=evidence, false_alarm=len(lanes) * exp(-evidence)))
        gone = left & beside(desk, case.members)
        left &= ~gone
        for number, lane in enumerate(lanes):
            if gone[lane.rows].any():
                weighed[number] = weigh_lane(desk, lane, left)
    return series
