"""A scanned roll as the viewer needs it: its overview, its raster where that is at hand, its marks."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Final

from wideroll.errors import InputError
from wideroll.server.desk import Desk
from wideroll.server.rolls.data import check_roll
from wideroll.server.viewer.kept import Kept
from wideroll.server.viewer.segments import Cells, Level, Segment, cut_levels, cut_segments

if TYPE_CHECKING:
    import polars as pl

    from wideroll.readers import SegmentedRaster
    from wideroll.roll import Lane
    from wideroll.store import Pyramid
    from wideroll.store.scan_files import ScanCard

__all__ = ["RollView", "is_scanned", "view_of"]

_OVERVIEW: Final = "overview.zarr"
_MARKS: Final = "marks.parquet"
_CARD: Final = "state/scan"
_MOST_VIEWS: Final = 24
_LEAST_LANE_MM: Final = 1.0
"""Of narrower ones there would be more than anybody could want, or a machine could hold."""
_MARK_LETTERS: Final = 16


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RollView:
    """One roll. Its results may be replaced meanwhile; ask ``view_of`` each time."""

    roll: str
    folder: Path
    pyramid: "Pyramid"
    card: "ScanCard | None"
    """What the scan says of itself; None where it isn't the one that the overview was made in."""
    raster: "SegmentedRaster | None"
    no_raster: str
    """Why there is none, empty where there is one."""
    marks: "pl.DataFrame"
    """By place along, then across, with ``size_mm``, the larger of length and width."""
    lane_mm: float
    """Width of a lane unless somebody asks for another; 0 where the product doesn't tell."""
    mark: str
    """Changes whenever any of these does; short enough for an address."""

    @property
    def cells(self) -> Cells:
        """Of the overview."""
        rows, across = self.pyramid.shapes[0]
        return Cells(
            along=rows,
            across=across,
            cell_m=self.pyramid.cell_m,
            cell_mm=self.pyramid.cell_mm,
            levels=len(self.pyramid.shapes),
        )

    @property
    def segments(self) -> tuple[Segment, ...]:
        """From head to tail."""
        return cut_segments(self.cells)

    def levels(self, segment: Segment) -> tuple[Level, ...]:
        """Of a segment, coarsest first."""
        return cut_levels(self.cells, segment, pitch_mm=self.raster.pitch_mm if self.raster else None)

    def span_m(self, segment: Segment) -> tuple[float, float]:
        """Where a segment lies, from the head."""
        from_m, to_m = self.roll_m(segment.first), self.roll_m(segment.last)
        return from_m, min(to_m, max(self.pyramid.extent.along_to_m, from_m))

    def roll_m(self, row: int) -> float:
        """Where a row of the finest level starts, from the head, by the encoder's count where there is one."""
        nominal = row * self.pyramid.cell_m
        if self.card is None or self.card.places is None:
            return nominal
        return self.card.places.along_m(nominal * 1000.0 / self.card.pitch_mm[0])

    def lanes(self, lane_mm: float) -> "tuple[Lane, ...]":
        """Lanes of a width, side by side in the middle of the web."""
        from wideroll.roll import lanes_of  # noqa: PLC0415  (slow to load, and not every page needs it)

        return lanes_of(self.pyramid.extent, lane_mm) if lane_mm >= _LEAST_LANE_MM else ()


def is_scanned(desk: Desk, roll: str) -> bool:
    """Whether there is an overview to look at.

    Raises:
        InputError: when such a name can't be a roll's.
    """
    folder = _folder(desk, roll)
    return folder is not None and (folder / _OVERVIEW / "zarr.json").is_file()


def view_of(desk: Desk, roll: str) -> RollView:
    """A scanned roll.

    Raises:
        InputError: when such a name can't be a roll's, or its results are damaged.
        FileNotFoundError: when there is no such roll, or it wasn't scanned.
    """
    folder = _folder(desk, roll)
    if folder is None or not is_scanned(desk, roll):
        raise FileNotFoundError(roll)
    views: Kept[RollView] = desk.parts.setdefault("viewer rolls", Kept(most_bytes=_MOST_VIEWS, size=_one))
    stamp = _stamp(desk.root, folder)
    return views.get((roll, stamp), partial(_open, desk, roll, folder, stamp))


