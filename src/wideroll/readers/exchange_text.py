"""ISO 28178 exchange text: a header of keywords, the format of the data, and the data.

The grammar and the names of fields are those of ISO 28178 and ANSI CGATS.17 from memory; the standard's scope and
contents, and others' lists of its field names, were seen. Of XML, its other form, nothing is read.
"""

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from wideroll.errors import InputError

__all__ = ["ExchangeText", "is_exchange_text", "parse_exchange"]

_FIRST_WORDS: Final = re.compile(r"CGATS|ISO ?28178|IT8")
_TOKEN: Final = re.compile(r'\s*(?:(?P<remark>#.*)|"(?P<quoted>[^"]*)"(?=[\s#]|$)|(?P<bare>[^\s"#]+)(?=[\s#]|$)|$)')
_BEGIN_FORMAT: Final = "BEGIN_DATA_FORMAT"
_END_FORMAT: Final = "END_DATA_FORMAT"
_BEGIN_DATA: Final = "BEGIN_DATA"
_END_DATA: Final = "END_DATA"
_COUNT: Final = re.compile(r"[0-9]{1,9}")
_Lines = Iterator[tuple[int, list[str]]]


@dataclass(frozen=True, slots=True, kw_only=True)
class ExchangeText:
    """One table of exchange text."""

    path: Path
    keywords: Mapping[str, str]
    """Keywords of the header with their values; of one given several times, the last."""
    declared: frozenset[str]
    """Names that the file adds to the standard's own with ``KEYWORD``."""
    fields: tuple[str, ...]
    format_line: int
    sets: tuple[tuple[int, tuple[str, ...]], ...]
    """Number of the line and the values of each set, as many as there are fields."""


def is_exchange_text(text: str) -> bool:
    """Whether a text is meant as exchange text: by its first line, or by a section that only such a text has.

    Example:
        >>> is_exchange_text("CGATS.17"), is_exchange_text("step,red")
        (True, False)
    """
    starts = [line.split(maxsplit=1)[0] for line in text.split("\n") if line.strip()]
    return bool(_FIRST_WORDS.match(text.lstrip())) or _BEGIN_FORMAT in starts or _BEGIN_DATA in starts


def parse_exchange(path: Path, text: str) -> ExchangeText:
    """The one table of an exchange text; a set is a line.

    Raises:
        InputError: when a section is missing, not ended or there twice, or what there is contradicts
            ``NUMBER_OF_FIELDS`` or ``NUMBER_OF_SETS``.
    """
    keywords: dict[str, str] = {}
    declared: set[str] = set()
    fields: list[str] = []
    format_line = 0
    sets: list[tuple[int, tuple[str, ...]]] | None = None
    lines = _tokens(path, text)
    for number, tokens in lines:
        where = f"{path}, line {number}"
        if tokens[0] == _BEGIN_FORMAT:
            _first_time(where, tokens[0], again=bool(fields))
            format_line, fields = number, _read_format(where, tokens, lines)
        elif tokens[0] == _BEGIN_DATA:
            _first_time(where, tokens[0], again=sets is not None)
            if not fields:
                raise _missing(where, f"{_BEGIN_FORMAT} must stand before {_BEGIN_DATA}", "Name the fields first.")
            sets = _read_sets(path, number, tokens, lines, fields)
        else:
            _note_keyword(where, tokens, keywords, declared)
    if not fields or sets is None:
        section = _BEGIN_DATA if fields else _BEGIN_FORMAT
        raise _missing(str(path), f"exchange text must have a section {section}", "Export the file again.")
    _check_count(path, keywords, "NUMBER_OF_FIELDS", len(fields))
    _check_count(path, keywords, "NUMBER_OF_SETS", len(sets))
    return ExchangeText(
        path=path,
        keywords=keywords,
        declared=frozenset(declared),
        fields=tuple(fields),
        format_line=format_line,
        sets=tuple(sets),
    )


def _tokens(path: Path, text: str) -> _Lines:
    for number, line in enumerate(text.split("\n"), 1):
        tokens: list[str] = []
        at = 0
        while at < len(line):
            found = _TOKEN.match(line, at)
            if found is None:
                raise InputError(
                    where=f"{path}, line {number}",
                    rule="quotes must stand at both ends of a value",
                    value=line[at:].strip(),
                    mend="Add or remove a quote.",
                )
            at = found.end()
            value = found["bare"] if found["quoted"] is None else found["quoted"]
            if value is not None:
                tokens.append(value)
        if tokens:
            yield number, tokens


def _first_time(where: str, section: str, *, again: bool) -> None:
    if again:
        raise InputError(
            where=where, rule="one table in a file", value=f"a second {section}", mend="Put each table in its own file."
        )


def _missing(where: str, rule: str, mend: str) -> InputError:
    return InputError(where=where, rule=rule, mend=mend)


def _read_format(where: str, tokens: list[str], lines: _Lines) -> list[str]:
    """The names of the fields up to the end of the section."""
    fields = tokens[1:]
    while not fields or fields[-1] != _END_FORMAT:
        _, more = next(lines, (0, None))
        if more is None or more[0] in {_BEGIN_DATA, _END_DATA}:
            raise _missing(where, f"the section must end with {_END_FORMAT}", "Export the file again.")
        fields += more
    names = [name.upper() for name in fields[:-1]]
    if not names:
        raise _missing(where, "the section must name the fields", "Export the file again.")
    for name in names:
        if not name.isprintable():
            raise InputError(where=where, rule="a field has a printable name", value=name, mend="Rename the field.")
    return names


def _read_sets(
    path: Path, begun: int, tokens: list[str], lines: _Lines, fields: list[str]
) -> list[tuple[int, tuple[str, ...]]]:
    """The sets up to the end of the section."""
    if len(tokens) > 1:
        raise InputError(
            where=f"{path}, line {begun}",
            rule=f"{_BEGIN_DATA} must stand alone on its line",
            value=tokens[1],
            mend="Put each set on a line of its own.",
        )
    sets: list[tuple[int, tuple[str, ...]]] = []
    for number, values in lines:
        if values == [_END_DATA]:
            return sets
        if len(values) != len(fields):
            raise InputError(
                where=f"{path}, line {number}",
                rule=f"a set is a line with a value for each of the {len(fields)} fields",
                value=f"{len(values)} values",
                mend=f"Correct the line; the data end with {_END_DATA}.",
            )
        sets.append((number, tuple(values)))
    where = f"{path}, line {begun}"
    raise _missing(where, f"the section must end with {_END_DATA}", "Export the file again.")


def _note_keyword(where: str, tokens: list[str], keywords: dict[str, str], declared: set[str]) -> None:
    if tokens[0] in {_END_DATA, _END_FORMAT}:
        raise InputError(
            where=where, rule="a section must begin before it ends", value=tokens[0], mend="Export the file again."
        )
    if tokens[0] == "KEYWORD":
        declared.update(name.upper() for name in tokens[1:])
    else:
        keywords[tokens[0]] = " ".join(tokens[1:])


def _check_count(path: Path, keywords: Mapping[str, str], keyword: str, found: int) -> None:
    """A count that isn't there is no fault; one that contradicts the data says that something is lost."""
    said = keywords.get(keyword)
    if said is not None and (not _COUNT.fullmatch(said) or int(said) != found):
        raise InputError(
            where=f"{path}, {keyword}",
            rule=f"must be what the file holds, {found}",
            value=said,
            mend="Something is lost or was added: export the file again.",
        )
