"""Lanes side by side, and starts one after the other, share what was found; that changes nothing."""

from dataclasses import replace

import numpy as np
import pytest
from lane_alone import lane_worths

from wideroll.roll import Extent
from wideroll.slitting import Avoid, ByLength, ByMetre, CountLimit, CutRules, FinishedLength, SlitWidth, Spliced
from wideroll.slitting.desk import prepare_cut, rows_of
from wideroll.slitting.lane_crowded import crowded_ends, crowded_parts
from wideroll.slitting.lane_spliced import spliced_parts
from wideroll.slitting.lanes import lane_of_berth
from wideroll.slitting.request import Request

_LENGTH_M, _WIDTH_MM = 400.0, 300.0
_FINISHES = {
    "by the metre": ByMetre(value_per_m=1.0, second_per_m=0.3),
    "by length": ByLength(
        lengths=tuple(FinishedLength(length_m=m, value=m * m**0.1, second_value=0.3 * m) for m in (10.0, 30.5))
    ),
    "spliced": Spliced(length_m=30.5, value=30.5, most_splices=2, least_between_m=4.0, loss_per_splice=1.0),
}


def _extents(rng, count, long_m, wide_mm):
    """Flaws at random places to the millimetre along and the micrometre across."""
    for _ in range(count):
        along, across = rng.uniform(0.0, _LENGTH_M - 0.1), rng.uniform(0.0, _WIDTH_MM - 1.0)
        ends = along + rng.uniform(0.01, long_m), across + rng.uniform(0.1, wide_mm)
        yield Extent(
            along_from_m=round(along, 3),
            along_to_m=round(min(ends[0], _LENGTH_M), 3),
            across_from_mm=round(across, 3),
            across_to_mm=round(min(ends[1], _WIDTH_MM), 3),
        )


def _desk(rng, finish, *, marks, most, **rules):
    avoid = [Avoid(extent=one, reason="spot", downgrade=bool(rng.integers(2))) for one in _extents(rng, 60, 8.0, 20.0)]
    widths = (
        SlitWidth(name="35", width_mm=34.975, tolerance_mm=0.025, finish=finish),
        SlitWidth(name="16", width_mm=15.95, tolerance_mm=0.025, finish=finish),
    )
    limit = CountLimit(name="marks", most=most, marks=tuple(_extents(rng, marks, 0.1, 2.0)))
    whole = Extent(along_from_m=0.0, along_to_m=_LENGTH_M, across_from_mm=0.0, across_to_mm=_WIDTH_MM)
    return prepare_cut(
        Request(whole=whole, avoid=tuple(avoid), widths=widths, rules=CutRules(**rules), counts=(limit,), wishes=())
    )


@pytest.mark.parametrize("rules", [{}, {"most_run_m": 90.0}], ids=["without stops", "with stops"])
@pytest.mark.parametrize("marks", [0, 40, 400])
@pytest.mark.parametrize("finish", _FINISHES.values(), ids=_FINISHES.keys())
def test_every_lane_is_worth_what_it_is_worth_alone(finish, marks, rules):
    """For sixteen beginnings and ends at random each berth has the worth that its lane has by itself."""
    rng = np.random.default_rng(marks + 1)
    desk = _desk(rng, finish, marks=marks, most=2, **rules)
    starts_m = np.concatenate([[0.0], np.sort(rng.uniform(0.0, _LENGTH_M, 15))])
    ends_m = np.append(np.sort(rng.uniform(0.0, _LENGTH_M, 15)), _LENGTH_M)
    firsts = np.searchsorted(ends_m, starts_m, side="right")
    berths = np.sort(rng.choice(desk.table.breaks.size, 60, replace=False)).tolist()
    for start, row in enumerate(rows_of(desk, starts_m, ends_m, firsts)):
        for berth in berths:
            width = int(np.searchsorted(desk.table.offsets, berth, side="right")) - 1
            lane = lane_of_berth(desk.table.stowed, berth)
            alone = lane_worths(lane, desk.sold[width], float(starts_m[start]), ends_m[firsts[start] :])
            np.testing.assert_allclose(row[:, berth], alone, atol=1e-6)


@pytest.mark.parametrize("seed", range(12))
def test_spliced_rolls_are_worth_the_same_however_many_loads_are_told_apart(seed):
    """The way for very many loads of marks finds what the fast way for few finds, and its parts are worth it."""
    rng = np.random.default_rng(seed)
    splices, most = int(rng.integers(1, 5)), int(rng.integers(0, 4))
    finish = replace(_FINISHES["spliced"], most_splices=splices)
    desk = _desk(rng, finish, marks=int(rng.integers(10, 200)), most=most)
    ends_m = np.array([100.0, 250.0, _LENGTH_M])
    for berth in rng.choice(desk.table.breaks.size, 30).tolist():
        lane, sold = lane_of_berth(desk.table.stowed, berth), desk.sold[0]
        worths = lane_worths(lane, sold, 0.0, ends_m)
        np.testing.assert_allclose(crowded_ends(lane, sold, 0.0, ends_m), worths, atol=1e-6)
        for parts_of in (crowded_parts, spliced_parts):
            parts, rolls = parts_of(lane, sold, 0.0, _LENGTH_M)
            made = len(set(rolls.tolist()))
            assert made * finish.value - (len(parts) - made) * finish.loss_per_splice == pytest.approx(worths[-1])
