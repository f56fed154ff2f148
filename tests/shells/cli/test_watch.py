"""The command that watches a roll while it is made."""

import json
import shutil

import numpy as np
import pytest
import tifffile

from wideroll.cli import main, watching
from wideroll.errors import InputError
from wideroll.store import RecordStore, one_watch

ROLL = "W-9"
LENGTH_M = 8.0
LINES, COLUMNS = 4000, 400
"""Of a segment: 2 m."""


def segment(number):
    """2 m of web in 0.5 mm lines with a spot every 251.3 mm (an 80 mm roller), 36 mm from the edge."""
    image = np.random.default_rng(number).normal(150.0, 2.0, (LINES, COLUMNS))
    for place in np.arange(0.1, LENGTH_M, 0.2513):
        line = round(place / 0.0005) - number * LINES
        if 0 <= line < LINES - 3:
            image[line : line + 4, 118:123] -= 60.0
    return np.clip(np.rint(image), 0, 255).astype(np.uint8)


@pytest.fixture(scope="module")
def segments():
    """All of the roll."""
    return [segment(number) for number in range(4)]


@pytest.fixture
def watched(plant, segments, tmp_path):
    """A plant whose roll has its scan.toml and no segment yet, and what writes one."""
    root = tmp_path / "plant"
    if root != plant:
        shutil.copytree(plant, root, dirs_exist_ok=True)
    text = (root / "plant.toml").read_text().replace('diameter = "40 mm"', 'diameter = "80 mm"\nzone = "coating"')
    (root / "plant.toml").write_text(text)
    product = next((root / "products").glob("*.toml")).stem
    folder = root / "rolls" / ROLL
    (folder / "scan").mkdir(parents=True)
    (folder / "roll.toml").write_text(
        f'product = "{product}"\nlength = "{LENGTH_M:g} m"\n\n'
        f'[[batches]]\nname = "E-1"\nalong_from = "0 m"\nalong_to = "{LENGTH_M:g} m"\n'
    )
    (folder / "scan" / "scan.toml").write_text(
        'scanner = "line-end scanner"\npitch_along = "0.5 mm"\npitch_across = "0.3 mm"\nsegments = "as they come"\n'
    )

    def write(*numbers):
        for number in numbers:
            tifffile.imwrite(folder / "scan" / f"s-{number}.tif", segments[number])

    return root, write


def run(capsys, *words):
    """Exit code, standard output and standard error of a watch."""
    capsys.readouterr()
    code = main(["watch", *map(str, words)])
    out, err = capsys.readouterr()
    return code, out, err


def test_cards_are_told_kept_and_not_raised_twice(watched, capsys):
    """The card goes to standard output and to its file; watched again the roll gives none, and still ends with 10."""
    root, write = watched
    write(0, 1, 2, 3)
    code, out, err = run(capsys, root, ROLL, "--json", "--who", "C. Operator")
    (card,) = map(json.loads, out.splitlines())
    assert code == 10
    assert (card["schema"], card["roller"], card["zone"]) == ("wideroll/action-card/1", "R1 coating roll", "coating")
    assert card["at_m"] < 7.0
    assert "the planned length is reached: 8.0 m of 8.0 m" in err
    assert json.loads((root / "results" / ROLL / "cards" / "001.json").read_text())["roller"] == card["roller"]
    assert _recorded(root) == [("action card", "C. Operator", 1)]
    seen = json.loads((root / "results" / ROLL / "cards" / "seen" / "001.json").read_text())
    assert len(seen["figure"]["data"][0]["rows"]) == card["marks"]
    assert (root / "results" / ROLL / "cards" / "seen" / seen["figure"]["file"]).read_bytes().startswith(b"<svg")
    code, out, err = run(capsys, root, ROLL)
    assert (code, out) == (10, "")
    assert "1 known from before" in err
    assert len(_recorded(root)) == 1


def _recorded(root):
    with RecordStore(f"sqlite:///{root / 'wideroll.db'}") as record:
        return [(event.act, event.who, event.body["card"]) for event in record.events()]


def test_it_ends_when_nothing_comes(watched, capsys):
    """With --until-still it doesn't wait for the rest of the roll; without a card it ends with 0."""
    root, _ = watched
    code, out, err = run(capsys, root, ROLL, "--until-still", "0,5")
    assert (code, out) == (0, "")
    assert "no segment has come for 0.5 s: 0.0 m of 8.0 m: 0 marks, 0 cards" in err


