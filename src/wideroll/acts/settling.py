"""Whether the sheets settle a roll's rate of marks, and which to take next where they don't."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import polars as pl

from wideroll.acts.asking import AskedError
from wideroll.acts.plants import plant_files
from wideroll.acts.sampling import seed_of
from wideroll.errors import InputError
from wideroll.examination import Sheet
from wideroll.readers import PlantFolder
from wideroll.report.machine import plain
from wideroll.roll import Extent, marks_within
from wideroll.sampling import (
    FixedPlan,
    OperatingPoint,
    SampleSheet,
    SequentialPlan,
    SheetSize,
    Standing,
    fixed_plan,
    further_sheets,
    operating_points,
    sequential_plan,
    settle,
)
from wideroll.workflow import Product, examine_sheets, whole_web
from wideroll.workflow.gather_sightings import web_sightings
from wideroll.workflow.roll_rates import strictest_rate

__all__ = ["SettledRoll", "settle_roll", "settled_document", "settling_curves"]

_CURVE_POINTS: Final = 61
_MOST_FIXED: Final = 3
"""Times the fixed area, after which a sequence is cut short in the curves."""
_USUAL_RISK: Final = 0.05
_NO_LIMIT: Final = "is needed: the product has no criterion on marks per m²"
_NOT_BELOW: Final = "must be above 0 and below the rate to reject"
_NO_GOOD: Final = "is needed: the product's strictest criterion says no good rate"


@dataclass(frozen=True, slots=True, kw_only=True)
class SettledRoll:
    """How a roll stands in the test, and what to take next."""

    plan: SequentialPlan
    standing: Standing
    further: tuple[SampleSheet, ...]
    seed: int
    """Of the further sheets."""
    taken: list[tuple[int, float]]
    """Marks and area in m² of each sheet drawn by chance."""
    counted: str
    """Which marks count, in words; empty for all."""

    @property
    def counts(self) -> list[int]:
        """Marks on each sheet."""
        return [count for count, _ in self.taken]

    @property
    def areas_m2(self) -> list[float]:
        """Area of each sheet."""
        return [area for _, area in self.taken]

    @property
    def sheet_m2(self) -> float:
        """Area of a typical sheet."""
        return math.fsum(self.areas_m2) / len(self.areas_m2)


def settle_roll(
    plant: Path,
    roll: str,
    *,
    rates: tuple[float | None, float | None] = (None, None),
    risks: tuple[float | None, float | None] = (None, None),
    size_mm: float | None = None,
    seed: int | None = None,
) -> SettledRoll:
    """Say whether a roll's sheets settle its rate of marks, or how many more to take, and where.

    Args:
        plant: its folder.
        roll: its name.
        rates: marks per m² to accept and to reject; what is None is the strictest criterion's.
        risks: of rejecting at the good rate and of accepting at the bad one; what is None is the product's.
        size_mm: only marks of this size or more.
        seed: of the further sheets; None takes the roll's own.

    Raises:
        AskedError: when a rate isn't given that the product doesn't say, or the rates don't fit each other.
        InputError: when the folder isn't a plant, no sheet was drawn by chance, or a file has a fault.
    """
    files = plant_files(plant)
    product, whole = _of(files, roll)
    plan = _test(product, rates, risks)
    listed, seen = _seen(files, roll, whole, _counted(product, rates[1], size_mm))
    taken = [(marks_within(seen, [one.extent]).height, one.extent.area_m2) for one in listed]
    counts, areas = [count for count, _ in taken], [area for _, area in taken]
    standing, sheet_m2 = settle(plan, counts, areas), math.fsum(areas) / len(areas)
    chosen = seed_of(roll) + len(listed) if seed is None else seed
    return SettledRoll(
        plan=plan,
        standing=standing,
        further=_further(whole, listed, math.ceil(standing.clean_m2 / sheet_m2 - 1e-9), chosen),
        seed=chosen,
        taken=taken,
        counted=_named(product, rates[1], size_mm),
    )


def settled_document(found: SettledRoll, roll: str) -> dict[str, Any]:
    """How the roll stands, for machines.

    Args:
        found: of ``settle_roll``.
        roll: its name.
    """
    document = {"plan": found.plan, "standing": found.standing, "further": found.further, "seed": found.seed}
    return {"schema": "wideroll/settle/1", "roll": roll, **{name: plain(value) for name, value in document.items()}}


def settling_curves(found: SettledRoll) -> tuple[tuple[OperatingPoint, ...], FixedPlan]:
    """The test's operating points over the rate of marks, and the fixed sample that would do the same.

    Args:
        found: of ``settle_roll``.
    """
    plan, sheet_m2 = found.plan, found.sheet_m2
    fixed = fixed_plan(plan.good_rate, plan.bad_rate, plan.producer_risk, plan.consumer_risk)
    most = math.ceil(_MOST_FIXED * fixed.area_m2 / sheet_m2)
    top = 1.5 * plan.bad_rate
    grid = sorted({plan.good_rate, plan.bad_rate, *(top * n / (_CURVE_POINTS - 1) for n in range(_CURVE_POINTS))})
    points = operating_points(plan, grid, sheet_m2, most)
    return points, fixed


def _of(files: PlantFolder, roll: str) -> tuple[Product, Extent]:
    card = files.card(roll)
    return files.product(card.product), whole_web(card.length_m, files.plant().web_width_mm)


def _further(whole: Extent, listed: Sequence[Sheet], count: int, seed: int) -> tuple[SampleSheet, ...]:
    """More sheets as long as those taken, where nobody looked."""
    typical = SheetSize(length_m=math.fsum(one.extent.length_m for one in listed) / len(listed))
    return further_sheets(whole, [one.extent for one in listed], count, typical, seed) if count else ()


def _seen(
    files: PlantFolder, roll: str, whole: Extent, counted: tuple[float, tuple[str, ...]]
) -> tuple[tuple[Sheet, ...], pl.DataFrame]:
    """The roll's sheets that were drawn by chance, and the marks on them of a size and kinds that came with the web."""
    listed = files.sheets(roll, whole)
    drawn = tuple(sheet for sheet in listed if sheet.drawn)
    if not drawn:
        raise InputError(
            where=f"{files.root}/rolls/{roll}/examination/sheets.csv",
            rule="there must be sheets drawn by chance to settle it by",
            mend="`wideroll sheets` says which to take.",
        )
    size_mm, kinds = counted
    examination = examine_sheets(listed, files.sightings(roll, listed), None, looks=files.looks(roll, listed))
    marks = web_sightings(examination, least_size_mm=size_mm)
    return drawn, marks.filter(pl.col("kind").cast(pl.String).is_in(kinds)) if kinds else marks