def _folder(desk: Desk, roll: str) -> Path | None:
    """The folder of a roll's results; None when there is none, or it is a link that leads elsewhere."""
    folder = (desk.results / check_roll(roll)).resolve()
    return folder if folder.parent == desk.results.resolve() and folder.is_dir() else None


def _one(_: object) -> int:
    return 1


def _stamp(root: Path, folder: Path) -> tuple[tuple[int, int, int], ...]:
    """Size and times of what a view is made of: files are replaced whole, so that a new one has another."""
    scan = root / "rolls" / folder.name
    results = (folder / _OVERVIEW / "zarr.json", folder / _MARKS, folder / f"{_CARD}.json")
    return tuple(_seen(path) for path in (*results, scan / "roll.toml", scan / "scan", scan / "scan" / "scan.toml"))


def _seen(path: Path) -> tuple[int, int, int]:
    try:
        stat = path.stat()
    except OSError:
        return (0, 0, 0)
    return (stat.st_ino, stat.st_mtime_ns, stat.st_size)


def _open(desk: Desk, roll: str, folder: Path, stamp: tuple[tuple[int, int, int], ...]) -> RollView:
    from wideroll.store import ResultsFolder, fingerprint, open_pyramid  # noqa: PLC0415  (slow to load)
    from wideroll.store.scan_files import ScanCard  # noqa: PLC0415

    pyramid = open_pyramid(folder / _OVERVIEW)
    card = ResultsFolder(folder).load(_CARD, ScanCard, pyramid.fingerprint)
    raster, no_raster, lane_mm = _from_plant(desk.root, roll, card)
    made_from = {"overview": pyramid.fingerprint, "seen": repr(stamp), "raster": no_raster}
    return RollView(
        roll=roll,
        folder=folder,
        pyramid=pyramid,
        card=card,
        raster=raster,
        no_raster=no_raster,
        marks=_marks(folder / _MARKS),
        lane_mm=lane_mm,
        mark=fingerprint(made_from)[:_MARK_LETTERS],
    )


def _from_plant(root: Path, roll: str, card: "ScanCard | None") -> "tuple[SegmentedRaster | None, str, float]":
    """The raster or why there is none, and the width of the product's first lanes."""
    from wideroll.readers import PlantFolder  # noqa: PLC0415  (slow to load)

    files = PlantFolder(root)
    lane_mm = 0.0
    try:
        plant = files.plant()
        product = files.product(files.card(roll).product)
        lane_mm = product.widths[0].width_mm if product.widths else 0.0
        return (*_raster(lambda: files.raster(roll, plant, product), card), lane_mm)
    except InputError as error:
        return None, f"{error.where.removeprefix(f'{root}/')}: {error.rule}", lane_mm


def _raster(
    find: "Callable[[], SegmentedRaster | None]", card: "ScanCard | None"
) -> "tuple[SegmentedRaster | None, str]":
    if card is None:
        return None, "what the scan says of itself is missing or older than the overview"
    raster = find()
    if raster is None:
        return None, "the raster isn't in the plant's folder any more"
    if (raster.lines, raster.columns, raster.pitch_mm) != (card.lines, card.columns, card.pitch_mm):
        return None, "the raster isn't the one that was scanned"
    return raster, ""


def _marks(path: Path) -> "pl.DataFrame":
    import polars as pl  # noqa: PLC0415  (slow to load)

    from wideroll.roll import check_marks, empty_marks  # noqa: PLC0415

    table = empty_marks()
    if path.is_file():
        try:
            table = check_marks(pl.read_parquet(path), where=path.name)
        except (OSError, pl.exceptions.PolarsError) as error:
            raise InputError(
                where=path.name, rule="must be the marks table of the scan", value=str(error), mend="Scan it again."
            ) from error
    return table.with_columns(size_mm=pl.max_horizontal("length_mm", "width_mm")).sort("along_m", "across_mm", "id")
