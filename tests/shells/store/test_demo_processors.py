"""The invented lab is what its description says."""

import csv

from wideroll.readers.processor_files import read_process_log, read_processors
from wideroll.store.demo_processors import processor_files, runs_rows
from wideroll.store.demo_scene import REFERENCE_RUNS
from wideroll.workflow import Standing, processor_state


def test_one_processor_is_steady_and_the_other_out_of_control(tmp_path):
    """The files are read without fault; tank-1 is in control, tank-2 out of it in the run that spoils strips."""
    for name, text in processor_files().items():
        path = tmp_path / name
        path.parent.mkdir(exist_ok=True)
        path.write_text(text)
    steady, creeping = (processor_state(history) for history in read_processors(tmp_path))
    assert (steady.run, steady.standing) == ("P-312", Standing.IN_CONTROL)
    assert (creeping.run, creeping.standing) == ("P-313", Standing.OUT_OF_CONTROL)
    assert [steady.runs[place].note for place in steady.chart.excluded] == ["chiller was off"]
    assert creeping.runs[creeping.chart.start].adjusted
    strips = tmp_path / "strips"
    strips.mkdir()
    with (strips / "runs.csv").open("w", newline="") as file:
        csv.writer(file).writerows(runs_rows(REFERENCE_RUNS))
    assert [run.processor for run in read_process_log(tmp_path, strips).runs] == ["tank-1", "tank-1", "tank-2"]
