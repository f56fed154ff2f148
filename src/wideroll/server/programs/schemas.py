"""Answers as JSON Schema."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Final

from pydantic import TypeAdapter

__all__ = ["REFS", "Schemas", "schemas_of"]

REFS: Final = "#/components/schemas/{model}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Schemas:
    """The schemas of some answers, and the definitions that they share."""

    answers: tuple[tuple[Any, dict[str, Any]], ...]
    definitions: dict[str, Any]

    def of(self, answer: Any) -> dict[str, Any]:
        """The schema of an answer."""
        return next(schema for one, schema in self.answers if one is answer)


def schemas_of(answers: Iterable[Any]) -> Schemas:
    """Of all answers together, so that what they share is defined once."""
    wanted = [(one, "validation", TypeAdapter(one)) for one in answers]
    by_key, whole = TypeAdapter.json_schemas(
        [(number, "validation", adapter) for number, (_, _, adapter) in enumerate(wanted)], ref_template=REFS
    )
    found = tuple((one, by_key[(number, "validation")]) for number, (one, _, _) in enumerate(wanted))
    return Schemas(answers=found, definitions=dict(whole.get("$defs", {})))
