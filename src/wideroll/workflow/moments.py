"""Days and moments as files hold them, put on one scale so that rooms can order them."""

from datetime import date, datetime, time
from typing import Final

from wideroll.errors import ArgumentError
from wideroll.repeats import When

__all__ = ["when"]

_DAY_S: Final = 86400.0
_LENGTH_OF_A_DAY: Final = len("2026-11-20")


def when(text: str) -> When:
    """A day (2026-11-20) or a moment in the plant's own time (2026-11-20T14:30), in days since the calendar began.

    Raises:
        ArgumentError: when it is neither.

    Example:
        >>> day, noon = when("2026-11-20"), when("2026-11-20T12:00")
        >>> noon.earliest - day.earliest, day.latest - day.earliest, noon.latest - noon.earliest
        (0.5, 1.0, 0.0)
    """
    try:
        moment = datetime.fromisoformat(text)
    except ValueError as error:
        raise _neither(text) from error
    if moment.tzinfo is not None:
        raise _neither(text)
    start = float(date.toordinal(moment.date()))
    if len(text) == _LENGTH_OF_A_DAY:
        return When(text=text, earliest=start, latest=start + 1.0)
    seconds = (moment - datetime.combine(moment.date(), time.min)).total_seconds()
    return When(text=text, earliest=start + seconds / _DAY_S, latest=start + seconds / _DAY_S)


def _neither(text: str) -> ArgumentError:
    return ArgumentError(
        where="when",
        rule="must be a day, or a day and time of the plant without a zone",
        value=text,
        mend="Write 2026-11-20, or 2026-11-20T14:30.",
    )
