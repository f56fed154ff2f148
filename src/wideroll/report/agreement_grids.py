"""How alike examiners see, in tables and words: what each look adds, never who is better."""

import math
from collections.abc import Iterator, Sequence
from typing import Final

from wideroll.examination import Agreement, Capture, StratifiedCapture
from wideroll.report.grid import Cell, Column, Grid
from wideroll.report.quantities import ABSENT, show_count, show_interval, show_number
from wideroll.scan.detection import Reach
from wideroll.workflow.agreement_model import HitMiss, Judged, PairAgreement, PlantAgreement, ScannerAgreement
from wideroll.workflow.hit_miss import SizeThreshold

__all__ = [
    "agreement_words",
    "answers_grid",
    "examiner_lines",
    "hits_grid",
    "judged_grid",
    "looks_grid",
    "scanner_grid",
]

_FEW: Final = "too few to say"
_NO_ERROR: Final = 1e-6
_SEEN: Final = (
    Column(head="there are about"),
    Column(head="noted by nobody"),
)


def agreement_words(found: PlantAgreement) -> tuple[str, ...]:
    """What was compared, one sentence each."""
    said = [f"Rolls: {', '.join(found.rolls) or 'none'}."]
    if found.pairs:
        said.append(
            f"{show_count(found.sheets, 'sheet was', 'sheets were')} looked at blind twice or more. A second look adds "
            "to the first: nobody sees everything, and what one look alone noted is well found."
        )
    else:
        said.append(
            "No sheet has two blind looks yet. List a further look in looks.csv (blind: yes), and name it in the "
            "column look of sightings.csv."
        )
    return (*said, *found.notes)


def looks_grid(pairs: Sequence[PairAgreement]) -> Grid:
    """What two looks noted, and how many there are by it."""
    return Grid(
        caption="Two blind looks at the same sheets",
        columns=(
            Column(head="first look"),
            Column(head="second look"),
            Column(head="sheets", number=True),
            Column(head="both noted", number=True),
            Column(head="first alone", number=True),
            Column(head="second alone", number=True),
            *_SEEN,
        ),
        rows=tuple(
            (
                Cell(text=pair.first, tone="strong"),
                Cell(text=f"{pair.second} again" if pair.repeated else pair.second, tone="strong"),
                Cell(text=show_number(pair.sheets)),
                Cell(text=show_number(pair.both)),
                Cell(text=show_number(pair.only_first)),
                Cell(text=show_number(pair.only_second)),
                *_there(pair.there),
            )
            for pair in pairs
        ),
        empty="No sheet has two blind looks.",
        foot=(
            "Numbers by Chapman, size class by size class, with 95 % intervals; dirt from handling left out.",
            "Or more: of one size class one look noted nothing, so that nobody knows how many there are.",
        ),
    )


def judged_grid(found: PlantAgreement) -> Grid:
    """Kappa of kinds and grades, or why there is none."""
    rows = [(_names(pair), one) for pair in found.pairs for one in pair.judged]
    rows += [("three looks or more", one) for one in found.groups]
    return Grid(
        caption="How alike the same things were judged",
        columns=(
            Column(head="looks"),
            Column(head="judged", keep=True),
            Column(head="things", number=True),
            Column(head="alike", number=True),
            Column(head="kappa", number=True),
            Column(head="95 % interval"),
        ),
        rows=tuple(_judged_row(who, one) for who, one in rows),
        empty="Nothing was judged in two blind looks.",
        foot=(
            "Kappa is 1 where all is judged alike and 0 where no more than by chance.",
            "Of two looks, grades one step apart count in part (linear weights); among three or more they don't.",
        ),
    )


def scanner_grid(found: ScannerAgreement | None, borders_mm: Sequence[float]) -> Grid:
    """Examiners and scanner on the same sheets, by size class and together."""
    rows = list(_scanner_rows(found, borders_mm)) if found else []
    foot = [] if found is None else [f"{show_count(found.sheets, 'sheet')}; blind looks only, taken together."]
    if found is not None and found.there is not None and len(found.classes) > 1:
        foot.append(
            f"Without size classes there would be about {show_number(found.plain.total, 1)}; that tends to be too "
            "few, as large marks are easier for both."
        )
    return Grid(
        caption="Examiners and scanner on the same sheets",
        columns=(
            Column(head="size, mm", keep=True),
            Column(head="both saw", number=True),
            Column(head="examiners alone", number=True),
            Column(head="scanner alone", number=True),
            *_SEEN,
        ),
        rows=tuple(rows),
        empty="No kept scan covers an examined sheet.",
        foot=tuple(foot),
    )


def hits_grid(hits: Sequence[HitMiss]) -> Grid:
    """From which size on each examiner sees marks."""
    return Grid(
        caption="From which size on marks are seen, mm",
        columns=(
            Column(head="examiner"),
            Column(head="marks others saw", number=True),
            Column(head="noted too", number=True),
            Column(head="a50: every other one"),
            Column(head="a90: nine of ten"),
            Column(head="a90/95"),
            Column(head="note"),
        ),
        rows=tuple(_hit_row(one) for one in hits),
        empty="No sheet was examined.",
        foot=(
            "Others: the scanner, and other examiners' blind looks at the same sheets. Holds as far as these are real.",
            "a90/95: nine of ten, at 95 % confidence; ≤ already the smallest there was; > not even the largest.",
        ),
    )


