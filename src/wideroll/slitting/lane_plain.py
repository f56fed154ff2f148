"""What spliced rolls make of a lane in which no roll could carry too many counted marks.

A roll in progress is known by what was made before it, the length its parts could have at most, and their number. What
is made before it is told against the best that is finished, so the rolls in progress, the *state*, only say what is
still to come: where two ways through the lane come to a stretch in the same state, all beyond differs by one amount.
So a lane is followed through once, and another start or a neighbouring lane only until it comes to a known state.

From a clean stretch of length l the last part of a roll takes what it lacks, but no less than the least between
splices; then come as many whole rolls as fit, and what is left begins a roll. A part that goes on takes all of l.
"""

from typing import NamedTuple

import numpy as np
from numba import njit

from wideroll.slitting.lane import Floats, Ints, Selling
from wideroll.slitting.lane_stretches import TOUCH_M, WORTH_TIE, copy_rows, count_below, count_to, grow

__all__ = ["Splicing", "Track", "plain_worths", "splicing_of", "track_lane", "trim", "without_track"]

_WORTH, _LENGTH, _NUMBER = range(3)


class Splicing(NamedTuple):
    """How rolls are spliced: see ``Spliced``."""

    length_m: float
    value: float
    between_m: float
    loss: float
    most_splices: int


class Track(NamedTuple):
    """A lane followed from its start: what is known before each of its stretches (S, 2), and at the ends asked for.

    ``states`` (N, 3) are the rolls in progress before each stretch, in rows ``at[s]`` to ``at[s + 1]`` (S + 1,): worth
    before the roll less what is finished, length, number of parts. ``finished`` (S,) is the worth finished by then.
    ``worths`` (E,) are those at the ends.
    """

    stretches: Floats
    states: Floats
    at: Ints
    finished: Floats
    worths: Floats


@njit(cache=True, nogil=True)
def splicing_of(sold: Selling, piece_cost: float) -> Splicing:
    """Of a width sold as spliced rolls, where each piece costs so much."""
    value, loss = sold.values[0] - piece_cost, sold.loss_per_splice + piece_cost
    return Splicing(sold.lengths_m[0], value, sold.least_between_m, loss, sold.most_splices)


@njit(cache=True, nogil=True)
def trim(parts: Floats, splicing: Splicing) -> None:
    """Cut off the starts of the first parts what is too long, so that each stays long enough."""
    extra = -splicing.length_m
    for part in range(parts.shape[0]):
        extra += parts[part, 1] - parts[part, 0]
    for part in range(parts.shape[0] - 1):
        cut = max(min(extra, parts[part, 1] - parts[part, 0] - splicing.between_m), 0.0)
        parts[part, 0] += cut
        extra -= cut


@njit(cache=True, nogil=True)
def without_track() -> Track:
    """Nothing known."""
    return Track(np.zeros((0, 2)), np.zeros((0, 3)), np.zeros(1, dtype=np.int64), np.zeros(0), np.zeros(0))


@njit(cache=True, nogil=True)
def track_lane(stretches: Floats, splicing: Splicing, ends_m: Floats, before: Track) -> Track:
    """Follow a lane from its start.

    Args:
        stretches: (S, 2) clean stretches, from and to, ascending.
        splicing: how rolls are spliced.
        ends_m: (E,) ascending.
        before: a like lane, followed to the same ends.

    Returns:
        What is known of the lane then.
    """
    count, known, same = stretches.shape[0], before.stretches.shape[0], 0
    while same < min(count, known - 1) and _is_same(stretches[same], before.stretches[same]):
        same += 1
    alike = count
    while alike > same and alike + known - count > same:
        if not _is_same(stretches[alike - 1], before.stretches[alike - 1 + known - count]):
            break
        alike -= 1
    at, finished = np.zeros(count + 1, dtype=np.int64), np.zeros(count)
    worths, end = np.zeros(ends_m.size), 0
    states = np.empty((before.states.shape[0] + 16, 3))
    rolls, spare, open_rolls, total = np.empty((16, 3)), np.empty((16, 3)), 0, 0.0
    if same > 0:
        used = before.at[same]
        copy_rows(states, 0, before.states[:used])
        at[: same + 1], finished[:same] = before.at[: same + 1], before.finished[:same]
        total = before.finished[same] if same < known else total
        open_rolls = before.at[same + 1] - used
        rolls = np.empty((open_rolls + 16, 3))
        copy_rows(rolls, 0, before.states[used : used + open_rolls])
        end = count_below(ends_m, before.stretches[same - 1, 1])
        worths[:end] = before.worths[:end]
    for number in range(same, count):
        from_m, to_m = stretches[number, 0], stretches[number, 1]
        while states.shape[0] < at[number] + open_rolls:
            states = grow(states)
        copy_rows(states, at[number], rolls[:open_rolls])
        at[number + 1], finished[number] = at[number] + open_rolls, total
        old = number + known - count
        if number >= alike and _is_known(rolls, open_rolls, before, old):
            return _with_rest(Track(stretches, states, at, finished, worths), before, number, ends_m)
        end = _fill(worths, ends_m, end, from_m, to_m, total, rolls[:open_rolls], splicing)
        if spare.shape[0] < 3 * open_rolls + 1:
            spare = np.empty((6 * open_rolls + 2, 3))
        gain = _best_in(rolls[:open_rolls], splicing, to_m - from_m)
        open_rolls = _go_through(rolls[:open_rolls], splicing, to_m - from_m, gain, spare)
        rolls, spare, total = spare, rolls, total + gain
    worths[end:] = total
    return Track(stretches, states, at, finished, worths)


