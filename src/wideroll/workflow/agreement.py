"""How alike examiners see: with one another, with themselves, and with the scanner."""

import itertools
import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from typing import Final, TypeAlias

from wideroll.errors import ArgumentError
from wideroll.examination import (
    Answered,
    Reliability,
    Section,
    Seen,
    Sighting,
    StratifiedCapture,
    chapman,
    pair_sightings,
    stratified_chapman,
    wrong_shares,
)
from wideroll.workflow.agreement_judged import judged_by_many, judged_by_two
from wideroll.workflow.agreement_model import (
    ExaminerAnswers,
    HitMiss,
    Judged,
    PairAgreement,
    PlantAgreement,
    RollSeen,
    ScannerAgreement,
)
from wideroll.workflow.agreement_things import SheetSeen, is_handling, is_mark, on_sheets, scanned, size_class
from wideroll.workflow.hit_miss import fit_sizes
from wideroll.workflow.take_in import LOOKS_ACROSS_MM, LOOKS_ALONG_M

__all__ = ["LEAST_SEEN", "agree"]

LEAST_SEEN: Final = 10
"""Fewer than this say nothing about those that nobody saw."""

_MOST_SHARE: Final = 0.49
_SEEN: Final = tuple(Seen)
_THREE: Final = 3


def agree(rolls: Sequence[RollSeen], *, notes: Sequence[str] = ()) -> PlantAgreement:
    """Everything that looks, sightings and scans of some rolls say about how alike is seen.

    A sheet's own first look counts as blind; of the further ones those that looks.csv calls blind. Of two examiners the
    first look of each at a sheet is compared, of one with themself the first two.

    Example:
        >>> agree([]).pairs
        ()
    """
    borders = tuple(sorted({border for seen in rolls for border in seen.borders_mm}))
    sheets = [(seen, sheet) for seen in rolls for sheet in on_sheets(seen)]
    examiners = sorted({look.examiner for _, sheet in sheets for look in sheet.looks})
    pairs = itertools.combinations_with_replacement(examiners, 2)
    return PlantAgreement(
        rolls=tuple(seen.roll for seen in rolls),
        borders_mm=borders,
        sheets=sum(len(sheet.looks) > 1 for _, sheet in sheets),
        pairs=tuple(pair for names in pairs if (pair := _pair(names, sheets, borders)) is not None),
        groups=_groups(sheets),
        scanner=_scanner(sheets, borders),
        hits=tuple(_hit_miss(name, sheets) for name in examiners),
        answers=tuple(_answers([sheet for _, sheet in sheets])),
        notes=tuple(notes),
    )


_Sheets: TypeAlias = Sequence[tuple[RollSeen, SheetSeen]]


def _pair(names: tuple[str, str], sheets: _Sheets, borders: Sequence[float]) -> PairAgreement | None:
    compared = [(seen.scale, looks) for seen, sheet in sheets if (looks := _two_looks(names, sheet))]
    if not compared:
        return None
    sides: tuple[list[Sighting], list[Sighting]] = ([], [])
    shared: list[tuple[tuple[str, ...], Sighting, Sighting]] = []
    for scale, (one, other) in compared:
        pairs = pair_sightings(one, other, LOOKS_ALONG_M, LOOKS_ACROSS_MM)
        shared += [(scale, one[row], other[column]) for row, column in pairs]
        for side, look in enumerate((one, other)):
            taken = {pair[side] for pair in pairs}
            sides[side].extend(s for n, s in enumerate(look) if n not in taken and not is_handling(s))
    first, second = names
    return PairAgreement(
        first=first,
        second=second,
        sheets=len(compared),
        both=len(shared),
        only_first=len(sides[0]),
        only_second=len(sides[1]),
        there=_there(
            _classes(
                [math.sqrt(one.size_mm * other.size_mm) for _, one, other in shared],
                [one.size_mm for one in sides[0]],
                [one.size_mm for one in sides[1]],
                borders,
            )
        ),
        judged=judged_by_two(shared),
    )


def _two_looks(names: tuple[str, str], sheet: SheetSeen) -> tuple[Sequence[Sighting], ...]:
    """The first look of each, or the first two of one; none where there aren't two."""
    first, second = names
    looks = sheet.by(first)[:2] if first == second else (*sheet.by(first)[:1], *sheet.by(second)[:1])
    return tuple(look.sightings for look in looks) if len(looks) > 1 else ()


def _classes(
    both: Iterable[float], only_first: Iterable[float], only_second: Iterable[float], borders: Sequence[float]
) -> list[tuple[int, int, int]]:
    """Seen by the first, by the second and by both, for each class of size."""
    counts = [[0, 0, 0] for _ in range(len(borders) + 1)]
    for sizes, seen in ((both, (1, 1, 1)), (only_first, (1, 0, 0)), (only_second, (0, 1, 0))):
        for size in sizes:
            row = counts[size_class(size, borders)]
            row[:] = [count + one for count, one in zip(row, seen, strict=True)]
    return [(first, second, shared) for first, second, shared in counts]


