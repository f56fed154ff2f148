"""A run is judged first by the charts of the processor it went through."""

from dataclasses import replace

import numpy as np
import pytest

from wideroll.errors import InputError
from wideroll.sensitometry import ControlPlaces, ProcessQuantity, Record
from wideroll.workflow import (
    ProcessedRun,
    ProcessLog,
    Processor,
    ProcessorHistory,
    ProcessorRun,
    Standing,
    judge_strips,
    processor_state,
)

QUANTITIES = tuple((Record.VISUAL, quantity) for quantity in ProcessQuantity)
TANK = Processor(
    name="tank-1",
    process="black-and-white",
    places=ControlPlaces(speed_log_h=-1.2, contrast_log_h=(-1.6, -0.6)),
    baseline_runs=20,
    false_alarm=0.0027,
)


def history(count=24, *, name="tank-1", spread=0.002, **changes):
    """A steady processor's runs, one a day; ``changes`` are of single runs, by number."""
    chance = np.random.Generator(np.random.PCG64(4))
    runs = []
    for number in range(count):
        values = dict(zip(QUANTITIES, chance.normal(0.0, spread, 3).tolist(), strict=True))
        runs.append(ProcessorRun(run=f"H{number}", processed_on=f"2025-03-{number + 1:02d}", values=values))
    for number, change in changes.get("changed", {}).items():
        runs[number] = replace(runs[number], **change)
    return ProcessorHistory(processor=replace(TANK, name=name), runs=tuple(runs))


def log(*runs, histories=None):
    """The runs, each as (run, date), all through tank-1."""
    processed = tuple(ProcessedRun(run=run, processor="tank-1", processed_on=on) for run, on in runs)
    return ProcessLog(histories=histories or (history(),), runs=processed)


def room_of(strip, product, the_log, *, fog=0.0, runs=("P1",)):
    """Strips of some runs, with the same fog on all, judged."""
    strips = [strip(f"S-{run}", run, 0.5, fog=fog) for run in runs]
    strips += [strip(f"ref-{run}", run, fog=fog) for run in runs]
    return judge_strips(tuple(strips), product, the_log)


def test_a_run_in_control_is_usable(strip, product):
    """A run on aim through a steady processor is usable, and its state says so."""
    room = room_of(strip, product, log(("P1", "2025-04-01")))
    (state,) = room.processors
    assert room.runs[0].usable
    assert state.standing in {Standing.IN_CONTROL, Standing.WARNING}
    assert (state.processor.name, state.run, state.runs[-1].run) == ("tank-1", "P1", "P1")
    assert all(point.standard_uncertainty > 0.0 for point in state.points)


def test_a_run_out_of_control_is_void_within_the_limit(strip, product):
    """A fog of 0.03 is within the product's limit of 0.05 but not within the processor's: its strips are repeated."""
    room = room_of(strip, product, log(("P1", "2025-04-01")), fog=0.03)
    (run,), (state,) = room.runs, room.processors
    assert (run.usable, run.void_strips) == (False, ("S-P1",))
    assert state.standing is Standing.OUT_OF_CONTROL
    assert run.why == f"processor tank-1 is out of control: {state.why}"
    assert "minimum density" in run.why
    assert "limits −0.0" in run.why
    assert not room.results[0].usable
    assert room_of(strip, product, ProcessLog(), fog=0.03).runs[0].usable


def test_another_processor_is_judged_by_its_own_chart(strip, product):
    """The same run through a processor that always lies there is in control: each has its own state."""
    high = history()
    lifted = dict.fromkeys(QUANTITIES[:2], 0.03)
    moved = tuple(
        replace(run, values={q: value + lifted.get(q, 0.0) for q, value in run.values.items()}) for run in high.runs
    )
    room = room_of(strip, product, log(("P1", "2025-04-01"), histories=(replace(high, runs=moved),)), fog=0.03)
    assert room.runs[0].usable
    assert room.processors[0].standing is not Standing.OUT_OF_CONTROL


def test_a_run_that_is_not_listed_is_judged_by_the_limit_alone(strip, product):
    """A run without a processor has no state, and its verdict is what it always was."""
    room = room_of(strip, product, log(("P1", "2025-04-01")), fog=0.03, runs=("P1", "P2"))
    assert [run.usable for run in room.runs] == [False, True]
    assert [state.run for state in room.processors] == ["P1"]


@pytest.mark.parametrize(("count", "changed"), [(19, {}), (24, {15: {"adjusted": True}})])
def test_too_few_runs_leave_the_limit_alone(strip, product, count, changed):
    """A young processor, or one adjusted of late, rules nothing out and says how many runs it lacks."""
    room = room_of(strip, product, log(("P1", "2025-04-01"), histories=(history(count, changed=changed),)), fog=0.03)
    (state,) = room.processors
    assert room.runs[0].usable
    assert state.standing is Standing.TOO_FEW
    assert "fewer than the 20" in state.why
    assert ("since it was adjusted" in state.why) is bool(changed)


