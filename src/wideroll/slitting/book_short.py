"""Why an order stays short, and the most that could be made of it were it the only one."""

from collections.abc import Sequence
from dataclasses import replace

from wideroll.slitting.book_layout import real_name
from wideroll.slitting.book_model import ShortReason
from wideroll.slitting.book_request import Book, Good
from wideroll.slitting.desk import CutDesk, best_knife_sets
from wideroll.slitting.model import ByLength, ByMetre, FinishedLength, SlitWidth, Spliced

__all__ = ["most_of", "reason_of"]


def reason_of(book: Book, desks: Sequence[CutDesk], order: int, most: int) -> ShortReason:
    """Why an order isn't filled, when ``most`` of its finished rolls could be made on all rolls together."""
    good, wanted = book.goods[book.good_of[order]], book.orders[order].quantity
    if not any(_fits(desk, good) for desk in desks):
        return ShortReason.NO_ROOM
    if most == 0:
        return ShortReason.NO_LENGTH
    if most < wanted:
        return ShortReason.NO_FILM
    if any(book.late[order]) and most_of(book, desks, order, in_time=True) < wanted:
        return ShortReason.TOO_LATE
    return ShortReason.OTHERS_FIRST


def most_of(book: Book, desks: Sequence[CutDesk], order: int, *, in_time: bool) -> int:
    """How many finished rolls of an order all rolls, or those slit in time, give when nothing else is cut."""
    good = book.goods[book.good_of[order]]
    return sum(
        len(kind.members) * _most_on(desk, good)
        for kind, desk in zip(book.classes, desks, strict=True)
        if not (in_time and book.late[order][kind.day])
    )


def _fits(desk: CutDesk, good: Good) -> bool:
    return any(
        real_name(width.name) == good.width and last >= 0
        for width, last in zip(desk.request.widths, desk.knives.lasts.tolist(), strict=True)
    )


def _most_on(desk: CutDesk, good: Good) -> int:
    rules = replace(desk.request.rules, value_per_minute=0.0)
    free = replace(desk, request=replace(desk.request, rules=rules))
    net = best_knife_sets(free.priced(tuple(_only(width, good) for width in desk.request.widths)))[0]
    return max(round(net), 0)


def _only(width: SlitWidth, good: Good) -> SlitWidth:
    """The width worth nothing but for one kind of finished roll, each worth 1."""
    if real_name(width.name) != good.width or isinstance(width.finish, Spliced) != good.spliced:
        return replace(width, finish=ByMetre(value_per_m=0.0))
    if isinstance(width.finish, Spliced):
        return replace(width, finish=replace(width.finish, value=1.0, loss_per_splice=0.0))
    return replace(width, finish=ByLength(lengths=(FinishedLength(length_m=good.length_m, value=1.0),)))