def _counted(product: Product, bad: float | None, size: float | None) -> tuple[float, tuple[str, ...]]:
    """From which size on, and which kinds: as asked, or those of the criterion that the test's limit is taken from."""
    strictest = strictest_rate(product.criteria)
    if bad is not None or size is not None or strictest is None:
        return size or 0.0, ()
    return strictest.least_size_mm, strictest.kinds


def _named(product: Product, bad: float | None, size: float | None) -> str:
    """Which marks count, in words; empty for all."""
    least, kinds = _counted(product, bad, size)
    strictest = strictest_rate(product.criteria)
    by = [f"criterion {strictest.name}"] if bad is None and size is None and strictest else []
    return ", ".join([*kinds, *([f"{least:g} mm or more"] if least > 0.0 else []), *by])


def _test(
    product: Product, rates: tuple[float | None, float | None], risks: tuple[float | None, float | None]
) -> SequentialPlan:
    """The test between two rates with two risks; what isn't given is the strictest criterion's."""
    strictest = strictest_rate(product.criteria)
    good, bad = rates
    if bad is None:
        if strictest is None:
            raise AskedError(where="--bad", rule=_NO_LIMIT, mend="Give the rate to reject.")
        bad = strictest.limit
    if good is None:
        if strictest is None or math.isnan(strictest.good):
            raise AskedError(where="--good", rule=_NO_GOOD, mend="Give the rate to accept.")
        good = strictest.good
    if not 0.0 < good < bad:
        raise AskedError(where="--good", rule=_NOT_BELOW, value=good, mend="Give another rate.")
    usual = (strictest.producer_risk, strictest.risk) if strictest else (_USUAL_RISK, _USUAL_RISK)
    producer, consumer = (usual[n] if risk is None else risk for n, risk in enumerate(risks))
    return sequential_plan(good, bad, producer, consumer)
