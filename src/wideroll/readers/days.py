"""Days as files hold them: a TOML date, or text such as 2026-11-20."""

from collections.abc import Sequence
from datetime import date, datetime
from itertools import pairwise
from typing import Annotated, Final

from pydantic import BeforeValidator

from wideroll.errors import ArgumentError

__all__ = ["Day", "days_in_order", "iso_day"]

_MEND: Final = "Write year, month and day, such as 2026-11-20."


def iso_day(value: object) -> str:
    """The day as ISO 8601 text.

    Raises:
        ArgumentError: when it is no day of the calendar; a number or a time of day isn't one.

    Example:
        >>> iso_day("2026-11-20"), iso_day(date(2026, 11, 20))
        ('2026-11-20', '2026-11-20')
    """
    if isinstance(value, date) and not isinstance(value, datetime):
        return value.isoformat()
    if isinstance(value, str) and len(value) == len("2026-11-20"):
        try:
            return date.fromisoformat(value).isoformat()
        except ValueError:
            pass
    raise ArgumentError(where="day", rule="must be a day of the calendar", value=value, mend=_MEND)


def days_in_order(where: str, days: Sequence[str]) -> None:
    """Refuse calibrations that don't ascend by their days, or two of one day.

    Raises:
        ArgumentError: naming the day.

    Example:
        >>> days_in_order("gauge G-1", ["2026-01-10", "2026-07-10"])
    """
    for before, after in pairwise(days):
        if not after > before:
            raise ArgumentError(
                where=f"{where}, calibrations",
                rule=f"each is made after the one above it ({before})",
                value=after,
                mend="Put the calibrations in the order of their days, each once.",
            )


Day = Annotated[str, BeforeValidator(iso_day)]
