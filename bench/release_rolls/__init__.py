"""Invented rolls with known rates of marks, decided as a plant decides them: what is released, and what is kept back.

Each case says how a roll was looked at. A bad roll's true rate is the limit itself, the hardest there is; a good roll's
is the rate that the product says ought to be released. The consumer's risk is the criterion's, the producer's what the
findings state for so much evidence.
"""

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray
from scipy.stats import beta

from wideroll.release import (
    Consequence,
    Criterion,
    DetectedShare,
    Evidence,
    Finding,
    Measurand,
    Region,
    Verdict,
    decide,
)
from wideroll.roll import MARKS_SCHEMA, Coverage, Extent
from wideroll.sampling import Settled, fixed_plan, sequential_plan, settle
from wideroll.workflow.known_rates import rate_of

__all__ = ["HEAD", "Row", "floors", "rows", "told"]

LIMIT, GOOD, RISK = 3.0, 1.0, 0.05
HEAPS = "in heaps of 3"
WIDTH_MM, SHEET_M = 1000.0, 0.5
Floats = NDArray[np.float64]
Rng = np.random.Generator


@dataclass(frozen=True, kw_only=True)
class Row:
    """How often rolls of one case were released at the limit, and kept back at the good rate."""

    case: str
    rolls: int
    released: float
    bare: float
    """Released by comparing the rate found with the limit."""
    kept_back: float
    stated_producer: float
    """As the findings state it, in the mean; NaN where it isn't known."""
    heaped: bool = False
    """Whether marks came in heaps: how large ones, few sheets hardly tell, so that neither risk is surely held."""


def web(length_m: float, from_m: float = 0.0) -> Extent:
    """A web of that length."""
    return Extent(along_from_m=from_m, along_to_m=from_m + length_m, across_from_mm=0.0, across_to_mm=WIDTH_MM)


def spread(extent: Extent, rate: float, rng: Rng, heap: float = 1.0) -> Floats:
    """Places (n, 2) along and across of independent marks, or of heaps of ``heap`` marks in the mean within 20 mm."""
    heaps = rng.poisson(rate / heap * extent.area_m2)
    along = rng.uniform(extent.along_from_m, extent.along_to_m, heaps)
    across = rng.uniform(extent.across_from_mm, extent.across_to_mm, heaps)
    if heap > 1.0:
        sizes = rng.geometric(1.0 / heap, heaps)
        along = np.repeat(along, sizes) + rng.uniform(-0.01, 0.01, sizes.sum())
        across = np.repeat(across, sizes) + rng.uniform(-10.0, 10.0, sizes.sum())
    return np.column_stack([along, across])


def table(places: Floats, source: str) -> pl.DataFrame:
    """A marks table of spots at these places."""
    n = len(places)
    columns = {
        "id": [f"{source} {number}" for number in range(n)],
        "along_m": places[:, 0],
        "across_mm": places[:, 1],
        **{name: np.full(n, 0.5) for name in ("length_mm", "width_mm", "area_mm2", "contrast", "snr", "peak")},
        **{name: np.full(n, value) for name, value in (("elongation", 1.0), ("angle_deg", 0.0), ("ring", 0.0))},
        **{name: [word] * n for name, word in (("polarity", "dark"), ("kind", "spot"), ("rule", "invented"))},
        "source": [source] * n,
    }
    return pl.DataFrame(columns, schema=MARKS_SCHEMA)


def drawn(whole: Extent, count: int, rng: Rng) -> list[Extent]:
    """Sheets, one at a random place in each of equal stretches."""
    step = whole.length_m / count
    return [web(SHEET_M, step * n + rng.uniform(0.0, step - SHEET_M)) for n in range(count)]


def on(sheets: list[Extent], places: Floats) -> Floats:
    """Those of the places that lie on a sheet."""
    along = places[:, 0]
    inside = np.zeros(len(places), dtype=np.bool_)
    for sheet in sheets:
        inside |= (along >= sheet.along_from_m) & (along < sheet.along_to_m)
    return places[inside]


