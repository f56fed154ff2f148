"""Processors in tables and pictures: what must be in them, in words."""

from dataclasses import replace
from xml.etree import ElementTree as ET

import numpy as np
import pytest

from wideroll.report.evidence_grids import runs_grid
from wideroll.report.processor_grids import charted_grid, last_runs_grid, processors_grid, state_json
from wideroll.report.processor_picture import draw_processor, processor_caption
from wideroll.sensitometry import ControlPlaces, ProcessQuantity, Record, RunVerdict
from wideroll.workflow import Processor, ProcessorHistory, ProcessorRun, Standing, processor_state

SVG = "{http://www.w3.org/2000/svg}"
QUANTITIES = tuple((r, q) for r in (Record.RED, Record.GREEN, Record.BLUE) for q in ProcessQuantity)
TANK = Processor(
    name="tank-1",
    process="colour negative",
    places=ControlPlaces(speed_log_h=-1.2, contrast_log_h=(-1.6, -0.6)),
    baseline_runs=20,
    false_alarm=0.0027,
)


def state_of(count=30, *, fog=0.0, note=""):
    """A processor whose ninth run was bad, adjusted at its third, and whose newest run has a fog."""
    chance = np.random.Generator(np.random.PCG64(7))
    runs = []
    for number in range(count):
        lift = {count - 1: fog, 9: 0.06}.get(number, 0.0)
        values = {
            (r, q): float(chance.normal(lift if q is ProcessQuantity.MINIMUM else 0.0, 0.004)) for r, q in QUANTITIES
        }
        run = ProcessorRun(run=f"P-{number}", processed_on="2025-03-01", values=values, adjusted=number == 3)
        runs.append(replace(run, note=note if number == count - 1 else ""))
    return processor_state(ProcessorHistory(processor=TANK, runs=tuple(runs)))


def words(svg):
    """Every word drawn."""
    return ["".join(text.itertext()) for text in ET.fromstring(svg).iter(f"{SVG}text")]  # noqa: S314  # drawn here


def texts(grid):
    """Every cell with its note, row by row."""
    return [" | ".join(f"{cell.text} {cell.note}".strip() for cell in row) for row in grid.rows]


def test_the_picture_names_records_quantities_limits_and_rules():
    """Columns are records, rows quantities; a run beyond a limit has ring and words; the basis of limits is said."""
    drawn = words(draw_processor(state_of(fog=0.08)))
    for said in ("red (cyan dye)", "green (magenta dye)", "blue (yellow dye)", "above limit", "P-29"):
        assert said in drawn
    for kind in ProcessQuantity:
        assert f"{kind.value}," in drawn
    assert any("standard deviations of 20 runs, 1 left out" in one for one in drawn)
    assert any("thick ring: beyond a limit" in one for one in drawn)


def test_the_picture_is_the_same_each_time_and_says_its_finding():
    """The same state gives the same bytes; title and description carry the finding for who can't see it."""
    state = state_of(fog=0.08)
    svg = draw_processor(state)
    assert draw_processor(state) == svg
    tree = ET.fromstring(svg)  # noqa: S314  # drawn here
    assert tree.findtext(f"{SVG}title") == "Control charts of processor tank-1"
    assert tree.findtext(f"{SVG}desc") == processor_caption(state)
    assert "is out of control: " in processor_caption(state)
    assert "Run rules warn and rule nothing out." in processor_caption(state)


@pytest.mark.parametrize("count", [0, 1, 12])
def test_a_young_processor_is_drawn_without_limits(count):
    """A processor with no or few runs has a picture and tables that say what is lacking, and no rule is broken."""
    state = state_of(count)
    assert state.standing is Standing.TOO_FEW
    drawn = words(draw_processor(state))
    assert not {"above limit", "below limit"} & set(drawn)
    assert any("they need 20 good runs" in one for one in drawn)
    assert "not judged (too few runs to say)" in processor_caption(state)
    assert len(charted_grid(state).rows) == (9 if count else 0)
    assert len(last_runs_grid(state).rows) == count


def test_the_tables_say_state_rule_and_place():
    """The overview has sign, word and why; the runs have the rules each broke, the base period and the notes."""
    state = state_of(fog=0.08, note="warm day")
    (row,) = texts(processors_grid([state]))
    assert "✖ out of control" in row
    assert "minimum density" in row
    runs = texts(last_runs_grid(state))
    assert runs[0].startswith("P-29 | 2025-03-01 | after | one point above the upper limit: minimum density")
    assert runs[0].endswith("warm day")
    assert last_runs_grid(state).left_out == 18
    assert [line for line in texts(charted_grid(state)) if "one point above the upper limit" in line]


def test_a_run_is_shown_with_its_processor():
    """The table of runs names the processor and what its charts say; a run that is on none says so."""
    state = state_of(fog=0.0)
    runs = [
        RunVerdict(run=name, usable=True, why="", reference_strips=("R",), void_strips=(), shift_density={})
        for name in (state.run, "other")
    ]
    first, second = texts(runs_grid(runs, (state,)))
    assert f"tank-1 {state.standing.value}" in first
    assert "no processor chart" in second
    young = replace(state_of(12), run="other")
    assert "judged by the limit only" in texts(runs_grid(runs, (young,)))[1]


def test_json_has_values_and_limits():
    """Each chart has value, centre and limits in order; what isn't known is null."""
    document = state_json(state_of(fog=0.08))
    assert document["state"] == "out of control"
    assert document["excluded"] == ["P-9"]
    assert len(document["baseline"]) == 20
    for chart in document["charts"]:
        assert chart["low"] < chart["centre"] < chart["high"]
        assert chart["standard_uncertainty"] is None
    assert state_json(state_of(5))["charts"][0]["low"] is None
    assert state_json(state_of(0))["processed_on"] is None
