"""Why a roll has its verdict: the whole chain down to the last reading and file, as a tree."""

from typing import TYPE_CHECKING

from wideroll.on_demand import on_demand

if TYPE_CHECKING:
    from wideroll.report.explanation.node import Entry, Fact, Input, Kind, Node, Origins, Segment, walk
    from wideroll.report.explanation.outline import outline
    from wideroll.report.explanation.tree import explain, explanation_json, named_with

__all__ = [
    "Entry",
    "Fact",
    "Input",
    "Kind",
    "Node",
    "Origins",
    "Segment",
    "explain",
    "explanation_json",
    "named_with",
    "outline",
    "walk",
]

on_demand(__name__)
