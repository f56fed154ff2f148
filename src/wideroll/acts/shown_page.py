"""One page of a decided roll as it is kept: blocks in order, and the files beside it."""

from dataclasses import dataclass, field
from typing import Any, Final

from wideroll.report.grid import Grid
from wideroll.report.grid_json import figure_json, grid_json
from wideroll.report.page import PageFigure
from wideroll.store import json_bytes

__all__ = ["SHOWN_SCHEMA", "ShownPage"]

SHOWN_SCHEMA: Final = "wideroll/shown/1"


@dataclass(slots=True)
class ShownPage:
    """A page as it grows: blocks in order, and pictures and documents by the name of their file."""

    name: str
    blocks: list[dict[str, Any]] = field(default_factory=list)
    pictures: dict[str, bytes] = field(default_factory=dict)

    def heading(self, words: str) -> None:
        """Begin a part."""
        self.blocks.append({"heading": words})

    def text(self, words: str) -> None:
        """A paragraph; nothing where it is empty."""
        if words:
            self.blocks.append({"text": words})

    def caution(self, words: str) -> None:
        """What to mind at the machine."""
        self.blocks.append({"caution": words})

    def table(self, key: str, grid: Grid, *, folded: str = "") -> None:
        """A table; ``folded`` are the words behind which a long one waits."""
        self.blocks.append({"key": key, "table": grid_json(grid), "folded": folded})

    def figure(self, key: str, figure: PageFigure, title: str) -> None:
        """A drawn figure."""
        name = f"{self.name}-{key}.svg"
        self.pictures[name] = figure.svg.encode()
        self.blocks.append({"key": key, "figure": figure_json(figure, name, title)})

    def setting(self, key: str, values: Any) -> None:
        """What the page must know and nobody reads, as JSON can hold it."""
        self.blocks.append({"key": key, "setting": values})

    def document(self, key: str, values: dict[str, Any]) -> None:
        """A file of its own beside the page, ``<page>-<key>.json``."""
        self.pictures[f"{self.name}-{key}.json"] = json_bytes(values, sort_keys=False)
