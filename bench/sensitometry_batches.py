"""How often a batch's reading holds the truth, and batches at their limit are released, by strips, runs and shape.

Batches of an invented film are exposed, processed, read, corrected and measured whole; the reading is the speed
deviation's, its limit 0.05 log H. Each run's process adds fog (sd 0.01) and a factor (sd 0.02) that its reference
strips must find. The baseline takes every strip's error as its own: the plain mean, u ⁄ √n. Seeds are fixed. Of batches
truly at the limit at most 5 % may be released.

python bench/sensitometry_batches.py [--quick] [--json FILE]
"""

import argparse
import json
import math
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from scipy import stats

from wideroll.release.conformance import conformance_probability
from wideroll.roll import Extent, Place
from wideroll.sensitometry import (
    SHAPE_SPREAD,
    FilmType,
    Record,
    StripKind,
    StripResult,
    correct_strip,
    fit_aims,
    fit_curve,
    judge_run,
    measure_strip,
    speed_point,
)
from wideroll.synthetic.strips import StripRecipe, make_aims, make_strips
from wideroll.workflow.gather_readings import gather_readings

FILM = FilmType.BLACK_AND_WHITE
AIMS = make_aims(FILM)
WHOLE = Extent(along_from_m=0.0, along_to_m=9.0, across_from_mm=0.0, across_to_mm=9.0)
LIMIT, RISK = 0.05, 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """How a batch is sampled and what varies."""

    name: str
    runs: int
    strips: int
    """Of each run."""
    references: int
    """Of each run; none: no process error either."""
    noise_sd: float = 0.008
    scatter_sd: float = 0.0
    shape: bool = False
    """Whether each batch draws rise and skew as supposed."""


CASES = (
    Case(name="8 runs of 1 strip, shape drawn", runs=8, strips=1, references=0, shape=True),
    Case(name="2 runs of 1 strip, scatter 0.010", runs=2, strips=1, references=2, noise_sd=0.003, scatter_sd=0.01),
    Case(name="1 run of 3 strips, 1 reference", runs=1, strips=3, references=1),
)


def main() -> int:
    """Print the figures; 1 when one is outside its limits."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--quick", action="store_true", help="fewer batches")
    parser.add_argument("--json", type=Path, help="write the figures here")
    chosen = parser.parse_args()
    count = 60 if chosen.quick else 600
    figures = [figure for case in CASES for figure in batch_means(case, count)]
    for one in figures:
        print(
            f"{one['figure']:62s} {one['value']:6.3f}  ({one['floor']:.3f} to {one['ceiling']:.3f}; {one['baseline']})"
        )
    if chosen.json:
        chosen.json.write_text(json.dumps(figures, indent=1), encoding="utf-8")
    outside = [one["figure"] for one in figures if not one["floor"] <= one["value"] <= one["ceiling"]]
    print(f"outside their limits: {', '.join(outside) or 'none'}")
    return 1 if outside else 0


def batch_means(case: Case, count: int) -> list[dict[str, Any]]:
    """Coverage of the interval, and shares released of batches at the limit and of good ones."""
    held, released, plain_held, plain_released, good = (np.zeros(count) for _ in range(5))
    for seed in range(count):
        results = batch(case, LIMIT, seed)
        reading = next(r for r in gather_readings(results, [WHOLE]) if r.subject == "speed deviation")
        held[seed] = reading.low <= LIMIT <= reading.high
        released[seed] = conforms(reading.value, reading.standard_uncertainty, reading.degrees_of_freedom)
        # the film's speed is only shifted, so a good batch reads as one at the limit does, less the limit
        good[seed] = conforms(reading.value - LIMIT, reading.standard_uncertainty, reading.degrees_of_freedom)
        value, error, freedom = plain(results)
        plain_held[seed] = abs(value - LIMIT) <= error * stats.t.ppf(0.975, freedom)
        plain_released[seed] = conforms(value, error, freedom)
    chance = 3.0 * math.sqrt(RISK * (1.0 - RISK) / count)
    least = {"floor": 0.93 - chance if count < 200 else 0.93, "ceiling": 1.0}
    return [
        told(f"{case.name}: intervals that hold the truth", held, plain_held, least),
        told(f"{case.name}: released at the limit", released, plain_released, {"floor": 0.0, "ceiling": RISK + chance}),
        told(f"{case.name}: released when on aim", good, None, {"floor": 0.3, "ceiling": 1.0}),
    ]


def told(name: str, ours: Any, bare: Any, limits: dict[str, float]) -> dict[str, Any]:
    """A figure beside its baseline's."""
    baseline = "" if bare is None else f"each strip's error its own {bare.mean():.3f}"
    return {"figure": name, "value": float(ours.mean()), "baseline": baseline, **limits}


