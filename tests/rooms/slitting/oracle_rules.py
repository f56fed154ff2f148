"""Whether a plan keeps the slitter's rules, checked piece by piece from what the plan says of itself."""

import itertools
import math
from collections import Counter, defaultdict

import pytest

from wideroll.roll import union_area_m2
from wideroll.slitting import ByLength, ByMetre, CrossCutAt, KnifeAt, Quality, Spliced, WithoutWidth

__all__ = ["check_keeps_rules"]

_SAME_M, _SAME_MM = 1e-6, 1e-6


def check_keeps_rules(plan):
    """Assert that knives, runs, pieces, finished rolls, values, time and areas of a plan are as the rules say."""
    _check_runs(plan)
    for run in plan.runs:
        _check_knives(plan, run)
    homes = {piece.number: _home(plan, piece) for piece in plan.pieces}
    for piece in plan.pieces:
        _check_film(plan, piece)
    _check_numbers(plan)
    _check_rolls(plan, homes)
    _check_lanes(plan, homes)
    _check_sums(plan)
    for wish in plan.wishes:
        _check_wish(plan, wish)


def _sets(plan):
    """Runs of each knife set in slitter order."""
    sets = defaultdict(list)
    for run in reversed(plan.runs):
        sets[run.knife_set].append(run)
    return sets


def _check_runs(plan):
    """Runs lie in order, no longer than may be; between two knife sets lies the web lost; the time is theirs."""
    rules, whole = plan.rules, plan.whole
    spans = [(run.along_from_m, run.along_to_m) for run in plan.runs]
    assert all(whole.along_from_m - _SAME_M <= a < b <= whole.along_to_m + _SAME_M for a, b in spans)
    assert all(b - a <= rules.run_m + _SAME_M for a, b in spans)
    sets = _sets(plan)
    assert list(sets) == list(range(1, len(sets) + 1))
    for run, nearer_tail in itertools.pairwise(plan.runs):
        gap = nearer_tail.along_from_m - run.along_to_m
        if run.knife_set == nearer_tail.knife_set:
            assert gap == pytest.approx(0.0, abs=_SAME_M)
            assert run.lanes == nearer_tail.lanes
            assert nearer_tail.along_to_m - nearer_tail.along_from_m == pytest.approx(rules.run_m)
        else:
            assert gap >= rules.setup_m - _SAME_M
    if plan.runs:
        stops = len(plan.runs) - len(sets)
        minutes = stops * rules.stop_minutes + (len(sets) - 1) * rules.setup_minutes
        assert plan.minutes == pytest.approx(minutes)
    else:
        assert plan.minutes == 0.0


def _check_knives(plan, run):
    """Lanes lie in the usable web at their widths, in packs that start on the knife scale or at a fixed knife."""
    rules, wanted = plan.rules, {width.name: width for width in plan.widths}
    low_mm, high_mm = plan.whole.across_from_mm + rules.edge_trim_mm, plan.whole.across_to_mm - rules.edge_trim_mm
    fixed = [wish.across_mm for wish in plan.wishes if isinstance(wish, KnifeAt)]
    reach = -math.inf
    _check_strips(plan, run)
    for name, start, end in run.lanes:
        assert abs(end - start - wanted[name].width_mm) <= max(wanted[name].tolerance_mm, _SAME_MM)
        assert low_mm - _SAME_MM <= start
        assert end <= high_mm + _SAME_MM
        assert start - reach >= rules.trim_between_mm - _SAME_MM
        steps = (start - low_mm) / rules.knife_step_mm
        on_scale = abs(steps - round(steps)) * rules.knife_step_mm <= _SAME_MM
        in_pack = abs(start - reach - rules.trim_between_mm) <= 1e-3 + _SAME_MM
        assert on_scale or in_pack or any(abs(start - knife) <= _SAME_MM for knife in fixed)
        reach = end


def _check_strips(plan, run):
    """Each strip of web beside a lane is as wide as the trim there, or as the least strip and no less than the trim."""
    if not run.lanes:
        return
    rules = plan.rules
    first, last = run.lanes[0][1] - plan.whole.across_from_mm, plan.whole.across_to_mm - run.lanes[-1][2]
    gaps = [after[1] - before[2] for before, after in itertools.pairwise(run.lanes)]
    strips = [(first, rules.edge_trim_mm), *((gap, rules.trim_between_mm) for gap in gaps), (last, rules.edge_trim_mm)]
    for strip, trim in strips:
        assert abs(strip - trim) <= 1e-3 + _SAME_MM or strip >= max(trim, rules.least_strip_mm) - _SAME_MM


def _home(plan, piece):
    """The run and lane that a piece is cut in: one and only one."""
    ours = piece.extent
    homes = [
        (run, lane)
        for run in plan.runs
        for lane in run.lanes
        if lane[0] == piece.width
        and abs(lane[1] - ours.across_from_mm) <= _SAME_MM
        and abs(lane[2] - ours.across_to_mm) <= _SAME_MM
        and run.along_from_m - _SAME_M <= ours.along_from_m
        and ours.along_to_m <= run.along_to_m + _SAME_M
    ]
    assert len(homes) == 1, piece
    return homes[0]


def _meets(one, other):
    """Whether two extents overlap by more than rounding; a point or line lies within a piece or it doesn't."""
    return (
        one.along_from_m < other.along_to_m - _SAME_M
        and one.along_to_m > other.along_from_m + _SAME_M
        and one.across_from_mm < other.across_to_mm
        and one.across_to_mm > other.across_from_mm
    )


