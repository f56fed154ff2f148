"""What benchmarks that count over invented cases share: figures with the limits they must keep.

It lies in a folder because ``run_all.py`` runs each script beside it.
"""

import argparse
import json
import math
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import Any

__all__ = ["Figure", "chance", "figure", "report", "run"]

Figure = dict[str, Any]


def figure(name: str, value: float, baseline: str, *, least: float | None = None, most: float | None = None) -> Figure:
    """A figure, what it stands beside, and what it must reach at least or at most."""
    kept = [f"{least:.4g}"] if least is not None else []
    kept += [f"at most {most:.4g}"] if most is not None else []
    found: Figure = {"figure": name, "value": float(value), "baseline": baseline, "floor": ", ".join(kept)}
    if kept:
        found["met"] = bool((least is None or value >= least) and (most is None or value <= most))
    return found


def chance(share: float, number: int) -> float:
    """By how much a share counted over so many independent cases may be off: three standard errors."""
    return 3.0 * math.sqrt(share * (1.0 - share) / number)


def run(description: str, sections: Callable[[bool], Iterable[Iterator[Figure]]]) -> int:
    """Run the sections of a script with its two options; 1 when a figure missed its limit."""
    parser = argparse.ArgumentParser(description=description, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--quick", action="store_true", help="fewer invented cases")
    parser.add_argument("--json", type=Path, help="write the figures there")
    options = parser.parse_args()
    figures: list[Figure] = []
    for section in sections(options.quick):
        for one in section:
            print(f"{one['figure']:<92} {one['value']:>9.4g}   {one['baseline']}", flush=True)
            figures.append(one)
    if options.json:
        options.json.write_text(json.dumps(figures, indent=2, ensure_ascii=False) + "\n", encoding="utf-8")
    return report(figures)


def report(figures: Iterable[Figure]) -> int:
    """Print whether each limit was kept; 1 when one wasn't."""
    bound = [one for one in figures if "met" in one]
    for one in bound:
        print(f"{'ok  ' if one['met'] else 'FAIL'} {one['figure']}: {one['value']:.4g}, floor {one['floor']}")
    return 0 if all(one["met"] for one in bound) else 1
