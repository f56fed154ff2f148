"""Where on other finished rolls the same flaw was seen, or may lie."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from wideroll.roll import Extent
from wideroll.sampling import rate_limits
from wideroll.sampling.proportions import share_limits
from wideroll.scan.model import Streak, StreakOrigin
from wideroll.workflow.sisters_model import Look, Suspect, SuspectKind
from wideroll.workflow.sisters_suspects import ASIDE_MM
from wideroll.workflow.tracing import SERIES_ASIDE_MM, FilmPiece, mark_box
from wideroll.workflow.tracing_model import RollEvidence, TracedSeries

__all__ = ["Hit", "RollFilm", "hits_of"]

_NM_M, _NM_MM = 1e-9, 1e-6
_LEAST_M2 = 1e-6
_Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Hit:
    """A flaw in one piece of film: seen there, or expected with limits."""

    piece: int
    """Row number of the piece."""
    of: SuspectKind
    seen: int
    expected: float
    low: float
    high: float
    look: Look


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RollFilm:
    """Pieces of finished rolls as arrays (n,): coated roll, and place along in metres and across in millimetres."""

    rows: pl.DataFrame
    coated: NDArray[np.str_]
    along_from: _Floats
    along_to: _Floats
    across_from: _Floats
    across_to: _Floats

    @classmethod
    def of(cls, rows: pl.DataFrame) -> "RollFilm":
        """From rows of ``FINISHED_SCHEMA``."""
        return cls(
            rows=rows,
            coated=rows["coated"].to_numpy().astype(np.str_),
            along_from=rows["along_from_nm"].to_numpy() * _NM_M,
            along_to=rows["along_to_nm"].to_numpy() * _NM_M,
            across_from=rows["across_from_nm"].to_numpy() * _NM_MM,
            across_to=rows["across_to_nm"].to_numpy() * _NM_MM,
        )

    def meeting(self, roll: str, extent: Extent) -> NDArray[np.intp]:
        """Row numbers of the pieces of a coated roll that share area with a part of it."""
        along = (self.along_from < extent.along_to_m) & (extent.along_from_m < self.along_to)
        across = (self.across_from < extent.across_to_mm) & (extent.across_from_mm < self.across_to)
        return np.flatnonzero((self.coated == roll) & along & across)

    def piece(self, number: int) -> FilmPiece:
        """One of them, with its places on the finished roll."""
        return FilmPiece(self.rows.row(number, named=True))

    def extent(self, number: int) -> Extent:
        """Where one of them was coated."""
        return Extent(
            along_from_m=float(self.along_from[number]),
            along_to_m=float(self.along_to[number]),
            across_from_mm=float(self.across_from[number]),
            across_to_mm=float(self.across_to[number]),
        )


def hits_of(
    suspects: Sequence[Suspect],
    film: RollFilm,
    known: Mapping[str, RollEvidence],
    made: Mapping[str, Sequence[TracedSeries]],
) -> Iterator[Hit]:
    """The flaws of the suspects' kinds in other film.

    Args:
        suspects: of the traced film.
        film: the pieces to look through.
        known: of the coated rolls of the same batches, and of the traced ones.
        made: of each coated roll the series that the suspected makers left.
    """
    for roll, several in made.items():
        for series in several:
            yield from _series_hits(film, roll, series)
    for suspect in suspects:
        if suspect.kind is SuspectKind.STREAK:
            for roll, evidence in known.items():
                for streak in evidence.streaks:
                    if _same_streak(suspect, streak):
                        yield from _streak_hits(film, roll, streak)
        if suspect.kind is SuspectKind.MARKS:
            for evidence in known.values():
                yield from _mark_hits(film, evidence, suspect, known[suspect.roll])


def _series_hits(film: RollFilm, roll: str, series: TracedSeries) -> Iterator[Hit]:
    """Each turn from the first print that was seen to the last: seen there, or printed with the series' probability."""
    turns = np.arange(series.turns[0], series.turns[-1] + 1)
    places = np.interp(turns, series.turns, series.places_m)
    seen = np.isin(turns, series.turns)
    low, high = share_limits(int(seen.sum()), turns.size)
    line = Extent(
        along_from_m=float(places[0]),
        along_to_m=float(np.nextafter(places[-1], np.inf)),
        across_from_mm=series.across_mm - SERIES_ASIDE_MM,
        across_to_mm=series.across_mm + SERIES_ASIDE_MM,
    )
    for number in film.meeting(roll, line):
        piece = film.piece(number)
        for turn in np.flatnonzero((film.along_from[number] <= places) & (places < film.along_to[number])):
            print_there = bool(seen[turn])
            at = float(places[turn])
            what = "print seen" if print_there else "turn, print not seen"
            yield Hit(
                piece=int(number),
                of=SuspectKind.SERIES,
                seen=int(print_there),
                expected=1.0 if print_there else series.print_probability,
                low=1.0 if print_there else low,
                high=1.0 if print_there else high,
                look=_look(piece, _point(at, series.across_mm), what),
            )


