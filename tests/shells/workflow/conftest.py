"""A small roll made by hand, and fakes of the ports that keep what they were asked."""

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
import pytest

from wideroll.errors import InputError
from wideroll.examination import Reliability, Sheet, SheetLook, Sighting
from wideroll.release import Consequence, Criterion, Measurand
from wideroll.repeats import Roller, SeriesSearch
from wideroll.roll import Extent, MarkKind, Place
from wideroll.scan import LinePlaces, LostLines, ScanResult
from wideroll.scan.detection import DetectionResult
from wideroll.sensitometry import Aims, Curve, FilmType, Record, Strip, StripKind
from wideroll.slitting import ByMetre, CutRules, SlitWidth
from wideroll.workflow import (
    Batch,
    Grey,
    Measurement,
    Plant,
    ProcessLog,
    Product,
    RollCard,
    RollDesk,
    Scanner,
    Silent,
    open_roll,
)

LENGTH_M, WIDTH_MM = 2.0, 120.0
PITCH_MM = (4.0, 0.3)
GREY8 = np.dtype(np.uint8)
LOG_H = np.round(np.arange(-3.0, 0.01, 0.15), 3)


def _density(log_h: np.ndarray) -> np.ndarray:
    return 0.2 + 2.0 / (1.0 + np.exp(-3.0 * (log_h + 1.2)))


@dataclass(frozen=True)
class FakeRaster:
    """A web of even noise, read in blocks of a few lines."""

    lines: int = 500
    columns: int = 400
    breaks_at: int | None = None
    pitch_mm: tuple[float, float] = PITCH_MM
    source: str = "line-1"
    dtype: np.dtype = GREY8
    channel_names: tuple[str, ...] = ()
    places: LinePlaces | None = None
    lost: tuple[int, int] | None = None
    rows: np.ndarray | None = None
    closed: list[str] = field(default_factory=list, compare=False)

    @property
    def channels(self) -> int:
        """As many as have a name; one."""
        return max(len(self.channel_names), 1)

    def blocks(self, first: int = 0, stop: int | None = None) -> Iterator[Grey | LostLines]:
        """Blocks of 64 lines, until the one that can't be read; lines that are lost come as such."""
        noise = np.random.Generator(np.random.PCG64(5)).normal(150.0, 2.0, (self.lines, self.columns))
        rows = np.rint(noise).astype(np.uint8) if self.rows is None else self.rows
        end = self.lines if stop is None else stop
        try:
            for start in range(first, end, 64):
                if self.breaks_at is not None and start >= self.breaks_at:
                    raise InputError(where="segment-2.tif", rule="must be whole", mend="Copy it again.")
                yield from self._parts(rows, start, min(start + 64, end))
        finally:
            self.closed.append("closed")

    def damage(self) -> tuple[str, ...]:
        """What is lost."""
        return () if self.lost is None else (f"segment-2.tif is cut off: lines {self.lost[0]} to {self.lost[1]}",)

    def _parts(self, rows: np.ndarray, start: int, stop: int) -> Iterator[Grey | LostLines]:
        first, last = self.lost or (stop, stop)
        low, high = min(max(first, start), stop), min(max(last, start), stop)
        if start < low:
            yield rows[start:low]
        if low < high:
            yield LostLines(lines=high - low, why="segment-2.tif is cut off")
        if high < stop:
            yield rows[high:stop]


