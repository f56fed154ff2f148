"""From a place on a finished roll back to where it was coated, and all that is known of that film."""

from collections.abc import Callable, Iterator
from typing import Any, Final

import numpy as np

from wideroll.roll import Extent, Place
from wideroll.scan.model import StreakOrigin
from wideroll.workflow.tracing_model import (
    Asked,
    CoatedStretch,
    End,
    FinishedFilm,
    NearMark,
    NearSeries,
    NearSighting,
    NearStreak,
    NearStrip,
    OnFinished,
    RollEvidence,
    Trace,
    TracedSeries,
)
from wideroll.workflow.tracing_place import finished_interval, half_widths

__all__ = [
    "BESIDE_MM",
    "SERIES_ASIDE_MM",
    "FilmPiece",
    "mark_box",
    "over_lane",
    "pieces_of",
    "trace_finished",
    "turn_m",
    "turns_within",
]

BESIDE_MM: Final = 2.0
"""A mark so near the edge of the lane is shown too: knives and scanner aren't nearer one another than that."""
SERIES_ASIDE_MM: Final = 3.0
"""So far from its line across a series may print: half a lane of the search."""
_STRIPS: Final = 2
_ALL: Final = 1.0 - 1e-6
_MARK_FIELDS: Final = ("id", "along_m", "across_mm", "length_mm", "width_mm", "contrast", "snr")
_NM_M: Final = 1e-9
_NM_MM: Final = 1e-6


class FilmPiece:
    """One row of ``FINISHED_SCHEMA`` in metres and millimetres: places go between it and the coated web."""

    __slots__ = ("across_mm", "along_m", "coated", "from_m", "mirrored", "reversed", "to_m", "turned")

    def __init__(self, row: dict[str, Any]) -> None:
        """Take a row as it is kept."""
        self.coated: str = row["coated"]
        self.from_m: float
        self.to_m: float
        self.from_m, self.to_m = row["from_nm"] * _NM_M, row["to_nm"] * _NM_M
        self.along_m: tuple[float, float] = (row["along_from_nm"] * _NM_M, row["along_to_nm"] * _NM_M)
        self.across_mm: tuple[float, float] = (row["across_from_nm"] * _NM_MM, row["across_to_nm"] * _NM_MM)
        self.reversed: bool = row["reversed"]
        self.mirrored: bool = row["mirrored"]
        self.turned: bool = row["turned"]

    def coated_at(self, at_m: float) -> float:
        """Where a metre from the outer end was coated."""
        into_m = at_m - self.from_m
        return self.along_m[1] - into_m if self.reversed else self.along_m[0] + into_m

    def extent(self, from_m: float, to_m: float) -> Extent:
        """A part of it, counted from the outer end, as it was coated."""
        low, high = sorted((self.coated_at(from_m), self.coated_at(to_m)))
        return Extent(
            along_from_m=low, along_to_m=high, across_from_mm=self.across_mm[0], across_to_mm=self.across_mm[1]
        )

    def on_finished(self, extent: Extent) -> OnFinished:
        """Where a part of the web lies on the finished roll; along no further than the piece itself."""
        low, high = (min(max(at, self.along_m[0]), self.along_m[1]) for at in (extent.along_from_m, extent.along_to_m))
        ends = (
            (self.along_m[1] - high, self.along_m[1] - low)
            if self.reversed
            else (low - self.along_m[0], high - self.along_m[0])
        )
        middle = (extent.across_from_mm + extent.across_to_mm) / 2.0
        edges = middle - self.across_mm[0], self.across_mm[1] - middle
        first, other = reversed(edges) if self.mirrored else edges
        return OnFinished(from_m=self.from_m + ends[0], to_m=self.from_m + ends[1], edge_mm=first, other_edge_mm=other)


def pieces_of(film: FinishedFilm) -> tuple[FilmPiece, ...]:
    """The stretches of a finished roll from its outer end."""
    return tuple(FilmPiece(row) for row in film.rows.sort("part").iter_rows(named=True))


