"""How often limits of rates hold the truth, and the risks of the sequential test, on invented rolls with known rates.

The baseline for clusters is Garwood's limits of the same counts. Seeds are fixed.

python bench/sampling.py [--quick] [--json FILE]
"""

import argparse
import json
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np

from wideroll.roll import Extent
from wideroll.sampling import (
    Detected,
    Look,
    RegionLook,
    Settled,
    clustered_limits,
    combine_looks,
    measure_dispersion,
    operating_points,
    rate_limits,
    region_rates,
    sequential_plan,
    settle,
    share_limits,
)

Figure = dict[str, Any]
WEB = Extent(along_from_m=0.0, along_to_m=100.0, across_from_mm=0.0, across_to_mm=1000.0)
SHEET_M2 = 0.414
LEAST = 0.93
"""Of 95 %, less what so many rolls can miss by chance; with fewer rolls three standard errors."""


def main() -> int:
    """Print the figures; 1 when one is outside its limits."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--quick", action="store_true", help="fewer rolls")
    parser.add_argument("--json", type=Path, help="write the figures here")
    chosen = parser.parse_args()
    rolls = 100 if chosen.quick else 1000
    figures = [*clusters(rolls), *detection(rolls), *regions(rolls), *sequences(200 if chosen.quick else 2000)]
    for one in figures:
        kept = f"{one['floor']:g} to {one['ceiling']:g}" if "floor" in one else "shown"
        print(f"{one['figure']:78s} {one['value']:7.3f}  ({kept}; {one['baseline']})")
    if chosen.json:
        chosen.json.write_text(json.dumps(figures, indent=1), encoding="utf-8")
    return int(any("floor" in f and not f["floor"] <= f["value"] <= f["ceiling"] for f in figures))


def _floor(rolls: int) -> float:
    return min(LEAST, 0.95 - 3.0 * (0.95 * 0.05 / rolls) ** 0.5)


def clusters(rolls: int) -> Iterator[Figure]:
    """Coverage of limits with clusters of a mean size, by number of sheets."""
    rng = np.random.Generator(np.random.PCG64(1))
    for rate, size, sheets in ((5.0, 1, 8), (10.0, 3, 8), (10.0, 3, 30), (10.0, 6, 12), (2.0, 3, 8)):
        held = plain = used = 0
        for _ in range(rolls):
            counts = [int(rng.geometric(1 / size, rng.poisson(rate * SHEET_M2 / size)).sum()) for _ in range(sheets)]
            areas = [SHEET_M2] * sheets
            narrow, wide = rate_limits(sum(counts), SHEET_M2 * sheets), clustered_limits(counts, areas)
            clustered = sum(counts) > 0 and measure_dispersion(counts, areas).p_clustered <= 0.05
            inside = [one.low <= rate <= one.high for one in (narrow, wide, wide if clustered else narrow)]
            plain, held, used = plain + inside[0], held + inside[1], used + inside[2]
        # too few clusters to see any: nothing but Garwood's limits is left, which is shown and not promised
        bound = {"floor": _floor(rolls), "ceiling": 1.0} if rate * SHEET_M2 * sheets / size > 8.0 else {}
        what = f"{sheets} sheets, {rate:g} per m² in clusters of {size}"
        yield {
            "figure": f"limits for clusters hold the rate: {what}",
            "value": held / rolls,
            "baseline": f"Garwood {plain / rolls:.3f}; chosen by the test {used / rolls:.3f}",
            **bound,
        }


def detection(rolls: int) -> Iterator[Figure]:
    """Coverage with a probability of detection known from so many marks, alone and with sheets."""
    rng = np.random.Generator(np.random.PCG64(2))
    for p, tried, area in ((0.8, 40, 10.0), (0.5, 20, 20.0), (0.9, 100, 50.0)):
        alone = both = 0
        for _ in range(rolls):
            hits = max(1, int(rng.binomial(tried, p)))
            low, high = share_limits(hits, tried)
            found = Detected(value=hits / tried, low=low, high=high)
            scan = Look(source="scan", count=int(rng.poisson(area * p)), area_m2=area, detected=found)
            sheets = Look(source="sheets", count=int(rng.poisson(4.0)), area_m2=4.0)
            one, two = combine_looks([scan]), combine_looks([scan, sheets])
            alone, both = alone + (one.low <= 1.0 <= one.high), both + (two.low <= 1.0 <= two.high)
        what = f"p = {p:g} from {tried} marks, {area:g} m²"
        kept = {"baseline": "95 % stated", "floor": _floor(rolls), "ceiling": 1.0}
        yield {"figure": f"scan corrected by detection holds the rate: {what}", "value": alone / rolls, **kept}
        yield {"figure": f"scan and sheets together hold the rate: {what}", "value": both / rolls, **kept}


def regions(rolls: int) -> Iterator[Figure]:
    """Coverage of the rate in a region nobody looked at."""
    rng = np.random.Generator(np.random.PCG64(3))
    for spread, seen in ((0.0, 5), (0.5, 5), (1.0, 10), (1.5, 20)):
        held = 0
        for _ in range(rolls // 2):
            shape = 1.0 / max(spread, 1e-3) ** 2
            rates = rng.gamma(shape, 1.0 / shape, seen + 1)
            looks = [RegionLook(extent=WEB, count=int(rng.poisson(4.0 * r)), looked_m2=4.0) for r in rates[:-1]]
            found = region_rates([*looks, RegionLook(extent=WEB, count=0, looked_m2=0.0)])[-1]
            held += found.low <= rates[-1] <= found.high
        yield {
            "figure": f"an unseen region's limits hold its rate: spread {spread:g}, {seen} regions seen",
            "value": held / (rolls // 2),
            "baseline": "95 % stated",
            "floor": _floor(rolls),
            "ceiling": 1.0,
        }


def sequences(rolls: int) -> Iterator[Figure]:
    """Risks of the sequential test on drawn rolls, beside the exact ones."""
    rng = np.random.Generator(np.random.PCG64(4))
    for good, bad in ((1.0, 4.0), (1.0, 3.0), (0.5, 1.5)):
        plan = sequential_plan(good, bad, 0.05, 0.10)
        exact = operating_points(plan, [good, bad], SHEET_M2, 120)
        for rate, wrong, stated, point in (
            (good, Settled.REJECT, 0.05, exact[0].reject),
            (bad, Settled.ACCEPT, 0.10, exact[1].accept),
        ):
            ends = [settle(plan, rng.poisson(rate * SHEET_M2, 120).tolist(), [SHEET_M2] * 120) for _ in range(rolls)]
            yield {
                "figure": f"{wrong.value} at {rate:g} per m² ({good:g} against {bad:g}), {rolls} rolls",
                "value": sum(end.settled is wrong for end in ends) / rolls,
                "baseline": f"exact {point:.3f}, stated {stated:g}",
                "floor": 0.0,
                "ceiling": stated + 3.0 * (stated * (1.0 - stated) / rolls) ** 0.5,
            }


if __name__ == "__main__":
    sys.exit(main())