def _streak_hits(film: RollFilm, roll: str, streak: Streak) -> Iterator[Hit]:
    for number in film.meeting(roll, streak.extent):
        part = streak.extent.meet(film.extent(number))
        if part is not None:
            yield Hit(
                piece=int(number),
                of=SuspectKind.STREAK,
                seen=1,
                expected=1.0,
                low=1.0,
                high=1.0,
                look=_look(film.piece(number), part, "streak seen"),
            )


def _same_streak(suspect: Suspect, streak: Streak) -> bool:
    near = abs(streak.across_mm - suspect.across_mm) <= ASIDE_MM
    polarity = "dark" if streak.contrast < 0.0 else "bright"
    return near and polarity == suspect.polarity and streak.origin is not StreakOrigin.SCANNER


def _mark_hits(film: RollFilm, of: RollEvidence, suspect: Suspect, traced: RollEvidence) -> Iterator[Hit]:
    """Such marks that the scan saw, and those to be expected by the traced roll's rate where it didn't look."""
    for row in _such(of, suspect).iter_rows(named=True):
        box = mark_box(row)
        for number in film.meeting(of.roll, box):
            look = _look(film.piece(number), box, f"{suspect.mark_kind} seen, {row['id']}")
            yield Hit(piece=int(number), of=SuspectKind.MARKS, seen=1, expected=1.0, low=1.0, high=1.0, look=look)
    area_m2 = _looked_m2(traced)
    if area_m2 <= 0.0:
        return
    rate = rate_limits(_such(traced, suspect).height, area_m2)
    for number, unseen_m2 in _unseen(film, of):
        look = _look(film.piece(number), film.extent(number), "parts that the scan didn't look at")
        yield Hit(
            piece=number,
            of=SuspectKind.MARKS,
            seen=0,
            expected=rate.rate * unseen_m2,
            low=rate.low * unseen_m2,
            high=rate.high * unseen_m2,
            look=look,
        )


def _such(of: RollEvidence, suspect: Suspect) -> pl.DataFrame:
    """The marks of a roll that are as the suspect's, those of series aside."""
    if of.marks is None:
        return pl.DataFrame()
    members = {member for series in of.series for member in series.members}
    return (
        of.marks.with_row_index("row")
        .filter(
            (pl.col("kind").cast(pl.String) == suspect.mark_kind)
            & (pl.col("polarity").cast(pl.String) == suspect.polarity)
            & (pl.max_horizontal("length_mm", "width_mm") >= suspect.least_mm)
        )
        .filter(~pl.col("row").is_in(list(members)))
    )


def _looked_m2(of: RollEvidence) -> float:
    """Area of web that the scan looked at, each hole of it counted."""
    if of.coverage is None:
        return 0.0
    seen = sum(extent.area_m2 for extent in of.coverage.seen)
    return max(0.0, seen - sum(hole.extent.area_m2 for hole in of.coverage.unseen))


def _unseen(film: RollFilm, of: RollEvidence) -> Iterator[tuple[int, float]]:
    """Pieces of a roll that weren't looked at in part, and how much of each."""
    mine = np.flatnonzero(film.coated == of.roll)
    if of.coverage is None:
        for number in mine.tolist():
            yield number, film.extent(number).area_m2
        return
    touched = np.zeros(film.coated.size, dtype=np.bool_)
    for hole in of.coverage.unseen:
        touched[film.meeting(of.roll, hole.extent)] = True
    for number in np.flatnonzero(touched).tolist():
        extent = film.extent(number)
        unseen_m2 = (1.0 - of.coverage.share(extent)) * extent.area_m2
        if unseen_m2 > _LEAST_M2:
            yield number, unseen_m2


def _point(along_m: float, across_mm: float) -> Extent:
    return Extent(along_from_m=along_m, along_to_m=along_m, across_from_mm=across_mm, across_to_mm=across_mm)


def _look(piece: FilmPiece, extent: Extent, what: str) -> Look:
    on = piece.on_finished(extent)
    whole = extent.across_from_mm <= piece.across_mm[0] and piece.across_mm[1] <= extent.across_to_mm
    return Look(
        from_m=on.from_m,
        to_m=on.to_m,
        edge_mm=None if whole else on.edge_mm,
        other_edge_mm=None if whole else on.other_edge_mm,
        what=what,
    )
