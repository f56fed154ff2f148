"""Where a place of a TOML text stands in it: its line, and what is written as its value."""

import re
from collections.abc import Iterator, Sequence
from typing import Final

__all__ = ["line_of", "value_span"]

Place = tuple[int | str, ...]
_HEAD: Final = re.compile(r"\s*(\[\[?)\s*([^\]]+?)\s*\]")
_KEY: Final = re.compile(r"\s*([\w-]+|\"[^\"]*\")\s*=\s*")
_VALUE: Final = re.compile(r"\"(?:[^\"\\]|\\.)*\"|'[^']*'|[^\s#,\]}\[{]+")


def line_of(text: str, place: Sequence[int | str]) -> int:
    r"""The line where a place of a TOML text stands, counted from 1; 0 where it isn't found.

    Of a field that isn't there, the head of its table.

    Example:
        >>> line_of('[[widths]]\nname = "35 mm"\n[[widths]]\nname = "16 mm"', ("widths", 2, "name"))
        4
    """
    best = max(((_shared(found, place), -number) for number, _, found in _lines(text)), default=(0, 0))
    return -best[1] if best[0] else 0


def value_span(text: str, place: Sequence[int | str]) -> tuple[int, int] | None:
    r"""Where the value of a key is written, as a slice of the text; None where it isn't a plain value on its line.

    A table in braces, in a list, is found by its number.

    Example:
        >>> text = 'name = "35 mm"\nlengths = [{ value = 3.6 }, { value = 7.5 }]'
        >>> [text[slice(*value_span(text, p))] for p in (("name",), ("lengths", 2, "value"))]
        ['"35 mm"', '7.5']
    """
    wanted = tuple(place)
    for _, start, found in _lines(text):
        if found == wanted:
            return _value(text, _begin(text, start))
        if found and found == wanted[:-2] and isinstance(wanted[-2], int):
            return _in_braces(text, _begin(text, start), wanted[-2], str(wanted[-1]))
    return None


def _lines(text: str) -> Iterator[tuple[int, int, Place]]:
    """Lines that begin a table or a key: the number, where in the text, and the place."""
    seen: dict[str, int] = {}
    table: Place = ()
    start = 0
    for number, line in enumerate(text.split("\n"), 1):
        head, key = _HEAD.match(line), _KEY.match(line)
        if head:
            table = _table(head[1], head[2], seen)
            yield number, start, table
        elif key:
            yield number, start, (*table, key[1].strip('"'))
        start += len(line) + 1


def _begin(text: str, start: int) -> int:
    found = _KEY.match(text, start)
    return found.end() if found else start


def _value(text: str, begin: int) -> tuple[int, int] | None:
    found = _VALUE.match(text, begin)
    return found.span() if found else None


def _in_braces(text: str, begin: int, number: int, key: str) -> tuple[int, int] | None:
    braces = list(re.finditer(r"\{[^{}]*\}", text[begin : _ends(text, begin)]))
    if len(braces) < number:
        return None
    at = begin + braces[number - 1].start()
    found = re.search(rf"[{{,\s]{re.escape(key)}\s*=\s*", braces[number - 1][0])
    return _value(text, at + found.end()) if found else None


def _ends(text: str, begin: int) -> int:
    """Where the list that begins there ends."""
    depth = 0
    for at in range(begin, len(text)):
        depth += {"[": 1, "]": -1}.get(text[at], 0)
        if depth == 0:
            return at + 1
    return len(text)


def _table(brackets: str, dotted: str, seen: dict[str, int]) -> tuple[int | str, ...]:
    parts: list[int | str] = []
    names = [part.strip().strip('"') for part in dotted.split(".")]
    for depth, part in enumerate(names, 1):
        key = ".".join(names[:depth])
        parts.append(part)
        if brackets == "[[" and depth == len(names):
            seen[key] = seen.get(key, 0) + 1
            # what lies in it is counted anew
            for inner in [one for one in seen if one.startswith(f"{key}.")]:
                del seen[inner]
        if key in seen:
            parts.append(seen[key])
    return tuple(parts)


def _shared(found: Sequence[int | str], place: Sequence[int | str]) -> int:
    """How many parts of the place a line gives; none where the line gives another place."""
    return len(found) if tuple(place[: len(found)]) == tuple(found) else 0
