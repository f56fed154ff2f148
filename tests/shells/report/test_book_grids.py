"""The order book in tables, a sentence and JSON."""

from dataclasses import replace

import pytest

from wideroll.report.book_grids import book_json, book_sentence, fill_words, fills_grid, rolls_grid, short_words
from wideroll.report.cut_head import INCHES
from wideroll.roll import Extent
from wideroll.slitting import (
    BookTerms,
    ByLength,
    ByMetre,
    CutRules,
    FinishedLength,
    Order,
    ShortReason,
    SlitWidth,
    WideRoll,
    fill_orders,
    plan_book,
    plan_cut,
)

FILM = SlitWidth(
    name="50", width_mm=50.0, tolerance_mm=0.1, finish=ByLength(lengths=(FinishedLength(length_m=30.0, value=30.0),))
)


@pytest.fixture(scope="module")
def book():
    """Two rolls of six finished rolls each; nine are wanted by a day before the second, and two too long for either."""
    web = Extent(along_from_m=0.0, along_to_m=90.0, across_from_mm=0.0, across_to_mm=100.0)
    orders = [
        Order(number="O-1", product="p", width="50", length_m=30.0, quantity=9, due="2026-12-02", value=40.0),
        Order(number="O-2", product="p", width="50", length_m=120.0, quantity=2, value=60.0),
    ]
    rolls = [WideRoll(name="W-1", whole=web, day="2026-12-01"), WideRoll(name="W-2", whole=web, day="2026-12-04")]
    return plan_book(rolls, orders, widths=[FILM], rules=CutRules(edge_trim_mm=0.0), terms=BookTerms(gap=0.0))


def _texts(grid):
    return [[cell.text for cell in row] for row in grid.rows]


def test_each_order_has_a_row_and_a_short_one_a_line(book):
    """In time, late and short stand beside what is wanted; beneath, why an order stays short."""
    grid = fills_grid(book)
    first, second = _texts(grid)
    assert [text.strip() for text in first[4:8]] == ["9", "6", "3", "0"]
    assert first[8] == "6 of W-1; 3 of W-2"
    assert second[3] == "any day"
    assert second[8] == "nothing"
    assert grid.foot == ("Order O-2, 2 of 2 short: no clean stretch is long enough for one; at most 0 for it alone.",)


def test_lengths_stand_in_the_shops_units(book):
    """In a shop of feet and inches the head says ft and 30 m is 98.4 ft."""
    grid = fills_grid(book, INCHES)
    assert grid.columns[2].head == "length, ft"
    assert _texts(grid)[0][2].startswith("98.4")


def test_each_roll_has_a_row(book):
    """A roll's row says when it is slit, how many finished rolls it gives and of which width."""
    first, second = _texts(rolls_grid(book, {"W-1": "2026-12-01"}))
    assert first[:3] == ["W-1", "2026-12-01", "6"]
    assert first[4].strip() == "100 %"
    assert second[1] == "any day"
    assert second[6] == "6 of 50 × 30.00 m"


def test_lengths_and_bulk_film_stand_apart():
    """Rolls of one width are told by their lengths; bulk film that no order named a length for by its metres."""
    web = Extent(along_from_m=0.0, along_to_m=90.0, across_from_mm=0.0, across_to_mm=100.0)
    bulk = SlitWidth(name="50", width_mm=50.0, tolerance_mm=0.1, finish=ByMetre(value_per_m=1.0))
    orders = [
        Order(number="O-1", product="p", width="50", length_m=40.0, quantity=2, value=60.0),
        Order(number="O-2", product="p", width="50", length_m=30.0, quantity=2, value=40.0),
    ]
    rolls = [WideRoll(name="W-1", whole=web)]
    made = plan_book(rolls, orders, widths=[bulk], rules=CutRules(edge_trim_mm=0.0), terms=BookTerms(gap=0.0))
    ((*_, each),) = _texts(rolls_grid(made, {}))
    assert each == "2 of 50 × 40.00 m; 2 of 50 × 30.00 m; 2 of 50 in bulk, 40.00 m"
    plan = made.plans[0][1]
    assert [fill_words(fill, plan) for fill in fill_orders(plan, orders[:1])] == [
        "order O-1: 2 of 2 rolls of 50 × 40.00 m from this roll"
    ]
    alone = plan_cut(web, avoid=[], widths=[bulk], rules=CutRules(edge_trim_mm=0.0))
    assert [fill_words(fill, alone) for fill in fill_orders(alone, orders[:1])] == [
        "order O-1: 2 of 2 rolls of 50 × 40.00 m could be cut from the bulk film of this list; 0 still wanted"
    ]


