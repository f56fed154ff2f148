"""How many there are and how alike examiners see, over invented sheets whose truth is known.

- Matching: precision and recall of pairs of one thing, from few marks to crowded ones. The baseline takes the sightings
  one by one and pairs each with the nearest mark that is left.
- Numbers that neither saw: bias and coverage of Chapman's estimate, plain and by classes of size.
- Agreement: coverage of the intervals of kappa, of two examiners and of several.
- Sizes: how often nine of ten marks of the size a90/95 are truly seen. The baseline is a90 itself.
- Wrong answers: bias and coverage of each examiner's share. The baseline counts answers unlike the majority's.

Seeds are fixed.

python bench/examination_counts.py [--quick] [--json FILE]
"""

import math
import sys
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from typing import Final

import numpy as np
import polars as pl
from numpy.typing import NDArray

from counting import Figure, chance, figure, run
from wideroll.errors import ArgumentError
from wideroll.examination import (
    Answered,
    Capture,
    Sheet,
    Sighting,
    chapman,
    cohen_kappa,
    fleiss_kappa,
    match_sightings,
    stratified_chapman,
    wrong_shares,
)
from wideroll.roll import MARKS_SCHEMA, Extent, MarkKind, Place
from wideroll.scan.detection import Reach
from wideroll.workflow.hit_miss import SizeThreshold, fit_sizes
from wideroll.workflow.take_in import MATCH_ACROSS_MM, MATCH_ALONG_M

Floats = NDArray[np.float64]
Pairs = set[tuple[int, int]]

SHEET: Final = Sheet(
    name="A",
    extent=Extent(along_from_m=10.0, along_to_m=10.3, across_from_mm=0.0, across_to_mm=1380.0),
    examiner="first",
)
EIGHTH_MM: Final = 3.175
ANSWERS: Final = np.array([0.4, 0.3, 0.2, 0.1])
CHANCES: Final = tuple(1.0 / (1.0 + (0.3 / size) ** 3) for size in (0.2, 0.4, 0.8))


def sections(quick: bool) -> Iterable[Iterator[Figure]]:  # noqa: FBT001  -- the option itself
    """All that is counted."""
    yield matching(6 if quick else 60)
    yield numbers(200 if quick else 2000)
    yield agreement(100 if quick else 1000)
    yield sizes(40 if quick else 400)
    yield answers(30 if quick else 300)


def matching(sheets: int) -> Iterator[Figure]:
    """Sheets of 0.4 m²; four in five marks seen by the scan, three in four by the examiner, placed as by rule."""
    random = np.random.Generator(np.random.PCG64(1))
    for per_m2 in (20.0, 200.0, 600.0):
        ours, near = np.zeros(3), np.zeros(3)
        for _ in range(sheets):
            own, places, true = drawn_sheet(random, per_m2)
            ours += hits(paired(own, places), true)
            near += hits(nearest(own, places), true)
        (precision, recall), (bare_precision, bare_recall) = (rates(one) for one in (ours, near))
        few = per_m2 == 20.0
        beside = f"nearest one by one {{:.3f}}; {per_m2 * SHEET.extent.area_m2:.0f} marks a sheet"
        least = 0.98 if few else None
        what = f"{per_m2:g} marks per m²"
        yield figure(f"pairs that are of one thing, {what}", precision, beside.format(bare_precision), least=least)
        yield figure(f"things seen twice that are paired, {what}", recall, beside.format(bare_recall), least=least)


def drawn_sheet(random: np.random.Generator, per_m2: float) -> tuple[Floats, Floats, Pairs]:
    """Places as read by rule and tape, places in the scan, and which are of one thing."""
    extent = SHEET.extent
    number = int(random.poisson(per_m2 * extent.area_m2))
    there = np.column_stack(
        [random.uniform(10.0, 10.3, number), random.uniform(0.0, 1380.0, number)],
    )
    scanned, seen = random.random(number) < 0.8, random.random(number) < 0.75
    read = there[seen] + random.normal(0.0, (0.002, 0.7), (int(seen.sum()), 2))
    own = np.column_stack([np.round(read[:, 0], 2), np.round(read[:, 1] / EIGHTH_MM) * EIGHTH_MM])
    rows, columns = np.cumsum(seen) - 1, np.cumsum(scanned) - 1
    both = np.flatnonzero(seen & scanned)
    return own, there[scanned], {(int(rows[n]), int(columns[n])) for n in both}


