"""Several channels of one scanner as one scan: what lies at one place is one mark.

Nothing counts as looked at unless every channel looked there.
"""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Final

import numpy as np
import polars as pl
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from wideroll.errors import ArgumentError
from wideroll.roll import Coverage, Extent, Polarity, Unseen
from wideroll.scan.model import Band, ChannelScan, ScanResult, Splice, Streak

__all__ = ["MATCHES_SCHEMA", "match_channels", "match_marks"]

MATCHES_SCHEMA: Final = pl.Schema(
    {
        "id": pl.String(),
        "channel": pl.String(),
        "id_there": pl.String(),
        "distance_mm": pl.Float64(),
        "contrast_ratio": pl.Float64(),
    }
)
"""A row for each mark of the marks table and each further channel that shows it too: the channel's name, the mark's id
there, how far apart the two centres lie, and the contrast there over the one in the marks table, negative where one is
dark and the other bright (NaN where the mark in the table has no contrast)."""

_SLACK_PIXELS: Final = 2.0
"""Each channel finds the datum edge and the centre by itself."""
_NEIGHBOURS: Final = 8
_SAME_STREAK_M: Final = 0.5
_SAME_STREAK_MM: Final = 1.0
_SAME_PERIOD: Final = 0.02


def match_channels(scans: Sequence[tuple[str, ScanResult]]) -> ScanResult:
    """The scans of all channels of one raster as one, each with its channel's name, the first first.

    The result is the first channel's, with what only another channel shows added to marks (under the other's own
    ``source``), streaks, bands, splices and chips. ``channels`` and ``channel_matches`` say which channel saw what.
    Coverage is what all of them looked at. Noise, mottle and overview stay the first channel's.

    Raises:
        ArgumentError: when there is no scan, two have the same name, or they aren't of one raster.

    Example:
        >>> from wideroll.scan import ScanSettings, find_marks
        >>> infrared = np.random.Generator(np.random.PCG64(1)).normal(150.0, 2.0, (300, 200))
        >>> infrared[120:124, 80:85] -= 40.0
        >>> red = np.random.Generator(np.random.PCG64(2)).normal(120.0, 2.0, (300, 200))
        >>> red[120:124, 80:85] += 16.0
        >>> red[220:224, 30:34] -= 30.0
        >>> scans = [
        ...     (name, find_marks(np.rint(rows).astype(np.uint8), (0.3, 0.3), ScanSettings(source=f"line {name}")))
        ...     for name, rows in (("infrared", infrared), ("red", red))
        ... ]
        >>> both = match_channels(scans)
        >>> both.marks["source"].to_list(), both.channel_matches["contrast_ratio"].round(1).to_list()
        (['line infrared', 'line red'], [-0.5])
    """
    _check(scans)
    (_, result), *others = scans
    if not others:
        return result
    listed = [set(result.marks["id"])]
    matches: list[pl.DataFrame] = []
    for name, scan in others:
        found = match_marks(result.marks, scan.marks, scan.pitch_mm)
        alone = scan.marks.filter(~pl.col("id").is_in(found["id_there"].to_list()))
        matches.append(found.with_columns(pl.lit(name).alias("channel")))
        listed.append(set(alone["id"]))
        result = _with(result, name, scan, alone)
    table = pl.concat(matches).select(list(MATCHES_SCHEMA)).cast(MATCHES_SCHEMA)
    shared = set(table["id"])
    channels = tuple(_channel(*one, alone=len(ids - shared)) for one, ids in zip(scans, listed, strict=True))
    return replace(result, channels=channels, channel_matches=table)


def match_marks(marks: pl.DataFrame, there: pl.DataFrame, pitch_mm: tuple[float, float]) -> pl.DataFrame:
    """Marks of two tables that are the same: each one's centre lies in the other's box, or within two pixels of it.

    Each mark has at most one partner; the nearest find each other first. Whether they are dark or bright doesn't count.

    Returns:
        ``MATCHES_SCHEMA`` without ``channel``, in order of ``marks``.
    """
    pairs = sorted(_near(marks, there, pitch_mm))
    taken_here: set[int] = set()
    taken_there: set[int] = set()
    chosen: list[tuple[int, int, float]] = []
    for distance, i, j in pairs:
        if i not in taken_here and j not in taken_there:
            taken_here.add(i)
            taken_there.add(j)
            chosen.append((i, j, distance))
    chosen.sort()
    here, other = marks[[i for i, _, _ in chosen]], there[[j for _, j, _ in chosen]]
    contrast = _signed(here)
    ratio = np.divide(_signed(other), contrast, out=np.full(len(chosen), np.nan), where=contrast != 0.0)
    return pl.DataFrame(
        {
            "id": here["id"],
            "id_there": other["id"],
            "distance_mm": [distance for _, _, distance in chosen],
            "contrast_ratio": ratio,
        },
        schema={name: kind for name, kind in MATCHES_SCHEMA.items() if name != "channel"},
    )


