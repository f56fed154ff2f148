"""Textbook cutting-stock instances as order books: as many rolls as published fill them, one less don't."""

import csv
from pathlib import Path

import pytest

from wideroll.roll import Extent
from wideroll.slitting import BookTerms, ByLength, CutRules, FinishedLength, Order, SlitWidth, WideRoll, plan_book

_ROWS = list(csv.DictReader((Path(__file__).parent / "instances.csv").read_text().splitlines()))
_INSTANCES = {row["instance"]: (int(row["master_mm"]), int(row["optimum"])) for row in _ROWS}


def _book(instance, rolls):
    """Every finished roll is worth its width; the film of a master is one finished roll long."""
    wanted = [(int(row["width_mm"]), int(row["quantity"])) for row in _ROWS if row["instance"] == instance]
    whole = Extent(along_from_m=0.0, along_to_m=1.0, across_from_mm=0.0, across_to_mm=float(_INSTANCES[instance][0]))
    widths = [
        SlitWidth(
            name=f"{width}",
            width_mm=float(width),
            tolerance_mm=0.0,
            finish=ByLength(lengths=(FinishedLength(length_m=1.0, value=0.0),)),
        )
        for width, _ in wanted
    ]
    orders = [
        Order(number=f"{width}", product="p", width=f"{width}", length_m=1.0, quantity=quantity, value=float(width))
        for width, quantity in wanted
    ]
    return plan_book(
        [WideRoll(name=f"{number}", whole=whole) for number in range(rolls)],
        orders,
        widths=widths,
        rules=CutRules(edge_trim_mm=0.0, setup_m=1.0),
        terms=BookTerms(short_share=0.5, gap=0.0, seconds=20.0, rounds=400),
    ), sum(order.value * order.quantity for order in orders)


_SOLVED = ["paper-machine", "raws-of-100"]


@pytest.mark.parametrize("instance", _SOLVED)
def test_the_published_optimum_fills_every_order(instance):
    """With as many rolls as published every order is filled, and from each roll no more is cut than its width holds."""
    master_mm, optimum = _INSTANCES[instance]
    book, worth = _book(instance, optimum)
    assert [fill.short for fill in book.fills] == [0] * len(book.fills)
    assert book.value == pytest.approx(worth)
    assert all(sum(piece.extent.width_mm for piece in plan.pieces) <= master_mm + 1e-6 for _, plan in book.plans)


def test_the_hard_instance_is_nearly_solved():
    """With 48 rolls for 120 finished rolls of 56 widths, one at most stays short, well inside a gap of 1 %."""
    book, worth = _book("uniform-120-00", 48)
    assert sum(fill.short for fill in book.fills) <= 1
    assert book.gap < 0.01
    assert book.bound == pytest.approx(worth)


@pytest.mark.parametrize("instance", _INSTANCES)
def test_one_roll_less_does_not(instance):
    """With one roll less the proven bound stays below what all the orders are worth, so one must stay short."""
    book, worth = _book(instance, _INSTANCES[instance][1] - 1)
    assert book.bound < worth * (1.0 - 1e-6)
    assert book.value <= book.bound + 1e-6
    assert any(fill.short for fill in book.fills)