def test_what_a_list_of_fixed_lengths_gives_of_an_order(book):
    """Rolls that are cut to an order's length stand in the list: nothing more needs cutting."""
    plan = plan_cut(book.plans[0][1].whole, avoid=[], widths=[FILM], rules=CutRules(edge_trim_mm=0.0))
    (fill,) = fill_orders(plan, [book.fills[0].order])
    assert fill_words(fill, plan) == "order O-1: 6 of 9 rolls of 50 × 30.00 m in this list; 3 still wanted"


@pytest.mark.parametrize("reason", ShortReason)
def test_every_reason_has_words(book, reason):
    """Each reason is told in words of its own, with the most that could be made."""
    fill = replace(book.fills[1], reason=reason, most=7)
    assert short_words(fill).endswith("; at most 7 for it alone")
    assert len({short_words(replace(fill, reason=one)) for one in ShortReason}) == len(ShortReason)


def test_film_that_went_elsewhere_is_no_contradiction(book):
    """Where more could have been made for an order alone than was, its reason doesn't say that there is no more."""
    fill = replace(book.fills[0], reason=ShortReason.NO_FILM, most=76, rolls=book.fills[0].rolls[:6])
    words = "all rolls together hold too few, and the film of 70 goes elsewhere; at most 76 for it alone"
    assert short_words(fill) == words
    assert short_words(replace(fill, most=6)) == "all rolls together hold no more; at most 6 for it alone"


def test_the_sentence_tells_value_proof_and_surplus(book):
    """Value, that no cut can earn more or how much at most, and what is over; a search cut short says so."""
    said = "The film earns 375.0, short orders cost 60.0: the book is worth 315.0; with this knife step"
    assert book_sentence(book).startswith(said)
    assert "no cut can earn more. Beyond the orders: 3 of 50 × 30.00 m." in book_sentence(book)
    loose = replace(book, bound=book.bound + 20.0, timed_out=True)
    assert (
        "could earn 5.1 % more at most, which is more than the 0 % asked for, when the time was up."
        in book_sentence(loose)
    )
    asked = replace(loose, terms=BookTerms(gap=0.06), fills=book.fills[:1])
    assert book_sentence(asked).startswith("The film earns 375.0, no order is short; ")
    assert "5.1 % more at most, when" in book_sentence(asked)


def test_the_document_adds_up(book):
    """JSON has every order and roll; what is filled, short and over is what the plans hold."""
    made = book_json(book, {"W-1": "2026-12-01"}, ["W-2"])
    assert [roll["provisional"] for roll in made["rolls"]] == [False, True]
    assert [roll["slit_on"] for roll in made["rolls"]] == ["2026-12-01", None]
    filled = sum(len(order["rolls"]) for order in made["orders"])
    assert filled + sum(over["quantity"] for over in made["over"]) == sum(r["finished_rolls"] for r in made["rolls"])
    assert made["orders"][1]["reason"] == "no-length"
    assert made["film"] - made["short_cost"] == pytest.approx(made["value"])
    assert made["gap_asked"] == 0.0
    assert made["value"] == pytest.approx(sum(roll["net"] for roll in made["rolls"]) - 2 * 60.0 * 0.5)