def spots(**given: object) -> Criterion:
    """The product's criterion on spots."""
    parts: dict[str, object] = {
        "name": "spots",
        "measurand": Measurand.MARK_RATE,
        "limit": LIMIT,
        "good": GOOD,
        "unit": "per m²",
        "consequence": Consequence.REJECT,
        "confidence": 1.0 - RISK,
    }
    return Criterion(**(parts | given))  # type: ignore[arg-type]


def scanned(rate: float, rng: Rng) -> tuple[Evidence, Criterion]:
    """The scan saw all of 20 m, and finds every mark."""
    whole = web(20.0)
    marks = table(spread(whole, rate, rng), "line")
    return Evidence(whole=whole, marks=marks, coverage={"scan": Coverage(seen=(whole,))}, counts={}), spots()


def missing_some(rate: float, rng: Rng) -> tuple[Evidence, Criterion]:
    """The scan finds 7 of 10 marks, which 100 laid ones tell with an interval."""
    whole, share, laid = web(20.0), 0.7, 100
    places = spread(whole, rate, rng)
    hits = int(rng.binomial(laid, share))
    low, high = beta.ppf(0.025, hits, laid - hits + 1), beta.ppf(0.975, hits + 1, laid - hits)
    rule = spots(least_contrast=0.01)
    known = {("spots", "scan"): DetectedShare(value=hits / laid, low=float(low), high=float(high))}
    marks = table(places[rng.uniform(size=len(places)) < share], "line")
    seen = {"scan": Coverage(seen=(whole,))}
    return Evidence(whole=whole, marks=marks, coverage=seen, counts={}, detected=known), rule


def on_sheets(count: int, heap: float = 1.0) -> Callable[[float, Rng], tuple[Evidence, Criterion]]:
    """Only sheets, drawn by chance; marks that lie by themselves or in heaps."""

    def look(rate: float, rng: Rng) -> tuple[Evidence, Criterion]:
        whole = web(100.0)
        sheets = drawn(whole, count, rng)
        marks = table(on(sheets, spread(whole, rate, rng, heap)), "sheets")
        seen = {"sheets": Coverage(seen=tuple(sheets))}
        evidence = Evidence(whole=whole, marks=marks, coverage=seen, counts={}, sampled=seen)
        return evidence, spots(subject="sheets")

    return look


def together(rate: float, rng: Rng) -> tuple[Evidence, Criterion]:
    """The scan saw half of 10 m, and six sheets were drawn from all of it."""
    whole, half = web(10.0), web(5.0)
    places, sheets = spread(whole, rate, rng), drawn(whole, 6, rng)
    seen = {"scan": Coverage(seen=(half,)), "sheets": Coverage(seen=tuple(sheets))}
    marks = pl.concat([table(places[places[:, 0] < half.along_to_m], "line"), table(on(sheets, places), "sheets")])
    sampled = {"sheets": seen["sheets"]}
    evidence = Evidence(whole=whole, marks=marks, coverage=seen, counts={}, sampled=sampled)
    return evidence, spots(subject="scan and sheets")


def one_lane(rate: float, rng: Rng) -> tuple[Evidence, Criterion]:
    """A roll of one slit lane of 100 mm, 200 m long, with a limit per 100 ft."""
    whole = Extent(along_from_m=0.0, along_to_m=200.0, across_from_mm=0.0, across_to_mm=100.0)
    marks = table(spread(whole, rate, rng), "line")
    unit = 30.48 * 0.1
    rule = spots(region=Region.LANE, lane_mm=100.0, unit="per 100 ft", limit=LIMIT * unit, good=GOOD * unit)
    return Evidence(whole=whole, marks=marks, coverage={"scan": Coverage(seen=(whole,))}, counts={}), rule


def enough() -> int:
    """Sheets with which both risks are kept."""
    return math.ceil(fixed_plan(GOOD, LIMIT, RISK, RISK).area_m2 / (SHEET_M * WIDTH_MM / 1000.0))


CASES = {
    "scan of all": scanned,
    "scan that finds 7 of 10": missing_some,
    f"{enough()} sheets, as a fixed test needs": on_sheets(enough()),
    "8 sheets, too few": on_sheets(8),
    f"24 sheets, marks {HEAPS}": on_sheets(24, 3.0),
    "scan of half and 6 sheets": together,
    "a lane, per 100 ft": one_lane,
}


