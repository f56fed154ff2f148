"""How often limits of rates hold the truth, and the risks of the sequential test, on invented rolls with known rates.

- Limits at 95 %: with clusters, with uncertain detection, of regions nobody looked at, of shares. The baseline for
  clusters is Garwood's limits of the same counts.
- Consumer's risk: of rolls that are truly at the limit, how many does ``know_rate`` call within it at 95 %, on 6, 12
  and 24 sheets? And how many of those at half the limit? The baseline is Garwood's limit, every mark taken for found.
- Tests: how often clusters, or two looks that differ, are told where there is nothing to tell.
- Sheets: how far the rate of a roll with a roller's prints is off, against sheets at one fixed distance.
- The sequential test: both risks, and the area looked at against a test of one fixed area.

Seeds are fixed.

python bench/sampling.py [--quick] [--json FILE]
"""

import math
import sys
from collections.abc import Iterable, Iterator
from dataclasses import replace

import numpy as np
from scipy.special import gammainc

from counting import Figure, chance, figure, run
from wideroll.roll import Extent
from wideroll.sampling import (
    Detected,
    Look,
    RegionLook,
    Settled,
    clustered_limits,
    combine_looks,
    fixed_plan,
    know_rate,
    measure_dispersion,
    operating_points,
    place_sheets,
    rate_limits,
    region_rates,
    sequential_plan,
    settle,
    share_limits,
)

WEB = Extent(along_from_m=0.0, along_to_m=100.0, across_from_mm=0.0, across_to_mm=1000.0)
SHEET_M2 = 0.414
LIMIT = 5.0
RISK = 0.05
LEAST = 0.93
"""Of 95 %, less what so many rolls can miss by chance; with fewer rolls three standard errors."""


