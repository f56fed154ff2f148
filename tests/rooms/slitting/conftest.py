"""Small requests for the slitter, so small that every cut of them can be tried."""

import pytest
from hypothesis import strategies as st

from wideroll.roll import Extent
from wideroll.slitting import Avoid, ByMetre, CutRules, SlitWidth


def _extent(along, across):
    return Extent(along_from_m=along[0], along_to_m=along[1], across_from_mm=across[0], across_to_mm=across[1])


@st.composite
def _spots(draw, length_m, width_mm):
    along = sorted(draw(st.tuples(st.integers(0, length_m), st.integers(0, length_m))))
    if draw(st.integers(0, 3)) == 0:
        return _extent(along, (0.0, float(width_mm)))
    across = sorted(draw(st.tuples(st.integers(0, 4 * width_mm), st.integers(0, 4 * width_mm))))
    return _extent(along, (across[0] / 4, across[1] / 4))


@st.composite
def _streaks(draw, length_m, width_mm):
    """One from the head and one to the tail, which want other lanes."""
    regions = []
    for along in ((0, draw(st.integers(5, length_m - 5))), (draw(st.integers(5, length_m - 5)), length_m)):
        low = draw(st.integers(0, 4 * width_mm - 4))
        regions.append(_extent(along, (low / 4, (low + draw(st.integers(1, 4))) / 4)))
    return regions


@st.composite
def requests(draw, *, streaks=False):
    """Arguments of ``plan_cut``: webs of some metres and millimetres, one or two widths, quarter-millimetre places."""
    length_m = draw(st.integers(20, 30) if streaks else st.integers(4, 14))
    width_mm = draw(st.integers(9, 13) if streaks else st.integers(9, 20))
    sizes = draw(st.lists(st.integers(10, 18 if streaks else 30), min_size=1, max_size=2, unique=True))
    values = draw(st.tuples(st.integers(1, 9), st.integers(1, 9)))
    regions = draw(st.lists(_spots(length_m, width_mm), max_size=1 if streaks else 3))
    if streaks:
        regions += draw(_streaks(length_m, width_mm))
    return {
        "whole": _extent((0.0, float(length_m)), (0.0, float(width_mm))),
        "avoid": [Avoid(extent=region, reason=f"r{number % 2}") for number, region in enumerate(regions)],
        "widths": [
            SlitWidth(name=f"w{size}", width_mm=size / 4, tolerance_mm=0.0, finish=ByMetre(value_per_m=float(value)))
            for size, value in zip(sizes, values, strict=False)
        ],
        "rules": CutRules(
            knife_step_mm=draw(st.sampled_from([0.5, 1.0, 2.0])),
            edge_trim_mm=draw(st.sampled_from([0.0, 0.5])),
            trim_between_mm=draw(st.sampled_from([0.0, 0.25, 1.0])),
            least_piece_m=float(draw(st.integers(0, 4))),
            setup_m=float(draw(st.integers(0, 3))),
        ),
    }


@pytest.fixture(scope="session", params=[False, True], ids=["spots", "streaks"])
def small_requests(request):
    """The strategy for small requests; with streaks, a change of knives often pays."""
    return requests(streaks=request.param)
