"""Folders of many files are sealed in the record like single files."""

import threading
from types import SimpleNamespace

import pytest

from wideroll.acts.sealing import CutToRecord, outputs_as_recorded, record_cuts, record_decision, sealing, what_stands
from wideroll.errors import InputError
from wideroll.store import sealed_bytes
from wideroll.store.folders import write_folder

_DOCUMENT = {"roll": "W-1", "product": "Test", "verdict": "hold", "why": "because"}


def _hand(plant, name):
    path = plant / "results" / name
    path.mkdir(parents=True)
    product = SimpleNamespace(name="Test")
    desk = SimpleNamespace(card=SimpleNamespace(name=name), product=product, fingerprints={"scan": "ab"})
    return SimpleNamespace(root=plant, results=SimpleNamespace(path=path), fingerprint="cd", desk=desk)


@pytest.fixture
def hand(plant):
    """A roll whose decision, with a folder of two chips, is on record."""
    hand = _hand(plant, "W-1")
    path = hand.results.path
    write_folder(path / "chips", {"a.png": b"1", "b.png": b"2"})
    (path / "cut.csv").write_bytes(b"cut")
    outputs = {name: sealed_bytes(path / name) for name in ("chips", "cut.csv")}
    after = what_stands(hand)
    with sealing([hand], [after], who="tester") as store:
        sealed = record_decision(store, hand, _DOCUMENT, outputs, who="tester", after=after)
        assert sealed.standing == what_stands(hand)
    return hand


def test_a_folder_as_it_was_is_as_recorded(hand):
    """Written again with the same files, nothing has changed."""
    assert outputs_as_recorded(hand)
    write_folder(hand.results.path / "chips", {"b.png": b"2", "a.png": b"1"})
    assert outputs_as_recorded(hand)


@pytest.mark.parametrize("files", [{"a.png": b"1"}, {"a.png": b"1", "b.png": b"3"}, {"a.png": b"1", "c.png": b"2"}])
def test_a_changed_folder_shows(hand, files, capsys):
    """A file that is gone, another or differently named makes the folder one that the record doesn't name."""
    write_folder(hand.results.path / "chips", files)
    assert not outputs_as_recorded(hand)
    assert "chips isn't the file that event 1 of the record names" in " ".join(capsys.readouterr().err.split())


def test_a_folder_that_is_gone_shows(hand):
    """So does a folder that isn't there any more."""
    (hand.results.path / "chips").rename(hand.root / "elsewhere")
    assert not outputs_as_recorded(hand)


def test_a_cut_takes_the_place_of_the_files_it_names(hand, capsys):
    """After a cut is recorded its list is the one that must be there, and the decision's folder still is."""
    after = what_stands(hand)
    (hand.results.path / "cut.csv").write_bytes(b"book")
    cut = CutToRecord(hand=hand, outputs={"cut.csv": b"book"}, said={})
    with sealing([hand], [after], who="planner") as store:
        record_cuts(store, [cut], who="planner", after=[after])
    assert what_stands(hand).number == 2
    assert outputs_as_recorded(hand)
    (hand.results.path / "cut.csv").write_bytes(b"cut")
    assert not outputs_as_recorded(hand)
    assert "cut.csv isn't the file that event 2 of the record names" in " ".join(capsys.readouterr().err.split())


def test_who_take_the_same_rolls_in_another_order_dont_wait_for_each_other(plant):
    """Two who seal the same two rolls at once, each in their own order, both come to an end; the first wins."""
    hands, told = [_hand(plant, name) for name in ("W-2", "W-3")], []

    def record(mine, who):
        for _ in range(10):
            after = [what_stands(hand) for hand in mine]
            cuts = [CutToRecord(hand=hand, outputs={}, said={"by": who}) for hand in mine]
            try:
                with sealing(mine, after, who=who) as store:
                    record_cuts(store, cuts, who=who, after=after)
            except InputError as error:
                told.append(error)

    orders = (("A. First", hands), ("A. Second", hands[::-1]))
    threads = [threading.Thread(target=record, args=(mine, who), daemon=True) for who, mine in orders]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=60)
    assert not any(thread.is_alive() for thread in threads)
    assert max(what_stands(hand).number for hand in hands) == 2 * (20 - len(told))
