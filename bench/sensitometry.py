"""How fast strips are fitted and measured, and how often their intervals hold the truth.

The baseline is scipy.optimize.curve_fit of the same five-parameter curve with its default start values (all ones), on
the same readings in the same process. Processor time is counted, not the clock, and the best of three rounds. Coverage
is counted over simulated strips of three invented films whose true measures are known; the interval asked for is 95 %.
Deviations are read off the aim laid over the strip; the baseline is the same deviations read off the free fit.

python bench/sensitometry.py [--quick] [--json FILE]
"""

import argparse
import json
import sys
import time
import warnings
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import optimize

from wideroll.sensitometry import (
    SHAPE_SPREAD,
    Aims,
    Curve,
    CurveFit,
    Deviation,
    FilmType,
    Floats,
    Measure,
    Record,
    Strip,
    StripKind,
    average_gradient,
    compare,
    compare_records,
    contrast_index,
    correct_strip,
    density_at_log_h,
    fit_aims,
    fit_curve,
    gamma,
    judge_run,
    latitude,
    maximum_density,
    measure_strip,
    minimum_density,
    speed_point,
)
from wideroll.synthetic.strips import StripRecipe, StripSet, make_aims, make_strips

Figure = dict[str, Any]
Case = tuple[NDArray[np.bool_], NDArray[np.bool_], Floats]

FITS_RATIO_FLOOR = 0.5
"""Good fits in a second against the baseline's, which starts from nothing better than ones and often fails."""
GOOD_SHARE_FLOOR = 0.99
STRIPS_FLOOR = 200.0
"""One thousand strips in 5 s."""
COVERAGE_FLOOR, COVERAGE_CEILING = 0.93, 0.97
"""95 % ± 2 %. Seeds are fixed, so the figures don't wander."""
DEVIATION_FLOOR = 0.93
OTHER_FAMILY_FLOOR = 0.90
SHAPE_FLOOR = 0.80
"""Of films up to four standard deviations off the supposed spread of shapes."""
FILMS = (FilmType.COLOUR_NEGATIVE, FilmType.BLACK_AND_WHITE, FilmType.COLOUR_REVERSAL)
GOOD_SD = 0.015
RECORDS_READ = {
    FilmType.COLOUR_NEGATIVE: (Record.RED, Record.GREEN, Record.BLUE),
    FilmType.BLACK_AND_WHITE: (Record.VISUAL,),
    FilmType.COLOUR_REVERSAL: (Record.RED, Record.GREEN, Record.BLUE),
}


def main() -> int:
    """Print the figures; 1 when one is outside its limits."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--quick", action="store_true", help="fewer strips")
    parser.add_argument("--json", type=Path, help="write the figures here")
    chosen = parser.parse_args()
    figures = coverage(900 if chosen.quick else 3000)
    figures += pair_coverage(600 if chosen.quick else 2000)
    figures += deviation_coverage(50 if chosen.quick else 250)
    figures += shape_changes(25 if chosen.quick else 150)
    figures += other_family(60 if chosen.quick else 300)
    figures += speed(150 if chosen.quick else 1000)
    limited = [figure for figure in figures if "floor" in figure]
    for figure in limited:
        limits = (
            f"{figure['floor']:g} to {figure['ceiling']:g}" if "ceiling" in figure else f"at least {figure['floor']:g}"
        )
        print(f"{figure['figure']:58s} {figure['value']:9.3f}  ({limits}; {figure['baseline']})")
    if chosen.json:
        chosen.json.write_text(json.dumps(figures, indent=1), encoding="utf-8")
    kept = [figure["floor"] <= figure["value"] <= figure.get("ceiling", np.inf) for figure in limited]
    return 0 if all(kept) else 1


def speed(count: int) -> list[Figure]:
    """Strips fitted and measured in a second, against the baseline's fits."""
    strips = invented(FilmType.COLOUR_NEGATIVE, count).strips
    aims = make_aims(FilmType.COLOUR_NEGATIVE)
    measure_strip(strips[0], aims)
    ours, ours_good = timed(strips, lambda x, y: fit_curve(x, y).residual_sd)
    theirs, theirs_good = timed(strips, baseline_sd)
    measured = max(rate(strips, aims) for _ in range(3))
    print(f"curve_fit, default start: {theirs:.0f} strips/s, {theirs_good:.1%} of fits good")
    print(f"fit_curve: {ours:.0f} strips/s, {ours_good:.1%} of fits good")
    print(f"measure_strip, all measures and deviations with intervals: {measured:.0f} strips/s")
    base = "curve_fit with default start values"
    return [
        {
            "figure": "strips measured in a second (3 records, 21 steps)",
            "value": measured,
            "floor": STRIPS_FLOOR,
            "baseline": f"curve_fit's bare fits: {theirs:.0f}",
        },
        {
            "figure": "share of good fits",
            "value": ours_good,
            "floor": GOOD_SHARE_FLOOR,
            "baseline": f"{base}: {theirs_good:.3f}",
        },
        {
            "figure": "good fits in a second, ratio",
            "value": ours * ours_good / (theirs * theirs_good),
            "floor": FITS_RATIO_FLOOR,
            "baseline": base,
        },
    ]