@njit(cache=True, nogil=True)
def _is_same(one: Floats, other: Floats) -> bool:
    """Whether two stretches begin and end alike."""
    return bool(one[0] == other[0] and one[1] == other[1])


@njit(cache=True, nogil=True)
def plain_worths(stretches: Floats, splicing: Splicing, start_m: float, ends_m: Floats, track: Track) -> Floats:
    """Worth of the best rolls from a place where the knives are set to each of several ends.

    Args:
        stretches: (S, 2) clean stretches of the lane, from and to, ascending.
        splicing: how rolls are spliced.
        start_m: where the knives are set.
        ends_m: (E,) ascending.
        track: the same lane followed to the same ends, or nothing.

    Returns:
        (E,) worth; 0 for ends before the start.
    """
    worths = np.zeros(ends_m.size)
    rolls, spare, open_rolls, total = np.empty((16, 3)), np.empty((16, 3)), 0, 0.0
    end = count_to(ends_m, start_m)
    for number in range(count_to(stretches[:, 1], start_m), stretches.shape[0]):
        if end == ends_m.size:
            break
        from_m, to_m = max(stretches[number, 0], start_m), stretches[number, 1]
        if from_m == stretches[number, 0] and _is_known(rolls, open_rolls, track, number):
            while end < ends_m.size and ends_m[end] <= from_m:
                worths[end] = total
                end += 1
            worths[end:] = track.worths[end:] + (total - track.finished[number])
            return worths
        end = _fill(worths, ends_m, end, from_m, to_m, total, rolls[:open_rolls], splicing)
        if spare.shape[0] < 3 * open_rolls + 1:
            spare = np.empty((6 * open_rolls + 2, 3))
        gain = _best_in(rolls[:open_rolls], splicing, to_m - from_m)
        open_rolls = _go_through(rolls[:open_rolls], splicing, to_m - from_m, gain, spare)
        rolls, spare, total = spare, rolls, total + gain
    worths[end:] = total
    return worths


@njit(cache=True, nogil=True)
def _fill(  # noqa: PLR0917  -- compiled
    worths: Floats,
    ends_m: Floats,
    end: int,
    from_m: float,
    to_m: float,
    total: float,
    rolls: Floats,
    splicing: Splicing,
) -> int:
    """Worths of the ends before and in a stretch; the first end beyond."""
    while end < ends_m.size and ends_m[end] < to_m:
        worths[end] = total
        if ends_m[end] > from_m:
            worths[end] += _best_in(rolls, splicing, ends_m[end] - from_m)
        end += 1
    return end


@njit(cache=True, nogil=True)
def _best_in(rolls: Floats, splicing: Splicing, length_m: float) -> float:
    """What a clean stretch adds to what is finished."""
    best = np.floor((length_m + TOUCH_M) / splicing.length_m) * splicing.value
    for row in range(rolls.shape[0]):
        rest_m = length_m + TOUCH_M - max(splicing.between_m, splicing.length_m - rolls[row, _LENGTH])
        if rest_m >= 0.0:
            worth = rolls[row, _WORTH] + splicing.value - splicing.loss * rolls[row, _NUMBER]
            best = max(best, worth + np.floor(rest_m / splicing.length_m) * splicing.value)
    return float(best)


