"""Many rolls at once on a cluster of this machine's own processes."""

import os
import sys
import time
from pathlib import Path

import pytest
from distributed import get_worker

from wideroll.errors import ArgumentError, InputError
from wideroll.farm import scan_many


def _name_and_process(path):
    return path.read_text(), os.getpid()


def _half(path):
    number = int(path.read_text())
    path.with_suffix(".done").touch()
    if number == 1:
        raise InputError(where="scan.toml", rule="must name a segment", mend="Name one.")
    if number == 3:
        message = "three"
        raise ZeroDivisionError(message)
    return number


@pytest.fixture
def rolls(tmp_path):
    """Five files, each with its number in it."""
    paths = [tmp_path / f"roll-{n}" for n in range(5)]
    for n, path in enumerate(paths):
        path.write_text(str(n))
    return paths


def test_results_come_in_the_order_of_the_rolls_from_other_processes(rolls):
    """Each roll is worked on once, outside this process, and the answers keep the order of the rolls."""
    results = scan_many([*rolls, rolls[0]], _name_and_process, workers=2)
    assert [text for text, _ in results] == ["0", "1", "2", "3", "4", "0"]
    processes = {process for _, process in results}
    assert os.getpid() not in processes
    assert len(processes) <= 2


def test_a_failing_roll_is_named_and_the_others_finish(rolls):
    """The first error comes back with its roll named, all other rolls are done, and later failures are told."""
    with pytest.raises(InputError, match=r"roll-1: scan.toml: must name a segment. Name one.") as caught:
        scan_many(rolls, _half, workers=2)
    assert caught.value.__notes__ == [f"failed as well: {rolls[3]}"]
    assert all(path.with_suffix(".done").exists() for path in rolls)


def test_an_error_of_another_kind_keeps_its_kind(rolls):
    """An error that isn't one of ours is raised as it was, with a note of the roll."""
    with pytest.raises(ZeroDivisionError) as caught:
        scan_many(rolls[2:], _half, workers=1)
    assert f"while working on {rolls[3]}" in caught.value.__notes__


def test_without_dask_the_message_says_how_to_get_it(monkeypatch):
    """Where the extra isn't installed, the error names the command that installs it."""
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(InputError, match=r"pip install \"wideroll\[farm\]\""):
        scan_many([Path()], str)


def test_a_scheduler_that_is_no_address_is_refused():
    """A word that can't be an address gives one clear error."""
    with pytest.raises(InputError, match="scheduler: must be the address"):
        scan_many([Path()], str, scheduler="ftp://nowhere")


def test_no_workers_is_refused():
    """Work needs at least one worker."""
    with pytest.raises(ArgumentError, match="workers"):
        scan_many([Path()], str, workers=0)


def _retire_all(path):
    worker = get_worker()
    worker.loop.add_callback(worker.close, reason="the test wants all workers gone", nanny=True)
    time.sleep(60.0)
    return path


@pytest.mark.filterwarnings("ignore")
def test_nobody_waits_for_workers_that_are_all_gone(rolls, monkeypatch):
    """Where every worker is lost and none comes back, the call ends with an error that says so."""
    monkeypatch.setattr("wideroll.farm.cluster._WATCH_S", 0.2)
    monkeypatch.setattr("wideroll.farm.cluster._GONE_S", 1.0)
    with pytest.raises(InputError, match=r"^workers: at least one must live"):
        scan_many(rolls, _retire_all, workers=1)
