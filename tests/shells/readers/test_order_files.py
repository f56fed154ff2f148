"""What finishing needs, read from orders.toml."""

from pathlib import Path

import pytest

from wideroll.errors import InputError
from wideroll.readers.order_files import read_orders

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


@pytest.mark.parametrize(
    ("old", "new", "field"),
    [
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