def _check_film(plan, piece):
    """A piece touches nothing avoided, is second just where it holds downgraded film, and lies over no wished cut."""
    met = [one for one in plan.avoid if one.extent.area_m2 > 0 and _meets(one.extent, piece.extent)]
    assert all(one.downgrade for one in met)
    assert piece.quality is (Quality.SECOND if met else Quality.FIRST)


def _check_numbers(plan):
    """Numbers are unique and follow the slitter: from the tail, then across."""
    numbers = [piece.number for piece in plan.pieces]
    assert numbers == sorted(set(numbers))
    places = [(-round(p.extent.along_to_m, 6), p.extent.across_from_mm) for p in plan.pieces]
    assert places == sorted(places)
    rolls = [roll.number for roll in plan.rolls]
    assert rolls == sorted(set(rolls))


def _check_rolls(plan, homes):
    """Each piece is in one roll; lengths, qualities, values, splices and counted marks are what the finish says."""
    pieces = {piece.number: piece for piece in plan.pieces}
    assert Counter(number for roll in plan.rolls for number in roll.pieces) == Counter(pieces.keys())
    finishes = {width.name: width.finish for width in plan.widths}
    for roll in plan.rolls:
        parts = [pieces[number] for number in roll.pieces]
        assert {part.roll for part in parts} == {roll.number}
        assert roll.number == parts[0].number
        assert {(part.width, part.quality) for part in parts} == {(roll.width, roll.quality)}
        lengths = [part.extent.length_m for part in parts]
        assert roll.length_m == pytest.approx(sum(lengths), abs=_SAME_M)
        _check_finish(finishes[roll.width], roll, lengths, plan.rules)
        _check_one_lane(parts, homes)
        shares = [roll.value * length / sum(lengths) for length in lengths]
        assert [part.value for part in parts] == pytest.approx(shares, abs=1e-6)
        found = tuple(sum(_meets(m, p.extent) for m in limit.marks for p in parts) for limit in plan.counts)
        assert roll.marks == found
        assert all(n <= limit.most for n, limit in zip(found, plan.counts, strict=True))


def _check_finish(finish, roll, lengths, rules):
    second = roll.quality is Quality.SECOND
    if isinstance(finish, ByMetre):
        assert len(lengths) == 1
        assert lengths[0] >= rules.least_piece_m - _SAME_M
        value = lengths[0] * (finish.second_per_m if second else finish.value_per_m)
    elif isinstance(finish, ByLength):
        assert len(lengths) == 1
        (value,) = [
            one.second_value if second else one.value
            for one in finish.lengths
            if one.length_m == pytest.approx(lengths[0], abs=_SAME_M)
        ]
    else:
        assert isinstance(finish, Spliced)
        assert not second
        assert sum(lengths) == pytest.approx(finish.length_m, abs=_SAME_M)
        assert roll.splices == len(lengths) - 1 <= finish.most_splices
        assert len(lengths) == 1 or min(lengths) >= finish.least_between_m - _SAME_M
        value = finish.value - roll.splices * finish.loss_per_splice
    assert value > 0
    assert roll.value == pytest.approx(value, abs=1e-6)


def _check_one_lane(parts, homes):
    """The parts of a roll follow one another in one lane of one knife set."""
    assert len({(homes[part.number][0].knife_set, homes[part.number][1]) for part in parts}) == 1
    for part, later in itertools.pairwise(parts):
        assert later.extent.along_to_m <= part.extent.along_from_m + _SAME_M


def _check_lanes(plan, homes):
    """In a lane of a knife set pieces lie apart, a roll is whole before the next begins, and something is cut."""
    by_lane = defaultdict(list)
    for piece in plan.pieces:
        run, lane = homes[piece.number]
        by_lane[run.knife_set, lane].append(piece)
    assert set(by_lane) == {(run.knife_set, lane) for run in plan.runs for lane in run.lanes}
    for pieces in by_lane.values():
        for piece, later in itertools.pairwise(pieces):
            assert later.extent.along_to_m <= piece.extent.along_from_m + _SAME_M
        wound = [roll for roll, _ in itertools.groupby(piece.roll for piece in pieces)]
        assert len(wound) == len(set(wound))


def _check_sums(plan):
    """Values add up, the bound holds, and pieces and losses make up the web."""
    assert plan.value == pytest.approx(math.fsum(piece.value for piece in plan.pieces), abs=1e-6)
    assert plan.value == pytest.approx(math.fsum(roll.value for roll in plan.rolls), abs=1e-6)
    assert plan.net == pytest.approx(plan.value - plan.minutes * plan.rules.value_per_minute, abs=1e-6)
    assert plan.net <= plan.bound + 1e-6
    areas = [piece.extent for piece in plan.pieces]
    kept = math.fsum(area.area_m2 for area in areas)
    assert union_area_m2(areas) == pytest.approx(kept, abs=1e-9)
    assert all(loss.area_m2 > 0 for loss in plan.losses)
    assert kept + math.fsum(loss.area_m2 for loss in plan.losses) == pytest.approx(plan.whole.area_m2)


def _check_wish(plan, wish):
    if isinstance(wish, KnifeAt):
        for run in plan.runs:
            borders = [border for _, *ends in run.lanes for border in ends]
            assert any(border == pytest.approx(wish.across_mm, abs=_SAME_MM) for border in borders)
            assert not any(low + _SAME_MM < wish.across_mm < high - _SAME_MM for _, low, high in run.lanes)
    elif isinstance(wish, CrossCutAt):
        assert not any(
            p.extent.along_from_m + _SAME_M < wish.along_m < p.extent.along_to_m - _SAME_M for p in plan.pieces
        )
    else:
        assert isinstance(wish, WithoutWidth)
        assert wish.name not in {piece.width for piece in plan.pieces}