def rate(strips: Sequence[Strip], aims: Aims) -> float:
    """Strips fitted and measured in a second of processor time."""
    began = time.process_time()
    for strip in strips:
        measure_strip(strip, aims)
    return len(strips) / (time.process_time() - began)


def coverage(count: int) -> list[Figure]:
    """Share of 95 % intervals that hold the true value, by film and measure; of measures that aren't extrapolated."""
    figures: list[Figure] = []
    print(f"{'measure: coverage of 95 % and mean half width':72s}")
    for film_type in FILMS:
        inside: Counter[str] = Counter()
        total: Counter[str] = Counter()
        width: Counter[str] = Counter()
        records = RECORDS_READ[film_type]
        made = invented(film_type, count // len(records))
        for strip in made.strips:
            for record in records:
                found = measures(fit_curve(strip.log_h, strip.density[record]), film_type)
                true = measures(known(made.truth[strip.name].parameters[record], strip.log_h), film_type)
                for name, measure in found.items():
                    if not measure.extrapolated:
                        total[name] += 1
                        inside[name] += measure.low <= true[name].value <= measure.high
                        width[name] += (measure.high - measure.low) / 2.0
        for name, number in total.items():
            if number < count / 2:  # the film's readings seldom reach so far
                continue
            share, half = inside[name] / number, width[name] / number
            print(f"{f'{film_type}, {name}':72s} {share:.3f} {half:11.4f}")
            figures.append(covered(f"coverage, {film_type}, {name}", share, number))
    return figures


def pair_coverage(count: int) -> list[Figure]:
    """The same of what is said of two records of a colour negative against one another."""
    aims = fit_aims(make_aims(FilmType.COLOUR_NEGATIVE))
    recipe = StripRecipe(
        name="1", film_type=FilmType.COLOUR_NEGATIVE, shift_log_h={Record.RED: 0.03}, contrast_factor={Record.RED: 1.05}
    )
    names = ("spacing_off", "slope_ratio", "shift", "spread")

    def told_of(recipe: StripRecipe) -> list[Measure]:
        strip = make_strips(recipe).strips[0]
        fits = {record: fit_curve(strip.log_h, density) for record, density in strip.density.items()}
        pair = compare_records(fits, aims, FilmType.COLOUR_NEGATIVE)[0]
        return [getattr(pair, name) for name in names]

    true = [measure.value for measure in told_of(replace(recipe, noise_sd=0.0))]
    held = [
        [
            measure.low <= value <= measure.high
            for measure, value in zip(told_of(replace(recipe, seed=seed)), true, strict=True)
        ]
        for seed in range(count)
    ]
    shares = dict(zip(names, np.mean(held, axis=0), strict=True))
    spread = {
        "figure": "coverage, red against green, spread (for any two places)",
        "value": float(shares.pop("spread")),
    }
    return [
        *(
            covered(f"coverage, red against green, {name.replace('_', ' ')}", float(share), count)
            for name, share in shares.items()
        ),
        spread | {"floor": COVERAGE_FLOOR, "baseline": f"asked 0.95 at least; {count} intervals"},
    ]


def other_family(count: int) -> list[Figure]:
    """Coverage of deviations of films whose curve is not of the family fitted: two emulsions, fast and slow, in one."""
    figures: list[Figure] = []
    log_h = np.linspace(-3.125, -0.125, 21)
    print(f"{'film of two emulsions coated one on the other':72s} {'aim misfit':>10s} {'coverage':>9s}")
    for apart in (0.5, 1.0, 1.3):
        curve = Curve(log_h=log_h, density=two_emulsions(log_h, apart))
        aims = Aims(film_type=FilmType.BLACK_AND_WHITE, curves={Record.VISUAL: curve}, tolerance_density=0.05)
        inside = []
        for seed in range(count):
            noise = np.random.Generator(np.random.PCG64(seed)).standard_normal(len(log_h))
            density = two_emulsions(log_h - 0.05, apart) + 0.008 * noise
            strip = Strip(name="1", kind=StripKind.CHECK, run="", log_h=log_h, density={Record.VISUAL: density})
            found = three(measure_strip(strip, aims).deviations[0])
            inside.append([m.low <= t <= m.high for m, t in zip(found, (0.05, 0.0, 0.0), strict=True)])
        misfit, share = fit_aims(aims)[Record.VISUAL].residual_sd, float(np.mean(inside))
        name = f"{apart} log H apart in speed"
        print(f"{name:72s} {misfit:10.4f} {share:9.3f}")
        figures.append({"figure": name, "value": share, "baseline": f"aim misfit {misfit:.4f}"})
    return [
        *figures,
        pooled("coverage of 95 %, deviations of films of another family, least", figures, np.min, OTHER_FAMILY_FLOOR),
    ]


def two_emulsions(log_h: Floats, apart: float) -> Floats:
    """A fast emulsion of low contrast and a slower one of higher, each its own curve."""
    fast = 0.75 / (1.0 + 0.5 * np.exp(-2.4 * (log_h + 2.0))) ** 2.0
    slow = 1.25 / (1.0 + 0.5 * np.exp(-2.4 * (log_h + 2.0 - apart))) ** 2.0
    density: Floats = 0.2 + fast + slow
    return density


def deviation_coverage(count: int) -> list[Figure]:
    """Coverage and half width of deviations from aim, as measured and as the free fit alone would give them."""
    figures: list[Figure] = []
    print(f"{'deviation: coverage and mean half width':72s} {'free fit (baseline)':>27s}   {'as measured':>27s}")
    for film_type in FILMS:
        for noise_sd in (0.008, 0.004):
            for corrected in (False, True):
                name = f"{film_type}, noise {noise_sd}{', corrected' if corrected else ''}"
                cases = [on_aim(film_type, noise_sd, seed) for seed in range(count)]
                figures += told(name, [case_of(case, corrected=corrected) for case in cases])
        name = f"{film_type}, noise 0.008, shape varies as supposed"
        figures += told(name, [case_of(other_shape(film_type, 0.008, seed), corrected=False) for seed in range(count)])
    return [*figures, pooled("coverage of 95 %, deviations, mean of the table", figures, np.mean, DEVIATION_FLOOR)]


def shape_changes(count: int) -> list[Figure]:
    """How often a change of rise or skew is flagged, and the coverage of the three deviations together."""
    figures: list[Figure] = []
    print(f"{'film of another shape':72s} {'flagged':>8s} {'coverage':>9s} {'free fit':>9s}")
    for film_type in FILMS:
        for field in ("rise_factor", "skew_factor"):
            for factor in (0.8, 0.9, 1.1, 1.2):
                changed = {field: dict.fromkeys(Record, factor)}
                found = [case_of(on_aim(film_type, 0.008, seed, **changed), corrected=False) for seed in range(count)]
                flags, inside, _ = (np.concatenate(parts) for parts in zip(*found, strict=True))
                name = f"{film_type}, {field.removesuffix('_factor')} x {factor}"
                shares = inside.mean(axis=(0, 2))
                print(f"{name:72s} {flags.mean():8.2f} {shares[1]:9.3f} {shares[0]:9.3f}")
                figures.append(
                    {
                        "figure": name,
                        "value": float(shares[1]),
                        "baseline": f"free fit {shares[0]:.3f}; flagged {flags.mean():.2f}",
                    }
                )
    return [*figures, pooled("coverage of 95 %, films of another shape, least", figures, np.min, SHAPE_FLOOR)]


def on_aim(film_type: FilmType, noise_sd: float, seed: int, **changed: Any) -> StripRecipe:
    """A check strip with a shift of speed, its shape the aim's unless changed."""
    shift = dict.fromkeys(Record, 0.02 * (seed % 5 - 2))
    return StripRecipe(
        name="check", film_type=film_type, noise_sd=noise_sd, seed=2 * seed + 1, shift_log_h=shift, **changed
    )


def other_shape(film_type: FilmType, noise_sd: float, seed: int) -> StripRecipe:
    """The same with rise and skew drawn as the overlay supposes them to vary."""
    draw = np.random.Generator(np.random.PCG64(seed))
    factors = [
        {record: max(1.0 + spread * draw.standard_normal(), 0.2) for record in Record} for spread in SHAPE_SPREAD
    ]
    return on_aim(film_type, noise_sd, seed, rise_factor=factors[0], skew_factor=factors[1])


def case_of(recipe: StripRecipe, *, corrected: bool) -> Case:
    """Flags (records,), hits and half widths (records, 2, 3) of one strip, the free fit's first."""
    aims = make_aims(recipe.film_type)
    made = make_strips(recipe)
    strip, truth = made.strips[0], made.truth[recipe.name]
    if corrected:
        process = {"process_fog": 0.02, "process_factor": 1.03}
        reference = StripRecipe(
            name="reference",
            film_type=recipe.film_type,
            kind=StripKind.REFERENCE,
            noise_sd=recipe.noise_sd,
            seed=recipe.seed - 1,
            **process,
        )
        both = make_strips([reference, replace(recipe, **process)]).strips
        strip = correct_strip(both[1], judge_run("1", both[:1], both[1:], aims, 0.3))
    result = measure_strip(strip, aims)
    flags, inside, widths = [], [], []
    for measured in result.deviations:
        record = measured.record
        aim = fit_aims(aims)[record]
        true = three(compare(record, known(truth.parameters[record], strip.log_h), aim, recipe.film_type))
        ways = [three(compare(record, result.fits[record], aim, recipe.film_type)), three(measured)]
        flags.append("shape differs" in measured.speed_log_h.note)
        inside.append([[m.low <= t.value <= m.high for m, t in zip(way, true, strict=True)] for way in ways])
        widths.append([[(m.high - m.low) / 2.0 for m in way] for way in ways])
    return np.array(flags), np.array(inside), np.array(widths)


def three(deviation: Deviation) -> tuple[Measure, Measure, Measure]:
    """Speed, contrast and minimum density."""
    return deviation.speed_log_h, deviation.contrast, deviation.dmin_density


def told(name: str, cases: Sequence[Case]) -> list[Figure]:
    """Print a case's lines, coverage and half width of each deviation, and give them as figures without limits."""
    _, inside, widths = (np.concatenate(parts) for parts in zip(*cases, strict=True))
    figures: list[Figure] = []
    for place, measure in enumerate(("speed log H", "contrast", "minimum density")):
        share, width = inside[..., place].mean(axis=0), widths[..., place].mean(axis=0)
        line = "   ".join(f"{c:15.3f} {w:11.4f}" for c, w in zip(share, width, strict=True))
        print(f"{f'{name}, {measure}':72s} {line}")
        figures.append(
            {
                "figure": f"{name}, {measure}",
                "value": float(share[1]),
                "half_width": float(width[1]),
                "baseline": f"free fit {share[0]:.3f}, {width[0]:.4f}",
            }
        )
    return figures


def pooled(name: str, figures: Sequence[Figure], pool: Callable[[list[float]], Any], floor: float) -> Figure:
    """One figure with a limit out of a table of them."""
    value = float(pool([figure["value"] for figure in figures]))
    return {"figure": name, "value": value, "floor": floor, "baseline": "asked 0.95; free fit in the table"}


def covered(name: str, share: float, count: int) -> Figure:
    """One figure of coverage."""
    return {
        "figure": name,
        "value": share,
        "floor": COVERAGE_FLOOR,
        "ceiling": COVERAGE_CEILING,
        "baseline": f"asked 0.95; {count} intervals",
    }


def measures(fit: CurveFit, film_type: FilmType) -> dict[str, Measure]:
    """The measures whose coverage is counted."""
    found = [
        minimum_density(fit),
        maximum_density(fit),
        density_at_log_h(fit, -1.5),
        gamma(fit),
        average_gradient(fit),
        speed_point(fit, film_type),
        latitude(fit),
    ]
    if film_type is not FilmType.COLOUR_REVERSAL:
        found.append(contrast_index(fit))
    return {measure.name: measure for measure in found}


def known(parameters: Floats, log_h: Floats) -> CurveFit:
    """The true curve as if it had been fitted."""
    return CurveFit(
        parameters=parameters,
        covariance=np.zeros((5, 5)),
        log_h=log_h,
        density=np.zeros_like(log_h),
        used=np.ones(len(log_h), dtype=np.bool_),
        residual_sd=0.0,
        degrees_of_freedom=1,
    )


def invented(film_type: FilmType, count: int) -> StripSet:
    """Strips with small departures from aim."""
    return make_strips(
        StripRecipe(
            name=str(seed), film_type=film_type, seed=seed, shift_log_h=dict.fromkeys(Record, 0.02 * (seed % 5 - 2))
        )
        for seed in range(count)
    )


def timed(strips: Sequence[Strip], fit: Callable[[Floats, Floats], float]) -> tuple[float, float]:
    """Strips in a second, and the share of records fitted to within their noise."""
    good = total = 0
    began = time.process_time()
    for strip in strips:
        for density in strip.density.values():
            good += fit(strip.log_h, density) < GOOD_SD
            total += 1
    return len(strips) / (time.process_time() - began), good / total


def baseline_sd(x: Floats, y: Floats) -> float:
    """Residual standard deviation of curve_fit with default start values; infinite when it gives up."""
    with warnings.catch_warnings(), np.errstate(all="ignore"):
        warnings.simplefilter("ignore")
        try:
            found, _ = optimize.curve_fit(plain, x, y, p0=np.ones(5))
        except RuntimeError:
            return np.inf
        residual = y - plain(x, *found)
    return float(np.sqrt(residual @ residual / (len(x) - 5)))


def plain(x: Floats, *parameters: float) -> Floats:
    """The curve as it is written in the books."""
    low, rise, b, k, q = parameters
    density: Floats = low + rise / (1.0 + np.exp(b - k * x)) ** (1.0 / q)
    return density


if __name__ == "__main__":
    sys.exit(main())