def paired(own: Floats, places: Floats) -> Pairs:
    """By optimal assignment."""
    sightings = [
        Sighting(sheet="A", kind=MarkKind.SPOT, place=Place(along_m=along, across_mm=across), size_mm=0.5, through={})
        for along, across in own.tolist()
    ]
    found = match_sightings([SHEET], sightings, marks_at(places), MATCH_ALONG_M, MATCH_ACROSS_MM)
    return {(match.sighting, int(match.mark_id)) for match in found.matches}


def marks_at(places: Floats) -> pl.DataFrame:
    """The scan's marks."""
    number = len(places)
    fixed = {"elongation": 1.0, "angle_deg": 0.0, "ring": 0.0}
    columns = {
        "id": [str(n) for n in range(number)],
        "along_m": places[:, 0],
        "across_mm": places[:, 1],
        **{name: np.full(number, 0.5) for name in ("length_mm", "width_mm", "area_mm2", "contrast", "snr", "peak")},
        **{name: np.full(number, value) for name, value in fixed.items()},
        **{name: [value] * number for name, value in (("polarity", "dark"), ("kind", "spot"))},
        **{name: ["invented"] * number for name in ("rule", "source")},
    }
    return pl.DataFrame(columns, schema=MARKS_SCHEMA)


def nearest(own: Floats, places: Floats) -> Pairs:
    """Each sighting in turn with the nearest mark within the tolerances that is still free."""
    free = np.ones(len(places), dtype=np.bool_)
    found: Pairs = set()
    for row, place in enumerate(own):
        off = np.abs(places - place) / (MATCH_ALONG_M, MATCH_ACROSS_MM)
        allowed = np.flatnonzero(free & (off <= 1.0).all(axis=1))
        if len(allowed):
            best = int(allowed[(off[allowed] ** 2).sum(axis=1).argmin()])
            free[best] = False
            found.add((row, best))
    return found


def hits(found: Pairs, true: Pairs) -> Floats:
    """Right, found, and true ones."""
    return np.array([len(found & true), len(found), len(true)], dtype=np.float64)


def rates(counts: Floats) -> tuple[float, float]:
    """Precision and recall."""
    return float(counts[0] / counts[1]), float(counts[0] / counts[2])


def numbers(sheets: int) -> Iterator[Figure]:
    """Chapman's estimate of marks equally hard to see, and of marks of three sizes."""
    random = np.random.Generator(np.random.PCG64(2))
    for there, chances in ((50, (0.6, 0.8)), (50, (0.9, 0.95)), (200, (0.5, 0.5)), (15, (0.6, 0.6))):
        drawn = [looked(random, there, chances) for _ in range(sheets)]
        found = [chapman(*counts) for counts in drawn]
        exact, whole = held_number(found, there)
        off, seen = (
            float(np.mean(each)) / there - 1.0
            for each in ([f.total for f in found], [c[0] + c[1] - c[2] for c in drawn])
        )
        what = f"{there} marks, seen with {chances[0]:g} and {chances[1]:g}"
        beside = f"number off by {off:+.1%}; what anybody saw {seen:+.1%}"
        yield figure(f"interval holds the number, {what}", exact, beside)
        yield figure(f"the same, lower limit rounded down to a whole mark, {what}", whole, "0.95 stated")
    for there in ((180, 120, 90), (18, 12, 9)):
        drawn_classes = [
            [looked(random, number, (p, p)) for number, p in zip(there, CHANCES, strict=True)] for _ in range(sheets)
        ]
        plain = [chapman(*(sum(column) for column in zip(*counts, strict=True))) for counts in drawn_classes]
        ours = [stratified_chapman(counts).together for counts in drawn_classes]
        total = sum(there)
        held, bare = (float(np.mean([one.low <= total <= one.high for one in each])) for each in (ours, plain))
        off, bare_off = (float(np.mean([one.total for one in each])) - total for each in (ours, plain))
        least = 0.92 if total > 100 else 0.89
        yield figure(
            f"interval by classes holds the number, {total} marks of three sizes",
            held,
            f"plain {bare:.3f}",
            least=least - chance(least, sheets),
        )
        yield figure(f"number by classes is off, {total} marks of three sizes", off, f"plain {bare_off:+.1f}")


