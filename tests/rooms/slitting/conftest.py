"""Requests for the slitter: some so small that every cut of them can be tried, some as wide as a roll."""

import sys
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import strategies as st

from wideroll.roll import Extent
from wideroll.slitting import (
    Avoid,
    ByLength,
    ByMetre,
    CountLimit,
    CrossCutAt,
    CutRules,
    FinishedLength,
    KnifeAt,
    SlitWidth,
    Spliced,
    WithoutWidth,
)

sys.path.append(str(Path(__file__).parent))  # where the oracles lie


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
            least_strip_mm=draw(st.sampled_from([0.0, 0.0, 0.75, 2.0])),
            least_piece_m=float(draw(st.integers(0, 4))),
            setup_m=float(draw(st.integers(0, 3))),
        ),
    }


@pytest.fixture(scope="session", params=[False, True], ids=["spots", "streaks"])
def small_requests(request):
    """The strategy for small requests; with streaks, a change of knives often pays."""
    return requests(streaks=request.param)


@st.composite
def _finishes(draw, kinds, scale=1):
    """A way of selling film; lengths are small multiples of ``scale`` metres, values quarters."""
    kind = draw(st.sampled_from(kinds))
    value, second = draw(st.integers(4, 36)) / 4, draw(st.integers(0, 4)) / 4
    if kind is ByMetre:
        return ByMetre(value_per_m=value, second_per_m=second * draw(st.integers(0, 1)))
    if kind is ByLength:
        lengths = draw(st.lists(st.integers(1, 5), min_size=1, max_size=2, unique=True))
        return ByLength(
            lengths=tuple(
                FinishedLength(
                    length_m=float(n * scale), value=n * value, second_value=second * draw(st.integers(0, 1))
                )
                for n in lengths
            )
        )
    return Spliced(
        length_m=float(draw(st.integers(2, 6)) * scale),
        value=2.0 * value,
        most_splices=draw(st.integers(0, 2)),
        least_between_m=float(draw(st.integers(1, 3)) * scale),
        loss_per_splice=draw(st.sampled_from([0.0, 0.5, 3.0])),
    )


@st.composite
def _limits(draw, length_m, width_mm):
    """A limit on marks that lie along whole metres, points among them."""
    marks = []
    for _ in range(draw(st.integers(0, 6))):
        low, start = draw(st.integers(0, 4 * width_mm - 1)), draw(st.integers(0, length_m - 1))
        across = low / 4, (low + draw(st.integers(1, 6))) / 4
        marks.append(_extent((float(start), float(min(start + draw(st.integers(0, 2)), length_m))), across))
    return draw(st.integers(0, 2)), tuple(marks)


_KINDS = (ByMetre, ByLength, Spliced)


@st.composite
def finishing(draw, *, kinds=_KINDS, wishes=False):
    """All that may be asked of ``plan_cut`` on webs of some metres: every finish, counts, stops, time."""
    request = draw(requests(streaks=draw(st.booleans())))
    whole = request["whole"]
    length_m, width_mm = min(int(whole.along_to_m), 16), int(whole.across_to_mm)
    whole = request["whole"] = replace(whole, along_to_m=float(length_m))
    request["avoid"] = [replace(one, downgrade=draw(st.integers(0, 2)) == 0) for one in request["avoid"]]
    request["widths"] = [replace(width, finish=draw(_finishes(kinds))) for width in request["widths"]]
    limits = draw(st.lists(_limits(length_m, width_mm), max_size=2))
    request["counts"] = [CountLimit(name=f"c{n}", most=most, marks=marks) for n, (most, marks) in enumerate(limits)]
    request["rules"] = replace(
        request["rules"],
        setup_minutes=draw(st.sampled_from([0.0, 1.0])),
        stop_minutes=draw(st.sampled_from([0.0, 0.5, 2.0])),
        value_per_minute=draw(st.sampled_from([0.0, 1.0, 4.0])),
        most_run_m=draw(st.sampled_from([float("inf"), 3.0, 5.0, 8.0])),
    )
    if wishes:
        request["wishes"] = draw(st.lists(_wishes(request), min_size=1, max_size=2, unique=True))
    return request


def _wishes(request):
    whole, trim_mm = request["whole"], request["rules"].edge_trim_mm
    low, high = (round(4 * end) for end in (whole.across_from_mm + trim_mm, whole.across_to_mm - trim_mm))
    kinds = [
        st.integers(low, high).map(lambda place: KnifeAt(across_mm=place / 4)),
        st.integers(1, int(whole.along_to_m) - 1).map(lambda place: CrossCutAt(along_m=float(place))),
    ]
    if len(request["widths"]) > 1:
        kinds.append(st.sampled_from([WithoutWidth(name=width.name) for width in request["widths"]]))
    return st.one_of(kinds)


_FILM = {"35 mm": 34.975, "16 mm": 15.95, "61.5 mm": 61.5}
WIDE_MM = 1380.0


