"""Which sheets to take from a roll, and how often marks lie on it."""

import math
from dataclasses import dataclass
from hashlib import blake2b
from pathlib import Path
from typing import Final

from wideroll.acts.asking import AskedError
from wideroll.acts.plants import plant_files
from wideroll.acts.rolls import RollInHand, tell_damage
from wideroll.report.sheet_list import SheetListHead
from wideroll.roll import lanes_of
from wideroll.sampling import Detected, SheetPlan, SheetSize, plan_sheets, sheets_needed
from wideroll.scan.detection_limits import detection_probability
from wideroll.workflow import Product, RollDesk, batch_extents, examine_sheets, telling_curves, whole_web
from wideroll.workflow.roll_rates import RollRates, borders_of, rate_roll, size_borders, strictest_rate

__all__ = ["USUAL_MM", "DrawnSheets", "draw_sheets", "rate_marks", "seed_of"]

USUAL_MM: Final = 300.0
"""Length of a sheet along where none is asked for."""
_NO_LIMIT: Final = "or --proves is needed: the product has no criterion on marks per m²"
_NOT_MEASURED: Final = "needs a measured probability of detection: wideroll scan PLANT ROLL --pod"


@dataclass(frozen=True, slots=True, kw_only=True)
class DrawnSheets:
    """Sheets to take from a roll, and the head of their list, which says why so many."""

    plan: SheetPlan
    head: SheetListHead


def draw_sheets(
    plant: Path,
    roll: str,
    size: SheetSize,
    *,
    count: int | None = None,
    proves: float | None = None,
    seed: int | None = None,
) -> DrawnSheets:
    """Say which sheets to take from a roll.

    Args:
        plant: its folder.
        roll: its name.
        size: of a sheet.
        count: sheets to draw; None takes what a proof needs.
        proves: marks per m² that no mark on the sheets must prove; None takes the strictest criterion's limit.
        seed: of the draw; None takes the roll's own.

    Raises:
        AskedError: when neither count nor limit is given, and the product has no criterion on marks per m².
        InputError: when the folder isn't a plant, or a file has a fault.
    """
    files = plant_files(plant)
    line, card = files.plant(), files.card(roll)
    product = files.product(card.product)
    whole, borders = whole_web(card.length_m, line.web_width_mm), borders_of(card)
    drawn, why = _how_many(product, size.area_m2(whole.width_mm), count, proves)
    drawn = max(drawn, 1 + len({border.along_m for border in borders}))
    plan = plan_sheets(whole, drawn, size, seed_of(roll) if seed is None else seed, borders)
    head = SheetListHead(roll=roll, product=product.name, plant=line.name, datum_edge=line.datum_edge, why=why)
    return DrawnSheets(plan=plan, head=head)


def rate_marks(
    hand: RollInHand, *, size_mm: float = 0.0, contrast: float | None = None, lane_mm: float | None = None
) -> RollRates:
    """How often marks lie on a roll, by kind, size, lane and region, with limits.

    Args:
        hand: the roll.
        size_mm: only marks of this size or more.
        contrast: faintest that counts; with a size it corrects the scan's count.
        lane_mm: width of a lane; None takes the product's first width.

    Raises:
        AskedError: when the probability of detection at that size and contrast wasn't measured.
        InputError: when a file has a fault.
    """
    desk = hand.desk
    listed, sightings = desk.sheets()
    scan = desk.scan()
    tell_damage(hand)
    return rate_roll(
        desk.whole,
        scan,
        examine_sheets(listed, sightings, scan),
        lanes=lanes_of(desk.whole, desk.product.widths[0].width_mm if lane_mm is None else lane_mm),
        stretches=[extent for _, extent in batch_extents(desk.card, desk.whole)],
        borders_mm=[one for one in size_borders(desk.product.criteria) if one > size_mm],
        least_size_mm=size_mm,
        detected=_detected(desk, size_mm, contrast) if scan is not None and contrast is not None else None,
    )


def seed_of(roll: str) -> int:
    """A seed of the roll's own that anybody can make again.

    Args:
        roll: its name.
    """
    return int.from_bytes(blake2b(roll.encode(), digest_size=3).digest())


def _how_many(product: Product, sheet_m2: float, count: int | None, proves: float | None) -> tuple[int, str]:
    strictest = strictest_rate(product.criteria)
    if count is not None:
        return count, f"{count} sheets, as asked."
    if proves is None and strictest is None:
        raise AskedError(where="--count", rule=_NO_LIMIT, mend="Say how many, or what they are to prove.")
    limit, sure, of = (
        (proves, 0.95, "")
        if proves is not None or strictest is None
        else (strictest.limit, strictest.confidence, f", the limit of {strictest.name}")
    )
    needed = sheets_needed(limit or 0.0, sheet_m2, sure)
    area = f"{needed * sheet_m2:.2f} m²"
    return needed, (
        f"{needed} drawn sheets ({area}) without a mark prove at most {limit:g} marks per m² at {100 * sure:g} %{of}."
    )


def _detected(desk: RollDesk, size_mm: float, contrast: float) -> Detected:
    curves = telling_curves(desk.detection())
    if not curves:
        raise AskedError(where="--contrast", rule=_NOT_MEASURED, mend="Measure it first.")
    found = min((detection_probability(one, size_mm, contrast) for one in curves), key=lambda one: one.low)
    if not found.tested and math.isnan(found.value):
        untested = f"and --size: {found.why}"
        raise AskedError(where="--contrast", rule=untested, value=contrast, mend="Ask for a size and contrast tried.")
    return Detected(value=found.value, low=found.low, high=found.high, confidence=found.confidence)