def held_number(found: Sequence[Capture], there: int) -> tuple[float, float]:
    """How often the interval holds the number, as it is and with its lower limit rounded down to a whole mark."""
    exact = [one.low <= there <= one.high for one in found]
    whole = [math.floor(one.low) <= there <= one.high for one in found]
    return float(np.mean(exact)), float(np.mean(whole))


def looked(random: np.random.Generator, there: int, chances: tuple[float, float]) -> tuple[int, int, int]:
    """Seen by one, by the other, by both."""
    one, other = (random.random(there) < p for p in chances)
    return int(one.sum()), int(other.sum()), int((one & other).sum())


def agreement(sets: int) -> Iterator[Figure]:
    """Each examiner answers the truth with probability q and else by chance, so that kappa is q², weighted or not."""
    random = np.random.Generator(np.random.PCG64(3))
    for things, least in ((10, 0.88), (20, 0.91), (50, 0.90)):
        for sure in (0.5, 0.7, 0.9):
            held = several_held(random, sets, things, sure)
            what = f"{things} things, kappa {sure**2:.2f}"
            yield figure(
                f"Fleiss' interval holds, 2 to 5 examiners, {what}",
                held[0] / max(held[1], 1),
                f"0.95 stated; {held[1]} sets",
                least=least - chance(least, max(held[1], 1)),
            )
    for things, sure in ((20, 0.7), (50, 0.5), (50, 0.9), (200, 0.7)):
        plain, weighted, number = two_held(random, sets, things, sure)
        what = f"{things} things, kappa {sure**2:.2f}"
        yield figure(f"Cohen's interval holds, {what}", plain / number, f"0.95 stated; {number} sets")
        yield figure(f"Cohen's interval with linear weights holds, {what}", weighted / number, "0.95 stated")


def given(random: np.random.Generator, truth: NDArray[np.int64], sure: float) -> NDArray[np.int64]:
    """One examiner's answers."""
    guess = random.choice(len(ANSWERS), len(truth), p=ANSWERS)
    return np.where(random.random(len(truth)) < sure, truth, guess)


def several_held(random: np.random.Generator, sets: int, things: int, sure: float) -> tuple[int, int]:
    """Sets whose interval holds the true kappa, and sets that have one."""
    held = number = 0
    for _ in range(sets):
        truth = random.choice(len(ANSWERS), things, p=ANSWERS)
        looks = np.array([given(random, truth, sure) for _ in range(5)])
        judges = random.integers(2, 6, things)
        counts = np.zeros((things, len(ANSWERS)))
        for thing in range(things):
            np.add.at(counts[thing], looks[: judges[thing], thing], 1)
        try:
            found = fleiss_kappa(counts)
        except ArgumentError:  # all were judged the same
            continue
        number += 1
        held += found.low <= sure**2 <= found.high
    return held, number


def two_held(random: np.random.Generator, sets: int, things: int, sure: float) -> tuple[int, int, int]:
    """Sets whose interval holds the true kappa, plain and weighted, and sets that have one."""
    plain = weighted = number = 0
    for _ in range(sets):
        truth = random.choice(len(ANSWERS), things, p=ANSWERS)
        table = np.zeros((len(ANSWERS), len(ANSWERS)), dtype=np.int64)
        np.add.at(table, (given(random, truth, sure), given(random, truth, sure)), 1)
        try:
            one, two = cohen_kappa(table.tolist()), cohen_kappa(table.tolist(), weights="linear")
        except ArgumentError:
            continue
        number += 1
        plain += one.low <= sure**2 <= one.high
        weighted += two.low <= sure**2 <= two.high
    return plain, weighted, number


