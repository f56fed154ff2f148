"""The tree as lines for a person: indented, wrapped, and with long lists shortened."""

import textwrap
from collections.abc import Iterator
from typing import Final

from wideroll.report.explanation.node import Kind, Node

__all__ = ["outline"]

_INDENT = "  "
_LEAST_WIDTH = 40
_MANY = 20
_MOST: Final = {
    **dict.fromkeys((Kind.MARK, Kind.FLAW, Kind.SIGHTING, Kind.UNSEEN, Kind.MEASUREMENT, Kind.SHEET), _MANY),
    Kind.STEP: 2 * _MANY,
    Kind.INPUT: 2 * _MANY,
}
"""Of kinds of which there may be very many, how many are shown."""
_FEW: Final = _MOST | {Kind.MARK: 3, Kind.FLAW: 3, Kind.SIGHTING: 3, Kind.UNSEEN: 3, Kind.MEASUREMENT: 3, Kind.STEP: 0}
"""The same where nobody asked for more; a part that isn't released shows its marks all the same."""


def outline(node: Node, *, width: int = 80, brief: bool = True, depth: int = 0) -> Iterator[str]:
    """Lines of at most ``width`` characters where words allow it; of long lists the first, fewer of them if ``brief``.

    Example:
        >>> steps = tuple(Node(kind=Kind.STEP, title=f"step {n}") for n in range(41))
        >>> for line in outline(Node(kind=Kind.CURVE, title="red", children=steps)):
        ...     print(line)
        red
          41 steps: --json has all
    """
    brief = brief and node.kind is not Kind.PART
    most = _FEW if brief else _MOST
    start = _INDENT * depth
    yield from _wrapped(node.title, start, f"{start}{_INDENT * 2}", width)
    for fact in node.facts:
        yield from _wrapped(f"{fact.name}: {fact.value}", f"{start}{_INDENT}", f"{start}{_INDENT * 3}", width)
    shown: dict[Kind, int] = {}
    alike = [child for child in node.children if brief and child.alike]
    for child in node.children:
        if brief and child.alike:
            continue
        shown[child.kind] = shown.get(child.kind, 0) + 1
        if shown[child.kind] <= most.get(child.kind, shown[child.kind]):
            yield from outline(child, width=width, brief=brief, depth=depth + 1)
    if alike:
        yield f"{start}{_INDENT}and {len(alike)} more {alike[0].kind}s, none of them worse: --about or --json has all"
    for kind, count in shown.items():
        if count > most.get(kind, count):
            left = f"and {count - most[kind]} more {kind}s" if most[kind] else f"{count} {kind}s"
            yield f"{start}{_INDENT}{left}: --json has all"


def _wrapped(text: str, first: str, rest: str, width: int) -> Iterator[str]:
    yield from textwrap.wrap(
        text,
        width=max(width, len(rest) + _LEAST_WIDTH),
        initial_indent=first,
        subsequent_indent=rest,
        break_long_words=False,
        break_on_hyphens=False,
    ) or [first.rstrip()]
