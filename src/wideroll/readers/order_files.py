"""What finishing needs: orders.toml."""

import math
from pathlib import Path
from typing import Annotated, Final

from pydantic import Field, model_validator

from wideroll.readers.days import Day
from wideroll.readers.fields import FileModel, Name, Positive, PositiveMetres, each_once
from wideroll.readers.toml_files import placed, read_toml
from wideroll.slitting import BookTerms, Order

__all__ = ["BookTable", "OrderTable", "OrdersFile", "read_book_terms", "read_orders"]

_USUAL: Final = BookTerms()
_Some = Annotated[float, Field(ge=0, allow_inf_nan=False, strict=True)]


class OrderTable(FileModel):
    """``[[orders]]`` in orders.toml."""

    number: Name
    product: Name
    width: Name
    length: PositiveMetres
    quantity: Annotated[int, Field(ge=1)]
    due: Day | None = None
    value: _Some | None = None

    def build(self) -> Order:
        """The order."""
        return Order(
            number=self.number,
            product=self.product,
            width=self.width,
            length_m=self.length,
            quantity=self.quantity,
            due=self.due or "",
            value=math.nan if self.value is None else self.value,
        )


class BookTable(FileModel):
    """``[book]`` in orders.toml."""

    late_share: _Some = _USUAL.late_share
    short_share: _Some = _USUAL.short_share
    over_share: _Some = _USUAL.over_share
    gap: _Some = _USUAL.gap
    seconds: Positive = _USUAL.seconds

    def build(self) -> BookTerms:
        """The terms."""
        return BookTerms(
            late_share=self.late_share,
            short_share=self.short_share,
            over_share=self.over_share,
            gap=self.gap,
            seconds=self.seconds,
        )


class OrdersFile(FileModel):
    """orders.toml."""

    orders: tuple[OrderTable, ...] = ()
    book: BookTable = BookTable()

    @model_validator(mode="after")
    def _numbers_once(self) -> "OrdersFile":
        each_once("orders", (order.number for order in self.orders))
        return self


def read_orders(path: Path) -> tuple[Order, ...]:
    """The orders in the sequence of the file; none when it isn't there.

    Raises:
        InputError: naming the field.
    """
    if not path.is_file():
        return ()
    with placed(path):
        return tuple(order.build() for order in read_toml(path, OrdersFile).orders)


def read_book_terms(path: Path) -> BookTerms:
    """What failing an order costs, and how long to search; as usual when the file isn't there or says nothing.

    Raises:
        InputError: naming the field.
    """
    if not path.is_file():
        return _USUAL
    with placed(path):
        return read_toml(path, OrdersFile).book.build()