def _there(counts: Sequence[tuple[int, int, int]]) -> StratifiedCapture | None:
    """How many there are by size class; None where too little was seen."""
    if sum(first + second - both for first, second, both in counts) < LEAST_SEEN or not any(b for _, _, b in counts):
        return None
    return stratified_chapman(counts)


def _groups(sheets: _Sheets) -> tuple[Judged, ...]:
    """Where three looks or more share a sheet."""
    shared = [
        (seen.scale, thing.seen)
        for seen, sheet in sheets
        if len(sheet.looks) >= _THREE
        for thing in sheet.things()
        if len(thing.seen) > 1
    ]
    return judged_by_many(shared) if shared else ()


def _scanner(sheets: _Sheets, borders: Sequence[float]) -> ScannerAgreement | None:
    found = [
        one
        for seen, sheet in sheets
        if (one := scanned(seen, sheet.sheet, [thing.sighting for thing in sheet.things()])) is not None
    ]
    if not found:
        return None
    counts = _classes(
        [size for one in found for size in one.both.values()],
        [size for one in found for size in one.only_examiner.values()],
        [size for one in found for size in one.only_scanner],
        borders,
    )
    first, second, both = (sum(column) for column in zip(*counts, strict=True))
    return ScannerAgreement(
        sheets=len(found),
        classes=tuple(chapman(*count) for count in counts),
        there=_there(counts),
        plain=chapman(first, second, both),
    )


def _hit_miss(examiner: str, sheets: _Sheets) -> HitMiss:
    """Of the marks that others saw on the examiner's sheets, those that the examiner's first look saw."""
    trials = [trial for seen, sheet in sheets for trial in _trials(examiner, seen, sheet)]
    sizes, hits = [size for size, _ in trials], [hit for _, hit in trials]
    try:
        curve, why = fit_sizes(sizes, hits), ""
    except ArgumentError as error:
        curve, why = None, error.rule
    return HitMiss(examiner=examiner, marks=len(trials), seen=sum(hits), curve=curve, why=why)


def _trials(examiner: str, seen: RollSeen, sheet: SheetSeen) -> Iterator[tuple[float, bool]]:
    """Size, and whether it was seen: the scanner's marks, then what only other examiners saw."""
    looks = sheet.by(examiner)
    if not looks:
        return
    mine = looks[0].sightings
    others = [thing.sighting for thing in sheet.things(without=examiner)]
    others = [one for one in others if is_mark(one) and not is_handling(one)]
    found = scanned(seen, sheet.sheet, mine)
    taken: set[int] = set()
    if found is not None:
        yield from ((size, True) for size in found.both.values())
        yield from ((size, False) for size in found.only_scanner)
        theirs = scanned(seen, sheet.sheet, others)
        others = [one for n, one in enumerate(others) if theirs is None or n not in theirs.both]
        taken = set(found.both)
    rest = [s for n, s in enumerate(mine) if n not in taken]
    pairs = dict(pair_sightings(others, rest, LOOKS_ALONG_M, LOOKS_ACROSS_MM))
    yield from ((one.size_mm, n in pairs) for n, one in enumerate(others))


def _answers(sheets: Sequence[SheetSeen]) -> Iterator[ExaminerAnswers]:
    usual = Reliability()
    asked: dict[str, list[Answered]] = {"filters": [], "touch": [], "sections": []}
    for sheet in sheets:
        who = {look.name: look.examiner for look in sheet.looks}
        for thing in sheet.things():
            for kind, answered in _questions(thing.seen, who):
                asked[kind].append(answered)
    found = {kind: wrong_shares(questions, getattr(usual, kind)) for kind, questions in asked.items()}
    for name in sorted({name for shares in found.values() for name in shares}):
        shares = {kind: by[name] for kind, by in found.items() if name in by}
        measured = {kind: min(round(one.share, 3), _MOST_SHARE) for kind, one in shares.items()}
        yield ExaminerAnswers(examiner=name, shares=shares, proposed=replace(usual, **measured))


def _questions(seen: Sequence[Sighting], who: dict[str, str]) -> Iterator[tuple[str, Answered]]:
    """Each question about a thing that two looks or more answered."""
    given: dict[tuple[str, str, int], list[tuple[str, int]]] = {}
    for one in seen:
        name = who[one.look]
        for colour, look in one.through.items():
            given.setdefault(("filters", colour, 3), []).append((name, _SEEN.index(look)))
        for section in Section:
            if section in one.shows_in:
                given.setdefault(("sections", section, 2), []).append((name, int(one.shows_in[section])))
        for question, answer in (("embedded", one.embedded), ("wipes off", one.wipes_off)):
            if answer is not None:
                given.setdefault(("touch", question, 2), []).append((name, int(answer)))
    for (kind, _, possible), answers in given.items():
        if len(answers) > 1:
            yield kind, Answered(possible=possible, answers=tuple(answers))
