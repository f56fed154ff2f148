"""From a traced place out again to every finished roll that may carry the same flaw."""

import math
from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence

import numpy as np
import polars as pl
from numpy.typing import NDArray

from wideroll.workflow.finished_index import FinishedIndex
from wideroll.workflow.model import Batch
from wideroll.workflow.sisters_hits import Hit, RollFilm, hits_of
from wideroll.workflow.sisters_model import Link, Look, Sister, SisterList, Suspect, SuspectKind
from wideroll.workflow.sisters_suspects import same_maker, suspects_of
from wideroll.workflow.tracing_model import RollEvidence, Trace, TracedSeries

__all__ = ["find_sisters", "rank"]

_UNKNOWN = 0.01
"""Where an unknown risk stands among known ones."""
_NM_M = 1e-9
_NEAREST = (Link.SERIES, Link.STRETCH, Link.LANE, Link.BATCH)
_Mask = NDArray[np.bool_]


def find_sisters(
    trace: Trace,
    index: FinishedIndex,
    evidence: Callable[[str], RollEvidence],
    series_of: Callable[[str], Sequence[TracedSeries]],
) -> SisterList:
    """Every finished roll that shares stretch, lane, batch or repeat series with a traced film, most at risk first.

    Args:
        trace: of the film.
        index: the plant's finished rolls.
        evidence: what is known of a coated roll, by its name.
        series_of: the series of a wide roll that is in the index, by its name.
    """
    suspects = suspects_of(trace)
    kinds = {suspect.kind for suspect in suspects}
    batches = _same_batch(trace, index, evidence)
    made = _same_makers(trace, index, series_of) if SuspectKind.SERIES in kinds else {}
    rolls = {stretch.roll for stretch in trace.stretches} | batches.keys() | made.keys()
    rows = index.rows.filter(pl.col("coated").is_in(rolls) & (pl.col("finished") != trace.finished))
    film = RollFilm.of(rows)
    needed = kinds & {SuspectKind.STREAK, SuspectKind.MARKS}
    known = {roll: evidence(roll) for roll in sorted(rolls - (made.keys() - batches.keys()))} if needed else {}
    hits: dict[int, list[Hit]] = defaultdict(list)
    for hit in hits_of(suspects, film, known, made):
        hits[hit.piece].append(hit)
    sisters = _sisters(trace, film, batches, hits, told=kinds != {SuspectKind.UNSEEN})
    return SisterList(
        finished=trace.finished,
        suspects=suspects,
        sisters=tuple(sorted(sisters, key=rank)),
        notes=tuple(_notes(suspects, known)),
    )


def rank(sister: Sister) -> tuple[float, int, float, str]:
    """Those most at risk first; the unknown before what is known to be nearly free of it; of equals those nearest."""
    nearest = min(_NEAREST.index(link) for link in sister.links)
    risk = _UNKNOWN if sister.risk is None else sister.risk
    return (-risk, nearest, -(sister.expected or 0.0), sister.finished)


def _same_batch(
    trace: Trace, index: FinishedIndex, evidence: Callable[[str], RollEvidence]
) -> dict[str, tuple[Batch, ...]]:
    """Of each coated roll its stretches of the batches that the traced film is of."""
    names = {name for stretch in trace.stretches for name in stretch.batches}
    listed = {roll: wide.batches for roll, wide in index.rolls.items()}
    listed |= {one.roll: evidence(one.roll).batches for one in trace.stretches if one.roll not in listed}
    found = {roll: tuple(one for one in batches if one.name in names) for roll, batches in listed.items()}
    return {roll: batches for roll, batches in found.items() if batches}


def _same_makers(
    trace: Trace, index: FinishedIndex, series_of: Callable[[str], Sequence[TracedSeries]]
) -> dict[str, list[TracedSeries]]:
    """Of each coated roll the series that the makers of the traced film's series left."""
    mine = [near.series for stretch in trace.stretches for near in stretch.series]
    found: dict[str, list[TracedSeries]] = {}
    for roll in index.rolls:
        alike = [series for series in series_of(roll) if any(same_maker(one, series) for one in mine)]
        if alike:
            found[roll] = alike
    return found


