"""How often a release is wrong, and how well dirty stretches are found, over many invented rolls.

Four questions, each against a named baseline in the same run:

- Of rolls that are truly above the limit, how many does the rate criterion release? At most 1 − confidence is stated
  (consumer's risk); the baseline compares the bare rate found with the limit.
- Of good rolls at half the limit, how many does it release (producer's side)? The baseline is the same comparison.
- Of a dirty stretch, how much is cut out, and how much good web with it? The baseline cuts out whole tiles of the
  window's length whose bare rate is above the limit.
- Of readings that truly lie beyond their limit, how many are released, and of those within it, how many are cut out?
  The risk stated is the most of either; the baseline compares the bare value with the limit. The uncertainty is itself
  estimated, with few degrees of freedom.
- Of rolls looked at in each of the ways there are (scan, sheets, both, lanes, sheets one by one), how many are released
  whose true rate is the limit, and how many are kept back that are truly good? Each against what is stated.
"""

import argparse
import json
import math
import sys
import time
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import polars as pl
from numpy.typing import NDArray

import release_rolls
from wideroll.release import Consequence, Criterion, Evidence, Measurand, Reading, Verdict, decide
from wideroll.release.readings import judge_readings
from wideroll.roll import MARKS_SCHEMA, Coverage, Extent

LIMIT = 2.0
CONFIDENCE = 0.95
WINDOW_M = 1.0
LOCAL_LIMIT = 8.0
WIDTH_MM = 1380.0
LENGTHS_M = (10.0, 20.0, 40.0, 80.0)
RATIOS = (1.0001, 1.05, 1.2, 1.5, 2.0)
DIRTY_M = 2.5
DIRTY_RATE = 40.0
CALM_RATE = 0.8

RATE = Criterion(
    name="spots",
    measurand=Measurand.MARK_RATE,
    limit=LIMIT,
    unit="per m²",
    consequence=Consequence.REJECT,
    confidence=CONFIDENCE,
)
LOCAL = Criterion(
    name="spots in a stretch",
    measurand=Measurand.LOCAL_MARK_RATE,
    limit=LOCAL_LIMIT,
    unit="per m²",
    consequence=Consequence.CUT_OUT,
    confidence=CONFIDENCE,
    window_m=WINDOW_M,
)
SPEED = Criterion(
    name="speed",
    measurand=Measurand.READING,
    limit=0.06,
    unit="log H",
    consequence=Consequence.CUT_OUT,
    subject="speed deviation",
    confidence=CONFIDENCE,
)
FREEDOM = 6
READING_RATIOS = (0.0, 0.5, 0.9999, 1.0001, 1.2, 1.5)
READING_SHARES = (0.1, 0.3)
"""Standard uncertainties of a reading as a share of its limit."""
Floats = NDArray[np.float64]


def roll(length_m: float) -> Extent:
    """A web of that length."""
    return Extent(along_from_m=0.0, along_to_m=length_m, across_from_mm=0.0, across_to_mm=WIDTH_MM)


def evidence(whole: Extent, along_m: Floats, rng: np.random.Generator) -> Evidence:
    """A roll scanned whole, with spots at these places along and anywhere across."""
    n = len(along_m)
    columns = {
        "id": [str(number) for number in range(n)],
        "along_m": along_m,
        "across_mm": rng.uniform(0.0, WIDTH_MM, n),
        **{name: np.full(n, 0.5) for name in ("length_mm", "width_mm", "area_mm2", "contrast", "snr", "peak")},
        **{name: np.full(n, value) for name, value in (("elongation", 1.0), ("angle_deg", 0.0), ("ring", 0.0))},
        "polarity": ["dark"] * n,
        "kind": ["spot"] * n,
        "rule": ["invented"] * n,
        "source": ["line-1"] * n,
    }
    marks = pl.DataFrame(columns, schema=MARKS_SCHEMA)
    return Evidence(whole=whole, marks=marks, coverage={"scan": Coverage(seen=(whole,))}, counts={})


def scattered(whole: Extent, rate: float, rng: np.random.Generator) -> Floats:
    """Places of marks that lie at random."""
    return rng.uniform(whole.along_from_m, whole.along_to_m, rng.poisson(rate * whole.area_m2))


