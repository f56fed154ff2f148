"""Control charts as pictures, tables and documents."""

import re
from functools import partial

import numpy as np
import pytest

from wideroll.control import RollValue, history_table
from wideroll.report.control_grids import (
    breaks_grid,
    changes_grid,
    changes_words,
    control_words,
    overview_grid,
    overview_words,
)
from wideroll.report.control_json import chart_json, overview_json
from wideroll.report.control_picture import draw_control
from wideroll.workflow.charting import ChartTerms, chart_quantity, find_quantity, history_quantities
from wideroll.workflow.control_model import ChartKind
from wideroll.workflow.control_overview import control_overview
from wideroll.workflow.line_events import LineEvent


@pytest.fixture(scope="module")
def history():
    """Thickness that steps up at roll 25 after an overhaul, with the last roll far off."""
    chance = np.random.Generator(np.random.PCG64(3))
    of = partial(RollValue, product="N5", line="1", batch="E-1", quantity="thickness", unit="µm")
    return history_table(
        of(
            roll=f"W-{n:02d}",
            coated=f"2026-{10 + n // 28:02d}-{1 + n % 28:02d}",
            value=float(chance.normal(130.0, 0.3) + 2.0 * (n >= 25) + 9.0 * (n == 39)),
        )
        for n in range(40)
    ).lazy()


@pytest.fixture(scope="module")
def view(history):
    """The thickness, charted as usual."""
    quantity = find_quantity(history_quantities(history), "thickness")
    events = [LineEvent(on="2026-10-26", kind="maintenance", name="pump overhauled")]
    return chart_quantity(history, quantity, terms=ChartTerms(), events=events)


def test_the_picture_says_what_broke_and_what_was_noted(view):
    """Rings have words, a change has what was noted there, a point far off its value; the same bytes twice."""
    picture = draw_control(view)
    for words in (
        "above limit",
        "maintenance pump overhauled",
        "mean and mean moving range of the first 20 rolls",
        "W-39",
    ):
        assert words in picture
    assert re.search(r"above limit: 14[01]\.\d", picture)
    assert picture == draw_control(view)


def test_a_sum_chart_is_drawn(history):
    """Both sums and when they passed their interval."""
    quantity = find_quantity(history_quantities(history), "thickness")
    view = chart_quantity(history, quantity, terms=ChartTerms(kind=ChartKind.CUSUM))
    assert "sum above beyond" in draw_control(view)
    assert "above the aim" in str(breaks_grid(view).rows)


def test_tables_and_words_tell_the_same(view):
    """The newest break first, the change with its event, and how the limits were set."""
    assert breaks_grid(view).rows[0][0].text.endswith("W-39")
    (row,) = changes_grid(view).rows
    assert (row[1].text, row[-1].text) == ("W-25", "maintenance pump overhauled")
    assert "first 20 rolls" in control_words(view)
    said = " ".join(changes_words(view))
    assert "W-39 far off its neighbours" in said
    assert "1 of 1 change met maintenance" in said


def test_the_document_has_all_of_it(view, history):
    """Points and limits of each roll, what broke which rule, and the change with its event, as plain values."""
    document = chart_json(view)
    panel = document["panels"][0]
    assert document["schema"] == "wideroll/control-chart/1"
    assert len(panel["points"]) == len(panel["low"]) == len(document["rolls"]) == 40
    assert panel["broken"][-1]["roll"] == "W-39"
    (change,) = document["changes"][0]["changes"]
    assert (change["at_roll"], change["noted"]) == ("W-25", [{"kind": "maintenance", "name": "pump overhauled"}])
    lines = control_overview(history, lambda *_: None)
    assert overview_json(lines, rolls=40, left_out={})["charts"][0]["state"] == "beyond a limit"
    assert overview_grid(lines, 10).rows[0][0].text == "thickness"
    assert overview_words((), 0) == ("No decided roll is in the history yet.",)
