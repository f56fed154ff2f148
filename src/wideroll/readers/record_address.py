"""``record`` of plant.toml: where the record lies, when several machines share it."""

from typing import Annotated, Final
from urllib.parse import parse_qs, urlsplit

from pydantic import AfterValidator

from wideroll.errors import ArgumentError

__all__ = ["RecordAddress"]

_SCHEMES: Final = ("postgresql", "postgresql+psycopg")


def _address(value: str) -> str:
    try:
        parts = urlsplit(value)
        secret = parts.password is not None or "password" in parse_qs(parts.query)
    except ValueError as error:
        raise _refused("must be an address", None) from error
    if secret:
        raise _refused("no password stands in plant.toml", None)
    if parts.scheme not in _SCHEMES or not parts.path.strip("/"):
        raise _refused("must be a PostgreSQL database", value)
    return value


def _refused(rule: str, value: str | None) -> ArgumentError:
    return ArgumentError(
        where="record",
        rule=rule,
        value=value,
        mend="Write it like postgresql+psycopg://desk@server/record, and the password in ~/.pgpass; "
        "leave it out for wideroll.db in the plant's folder.",
    )


RecordAddress = Annotated[str, AfterValidator(_address)]
