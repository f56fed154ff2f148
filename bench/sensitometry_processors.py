"""How many good process runs the processors' charts rule out, and how many fogged ones.

Invented labs: each has a base period, then good runs and fogged ones against the limits that it set. What is charted of
a colour film: minimum, speed and contrast density of three records. Fog and development vary from run to run and act on
all records alike, readings err by themselves. Baselines on the same runs: each of the nine charts with the usual limits
of three sigma, and Hotelling's T squared of all nine together, phase II limits p(m + 1)(m - 1)/(m(m - p)) F(p, m - p)
(NIST/SEMATECH e-Handbook 6.5.4.3, from memory).

python bench/sensitometry_processors.py [--quick]
"""

import argparse
import sys
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from wideroll.control import RuleBreak, joint_chart, run_rules

Floats = NDArray[np.float64]

FOG_SD, FACTOR_SD, READING_SD = 0.005, 0.006, 0.003
ABOVE_MINIMUM = np.array([0.0, 0.55, 0.75])
FALSE_ALARM = 0.0027
SHIFTS = (0.0, 0.015, 0.03, 0.045)
SHARE_CEILING = 0.005
POWER_FLOOR = 0.5


def main() -> int:
    """Print the table; 1 when a figure is outside its limits."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--quick", action="store_true", help="fewer labs")
    labs = 60 if parser.parse_args().quick else 1000
    print("share of runs ruled out, %")
    print(f"{'base period':34s} {'way':24s}" + "".join(f"{f'fog {shift:+.3f}':>14s}" for shift in SHIFTS))
    bad = False
    for count, spoilt in ((20, 0), (20, 1), (20, 2), (40, 0)):
        shares = ruled_out(labs, count, spoilt)
        for way, row in shares.items():
            named = f"{count} runs, {spoilt} of them fogged by 0.05"
            print(f"{named:34s} {way:24s}" + "".join(f"{100.0 * share:14.2f}" for share in row))
        ours = shares["joint limits"]
        bad = bad or (spoilt == 0 and (ours[0] > SHARE_CEILING or ours[2] < POWER_FLOOR))
    for zone, warned in rules_warn(20 if labs < 1000 else 100).items():
        print(f"good runs that break a run rule on any of nine charts, zones {zone}: {100.0 * warned:.1f} %")
    return int(bad)


def ruled_out(labs: int, count: int, spoilt: int) -> dict[str, list[float]]:
    """Share of fresh runs ruled out at each shift of fog, over labs that each set limits by a base period."""
    chance = np.random.Generator(np.random.PCG64([count, spoilt]))
    found: dict[str, list[list[float]]] = {}
    for _ in range(labs):
        base = runs(chance, count)
        base[chance.choice(count, spoilt, replace=False)] += fog(0.05)
        ways = _ways(base, runs(chance, 15))  # enough to make up for those left out, and a newest
        for place, shift in enumerate(SHIFTS):
            fresh = runs(chance, 400) + fog(shift)
            for way, out in ways.items():
                found.setdefault(way, [[] for _ in SHIFTS])[place].append(float(np.mean(out(fresh))))
    return {way: [float(np.mean(column)) for column in columns] for way, columns in found.items()}


def _ways(base: Floats, more: Floats) -> dict[str, Callable[[Floats], NDArray[np.bool_]]]:
    """Which of fresh runs (n, 9) each way rules out."""
    charts = joint_chart(np.vstack([base, more]).T.tolist(), baseline=len(base), false_alarm=FALSE_ALARM).charts
    low, high = (np.array([getattr(chart.limits, end) for chart in charts]) for end in ("low", "high"))
    centre, sigma, inverse = base.mean(axis=0), base.std(axis=0, ddof=1), np.linalg.inv(np.cov(base.T))
    m, p = base.shape
    limit = p * (m + 1) * (m - 1) / (m * (m - p)) * stats.f.isf(FALSE_ALARM, p, m - p)
    return {
        "joint limits": lambda x: np.any((x < low) | (x > high), axis=1),
        "three sigma on each": lambda x: np.any(np.abs(x - centre) > 3.0 * sigma, axis=1),
        "T squared of all": lambda x: np.asarray(np.sum((x - centre) @ inverse * (x - centre), axis=1) > limit),
    }


def rules_warn(labs: int) -> dict[str, float]:
    """Share of good runs at which any chart breaks a run rule other than its limit, by zones of the rules."""
    chance = np.random.Generator(np.random.PCG64(92))
    zones: dict[str, set[tuple[int, int]]] = {
        "thirds of the way to the joint limits": set(),
        "one sample standard deviation": set(),
    }
    for lab in range(labs):
        series = runs(chance, 122).T.tolist()
        charts = joint_chart(series, baseline=20).charts
        zones["thirds of the way to the joint limits"] |= {
            (lab, found.index) for chart in charts for found in chart.breaks if _warns(found)
        }
        zones["one sample standard deviation"] |= {
            (lab, found.index)
            for row, chart in zip(series, charts, strict=True)
            for found in run_rules(row, chart.limits)
            if _warns(found)
        }
    return {zone: len(warned) / (100.0 * labs) for zone, warned in zones.items()}


def _warns(found: RuleBreak) -> bool:
    return found.index >= 22 and not found.rule.startswith("one point")


def runs(chance: np.random.Generator, count: int) -> Floats:
    """Good runs (count, 9): minimum, speed and contrast of three records."""
    shared = chance.normal(0.0, FOG_SD, (count, 1)) * np.array([1.0, 1.0, 0.0])
    shared = shared + chance.normal(0.0, FACTOR_SD, (count, 1)) * ABOVE_MINIMUM
    return np.asarray(np.tile(shared, 3) + chance.normal(0.0, READING_SD, (count, 9)))


def fog(density: float) -> Floats:
    """What a fog adds to the nine."""
    return np.tile(np.array([density, density, 0.0]), 3)


if __name__ == "__main__":
    sys.exit(main())
