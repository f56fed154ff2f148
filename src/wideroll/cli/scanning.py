"""The command that scans: a roll of a plant, or a raster of one's own."""

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Final

import polars as pl
import typer
from rich.table import Table

from wideroll.acts.rolls import take_in_hand, tell_damage
from wideroll.cli.app import app
from wideroll.cli.console import Bar, decimal, print_json, print_table, say, tell
from wideroll.cli.options import NAME_A_ROLL, Json, OptionalRoll, misused
from wideroll.cli.scan_view import show_detection, show_scan
from wideroll.errors import InputError
from wideroll.readers import open_segments
from wideroll.report.machine import detection_json, scan_json
from wideroll.roll import Extent
from wideroll.scan import ScanResult, ScanSettings
from wideroll.scan.detection import DetectionResult
from wideroll.store import write_chips, write_marks_csv
from wideroll.workflow import measure_detection, scan_web

__all__ = ["scan"]

_HAS_A_PITCH: Final = "the scan of a roll has its pitch in scan.toml"
_GIVE_A_PITCH: Final = "a bare raster needs the size of its pixels, like 0.1"
_SAY_WHERE: Final = "say where the crops go with --chips FOLDER"
_RASTER: Final = ".zarr"
_TARGET: Final = "A plant's folder, or a TIFF, PNG, Zarr or raw raster of your own."


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Scanned:
    """What there is to show."""

    scan: ScanResult
    whole: Extent | None = None
    """The roll; None for a bare raster."""
    detection: DetectionResult | None = None


@app.command()
def scan(
    target: Annotated[Path, typer.Argument(metavar="PATH", help=_TARGET)],
    roll: OptionalRoll = None,
    *,
    pitch_mm: Annotated[
        float | None,
        typer.Option(parser=decimal, metavar="MM", help="Size of a pixel of a bare raster, in mm."),
    ] = None,
    out: Annotated[Path | None, typer.Option(help="Also write the marks to this CSV file.")] = None,
    chips: Annotated[
        Path | None, typer.Option(metavar="FOLDER", help="Also write crops of the worst marks to this folder.")
    ] = None,
    chip: Annotated[
        list[str] | None, typer.Option(metavar="ID", help="A mark that --chips must show too; may be repeated.")
    ] = None,
    pod: Annotated[
        bool, typer.Option("--pod", help="Measure how likely a mark is found, by laying marks on this very raster.")
    ] = False,
    as_json: Json = False,
) -> None:
    """Find marks, streaks, bands and splices in a scanner's raster, and say what was not looked at.

    \b
    Examples:
      wideroll scan demo W-2042                 the scan of a roll
      wideroll scan demo W-2042 --pod           and how likely a mark of a size and contrast is found
      wideroll scan web.tif --pitch-mm 0.1      any grey TIFF, PNG, Zarr or raw raster, 8 or 16 bit
    """
    if chip and chips is None:
        raise misused(_SAY_WHERE, "--chip")
    if roll is not None:
        if pitch_mm is not None:
            raise misused(_HAS_A_PITCH, "--pitch-mm")
        found = _scan_roll(target, roll, chip or (), pod=pod)
    else:
        if target.is_dir() and target.suffix.lower() != _RASTER:
            raise misused(NAME_A_ROLL, "ROLL")
        if pitch_mm is None or not 0 < pitch_mm < math.inf:
            raise misused(_GIVE_A_PITCH, "--pitch-mm")
        found = _scan_bare(target, pitch_mm, chip or (), pod=pod)
    _write(found.scan, out, chips)
    _show(found, as_json=as_json)


def _scan_roll(plant: Path, roll: str, chip: Sequence[str], *, pod: bool) -> _Scanned:
    hand = take_in_hand(plant, roll)
    result = hand.desk.scan()
    if result is None:
        raise InputError(
            where=str(plant / "rolls" / roll / "scan"),
            rule="the roll has no scan",
            mend="Put the scanner's files there.",
        )
    _check_known(chip, result.marks)
    if set(chip) - {one.mark for one in result.chips}:
        # The pixels are at hand only while they are scanned; what is kept of the roll stays as it is.
        result = hand.desk.scan_again(chip) or result
    detection = hand.desk.measure_detection() if pod else None
    tell_damage(hand)
    return _Scanned(scan=result, whole=hand.desk.whole, detection=detection)


def _scan_bare(path: Path, pitch_mm: float, chip: Collection[str], *, pod: bool) -> _Scanned:
    raster = open_segments([path], pitch_mm=(pitch_mm, pitch_mm), source=path.stem)
    settings = ScanSettings(source=path.stem)
    result = scan_web(raster, settings=settings, progress=Bar(), chips_of=chip)
    _check_known(chip, result.marks)
    detection = measure_detection(raster, settings, progress=Bar()) if pod else None
    return _Scanned(scan=result, detection=detection)


def _check_known(chip: Collection[str], marks: pl.DataFrame) -> None:
    for name in sorted(set(chip) - set(marks["id"])):
        raise InputError(
            where="--chip",
            rule="must be the id of a mark of this scan",
            value=name,
            mend="Take it from marks.parquet, or from the file that --out writes.",
        )


def _write(result: ScanResult, out: Path | None, chips: Path | None) -> None:
    if out is not None:
        write_marks_csv(out, result.marks)
        tell(f"marks: {out}")
    if chips is not None:
        write_chips(chips, result.chips, result.marks, result.pitch_mm)
        tell(f"chips: {chips}")


def _show(found: _Scanned, *, as_json: bool) -> None:
    if as_json:
        document: dict[str, Any] = scan_json(found.scan, whole=found.whole, marks=found.whole is None)
        print_json(document | {"detection": detection_json(found.detection) if found.detection else None})
        return
    for part in show_scan(found.scan, found.whole):
        _print(part)
    for part in show_detection(found.detection) if found.detection else ():
        _print(part)


def _print(part: str | Table) -> None:
    if isinstance(part, str):
        say(part)
    else:
        print_table(part)
