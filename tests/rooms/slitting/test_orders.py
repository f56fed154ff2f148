"""What a plan gives of the orders."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wideroll.errors import ArgumentError
from wideroll.roll import Extent
from wideroll.slitting import (
    ByLength,
    ByMetre,
    CutRules,
    FinishedLength,
    Order,
    SlitWidth,
    check_orders,
    fill_orders,
    plan_cut,
)

WIDTHS = [
    SlitWidth(name="wide", width_mm=35.0, tolerance_mm=0.1, finish=ByMetre(value_per_m=1.0)),
    SlitWidth(name="narrow", width_mm=16.0, tolerance_mm=0.1, finish=ByMetre(value_per_m=0.4)),
]


def _plan(length_m: float = 10.0):
    """A web that holds two wide lanes and a narrow one."""
    web = Extent(along_from_m=0.0, along_to_m=length_m, across_from_mm=0.0, across_to_mm=103.0)
    return plan_cut(web, avoid=[], widths=WIDTHS, rules=CutRules(least_piece_m=1.0))


def _order(width: str, length_m: float, quantity: int) -> Order:
    return Order(number=f"{width}-{length_m}", product="p", width=width, length_m=length_m, quantity=quantity)


def test_whole_lengths_are_counted():
    """Two lanes of ten metres give six rolls of three metres, no more than are wanted, none of another width."""
    wide, narrow, none = fill_orders(_plan(), [_order("wide", 3.0, 99), _order("narrow", 5.0, 1), _order("70", 1.0, 1)])
    assert (wide.filled, wide.short) == (6, 93)
    assert (narrow.filled, narrow.short) == (1, 0)
    assert (none.filled, none.short) == (0, 1)


def test_what_is_left_serves_the_next_order():
    """The metre left of each wide lane serves a later order of one metre."""
    first, second = fill_orders(_plan(), [_order("wide", 3.0, 99), _order("wide", 1.0, 99)])
    assert (first.filled, second.filled) == (6, 2)


def test_rolls_of_fixed_length_fill_orders_of_that_length():
    """Rolls of five metres fill an order for five metres, and none for two and a half."""
    film = SlitWidth(
        name="wide",
        width_mm=35.0,
        tolerance_mm=0.1,
        finish=ByLength(lengths=(FinishedLength(length_m=5.0, value=1.0),)),
    )
    web = Extent(along_from_m=0.0, along_to_m=10.0, across_from_mm=0.0, across_to_mm=103.0)
    plan = plan_cut(web, avoid=[], widths=[film])
    half, whole = fill_orders(plan, [_order("wide", 2.5, 9), _order("wide", 5.0, 9)])
    assert (half.filled, whole.filled) == (0, 4)


def test_a_plan_of_the_order_book_gives_each_roll_to_the_order_it_names():
    """What stands for another order fills none, though it is of its width and length."""
    plan = _plan()
    rolls = tuple(
        replace(roll, order="wide-10.0" if number == 0 else "other") for number, roll in enumerate(plan.rolls)
    )
    (fill,) = fill_orders(replace(plan, of_book=True, rolls=rolls), [_order("wide", 10.0, 2)])
    assert (fill.filled, fill.short) == (1, 1)


@pytest.mark.parametrize(
    ("change", "words"),
    [({"width": "8"}, "order O-1: width: must be one of wide, narrow"), ({"due": "soon"}, "order O-1: due: must be a")],
)
def test_an_order_that_no_plan_could_serve_is_refused(change, words):
    """A width that the product hasn't, or a day that is none: the order is named, whatever the web is like."""
    order = replace(_order("wide", 3.0, 9), number="O-1", **change)
    check_orders([_order("narrow", 3.0, 9)], WIDTHS)
    with pytest.raises(ArgumentError, match=words):
        check_orders([_order("narrow", 3.0, 9), order], WIDTHS)


@settings(max_examples=40, deadline=None)
@given(
    wanted=st.lists(st.tuples(st.sampled_from(["wide", "narrow"]), st.integers(1, 40), st.integers(1, 9)), max_size=5)
)
def test_no_more_film_is_given_than_there_is(wanted):
    """Whatever is ordered, what is filled is at most what is wanted and what the pieces hold."""
    plan = _plan()
    fills = fill_orders(plan, [_order(width, decimetres / 10, quantity) for width, decimetres, quantity in wanted])
    for width in ("wide", "narrow"):
        given_m = sum(fill.filled * fill.order.length_m for fill in fills if fill.order.width == width)
        held_m = sum(piece.extent.length_m for piece in plan.pieces if piece.width == width)
        assert given_m <= held_m + 1e-6
    assert all(0 <= fill.filled <= fill.order.quantity for fill in fills)


@pytest.mark.parametrize(("length_m", "quantity"), [(0.0, 1), (1.0, 0), (-1.0, 1)])
def test_an_impossible_order_is_refused(length_m, quantity):
    """An order without length or quantity is named."""
    with pytest.raises(ArgumentError, match="greater than 0"):
        fill_orders(_plan(), [_order("wide", length_m, quantity)])
