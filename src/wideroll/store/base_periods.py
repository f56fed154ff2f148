"""Named base periods of a plant: a small file each, which the record names and nothing changes."""

import re
from collections.abc import Mapping
from pathlib import Path
from typing import Final

from wideroll.errors import InputError, RecordError
from wideroll.record import Event, Json, digest
from wideroll.store.acts import BASE_PERIOD
from wideroll.store.files import json_bytes, read_bytes, read_json, write_whole
from wideroll.store.plain import from_plain, to_plain
from wideroll.store.record_db import RecordStore
from wideroll.store.watch_lock import one_at_a_time
from wideroll.workflow.control_model import BaseLimits

__all__ = ["check_base_name", "load_base", "newest_base", "recorded_bases", "save_base"]

_FOLDER: Final = "base-periods"
_SCHEMA: Final = "wideroll/base-period/1"
_NAME: Final = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,59}")


def check_base_name(name: str) -> None:
    """Refuse a name that can't be that of a file.

    Raises:
        InputError: when it has other signs than letters, digits, dots, dashes and underscores, or is too long.

    Example:
        >>> check_base_name("spring-2026")
    """
    if not _NAME.fullmatch(name):
        raise InputError(
            where="--freeze",
            rule="a base period's name has at most 60 letters, digits, dots, dashes and underscores",
            value=name,
            mend="Write such as spring-2026.",
        )


def recorded_bases(record: RecordStore | None) -> dict[str, Event]:
    """The base periods that the record knows, by name, in the order they were frozen.

    Raises:
        RecordError: at an event that can't be read.
    """
    if record is None:
        return {}
    return {str(event.body.get("base")): event for event in record.of_act(BASE_PERIOD)}


def save_base(root: Path, record: RecordStore, base: BaseLimits, *, version: str) -> Event:
    """Keep a base period, and tell the record of it; the file comes first, and counts only once the record names it.

    Args:
        root: the plant's folder.
        record: held to be sound.
        base: to be kept.
        version: of the software.

    Raises:
        InputError: when the record has one of that name, or the disk refuses.
    """
    check_base_name(base.name)
    name = f"{_FOLDER}/{base.name}.json"
    data = json_bytes({"schema": _SCHEMA, **to_plain(base)})
    with one_at_a_time(root / _FOLDER):
        known = recorded_bases(record).get(base.name)
        if known is not None:
            raise InputError(
                where=f"base period {base.name}",
                rule=f"is frozen for good: {known.who} did so at {known.when_utc} (event {known.number})",
                mend="Give another name.",
            )
        write_whole(root / name, data)
        body: dict[str, Json] = {
            "base": base.name,
            "product": base.product,
            "line": base.line,
            "first_day": base.first_day,
            "last_day": base.last_day,
            "rolls": len(base.rolls),
            "because": base.because,
            "files": {name: digest(data)},
        }
        return record.append(BASE_PERIOD, base.who, base.when_utc, version, body)


def load_base(root: Path, name: str, recorded: Mapping[str, Event]) -> BaseLimits:
    """A base period as it was frozen.

    Args:
        root: the plant's folder.
        name: of it.
        recorded: as ``recorded_bases``.

    Raises:
        InputError: when the record knows none of that name, or the file isn't there.
        RecordError: when the file isn't the one that the record names.
    """
    event = recorded.get(name)
    if event is None:
        raise InputError(
            where="--base",
            rule=f"must be one of the base periods on record: {', '.join(recorded) or 'none'}",
            value=name,
            mend="Correct the name, or freeze it with --freeze.",
        )
    path = root / _FOLDER / f"{name}.json"
    files = event.body.get("files")
    if not isinstance(files, dict) or digest(read_bytes(path)) != files.get(f"{_FOLDER}/{name}.json"):
        raise RecordError(
            where=str(path),
            rule=f"must be the file that event {event.number} of the record names",
            value="another",
            mend="Put the file back from its last good copy, or freeze another base period.",
        )
    document = read_json(path)
    document.pop("schema", None)
    return from_plain(document, BaseLimits)


def newest_base(recorded: Mapping[str, Event], product: str, line: str) -> str:
    """Name of the base period that was frozen last for a product and line; empty where there is none."""
    of = {"product": product, "line": line}
    fit = [name for name, event in recorded.items() if all(event.body.get(key) == one for key, one in of.items())]
    return fit[-1] if fit else ""
