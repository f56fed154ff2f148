"""The order book from a terminal."""

import csv
import json
import shutil
from pathlib import Path

import pytest

from wideroll.cli import main
from wideroll.slitting import plan_book
from wideroll.store import RecordStore

ROLL = "T-1"
ORDERS = """\
[[orders]]
number = "O-1"
product = "sheet-100"
width = "35 mm"
length = "50 cm"
quantity = 3
value = 2.0

[[orders]]
number = "O-2"
product = "sheet-100"
width = "35 mm"
length = "3 m"
quantity = 2
due = 2026-11-10
value = 9.0

[[orders]]
number = "O-3"
product = "sheet-100"
width = "35 mm"
length = "25 cm"
quantity = 2
due = 2026-11-10
value = 1.0

[book]
late_share = 0.4
"""


@pytest.fixture
def ordered(decided_plant: Path) -> Path:
    """A decided plant with an order book, its roll to be slit after the day on which the last order is due."""
    (decided_plant / "orders.toml").write_text(ORDERS, encoding="utf-8")
    path = decided_plant / "rolls" / ROLL / "roll.toml"
    path.write_text("slit_on = 2026-11-20\n" + path.read_text(encoding="utf-8"), encoding="utf-8")
    return decided_plant


def test_each_order_says_what_it_gets_and_why_it_stays_short(ordered: Path, run) -> None:
    """Orders and rolls stand in tables; a short order's line says how many, why, and the most there could be."""
    code, out, _ = run("orders", ordered, ROLL)
    assert code == 0
    assert "Orders" in out
    assert "Rolls" in out
    words = " ".join(out.split())
    assert "Order O-2, 2 of 2 short: no clean stretch is long enough for one; at most 0 for it alone." in words
    assert "O-1, " not in words
    assert "with this knife step and the places tried for setting knives" in words


def test_the_document_adds_up(ordered: Path, run) -> None:
    """In JSON every order is filled in time, late or short; late rolls are told; value stays below bound."""
    code, out, _ = run("orders", ordered, "--json")
    assert code == 0
    made = json.loads(out)
    assert made["schema"] == "wideroll/orders/1"
    (product,) = made["products"]
    assert all(o["in_time"] + o["late"] + o["short"] == o["quantity"] for o in product["orders"])
    first, second, third = product["orders"]
    assert (first["in_time"], first["reason"], first["most"]) == (3, None, None)
    assert (second["short"], second["reason"], second["most"]) == (2, "no-length", 0)
    assert (third["late"], third["short"]) == (2, 0)
    assert all(one["late"] and one["roll"].startswith(f"{ROLL}/") for one in third["rolls"])
    assert [roll["slit_on"] for roll in product["rolls"]] == ["2026-11-20"]
    cost = 2 * 9.0 * 0.5
    assert product["value"] == pytest.approx(sum(roll["net"] for roll in product["rolls"]) - cost)
    assert product["value"] <= product["bound"] <= product["bound_anywhere"]


def test_lists_are_written_beside_the_record(ordered: Path, tmp_path: Path, run) -> None:
    """Each roll's list, sheet and JSON go to the folder, marked as not the recorded plan; the recorded list stays."""
    run("decide", ordered, ROLL)
    before = (ordered / "results" / ROLL / "cut.csv").read_bytes()
    code, _, err = run("orders", ordered, "--write", tmp_path / "lists")
    assert code == 0
    assert f"{ROLL}-orders.html" in err
    assert (ordered / "results" / ROLL / "cut.csv").read_bytes() == before
    rows = list(csv.DictReader((tmp_path / "lists" / f"{ROLL}-orders.csv").read_text(encoding="utf-8").splitlines()))
    assert {row["status"] for row in rows} == {"what-if: not the recorded plan"}
    assert sum(float(row["length_m"]) == 0.5 and float(row["value"]) == 2.0 for row in rows) == 3
    assert "WHAT-IF" in (tmp_path / "lists" / f"{ROLL}-orders.html").read_text(encoding="utf-8")
    assert json.loads((tmp_path / "lists" / f"{ROLL}-orders.json").read_text(encoding="utf-8"))["what_if"] is True


