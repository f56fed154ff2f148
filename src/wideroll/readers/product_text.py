"""The text of a product's file before it is one: what is wrong with it, and on which line."""

import re
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import count
from pathlib import Path
from typing import Final

from wideroll.errors import InputError, WiderollError
from wideroll.readers.models import ProductFile
from wideroll.readers.toml_files import TomlFault, toml_faults
from wideroll.readers.toml_places import line_of

__all__ = ["TextFault", "product_faults"]

_NAMED: Final = re.compile(r"(criterion|width|property) (.+?)(?:, (\w+))?$")
_TABLES: Final = {"criterion": "criteria", "width": "widths", "property": "properties"}
_AT_LINE: Final = re.compile(r"at line (\d+)")


@dataclass(frozen=True, slots=True, kw_only=True)
class TextFault:
    """A fault, its place (keys, and numbers from 1 in lists) and its line, counted from 1; 0 where it isn't known."""

    place: tuple[int | str, ...]
    line: int
    error: InputError


def product_faults(name: str, text: str, folder: Path) -> tuple[TextFault, ...]:
    """All that is wrong with the text of a product's file; none where rolls can be decided by it.

    Args:
        name: of the product.
        text: of its file.
        folder: where its files of spectra lie.
    """
    where = f"products/{name}.toml"
    faults = toml_faults(text, ProductFile, where) or tuple(_not_built(name, text, folder, where))
    return tuple(_placed(text, fault) for fault in faults)


def _not_built(name: str, text: str, folder: Path, where: str) -> Iterator[TomlFault]:
    try:
        ProductFile.model_validate(tomllib.loads(text)).build(name, folder)
    except WiderollError as error:
        told = InputError(where=f"{where}: {error.where}", rule=error.rule, value=error.value, mend=error.mend)
        yield TomlFault(place=(), error=told)


def _placed(text: str, fault: TomlFault) -> TextFault:
    place = fault.place if fault.place and fault.place[-1] != "criteria" else ()
    if len(place) <= 2:  # noqa: PLR2004  (a table as a whole: its error may name a field of it)
        place = _named_place(text, fault.error.where) or fault.place or _said_place(fault.error)
    told = _AT_LINE.search(str(fault.error.value)) if not fault.place else None
    return TextFault(place=place, line=int(told[1]) if told else line_of(text, place), error=fault.error)


def _said_place(error: InputError) -> tuple[int | str, ...]:
    """The place as an error says it in words, such as ``costs, escaped``, with the value where that is a key."""
    parts = error.where.rsplit(": ", 1)[-1].split(", ")
    return (*parts, error.value) if isinstance(error.value, str) else tuple(parts)


def _named_place(text: str, where: str) -> tuple[int | str, ...]:
    """The place of a criterion, width or property that an error names by its name."""
    found = _NAMED.search(where)
    if found is None:
        return ()
    try:
        listed = tomllib.loads(text).get(_TABLES[found[1]], ())
    except ValueError:
        return ()
    for number, one in zip(count(1), listed, strict=False):
        if isinstance(one, Mapping) and one.get("name") == found[2]:
            return (_TABLES[found[1]], number, *filter(None, (found[3],)))
    return ()