@dataclass
class FakeFiles:
    """A plant in memory; what it was asked is kept in order."""

    the_plant: Plant
    the_product: Product
    the_card: RollCard
    the_raster: FakeRaster | None = None
    the_strips: tuple[Strip, ...] = ()
    the_sheets: tuple[Sheet, ...] = ()
    the_sightings: tuple[Sighting, ...] = ()
    the_log: ProcessLog = field(default_factory=ProcessLog)
    the_properties: tuple[Measurement, ...] = ()
    fault: str = ""
    asked: list[str] = field(default_factory=list)

    def _ask(self, what: str) -> None:
        self.asked.append(what)
        if what == self.fault:
            raise InputError(where=what, rule="must be sound", mend="Mend it.")

    def plant(self) -> Plant:
        """The line."""
        self._ask("plant")
        return self.the_plant

    def product(self, name: str) -> Product:
        """The one product."""
        self._ask("product")
        assert name == self.the_product.name
        return self.the_product

    def card(self, roll: str) -> RollCard:
        """The one roll."""
        self._ask("card")
        assert roll == self.the_card.name
        return self.the_card

    def raster(self, roll: str, plant: Plant, product: Product) -> FakeRaster | None:
        """Its scan."""
        assert (roll, plant, product) == (self.the_card.name, self.the_plant, self.the_product)
        self._ask("raster")
        return self.the_raster

    def strips(self, roll: str) -> tuple[Strip, ...]:
        """Its strips."""
        assert roll == self.the_card.name
        self._ask("strips")
        return self.the_strips

    def properties(self, roll: str, product: Product, whole: Extent) -> tuple[Measurement, ...]:
        """What was measured of its properties."""
        assert (roll, product, whole.length_m) == (self.the_card.name, self.the_product, self.the_card.length_m)
        self._ask("properties")
        return self.the_properties

    def process_log(self, roll: str) -> ProcessLog:
        """Which processors its strips ran through."""
        assert roll == self.the_card.name
        return self.the_log

    def sheets(self, roll: str, whole: Extent) -> tuple[Sheet, ...]:
        """Its sheets."""
        assert (roll, whole.length_m) == (self.the_card.name, self.the_card.length_m)
        self._ask("sheets")
        return self.the_sheets

    def looks(self, roll: str, sheets: tuple[Sheet, ...]) -> tuple[SheetLook, ...]:
        """No further looks at them."""
        assert (roll, sheets) == (self.the_card.name, self.the_sheets)
        return ()

    def examiners(self) -> dict[str, Reliability]:
        """Nothing is known of the examiners."""
        return {}

    def sightings(self, roll: str, sheets: tuple[Sheet, ...]) -> tuple[Sighting, ...]:
        """What was seen on them."""
        assert (roll, sheets) == (self.the_card.name, self.the_sheets)
        self._ask("sightings")
        return self.the_sightings


@dataclass
class FakeOverview:
    """What was told of an overview, in order."""

    told: list[object] = field(default_factory=list)
    rows: list[np.ndarray] = field(default_factory=list)

    def put(self, mean: np.ndarray, worst: np.ndarray) -> None:
        """The next rows."""
        assert mean.shape == worst.shape
        self.rows.append(mean)

    def finish(self, cell_m: float, cell_mm: float, extent: Extent) -> None:
        """All is there."""
        self.told.append((cell_m, cell_mm, extent))

    def abandon(self) -> None:
        """Nothing of it is kept."""
        self.told.append("abandon")


@dataclass
class FakeResults:
    """Results in memory, by fingerprint."""

    scans: dict[str, ScanResult] = field(default_factory=dict)
    searches: dict[str, SeriesSearch] = field(default_factory=dict)
    trials: dict[str, DetectionResult] = field(default_factory=dict)
    overviews: dict[str, FakeOverview] = field(default_factory=dict)

    def overview(self, fingerprint: str) -> FakeOverview:
        """A new one."""
        self.overviews[fingerprint] = FakeOverview()
        return self.overviews[fingerprint]

    def load_detection(self, fingerprint: str) -> DetectionResult | None:
        """The trial of that fingerprint."""
        return self.trials.get(fingerprint)

    def save_detection(self, detection: DetectionResult, fingerprint: str) -> None:
        """Keep the trial."""
        self.trials[fingerprint] = detection

    def load_scan(self, fingerprint: str) -> ScanResult | None:
        """The scan of that fingerprint."""
        return self.scans.get(fingerprint)

    def save_scan(self, scan: ScanResult, fingerprint: str) -> None:
        """Keep the scan."""
        self.scans[fingerprint] = scan

    def load_series(self, fingerprint: str) -> SeriesSearch | None:
        """The search of that fingerprint."""
        return self.searches.get(fingerprint)

    def save_series(self, search: SeriesSearch, fingerprint: str) -> None:
        """Keep the search."""
        self.searches[fingerprint] = search


@dataclass
class FakeProgress:
    """What a person watching would have been told."""

    told: list[object] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    def note(self, message: str) -> None:
        """Something went wrong on the way."""
        self.notes.append(message)

    def start(self, what: str, total: int, unit: str) -> None:
        """Work begins."""
        self.told.append((what, total, unit))

    def advance(self, amount: int) -> None:
        """So much more is done."""
        self.told.append(amount)

    def finish(self) -> None:
        """Work ended."""
        self.told.append("finish")


def _criterion(name: str, measurand: Measurand, **fields: object) -> Criterion:
    values = {"limit": 0.0, "unit": "found", "consequence": Consequence.HOLD} | fields
    return Criterion(name=name, measurand=measurand, **values)


@pytest.fixture(scope="session")
def criteria() -> tuple[Criterion, ...]:
    """What the product must meet."""
    return (
        _criterion("Coverage", Measurand.COVERAGE, subject="scan", limit=0.9, unit="share"),
        _criterion("Strips", Measurand.EVIDENCE_COUNT, subject="strips", limit=1.0, unit="strips"),
        _criterion("Speed", Measurand.READING, subject="speed deviation", limit=0.3, unit="log H"),
        _criterion("Metal", Measurand.FORBIDDEN, kinds=("metal",)),
    )


