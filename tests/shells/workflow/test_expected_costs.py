"""Costs beside a roll's decision."""

from dataclasses import replace

import pytest

from wideroll.release import Costs
from wideroll.store.plain import to_plain
from wideroll.workflow import assess_roll
from wideroll.workflow.expected_costs import usual_sheet_m2


def test_costs_stand_beside_a_decision_that_is_the_same_without_them(desk, files, product) -> None:
    """A product with costs has a table of them; every word of its decision is that of the product without."""
    without = assess_roll(desk(files))
    name = next(one.name for one in product.criteria if one.measurand == "reading")
    costs = Costs(currency="GBP", scrap_per_m2=1e9, sheet=0.0, escaped={name: 1e9})
    files.the_product = replace(files.the_product, costs=costs)
    with_costs = assess_roll(desk(files))
    assert without.costs is None
    assert with_costs.costs is not None
    assert to_plain(with_costs.decision) == to_plain(without.decision)


def test_a_sheet_is_as_large_as_those_there_are(sheet, whole) -> None:
    """The area of a further sheet is the mean of the roll's, or 0.3 m of the web."""
    assert usual_sheet_m2(whole, [sheet, sheet]) == pytest.approx(sheet.extent.area_m2)
    assert usual_sheet_m2(whole, []) == pytest.approx(0.3 * whole.width_mm / 1000.0)
