"""What planning gains over an operator's layout by eye, and what it takes, on invented rolls.

The baseline is ``greedy_cut``: lane beside lane, the best of all first places, from both edges, with each width as the
favourite and without, with no, one or several changes of knives. Floors: no roll on which the plan is worth less, a
mean gain of 0.3 %, and planning a roll in at most 3 times the time of the baseline.
"""

import argparse
import json
import sys
import time
from pathlib import Path

import numpy as np

from wideroll.roll import Extent
from wideroll.slitting import Avoid, ByMetre, CutPlan, CutRules, SlitWidth, greedy_cut, plan_cut

WIDTH_MM = 1380.0
WIDTHS = (
    SlitWidth(name="35 mm", width_mm=34.975, tolerance_mm=0.025, finish=ByMetre(value_per_m=1.0)),
    SlitWidth(name="16 mm", width_mm=15.95, tolerance_mm=0.025, finish=ByMetre(value_per_m=0.42)),
    SlitWidth(name="61.5 mm", width_mm=61.5, tolerance_mm=0.1, finish=ByMetre(value_per_m=1.9)),
)
RULES = CutRules()
LEAST_MEAN_GAIN = 0.003
MOST_TIMES = 3.0


def region(rng: np.random.Generator, kind: str, length_m: float) -> Avoid:
    """A streak that starts or stops part-way, a dirty stretch of the whole web, or a patch of spots."""
    along = rng.uniform(0.0, length_m)
    across, wide = rng.uniform(0.0, WIDTH_MM - 60.0), rng.uniform(4.0, 60.0)
    if kind == "streak":
        ends = (along, length_m) if rng.random() < 0.5 else (0.0, along)
        lane = (across, across + rng.uniform(2.0, 12.0))
    elif kind == "dirt":
        ends = (along, min(length_m, along + rng.uniform(1.0, 0.03 * length_m + 1.0)))
        lane = (0.0, WIDTH_MM)
    else:
        ends = (along, min(length_m, along + rng.uniform(0.5, 5.0)))
        lane = (across, across + wide)
    extent = Extent(along_from_m=ends[0], along_to_m=ends[1], across_from_mm=lane[0], across_to_mm=lane[1])
    return Avoid(extent=extent, reason=kind)


def roll(rng: np.random.Generator, length_m: float, most: tuple[int, int, int]) -> tuple[Extent, list[Avoid]]:
    """A web and what to avoid on it: up to so many streaks, dirty stretches and patches."""
    whole = Extent(along_from_m=0.0, along_to_m=length_m, across_from_mm=0.0, across_to_mm=WIDTH_MM)
    counts = [int(rng.integers(1, n + 1)) for n in most]
    kinds = [kind for kind, n in zip(("streak", "dirt", "patch"), counts, strict=True) for _ in range(n)]
    return whole, [region(rng, kind, length_m) for kind in kinds]


def timed(make: object, whole: Extent, avoid: list[Avoid]) -> tuple[CutPlan, float]:
    """The plan and the seconds it took."""
    assert callable(make)
    began = time.perf_counter()
    plan = make(whole, avoid=avoid, widths=WIDTHS, rules=RULES)
    return plan, time.perf_counter() - began


def main() -> int:
    """Run, print, and compare with the floors."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="fewer rolls")
    parser.add_argument("--json", type=Path, help="write the figures there")
    options = parser.parse_args()
    rng = np.random.Generator(np.random.PCG64(7))
    rolls = 15 if options.quick else 70
    whole, avoid = roll(rng, 42.0, (1, 1, 1))
    for make in (plan_cut, greedy_cut):
        timed(make, whole, avoid)  # compiles

    ratios, seconds, gaps, optimal = [], np.zeros(2), [], 0
    for _ in range(rolls):
        whole, avoid = roll(rng, float(rng.uniform(200.0, 2000.0)), (4, 2, 4))
        plan, took = timed(plan_cut, whole, avoid)
        by_hand, took_by_hand = timed(greedy_cut, whole, avoid)
        ratios.append(plan.value / by_hand.value)
        gaps.append(plan.bound / plan.value - 1.0)
        optimal += plan.optimal
        seconds += took, took_by_hand
    print(f"{rolls} invented rolls of 200 to 2000 m, 1 to 4 streaks, 1 or 2 dirty stretches, 1 to 4 patches")
    shown = np.quantile(ratios, [0.0, 0.1, 0.5, 0.9, 1.0])
    print("value over the operator's (least, 10 %, median, 90 %, most):", " ".join(f"{ratio:.4f}" for ratio in shown))
    print(f"proven best for their candidates: {optimal} of {rolls}; bound above value by at most {max(gaps):.2%}")

    demo = timed(plan_cut, *roll(rng, 42.0, (3, 3, 9)))
    big = timed(plan_cut, *roll(rng, 2000.0, (30, 3, 30)))
    names = ("42 m", "2000 m")
    for name, (plan, took) in zip(names, (demo, big), strict=True):
        print(f"{name}, {len(plan.avoid)} regions, {plan.cross_cut_candidates} candidates: {took:.2f} s, ", end="")
        print(
            f"{len(plan.runs)} runs, {len(plan.pieces)} pieces, bound above value by {plan.bound / plan.value - 1:.2%}"
        )

    mean, least, times = float(np.mean(ratios)), float(min(ratios)), float(seconds[0] / seconds[1])
    by = "greedy_cut, best of its starts, both directions, several changes"
    figures = [
        {"figure": "2000 m planned with 40 candidates", "value": big[1], "unit": "s", "baseline": "", "limit": 20.0},
        {"figure": "time of a plan over the operator's", "value": times, "baseline": by, "limit": MOST_TIMES},
        {"figure": "mean value over the operator's", "value": mean, "baseline": by, "floor": 1.0 + LEAST_MEAN_GAIN},
        {"figure": "least value over the operator's", "value": least, "baseline": by, "floor": 1.0},
    ]
    met = {
        f"time of a plan {times:.1f} × the operator's, at most {MOST_TIMES:g} ×": times <= MOST_TIMES,
        f"mean gain {mean - 1:.2%}, floor {LEAST_MEAN_GAIN:.1%}": mean >= 1.0 + LEAST_MEAN_GAIN,
        f"least gain {least - 1:.4%}, floor 0": least >= 1.0 - 1e-9,
    }
    for words, good in met.items():
        print(f"{'ok  ' if good else 'FAIL'} {words}")
    if options.json:
        options.json.write_text(json.dumps(figures, indent=2) + "\n", encoding="utf-8")
    return 0 if all(met.values()) else 1


if __name__ == "__main__":
    sys.exit(main())