def released(rolls: int, ratio: float, criteria: Sequence[Criterion], rng: np.random.Generator) -> tuple[float, float]:
    """Share of rolls at ``ratio`` × the limit that are released: by decide, and by bare comparison."""
    ours = bare = 0
    for number in range(rolls):
        whole = roll(LENGTHS_M[number % len(LENGTHS_M)])
        along = scattered(whole, ratio * LIMIT, rng)
        verdict = decide(evidence(whole, along, rng), criteria).verdict
        ours += verdict in {Verdict.RELEASE, Verdict.CUT_OUT}
        bare += len(along) / whole.area_m2 <= LIMIT
    return ours / rolls, bare / rolls


def readings(draws: int, ratio: float, share: float, rng: np.random.Generator) -> dict[str, float]:
    """Shares of batches truly off by ``ratio`` × the limit that are released, cut out, and released by bare value."""
    whole, counts = roll(10.0), {"release": 0.0, "cut out": 0.0, "bare": 0.0}
    empty = evidence(whole, np.empty(0), rng)
    sd = share * SPEED.limit
    for value in ratio * SPEED.limit + rng.normal(0.0, sd, draws):
        error = sd * math.sqrt(rng.chisquare(FREEDOM) / FREEDOM)
        reading = Reading(
            subject=SPEED.subject,
            extent=whole,
            value=float(value),
            low=float(value) - 2.45 * error,
            high=float(value) + 2.45 * error,
            unit=SPEED.unit,
            source="invented",
            standard_uncertainty=error,
            degrees_of_freedom=FREEDOM,
        )
        verdict = judge_readings(SPEED, replace(empty, readings=(reading,)))[0].finding.verdict
        counts["release"] += (verdict is Verdict.RELEASE) / draws
        counts["cut out"] += (verdict is Verdict.CUT_OUT) / draws
        counts["bare"] += (abs(value) <= SPEED.limit) / draws
    return counts


def dirty(rolls: int, rng: np.random.Generator) -> dict[str, float]:
    """Share of the dirty stretch that is cut out, and metres of good web cut out with it, for both ways."""
    whole = roll(40.0)
    hit, waste = np.zeros(2), np.zeros(2)
    for _ in range(rolls):
        start = rng.uniform(0.0, whole.along_to_m - DIRTY_M)
        along = np.concatenate(
            [
                scattered(whole, CALM_RATE, rng),
                scattered(roll(DIRTY_M), DIRTY_RATE, rng) + start,
            ]
        )
        regions = decide(evidence(whole, along, rng), [LOCAL]).regions
        ours = [(region.extent.along_from_m, region.extent.along_to_m) for region in regions]
        counts = np.histogram(along, bins=np.arange(0.0, 40.0 + WINDOW_M, WINDOW_M))[0]
        bad = np.flatnonzero(counts / (WINDOW_M * WIDTH_MM / 1000.0) > LOCAL_LIMIT)
        tiles = [(tile * WINDOW_M, (tile + 1) * WINDOW_M) for tile in bad.tolist()]
        for way, spans in enumerate((ours, tiles)):
            inside = sum(max(0.0, min(end, start + DIRTY_M) - max(begin, start)) for begin, end in spans)
            hit[way] += inside / DIRTY_M / rolls
            waste[way] += (sum(end - begin for begin, end in spans) - inside) / rolls
    return {"cut": hit[0], "cut_tiles": hit[1], "good_m": waste[0], "good_m_tiles": waste[1]}


def _figure(name: str, value: float, baseline: str, floor: str) -> dict[str, str | float]:
    return {"figure": name, "value": value, "unit": "", "baseline": baseline, "floor": floor}


