"""How right examiners' layers, contradictions, photographs and grades are, over invented marks whose truth is known.

- Layers: of those given a high probability, how many are true, and how often is the likeliest right? The baseline takes
  answers at their word: darker or lighter through red is cyan, and so on, without a share of wrong answers.
- Contradictions: how often is evidence of one mark called contradictory, and how often that of two different ones? The
  baseline compares what filters and densities say at their word.
- Photographs: bias and coverage of density and size. The baseline takes code values for light and the median for the
  surround, as one would without undoing the camera's curve.
- Grades: coverage of borders and grades, and how many right and wrong grades are warned of. The baseline is the
  grade of the reference sample that looks most alike.

Seeds are fixed. Speed is in processor time, as a ratio to the baseline in the same run.

python bench/examination.py [--quick] [--json FILE]
"""

import math
import sys
import time
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from counting import Figure, chance, figure, run
from wideroll.examination import (
    FilterColour,
    GradedSample,
    GradeFit,
    GradeScale,
    Layer,
    LayerPosterior,
    MarkPhotograph,
    MarkShape,
    Photograph,
    Seen,
    Sighting,
    Viewing,
    Visibility,
    fit_grades,
    judge_grade,
    locate_layer,
    measure_photograph,
    predict_visibility,
)
from wideroll.synthetic import DYE_MATRIX, DrawnMark, LookedAt, draw_photograph, look_at_marks

Floats = NDArray[np.float64]

LAYERS_OF: Final = {
    (False, False, False): Layer.SURFACE,
    (True, False, False): Layer.CYAN,
    (False, True, False): Layer.MAGENTA,
    (False, False, True): Layer.YELLOW,
    (True, True, False): Layer.CYAN_MAGENTA,
    (True, False, True): Layer.CYAN_YELLOW,
    (False, True, True): Layer.MAGENTA_YELLOW,
    (True, True, True): Layer.OPAQUE,
}
NEUTRAL: Final = frozenset({Layer.OPAQUE, Layer.SURFACE})
SEEN_DENSITY: Final = 0.05
"""From which density on the naive rule takes a colour for changed."""
PLAIN_DENSITY: Final = 0.2
MM_PER_PIXEL: Final = 0.01
GRADES: Final = ("1", "2", "3", "4")
BORDERS: Final = np.array([-1.6, -1.2, -0.8])
SCATTER: Final = 0.08
LOUPE: Final = Viewing(magnification=3.0)


def sections(quick: bool) -> Iterable[Iterator[Figure]]:  # noqa: FBT001  -- the option itself
    """All that is counted."""
    yield layers(200 if quick else 1500, 4 if quick else 6)
    yield conflicts(200 if quick else 1500)
    yield photographs(40 if quick else 400)
    yield grades(8 if quick else 120)
    yield speed(100 if quick else 1000)


def layers(count: int, films: int) -> Iterator[Figure]:
    """How right the likeliest layer is, and how often what is stated comes true, with more and more evidence."""
    bare = {"density": None, "shows_in": {}, "embedded": None}
    for name, kept, how, matrix in (
        ("filters alone", bare, {}, None),
        ("filters and depth", {"density": None, "shows_in": {}}, {}, None),
        ("filters, depth and sections", {"density": None}, {}, None),
        ("densities alone", {"through": {}, "shows_in": {}, "embedded": None}, {}, DYE_MATRIX),
        ("all, densities to 0.02", {}, {}, DYE_MATRIX),
        ("all, matrix off by 0.03", {}, {"crosstalk": 0.03, "density_sd": 0.01}, DYE_MATRIX),
        ("all, no matrix", {}, {}, None),
    ):
        # films without densities are cheap to judge
        drawn = films if kept.get("density", 1) is None else 1
        marks = [mark for film in range(drawn) for mark in look_at_marks(count, seed=3 + film, **how)]
        seen = [replace(mark.sighting, **kept) for mark in marks]
        found = [locate_layer(one, dye_matrix=matrix) for one in seen]
        right = share(one.likeliest is mark.layer for one, mark in zip(found, marks, strict=True))
        word = share(at_its_word(one) is mark.layer for one, mark in zip(seen, marks, strict=True))
        beside = f"answers at their word {word:.3f}" if "through" not in kept else "densities: no rule beside it"
        least = {"filters, depth and sections": 0.76, "all, densities to 0.02": 0.95}.get(name)
        bound = None if least is None else least - chance(least, len(marks))
        yield figure(f"likeliest layer right, {name}", right, beside, least=bound)
        yield from stated(name, found, marks)


