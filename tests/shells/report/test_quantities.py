"""Numbers as a person reads them."""

import doctest
import math
from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from wideroll.report import cut_head, cut_places, cut_words, decision_grids, grid, labels, quantities, svg, theme
from wideroll.report.labels import push_apart, stagger
from wideroll.report.quantities import align_points, show_number, show_share

numbers = st.floats(-1e6, 1e6, allow_nan=False)


def test_the_examples_in_the_docstrings_hold():
    """Each example shows what it says."""
    for module in (cut_head, cut_places, cut_words, decision_grids, grid, labels, quantities, svg, theme):
        assert doctest.testmod(module).failed == 0


@given(value=numbers, decimals=st.integers(0, 4))
def test_a_shown_number_reads_back(value, decimals):
    """Read back, the number is the value to its decimals, and zero has no sign."""
    text = show_number(value, decimals)
    back = float(text.replace("−", "-").replace("\u202f", ""))
    assert abs(back - value) <= 0.5000001 * 10.0**-decimals
    assert back != 0.0 or not text.startswith("−")


@given(share=st.floats(0.0, 1.0))
def test_only_all_is_all(share):
    """Nothing but the whole is shown as 100 %, and nothing but nothing as 0 %."""
    text = show_share(share)
    assert (text == "100 %") == (share == 1.0)
    assert (text == "0 %") == (share == 0.0)


@given(values=st.lists(numbers, max_size=8), gap=st.floats(0.1, 10.0))
def test_labels_are_pushed_apart_in_order(values, gap):
    """Pushed apart, labels keep their order and at least the gap, and those already apart don't move."""
    moved = push_apart(values, gap)
    order = sorted(range(len(values)), key=lambda i: (values[i], i))
    placed = [moved[i] for i in order]
    assert all(b - a >= gap * (1 - 1e-6) - 1e-6 for a, b in pairwise(placed))
    raw = sorted(values)
    if all(b - a >= gap for a, b in pairwise(raw)):
        assert all(math.isclose(a, b) for a, b in zip(moved, values, strict=True))


@given(centres=st.lists(st.floats(0.0, 100.0), max_size=20), rows=st.integers(1, 4))
def test_labels_in_a_row_do_not_meet(centres, rows):
    """No two labels of one row overlap."""
    placed = stagger(centres, [3.0] * len(centres), rows=rows)
    for row in range(rows):
        mine = sorted(centre for centre, at in zip(centres, placed, strict=True) if at == row)
        assert all(b - a >= 3.0 - 1e-9 for a, b in pairwise(mine))


@given(texts=st.lists(st.from_regex(r"-?\d{1,5}(\.\d{1,4})?", fullmatch=True), min_size=1))
def test_points_stand_in_one_column(texts):
    """Padded texts are equally long and keep their characters."""
    padded = align_points(texts)
    assert len({len(text) for text in padded}) == 1
    assert [text.strip() for text in padded] == texts