def test_an_action_limit_holds_for_a_young_processor_too(strip, product):
    """A stated density is a limit from the first run on."""
    young = history(3)
    strict = replace(young, processor=replace(TANK, action_density=0.02))
    room = room_of(strip, product, log(("P1", "2025-04-01"), histories=(strict,)), fog=0.03)
    assert not room.runs[0].usable
    assert "action limits ± 0.02" in room.runs[0].why


def test_later_runs_do_not_change_the_finding(strip, product):
    """What the lab processed afterwards, good or bad, leaves the state at the run as it was."""
    plain = room_of(strip, product, log(("P1", "2025-04-01"))).processors
    later = [
        ProcessorRun(run=f"L{n}", processed_on=f"2025-04-{n + 2:02d}", values=dict.fromkeys(QUANTITIES, 0.5))
        for n in range(5)
    ]
    longer = history()
    after = log(("P1", "2025-04-01"), histories=(replace(longer, runs=(*longer.runs, *later)),))
    (was,), (now,) = plain, room_of(strip, product, after).processors
    assert (now.standing, now.why, now.runs, now.chart) == (was.standing, was.why, was.runs, was.chart)


def test_a_run_in_the_history_keeps_its_place_with_its_own_readings(strip, product):
    """The history's place and note stay; the values are read off the roll's own reference strips."""
    there = ProcessorRun(run="P1", processed_on="2025-04-01", values=dict.fromkeys(QUANTITIES, 0.9), note="warm day")
    full = history()
    room = room_of(
        strip, product, log(("P1", "2025-04-01"), histories=(replace(full, runs=(*full.runs, there)),)), fog=0.002
    )
    (state,) = room.processors
    assert len(state.runs) == 25
    assert state.runs[-1].note == "warm day"
    assert state.runs[-1].values[QUANTITIES[0]] == pytest.approx(0.002, abs=0.005)


def test_a_roll_s_own_runs_stand_on_the_chart_in_their_time(strip, product):
    """An earlier run of the same roll is part of the line of the later one, not the other way round."""
    states = room_of(strip, product, log(("P2", "2025-04-02"), ("P1", "2025-04-01")), runs=("P1", "P2")).processors
    lines = {state.run: [run.run for run in state.runs][-2:] for state in states}
    assert lines == {"P2": ["P1", "P2"], "P1": ["H23", "P1"]}


def test_a_run_without_a_readable_reference_has_nothing_to_chart(strip, product):
    """It is void as ever; the state says that nothing could be charted."""
    room = judge_strips((strip("S-1", "P1", 0.5),), product, log(("P1", "2025-04-01")))
    assert room.processors[0].standing is Standing.NOT_READ
    assert "no reference strip" in room.runs[0].why


@pytest.mark.parametrize(
    ("the_log", "where", "rule"),
    [
        (log(("P7", "2025-04-01")), "runs.csv", "strips.csv"),
        (log(("P1", "2025-04-01"), histories=(history(name="tank-2"),)), "run P1", "tank-2"),
        (log(("P1", "2025-04-01"), histories=(history(changed={5: {"run": "P1"}}),)), "run P1", "2025-03-06"),
        (
            log(("P1", "2025-04-01"), histories=(history(changed={5: {"values": {}}}),)),
            "run H5",
            "same quantities",
        ),
        (log(("P1", "2025-04-01"), histories=(history(spread=0.0),)), "tank-1.csv", "must vary"),
    ],
)
def test_a_log_that_contradicts_itself_is_refused(strip, product, the_log, where, rule):
    """Strange runs, unknown processors, two dates for a run, other records and values that never vary are told."""
    with pytest.raises(InputError) as caught:
        room_of(strip, product, the_log)
    assert where in caught.value.where
    assert rule in caught.value.rule


def test_a_processor_by_itself_stands_at_its_last_run():
    """The last run of a history is judged by those before it; an empty history says that nothing ran yet."""
    bad = {23: {"values": dict.fromkeys(QUANTITIES, 0.05)}}
    state = processor_state(history(changed=bad))
    assert (state.run, state.standing) == ("H23", Standing.OUT_OF_CONTROL)
    assert state.points == ()
    empty = processor_state(history(0))
    assert (empty.standing, empty.run, empty.chart) == (Standing.TOO_FEW, "", None)


def test_a_run_rule_warns_in_words():
    """Eight runs on one side warn, name rule and quantity, and void nothing."""
    high = {number: {"values": dict.fromkeys(QUANTITIES, 0.0025 + 0.0001 * number)} for number in range(20, 28)}
    state = processor_state(history(28, changed=high))
    assert state.standing is Standing.WARNING
    assert any("eight points in a row above the centre: minimum density (visual)" in one for one in state.warnings)