def stated(name: str, found: Sequence[LayerPosterior], marks: Sequence[LookedAt]) -> Iterator[Figure]:
    """Of layers given a probability in each range, the share that is true, against the mean that was stated."""
    said = np.array([list(one.probability.values()) for one in found])
    true = np.array(
        [[layer is mark.layer for layer in one.probability] for one, mark in zip(found, marks, strict=True)]
    )
    for low, high in ((0.3, 0.5), (0.5, 0.7), (0.7, 0.9), (0.9, 0.98), (0.98, 1.01)):
        inside = (said >= low) & (said < high)
        number = int(inside.sum())
        if number < 20:
            continue
        mean, came = float(said[inside].mean()), float(true[inside].mean())
        # marks aren't drawn by the very law they are judged by: 0.02 is allowed for that, and caution is free
        bound = mean - 0.02 - chance(mean, number) if low >= 0.9 else None
        yield figure(
            f"came true of {low:g} to {min(high, 1.0):g} stated, {name}",
            came,
            f"stated {mean:.3f}; {number} statements",
            least=bound,
        )


def conflicts(count: int) -> Iterator[Figure]:
    """Evidence of one mark, with and without wrong answers, and answers about one mark beside densities of another."""
    for name, how in (("nothing wrong", {"wrong": 0.0, "wrong_section": 0.0}), ("1 in 20 answers wrong", {})):
        marks = look_at_marks(count, seed=8, **how)
        found = [locate_layer(mark.sighting, dye_matrix=DYE_MATRIX) for mark in marks]
        word = share(told_apart(mark.sighting) for mark in marks)
        said = share(bool(one.contradiction) for one in found)
        improbable = share(one.conflict >= 20.0 for one in found)
        allowed = 0.05 + chance(0.05, count)
        most = allowed if name == "nothing wrong" else None
        yield figure(f"called contradictory, one mark, {name}", said, f"at their word {word:.3f}", most=most)
        yield figure(f"20 times less probable together, one mark, {name}", improbable, "at most 0.05", most=allowed)
    yield from mixed_up(count)
    marks = [mark for mark in look_at_marks(count, seed=10, wrong=0.0) if mark.sighting.embedded]
    wiped = share(bool(locate_layer(replace(mark.sighting, wipes_off=True)).contradiction) for mark in marks)
    yield figure("embedded, yet wipes off: found out", wiped, f"{len(marks)} marks", least=1.0)


def mixed_up(count: int) -> Iterator[Figure]:
    """Answers about one mark beside densities of one in another layer: any, and plain ones fully answered."""
    for name, how in (("nothing else wrong", {"wrong": 0.0, "wrong_section": 0.0}), ("1 in 20 answers wrong", {})):
        drawn = zip(look_at_marks(count, seed=8, **how), look_at_marks(count, seed=9, **how), strict=True)
        pairs = [
            replace(one.sighting, density=other.sighting.density)
            for one, other in drawn
            if one.layer is not other.layer and not {one.layer, other.layer} <= NEUTRAL and one.sighting.through
        ]
        plain = [one for one in pairs if len(one.through) == 3 and np.abs(one.density.density).max() >= PLAIN_DENSITY]
        for which, mixed in (("any", pairs), (f"three filters, {PLAIN_DENSITY:g} and denser", plain)):
            said = share(bool(locate_layer(one, dye_matrix=DYE_MATRIX).contradiction) for one in mixed)
            beside = f"at their word {share(told_apart(one) for one in mixed):.3f}; {len(mixed)} pairs"
            yield figure(f"answers and densities of two marks found out, {which}, {name}", said, beside)


def photographs(count: int) -> Iterator[Figure]:
    """Discs and streaks of 8 to 40 pixels, 0.05 to 0.6 in one to three colours, uneven light, an imperfect camera."""
    for name, camera in (("camera as it says", 0.0), ("camera off by 4 %", 0.04)):
        random = np.random.Generator(np.random.PCG64(5))
        made = [invented_photograph(random, number, camera) for number in range(count)]
        found = [measure_photograph(one.photograph, mm_per_pixel=MM_PER_PIXEL) for one in made]
        pairs = [(one, mark) for one, mark in zip(made, found, strict=True) if not mark.refused]
        held = [density_held(one, mark) for one, mark in pairs]
        yield figure(f"photographs refused, {name}", 1.0 - len(pairs) / count, f"{count} photographs", most=0.1)
        relative, bare = (
            [float(change[strongest(one)] / one.density[strongest(one)]) - 1.0 for one, change in each]
            for each in (
                [(one, mark.change.density) for one, mark in pairs],
                [(one, plain_change(one.photograph)) for one, _ in pairs],
            )
        )
        bias = abs(float(np.median(relative)))
        yield figure(
            f"bias of density, share of it, {name}",
            bias,
            f"code values for light {abs(float(np.median(bare))):.3f}",
            most=0.03,
        )
        number = 3 * len(pairs)
        yield figure(
            f"95 % intervals of density hold, {name}",
            float(np.mean(held)),
            "0.95 stated",
            least=0.95 - chance(0.95, number),
        )
        sizes = np.array([mark.size_mm - one.across_pixels * MM_PER_PIXEL for one, mark in pairs])
        sds = np.array([mark.size_standard_uncertainty_mm for _, mark in pairs])
        yield figure(f"bias of size, pixels, {name}", abs(float(sizes.mean())) / MM_PER_PIXEL, "truth", most=0.5)
        yield figure(
            f"95 % intervals of size hold, {name}",
            float((np.abs(sizes) <= 1.96 * sds).mean()),
            "0.95 stated",
            least=0.95 - chance(0.95, len(pairs)),
        )


