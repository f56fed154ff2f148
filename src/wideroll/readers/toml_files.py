"""TOML into a file model; whatever is wrong becomes one error that names file, field, rule, value and mend."""

import tomllib
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from difflib import get_close_matches
from pathlib import Path
from typing import Any, Final, TypeVar

from pydantic import ValidationError

from wideroll.errors import InputError, WiderollError
from wideroll.readers.fields import FileModel

__all__ = ["TomlFault", "parse_toml", "placed", "read_text", "read_toml", "toml_faults"]

Model = TypeVar("Model", bound=FileModel)

_MENDS: Final = {
    "missing": "Add the field; docs/reference/files.md shows an example.",
    "extra_forbidden": "Remove the field or correct its spelling; docs/reference/files.md lists the fields.",
}
_VALUE_MEND: Final = "Correct the value; docs/reference/files.md says what the field may hold."
_RULES: Final = {
    "missing": "the field must be there",
    "extra_forbidden": "the file has no such field",
    "tuple_type": "must be a list in square brackets",
    "too_short": "the list is too short",
    "string_type": "must be text in quotes",
    "string_too_short": "must not be empty",
    "model_type": "must be a table",
}


def read_text(path: Path) -> str:
    """The text of a file.

    Raises:
        InputError: when the file isn't there, can't be read, or isn't UTF-8.
    """
    try:
        return path.read_text(encoding="utf-8-sig")
    except FileNotFoundError as error:
        raise InputError(
            where=str(path), rule="the file must be there", mend="Check the path, or put the file in place."
        ) from error
    except OSError as error:
        raise InputError(
            where=str(path), rule="the file must be readable", value=error.strerror, mend="Check its rights."
        ) from error
    except UnicodeDecodeError as error:
        raise InputError(
            where=f"{path}, byte {error.start}", rule="the text must be UTF-8", mend="Save it again as UTF-8."
        ) from error


def read_toml(path: Path, model: type[Model]) -> Model:
    """A TOML file as its model.

    Raises:
        InputError: naming the file and field, the rule, the value and the mend.
    """
    return parse_toml(read_text(path), model, path)


def parse_toml(text: str, model: type[Model], where: object) -> Model:
    """The text of a TOML file as its model.

    Args:
        text: of the file.
        model: of the file.
        where: it stands, for errors.

    Raises:
        InputError: naming the file and field, the rule, the value and the mend.
    """
    data = _loaded(text, where)
    try:
        return model.model_validate(data)
    except ValidationError as error:
        raise _input_error(where, error) from error


@dataclass(frozen=True, slots=True, kw_only=True)
class TomlFault:
    """A fault of a file, and the place in it: keys, and numbers from 1 in lists."""

    place: tuple[int | str, ...]
    error: InputError


def toml_faults(text: str, model: type[FileModel], where: object) -> tuple[TomlFault, ...]:
    """All that is wrong with the text of a file, as far as one reading tells; none where it can be read.

    Args:
        text: of the file.
        model: of the file.
        where: it stands, for errors.

    Example:
        >>> from wideroll.readers.fields import FileModel, Positive
        >>> class Web(FileModel):
        ...     width: Positive
        >>> [fault.place for fault in toml_faults("width = -1", Web, "web.toml")]
        [('width',)]
    """
    try:
        model.model_validate(_loaded(text, where))
    except InputError as error:
        return (TomlFault(place=(), error=error),)
    except ValidationError as error:
        misspelt = _misspelling(error.errors())
        if misspelt is not None:
            return (TomlFault(place=_from_one(misspelt[0]), error=_input_error(where, error)),)
        return tuple(TomlFault(place=_from_one(one["loc"]), error=_fault(where, one)) for one in error.errors())
    return ()


def _loaded(text: str, where: object) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise InputError(
            where=str(where), rule="the file must be TOML", value=str(error), mend="Mend the line it names."
        ) from error
    except (ValueError, RecursionError) as error:  # numbers of thousands of digits, brackets nested as deep
        raise InputError(
            where=str(where), rule="the file must be TOML", value=str(error), mend="Write it anew."
        ) from error


@contextmanager
def placed(where: object) -> Iterator[None]:
    """Give an error raised inside the file it came from, as an input error."""
    try:
        yield
    except InputError:
        raise
    except WiderollError as error:
        raise InputError(
            where=f"{where}: {error.where}", rule=error.rule, value=error.value, mend=error.mend
        ) from error


def _input_error(path: object, error: ValidationError) -> InputError:
    faults = error.errors()
    misspelt = _misspelling(faults)
    if misspelt is not None:
        found, meant = misspelt
        return InputError(
            where=f"{path}, field {_dotted(found)}",
            rule="the file has no such field",
            value=found[-1],
            mend=f"Perhaps {meant} is meant: write it so.",
        )
    return _fault(path, faults[0])


def _fault(path: object, first: Mapping[str, Any]) -> InputError:
    context: dict[str, Any] = first.get("ctx") or {}
    inner = context.get("error")
    field = _dotted(first["loc"])
    where = f"{path}, field {field}" if field else str(path)
    if isinstance(inner, WiderollError):
        named = where if field and inner.where in {"length", field} else f"{where}: {inner.where}"
        return InputError(where=named, rule=inner.rule, value=inner.value, mend=inner.mend)
    kind = first["type"]
    said = first["msg"].replace("Input should be", "must be", 1)
    rule = _RULES.get(kind, said[:1].lower() + said[1:])
    mend = _MENDS.get(kind, _VALUE_MEND)
    if kind == "missing":
        return InputError(where=where, rule=rule, mend=mend)
    return InputError(where=where, rule=rule, value=first["input"], mend=mend)


def _misspelling(faults: Sequence[Mapping[str, Any]]) -> tuple[tuple[int | str, ...], str] | None:
    """A field that isn't known, and the missing one beside it that it was meant to be."""
    missing = [fault["loc"] for fault in faults if fault["type"] == "missing"]
    for fault in faults:
        if fault["type"] == "extra_forbidden":
            *place, name = fault["loc"]
            beside = [str(loc[-1]) for loc in missing if list(loc[:-1]) == place]
            close = get_close_matches(str(name), beside, n=1)
            if close:
                return tuple(fault["loc"]), close[0]
    return None


def _dotted(place: Sequence[int | str]) -> str:
    return ".".join(str(part + 1) if isinstance(part, int) else part for part in place)


def _from_one(place: Sequence[int | str]) -> tuple[int | str, ...]:
    return tuple(part + 1 if isinstance(part, int) else part for part in place)
