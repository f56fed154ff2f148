"""The plant's units and edge for forms, read quickly: plant.toml alone, without the readers."""

import re
import tomllib
from dataclasses import dataclass
from typing import Final

from wideroll.server.desk import Desk

__all__ = ["FormUnits", "form_units", "place_words", "with_unit"]

_END: Final = re.compile(r"from\s+(?:the\s+)?(?:outer end|core|inner end)\s*$", re.IGNORECASE)
_BARE: Final = re.compile(r"\s*-?[0-9]+(?:[.,][0-9]+)?\s*")


@dataclass(frozen=True, slots=True, kw_only=True)
class FormUnits:
    """Units that people at the machines measure in, and the edge that places across are measured from."""

    along: str = "m"
    across: str = "mm"
    datum_edge: str = "datum edge"


def form_units(desk: Desk) -> FormUnits:
    """Those of the plant; metric where its file can't be read, which whoever acts will be told."""
    try:
        said = tomllib.loads((desk.root / "plant.toml").read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return FormUnits()
    inches = said.get("shop_units") == "inches"
    edge = str(said.get("datum_edge") or "datum edge")
    return FormUnits(along="ft" if inches else "m", across="in" if inches else "mm", datum_edge=edge)


def with_unit(text: str, unit: str) -> str:
    """A length as it is read: a number alone gets the unit that stands beside its field.

    Example:
        >>> with_unit("4,3", "m"), with_unit("14 ft 3 in", "m")
        ('4,3 m', '14 ft 3 in')
    """
    return f"{text.strip()} {unit}" if _BARE.fullmatch(text) else text


def place_words(place: str, end: str, unit: str) -> str | None:
    """A place on a finished roll as it is traced; None where nothing is said.

    Args:
        place: as it was typed.
        end: the one it was measured from, unless the place says it.
        unit: of a number that has none of its own.

    Example:
        >>> place_words("4,3", "core", "m"), place_words("2 m from outer end", "core", "m"), place_words(" ", "", "m")
        ('4,3 m from core', '2 m from outer end', None)
    """
    if not place.strip():
        return None
    if _END.search(place):
        return place.strip()
    return f"{with_unit(place, unit)} from {'core' if end in {'core', 'inner end'} else 'outer end'}"