def invented_photograph(random: np.random.Generator, seed: int, camera: float) -> DrawnMark:
    """A mark, and its photograph by a camera whose exponent is off by a share."""
    amounts = np.where(random.random(3) < 0.5, 1.0, 0.2) * random.choice([-1.0, 1.0], p=[0.2, 0.8])
    strength = 0.05 * 12.0 ** random.random()
    made = draw_photograph(
        density=tuple((amounts * (strength if amounts.max() > 0.0 else min(strength, 0.2))).tolist()),
        across_pixels=float(random.uniform(8.0, 40.0)),
        seed=seed,
        streak=bool(random.random() < 0.3),
        tilt=float(random.uniform(0.0, 0.3)),
        grain=float(random.uniform(0.004, 0.015)),
    )
    exponent = 1.0 + camera * float(random.standard_normal())
    pixels = np.rint(255.0 * (made.photograph.pixels / 255.0) ** exponent).astype(np.uint8)
    return replace(made, photograph=Photograph(pixels=pixels))


def density_held(made: DrawnMark, found: MarkPhotograph) -> NDArray[np.bool_]:
    """Whether the 95 % interval holds the truth, in each colour."""
    assert found.change is not None
    held: NDArray[np.bool_] = np.abs(found.change.density - made.density) <= 1.96 * found.change.standard_uncertainty
    return held


def strongest(made: DrawnMark) -> int:
    """The colour that changes most."""
    return int(np.abs(made.density).argmax())


def plain_change(photograph: Photograph) -> Floats:
    """Code values for light, the median for the surround, and the mean of what departs by half of the most."""
    density = -np.log10(np.maximum(photograph.pixels, 1) / 255.0)
    away = density - np.median(density, axis=(0, 1))
    total = np.abs(away).sum(axis=2)
    mean: Floats = away[total > 0.5 * np.quantile(total, 0.995)].mean(axis=0)
    return mean


def grades(scales: int) -> Iterator[Figure]:
    """Scales of four grades with 40 samples each, and 60 marks measured to 0.04 in log10 of visibility on each."""
    random = np.random.Generator(np.random.PCG64(6))
    held: list[bool] = []
    counts: Counter[str] = Counter()
    marks = 60
    for _ in range(scales):
        scale, seen = invented_scale(random)
        fit = fit_grades(scale)
        held += ((fit.intervals[:, 0] <= BORDERS) & (fit.intervals[:, 1] >= BORDERS)).tolist()
        for _ in range(marks):
            counts += judged(random, fit, scale, seen)
    total = scales * marks
    yield figure(
        "95 % intervals of borders between grades hold",
        float(np.mean(held)),
        f"{len(held)} borders",
        least=0.9 - chance(0.9, len(held)),  # what the tests promise of scales of 40 samples
    )
    inside, near = counts["inside"] / total, counts["nearest"] / total
    yield figure("grades within those that hold 95 %", inside, "0.95 stated", least=0.95 - chance(0.95, total))
    yield figure(
        "likeliest grade is the one given", counts["likeliest"] / total, f"most alike sample {near:.3f}", least=near
    )
    false = counts["false"] / total
    beside = f"most alike sample {1.0 - near:.3f}"
    yield figure("right grades warned of", false, beside, most=0.05 + chance(0.05, total))
    for steps in (1, 2):
        number, found, bare = (counts[f"{what}{steps}"] for what in ("wrong by ", "told by ", "bare by "))
        least = 0.9 - chance(0.9, number) if steps == 2 else None
        beside = f"most alike sample {bare / number:.3f}; {number} grades"
        yield figure(f"grades wrong by {steps} warned of", found / number, beside, least=least)


