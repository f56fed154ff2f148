"""What a field of a file may hold: lengths with their unit, numbers, names."""

from collections.abc import Iterable
from typing import Annotated, Final

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

from wideroll.errors import ArgumentError, InputError
from wideroll.roll import parse_length

__all__ = [
    "MOST_MM",
    "FileModel",
    "Finite",
    "Metres",
    "Millimetres",
    "Name",
    "Positive",
    "PositiveMetres",
    "PositiveMillimetres",
    "SomeMetres",
    "SomeMillimetres",
    "each_once",
]

MOST_MM: Final = 10**9
"""1000 km: more is a slip of the keyboard, and not every such number is a float."""


def _mm(value: object) -> float:
    if not isinstance(value, str):
        raise ArgumentError(
            where="length",
            rule="must be text with a unit",
            value=value,
            mend='Write it in quotes with its unit, like "9 3/8 in" or "238.1 mm".',
        )
    try:
        mm = parse_length(value).mm
    except InputError as error:  # as a ValueError, so that the field it stands in is named too
        raise ArgumentError(where=error.where, rule=error.rule, value=error.value, mend=error.mend) from error
    if abs(mm) > MOST_MM:
        raise ArgumentError(where="length", rule="must be less than 1000 km", value=value, mend="Check its unit.")
    return float(mm)


def _m(value: object) -> float:
    return _mm(value) / 1000.0


Millimetres = Annotated[float, BeforeValidator(_mm)]
Metres = Annotated[float, BeforeValidator(_m)]
PositiveMillimetres = Annotated[Millimetres, Field(gt=0)]
SomeMillimetres = Annotated[Millimetres, Field(ge=0)]
PositiveMetres = Annotated[Metres, Field(gt=0)]
SomeMetres = Annotated[Metres, Field(ge=0)]
# Strict: text and true would else be taken for numbers.
Positive = Annotated[float, Field(gt=0, allow_inf_nan=False, strict=True)]
Finite = Annotated[float, Field(allow_inf_nan=False, strict=True)]
Name = Annotated[str, Field(min_length=1, max_length=120)]


class FileModel(BaseModel):
    """Base of all file models: a misspelt field is an error, not silently left out."""

    model_config = ConfigDict(extra="forbid", frozen=True)


def each_once(what: str, names: Iterable[str]) -> None:
    """Refuse a name given twice: one of the two would silently win.

    Raises:
        ArgumentError: naming ``what`` and the name.

    Example:
        >>> each_once("rollers", ["R01", "R02"])
    """
    seen: set[str] = set()
    for name in names:
        if name in seen:
            raise ArgumentError(where=what, rule="each name is given once", value=name, mend="Rename one of the two.")
        seen.add(name)
