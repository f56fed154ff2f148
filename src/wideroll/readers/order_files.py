"""What finishing needs: orders.toml."""

from pathlib import Path
from typing import Annotated

from pydantic import Field

from wideroll.readers.fields import FileModel, Name, PositiveMetres
from wideroll.readers.toml_files import placed, read_toml
from wideroll.slitting import Order

__all__ = ["OrderTable", "OrdersFile", "read_orders"]


class OrderTable(FileModel):
    """``[[orders]]`` in orders.toml."""

    number: Name
    product: Name
    width: Name
    length: PositiveMetres
    quantity: Annotated[int, Field(ge=1)]

    def build(self) -> Order:
        """The order."""
        return Order(
            number=self.number,
            product=self.product,
            width=self.width,
            length_m=self.length,
            quantity=self.quantity,
        )


class OrdersFile(FileModel):
    """orders.toml."""

    orders: tuple[OrderTable, ...] = ()


def read_orders(path: Path) -> tuple[Order, ...]:
    """The orders in the sequence of the file; none when it isn't there.

    Raises:
        InputError: naming the field.
    """
    if not path.is_file():
        return ()
    with placed(path):
        return tuple(order.build() for order in read_toml(path, OrdersFile).orders)