def test_without_an_order_for_the_product_nothing_is_planned(decided_plant: Path, run) -> None:
    """A plant whose orders are of other products ends with 3, naming the file and the products of the rolls."""
    code, out, err = run("orders", decided_plant)
    assert (code, out) == (3, "")
    assert "orders.toml" in err
    assert "sheet-100" in err


def test_without_a_decided_roll_nothing_is_planned(plant: Path, run) -> None:
    """Without names the rolls are those decided; where there are none, exit code 3 says what to do."""
    code, out, err = run("orders", plant)
    assert (code, out) == (3, "")
    assert "wideroll decide" in err


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('width = "35 mm"', 'width = "70 mm"', "order O-1: width"),
        ('"O-2"', '"O-1"', "given once"),
        ("due = 2026-11-10", 'due = "10.11.2026"', "due"),
        ("quantity = 3", "quantity = 0", "quantity"),
    ],
)
def test_a_fault_in_the_book_is_named(ordered: Path, run, old: str, new: str, says: str) -> None:
    """A width the product hasn't, a number twice, a day that is none: exit code 3, with file and order or field."""
    path = ordered / "orders.toml"
    path.write_text(path.read_text(encoding="utf-8").replace(old, new, 1), encoding="utf-8")
    code, out, err = run("orders", ordered)
    assert (code, out) == (3, "")
    assert says in err
    assert "orders.toml" in err


def test_a_roll_that_is_not_there_is_named(ordered: Path, run) -> None:
    """An unknown roll ends with 3 and is named."""
    code, _, err = run("orders", ordered, "T-9")
    assert code == 3
    assert "T-9" in err


def _book_list(plant: Path) -> list[dict[str, str]]:
    return list(csv.DictReader((plant / "results" / ROLL / "cut.csv").read_text(encoding="utf-8").splitlines()))


def _acts(plant: Path) -> list[tuple[str, str]]:
    with RecordStore(f"sqlite:///{plant / 'wideroll.db'}") as record:
        assert record.verify().intact
        return [(event.act, event.who) for event in record.events()]


def _record(plant: Path, run, who: str = "A. Planner") -> None:
    code, _, err = run("orders", plant, ROLL, "--record", "--who", who)
    assert code == 0
    assert f"{ROLL}: recorded" in err


def test_the_books_list_becomes_the_recorded_one(ordered: Path, run) -> None:
    """With --record the roll's list is the book's, released, with the order of each finished roll, by the one named."""
    before = len(_acts(ordered))
    _record(ordered, run)
    rows = _book_list(ordered)
    assert {row["status"] for row in rows} == {"released"}
    assert [sum(row["order"] == number for row in rows) for number in ("O-1", "O-2", "O-3")] == [3, 0, 2]
    made = json.loads((ordered / "results" / ROLL / "cut.json").read_text(encoding="utf-8"))
    assert (made["what_if"], made["of_book"], made["bound"]) == (False, True, None)
    assert "WHAT-IF" not in (ordered / "results" / ROLL / "cut.html").read_text(encoding="utf-8")
    # giving it a day made the first decision stale: it is made anew before
    assert _acts(ordered)[before:] == [(act, "A. Planner") for act in ("take-in", "decision", "cut")]
    code, out, err = run("cut", ordered, ROLL)
    assert code == 0
    assert "Planned for the order book, recorded by A. Planner" in out
    assert "order O-1: 3 of 3 rolls of 35 mm × 0.50 m from this roll" in out
    assert "anew" not in err
    code, out, _ = run("cut", ordered, ROLL, "--json")
    assert json.loads(out) == made
    assert "Nothing was stale" in run("decide", ordered, ROLL)[2]
    assert run("decide", ordered, ROLL, "--explain")[0] == 0


def test_what_is_recorded_just_so_is_not_recorded_again(ordered: Path, run) -> None:
    """A second --record of the same book adds nothing to the record and changes no file."""
    _record(ordered, run)
    acts, rows = _acts(ordered), _book_list(ordered)
    _record(ordered, run, who="B. Planner")
    assert (_acts(ordered), _book_list(ordered)) == (acts, rows)


