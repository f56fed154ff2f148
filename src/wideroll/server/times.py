"""Moments as the clock on the plant's wall tells them; what is kept, and what programs are given, stays UTC."""

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import UTC, date, datetime, time, timedelta, tzinfo
from functools import partial
from typing import Any, Final

from jinja2 import pass_context
from jinja2.runtime import Context
from markupsafe import Markup

from wideroll.server.desk import Desk

__all__ = [
    "FILTERS",
    "day_words",
    "in_zone",
    "moment_words",
    "plant_days",
    "start_of_day_utc",
    "today_of",
    "zone_of",
]

_UTC_HEAD: Final = ", UTC"
"""Ends the head of a column, or the name of a fact, that holds moments of UTC."""
_MINUTES, _SECONDS = "%Y-%m-%d %H:%M", "%Y-%m-%d %H:%M:%S"
_shown: ContextVar[tzinfo] = ContextVar("zone of the page", default=UTC)


def zone_of(desk: Desk) -> tzinfo:
    """The plant's zone, as its desk.toml names it."""
    name = desk.settings.rules.zone
    if name == "UTC":
        return UTC
    from zoneinfo import ZoneInfo  # noqa: PLC0415  (most of what it loads is for plants elsewhere)

    return ZoneInfo(name)


def today_of(desk: Desk) -> date:
    """The day that it is in the plant."""
    return datetime.now(zone_of(desk)).date()


def moment_words(moment: str, zone: tzinfo, *, seconds: bool = False) -> str:
    """A moment in a zone, and the zone's name at that moment; what isn't a moment stays as it is.

    Args:
        moment: as ISO 8601 has it; UTC where it names no zone.
        zone: to show it in.
        seconds: whether they are shown.

    Example:
        >>> from zoneinfo import ZoneInfo
        >>> moment_words("2026-11-30T13:05:00+00:00", ZoneInfo("Europe/Berlin"))
        '2026-11-30 14:05 CET'
    """
    at = _read(moment, zone)
    return moment if at is None else f"{at:{_SECONDS if seconds else _MINUTES}} {_zone_name(at)}"


def day_words(moment: str, zone: tzinfo) -> str:
    """The day of a moment in a zone.

    Example:
        >>> from zoneinfo import ZoneInfo
        >>> day_words("2026-11-30T23:05:00+00:00", ZoneInfo("Europe/Berlin"))
        '2026-12-01'
    """
    at = _read(moment, zone)
    return moment[:10] if at is None else f"{at:%Y-%m-%d}"


def plant_days(desk: Desk) -> "partial[str]":
    """``day_words`` in the plant's zone, for what sets facts in words."""
    return partial(day_words, zone=zone_of(desk))


def start_of_day_utc(day: str, zone: tzinfo, *, after: int = 0) -> str:
    """The moment that a day of a zone begins, as the record writes it.

    Args:
        day: such as 2026-10-25.
        zone: that it is a day of.
        after: so many days later.

    Example:
        >>> start_of_day_utc("2026-10-25", UTC, after=1)
        '2026-10-26T00:00:00+00:00'
    """
    try:
        begins = datetime.combine(date.fromisoformat(day) + timedelta(days=after), time(), tzinfo=zone)
        return begins.astimezone(UTC).isoformat()
    except OverflowError:  # at the ends of the calendar, where no event is
        return day


@contextmanager
def in_zone(zone: tzinfo) -> Iterator[None]:
    """Within it, pages show moments in this zone."""
    token = _shown.set(zone)
    try:
        yield
    finally:
        _shown.reset(token)


@pass_context
def _moment(_: Context, moment: str, *, seconds: bool = False) -> str | Markup:
    return _tagged(moment, moment_words(moment, _shown.get(), seconds=seconds))


@pass_context
def _day(_: Context, moment: str) -> str | Markup:
    return _tagged(moment, day_words(moment, _shown.get()))


@pass_context
def _head(_: Context, head: str) -> str:
    """The same with the zone's name where it says UTC."""
    return f"{head.removesuffix(_UTC_HEAD)}, {_shown.get()}" if head.endswith(_UTC_HEAD) else head


@pass_context
def _below(_: Context, text: str, head: str) -> str | Markup:
    """A moment below such a head, as long as it is written; the name of the zone only in an hour that comes twice."""
    at = _read(text, _shown.get()) if head.endswith(_UTC_HEAD) else None
    if at is None:
        return text
    long = len(text.removesuffix(_UTC_HEAD[1:])) > len("2026-11-30 14:05")
    twice = at.utcoffset() != at.replace(fold=1 - at.fold).utcoffset()
    return _tagged(text, f"{at:{_SECONDS if long else _MINUTES}}{f' {_zone_name(at)}' if twice else ''}")


# Without the context a template would work out once for all what depends on the zone of the page.
FILTERS: Final[dict[str, Any]] = {"moment": _moment, "day": _day, "zone_head": _head, "moment_below": _below}
"""Of the templates, within ``in_zone``."""


def _tagged(moment: str, words: str) -> str | Markup:
    at = _read(moment, UTC)
    if at is None:
        return words
    return Markup('<time datetime="{}">{}</time>').format(at.isoformat(timespec="seconds"), words)


def _read(moment: str, zone: tzinfo) -> datetime | None:
    try:
        at = datetime.fromisoformat(moment.removesuffix(" UTC"))
        known = len(moment) > len("2026-11-30")
        return (at if at.tzinfo is not None else at.replace(tzinfo=UTC)).astimezone(zone) if known else None
    except (ValueError, OverflowError):
        return None


def _zone_name(at: datetime) -> str:
    """Its letters; where it has none the hours from UTC."""
    name = at.tzname() or ""
    return f"UTC{name}" if name[:1] in {"+", "-"} else name
