"""``record`` of plant.toml, and of record.toml of a plant that was put back: where the record lies."""

import json
from typing import Annotated, Final, Literal
from urllib.parse import parse_qs, urlsplit

from pydantic import AfterValidator

from wideroll.errors import ArgumentError, InputError
from wideroll.readers.fields import FileModel

__all__ = ["OWN_RECORD", "RecordAddress", "RecordFile", "record_note"]

OWN_RECORD: Final = "wideroll.db"
"""In the plant's folder."""
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


class RecordFile(FileModel):
    """record.toml: where the record of a plant that was put back lies, whatever plant.toml says."""

    record: Literal["wideroll.db"] | RecordAddress


def record_note(address: str) -> str:
    r"""What record.toml says for an address.

    Raises:
        InputError: when it is neither wideroll.db nor that of a PostgreSQL database.

    Example:
        >>> record_note("wideroll.db")
        'record = "wideroll.db"\n'
    """
    try:
        checked = address if address == OWN_RECORD else _address(address)
    except ArgumentError as error:
        raise InputError(
            where="--into", rule=error.rule, value=error.value, mend=f"Write it so, or {OWN_RECORD}."
        ) from error
    return f"record = {json.dumps(checked)}\n"