def test_a_changed_list_is_not_slit_by(ordered: Path, run) -> None:
    """A file that isn't the book's as recorded gives way to the roll's own cut, which is recorded; so it stays."""
    _record(ordered, run)
    path = ordered / "results" / ROLL / "cut.csv"
    path.write_text("changed", encoding="utf-8")
    code, _, err = run("cut", ordered, ROLL, "--who", "B. Planner")
    assert code == 0
    assert "cut.csv isn't the file that event" in err
    assert "for the order book (event" in err
    assert "order" in _book_list(ordered)[0]
    assert {row["order"] for row in _book_list(ordered)} == {""}
    assert _acts(ordered)[-2:] == [("cut", "A. Planner"), ("decision", "B. Planner")]
    assert "anew" not in run("cut", ordered, ROLL)[2]
    _record(ordered, run)
    assert "O-1" in {row["order"] for row in _book_list(ordered)}


def test_a_new_decision_takes_the_place_of_the_books_list(ordered: Path, run) -> None:
    """When what the decision rests on changes, the list goes with the old decision, and that is told."""
    _record(ordered, run)
    sightings = ordered / "rolls" / ROLL / "examination" / "sightings.csv"
    sightings.write_text(sightings.read_text(encoding="utf-8").replace("0.4 mm", "0.5 mm"), encoding="utf-8")
    code, out, err = run("cut", ordered, ROLL)
    assert code == 0
    assert "no longer stands" in err
    assert "Planned for the order book" not in out
    assert {row["order"] for row in _book_list(ordered)} == {""}


def test_orders_that_changed_after_the_record_are_told(ordered: Path, run) -> None:
    """The recorded list stays as it was, but whoever looks at it is told."""
    _record(ordered, run)
    path = ordered / "orders.toml"
    path.write_text(path.read_text(encoding="utf-8").replace("quantity = 3", "quantity = 4"), encoding="utf-8")
    rows = _book_list(ordered)
    code, _, err = run("cut", ordered, ROLL)
    assert code == 0
    assert "orders.toml has changed since" in err
    assert _book_list(ordered) == rows


