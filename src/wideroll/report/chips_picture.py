"""Chips of one kind of mark on a contact sheet, the clearest first, in the scanner's own grey."""

import math
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import polars as pl
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle
from numpy.typing import NDArray

from wideroll.report.grid import Cell, Column, Grid
from wideroll.report.quantities import decimals_for, show_count, show_number
from wideroll.report.svg import slug, to_svg
from wideroll.report.theme import FIGURE_WIDTH_IN, INK, MUTED, PAPER, SMALL_PT, TEXT_PT, drawing
from wideroll.scan.model import Chip, ScanResult

__all__ = ["chip_kinds", "chips_caption", "chips_grid", "draw_chips"]

_ABREAST: Final = 6
_SIDE_IN: Final = 1.08
_ABOVE_IN: Final = 0.2
_WORDS_IN: Final = 0.5
_LINE_IN: Final = 0.125
_LEAST_GREY: Final = 4.0
"""Noise fills no more than a quarter of the greys on either side of the middle."""
_OUTLINE_PX: Final = 1.5
"""Kept free between a mark and its outline."""
_SAME_MARGIN_PX: Final = 2.0
_LEAST_REACH: Final = 0.01
_BAR_SHARE: Final = 0.4
_BARS_MM: Final = (0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Tile:
    """A chip with its mark; ``box_mm`` holds the mark: along from, across from, length, width within the chip."""

    chip: Chip
    row: dict[str, Any]
    pitch_mm: tuple[float, float]
    box_mm: tuple[float, float, float, float]
    reach: float
    """Greys from black to white, as a fraction of the chip's own level either way."""


def chip_kinds(scan: ScanResult) -> tuple[str, ...]:
    """The kinds of mark that chips were kept of, in the order of their names."""
    kept = scan.marks.filter(pl.col("id").is_in([chip.mark for chip in scan.chips]))
    return tuple(sorted(set(kept["kind"].cast(pl.String).to_list())))


def draw_chips(scan: ScanResult, kind: str, *, key: str = "") -> str:
    """All chips of a kind as SVG, numbered as in the table beside it.

    Along runs to the right and across upwards, as on every drawing of the web. Each chip is as bright as the scanner
    saw it, its greys spread about its own level as far as it needs; beneath it stand size, contrast and how far it
    stands out of the noise, and its place. A light line under a dark one frames the mark, and a bar gives the scale.

    Args:
        scan: with chips.
        kind: of mark, one of ``chip_kinds``.
        key: prefix of the ids in the SVG, its own for each figure of a page; made from the kind unless given.
    """
    tiles = _tiles(scan, kind)
    deep = max(1, math.ceil(len(tiles) / _ABREAST))
    tall = _ABOVE_IN + _SIDE_IN + _WORDS_IN
    with drawing():
        figure = Figure(figsize=(FIGURE_WIDTH_IN, deep * tall))
        for place, tile in enumerate(tiles):
            across, down = place % _ABREAST, place // _ABREAST
            left = (across + 0.5) * FIGURE_WIDTH_IN / _ABREAST - _SIDE_IN / 2.0
            bottom = (deep - down) * tall - _ABOVE_IN - _SIDE_IN
            axes = figure.add_axes(
                (
                    left / FIGURE_WIDTH_IN,
                    bottom / (deep * tall),
                    _SIDE_IN / FIGURE_WIDTH_IN,
                    _SIDE_IN / (deep * tall),
                )
            )
            _draw_tile(axes, tile, place + 1)
        return to_svg(
            figure,
            key=key or f"chips-{slug(kind)}",
            title=f"Chips of marks: {kind}",
            description=f"{chips_caption(scan, kind)} Each picture is described in the table that goes with it.",
        )


def chips_caption(scan: ScanResult, kind: str) -> str:
    """How many of the kind are shown of how many, and which stands out most."""
    tiles = _tiles(scan, kind)
    found = int((scan.marks["kind"].cast(pl.String) == kind).sum())
    if not tiles:
        return f"No chip of kind {kind} was kept."
    first = tiles[0].row
    return (
        f"{len(tiles)} of {show_count(found, 'mark')} of kind {kind}, the clearest first. "
        f"The clearest is {_size(first)}, {_contrast(first)}, at {_place(first)}."
    )


def chips_grid(scan: ScanResult, kind: str) -> Grid:
    """The figure's data: a row for each chip, in its order."""
    rows = tuple(
        (
            Cell(text=str(number)),
            Cell(text=tile.row["id"], note=tile.row["rule"]),
            Cell(text=show_number(tile.row["along_m"], 3)),
            Cell(text=show_number(tile.row["across_mm"], 1)),
            Cell(text=show_number(tile.row["length_mm"], 2)),
            Cell(text=show_number(tile.row["width_mm"], 2)),
            Cell(text=show_number(_signed(tile.row) * 100.0, 1, signed=True)),
            Cell(text=show_number(tile.row["snr"], 1)),
        )
        for number, tile in enumerate(_tiles(scan, kind), start=1)
    )
    return Grid(
        caption=f"Chips of marks: {kind}",
        columns=(
            Column(head="no.", number=True),
            Column(head="id"),
            Column(head="along, m", number=True),
            Column(head="across, mm", number=True),
            Column(head="length, mm", number=True),
            Column(head="width, mm", number=True),
            Column(head="contrast, %", number=True),
            Column(head="× noise", number=True),
        ),
        rows=rows,
        empty=f"No chip of kind {kind} was kept.",
    )


def _tiles(scan: ScanResult, kind: str) -> tuple[_Tile, ...]:
    """Chips of marks of the kind, those that stand out most first."""
    named = {chip.mark: chip for chip in scan.chips}
    mine = scan.marks.filter((pl.col("kind").cast(pl.String) == kind) & pl.col("id").is_in(list(named)))
    ordered = mine.with_columns(pl.col("polarity").cast(pl.String)).sort(
        ["snr", "along_m", "across_mm"], descending=[True, False, False]
    )
    return tuple(_tile(scan, named[row["id"]], row) for row in ordered.iter_rows(named=True))


def _tile(scan: ScanResult, chip: Chip, row: dict[str, Any]) -> _Tile:
    along_mm, across_mm = scan.pitch_mm
    line = 1000.0 * row["along_m"] / along_mm
    if scan.places is not None:
        line, along_mm = scan.places.line(row["along_m"]), scan.places.pitch_mm(float(chip.first_line))
    level = float(np.median(chip.pixels))
    departures = np.abs(chip.pixels / level - 1.0) if level > 0.0 else np.zeros(1)
    lines, columns = chip.pixels.shape
    long, wide = row["length_mm"] / along_mm, row["width_mm"] / across_mm
    # A chip is cut with the same margin all round, unless the lines at hand ended before it did.
    whole = abs((lines - long) - (columns - wide)) <= _SAME_MARGIN_PX
    middle = lines / 2.0 if whole else line - chip.first_line
    long, wide = long + 2.0 * _OUTLINE_PX, wide + 2.0 * _OUTLINE_PX
    return _Tile(
        chip=chip,
        row=row,
        pitch_mm=(along_mm, across_mm),
        box_mm=(
            (middle - long / 2.0) * along_mm,
            (columns - wide) / 2.0 * across_mm,
            long * along_mm,
            wide * across_mm,
        ),
        reach=min(1.0, max(float(departures.max()), _LEAST_GREY * scan.noise, _LEAST_REACH)),
    )


def _draw_tile(axes: Axes, tile: _Tile, number: int) -> None:
    lines, columns = tile.chip.pixels.shape
    length, width = lines * tile.pitch_mm[0], columns * tile.pitch_mm[1]
    axes.imshow(
        _greys(tile),
        cmap="gray",
        vmin=0,
        vmax=255,
        origin="lower",
        extent=(0.0, length, 0.0, width),
        interpolation="none",
        aspect="equal",
    )
    axes.set_anchor("SW")
    axes.set_xticks([])
    axes.set_yticks([])
    x, y, wide, tall = tile.box_mm
    for colour, points in ((PAPER, 2.6), (INK, 1.0)):
        axes.add_patch(Rectangle((x, y), wide, tall, fill=False, edgecolor=colour, linewidth=points))
    axes.set_xlim(0.0, length)
    axes.set_ylim(0.0, width)
    _draw_bar(axes, length, width)
    _write_about(axes, tile.row, number)


def _write_about(axes: Axes, row: dict[str, Any], number: int) -> None:
    """Number and polarity above the chip; size, contrast and place beneath it."""
    above = (f"{number}  {row['polarity']}", 1.0, 3.0, TEXT_PT)
    beneath = [
        (text, 0.0, -3.0 - 72.0 * _LINE_IN * place, SMALL_PT)
        for place, text in enumerate((_size(row), _contrast(row), _place(row)))
    ]
    for text, foot, points, size in (above, *beneath):
        axes.annotate(
            text,
            (0.0, foot),
            xycoords="axes fraction",
            xytext=(0, points),
            textcoords="offset points",
            fontsize=size,
            va="bottom" if foot else "top",
        )


def _draw_bar(axes: Axes, length: float, width: float) -> None:
    """A scale in the corner, a dark line on a light one; its length stands above the chip, where nothing is hidden."""
    bar = max((mm for mm in _BARS_MM if mm <= _BAR_SHARE * length), default=_BARS_MM[0])
    ends, level = [0.05 * length, 0.05 * length + bar], [0.06 * width] * 2
    for colour, points in ((PAPER, 3.2), (INK, 1.4)):
        axes.plot(ends, level, color=colour, linewidth=points, solid_capstyle="butt")
    axes.annotate(
        f"bar {bar:g} mm",
        (1.0, 1.0),
        xycoords="axes fraction",
        xytext=(0, 3),
        textcoords="offset points",
        fontsize=SMALL_PT,
        color=MUTED,
        ha="right",
    )


def _greys(tile: _Tile) -> NDArray[np.uint8]:
    """The chip in 8 bits ``[across, along]``, its own level in the middle."""
    level = max(float(np.median(tile.chip.pixels)), 1.0)
    spread = (tile.chip.pixels.T / level - 1.0) / tile.reach
    return np.clip(np.round(127.5 * (1.0 + spread)), 0, 255).astype(np.uint8)


def _signed(row: dict[str, Any]) -> float:
    contrast = float(row["contrast"])
    return -contrast if row["polarity"] == "dark" else contrast


def _size(row: dict[str, Any]) -> str:
    decimals = min(decimals_for((row["length_mm"], row["width_mm"])), 2)
    return f"{show_number(row['length_mm'], decimals)} × {show_number(row['width_mm'], decimals)} mm"


def _contrast(row: dict[str, Any]) -> str:
    return f"{show_number(_signed(row) * 100.0, 1, signed=True)} %, {show_number(row['snr'])} × noise"


def _place(row: dict[str, Any]) -> str:
    return f"{show_number(row['along_m'], 3)} m, {show_number(row['across_mm'], 1)} mm"
