"""What a use case needs from outside; adapters live in readers, store and cli."""

from collections.abc import Iterator
from typing import Protocol, TypeAlias

import numpy as np
from numpy.typing import NDArray

from wideroll.examination import Sheet, Sighting
from wideroll.repeats import SeriesSearch
from wideroll.roll import Extent
from wideroll.scan import ScanResult
from wideroll.sensitometry import Strip
from wideroll.workflow.model import Plant, Product, RollCard

__all__ = ["Grey", "PlantFiles", "Progress", "Raster", "Results", "Silent"]

Grey: TypeAlias = NDArray[np.uint8] | NDArray[np.uint16]


class Raster(Protocol):
    """A scan that can be read in blocks of lines, [along, across]."""

    @property
    def pitch_mm(self) -> tuple[float, float]:
        """Distance of lines along and of pixels across."""

    @property
    def source(self) -> str:
        """Name of the scanner."""

    @property
    def lines(self) -> int:
        """Number of lines."""

    @property
    def columns(self) -> int:
        """Pixels across."""

    @property
    def dtype(self) -> np.dtype[np.uint8] | np.dtype[np.uint16]:
        """Pixel type."""

    def blocks(self) -> Iterator[Grey]:
        """The lines in order."""


class PlantFiles(Protocol):
    """A plant's files as types."""

    def plant(self) -> Plant:
        """The coating line."""

    def product(self, name: str) -> Product:
        """A product."""

    def card(self, roll: str) -> RollCard:
        """A roll."""

    def raster(self, roll: str, plant: Plant, product: Product) -> Raster | None:
        """A roll's scan, if it was scanned."""

    def strips(self, roll: str) -> tuple[Strip, ...]:
        """A roll's strips."""

    def sheets(self, roll: str, whole: Extent) -> tuple[Sheet, ...]:
        """A roll's sample sheets."""

    def sightings(self, roll: str, sheets: tuple[Sheet, ...]) -> tuple[Sighting, ...]:
        """What was seen on them."""


class Results(Protocol):
    """Where costly results are kept between commands; each is handed back only while its inputs are the same."""

    def load_scan(self, fingerprint: str) -> ScanResult | None:
        """The scan's result, unless stale."""

    def save_scan(self, scan: ScanResult, fingerprint: str) -> None:
        """Keep the scan's result."""

    def load_series(self, fingerprint: str) -> SeriesSearch | None:
        """The series search, unless stale."""

    def save_series(self, search: SeriesSearch, fingerprint: str) -> None:
        """Keep the series search."""


class Progress(Protocol):
    """Told how far long work is."""

    def start(self, what: str, total: int, unit: str) -> None:
        """Work begins."""

    def advance(self, amount: int) -> None:
        """So much more is done."""

    def finish(self) -> None:
        """Work ended."""


class Silent:
    """Progress that nobody watches."""

    def start(self, what: str, total: int, unit: str) -> None:
        """Nothing is shown."""

    def advance(self, amount: int) -> None:
        """Nothing is shown."""

    def finish(self) -> None:
        """Nothing is shown."""