def test_nothing_half_written_counts(ordered: Path, run, monkeypatch: pytest.MonkeyPatch) -> None:
    """Were the work stopped between files and record, the next command has the roll's own list in their place."""
    run("decide", ordered, ROLL, "--who", "A. Planner")
    acts, own = _acts(ordered), _book_list(ordered)

    def stop(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("wideroll.acts.order_lists.record_cuts", stop)
    run("orders", ordered, ROLL, "--record", "--who", "A. Planner")
    monkeypatch.undo()
    assert _book_list(ordered) != own
    assert run("cut", ordered, ROLL)[0] == 0
    assert (_acts(ordered), _book_list(ordered)) == (acts, own)


@pytest.mark.parametrize("act", ["decision", "cut"])
def test_of_two_who_record_the_first_wins_and_the_other_is_told(
    ordered: Path, run, monkeypatch: pytest.MonkeyPatch, act: str
) -> None:
    """Somebody decides or records a cut while another plans: nothing of the other's is written, with exit code 3."""
    run("decide", ordered, ROLL, "--who", "A. Planner")
    before = _results(ordered)

    def meanwhile(*words: object, **named: object) -> object:
        with RecordStore(f"sqlite:///{ordered / 'wideroll.db'}") as record:
            record.append(act, "A. First", "2026-03-01T08:00:00Z", "0.1.0", {"roll": ROLL})
        return plan_book(*words, **named)

    monkeypatch.setattr("wideroll.acts.ordering.plan_book", meanwhile)
    code, _, err = run("orders", ordered, ROLL, "--record", "--who", "B. Planner")
    assert code == 3
    assert f"roll {ROLL}: A. First was first: event" in " ".join(err.split())
    assert _acts(ordered)[-1] == (act, "A. First")
    assert _results(ordered) == before


def test_a_decision_on_other_inputs_while_another_plans_is_told(
    ordered: Path, run, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Were the roll decided anew on other evidence meanwhile, that is said, and the new decision and list stay."""
    run("decide", ordered, ROLL, "--who", "A. Planner")
    sightings = ordered / "rolls" / ROLL / "examination" / "sightings.csv"

    def meanwhile(*words: object, **named: object) -> object:
        sightings.write_text(sightings.read_text(encoding="utf-8").replace("0.4 mm", "0.5 mm"), encoding="utf-8")
        main(["decide", str(ordered), ROLL, "--who", "A. First"])
        return plan_book(*words, **named)

    monkeypatch.setattr("wideroll.acts.ordering.plan_book", meanwhile)
    code, _, err = run("orders", ordered, ROLL, "--record", "--who", "B. Planner")
    assert code == 3
    assert "A. First was first: event" in " ".join(err.split())
    assert _acts(ordered)[-1] == ("decision", "A. First")
    assert {row["order"] for row in _book_list(ordered)} == {""}
    monkeypatch.undo()
    assert run("record", "verify", ordered)[0] == 0
    _record(ordered, run, who="B. Planner")
    assert _acts(ordered)[-1] == ("cut", "B. Planner")
    assert run("record", "verify", ordered)[0] == 0


def _results(plant: Path) -> dict[str, bytes]:
    """What a decision or a cut made: all but the locks and the hashes remembered of inputs."""
    files = sorted(path for path in (plant / "results" / ROLL).rglob("*") if path.is_file())
    return {str(path): path.read_bytes() for path in files if path.suffix != ".lock" and path.name != "inputs.json"}


def test_a_roll_on_hold_gets_no_list_of_the_book(ordered: Path, run) -> None:
    """A roll on hold may not be slit: nothing is recorded, exit code 10, as of cut."""
    shutil.rmtree(ordered / "rolls" / ROLL / "strips")
    code, _, _ = run("decide", ordered, ROLL)
    assert code == 10
    acts, rows = _acts(ordered), _book_list(ordered)
    code, out, err = run("orders", ordered, ROLL, "--record", "--who", "A. Planner")
    assert (code, out) == (10, "")
    assert f"On hold: {ROLL}. Nothing is recorded" in err
    assert (_acts(ordered), _book_list(ordered)) == (acts, rows)


def test_a_roll_never_decided_gets_no_list_of_the_book(plant: Path, run) -> None:
    """Nobody has seen its verdict: exit code 3, and nothing is decided on the way."""
    (plant / "orders.toml").write_text(ORDERS, encoding="utf-8")
    code, out, err = run("orders", plant, ROLL, "--record", "--who", "A. Planner")
    assert (code, out) == (3, "")
    assert f"roll {ROLL}: a roll must have been decided" in err
    assert not (plant / "results" / ROLL / "decision.json").exists()


def test_lists_to_look_at_and_lists_to_slit_by_do_not_mix(ordered: Path, tmp_path: Path, run) -> None:
    """--write goes without --record: wrong use, exit code 2."""
    code, _, err = run("orders", ordered, "--record", "--write", tmp_path / "lists")
    assert code == 2
    assert "goes without --record" in err
    assert not (tmp_path / "lists").exists()


def test_a_product_that_no_roll_is_of_is_named(ordered: Path, run) -> None:
    """Where the file's orders are of another product, both products are named."""
    path = ordered / "orders.toml"
    path.write_text(path.read_text(encoding="utf-8").replace("sheet-100", "shet-100"), encoding="utf-8")
    code, out, err = run("orders", ordered)
    assert (code, out) == (3, "")
    assert "a product of the rolls: sheet-100" in " ".join(err.split())
    assert "orders for shet-100" in " ".join(err.split())


def test_cut_refuses_an_order_of_a_width_the_product_has_not(ordered: Path, run) -> None:
    """Not "0 of 3 rolls", but the order and the widths there are: exit code 3."""
    path = ordered / "orders.toml"
    path.write_text(path.read_text(encoding="utf-8").replace('"35 mm"', '"8 mm"', 1), encoding="utf-8")
    code, out, err = run("cut", ordered, ROLL)
    assert (code, out) == (3, "")
    assert "order O-1: width: must be one of 35 mm" in err
    assert "orders.toml" in err
