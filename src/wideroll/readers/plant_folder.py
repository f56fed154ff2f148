"""A plant on disk: the files of DESIGN's layout, read when asked for."""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

from wideroll.errors import InputError
from wideroll.examination import Photograph, Reliability, Sheet, SheetLook, Sighting, SightingLog
from wideroll.readers.cleaning_files import read_cleanings
from wideroll.readers.encoder import check_within, read_encoder
from wideroll.readers.examiner_file import read_examiners
from wideroll.readers.instrument_files import Instruments, read_instruments
from wideroll.readers.look_files import read_looks
from wideroll.readers.models import PlantFile, ProductFile, RollFile
from wideroll.readers.order_files import read_book_terms, read_orders
from wideroll.readers.photograph_file import read_photograph
from wideroll.readers.processor_files import process_files, read_process_log, read_processors
from wideroll.readers.property_files import read_properties
from wideroll.readers.raster_segments import SegmentedRaster, open_segments
from wideroll.readers.record_address import OWN_RECORD, RecordFile
from wideroll.readers.scan_file import ScanFile
from wideroll.readers.segment_list import segments_there
from wideroll.readers.segment_watch import SegmentWatch
from wideroll.readers.sheet_files import read_sheets
from wideroll.readers.sighting_files import read_sighting_log, read_sightings
from wideroll.readers.strip_files import read_strips
from wideroll.readers.toml_files import placed, read_toml
from wideroll.roll import Extent
from wideroll.sensitometry import Strip
from wideroll.slitting import BookTerms, Order
from wideroll.workflow import Measurement, Plant, ProcessLog, ProcessorHistory, Product, RollCard, whole_web

__all__ = ["PlantFolder"]

_PLAIN_NAME: Final = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,119}")


