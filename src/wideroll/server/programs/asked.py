"""What may stand in the query of routes that read it themselves."""

from collections.abc import Mapping, Sequence
from typing import Any, Final

from wideroll.server.viewer.asked import CHOICES, NUMBERS, ORDERS

__all__ = ["ASKED"]

_KIND: Final = "May stand several times"


def _field(name: str, words: str, schema: Mapping[str, Any]) -> dict[str, Any]:
    return {"name": name, "in": "query", "required": False, "description": words, "schema": dict(schema)}


def _number(name: str) -> dict[str, Any]:
    word, unit = NUMBERS[name]
    return _field(name, f"{word}, {unit}", {"type": "number", "minimum": 0})


_FILTERS: Final = (
    *(_number(name) for name in NUMBERS),
    _field("lane", "Lane, counted from the datum edge", {"type": "integer", "minimum": 1, "maximum": 999_999_999}),
    *(_field(name, _KIND, {"type": "array", "items": {"type": "string", "maxLength": 120}}) for name in CHOICES),
    _field("sort", "Column to sort by", {"type": "string", "enum": [*ORDERS, *(f"-{one}" for one in ORDERS)]}),
)
ASKED: Final[Mapping[str, Sequence[dict[str, Any]]]] = {
    "/api/rolls/{roll}/marks": (
        *_FILTERS,
        _field("rows", "With this all marks are told one by one", {"type": "string", "enum": ["all"]}),
        _field("format", "With this they come as CSV", {"type": "string", "enum": ["csv"]}),
    ),
    "/api/rolls/{roll}/marks/next": (
        *_FILTERS,
        _field("after", "The mark before it", {"type": "string", "maxLength": 120}),
        _field("back", "With this it is the mark before", {"type": "string", "enum": ["yes"]}),
    ),
}
"""By path, of GET."""
