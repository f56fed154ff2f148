"""What was planted in the demo plant's earlier rolls is found, and what was noted there is named."""

import pytest

from wideroll.control import history_table
from wideroll.readers.earlier_rolls import read_earlier
from wideroll.readers.logbook_file import read_logbook
from wideroll.store.demo_history import PLANTED, history_files
from wideroll.workflow.charting import ChartTerms, chart_quantity, find_quantity, history_quantities


@pytest.fixture(scope="module")
def told(tmp_path_factory):
    """The changes found of a quantity, by record."""
    folder = tmp_path_factory.mktemp("history")
    for name, text in history_files().items():
        (folder / name).parent.mkdir(exist_ok=True)
        (folder / name).write_text(text)
    history = history_table(read_earlier(folder / "earlier.csv", "line 2")).lazy()
    events = read_logbook(folder / "logbook.csv")

    def changes(what):
        quantity = find_quantity(history_quantities(history), what)
        view = chart_quantity(history, quantity, terms=ChartTerms(), events=events)
        return {of.record: of.match.changes for of in view.changes}

    return changes


def test_the_slow_batches_are_found_and_named(told):
    """Green's speed changes with E-515 and back with E-517, by about what was planted; red's and blue's don't."""
    found = told("speed")
    slow, back = found["green"]
    assert (slow.change.at, back.change.at) == (PLANTED.slow_from, PLANTED.slow_to)
    assert (slow.events[0].name, back.events[0].name) == (PLANTED.slow_batch, PLANTED.mended_batch)
    for one, step in ((slow, PLANTED.slow_log_h), (back, -PLANTED.slow_log_h)):
        assert one.change.step_low <= step <= one.change.step_high
    assert found["red"] == found["blue"] == ()


def test_the_creep_ends_with_the_overhaul(told):
    """Thickness rises in steps and falls back where the logbook has the overhaul."""
    *rises, fall = told("thickness")[""]
    assert rises
    assert all(one.change.step > 0.0 for one in rises)
    assert (fall.change.at, fall.change.step < -1.0) == (PLANTED.creep_to, True)
    assert [event.name for event in fall.events] == [PLANTED.creep_ended_by]


def test_what_was_not_planted_shows_no_change(told):
    """Curl and adhesion stay on one level."""
    assert told("curl") == told("adhesion") == {"": ()}
