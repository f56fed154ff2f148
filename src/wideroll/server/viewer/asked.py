"""Which marks somebody asks for: the same words in an address of a page and of the API."""

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, fields, replace
from typing import TYPE_CHECKING, Any, Final
from urllib.parse import urlencode

from wideroll.errors import InputError

if TYPE_CHECKING:
    from starlette.datastructures import QueryParams

__all__ = ["CHOICES", "NUMBERS", "ORDERS", "Asked", "Wrong", "read_asked"]

NUMBERS: Final[Mapping[str, tuple[str, str]]] = {
    "from_m": ("Along from", "m"),
    "to_m": ("Along to", "m"),
    "from_mm": ("Across from", "mm"),
    "to_mm": ("Across to", "mm"),
    "size_from_mm": ("Size from", "mm"),
    "size_to_mm": ("Size to", "mm"),
    "lane_mm": ("Width of a lane", "mm"),
}
"""Fields that hold a number of 0 or more: what they are, and in which unit."""
_WHOLE: Final[Mapping[str, str]] = {"lane": "Lane", "page": "Page"}
CHOICES: Final = ("kind", "source", "polarity")
"""Fields that hold words, each of which may be asked for several times."""
_MOST_LETTERS: Final = 120
_MOST_DIGITS: Final = 9
_MOST_CHOICES: Final = 40

ORDERS: Final[Mapping[str, str]] = {
    "along_m": "along",
    "across_mm": "across",
    "size_mm": "size",
    "contrast": "contrast",
    "snr": "times noise",
    "kind": "kind",
    "source": "source",
}
"""Columns that the table may be sorted by; ``-`` before the name turns it round."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Wrong:
    """A field that can't be used: its name, and what is wrong with it in words."""

    field: str
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """A choice of marks; what is None, 0 or empty isn't narrowed down."""

    from_m: float | None = None
    to_m: float | None = None
    from_mm: float | None = None
    to_mm: float | None = None
    size_from_mm: float | None = None
    size_to_mm: float | None = None
    kind: tuple[str, ...] = ()
    source: tuple[str, ...] = ()
    polarity: tuple[str, ...] = ()
    lane: int | None = None
    """Counted from the datum edge."""
    lane_mm: float | None = None
    sort: str = "along_m"
    page: int = 1
    mark: str = ""
    """The one that is chosen."""
    layer: str = "worst"
    wrong: tuple[Wrong, ...] = ()
    typed: Mapping[str, str] = field(default_factory=dict, compare=False)
    """What was typed into the fields, as it was."""

    def address(self, **other: Any) -> str:
        """What of it differs from the usual, as the query of an address, with other values where they are given."""
        return urlencode(list(_pairs(replace(self, **other))), doseq=True)

    def check(self) -> "Asked":
        """The same, where every field can be used.

        Raises:
            InputError: naming the first that can't.
        """
        if self.wrong:
            first = self.wrong[0]
            raise InputError(where=first.field, rule=first.words, mend="Correct it, or leave it out.")
        return self


def _pairs(asked: Asked) -> Iterator[tuple[str, Any]]:
    for one in fields(Asked):
        value = getattr(asked, one.name)
        if one.name in {"wrong", "typed"} or value in {None, ()} or value == one.default:
            continue
        yield one.name, f"{value:g}" if isinstance(value, float) and value == float(f"{value:g}") else value


def read_asked(query: "QueryParams") -> Asked:
    """Read a query; what can't be used is told in ``wrong`` and left out, and what isn't known is passed over."""
    found: dict[str, Any] = {}
    wrong: list[Wrong] = []
    for name in (*NUMBERS, *_WHOLE):
        typed = query.get(name, "").strip()
        if typed:
            number = _number(typed) if name in NUMBERS else _whole(typed)
            if number is None:
                wrong.append(_misfit(name))
            else:
                found[name] = number
    for name in CHOICES:
        found[name] = tuple(word[:_MOST_LETTERS] for word in query.getlist(name)[:_MOST_CHOICES] if word)
    sort = query.get("sort", "along_m")
    if sort.removeprefix("-") in ORDERS:
        found["sort"] = sort
    else:
        wrong.append(Wrong(field="sort", words=f"the table can be sorted by {', '.join(ORDERS)}"))
    if query.get("layer") in {"mean", "worst"}:
        found["layer"] = query["layer"]
    found["mark"] = query.get("mark", "")[:_MOST_LETTERS]
    typed_all = {name: query.get(name, "")[:_MOST_LETTERS] for name in (*NUMBERS, *_WHOLE)}
    return Asked(**found, wrong=tuple(wrong), typed=typed_all)


def _misfit(name: str) -> Wrong:
    if name in _WHOLE:
        return Wrong(field=name, words=f"{_WHOLE[name]}: must be a whole number from 1 on")
    word, unit = NUMBERS[name]
    return Wrong(field=name, words=f"{word}: must be a number of {unit}, 0 or more")


def _number(typed: str) -> float | None:
    try:
        number = float(typed.replace(",", ".").replace("\u2212", "-"))
    except ValueError:
        return None
    return number if math.isfinite(number) and number >= 0.0 else None


def _whole(typed: str) -> int | None:
    if not (typed.isascii() and typed.isdigit()) or len(typed) > _MOST_DIGITS:
        return None
    return int(typed) or None