def sections(quick: bool) -> Iterable[Iterator[Figure]]:  # noqa: FBT001  -- the option itself
    """All that is counted."""
    rolls = 60 if quick else 1000
    yield clusters(rolls)
    yield detection(rolls)
    yield regions(rolls)
    yield shares(20 * rolls)
    yield known(rolls)
    yield known_detection(rolls // 4)
    yield alarms(2 * rolls)
    yield sheets_in_step(5 * rolls)
    yield sequences(200 if quick else 2000)


def _floor(rolls: int) -> float:
    return min(LEAST, 0.95 - chance(0.95, rolls))


def _clustered(rng: np.random.Generator, mean: float, size: int, sheets: int) -> list[int]:
    """Counts with this mean, in clusters whose sizes are geometric with this mean."""
    return [int(rng.geometric(1 / size, rng.poisson(mean / size)).sum()) for _ in range(sheets)]


def clusters(rolls: int) -> Iterator[Figure]:
    """Coverage of limits with clusters of a mean size, by number of sheets."""
    rng = np.random.Generator(np.random.PCG64(1))
    for rate, size, sheets in ((5.0, 1, 8), (10.0, 3, 8), (10.0, 3, 30), (10.0, 6, 12), (2.0, 3, 8)):
        held = plain = used = 0
        for _ in range(rolls):
            counts = _clustered(rng, rate * SHEET_M2, size, sheets)
            areas = [SHEET_M2] * sheets
            narrow, wide = rate_limits(sum(counts), SHEET_M2 * sheets), clustered_limits(counts, areas)
            clustered = sum(counts) > 0 and measure_dispersion(counts, areas).p_clustered <= 0.05
            inside = [one.low <= rate <= one.high for one in (narrow, wide, wide if clustered else narrow)]
            plain, held, used = plain + inside[0], held + inside[1], used + inside[2]
        # too few clusters to see any: nothing but Garwood's limits is left, which is shown and not promised
        least = _floor(rolls) if rate * SHEET_M2 * sheets / size > 8.0 else None
        yield figure(
            f"limits for clusters hold the rate: {sheets} sheets, {rate:g} per m² in clusters of {size}",
            held / rolls,
            f"Garwood {plain / rolls:.3f}; chosen by the test {used / rolls:.3f}",
            least=least,
        )


def detection(rolls: int) -> Iterator[Figure]:
    """Coverage with a probability of detection known from so many marks, alone and with sheets."""
    rng = np.random.Generator(np.random.PCG64(2))
    for p, tried, area in ((0.8, 40, 10.0), (0.5, 20, 20.0), (0.9, 100, 50.0)):
        alone = both = 0
        for _ in range(rolls):
            hits = max(1, int(rng.binomial(tried, p)))
            low, high = share_limits(hits, tried)
            found = Detected(value=hits / tried, low=low, high=high)
            scan = Look(source="scan", count=int(rng.poisson(area * p)), area_m2=area, detected=found)
            sheets = Look(source="sheets", count=int(rng.poisson(4.0)), area_m2=4.0)
            one, two = combine_looks([scan]), combine_looks([scan, sheets])
            alone, both = alone + (one.low <= 1.0 <= one.high), both + (two.low <= 1.0 <= two.high)
        what = f"p = {p:g} from {tried} marks, {area:g} m²"
        for name, held in (("scan corrected by detection holds", alone), ("scan and sheets together hold", both)):
            yield figure(f"{name} the rate: {what}", held / rolls, "0.95 stated", least=_floor(rolls))


def regions(rolls: int) -> Iterator[Figure]:
    """Coverage of the rate in a region nobody looked at."""
    rng = np.random.Generator(np.random.PCG64(3))
    for spread, seen in ((0.0, 5), (0.5, 5), (1.0, 10), (1.5, 20)):
        held = 0
        for _ in range(rolls // 2):
            shape = 1.0 / max(spread, 1e-3) ** 2
            rates = rng.gamma(shape, 1.0 / shape, seen + 1)
            looks = [RegionLook(extent=WEB, count=int(rng.poisson(4.0 * r)), looked_m2=4.0) for r in rates[:-1]]
            found = region_rates([*looks, RegionLook(extent=WEB, count=0, looked_m2=0.0)])[-1]
            held += found.low <= rates[-1] <= found.high
        yield figure(
            f"an unseen region's limits hold its rate: spread {spread:g}, {seen} regions seen",
            held / (rolls // 2),
            "0.95 stated",
            least=_floor(rolls // 2),
        )


def shares(lots: int) -> Iterator[Figure]:
    """Coverage of Clopper and Pearson's limits."""
    rng = np.random.Generator(np.random.PCG64(5))
    for share, of in ((0.02, 80), (0.3, 20)):
        limits = [share_limits(k, of) for k in range(of + 1)]
        held = [limits[k][0] <= share <= limits[k][1] for k in rng.binomial(of, share, lots).tolist()]
        yield figure(
            f"limits hold a share of {share:g} of {of}", float(np.mean(held)), "0.95 stated", least=_floor(lots)
        )


def known(rolls: int) -> Iterator[Figure]:
    """Rolls at the limit, and at half of it, called within it at 95 %; clusters of a mean size on some sheets."""
    rng = np.random.Generator(np.random.PCG64(6))
    for size in (1, 3, 6):
        for sheets in (6, 12, 24):
            ours, plain = _called(rng, rolls, size, sheets, LIMIT)
            good, plain_good = _called(rng, rolls // 2, size, sheets, LIMIT / 2.0)
            what = f"{sheets} sheets, clusters of {size}"
            # clusters: 8 of 100 is what the tests promise of 12 sheets and more with enough clusters to see any
            enough = size == 1 or (sheets >= 12 and LIMIT * SHEET_M2 * sheets / size > 8.0)
            stated = RISK if size == 1 else 0.08
            yield figure(
                f"rolls at the limit called within it: {what}",
                ours,
                f"Garwood {plain:.3f}",
                most=stated + chance(stated, rolls) if enough else None,
            )
            yield figure(f"rolls at half the limit called within it: {what}", good, f"Garwood {plain_good:.3f}")


def _called(rng: np.random.Generator, rolls: int, size: int, sheets: int, rate: float) -> tuple[float, float]:
    """Shares of rolls called within the limit, by all that is known and by Garwood's limit."""
    ours = plain = 0
    for _ in range(rolls):
        counts = _clustered(rng, rate * SHEET_M2, size, sheets)
        ours += know_rate([_sheets(counts)]).within(LIMIT) >= 1.0 - RISK
        plain += bool(gammainc(sum(counts) + 1, LIMIT * SHEET_M2 * sheets) >= 1.0 - RISK)
    return ours / rolls, plain / rolls


def _sheets(counts: list[int]) -> Look:
    return Look(
        source="sheets",
        count=sum(counts),
        area_m2=SHEET_M2 * len(counts),
        parts=tuple((count, SHEET_M2) for count in counts),
    )


def known_detection(rolls: int) -> Iterator[Figure]:
    """Rolls at the limit called within it where detection is known from so many marks, and marks come in clusters."""
    rng = np.random.Generator(np.random.PCG64(7))
    for p, tried, size in ((0.8, 40, 1), (0.5, 20, 1), (0.9, 200, 1), (0.8, 40, 3)):
        ours = plain = 0
        for _ in range(rolls):
            hits = max(1, int(rng.binomial(tried, p)))
            low, high = share_limits(hits, tried)
            there = _clustered(rng, LIMIT * SHEET_M2, size, 24)
            found = [int(rng.binomial(count, p)) for count in there]
            look = replace(_sheets(found), detected=Detected(value=hits / tried, low=low, high=high))
            ours += know_rate([look]).within(LIMIT) >= 1.0 - RISK
            plain += bool(gammainc(sum(found) + 1, LIMIT * SHEET_M2 * 24) >= 1.0 - RISK)
        stated = RISK if size == 1 else 0.08
        yield figure(
            f"rolls at the limit called within it: p = {p:g} from {tried} marks, clusters of {size}",
            ours / rolls,
            f"Garwood, misses left aside {plain / rolls:.3f}",
            most=stated + chance(stated, rolls),
        )


def alarms(rolls: int) -> Iterator[Figure]:
    """Clusters told at 5 %, and looks that differ told at 1 %, where there is nothing to tell and where there is."""
    rng = np.random.Generator(np.random.PCG64(8))
    for size in (1, 3):
        told = 0
        for _ in range(rolls):
            counts = _clustered(rng, LIMIT * SHEET_M2, size, 12)
            told += sum(counts) > 0 and measure_dispersion(counts, [SHEET_M2] * 12).p_clustered <= 0.05
        most = 0.05 + chance(0.05, rolls) if size == 1 else None
        yield figure(f"clusters told, 12 sheets, clusters of {size}", told / rolls, "test at 0.05", most=most)
    for times in (1.0, 3.0):
        told = 0
        for _ in range(rolls):
            hits = max(1, int(rng.binomial(100, 0.8)))
            low, high = share_limits(hits, 100)
            detected = Detected(value=hits / 100, low=low, high=high)
            scan = Look(source="scan", count=int(rng.poisson(80.0)), area_m2=100.0, detected=detected)
            told += combine_looks([scan, _sheets(rng.poisson(times * SHEET_M2, 12).tolist())]).p_agree < 0.01
        most = 0.01 + chance(0.01, rolls) if times == 1.0 else None
        yield figure(
            f"scan and 12 sheets said to differ, {times:g} times the rate on sheets",
            told / rolls,
            "test at 0.01",
            most=most,
        )


def sheets_in_step(rolls: int) -> Iterator[Figure]:
    """Standard deviation of the share of sheets that a print falls on, where sheets at one distance are in step."""
    rng = np.random.Generator(np.random.PCG64(9))
    turn_m, sheets, length_m = 1.25, 10, 0.3
    phases = rng.uniform(0.0, turn_m, rolls)
    ours, fixed = np.empty(rolls), np.empty(rolls)
    for number, phase in enumerate(phases):
        starts = [one.along_from_m for one in place_sheets(WEB, sheets, length_m, seed=number)]
        ours[number] = _printed(np.array(starts), phase, turn_m, length_m)
        first = rng.uniform(0.0, 10.0 - length_m)
        fixed[number] = _printed(first + 10.0 * np.arange(sheets), phase, turn_m, length_m)
    ratio = float(ours.std() / fixed.std())
    yield figure(
        "sheets in step with a roller: spread of the share printed on, over that of a fixed distance",
        ratio,
        f"fixed distance {fixed.std():.3f}, means {ours.mean():.3f} and {fixed.mean():.3f} of {length_m / turn_m:.3f}",
        most=0.5,
    )
    off = abs(float(ours.mean()) - length_m / turn_m)
    yield figure(
        "sheets in step with a roller: bias of that share",
        off,
        "truth",
        most=3.0 * float(ours.std()) / math.sqrt(rolls),
    )


def _printed(starts: np.ndarray, phase: float, turn_m: float, length_m: float) -> float:
    """Share of sheets that hold a print."""
    return float((((phase - starts) % turn_m) < length_m).mean())


def sequences(rolls: int) -> Iterator[Figure]:
    """Risks of the sequential test on drawn rolls, beside the exact ones."""
    rng = np.random.Generator(np.random.PCG64(4))
    for good, bad in ((1.0, 4.0), (1.0, 3.0), (0.5, 1.5)):
        plan = sequential_plan(good, bad, 0.05, 0.10)
        exact = operating_points(plan, [good, bad], SHEET_M2, 120)
        for rate, wrong, stated, point in (
            (good, Settled.REJECT, 0.05, exact[0].reject),
            (bad, Settled.ACCEPT, 0.10, exact[1].accept),
        ):
            ends = [settle(plan, rng.poisson(rate * SHEET_M2, 120).tolist(), [SHEET_M2] * 120) for _ in range(rolls)]
            yield figure(
                f"{wrong.value} at {rate:g} per m² ({good:g} against {bad:g}), {rolls} rolls",
                sum(end.settled is wrong for end in ends) / rolls,
                f"exact {point:.3f}, stated {stated:g}",
                most=stated + chance(stated, rolls),
            )
        area = fixed_plan(good, bad, 0.05, 0.10).area_m2
        for rate, point in zip((good, bad), exact, strict=True):
            yield figure(
                f"mean area over that of one fixed area, {rate:g} per m² ({good:g} against {bad:g})",
                point.mean_m2 / area,
                f"fixed {area:.2f} m²",
                most=1.0,
            )


if __name__ == "__main__":
    sys.exit(run(__doc__ or "", sections))