def main() -> int:
    """Run, print, and compare with the floors."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="fewer rolls")
    parser.add_argument("--json", type=Path, help="write the figures there")
    options = parser.parse_args()
    rolls = 400 if options.quick else 8000
    rng = np.random.Generator(np.random.PCG64(20))
    began = time.perf_counter()

    risk = 1.0 - CONFIDENCE
    print(f"{rolls} invented rolls a row, {LENGTHS_M[0]:g} to {LENGTHS_M[-1]:g} m, limit {LIMIT:g} per m²")
    print("true rate / limit   released by decide   released by found ≤ limit")
    rows = {ratio: released(rolls, ratio, [RATE], rng) for ratio in RATIOS}
    for ratio, (ours, bare) in rows.items():
        print(f"{ratio:>17g}   {ours:>18.2%}   {bare:>25.2%}")
    both = released(rolls, RATIOS[0], [LOCAL, RATE], rng)[0]
    print(f"{RATIOS[0]:>17g}   {both:>18.2%}   with stretches cut out first")
    good = {ratio: released(rolls // 2, ratio, [RATE], rng) for ratio in (0.5, 0.8)}
    for ratio, (ours, bare) in good.items():
        print(f"{ratio:>17g}   {ours:>18.2%}   {bare:>25.2%}   (good rolls)")
    print(f"true deviation / limit   u / limit   released   cut out   released by |found| ≤ limit   ({rolls} readings)")
    told = {(ratio, share): readings(rolls, ratio, share, rng) for share in READING_SHARES for ratio in READING_RATIOS}
    for (ratio, share), row in told.items():
        print(f"{ratio:>22g}   {share:>9g}   {row['release']:>8.2%}   {row['cut out']:>7.2%}   {row['bare']:>27.2%}")
    let_through = max((row["release"], row["bare"]) for (ratio, _), row in told.items() if ratio > 1.0)
    lost = max(row["cut out"] for (ratio, _), row in told.items() if ratio < 1.0)
    told_rolls = list(release_rolls.rows(100 if options.quick else 2000, rng))
    print(release_rolls.HEAD)
    for row in told_rolls:
        print(release_rolls.told(row))
    found = dirty(rolls // 10, rng)
    print(f"dirty stretch of {DIRTY_M:g} m at {DIRTY_RATE:g} per m², limit {LOCAL_LIMIT:g} per m² in {WINDOW_M:g} m:")
    print(f"  cut out {found['cut']:.1%} of it with {found['good_m']:.2f} m of good web")
    print(f"  tiles   {found['cut_tiles']:.1%} of it with {found['good_m_tiles']:.2f} m of good web (baseline)")
    decisions = rolls * (len(RATIOS) + 2) + rolls // 10
    print(f"{decisions} decisions in {time.perf_counter() - began:.0f} s, drawing the rolls included")

    worst = max(ours for ours, _ in rows.values())
    noise = 3.0 * math.sqrt(risk * (1.0 - risk) / rolls)
    figures = [
        *(
            _figure(
                f"released at the limit: {row.case}",
                row.released,
                "" if math.isnan(row.bare) else f"found ≤ limit: {row.bare:.1%}",
                f"{release_rolls.RISK:.0%} stated",
            )
            for row in told_rolls
        ),
        *(
            _figure(f"good rolls kept back: {row.case}", row.kept_back, "", f"{row.stated_producer:.2%} stated")
            for row in told_rolls
        ),
        _figure(
            "truly bad rolls released", worst, f"found ≤ limit: {rows[RATIOS[0]][1]:.2%}", f"at most {risk + noise:.4f}"
        ),
        _figure("the same, stretches cut out first", both, "", ""),
        _figure("good rolls at half the limit released", good[0.5][0], f"found ≤ limit: {good[0.5][1]:.2%}", "0.95"),
        _figure(
            "readings beyond their limit released",
            let_through[0],
            f"|found| ≤ limit: {let_through[1]:.2%}",
            f"at most {risk + noise:.4f}",
        ),
        _figure("readings within their limit cut out", lost, "", f"at most {risk + noise:.4f}"),
        _figure("share of a dirty stretch cut out", found["cut"], f"whole tiles: {found['cut_tiles']:.2%}", "0.95"),
        _figure(
            "good web lost with it, m", found["good_m"], f"whole tiles: {found['good_m_tiles']:.2f} m", "half of tiles'"
        ),
    ]
    floors = {
        f"consumer's risk {worst:.2%}, stated {risk:.0%} (+ {noise:.2%} chance)": worst <= risk + noise,
        f"readings beyond their limit released {let_through[0]:.2%}, stated {risk:.0%} (+ {noise:.2%} chance)": (
            let_through[0] <= risk + noise
        ),
        f"readings within their limit cut out {lost:.2%}, stated {risk:.0%} (+ {noise:.2%} chance)": lost
        <= risk + noise,
        f"good rolls at half the limit released {good[0.5][0]:.1%}, floor 95 %": good[0.5][0] >= 0.95,
        f"dirty stretch cut out {found['cut']:.1%}, floor 95 %": found["cut"] >= 0.95,
        f"good web lost {found['good_m']:.2f} m, ceiling half of tiles' {found['good_m_tiles']:.2f} m": (
            found["good_m"] <= 0.5 * found["good_m_tiles"]
        ),
    }
    floors |= release_rolls.floors(told_rolls)
    for words, met in floors.items():
        print(f"{'ok  ' if met else 'FAIL'} {words}")
    if options.json:
        options.json.write_text(json.dumps(figures, indent=2, ensure_ascii=False) + "\n", encoding="utf-8")
    return 0 if all(floors.values()) else 1


if __name__ == "__main__":
    sys.exit(main())
