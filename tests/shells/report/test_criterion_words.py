"""Limits in words."""

from dataclasses import replace

import pytest

from wideroll.release import Consequence, Criterion, Measurand
from wideroll.report.criterion_words import limit_text
from wideroll.report.explanation.criteria import asked

FEW = Criterion(
    name="Few marks", measurand=Measurand.MARK_COUNT, limit=1.0, unit="marks", consequence=Consequence.CUT_OUT
)


@pytest.mark.parametrize(("limit", "words"), [(0.0, "0 marks"), (1.0, "1 mark"), (2.0, "2 marks")])
def test_one_mark_is_one_mark(limit: float, words: str) -> None:
    """A limit of one mark in a finished roll is told in the singular, on the sheet and in the explanation."""
    criterion = replace(FEW, limit=limit)
    assert limit_text(criterion) == f"at most {words} in a finished roll"
    assert f": at most {words}; " in asked(criterion)