def _near(marks: pl.DataFrame, there: pl.DataFrame, pitch_mm: tuple[float, float]) -> Iterator[tuple[float, int, int]]:
    """Distance and rows of marks that could be the same."""
    if marks.is_empty() or there.is_empty():
        return
    places, sizes = _boxes(marks)
    other_places, other_sizes = _boxes(there)
    slack = _SLACK_PIXELS * np.array(pitch_mm)
    reach = float(np.hypot(*(np.maximum(sizes.max(axis=0), other_sizes.max(axis=0)) / 2.0 + slack)))
    many = min(_NEIGHBOURS, len(places))
    distance, row = cKDTree(places).query(other_places, k=[*range(1, many + 1)], distance_upper_bound=reach)
    for j, k in zip(*np.nonzero(np.isfinite(distance)), strict=True):
        i = int(row[j, k])
        apart = np.abs(places[i] - other_places[j])
        if np.all(apart <= np.maximum(sizes[i], other_sizes[j]) / 2.0 + slack):
            yield float(distance[j, k]), i, int(j)


def _boxes(marks: pl.DataFrame) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Centres and sizes in mm, along and across."""
    places = marks.select(pl.col("along_m") * 1000.0, "across_mm").to_numpy()
    return places, marks.select("length_mm", "width_mm").to_numpy()


def _signed(marks: pl.DataFrame) -> NDArray[np.float64]:
    dark = marks["polarity"].cast(pl.String) == Polarity.DARK.value
    contrast = marks["contrast"].to_numpy()
    return np.asarray(np.where(dark.to_numpy(), -contrast, contrast))


def _channel(name: str, scan: ScanResult, *, alone: int) -> ChannelScan:
    return ChannelScan(
        name=name,
        source=scan.settings.source,
        marks=scan.marks.height,
        alone=alone,
        noise=scan.noise,
        web_width_mm=scan.web_width_mm,
    )


def _with(result: ScanResult, name: str, scan: ScanResult, alone: pl.DataFrame) -> ScanResult:
    """The result so far and what the channel adds to it."""
    ids = set(alone["id"])
    chips = [chip for chip in scan.chips if chip.mark in ids]
    return replace(
        result,
        marks=pl.concat([result.marks, alone]).sort("along_m", "across_mm", maintain_order=True),
        streaks=tuple(sorted((*result.streaks, *_more_streaks(result, name, scan)), key=lambda line: line.extent)),
        bands=(*result.bands, *(band for band in scan.bands if not _has_band(result.bands, band))),
        splices=tuple(sorted((*result.splices, *_more_splices(result, scan)), key=lambda one: one.extent)),
        chips=tuple(sorted((*result.chips, *chips), key=lambda c: (c.first_line, c.first_column, c.mark))),
        coverage=_both_looked(result.coverage, name, scan),
    )


def _more_streaks(result: ScanResult, name: str, scan: ScanResult) -> Iterator[Streak]:
    for line in scan.streaks:
        near = line.extent.grown(along_m=_SAME_STREAK_M, across_mm=_SAME_STREAK_MM)
        if not any(near.meet(known.extent) for known in result.streaks):
            yield replace(line, why=f"Seen in channel {name} only. {line.why}".rstrip())


def _has_band(bands: Sequence[Band], band: Band) -> bool:
    return any(
        band.extent.meet(known.extent) and abs(known.period_mm / band.period_mm - 1.0) <= _SAME_PERIOD
        for known in bands
    )


def _more_splices(result: ScanResult, scan: ScanResult) -> Iterator[Splice]:
    line_m = scan.pitch_mm[0] / 1000.0
    for splice in scan.splices:
        if not any(splice.extent.grown(along_m=line_m).meet(known.extent) for known in result.splices):
            yield splice


def _both_looked(coverage: Coverage, name: str, scan: ScanResult) -> Coverage:
    seen = tuple(part for one in coverage.seen for other in scan.coverage.seen if (part := one.meet(other)))
    along_m, across_mm = scan.pitch_mm[0] / 1000.0, scan.pitch_mm[1]
    more = [
        Unseen(extent=hole.extent, why=f"{hole.why} ({name})")
        for hole in scan.coverage.unseen
        if not any(
            _lies_in(hole.extent, known.extent.grown(along_m=along_m, across_mm=across_mm)) for known in coverage.unseen
        )
    ]
    return Coverage(seen=seen, unseen=(*coverage.unseen, *more))


def _lies_in(part: Extent, box: Extent) -> bool:
    return (
        box.along_from_m <= part.along_from_m
        and part.along_to_m <= box.along_to_m
        and box.across_from_mm <= part.across_from_mm
        and part.across_to_mm <= box.across_to_mm
    )


def _check(scans: Sequence[tuple[str, ScanResult]]) -> None:
    names = [name for name, _ in scans]
    if not scans or len(set(names)) < len(names):
        raise ArgumentError(
            where="channels", rule="must be one or more, each with a name of its own", value=names, mend="Name them."
        )
    shapes = {(scan.lines, scan.columns, scan.pitch_mm) for _, scan in scans}
    if len(shapes) > 1:
        raise ArgumentError(
            where="channels", rule="must be of one raster", value=sorted(shapes), mend="Match each raster by itself."
        )
