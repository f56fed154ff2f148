"""Options that pick rolls of a plant's history: by product, line and days."""

from typing import Annotated

import typer

from wideroll.errors import ArgumentError
from wideroll.readers.days import iso_day

__all__ = ["FirstDay", "LastDay", "Line", "ProductName"]


def _day(text: str) -> str:
    try:
        return iso_day(text)
    except ArgumentError as error:
        told = f"{error.rule}, got {text}. {error.mend}"
        raise typer.BadParameter(told) from error


ProductName = Annotated[str | None, typer.Option("--product", metavar="NAME", help="Only rolls of this product.")]
Line = Annotated[str | None, typer.Option("--line", metavar="LINE", help="Only rolls coated on this line.")]
FirstDay = Annotated[
    str | None, typer.Option("--from", parser=_day, metavar="DAY", help="Only rolls coated on this day or later.")
]
LastDay = Annotated[
    str | None, typer.Option("--to", parser=_day, metavar="DAY", help="Only rolls coated on this day or earlier.")
]
