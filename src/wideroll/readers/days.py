"""Days as files hold them: a TOML date, or text such as 2026-11-20."""

from datetime import date, datetime
from typing import Annotated, Final

from pydantic import BeforeValidator

from wideroll.errors import ArgumentError

__all__ = ["Day", "iso_day"]

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


Day = Annotated[str, BeforeValidator(iso_day)]
