"""Spliced rolls with counted marks are worked out only where it matters; that changes no plan."""

from functools import partial

import numpy as np
import pytest
from test_rows import _FINISHES, _desk

from wideroll.slitting.along import best_sets
from wideroll.slitting.desk import best_knife_sets, rows_of
from wideroll.slitting.lanes import tabulate_lanes
from wideroll.slitting.rows_lazy import TOGETHER, LazyRows

_RULES = [{"setup_m": 2.0}, {"most_run_m": 90.0, "stop_minutes": 1.0, "value_per_minute": 0.5}]


@pytest.mark.parametrize("rules", _RULES, ids=["without stops", "with stops"])
@pytest.mark.parametrize("seed", range(3))
def test_the_plan_is_that_of_lanes_all_worked_out(seed, rules):
    """The best sets and their worth are those found with every lane's exact worth."""
    desk = _desk(np.random.default_rng(seed), _FINISHES["spliced"], marks=150 + 100 * seed, most=1, **rules)
    net, sets = best_knife_sets(desk)
    rows = partial(rows_of, desk)
    exact = best_sets(desk.scale, desk.changes, rows, rules=desk.request.rules, length_m=desk.web.length_m)
    assert net == pytest.approx(exact[0], abs=1e-6)
    assert sets == exact[1]


@pytest.mark.parametrize("rules", _RULES, ids=["without stops", "with stops"])
def test_no_lane_counts_with_less_than_its_worth(rules):
    """Worths at first, and after some lanes were worked out, are at least the exact ones; those of these are exact."""
    rng = np.random.default_rng(5)
    desk = _desk(rng, _FINISHES["spliced"], marks=300, most=1, **rules)
    starts_m, ends_m = np.array([0.0, 1.0, 60.0, 200.0]), np.array([60.0, 180.0, 400.0])
    firsts = np.searchsorted(ends_m, starts_m, side="right")
    exact = list(rows_of(desk, starts_m, ends_m, firsts))
    rough = tabulate_lanes(desk.request, desk.web, desk.knives, together=TOGETHER)
    lazy = LazyRows(desk.table, rough, desk.sold)
    worths = list(lazy.rows(starts_m, ends_m, firsts))
    assert any(np.any(one > own + 1.0) for one, own in zip(worths, exact, strict=True))
    lanes = [(int(rng.integers(0, desk.table.knives.lasts[width])), width) for width in (0, 1) for _ in range(40)]
    for start in (0, 2):
        assert lazy.sharpen(start, lanes)
        assert not lazy.sharpen(start, lanes)
        berths = [desk.table.berth_of(*lane) for lane in lanes]
        np.testing.assert_allclose(worths[start][:, berths], exact[start][:, berths], atol=1e-9)
        for one, own in zip(worths, exact, strict=True):
            assert np.all(one >= own - 1e-9)