def trace_finished(
    film: FinishedFilm, asked: Asked | None, evidence: Callable[[str], RollEvidence], *, within_m: float | None = None
) -> Trace:
    """Where a place on a finished roll was coated, with its interval, and what is known of that film.

    Args:
        film: the finished roll.
        asked: where something was seen on it; None for the whole roll.
        evidence: what is known of a coated roll, by its name.
        within_m: half the width of the interval; None to take the rule of ``half_widths``.

    Raises:
        InputError: when the place lies past the roll's other end.
    """
    low, high, half = finished_interval(film, asked, within_m)
    pieces = pieces_of(film)
    at_m = _middle(asked, pieces[-1].to_m)
    stretches = tuple(
        _stretch(piece, evidence(piece.coated), (max(low, piece.from_m), min(high, piece.to_m)), at_m)
        for piece in pieces
        if max(low, piece.from_m) < min(high, piece.to_m) or low == high == piece.from_m
    )
    first = film.rows.row(0, named=True)
    return Trace(
        finished=film.number,
        roll=film.decision.roll,
        product=film.decision.product,
        width=first["width"],
        quality=first["quality"],
        order=first["order"],
        status=film.status,
        windings=film.windings,
        length_m=pieces[-1].to_m,
        splices_m=tuple(piece.from_m for piece in pieces[1:]),
        asked=asked,
        from_m=low,
        to_m=high,
        half_widths=() if asked is None or within_m is not None else half_widths(film, asked),
        half_width_m=half,
        stretches=stretches,
        decision=film.decision,
        cautions=tuple(_cautions(film)),
    )


def turns_within(series: TracedSeries, low_m: float, high_m: float) -> tuple[int, ...]:
    """The turns of a series that fall into a stretch of web, from the first print that was seen to the last.

    Args:
        series: of the roll's marks.
        low_m: from, as coated.
        high_m: to, as coated.
    """
    turns = np.arange(series.turns[0], series.turns[-1] + 1)
    places = np.interp(turns, series.turns, series.places_m)
    return tuple(int(turn) for turn in turns[(low_m <= places) & (places < high_m)])


def turn_m(series: TracedSeries, turn: int) -> float:
    """Where along a turn of a series falls: between the prints that were seen, evenly."""
    return float(np.interp(turn, series.turns, series.places_m))


def _middle(asked: Asked | None, length_m: float) -> float | None:
    if asked is None or asked.from_m != asked.to_m:
        return None
    at = float(asked.from_m)
    return at if asked.end is End.OUTER else length_m - at


def _cautions(film: FinishedFilm) -> Iterator[str]:
    if film.status != "released":
        yield f"The cut list is {film.status}: film should not have been slit by it."
    if film.decision.earlier:
        numbers = ", ".join(str(number) for number in film.decision.earlier)
        named = f"event {numbers}" if len(film.decision.earlier) == 1 else f"events {numbers}"
        yield f"The roll had another cut list before ({named}), which isn't kept: film slit by that lies elsewhere."


def _stretch(piece: FilmPiece, known: RollEvidence, part: tuple[float, float], at_m: float | None) -> CoatedStretch:
    extent = piece.extent(*part)
    inside = at_m is not None and piece.from_m <= at_m <= piece.to_m
    marks = tuple(_marks(piece, known, extent))
    return CoatedStretch(
        roll=known.roll,
        extent=extent,
        at_m=piece.coated_at(at_m) if inside and at_m is not None else None,
        finished_from_m=part[0],
        finished_to_m=part[1],
        reversed=piece.reversed,
        mirrored=piece.mirrored,
        turned=piece.turned,
        batches=tuple(
            one.name
            for one in known.batches
            if one.along_from_m < extent.along_to_m and extent.along_from_m < one.along_to_m
        ),
        marks=marks,
        streaks=tuple(_streaks(piece, known, extent)),
        series=tuple(_series(known, extent)),
        sheets=tuple(sheet.name for sheet in known.sheets if sheet.extent.meet(extent) is not None),
        sightings=tuple(_sightings(known, extent)),
        strips=_strips(known, extent),
        readings=tuple(one for one in known.readings if one.extent.meet(extent) is not None),
        splices_m=tuple(at for at in known.splices_m if extent.along_from_m <= at <= extent.along_to_m),
        not_seen=tuple(_not_seen(known, extent)),
        notes=known.notes,
    )


