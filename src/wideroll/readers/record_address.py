"""``record`` of plant.toml: where the record lies, when several machines share it."""

from typing import Annotated, Final
from urllib.parse import parse_qs, urlsplit

from pydantic import AfterValidator

from wideroll.errors import ArgumentError

__all__ = ["RecordAddress"]

_SCHEMES: Final = ("postgresql", "postgresql+psycopg")
_NO_ADDRESS: Final = "must be the address of a PostgreSQL database"
_OPENLY: Final = "no password stands in plant.toml"


def _address(value: str) -> str:
    try:
        parts = urlsplit(value)
        secret = parts.password is not None or "password" in parse_qs(parts.query)
    except ValueError as error:
        raise _refusal(_NO_ADDRESS, None) from error
    if secret:
        raise _refusal(_OPENLY, None)
    if parts.scheme not in _SCHEMES or not parts.path.strip("/"):
        raise _refusal(_NO_ADDRESS, value)
    return value


def _refusal(rule: str, value: str | None) -> ArgumentError:
    return ArgumentError(
        where="record",
        rule=rule,
        value=value,
        mend="Write it like postgresql+psycopg://desk@server/record, and the password in ~/.pgpass; "
        "leave it out for wideroll.db in the plant's folder.",
    )


RecordAddress = Annotated[str, AfterValidator(_address)]