def test_ctrl_c_says_how_far_it_was(watched, capsys, monkeypatch):
    """Stopped, it says the metre it had come to and that the same command goes on."""
    root, write = watched
    write(0, 1)

    def stopping(_):
        def waking():
            yield
            raise KeyboardInterrupt

        return waking

    monkeypatch.setattr(watching, "wakes", stopping)
    code, _, err = run(capsys, root, ROLL)
    assert code == 130
    assert "stopped at 2.0 m of 8.0 m" in err


def test_a_sink_that_fails_is_told_and_stops_nothing(watched, capsys, monkeypatch):
    """A webhook that is down costs a line on standard error; other sinks get the card."""
    root, write = watched
    write(0, 1, 2, 3)
    got = []

    class Down:
        where = "notice desk"

        def send(self, _):
            raise InputError(where="notice desk", rule="must answer", mend="Start it.")

    class Up:
        where = "notice hall"

        def send(self, card):
            got.append(card.number)

    monkeypatch.setattr(watching, "open_sinks", lambda *_: (Down(), Up()))
    code, _, err = run(capsys, root, ROLL)
    assert (code, got) == (10, [1])
    assert "card 1 was not delivered: notice desk: must answer" in err
    assert "not delivered, and tried again by the next watch: notice desk: card 1" in err


def test_what_was_not_delivered_is_sent_by_the_next_watch(watched, capsys, monkeypatch):
    """Sinks that were down or are new get the cards of before, no other twice; a record out of reach is made up for."""
    root, write = watched
    write(0, 1, 2, 3)
    got = {"desk": [], "hall": [], "new": []}

    class Sink:
        def __init__(self, name, *, down=False):
            self.where, self.name, self.down = f"notice {name}", name, down

        def send(self, card):
            if self.down:
                raise InputError(where=self.where, rule="must answer", mend="Start it.")
            got[self.name].append(card.number)

    monkeypatch.setattr(watching, "open_sinks", lambda *_: (Sink("desk", down=True), Sink("hall")))
    (root / "wideroll.db").mkdir()
    code, _, err = run(capsys, root, ROLL)
    assert (code, "card 1 isn't in the record yet" in err) == (10, True)
    (root / "wideroll.db").rmdir()
    monkeypatch.setattr(watching, "open_sinks", lambda *_: (Sink("desk"), Sink("hall"), Sink("new")))
    code, out, err = run(capsys, root, ROLL)
    assert (code, out) == (10, "")
    assert got == {"desk": [1], "hall": [1], "new": [1]}
    assert [number for _, _, number in _recorded(root)] == [1]
    assert "not delivered" not in err


def test_a_roll_has_one_watch(watched, capsys):
    """A second watch is refused, so that no card goes out twice; the first isn't disturbed."""
    root, write = watched
    write(0)
    with one_watch(root / "results" / ROLL):
        code, _, err = run(capsys, root, ROLL)
    assert code == 3
    assert "one watch at a time" in err
    with one_watch(root / "results" / ROLL):
        pass


def test_a_segment_out_of_order_ends_it(watched, capsys, monkeypatch):
    """A segment that belongs before one already taken is an error with exit code 3, and says which."""
    root, write = watched
    write(1, 2)

    def coming_late(_):
        def waking():
            yield
            write(0)
            yield

        return waking

    monkeypatch.setattr(watching, "wakes", coming_late)
    code, _, err = run(capsys, root, ROLL)
    assert code == 3
    assert "segments come in order from the head; s-1.tif was taken already" in err


def test_without_scan_toml_nothing_is_watched(watched, capsys):
    """A roll that isn't set up for the scanner is refused, and says which file is missing."""
    root, _ = watched
    (root / "rolls" / ROLL / "scan" / "scan.toml").unlink()
    code, _, err = run(capsys, root, ROLL)
    assert code == 3
    assert "scan.toml: the file must be there" in err


@pytest.mark.parametrize(
    ("words", "why"),
    [
        (["--false-alarm", "0"], "must lie between 0 and 1"),
        (["--false-alarm", "2"], "must lie between 0 and 1"),
        (["--until-still", "0"], "must be greater than 0"),
        (["--until-still", "soon"], "--until-still"),
    ],
)
def test_options_that_can_not_be_are_wrong_usage(watched, capsys, words, why):
    """An allowance is a probability and a wait has a length: exit code 2."""
    root, _ = watched
    code, _, err = run(capsys, root, ROLL, *words)
    assert code == 2
    assert why in err
