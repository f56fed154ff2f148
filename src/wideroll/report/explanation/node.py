"""The chain from a verdict to its readings as a tree, and where what it rests on lies."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any

from wideroll.workflow.property_model import Measurement

__all__ = ["Entry", "Fact", "Input", "Kind", "Node", "Origins", "Segment", "short_hash", "walk"]

_SHOWN = 12


class Kind(StrEnum):
    """What a node of the tree is about."""

    ROLL = "roll"
    GROUP = "group"
    PART = "part"
    FINDING = "finding"
    EVIDENCE = "evidence"
    MARK = "mark"
    FLAW = "flaw"
    SIGHTING = "sighting"
    SHEET = "sheet"
    READING = "reading"
    MEASUREMENT = "measurement"
    RUN = "run"
    STRIP = "strip"
    CURVE = "curve"
    STEP = "step"
    UNSEEN = "unseen part"
    MISSING = "missing"
    INPUT = "input"
    ENTRY = "record entry"
    OTHER_ROLL = "other roll"


@dataclass(frozen=True, slots=True, kw_only=True)
class Fact:
    """One thing that is known, in words with its unit."""

    name: str
    value: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Node:
    """A statement, what is known of it, and what it rests on."""

    kind: Kind
    title: str
    facts: tuple[Fact, ...] = ()
    children: tuple["Node", ...] = ()
    values: Mapping[str, Any] = field(default_factory=dict)
    """Of the facts, what a machine may need: numbers, names and places as JSON can hold them."""
    alike: bool = False
    """Whether others of its kind that are no better stand before it, so that an outline may only count it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Input:
    """A file that the decision depends on."""

    name: str
    """From the plant's folder."""
    content: str
    """Hash of its content (BLAKE2b, 256 bits, hexadecimal), as the decision has it."""
    size_bytes: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Segment:
    """A file of the scan, and the stretch of web it holds."""

    name: str
    """From the plant's folder."""
    along_from_m: float
    along_to_m: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """The decision's event in the record."""

    number: int
    who: str
    when_utc: str
    version: str
    digest: str
    outputs: Mapping[str, str]
    """SHA-256 of each file that was made with the decision, by its name in the results folder."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Origins:
    """Where what a decision rests on lies: files by their hashes, the stretches of the scan's, and the record."""

    roll: str
    fingerprint: str
    inputs: tuple[Input, ...] = ()
    segments: tuple[Segment, ...] = ()
    entry: Entry | None = None
    compared_with: Mapping[str, str] = field(default_factory=dict)
    """Fingerprint of each other roll's scan that told whose the streaks are."""
    measurements: tuple[Measurement, ...] = ()
    """What was measured of the product's properties."""

    def of(self, folder: str, *names: str) -> tuple[Input, ...]:
        """The roll's inputs in one of its folders, all or those of these names."""
        start = f"rolls/{self.roll}/{folder}/"
        wanted = {start + name for name in names}
        return tuple(one for one in self.inputs if one.name.startswith(start) and (not wanted or one.name in wanted))

    def segment_at(self, along_m: float) -> Segment | None:
        """The file of the scan that holds a place along, or None where none does."""
        return next((one for one in self.segments if one.along_from_m <= along_m < one.along_to_m), None)


def short_hash(content: str) -> str:
    """The first digits of a hash: enough for a person to compare.

    Example:
        >>> short_hash("0123456789abcdef" * 4)
        '0123456789ab…'
    """
    return content if len(content) <= _SHOWN else f"{content[:_SHOWN]}…"


def walk(node: Node) -> Iterator[Node]:
    """The node and all below it, each before its children."""
    yield node
    for child in node.children:
        yield from walk(child)
