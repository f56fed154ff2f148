"""What finishing needs, read from orders.toml."""

import math
from pathlib import Path

import pytest

from wideroll.errors import InputError
from wideroll.readers.order_files import read_book_terms, read_orders
from wideroll.slitting import BookTerms

GOOD = """\
[[orders]]
number = "O-1"
product = "film"
width = "35 mm"
length = "100 ft"
quantity = 12
"""


def test_orders_are_read_in_their_sequence(tmp_path: Path) -> None:
    """Each order keeps its number, width, exact length and quantity, in the sequence of the file."""
    path = tmp_path / "orders.toml"
    path.write_text(GOOD + GOOD.replace("O-1", "O-2"), encoding="utf-8")
    first, second = read_orders(path)
    assert (first.number, second.number) == ("O-1", "O-2")
    assert (first.width, first.length_m, first.quantity) == ("35 mm", 30.48, 12)


def test_no_file_means_no_orders(tmp_path: Path) -> None:
    """A plant without orders.toml has no orders."""
    assert read_orders(tmp_path / "orders.toml") == ()


def test_due_day_and_value_arrive(tmp_path: Path) -> None:
    """A day may be a TOML date or text; without them any day will do, and the value is the product's to say."""
    path = tmp_path / "orders.toml"
    path.write_text(GOOD + GOOD.replace("O-1", "O-2") + "due = 2026-12-10\nvalue = 12.5\n", encoding="utf-8")
    plain, told = read_orders(path)
    assert (plain.due, math.isnan(plain.value)) == ("", True)
    assert (told.due, told.value) == ("2026-12-10", 12.5)


def test_terms_of_the_book_arrive(tmp_path: Path) -> None:
    """What failing an order costs is read; what isn't said, or without a file, is as usual."""
    path = tmp_path / "orders.toml"
    assert read_book_terms(path) == BookTerms()
    path.write_text(f"[book]\nlate_share = 0.3\nseconds = 5\n\n{GOOD}", encoding="utf-8")
    assert read_book_terms(path) == BookTerms(late_share=0.3, seconds=5.0)


def test_two_orders_of_one_number_are_refused(tmp_path: Path) -> None:
    """A finished roll is told by the number of its order, so that none is given twice."""
    path = tmp_path / "orders.toml"
    path.write_text(GOOD + GOOD, encoding="utf-8")
    with pytest.raises(InputError, match=r"orders\.toml.*given once.*O-1"):
        read_orders(path)


@pytest.mark.parametrize(
    ("old", "new", "field"),
    [
        ("quantity = 12", "quantity = 12\ndue = 12", "due"),
        ("quantity = 12", 'quantity = 12\ndue = "2026-02-30"', "due"),
        ("quantity = 12", "quantity = 12\nvalue = -1", "value"),
        ("[[orders]]", "[book]\nlate_share = -0.1\n[[orders]]", "book.late_share"),
        ("[[orders]]", "[book]\nseconds = 0\n[[orders]]", "book.seconds"),
        ("quantity = 12", "quantity = 0", "quantity"),
        ("quantity = 12", 'quantity = "many"', "quantity"),
        ('length = "100 ft"', 'length = "0 m"', "length"),
        ('length = "100 ft"', "length = 100", "length"),
        ('product = "film"', "", "product"),
        ("number", "nummer", "nummer"),
    ],
)
def test_a_fault_in_an_order_is_named(tmp_path: Path, old: str, new: str, field: str) -> None:
    """File and field are named, with rule and mend."""
    path = tmp_path / "orders.toml"
    path.write_text(GOOD.replace(old, new), encoding="utf-8")
    with pytest.raises(InputError) as caught:
        read_orders(path)
    assert "orders.toml" in caught.value.where
    assert field in str(caught.value)
    assert caught.value.mend
