"""The lab's processors are read as written, and each fault is told with its place."""

import pytest

from wideroll.readers.processor_files import process_files, read_process_log, read_processors
from wideroll.sensitometry import ProcessQuantity, Record

TANK = """\
[[processors]]
name = "tank-1"
process = "black-and-white, dip and dunk"
speed_log_h = -1.2
contrast_log_h = [-1.6, -0.4]
"""
HEADER = "run;processed_on;visual_minimum;visual_speed;visual_contrast;adjusted;note\n"
FIRST = "P-1;2025-03-01;0,010;-0,005;0,002;;\n"
SECOND = "P-2;2025-03-01T14:30;0.012;0.004;-0.001;yes;new developer\n"
RUNS = "run,processor,processed_on\nP-9,tank-1,2025-03-04\n"


@pytest.fixture
def plant(tmp_path):
    """A plant with one processor of two runs, and a roll's strips that went through it."""
    (tmp_path / "processors").mkdir()
    (tmp_path / "strips").mkdir()
    (tmp_path / "processors.toml").write_text(TANK)
    (tmp_path / "processors" / "tank-1.csv").write_text(HEADER + FIRST + SECOND)
    (tmp_path / "strips" / "runs.csv").write_text(RUNS)
    return tmp_path


def test_a_processor_is_read_as_written(plant):
    """Settings with their defaults, runs in order with their values, adjustment and note."""
    (history,) = read_processors(plant)
    processor = history.processor
    assert (processor.name, processor.baseline_runs, processor.action_density) == ("tank-1", 20, None)
    assert processor.false_alarm == pytest.approx(0.0027)
    assert (processor.places.speed_log_h, processor.places.contrast_log_h) == (-1.2, (-1.6, -0.4))
    first, second = history.runs
    assert first.values == {
        (Record.VISUAL, ProcessQuantity.MINIMUM): 0.010,
        (Record.VISUAL, ProcessQuantity.SPEED): -0.005,
        (Record.VISUAL, ProcessQuantity.CONTRAST): 0.002,
    }
    assert (first.adjusted, second.adjusted, second.note) == (False, True, "new developer")
    assert second.processed_on == "2025-03-01T14:30"


def test_the_log_of_a_roll_names_its_runs(plant):
    """runs.csv says which processor a run went through; without it, or without processors, there is no log."""
    log = read_process_log(plant, plant / "strips")
    assert [(run.run, run.processor, run.processed_on) for run in log.runs] == [("P-9", "tank-1", "2025-03-04")]
    assert set(process_files(plant, plant / "strips")) == {plant / "processors.toml", plant / "processors"}
    (plant / "processors.toml").unlink()
    assert read_process_log(plant, plant / "strips").histories == ()
    assert read_processors(plant) == ()
    (plant / "strips" / "runs.csv").unlink()
    assert process_files(plant, plant / "strips") == ()


def test_a_new_processor_has_an_empty_history(plant):
    """A header alone says that nothing ran yet."""
    (plant / "processors" / "tank-1.csv").write_text(HEADER)
    assert read_processors(plant)[0].runs == ()


@pytest.mark.parametrize(
    ("lines", "where", "rule"),
    [
        (SECOND + FIRST, "line 3, column processed_on", "order of time"),
        (FIRST + FIRST, "line 3, column run", "listed once"),
        (FIRST.replace("2025-03-01", "1.3.2025"), "line 2, column processed_on", "must be a date"),
        (FIRST.replace("2025-03-01", "2025-02-30"), "line 2, column processed_on", "must be a date"),
        (FIRST.replace("2025-03-01", "2025-03-01T09:00+01:00"), "line 2, column processed_on", "must be a date"),
        (FIRST.replace("0,010", "-"), "line 2, column visual_minimum", "must be a number"),
        (FIRST.replace("0,010", "much"), "line 2, column visual_minimum", "must be a number"),
        (FIRST.replace(";;", ";perhaps;"), "line 2, column adjusted", "must be one of"),
    ],
)
def test_a_fault_in_a_history_is_told_with_its_place(plant, refused, lines, where, rule):
    """Runs out of order, given twice, at no date or without a reading are refused."""
    (plant / "processors" / "tank-1.csv").write_text(HEADER + lines)
    with refused("tank-1.csv", where, rule=rule):
        read_processors(plant)


def test_each_record_has_all_three(plant, refused):
    """A record that is charted by some of its quantities only is refused."""
    (plant / "processors" / "tank-1.csv").write_text("run;processed_on;red_minimum\nP-1;2025-03-01;0.01\n")
    with refused("line 2, column red_speed", rule="minimum, speed and contrast of each record"):
        read_processors(plant)


def test_a_listed_processor_needs_its_history(plant, refused):
    """A history that isn't there isn't taken for an empty one."""
    (plant / "processors" / "tank-1.csv").unlink()
    with refused("tank-1.csv", rule="the file must be there"):
        read_processors(plant)


@pytest.mark.parametrize(
    ("text", "where", "rule"),
    [
        (RUNS.replace("tank-1", "tank-9"), "line 2, column processor", "tank-1"),
        (RUNS + "P-9,tank-1,2025-03-05\n", "line 3, column run", "listed once"),
        (RUNS.replace("2025-03-04", "yesterday"), "line 2, column processed_on", "must be a date"),
    ],
)
def test_a_fault_in_the_runs_is_told_with_its_place(plant, refused, text, where, rule):
    """An unknown processor, a run twice and a date that is none are refused."""
    (plant / "strips" / "runs.csv").write_text(text)
    with refused("runs.csv", where, rule=rule):
        read_process_log(plant, plant / "strips")


@pytest.mark.parametrize(
    ("was", "now", "field", "rule"),
    [
        ("[-1.6, -0.4]", "[-0.4, -1.6]", "contrast_log_h", "the lesser first"),
        ('name = "tank-1"', 'name = "../tank"', "name", "match"),
        ("speed_log_h = -1.2", "speed_log_h = -1.2\nbaseline_runs = 3", "baseline_runs", "10"),
        ("speed_log_h = -1.2", "speed_log_h = -1.2\naction_density = 0.0", "action_density", "greater than 0"),
        (TANK, TANK + TANK, "processors", "given once"),
    ],
)
def test_a_fault_in_the_list_is_told_with_its_field(plant, refused, was, now, field, rule):
    """Settings out of range, names that are paths and names given twice are refused."""
    (plant / "processors.toml").write_text(TANK.replace(was, now))
    with refused("processors.toml", field, rule=rule):
        read_processors(plant)