def _sisters(
    trace: Trace,
    film: RollFilm,
    batches: Mapping[str, tuple[Batch, ...]],
    hits: Mapping[int, Sequence[Hit]],
    *,
    told: bool,
) -> Iterator[Sister]:
    masks = _masks(trace, film, batches)
    hit = np.zeros(film.coated.size, dtype=np.bool_)
    hit[[number for number, found in hits.items() if any(one.of is SuspectKind.SERIES for one in found)]] = True
    masks[Link.SERIES] = hit
    pieces: dict[str, list[int]] = defaultdict(list)
    for number, finished in enumerate(film.rows["finished"]):
        pieces[finished].append(number)
    for numbers in pieces.values():
        links = tuple(link for link in _NEAREST if masks[link][numbers].any())
        if links:
            mine = [one for number in numbers for one in hits.get(number, ())]
            looks = tuple(_looks(trace, film, numbers, mine))
            yield _sister(film, numbers, links=links, hits=mine if told else None, looks=looks)


def _masks(trace: Trace, film: RollFilm, batches: Mapping[str, tuple[Batch, ...]]) -> dict[Link, _Mask]:
    none = np.zeros(film.coated.size, dtype=np.bool_)
    stretch, lane, batch = none.copy(), none.copy(), none.copy()
    for one in trace.stretches:
        same, extent = film.coated == one.roll, one.extent
        stretch |= same & (film.along_from < extent.along_to_m) & (extent.along_from_m < film.along_to)
        lane |= same & (film.across_from < extent.across_to_mm) & (extent.across_from_mm < film.across_to)
    for roll, several in batches.items():
        for part in several:
            along = (film.along_from < part.along_to_m) & (part.along_from_m < film.along_to)
            batch |= (film.coated == roll) & along
    return {Link.STRETCH: stretch, Link.LANE: lane, Link.BATCH: batch}


def _looks(trace: Trace, film: RollFilm, numbers: Sequence[int], hits: Sequence[Hit]) -> Iterator[Look]:
    """Where flaws were seen or may be; where none is known, the metres of the traced stretch, else all of it."""
    if hits:
        yield from sorted((one.look for one in hits), key=lambda look: (look.from_m, look.to_m, look.what))
        return
    beside = False
    for number in numbers:
        for one in trace.stretches:
            part = film.extent(number) if film.coated[number] == one.roll else None
            if part is None or part.along_from_m >= one.extent.along_to_m or one.extent.along_from_m >= part.along_to_m:
                continue
            on = film.piece(number).on_finished(one.extent)
            beside = True
            yield Look(from_m=on.from_m, to_m=on.to_m, edge_mm=None, other_edge_mm=None, what="beside the traced film")
    if not beside:
        to_m = float(film.rows["to_nm"][numbers[-1]]) * _NM_M
        yield Look(from_m=0.0, to_m=to_m, edge_mm=None, other_edge_mm=None, what="all of it")


def _sister(
    film: RollFilm,
    numbers: Sequence[int],
    *,
    links: tuple[Link, ...],
    hits: Sequence[Hit] | None,
    looks: tuple[Look, ...],
) -> Sister:
    row = film.rows.row(numbers[0], named=True)
    seen = sum(one.seen for one in hits or ())
    expected, low, high = _sums(hits)
    return Sister(
        finished=row["finished"],
        roll=row["roll"],
        width=row["width"],
        quality=row["quality"],
        order=row["order"],
        length_m=max(int(film.rows["to_nm"][number]) for number in numbers) * _NM_M,
        links=links,
        seen=seen,
        expected=expected,
        expected_low=low,
        expected_high=high,
        risk=_risk(expected, seen),
        risk_low=_risk(low, seen),
        risk_high=_risk(high, seen),
        look=looks,
    )


def _sums(hits: Sequence[Hit] | None) -> tuple[float, float, float] | tuple[None, None, None]:
    if hits is None:
        return None, None, None
    low, high = math.fsum(one.low for one in hits), math.fsum(one.high for one in hits)
    return math.fsum(one.expected for one in hits), low, high


def _risk(expected: float | None, seen: int) -> float | None:
    """1 − exp(−n): at least one where n are expected; 1 where one was seen."""
    return None if expected is None else 1.0 if seen else -math.expm1(-expected)


def _notes(suspects: Sequence[Suspect], known: Mapping[str, RollEvidence]) -> Iterator[str]:
    kinds = {suspect.kind for suspect in suspects}
    if SuspectKind.UNSEEN in kinds:
        yield (
            "The scan saw nothing in the traced film, so nothing tells how likely the others carry the flaw: "
            "they stand in the order of what they share with it."
        )
    if SuspectKind.MARKS in kinds:
        yield "Marks that the scan misses aren't in these numbers; where it didn't look, the traced roll's rate counts."
    if SuspectKind.SERIES in kinds:
        yield "A turn at which no print was seen counts by the share of turns that were: it may be too faint to see."
        yield "Rolls in which no such series was found aren't held to be free of the roller's marks."
    for roll, evidence in known.items():
        if evidence.marks is None:
            yield f"{roll}: no scan, so by the rate alone."
