"""What planning the cut gains over an operator's layout by eye, and what it takes, on invented rolls.

The baseline is ``greedy_cut``: lane beside lane, the best of all first places, from both edges, with each width as the
favourite and without, with no, one or several changes of knives, and each lane cut into pieces as well as the planner
cuts it. Film by the metre, by length and spliced in turn. Targets: on none of 200 rolls worth less than the operator's;
a roll of 2,000 m with 5,000 marks and 40 candidates planned in 5 s of one core, marks avoided and marks counted; ten
rolls with an order book of 12 lines to a gap of 1 % in 60 s.
"""

import argparse
import json
import sys
import time
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from slitting_rolls.book import book_figures
from slitting_rolls.rolls import PRODUCTS, WIDTH_MM, Product, WideRoll, wide_rolls
from wideroll.roll import Extent
from wideroll.slitting import Avoid, CountLimit, CutPlan, greedy_cut, plan_cut

SEED = 7
MARKS = 5000
MOST_S = 5.0
BOOK_S = 60.0
BOOK_GAP = 0.01
BY = "greedy_cut, best of its starts, both directions, favourites and changes added while they pay"
Figures = list[dict[str, Any]]


def timed(make: Callable[..., CutPlan], roll: WideRoll, product: Product) -> tuple[CutPlan, float]:
    """The plan and the seconds of one core it took."""
    began = time.process_time()
    plan = make(roll.whole, avoid=roll.avoid, widths=product.widths, rules=product.rules, counts=roll.counts)
    return plan, time.process_time() - began


def marked_roll(kind: str) -> WideRoll:
    """2,000 m with streaks, dirty stretches and patches, and marks that are avoided or counted."""
    rng = np.random.Generator(np.random.PCG64(3))
    length_m = 2000.0

    def box(along: float, long: float, across: float, wide: float) -> Extent:
        return Extent(
            along_from_m=max(along, 0.0),
            along_to_m=min(along + long, length_m),
            across_from_mm=across,
            across_to_mm=min(across + wide, WIDTH_MM),
        )

    avoid = []
    for number in range(6):
        along, across = rng.uniform(0.0, length_m), rng.uniform(0.0, WIDTH_MM - 20.0)
        ends = (along, length_m - along) if number % 2 else (0.0, along)
        avoid.append(Avoid(extent=box(*ends, across, rng.uniform(2.0, 12.0)), reason="streak"))
    dirty = [box(rng.uniform(0.0, 1960.0), rng.uniform(2.0, 30.0), 0.0, WIDTH_MM) for _ in range(3)]
    avoid += [Avoid(extent=one, reason="dirt") for one in dirty]
    for _ in range(20):
        place = rng.uniform(0.0, length_m - 5.0), rng.uniform(0.5, 5.0), rng.uniform(0.0, WIDTH_MM - 60.0)
        avoid.append(Avoid(extent=box(*place, rng.uniform(4.0, 60.0)), reason="patch"))
    places = zip(rng.uniform(0.0, length_m - 1.0, MARKS), rng.uniform(0.0, WIDTH_MM - 10.0, MARKS), strict=True)
    if kind == "avoided":
        avoid += [Avoid(extent=box(along, 0.52, across, 10.0), reason="spot") for along, across in places]
        return WideRoll(whole=box(0.0, length_m, 0.0, WIDTH_MM), avoid=tuple(avoid), counts=())
    marks = tuple(box(along, 0.02, across, 2.0) for along, across in places)
    limits = (CountLimit(name="spots", most=3, marks=marks),)
    return WideRoll(whole=box(0.0, length_m, 0.0, WIDTH_MM), avoid=tuple(avoid), counts=limits)


def compared(case: tuple[WideRoll, Product]) -> tuple[str, float, bool, float, float]:
    """Name of the product, net value over the operator's, whether all candidates were tried, seconds of each."""
    plan, took = timed(plan_cut, *case)
    by_hand, took_by_hand = timed(greedy_cut, *case)
    return case[1].name, plan.net / by_hand.net, not plan.left_out, took, took_by_hand