def _marks(piece: FilmPiece, known: RollEvidence, extent: Extent) -> Iterator[NearMark]:
    """In the stretch or just beside its lane, the clearest first."""
    if known.marks is None:
        return
    belongs = {member: series.number for series in known.series for member in series.members}
    near = extent.grown(across_mm=BESIDE_MM)
    found = []
    for number, row in enumerate(known.marks.iter_rows(named=True)):
        box = mark_box(row)
        if box.meet(near) is None:
            continue
        inside = box.meet(extent) is not None
        found.append(
            NearMark(
                **{name: row[name] for name in _MARK_FIELDS},
                kind=str(row["kind"]),
                polarity=str(row["polarity"]),
                on=piece.on_finished(box),
                inside=inside,
                chip=known.chips.get(row["id"], ""),
                series=belongs.get(number),
            )
        )
    yield from sorted(found, key=lambda mark: (not mark.inside, -mark.snr, mark.id))


def mark_box(row: dict[str, Any]) -> Extent:
    """The rectangle a mark of the table covers."""
    half_m, half_mm = row["length_mm"] / 2000.0, row["width_mm"] / 2.0
    return Extent(
        along_from_m=row["along_m"] - half_m,
        along_to_m=row["along_m"] + half_m,
        across_from_mm=row["across_mm"] - half_mm,
        across_to_mm=row["across_mm"] + half_mm,
    )


def _streaks(piece: FilmPiece, known: RollEvidence, extent: Extent) -> Iterator[NearStreak]:
    for streak in known.streaks:
        part = streak.extent.meet(extent)
        if part is not None and streak.origin is not StreakOrigin.SCANNER:
            yield NearStreak(
                across_mm=streak.across_mm,
                width_mm=streak.width_mm,
                contrast=streak.contrast,
                along_from_m=streak.extent.along_from_m,
                along_to_m=streak.extent.along_to_m,
                on=piece.on_finished(part),
            )


def _series(known: RollEvidence, extent: Extent) -> Iterator[NearSeries]:
    for series in known.series:
        if not over_lane(series, extent):
            continue
        turns = turns_within(series, extent.along_from_m, extent.along_to_m)
        if turns:
            yield NearSeries(series=series, turns=turns, seen=len(set(turns) & set(series.turns)))


def over_lane(series: TracedSeries, extent: Extent) -> bool:
    """Whether a series prints in a lane, by its place across."""
    low, high = extent.across_from_mm - SERIES_ASIDE_MM, extent.across_to_mm + SERIES_ASIDE_MM
    return low <= series.across_mm < high


def _sightings(known: RollEvidence, extent: Extent) -> Iterator[NearSighting]:
    for seen in known.sightings:
        place = seen.place
        if extent.along_from_m <= place.along_m < extent.along_to_m:
            yield NearSighting(
                sheet=seen.sheet,
                kind=seen.kind.value,
                along_m=place.along_m,
                across_mm=place.across_mm,
                size_mm=seen.size_mm,
                inside=extent.grown(across_mm=seen.size_mm / 2.0).contains(
                    Place(along_m=place.along_m, across_mm=place.across_mm)
                ),
                note=seen.note,
            )


def _strips(known: RollEvidence, extent: Extent) -> tuple[NearStrip, ...]:
    """The strips over the stretch, and the nearest few."""
    away = sorted(
        (NearStrip(strip=one, away_m=_away(one.along_m, extent)) for one in known.strips),
        key=lambda near: (near.away_m, near.strip.name),
    )
    return tuple(near for number, near in enumerate(away) if number < _STRIPS or near.away_m == 0.0)


def _away(along_m: float, extent: Extent) -> float:
    return max(0.0, extent.along_from_m - along_m, along_m - extent.along_to_m)


def _not_seen(known: RollEvidence, extent: Extent) -> Iterator[str]:
    """Why parts of the stretch weren't looked at by the scanner."""
    if known.coverage is None:
        yield "the roll was not scanned"
        return
    reasons = dict.fromkeys(hole.why for hole in known.coverage.unseen if hole.extent.meet(extent) is not None)
    yield from reasons
    share = known.coverage.share(extent) if extent.area_m2 > 0.0 else 1.0
    if not reasons and share < _ALL:
        yield "outside the scan"
