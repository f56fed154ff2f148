"""What a use case needs from outside; adapters live in readers, store and cli."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Protocol, TypeAlias

import numpy as np
from numpy.typing import NDArray

from wideroll.examination import Photograph, Reliability, Sheet, SheetLook, Sighting, SightingLog
from wideroll.repeats import SeriesSearch
from wideroll.roll import Extent
from wideroll.scan import LinePlaces, LostLines, ScanResult
from wideroll.scan.detection import DetectionResult
from wideroll.sensitometry import Strip
from wideroll.workflow.model import OtherScan, Plant, Product, RollCard
from wideroll.workflow.processor_model import ProcessLog
from wideroll.workflow.property_model import Measurement

__all__ = ["Grey", "OtherScans", "OverviewStore", "PlantFiles", "Progress", "Raster", "Results", "Silent"]

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

    @property
    def channels(self) -> int:
        """Values of a pixel; usually 1."""

    @property
    def channel_names(self) -> tuple[str, ...]:
        """What each channel is, where it was said."""

    @property
    def places(self) -> LinePlaces | None:
        """Where lines lie, where an encoder counted; else they are ``pitch_mm`` apart."""

    def blocks(self, first: int = 0, stop: int | None = None) -> Iterator[Grey | LostLines]:
        """The lines from ``first`` up to but without ``stop``; what can't be read comes as lost lines in its place.

        A block is ``[along, across]``, or ``[along, across, channel]`` where ``channels`` is above 1.
        """

    def damage(self) -> Sequence[object]:
        """What is lost of its files, each in one line for a person as ``str`` gives it; all, once they were read."""


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

    def process_log(self, roll: str) -> ProcessLog:
        """The lab's processors, and which runs of a roll's strips went through them."""

    def properties(self, roll: str, product: Product, whole: Extent) -> tuple[Measurement, ...]:
        """What was measured of a roll's properties."""

    def sheets(self, roll: str, whole: Extent) -> tuple[Sheet, ...]:
        """A roll's sample sheets."""

    def looks(self, roll: str, sheets: tuple[Sheet, ...]) -> tuple[SheetLook, ...]:
        """Further looks at them."""

    def examiners(self) -> Mapping[str, Reliability]:
        """How often each examiner's answers are wrong, where it is known."""

    def sightings(self, roll: str, sheets: tuple[Sheet, ...]) -> tuple[Sighting, ...]:
        """What was seen on them."""

    def sighting_log(self, roll: str, sheets: tuple[Sheet, ...]) -> SightingLog:
        """The same line after line, with what was taken back."""

    def photograph(self, roll: str, name: str) -> Photograph:
        """A photograph that belongs to a sighting."""


class OtherScans(Protocol):
    """What is known of a plant's other rolls."""

    def by(self, scanner: str) -> Sequence[OtherScan]:
        """Their scans by the same scanner that are kept and not stale, in the order of the rolls' names."""


class OverviewStore(Protocol):
    """Takes the rows of a scan's overview as they come, so that no memory grows with the roll."""

    def put(self, mean: NDArray[np.float32], worst: NDArray[np.float32]) -> None:
        """The next rows ``[along, across]``, as signal over the level of its surroundings; NaN where nobody looked."""

    def finish(self, cell_m: float, cell_mm: float, extent: Extent) -> None:
        """All rows were handed over."""

    def abandon(self) -> None:
        """The scan was broken off: nothing of it is kept."""


class Results(Protocol):
    """Where costly results are kept between commands; each is handed back only while its inputs are the same."""

    def overview(self, fingerprint: str) -> OverviewStore:
        """Where the overview goes while a scan runs; ``save_scan`` of the same fingerprint keeps it."""

    def load_scan(self, fingerprint: str) -> ScanResult | None:
        """The scan's result, unless stale."""

    def save_scan(self, scan: ScanResult, fingerprint: str) -> None:
        """Keep the scan's result."""

    def load_detection(self, fingerprint: str) -> DetectionResult | None:
        """How likely the scan of this fingerprint finds a mark, where it was measured."""

    def save_detection(self, detection: DetectionResult, fingerprint: str) -> None:
        """Keep that."""

    def load_series(self, fingerprint: str) -> SeriesSearch | None:
        """The series search, unless stale."""

    def save_series(self, search: SeriesSearch, fingerprint: str) -> None:
        """Keep the series search."""


class Progress(Protocol):
    """Told how far long work is, and what went wrong on the way without ending it."""

    def start(self, what: str, total: int, unit: str) -> None:
        """Work begins."""

    def advance(self, amount: int) -> None:
        """So much more is done."""

    def finish(self) -> None:
        """Work ended."""

    def note(self, message: str) -> None:
        """Something a person should know, in one line."""


class Silent:
    """Progress that nobody watches."""

    def start(self, what: str, total: int, unit: str) -> None:
        """Nothing is shown."""

    def advance(self, amount: int) -> None:
        """Nothing is shown."""

    def finish(self) -> None:
        """Nothing is shown."""

    def note(self, message: str) -> None:
        """Nothing is shown."""