def sizes(sets: int) -> Iterator[Figure]:
    """Marks of 0.1 to 1.6 mm, seen as a logistic curve of the logarithm of their size says."""
    random = np.random.Generator(np.random.PCG64(4))
    for number, half_mm, steep in ((80, 0.3, 3.0), (200, 0.3, 3.0), (200, 0.4, 5.0), (600, 0.3, 2.0)):
        true_mm = half_mm * math.exp(math.log(9.0) / steep)
        held = bare = fits = 0
        for _ in range(sets):
            there = np.round(0.4 * np.exp(0.6 * random.standard_normal(number)), 1).clip(0.1, 1.6)
            seen = random.random(number) < 1.0 / (1.0 + (half_mm / there) ** steep)
            try:
                found = fit_sizes(there.tolist(), seen.tolist())
            except ArgumentError:
                continue
            fits += 1
            held += reaches(found.a90_95, true_mm)
            bare += reaches(found.a90, true_mm)
        yield figure(
            f"nine of ten are seen at a90/95, {number} marks, half seen at {half_mm:g} mm, slope {steep:g}",
            held / fits,
            f"at a90 {bare / fits:.3f}; {fits} sets",
            least=0.95 - chance(0.95, fits),
        )


def reaches(threshold: SizeThreshold, true_mm: float) -> bool:
    """Whether the size is large enough in truth; one that isn't reached claims nothing."""
    return threshold.reach is Reach.ABOVE or threshold.size_mm >= true_mm


def answers(sets: int) -> Iterator[Figure]:
    """Three examiners, each with a share of wrong answers of their own, and two looks of one."""
    random = np.random.Generator(np.random.PCG64(5))
    for possible, questions in ((3, 100), (3, 400), (2, 400)):
        true = {"A": 0.02, "B": 0.05, "C": 0.12}
        yield from told(random, sets, (possible, questions), true)
    for share in (0.02, 0.05, 0.12):
        yield from told(random, sets, (3, 400), {"A": share}, looks=2)


def told(
    random: np.random.Generator, sets: int, asks: tuple[int, int], true: dict[str, float], *, looks: int = 1
) -> Iterator[Figure]:
    """Bias and coverage with so many possible answers and questions."""
    possible, questions = asks
    shares: dict[str, list[float]] = {name: [] for name in true}
    bare: dict[str, list[float]] = {name: [] for name in true}
    held = 0
    for _ in range(sets):
        asked = [one_answered(random, possible, true, looks) for _ in range(questions)]
        found = wrong_shares(asked, 0.05)
        counted = unlike_most(asked)
        for name, share in true.items():
            shares[name].append(found[name].share)
            bare[name].append(counted[name])
            held += found[name].low <= share <= found[name].high
    who = "one examiner twice" if looks > 1 else "three examiners"
    for name, share in true.items():
        off = float(np.mean(shares[name])) - share
        bare_off = float(np.mean(bare[name])) - share
        yield figure(
            f"share of wrong answers is off, {who}, {possible} answers, {questions} questions, true {share:g}",
            off,
            f"unlike the majority {bare_off:+.4f}",
        )
    number = sets * len(true)
    yield figure(
        f"interval of that share holds, {who}, {possible} answers, {questions} questions"
        + (f", true {next(iter(true.values())):g}" if looks > 1 else ""),
        held / number,
        "0.95 stated",
    )


def one_answered(random: np.random.Generator, possible: int, true: dict[str, float], looks: int) -> Answered:
    """A question and all answers."""
    right = int(random.integers(possible))
    given_: list[tuple[str, int]] = []
    for name, share in true.items():
        for _ in range(looks):
            wrong = random.random() < share
            given_.append((name, (right + 1 + int(random.integers(possible - 1))) % possible if wrong else right))
    return Answered(possible=possible, answers=tuple(given_))


def unlike_most(asked: Sequence[Answered]) -> dict[str, float]:
    """Of each examiner's answers, the share unlike the commonest one, the first where several are as common."""
    unlike: Counter[str] = Counter()
    total: Counter[str] = Counter()
    for one in asked:
        most = Counter(answer for _, answer in one.answers).most_common(1)[0][0]
        for name, answer in one.answers:
            total[name] += 1
            unlike[name] += answer != most
    return {name: unlike[name] / number for name, number in total.items()}


if __name__ == "__main__":
    sys.exit(run(__doc__ or "", sections))
