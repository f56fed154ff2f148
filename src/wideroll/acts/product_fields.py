"""The usual fields of a product's file, to be changed one by one; comments and order of the file stay."""

import json
import re
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final

from wideroll.errors import InputError
from wideroll.readers.toml_places import line_of, value_span
from wideroll.release import Consequence
from wideroll.sensitometry import FilmType

__all__ = ["Field", "FieldGroup", "laid_over", "product_fields", "with_fields"]

_NUMBER: Final = re.compile(r"[+-]?[0-9]{1,15}(?:\.[0-9]{1,15})?(?:[eE][+-]?[0-9]{1,2})?")
_Path = tuple[int | str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Field:
    """One field: its place as an address in the file, its name for people, what it holds, as text.

    Args:
        key: such as ``criteria.3.limit``, lists counted from 1.
        path: keys and numbers from 0, as Python has them.
        label: for people.
        kind: ``number``, ``length``, ``text`` or ``choice``.
        text: what it holds; empty where the file doesn't give it.
        unit: of a number, where it is known.
        choices: of a choice.
        optional: may be left empty.
    """

    key: str
    path: _Path
    label: str
    kind: str
    text: str
    unit: str = ""
    choices: tuple[str, ...] = ()
    optional: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldGroup:
    """Fields that stand together."""

    name: str
    about: str
    fields: tuple[Field, ...]


def product_fields(text: str) -> tuple[FieldGroup, ...]:
    """The usual fields of a product's file, as far as it has them.

    Args:
        text: of the file; one that isn't TOML has none.
    """
    try:
        data = tomllib.loads(text)
    except ValueError:
        return ()
    groups = [_product(data), *_criteria(data), *_widths(data), *_costs(data)]
    return tuple(group for group in groups if group.fields)


def with_fields(text: str, typed: Mapping[str, str]) -> str:
    """The file with some fields changed; all else stays byte for byte.

    Args:
        text: of the file.
        typed: what was typed into fields, by their keys; a field that isn't named stays.

    Raises:
        InputError: at the first field that can't be what it says, ``where`` its key.
    """
    made, expected = text, tomllib.loads(text)
    for field in _every(text):
        wish = typed.get(field.key, field.text).strip()
        if wish != field.text:
            written = _written(field, wish)
            made = _replaced(made, field.path, written)
            _set(expected, field.path, None if written is None else tomllib.loads(f"x = {written}")["x"])
    if not _says(made, expected):
        raise InputError(
            where="text",
            rule="the file is written in a way that its fields can't be changed one by one",
            mend="Change the whole text instead.",
        )
    return made


def laid_over(now: str, base: str, typed: Mapping[str, str]) -> dict[str, str]:
    """What was typed over an older text, by the keys of the newer one; only fields that were changed there.

    Args:
        now: the text as it is.
        base: the text that the fields were shown from.
        typed: by the keys of ``base``.
    """
    names = {_by_name(now, field.path): field.key for field in _every(now)}
    changed = [field for field in _every(base) if typed.get(field.key, field.text).strip() != field.text]
    found = ((names.get(_by_name(base, field.path)), typed[field.key]) for field in changed)
    return {key: text for key, text in found if key is not None}


def _every(text: str) -> Iterator[Field]:
    for group in product_fields(text):
        yield from group.fields


def _by_name(text: str, path: _Path) -> tuple[object, ...]:
    """A path with names in the place of numbers, which others may have moved."""
    at: Any = tomllib.loads(text)
    parts: list[object] = []
    for part in path:
        at = at[part] if isinstance(part, int) or part in at else None
        parts.append(at.get("name", part) if isinstance(part, int) and isinstance(at, dict) else part)
    return tuple(parts)


def _written(field: Field, wish: str) -> str | None:
    """What the file is to say; None for nothing."""
    if not wish:
        if field.optional:
            return None
        raise InputError(where=field.key, rule="must not be empty", mend="Type what it is.")
    if field.kind == "choice" and wish not in field.choices:
        raise InputError(
            where=field.key, rule=f"must be one of: {', '.join(field.choices)}", value=wish, mend="Choose one."
        )
    return _number(field, wish) if field.kind == "number" else _quoted(field, wish)


def _quoted(field: Field, wish: str) -> str:
    if not wish.isprintable():
        raise InputError(where=field.key, rule="must be printable text", value=wish, mend="Type it anew.")
    return json.dumps(wish, ensure_ascii=False)


def _number(field: Field, wish: str) -> str:
    plain = wish.replace("\u2212", "-").replace(",", ".")
    if _NUMBER.fullmatch(plain) is None:
        raise InputError(
            where=field.key,
            rule="must be a number",
            value=wish,
            mend="Write it like 0.06 or 0,06, without its unit and without marks between thousands.",
        )
    # as it was typed, but for noughts in front, which the file can't have
    return re.sub(r"^([+-]?)0+(?=[0-9])", r"\1", plain)


def _replaced(text: str, path: _Path, written: str | None) -> str:
    """The text with another value at a place; a line more or less where it comes or goes."""
    place = tuple(part + 1 if isinstance(part, int) else part for part in path)
    span = value_span(text, place)
    if span is not None and written is not None:
        return text[: span[0]] + written + text[span[1] :]
    lines = text.split("\n")
    if span is not None:
        del lines[line_of(text, place) - 1]
    elif written is not None:
        head = line_of(text, place[:-1])
        lines.insert(head + 1 if lines[head].lstrip().startswith("name") else head, f"{path[-1]} = {written}")
    return "\n".join(lines)


def _says(text: str, expected: dict[str, Any]) -> bool:
    try:
        return tomllib.loads(text) == expected
    except ValueError:
        return False


def _set(at: Any, path: _Path, value: Any) -> None:
    for part in path[:-1]:
        at = at[part]
    if value is None:
        at.pop(path[-1], None)
    else:
        at[path[-1]] = value


def _field(data: Any, *path: int | str, label: str, kind: str = "number", **rest: Any) -> Iterator[Field]:
    """The field, where its table is there; one that isn't in the table only where it is optional."""
    at: Any = data
    for part in path[:-1]:
        inside = (
            len(at) > part if isinstance(at, list) and isinstance(part, int) else isinstance(at, dict) and part in at
        )
        if not inside:
            return
        at = at[part]
    if not isinstance(at, dict) or (path[-1] not in at and not rest.get("optional")):
        return
    key = ".".join(str(part + 1) if isinstance(part, int) else part for part in path)
    held = at.get(path[-1], "")
    yield Field(key=key, path=path, label=label, kind=kind, text=str(held), **rest)


def _product(data: Mapping[str, Any]) -> FieldGroup:
    films = tuple(FilmType)
    return FieldGroup(
        name="Film and aims",
        about="",
        fields=(
            *_field(data, "film_type", label="Kind of film", kind="choice", choices=tuple(map(str, films))),
            *_field(data, "aims", "tolerance_density", label="Tolerance of the aim", unit="density"),
            *_field(data, "reference", "limit_density", label="Limit of the process (reference film)", unit="density"),
            *_field(
                data, "reference", "aims", "tolerance_density", label="Tolerance of the reference film", unit="density"
            ),
        ),
    )


def _criteria(data: Mapping[str, Any]) -> Iterator[FieldGroup]:
    consequences = tuple(map(str, Consequence))
    for at, one in enumerate(_list(data, "criteria")):
        unit, graded = str(one.get("unit", "")), one.get("measurand") == "grade"
        aimed = one.get("measurand") == "reading" and one.get("bound", "both") == "both"
        path, number = ("criteria", at), {"unit": unit}
        yield FieldGroup(
            name=f"Criterion: {one.get('name', at + 1)}",
            about=str(one.get("measurand", "")),
            fields=(
                *_field(data, *path, "aim", label="Aim", optional=aimed, **number),
                *_field(data, *path, "limit", label="Limit", kind="text" if graded else "number", **number),
                *_field(data, *path, "good", label="Good level", **number),
                *_field(data, *path, "consequence", label="Beyond it", kind="choice", choices=consequences),
            ),
        )


def _widths(data: Mapping[str, Any]) -> Iterator[FieldGroup]:
    for at, one in enumerate(_list(data, "widths")):
        path = ("widths", at)
        lengths = one.get("lengths", ())
        each = (
            (inner, str(length.get("length", inner + 1)) if isinstance(length, dict) else "")
            for inner, length in enumerate(lengths if isinstance(lengths, list) else ())
        )
        yield FieldGroup(
            name=f"Width: {one.get('name', at + 1)}",
            about="",
            fields=(
                *_field(data, *path, "width", label="Width", kind="length"),
                *_field(data, *path, "tolerance", label="Tolerance", kind="length"),
                *_field(data, *path, "value_per_m", label="Value", unit="per m"),
                *_field(data, *path, "second_per_m", label="Value, second quality", unit="per m"),
                *(
                    field
                    for inner, words in each
                    for name, label in (("value", "Value"), ("second_value", "Value, second quality"))
                    for field in _field(data, *path, "lengths", inner, name, label=label, unit=f"per {words}")
                ),
                *_field(data, *path, "spliced", "value", label="Value, spliced", unit="per roll"),
                *_field(data, *path, "spliced", "loss_per_splice", label="Loss", unit="per splice"),
            ),
        )


def _costs(data: Mapping[str, Any]) -> Iterator[FieldGroup]:
    costs = data.get("costs")
    if not isinstance(costs, dict):
        return
    unit = str(costs.get("currency", ""))
    escaped = costs.get("escaped", {})
    yield FieldGroup(
        name="Costs",
        about="",
        fields=(
            *_field(data, "costs", "currency", label="Unit of value", kind="text"),
            *_field(data, "costs", "scrap_per_m2", label="Scrap", unit=f"{unit} per m²"),
            *_field(data, "costs", "sheet", label="A further sheet", unit=unit),
            *_field(data, "costs", "strip", label="A further strip", unit=unit),
            *(
                field
                for name in (escaped if isinstance(escaped, dict) else ())
                for field in _field(data, "costs", "escaped", name, label=f"Escaped: {name}", unit=f"{unit} each")
            ),
        ),
    )


def _list(data: Mapping[str, Any], name: str) -> list[Mapping[str, Any]]:
    held = data.get(name)
    return [one if isinstance(one, dict) else {} for one in held] if isinstance(held, list) else []
