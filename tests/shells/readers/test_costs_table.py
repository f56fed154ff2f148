"""``[costs]`` of a product file."""

import math

import pytest
from pydantic import ValidationError

from wideroll.errors import ArgumentError
from wideroll.readers.costs_table import CostsTable
from wideroll.release import Consequence, Criterion, Measurand

GIVEN = {"currency": "GBP", "scrap_per_m2": 4.0, "sheet": 6.0, "escaped": {"spots": 0.2}}


@pytest.fixture(scope="module")
def criteria():
    """A rate that lets marks escape, and a coverage that lets nothing."""
    plain = {"limit": 0.5, "consequence": Consequence.HOLD}
    return (
        Criterion(name="spots", measurand=Measurand.MARK_RATE, unit="per m²", **plain),
        Criterion(name="seen", measurand=Measurand.COVERAGE, unit="share", subject="scan", **plain),
    )


def test_costs_arrive_where_they_are_used(criteria):
    """Each field becomes that of the costs."""
    costs = CostsTable.model_validate(GIVEN | {"strip": 9.0}).build(criteria)
    assert (costs.currency, costs.scrap_per_m2, costs.sheet, costs.strip) == ("GBP", 4.0, 6.0, 9.0)
    assert costs.escaped == {"spots": 0.2}


def test_a_strip_need_not_have_a_cost(criteria):
    """Without it the cost of a strip is unknown, not 0."""
    assert math.isnan(CostsTable.model_validate(GIVEN).build(criteria).strip)


@pytest.mark.parametrize(
    "changed",
    [
        {"sheet": -1.0},
        {"scrap_per_m2": "4"},
        {"currency": ""},
        {"escaped": {}},
        {"escaped": {"spots": -1}},
        {"film": 1.0},
    ],
)
def test_costs_that_are_none_are_refused(changed):
    """A cost below 0 or in words, no currency, nothing that escapes and an unknown field are refused."""
    with pytest.raises(ValidationError):
        CostsTable.model_validate(GIVEN | changed)


@pytest.mark.parametrize("field", ["currency", "scrap_per_m2", "sheet", "escaped"])
def test_what_a_comparison_needs_must_be_given(field):
    """A cost that is left out isn't taken for 0."""
    with pytest.raises(ValidationError):
        CostsTable.model_validate({name: value for name, value in GIVEN.items() if name != field})


@pytest.mark.parametrize("name", ["spotz", "seen"])
def test_a_cost_belongs_to_a_criterion_that_lets_something_escape(criteria, name):
    """A misspelt name, or a criterion that asks for evidence, is named with those there are."""
    with pytest.raises(ArgumentError, match=rf"\(spots\), got '{name}'"):
        CostsTable.model_validate(GIVEN | {"escaped": {name: 1.0}}).build(criteria)
