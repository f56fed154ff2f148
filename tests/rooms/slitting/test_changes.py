"""How good the places are at which setting the knives anew is tried, measured against all whole metres."""

import random
from dataclasses import replace

import numpy as np
import pytest

from wideroll.roll import Extent
from wideroll.slitting import Avoid, ByLength, ByMetre, CutRules, FinishedLength, SlitWidth, Spliced
from wideroll.slitting.desk import best_knife_sets, prepare_cut
from wideroll.slitting.regions import Change
from wideroll.slitting.request import Request

WEBS = 100


def _extent(draw, length_m, width_mm):
    """Dirt across the whole web, a patch, or a streak."""
    kind, from_m, low = draw.randrange(3), draw.randrange(length_m), draw.randrange(width_mm)
    long = draw.randrange(1, length_m if kind == 2 else 10)
    across = (0, width_mm) if kind == 0 else (low, min(low + draw.randrange(1, 4), width_mm))
    return Extent(
        along_from_m=float(from_m),
        along_to_m=float(min(from_m + long, length_m)),
        across_from_mm=float(across[0]),
        across_to_mm=float(across[1]),
    )


def _finish(draw, way, width_mm):
    per_m = width_mm * draw.uniform(0.9, 1.1)
    if way is ByMetre:
        return ByMetre(value_per_m=per_m, second_per_m=draw.choice([0.0, 0.4 * per_m]))
    if way is ByLength:
        lengths = draw.sample([10.0, 15.0, 20.0, 24.0, 30.0, 40.0, 60.0], draw.randrange(1, 4))
        values = [m * per_m * draw.uniform(0.95, 1.05) for m in lengths]
        pairs = zip(lengths, values, strict=True)
        return ByLength(lengths=tuple(FinishedLength(length_m=m, value=value) for m, value in pairs))
    length_m = draw.choice([20.0, 30.0, 45.0])
    return Spliced(length_m=length_m, value=length_m * per_m, most_splices=draw.randrange(3), least_between_m=5.0)


def _request(draw, way, regions):
    """A web of 60 to 200 m in whole metres, so that whole metres are the best places for changes."""
    length_m, width_mm = draw.randrange(60, 201), draw.choice([20, 30, 40])
    return Request(
        whole=Extent(along_from_m=0.0, along_to_m=float(length_m), across_from_mm=0.0, across_to_mm=float(width_mm)),
        avoid=tuple(Avoid(extent=_extent(draw, length_m, width_mm), reason="r") for _ in range(regions)),
        widths=tuple(
            SlitWidth(name=f"{mm}", width_mm=float(mm), tolerance_mm=0.0, finish=_finish(draw, way, mm))
            for mm in draw.sample([4, 5, 7, 10, 13], draw.randrange(1, 4))
        ),
        rules=CutRules(edge_trim_mm=0.0, least_piece_m=float(draw.choice([1, 5])), setup_m=float(draw.randrange(4))),
    )


def _shares(way, regions):
    """(WEBS,) net value of the plan over that with a change tried at every whole metre."""
    draw, shares = random.Random(7), []  # noqa: S311
    while len(shares) < WEBS:
        desk = prepare_cut(_request(draw, way, regions if regions is not None else draw.randrange(1, 5)))
        setup_m, length_m = desk.request.rules.setup_m, desk.web.length_m
        ends = np.arange(1.0, length_m - setup_m).tolist()
        all_places = replace(desk, changes=tuple(Change(end_m=m, begin_m=m + setup_m) for m in ends), others=())
        best = best_knife_sets(all_places)[0]
        if best > 0.0:
            shares.append(best_knife_sets(desk)[0] / best)
    return np.array(shares)


@pytest.mark.parametrize(
    ("way", "regions", "reached", "tenth", "mean"),
    [
        (ByMetre, 0, 1.0, 1.0, 1.0),
        (ByMetre, None, 0.95, 1.0, 0.999),
        (ByLength, 0, 0.8, 0.98, 0.99),
        (ByLength, None, 0.7, 0.98, 0.99),
        (Spliced, 0, 0.8, 0.98, 0.99),
        (Spliced, None, 0.7, 0.95, 0.98),
    ],
    ids=lambda one: getattr(one, "__name__", None),
)
def test_the_places_tried_reach_most_of_what_all_places_do(way, regions, reached, tenth, mean):
    """On webs of one to a few rolls length, where a change weighs most, the plan is seldom far from the best of all."""
    shares = _shares(way, regions)
    assert np.mean(shares > 1.0 - 1e-9) >= reached
    assert np.quantile(shares, 0.1) >= tenth - 1e-9
    assert shares.mean() >= mean