def conforms(value: float, error: float, freedom: float) -> bool:
    """Whether a reading is released."""
    return conformance_probability(value, error, lower=-LIMIT, upper=LIMIT, degrees_of_freedom=freedom) >= 1.0 - RISK


def plain(results: Sequence[StripResult]) -> tuple[float, float, float]:
    """Mean, u ⁄ √n and degrees of freedom, every strip's error taken as its own."""
    measures = [result.deviations[0].speed_log_h for result in results]
    squares = [measure.standard_uncertainty**2 for measure in measures]
    freedom = sum(squares) ** 2 / sum(s**2 / m.degrees_of_freedom for s, m in zip(squares, measures, strict=True))
    return float(np.mean([m.value for m in measures])), math.sqrt(sum(squares)) / len(measures), freedom


def batch(case: Case, shift: float, seed: int) -> list[StripResult]:
    """The check strips of a batch that is off by a shift of speed, measured."""
    rng = np.random.default_rng([seed, 12])
    factors = [max(1.0 + spread * rng.standard_normal() * case.shape, 0.2) for spread in SHAPE_SPREAD]
    shift -= off_by_shape(*factors)
    results = []
    for run in range(case.runs):
        fog, factor = (0.01, 0.02) * rng.standard_normal(2) * (case.references > 0)
        of_run: dict[str, Any] = {
            "film_type": FILM,
            "run": str(run),
            "noise_sd": case.noise_sd,
            "process_fog": float(fog),
            "process_factor": 1.0 + float(factor),
        }
        checks = [
            StripRecipe(
                name=f"C{run}-{n}",
                place=Place(along_m=1.0, across_mm=1.0),
                shift_log_h={Record.VISUAL: shift + case.scatter_sd * float(rng.standard_normal())},
                rise_factor={Record.VISUAL: factors[0]},
                skew_factor={Record.VISUAL: factors[1]},
                seed=int(rng.integers(2**31)),
                **of_run,
            )
            for n in range(case.strips)
        ]
        references = [
            StripRecipe(name=f"R{run}-{n}", kind=StripKind.REFERENCE, seed=int(rng.integers(2**31)), **of_run)
            for n in range(case.references)
        ]
        strips = list(make_strips(checks).strips)
        if references:
            verdict = judge_run(str(run), make_strips(references).strips, strips, AIMS, 0.3)
            strips = [correct_strip(strip, verdict) for strip in strips]
        results += [measure_strip(strip, AIMS) for strip in strips]
    return results


def off_by_shape(rise: float, skew: float) -> float:
    """Speed deviation that another rise and skew bring by themselves, read off exact densities."""
    recipe = StripRecipe(
        name="exact",
        film_type=FILM,
        noise_sd=0.0,
        rise_factor={Record.VISUAL: rise},
        skew_factor={Record.VISUAL: skew},
    )
    strip = make_strips(recipe).strips[0]
    fits = fit_curve(strip.log_h, strip.density[Record.VISUAL], set_aside=False), fit_aims(AIMS)[Record.VISUAL]
    check, aim = (speed_point(fit, FILM).value for fit in fits)
    return check - aim


if __name__ == "__main__":
    sys.exit(main())
