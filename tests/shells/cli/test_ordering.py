"""The order book from a terminal."""

import csv
import json
from pathlib import Path

import pytest

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