@st.composite
def _wide_regions(draw, length_m):
    """A streak, a dirty stretch of the whole web, or a patch, at centimetres along and tenths of a millimetre."""
    kind = draw(st.sampled_from(["streak", "dirt", "patch"]))
    start = draw(st.integers(0, 100 * length_m - 1)) / 100
    low = draw(st.integers(0, 13700)) / 10
    if kind == "streak":
        along = (start, float(length_m)) if draw(st.booleans()) else (0.0, start + 0.01)
        across = low, min(low + draw(st.integers(1, 120)) / 10, WIDE_MM)
    elif kind == "dirt":
        along, across = (start, min(start + draw(st.integers(1, 800)) / 100, float(length_m))), (0.0, WIDE_MM)
    else:
        along = start, min(start + draw(st.integers(1, 500)) / 100, float(length_m))
        across = low, min(low + draw(st.integers(10, 600)) / 10, WIDE_MM)
    return Avoid(extent=_extent(along, across), reason=kind, downgrade=draw(st.integers(0, 2)) == 0)


@st.composite
def _wide_limits(draw, length_m, name):
    seed = draw(st.randoms(use_true_random=False))
    marks = []
    for _ in range(draw(st.sampled_from([0, 20, 150]))):
        # to the micrometre: of places a nanometre apart no rule says which comes first
        start, low = round(seed.uniform(0.0, length_m - 0.01), 6), round(seed.uniform(0.0, WIDE_MM - 1.0), 3)
        marks.append(_extent((start, start + 0.002), (low, low + 0.5)))
    return CountLimit(name=name, most=draw(st.integers(0, 3)), marks=tuple(marks))


@st.composite
def _wide_finishes(draw, width_mm):
    per_m = width_mm / 35.0 * draw(st.integers(8, 12)) / 10
    kind = draw(st.sampled_from(_KINDS))
    if kind is ByMetre:
        return ByMetre(value_per_m=per_m, second_per_m=draw(st.sampled_from([0.0, 0.3])) * per_m)
    if kind is ByLength:
        lengths = draw(st.lists(st.sampled_from([17.0, 30.5, 61.0, 122.0]), min_size=1, max_size=3, unique=True))
        return ByLength(
            lengths=tuple(
                FinishedLength(length_m=n, value=n * per_m, second_value=draw(st.sampled_from([0.0, 0.3])) * n * per_m)
                for n in lengths
            )
        )
    length_m = draw(st.sampled_from([30.5, 61.0]))
    return Spliced(
        length_m=length_m,
        value=length_m * per_m,
        most_splices=draw(st.integers(0, 2)),
        least_between_m=draw(st.sampled_from([5.0, 10.0])),
        loss_per_splice=draw(st.sampled_from([0.0, 2.0])),
    )


@st.composite
def wide(draw, *, wishes=False):
    """Arguments of ``plan_cut`` for a web of 1.38 m by 50 to 500 m, sold in any way, with counts, stops and time."""
    length_m = draw(st.integers(50, 500))
    names = draw(st.lists(st.sampled_from(sorted(_FILM)), min_size=1, max_size=3, unique=True))
    request = {
        "whole": _extent((0.0, float(length_m)), (0.0, WIDE_MM)),
        "avoid": draw(st.lists(_wide_regions(length_m), max_size=6)),
        "widths": [
            SlitWidth(name=name, width_mm=_FILM[name], tolerance_mm=0.025, finish=draw(_wide_finishes(_FILM[name])))
            for name in names
        ],
        "counts": [draw(_wide_limits(length_m, f"c{n}")) for n in range(draw(st.integers(0, 2)))],
        "rules": CutRules(
            trim_between_mm=draw(st.sampled_from([0.0, 0.5])),
            least_strip_mm=draw(st.sampled_from([0.0, 2.0, 9.0])),
            setup_minutes=draw(st.sampled_from([0.0, 20.0])),
            stop_minutes=draw(st.sampled_from([0.0, 4.0])),
            value_per_minute=draw(st.sampled_from([0.0, 1.5])),
            most_run_m=draw(st.sampled_from([float("inf"), 61.0, 140.0])),
        ),
    }
    if wishes:
        request["wishes"] = draw(st.lists(_wishes(request), min_size=1, max_size=2, unique=True))
    return request


@pytest.fixture(scope="session", params=_KINDS, ids=lambda kind: kind.__name__)
def finishing_requests(request):
    """The strategy for small requests of one finish."""
    return finishing(kinds=(request.param,))


@pytest.fixture(scope="session")
def mixed_requests():
    """The strategy for small requests in which widths are sold in different ways."""
    return finishing()


@pytest.fixture(scope="session")
def wishful_requests():
    """The strategy for small requests of every finish with one or two wishes."""
    return finishing(wishes=True)


@pytest.fixture(scope="session")
def wide_requests():
    """The strategy for rolls as wide as they are coated."""
    return wide()


@pytest.fixture(scope="session")
def wide_wishful_requests():
    """The strategy for rolls as wide as they are coated, with one or two wishes."""
    return wide(wishes=True)