@njit(cache=True, nogil=True)
def _go_through(rolls: Floats, splicing: Splicing, length_m: float, gain: float, beyond: Floats) -> int:
    """The rolls in progress beyond a stretch, that adds ``gain``, into ``beyond``; how many they are."""
    count, between_m = 0, splicing.between_m
    begins = splicing.most_splices > 0 and 2.0 * between_m <= splicing.length_m + TOUCH_M
    for row in range(-1, rolls.shape[0]):
        worth, lacks_m, number = 0.0, 0.0, 0.0
        if row >= 0:
            worth, number = rolls[row, _WORTH], rolls[row, _NUMBER] + 1.0
            count = _add(beyond, count, splicing, gain, worth, rolls[row, _LENGTH], number - 1.0)
            if (
                length_m >= between_m - TOUCH_M
                and number <= splicing.most_splices
                and (number + 1.0) * between_m <= splicing.length_m + TOUCH_M
            ):
                count = _add(beyond, count, splicing, gain, worth, rolls[row, _LENGTH] + length_m, number)
            lacks_m = max(between_m, splicing.length_m - rolls[row, _LENGTH])
            worth += splicing.value - splicing.loss * (number - 1.0)
        if begins and length_m + TOUCH_M >= lacks_m:
            whole = np.floor((length_m + TOUCH_M - lacks_m) / splicing.length_m)
            rest_m = length_m - lacks_m - whole * splicing.length_m
            if rest_m >= between_m - TOUCH_M:
                count = _add(beyond, count, splicing, gain, worth + whole * splicing.value, rest_m, 1.0)
    return count


@njit(cache=True, nogil=True)
def _add(  # noqa: PLR0917  -- compiled
    beyond: Floats, count: int, splicing: Splicing, gain: float, worth: float, length_m: float, number: float
) -> int:
    """With a roll in progress, unless it can't pay or another one is as good; without those it is better than."""
    worth -= gain
    if worth + splicing.value - splicing.loss * number <= WORTH_TIE:
        return count
    length_m = min(length_m, splicing.length_m - splicing.between_m)
    kept = 0
    for row in range(count):
        other, other_m, others = beyond[row, _WORTH], beyond[row, _LENGTH], beyond[row, _NUMBER]
        if other >= worth - WORTH_TIE and other_m >= length_m - TOUCH_M and others <= number:
            return count
        if not (worth >= other - WORTH_TIE and length_m >= other_m - TOUCH_M and number <= others):
            beyond[kept, _WORTH], beyond[kept, _LENGTH], beyond[kept, _NUMBER] = other, other_m, others
            kept += 1
    beyond[kept, _WORTH], beyond[kept, _LENGTH], beyond[kept, _NUMBER] = worth, length_m, number
    return kept + 1


@njit(cache=True, nogil=True)
def _is_known(rolls: Floats, count: int, track: Track, number: int) -> bool:
    """Whether the state is that before a stretch of a lane followed already."""
    if number < 0 or number >= track.stretches.shape[0] or track.at[number + 1] - track.at[number] != count:
        return False
    for row in range(count):
        other = track.at[number] + row
        if abs(rolls[row, _WORTH] - track.states[other, _WORTH]) > WORTH_TIE:
            return False
        if abs(rolls[row, _LENGTH] - track.states[other, _LENGTH]) > TOUCH_M:
            return False
        if rolls[row, _NUMBER] != track.states[other, _NUMBER]:
            return False
    return True


@njit(cache=True, nogil=True)
def _with_rest(track: Track, before: Track, number: int, ends_m: Floats) -> Track:
    """The track from a stretch on as that of a like lane."""
    old = number + before.stretches.shape[0] - track.stretches.shape[0]
    first, more = before.at[old], before.at[-1] - before.at[old]
    states = np.empty((track.at[number] + more, 3))
    copy_rows(states, 0, track.states[: track.at[number]])
    copy_rows(states, track.at[number], before.states[first : first + more])
    track.at[number:] = before.at[old:] + (track.at[number] - first)
    total, shift = track.finished[number], track.finished[number] - before.finished[old]
    track.finished[number:] = before.finished[old:] + shift
    begun = count_to(ends_m, track.stretches[number, 0])
    done = count_below(ends_m, track.stretches[number - 1, 1]) if number > 0 else 0
    track.worths[done:begun] = total
    track.worths[begun:] = before.worths[begun:] + shift
    return Track(track.stretches, states, track.at, track.finished, track.worths)