@dataclass(frozen=True, slots=True)
class PlantFolder:
    """The folder of a plant."""

    root: Path

    def plant(self) -> Plant:
        """plant.toml and cleanings.csv.

        Raises:
            InputError: when one of them has a fault.
        """
        path = self.root / "plant.toml"
        with placed(path):
            plant = read_toml(path, PlantFile).build()
        names = [roller.name for roller in plant.rollers]
        return replace(plant, cleanings=read_cleanings(self.root / "cleanings.csv", names))

    def record_url(self) -> str:
        """Address of the record: as record.toml says, else plant.toml, else wideroll.db in the plant's folder.

        Raises:
            InputError: when one of them has a fault.
        """
        path, note = self.root / "plant.toml", self.root / "record.toml"
        with placed(path):
            said = read_toml(path, PlantFile).record
        if note.is_file():
            with placed(note):
                said = read_toml(note, RecordFile).record
        return f"sqlite:///{self.root / OWN_RECORD}" if said in {None, OWN_RECORD} else str(said)

    def product(self, name: str) -> Product:
        """products/<name>.toml.

        Raises:
            InputError: when there is no such product (names those that there are), or its file has a fault.
        """
        path = self.root / "products" / f"{_plain(name, 'product')}.toml"
        if not path.is_file():
            known = ", ".join(sorted(p.stem for p in path.parent.glob("*.toml"))) or "none"
            raise InputError(
                where=str(path.parent),
                rule=f"the product must be one of: {known}",
                value=name,
                mend="Correct its name where it was given (roll.toml, or the command), or add its file.",
            )
        with placed(path):
            return read_toml(path, ProductFile).build(name, path.parent)

    def rolls(self) -> tuple[str, ...]:
        """Names of the rolls, sorted."""
        return tuple(sorted(path.parent.name for path in (self.root / "rolls").glob("*/roll.toml")))

    def card(self, roll: str) -> RollCard:
        """rolls/<roll>/roll.toml.

        Raises:
            InputError: when there is no such roll, or its file has a fault.
        """
        path = self._roll(roll) / "roll.toml"
        if not path.is_file():
            known = ", ".join(self.rolls()) or "none"
            raise InputError(
                where=str(self.root / "rolls"), rule=f"the roll must be one of: {known}", value=roll, mend="Correct it."
            )
        with placed(path):
            return read_toml(path, RollFile).build(roll)

    def raster(self, roll: str, plant: Plant, product: Product) -> SegmentedRaster | None:
        """The scan of a roll, or None where it wasn't scanned.

        Raises:
            InputError: when a segment is missing or its header can't be read, nothing of the scan is readable, the
                encoder's table has a fault, the scanner isn't in plant.toml, or its light would fog the product.
        """
        folder = self._roll(roll) / "scan"
        if not folder.is_dir():
            return None
        path = folder / "scan.toml"
        file = read_toml(path, ScanFile)
        _check_scanner(path, file, plant, product)
        segments = segments_there(folder, file)
        encoder = folder / _plain(file.encoder, f"{path}, encoder") if file.encoder else None
        places = read_encoder(encoder, pitch_along_mm=file.pitch_along) if encoder else None
        raster = open_segments(
            [folder / _plain(segment.file, f"{path}, segment") for segment in segments],
            pitch_mm=(file.pitch_along, file.pitch_across),
            source=file.scanner,
            starts_m=[segment.start for segment in segments],
            channels=file.channels,
            places=places,
            where=str(path),
        )
        if places and encoder:
            check_within(places, raster.lines, encoder)
        return raster

    def segment_watch(self, roll: str, plant: Plant, product: Product) -> SegmentWatch:
        """The scan of a roll while the scanner still writes it.

        Raises:
            InputError: when there is no scan.toml or it has a fault, the scanner isn't in plant.toml, or its light
                would fog the product.
        """
        watch = SegmentWatch(self._roll(roll) / "scan")
        _check_scanner(watch.path, watch.said, plant, product)
        return watch

    def orders(self, product: str) -> tuple[Order, ...]:
        """What finishing needs of a product, from orders.toml."""
        return tuple(order for order in read_orders(self.root / "orders.toml") if order.product == product)

    def book_terms(self) -> BookTerms:
        """What failing an order costs, from orders.toml."""
        return read_book_terms(self.root / "orders.toml")

    def strips(self, roll: str) -> tuple[Strip, ...]:
        """The strips of a roll."""
        whole = whole_web(self.card(roll).length_m, self.plant().web_width_mm)
        return read_strips(self._roll(roll) / "strips", whole, instruments=self.instruments())

    def properties(self, roll: str, product: Product, whole: Extent) -> tuple[Measurement, ...]:
        """What was measured of a roll's properties.

        Raises:
            InputError: when a line of properties.csv has a fault.
        """
        path = self._roll(roll) / "properties.csv"
        return read_properties(path, product.properties, whole, instruments=self.instruments())

    def instruments(self) -> Instruments | None:
        """The lab's tablets, densitometers, sensitometers and gauges; None without instruments.toml."""
        return read_instruments(self.root / "instruments.toml")

    def process_log(self, roll: str) -> ProcessLog:
        """The lab's processors and which of them the runs of a roll's strips went through; empty without them."""
        return read_process_log(self.root, self._roll(roll) / "strips")

    def processors(self) -> tuple[ProcessorHistory, ...]:
        """The lab's processors, each with its history."""
        return read_processors(self.root)

    def sheets(self, roll: str, whole: Extent) -> tuple[Sheet, ...]:
        """The sample sheets of a roll."""
        return read_sheets(self._roll(roll) / "examination", whole)

    def looks(self, roll: str, sheets: tuple[Sheet, ...]) -> tuple[SheetLook, ...]:
        """Further looks at them."""
        return read_looks(self._roll(roll) / "examination", sheets)

    def examiners(self) -> Mapping[str, Reliability]:
        """How often each examiner's answers are wrong, where it is known."""
        return read_examiners(self.root / "examiners.toml")

    def sightings(self, roll: str, sheets: tuple[Sheet, ...]) -> tuple[Sighting, ...]:
        """What was seen on them."""
        return read_sightings(self._roll(roll) / "examination", sheets)

    def sighting_log(self, roll: str, sheets: tuple[Sheet, ...]) -> SightingLog:
        """The same with what was taken back."""
        return read_sighting_log(self._roll(roll) / "examination", sheets)

    def photograph(self, roll: str, name: str) -> Photograph:
        """A photograph of a mark.

        Raises:
            InputError: when it isn't a photograph in colour, or can't be decoded.
        """
        return read_photograph(self._roll(roll) / "examination" / _plain(name, "photograph"))

    def scan_inputs(self, roll: str) -> tuple[Path, ...]:
        """The files a scan depends on."""
        return _files([self._roll(roll) / "scan"])

    def inputs(self, roll: str, product: str) -> tuple[Path, ...]:
        """All files a decision on a roll depends on."""
        path = self.root / "products" / f"{product}.toml"
        spectra = read_toml(path, ProductFile).spectra if path.is_file() else ()
        plant = (self.root / name for name in ("plant.toml", "instruments.toml", "examiners.toml"))
        own = [*plant, path, *(path.with_name(s) for s in spectra)]
        return _files([*own, self._roll(roll), *process_files(self.root, self._roll(roll) / "strips")])

    def _roll(self, roll: str) -> Path:
        return self.root / "rolls" / _plain(roll, "roll")


def _check_scanner(path: Path, file: ScanFile, plant: Plant, product: Product) -> None:
    scanner = plant.scanners.get(file.scanner)
    if scanner is None:
        raise InputError(
            where=f"{path}, field scanner",
            rule=f"must be one of plant.toml's scanners: {', '.join(plant.scanners) or 'none'}",
            value=file.scanner,
            mend="Correct the name, or add the scanner to plant.toml.",
        )
    product.check_scanner(scanner, where=f"{path}, field scanner")


def _plain(name: str, what: str) -> str:
    if not _PLAIN_NAME.fullmatch(name):
        raise InputError(
            where=f"{what} name",
            rule="must be at most 120 letters, digits, dots, dashes and underscores, and start with a letter or digit",
            value=name,
            mend="Use the plain name, without a folder.",
        )
    return name


def _files(paths: Iterable[Path]) -> tuple[Path, ...]:
    found: set[Path] = set()
    for path in paths:
        if path.is_dir():
            found.update(p for p in path.rglob("*") if p.is_file())
        elif path.is_file():
            found.add(path)
    return tuple(sorted(found))