def verdicts(
    look: Callable[[float, Rng], tuple[Evidence, Criterion]], rate: float, rolls: int, rng: Rng
) -> tuple[float, float, float]:
    """Share released, share released by bare comparison, and the producer's risk as stated in the mean."""
    released = bare = 0
    stated: list[float] = []
    for _ in range(rolls):
        evidence, rule = look(rate, rng)
        finding: Finding = decide(evidence, [rule], rate_of=rate_of).findings[0]
        released += finding.verdict is Verdict.RELEASE
        bare += finding.found <= rule.limit
        stated.append(finding.producer_risk)
    known = [risk for risk in stated if not math.isnan(risk)]
    return released / rolls, bare / rolls, float(np.mean(known)) if known else math.nan


def settled(rate: float, rolls: int, rng: Rng) -> tuple[float, float]:
    """Share of rolls accepted by sheets one after the other, and how many sheets that took in the mean."""
    plan = sequential_plan(GOOD, LIMIT, RISK, RISK)
    area, accepted, taken = SHEET_M * WIDTH_MM / 1000.0, 0, 0
    for _ in range(rolls):
        counts: list[int] = []
        while True:
            counts.append(int(rng.poisson(rate * area)))
            standing = settle(plan, counts, [area] * len(counts))
            if standing.settled is not Settled.GO_ON:
                break
        accepted += standing.settled is Settled.ACCEPT
        taken += len(counts)
    return accepted / rolls, taken / rolls


def rows(rolls: int, rng: Rng) -> Iterator[Row]:
    """Every case, as many bad rolls as good ones."""
    for case, look in CASES.items():
        released, bare, _ = verdicts(look, LIMIT, rolls, rng)
        good, _, stated = verdicts(look, GOOD, rolls, rng)
        yield Row(
            case=case,
            rolls=rolls,
            released=released,
            bare=bare,
            kept_back=1.0 - good,
            stated_producer=stated,
            heaped=HEAPS in case,
        )
    bad, _ = settled(LIMIT, rolls, rng)
    good, sheets = settled(GOOD, rolls, rng)
    yield Row(
        case=f"sheets one by one ({sheets:.1f} in the mean)",
        rolls=rolls,
        released=bad,
        bare=math.nan,
        kept_back=1.0 - good,
        stated_producer=RISK,
    )


HEAD = (
    f"{'how the roll was looked at':<38} {'rolls':>6} {'released':>9} {'stated':>7} {'bare':>7}   "
    f"{'kept back':>9} {'stated':>9}"
)
"""At the limit: released, consumer's risk, released by found ≤ limit; at the good rate: kept back, producer's risk."""


def told(row: Row) -> str:
    """One line of the table."""
    stated = "not known" if math.isnan(row.stated_producer) else f"{row.stated_producer:.2%}"
    bare = "" if math.isnan(row.bare) else f"{row.bare:.1%}"
    told_bad = f"{row.case:<38} {row.rolls:>6} {row.released:>9.2%} {RISK:>7.0%} {bare:>7}"
    return f"{told_bad}   {row.kept_back:>9.2%} {stated:>9}"


def noise(share: float, rolls: int) -> float:
    """Three standard deviations of a share of so many rolls."""
    return 3.0 * math.sqrt(share * (1.0 - share) / rolls)


def floors(found: list[Row]) -> dict[str, bool]:
    """Whether both risks stay within what is stated, in words; heaps of marks against the bare comparison."""
    met: dict[str, bool] = {}
    for row in found:
        most = RISK + noise(RISK, row.rolls)
        if row.heaped:
            most = row.bare / 3.0
        met[f"{row.case}: released at the limit {row.released:.2%}, at most {most:.2%}"] = row.released <= most
        if not (row.heaped or math.isnan(row.stated_producer)):
            most = row.stated_producer + noise(max(row.stated_producer, 0.01), row.rolls)
            met[f"{row.case}: kept back at the good rate {row.kept_back:.2%}, at most {most:.2%}"] = (
                row.kept_back <= most
            )
    return met
