"""Compile the loops before the tests do, so that two of them at once don't each compile them.

python tools/compile_kernels.py cut|scan|other

What is compiled is kept (``wideroll.compiled``). It is found by planning small rolls in every way that film is sold,
by scanning small webs, and for the other folders by their own examples.
"""

import doctest
import sys
from importlib import import_module
from itertools import product
from pathlib import Path

import numpy as np

import wideroll
from wideroll.roll import Extent
from wideroll.scan import find_marks
from wideroll.slitting import (
    Avoid,
    ByLength,
    ByMetre,
    CountLimit,
    CutRules,
    FinishedLength,
    SlitWidth,
    Spliced,
    plan_cut,
)

WHOLE = Extent(along_from_m=0.0, along_to_m=200.0, across_from_mm=0.0, across_to_mm=120.0)
FINISHES = (
    ByMetre(value_per_m=1.0, second_per_m=0.3),
    ByLength(lengths=(FinishedLength(length_m=10.0, value=12.0, second_value=3.0),)),
    Spliced(length_m=30.5, value=30.5, most_splices=2, least_between_m=4.0, loss_per_splice=1.0),
)
RULES = (CutRules(), CutRules(most_run_m=60.0))


OTHERS = ("repeats", "sensitometry", "synthetic")


def main() -> None:
    """Compile one of them."""
    {"cut": cut, "scan": scan, "other": other}[sys.argv[1]]()


def scan() -> None:
    """Scan a web of each kind of pixel."""
    rng = np.random.default_rng(1)
    for kind in (np.uint8, np.uint16):
        web = rng.normal(150.0, 3.0, (400, 600)).astype(kind)
        web[200:206, 300:305] = 90
        find_marks(web, pitch_mm=(0.3, 0.3))


def cut() -> None:
    """Plan a roll in each way."""
    rng = np.random.default_rng(1)
    avoid = tuple(Avoid(extent=spot(rng, 5.0, 20.0), reason="spot", downgrade=bool(n % 2)) for n in range(12))
    counts = (CountLimit(name="marks", most=2, marks=tuple(spot(rng, 0.1, 2.0) for _ in range(60))),)
    for finish, rules, counted in product(FINISHES, RULES, ((), counts)):
        widths = tuple(
            SlitWidth(name=name, width_mm=wide, tolerance_mm=0.025, finish=finish)
            for name, wide in (("35", 34.975), ("16", 15.95))
        )
        plan_cut(WHOLE, avoid=avoid, widths=widths, rules=rules, counts=counted)


def other() -> None:
    """Run the examples; whether they give what they say is for the tests to find."""
    for folder in OTHERS:
        for path in sorted(Path(wideroll.__path__[0], folder).glob("[!_]*.py")):
            doctest.testmod(import_module(f"wideroll.{folder}.{path.stem}"))


def spot(rng: np.random.Generator, long_m: float, wide_mm: float) -> Extent:
    """A rectangle somewhere."""
    along, across = rng.uniform(0.0, 190.0), rng.uniform(0.0, 95.0)
    return Extent(
        along_from_m=along,
        along_to_m=along + rng.uniform(0.01, long_m),
        across_from_mm=across,
        across_to_mm=across + rng.uniform(0.1, wide_mm),
    )


if __name__ == "__main__":
    main()
