"""Days as files hold them: a TOML date, or text such as 2026-11-20."""

import re
from collections.abc import Sequence
from datetime import date, datetime
from itertools import pairwise
from typing import Annotated, Final

from pydantic import BeforeValidator

from wideroll.errors import ArgumentError

__all__ = ["Day", "Moment", "days_in_order", "iso_day", "iso_moment"]

_MOMENT: Final = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}(T[0-9]{2}:[0-9]{2}(:[0-9]{2})?)?")
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


def iso_moment(value: object) -> str:
    """A day, or a day and time of the plant, as ISO 8601 text.

    Raises:
        ArgumentError: when it is neither; a time with a zone isn't the plant's own.

    Example:
        >>> iso_moment("2026-11-20"), iso_moment("2026-11-20T14:30"), iso_moment(datetime(2026, 11, 20, 14, 30))
        ('2026-11-20', '2026-11-20T14:30', '2026-11-20T14:30')
    """
    text = value.isoformat() if isinstance(value, date) else value
    if isinstance(text, str) and _MOMENT.fullmatch(text):
        try:
            datetime.fromisoformat(text)
        except ValueError:
            pass
        else:
            return text.removesuffix(":00") if text.count(":") > 1 else text
    raise ArgumentError(
        where="moment",
        rule="must be a day of the calendar, or such a day with a time of the plant",
        value=value,
        mend="Write 2026-11-20, or 2026-11-20T14:30.",
    )


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
Moment = Annotated[str, BeforeValidator(iso_moment)]