def compare(rolls: int, figures: Figures) -> bool:
    """Plans against the operator's, the products in turn, on two cores."""
    gains: dict[str, list[float]] = {product.name: [] for product in PRODUCTS}
    proven, seconds = 0, np.zeros(2)
    with ProcessPoolExecutor(2) as pool:
        for number, (name, gain, is_proven, *took) in enumerate(pool.map(compared, wide_rolls(rolls, seed=SEED))):
            gains[name].append(gain)
            proven += is_proven
            seconds += took
            print(f"\r{number + 1} of {rolls}", end="", file=sys.stderr)
    print(file=sys.stderr)
    every = [gain for some in gains.values() for gain in some]
    print(f"{rolls} invented rolls; no candidate left out on {proven}; net value over the operator's:")
    print(f"{'sold':<14}{'rolls':>6}{'least':>9}{'10 %':>9}{'median':>9}{'90 %':>9}{'most':>9}{'mean':>9}")
    for name, some in {**gains, "all": every}.items():
        shown = [*np.quantile(some, [0.0, 0.1, 0.5, 0.9, 1.0]), np.mean(some)]
        print(f"{name:<14}{len(some):>6}" + "".join(f"{one:>9.4f}" for one in shown))
        figures.append({"figure": f"mean value, {name}", "value": float(np.mean(some)), "baseline": BY, "floor": 1.0})
    figures.append({"figure": "least value of all", "value": min(every), "baseline": BY, "floor": 1.0})
    figures.append({"figure": "time over the operator's", "value": float(seconds[0] / seconds[1]), "baseline": BY})
    return told(f"least value over the operator's {min(every):.6f}, at least 1", met=min(every) >= 1.0 - 1e-9)


def speeds(quick: bool, figures: Figures) -> bool:  # noqa: FBT001
    """Plans of a roll with many marks."""
    good = True
    for product in PRODUCTS[: 2 if quick else 3]:
        for kind in ("counted",) if quick and product is not PRODUCTS[0] else ("avoided", "counted"):
            roll = marked_roll(kind)
            few = replace(
                roll, avoid=roll.avoid[:40], counts=tuple(replace(c, marks=c.marks[:40]) for c in roll.counts)
            )
            timed(plan_cut, few, product)  # compiles
            plan, took = timed(plan_cut, roll, product)
            tried = f"{plan.cross_cut_candidates} candidates"
            words = f"2,000 m, {MARKS} marks {kind}, sold {product.name}, {tried}: {took:.1f} s, at most {MOST_S:g} s"
            good = told(words, met=took <= MOST_S) and good
            figures.append(
                {"figure": f"{MARKS} marks {kind}, {product.name}, s", "value": took, "baseline": "", "limit": MOST_S}
            )
    return good


def book(figures: Figures) -> bool:
    """Ten rolls and twelve order lines."""
    found = book_figures()
    figures.append({"figure": "order book, s", "value": found.cpu_seconds, "baseline": "", "limit": BOOK_S})
    figures.append({"figure": "order book, gap", "value": found.gap, "baseline": "", "limit": BOOK_GAP})
    by = "greedy: each roll for the orders still open"
    figures.append({"figure": "order book, value", "value": found.value / found.greedy_value, "baseline": by})
    print(f"order book: value {found.value / found.greedy_value:.4f} of the greedy one, short {found.short} rolls")
    met = found.cpu_seconds <= BOOK_S and found.gap <= BOOK_GAP
    return told(f"ten rolls, 12 lines: gap {found.gap:.2%} in {found.cpu_seconds:.0f} s, 1 % in {BOOK_S:g} s", met=met)


def told(words: str, *, met: bool) -> bool:
    """Say whether a target is met."""
    print(f"{'ok  ' if met else 'FAIL'} {words}", flush=True)
    return met


def main() -> int:
    """Run, print, and compare with the targets."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="few rolls, three speeds, no order book")
    parser.add_argument("--json", type=Path, help="write the figures there")
    options = parser.parse_args()
    figures: Figures = []
    met = [speeds(options.quick, figures), compare(3 if options.quick else 200, figures)]
    if not options.quick:
        met.insert(0, book(figures))
    if options.json:
        options.json.write_text(json.dumps(figures, indent=2) + "\n", encoding="utf-8")
    return 0 if all(met) else 1


if __name__ == "__main__":
    sys.exit(main())
