"""What is asked of the rolls together, as it stands in an address."""

from typing import Final
from urllib.parse import urlencode

from pydantic import BaseModel, Field

from wideroll.errors import ArgumentError, InputError

__all__ = ["FIELDS", "KINDS", "RULES", "ChartAsked", "RollsAsked", "day"]

_LONGEST: Final = 200
KINDS: Final = ("individuals", "xbar", "ewma", "cusum", "u", "c", "records")
"""How a quantity may be charted."""
RULES: Final = ("western-electric", "nelson")
FIELDS: Final = {
    "--product": "product",
    "--line": "line",
    "--from": "from",
    "from": "from",
    "--to": "to",
    "what": "what",
    "--base": "base",
    "--freeze": "name",
    "base period": "name",
    "because": "because",
    "tolerance": "tolerance",
    "chart": "chart",
}
"""The field for a part of where an act says that something is wrong."""


class RollsAsked(BaseModel):
    """Which rolls; an empty text asks for all."""

    product: str = Field(default="", max_length=_LONGEST)
    line: str = Field(default="", max_length=_LONGEST)
    first_day: str = Field(default="", alias="from", max_length=40)
    last_day: str = Field(default="", alias="to", max_length=40)
    format: str = Field(default="", max_length=10)
    table: str = Field(default="", max_length=60)

    @property
    def query(self) -> str:
        """What is asked, for an address; how it is to be answered isn't in it."""
        asked = self.model_dump(by_alias=True, exclude={"format", "table"})
        return urlencode({name: value for name, value in asked.items() if value})

    @property
    def rolls_query(self) -> str:
        """Which rolls alone."""
        alone = self.model_dump(by_alias=True, include=set(RollsAsked.model_fields) - {"format", "table"})
        return urlencode({name: value for name, value in alone.items() if value})

    def picked(self) -> tuple[str | None, str | None, str | None, str | None]:
        """Product, line, first and last day; None for all.

        Raises:
            InputError: when a day can't be read.
        """
        first, last = day(self.first_day, "from"), day(self.last_day, "to")
        return self.product.strip() or None, self.line.strip() or None, first or None, last or None


class ChartAsked(RollsAsked):
    """Which chart of which rolls."""

    what: str = Field(default="", max_length=_LONGEST)
    chart: str = Field(default="", max_length=20)
    base: str = Field(default="", max_length=80)
    rules: str = Field(default="", max_length=20)


def day(text: str, where: str) -> str:
    """A day as it is typed; empty where nothing is.

    Raises:
        InputError: when it is none.
    """
    from wideroll.readers.days import iso_day  # noqa: PLC0415  (the readers load slowly)

    try:
        return iso_day(text.strip()) if text.strip() else ""
    except ArgumentError as error:
        raise InputError(where=where, rule=error.rule, value=text, mend="Write it like 2026-11-20.") from error