def answers_grid(found: PlantAgreement) -> Grid:
    """How often answers need another look, by kind."""
    rows = [(one.examiner, kind, share) for one in found.answers for kind, share in sorted(one.shares.items())]
    return Grid(
        caption="Answers that a further look may change",
        columns=(
            Column(head="examiner"),
            Column(head="answers on"),
            Column(head="compared", number=True),
            Column(head="share, %", number=True),
            Column(head="95 % interval, %"),
        ),
        rows=tuple(
            (
                Cell(text=examiner, tone="strong"),
                Cell(text=kind),
                Cell(text=show_number(share.answers)),
                Cell(text=show_number(100.0 * share.share, 1)),
                Cell(text=show_interval(100.0 * share.low, 100.0 * share.high, 1)),
            )
            for examiner, kind, share in rows
        ),
        empty="No two blind looks answered the same question.",
        foot=("Together with what is usual, 5 % through filters and by touch and 10 % in sections, for 40 answers.",),
    )


def examiner_lines(found: PlantAgreement) -> str:
    """What a person may put into examiners.toml; empty where nothing was learnt."""
    tables = [
        f"[[examiners]]\nname = {_toml(one.examiner)}\n"
        + "".join(f"{kind} = {getattr(one.proposed, kind):.3f}\n" for kind in ("filters", "touch", "sections"))
        for one in found.answers
    ]
    return "\n".join(tables)


def _toml(text: str) -> str:
    escaped = "".join(
        f"\\{letter}" if letter in '"\\' else letter if letter.isprintable() else f"\\u{ord(letter):04X}"
        for letter in text
    )
    return f'"{escaped}"'


def _names(pair: PairAgreement) -> str:
    return f"{pair.first}, {pair.second}{' again' if pair.repeated else ''}"


def _there(there: StratifiedCapture | None) -> tuple[Cell, Cell]:
    if there is None:
        return Cell(text=_FEW), Cell(text=ABSENT)
    return _number(there.together)


def _number(one: Capture) -> tuple[Cell, Cell]:
    """The number there is, and that which nobody saw, each with its interval beneath."""
    seen = one.first + one.second - one.both
    fewest, most = (max(limit - seen, 0.0) for limit in (one.low, one.high))
    return (
        Cell(text=show_number(one.total, 1), note=show_interval(one.low, one.high, 1)),
        Cell(text=show_number(max(one.hidden, 0.0), 1), note=show_interval(fewest, most, 1)),
    )


def _judged_row(who: str, one: Judged) -> tuple[Cell, ...]:
    kappa = one.agreement
    alike = ABSENT if one.alike is None else show_number(one.alike)
    head = (Cell(text=who, tone="strong"), Cell(text=one.what), Cell(text=show_number(one.things)), Cell(text=alike))
    if kappa is None:
        return (*head, Cell(text=ABSENT), Cell(text=one.why))
    known = kappa.kappa if kappa.standard_error > _NO_ERROR or kappa.kappa >= 1.0 - _NO_ERROR else math.nan
    return (*head, Cell(text=show_number(known, 2)), Cell(text=_between(one.things, kappa)))


def _between(things: int, kappa: Agreement) -> str:
    """The interval; a standard error of 0 comes of things too much alike to tell how sure kappa is."""
    if kappa.standard_error > _NO_ERROR:
        return show_interval(kappa.low, kappa.high, 2)
    if kappa.kappa < 1.0 - _NO_ERROR:
        return "can't be said: one look gave one answer only"
    least = 100.0 * math.pow((1.0 - kappa.confidence) / 2.0, 1.0 / things)
    return f"all alike; of others at least {show_number(least, 0)} %"


def _scanner_rows(found: ScannerAgreement, borders_mm: Sequence[float]) -> Iterator[tuple[Cell, ...]]:
    several = len(found.classes) > 1
    for number, one in enumerate(found.classes if several else ()):
        few = one.first + one.second - one.both == 0 or found.there is None
        yield (
            Cell(text=_class_name(number, borders_mm)),
            *_counts(one),
            *((Cell(text=ABSENT), Cell(text=ABSENT)) if few else _number(one)),
        )
    together = found.there.together if found.there else found.plain
    yield Cell(text="all", tone="strong"), *_counts(together), *_there(found.there)


def _counts(one: Capture) -> tuple[Cell, ...]:
    return tuple(Cell(text=show_number(n)) for n in (one.both, one.first - one.both, one.second - one.both))


def _class_name(number: int, borders_mm: Sequence[float]) -> str:
    if number == 0:
        return f"below {borders_mm[0]:g}"
    if number == len(borders_mm):
        return f"from {borders_mm[-1]:g}"
    return f"{borders_mm[number - 1]:g} to {borders_mm[number]:g}"


def _hit_row(one: HitMiss) -> tuple[Cell, ...]:
    head = (
        Cell(text=one.examiner, tone="strong"),
        Cell(text=show_number(one.marks)),
        Cell(text=show_number(one.seen)),
    )
    if one.curve is None:
        return (*head, *(Cell(text=ABSENT) for _ in range(3)), Cell(text=f"too few to say; needed: {one.why}"))
    if not one.curve.rises:
        note = "no size to name: larger ones weren't noted more often"
        return (*head, *(Cell(text=ABSENT) for _ in range(3)), Cell(text=note))
    sizes = (one.curve.a50, one.curve.a90, one.curve.a90_95)
    return (*head, *(Cell(text=_size(size)) for size in sizes), Cell(text=one.curve.method.value))


def _size(size: SizeThreshold) -> str:
    sign = "" if size.reach is Reach.INSIDE else f"{size.reach.value} "
    return f"{sign}{show_number(size.size_mm, 2)}"