@pytest.fixture(scope="session")
def product(criteria) -> Product:
    """A black-and-white film."""
    aims = Aims(
        film_type=FilmType.BLACK_AND_WHITE,
        curves={Record.VISUAL: Curve(log_h=LOG_H, density=_density(LOG_H))},
        tolerance_density=0.1,
    )
    return Product(
        name="sheet-100",
        film_type=FilmType.BLACK_AND_WHITE,
        sensitisation_nm=((380.0, 690.0),),
        aims=aims,
        reference_aims=aims,
        process_limit_density=0.05,
        criteria=criteria,
        widths=(SlitWidth(name="35", width_mm=35.0, tolerance_mm=0.025, finish=ByMetre(value_per_m=1.0)),),
        cut_rules=CutRules(edge_trim_mm=5.0, least_piece_m=0.1, setup_m=0.0),
    )


@pytest.fixture(scope="session")
def whole() -> Extent:
    """The roll as one rectangle."""
    return Extent(along_from_m=0.0, along_to_m=LENGTH_M, across_from_mm=0.0, across_to_mm=WIDTH_MM)


@pytest.fixture(scope="session")
def card() -> RollCard:
    """A roll of two batches."""
    batches = (
        Batch(name="E-1", along_from_m=0.0, along_to_m=1.0),
        Batch(name="E-2", along_from_m=1.0, along_to_m=LENGTH_M),
    )
    return RollCard(name="T-1", product="sheet-100", length_m=LENGTH_M, batches=batches)


@pytest.fixture(scope="session")
def strip():
    """Make a strip that is ``slower`` by so much log H and fogged by so much density, at a place along."""

    def strip(name: str, run: str = "P1", along_m: float | None = None, *, slower: float = 0, fog: float = 0) -> Strip:
        density = _density(LOG_H - slower) + 0.004 * np.cos(40.0 * LOG_H) + fog
        return Strip(
            name=name,
            kind=StripKind.REFERENCE if along_m is None else StripKind.CHECK,
            run=run,
            log_h=LOG_H,
            density={Record.VISUAL: density},
            place=None if along_m is None else Place(along_m=along_m, across_mm=60.0),
        )

    return strip


@pytest.fixture(scope="session")
def sheet() -> Sheet:
    """A sheet cut from the second batch."""
    extent = Extent(along_from_m=1.2, along_to_m=1.5, across_from_mm=0.0, across_to_mm=WIDTH_MM)
    return Sheet(name="A", extent=extent, examiner="examiner A")


@pytest.fixture(scope="session")
def sighting():
    """Make a sighting on the sheet."""

    def sighting(**fields: object) -> Sighting:
        place = Place(along_m=1.3, across_mm=50.0)
        return Sighting(
            **({"sheet": "A", "kind": MarkKind.SPOT, "place": place, "size_mm": 0.4, "through": {}} | fields)
        )

    return sighting


@pytest.fixture
def files(product, card, strip) -> FakeFiles:
    """A roll that was scanned and has a strip for each batch, with a reference beside them."""
    plant = Plant(
        name="Little Mere, line 1",
        web_width_mm=WIDTH_MM,
        datum_edge="drive side",
        rollers=(Roller(name="R1", diameter_mm=80.0),),
        scanners={"line-1": Scanner(name="line-1", wavelength_nm=850.0)},
    )
    strips = (strip("S-1", along_m=0.5), strip("S-2", along_m=1.5), strip("ref-1"))
    return FakeFiles(plant, product, card, the_raster=FakeRaster(), the_strips=strips)


@pytest.fixture
def bare_files(files) -> FakeFiles:
    """The same roll before anything was measured on it."""
    return FakeFiles(files.the_plant, files.the_product, files.the_card)


@pytest.fixture
def results() -> FakeResults:
    """No results yet."""
    return FakeResults()


@pytest.fixture
def desk(results):
    """Take the roll in hand."""

    def desk(files: FakeFiles, *, scan: str = "scan-1", progress: object = None) -> RollDesk:
        return open_roll(
            files.the_card,
            plant=files.plant(),
            product=files.product(files.the_card.product),
            files=files,
            results=results,
            fingerprints={"scan": scan, "repeats": f"repeats-{scan}"},
            progress=progress or Silent(),
        )

    return desk


@pytest.fixture
def progress() -> FakeProgress:
    """Somebody watching."""
    return FakeProgress()


@pytest.fixture(scope="session")
def raster():
    """Make a raster."""
    return FakeRaster