def judged(random: np.random.Generator, fit: GradeFit, scale: GradeScale, seen: Floats) -> Counter[str]:
    """One mark: its grade by the scale's own law, and grades wrong by one and by two."""
    truth = random.uniform(-2.0, -0.4)
    measured = Visibility(log10=truth + 0.04 * float(random.standard_normal()), standard_uncertainty=0.04)
    grade = drawn_grade(random, truth)
    nearest = GRADES.index(scale.samples[int(np.abs(seen - measured.log10).argmin())].grade)
    finding = judge_grade(fit, GRADES[grade], measured)
    counts: Counter[str] = Counter()
    counts["inside"] += GRADES.index(finding.low) <= grade <= GRADES.index(finding.high)
    counts["likeliest"] += finding.likeliest == GRADES[grade]
    counts["nearest"] += nearest == grade
    counts["false"] += bool(finding.warning)
    for steps in (1, 2):
        for other in (grade - steps, grade + steps):
            if 0 <= other < len(GRADES):
                counts[f"wrong by {steps}"] += 1
                counts[f"told by {steps}"] += bool(judge_grade(fit, GRADES[other], measured).warning)
                counts[f"bare by {steps}"] += nearest != other
    return counts


def invented_scale(random: np.random.Generator, count: int = 40) -> tuple[GradeScale, Floats]:
    """Samples graded by a known law, every grade at least once, and log10 of how visible each is."""
    while True:
        rows = []
        for _ in range(count):
            width, density = random.uniform(0.3, 2.0), 10.0 ** random.uniform(-2.3, -0.7)
            x = math.log10(predict_visibility(density, width, shape=MarkShape.STREAK, viewing=LOUPE))
            grade = GRADES[drawn_grade(random, x)]
            rows.append((GradedSample(grade=grade, shape=MarkShape.STREAK, density=density, width_mm=width), x))
        if {sample.grade for sample, _ in rows} == set(GRADES):
            samples, seen = zip(*rows, strict=True)
            return GradeScale(grades=GRADES, samples=samples, viewing=LOUPE), np.array(seen)


def drawn_grade(random: np.random.Generator, log10_visibility: float) -> int:
    """The grade of one judgement."""
    return int((log10_visibility + random.logistic(0.0, SCATTER) > BORDERS).sum())


def speed(count: int) -> Iterator[Figure]:
    """Sightings located in a second of processor time."""
    marks = look_at_marks(count, seed=1)
    answers = [replace(mark.sighting, density=None) for mark in marks]
    measured = [mark.sighting for mark in marks]
    locate_layer(measured[0], dye_matrix=DYE_MATRIX)
    plain = rate(at_its_word, answers)
    for name, seen, how in (
        ("answers", answers, locate_layer),
        ("answers and densities", measured, lambda one: locate_layer(one, dye_matrix=DYE_MATRIX)),
    ):
        ours = rate(how, seen)
        yield figure(
            f"sightings located in a second, {name}",
            ours,
            f"answers at their word {plain:.0f}: {ours / plain:.2g} of it",
        )


def rate(locate: Callable[[Sighting], object], seen: Sequence[Sighting]) -> float:
    """Sightings in a second of processor time, best of three."""
    best = math.inf
    for _ in range(3):
        began = time.process_time()
        for one in seen:
            locate(one)
        best = min(best, time.process_time() - began)
    return len(seen) / best


def at_its_word(sighting: Sighting) -> Layer:
    """The layer that the answers name if none of them is wrong and what wasn't looked at is the same."""
    if sighting.embedded is False:
        return Layer.SURFACE
    red, green, blue = (sighting.through.get(colour, Seen.SAME) is not Seen.SAME for colour in FilterColour)
    return LAYERS_OF[red, green, blue]


def told_apart(sighting: Sighting) -> bool:
    """Whether an answer and the density in its own colour say different things, taken at their word."""
    if sighting.density is None:
        return False
    rows = zip(FilterColour, sighting.density.density.tolist(), strict=True)
    return any(
        sighting.through[colour] is not look_of(density) for colour, density in rows if colour in sighting.through
    )


def look_of(density: float) -> Seen:
    """What a filter ought to show."""
    if abs(density) < SEEN_DENSITY:
        return Seen.SAME
    return Seen.DARKER if density > 0.0 else Seen.LIGHTER


def share(true: Iterable[bool]) -> float:
    """How many of them are true."""
    return float(np.mean(list(true)))


if __name__ == "__main__":
    sys.exit(run(__doc__ or "", sections))
