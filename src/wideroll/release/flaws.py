"""Flaws against their limits, and flaws of which there may be none."""

import math
from collections.abc import Callable, Sequence
from typing import Final

import polars as pl

from wideroll.errors import ArgumentError
from wideroll.release.conformance import conformance_probability
from wideroll.release.counting import owner
from wideroll.release.ground import area_seen_m2
from wideroll.release.limits import rate_at_most
from wideroll.release.looked_at import nothing_seen
from wideroll.release.model import Criterion, Evidence, Flaw, Reason, Verdict
from wideroll.release.ruling import Found, Ruling, Word, absent, rule
from wideroll.release.words import measured, number, percent, share, where
from wideroll.roll import Coverage, Extent, marks_within

__all__ = ["guarded", "judge_flaws", "judge_forbidden", "judge_unseen_flaws", "no_limit", "none_of"]

_POINT_MM: Final = 0.5
_REACH: Final = 1.959964
"""Standard uncertainties to the end of a 95 % interval."""
_FEW_KINDS: Final = 3


def judge_flaws(criterion: Criterion, evidence: Evidence) -> list[Ruling]:
    """Each flaw that isn't surely within the limit, or the one nearest to it."""
    flaws = [flaw for flaw in _of_kind(criterion, evidence) if guarded(criterion, evidence, flaw)]
    for flaw in flaws:
        if flaw.unit != criterion.unit:
            raise ArgumentError(
                where=f"criterion {criterion.name}, unit",
                rule=f"{flaw.kind} is given in {flaw.unit}",
                value=criterion.unit,
                mend=f"State the limit in {flaw.unit}.",
            )
    bad = [flaw for flaw in flaws if not flaw.high <= criterion.limit]
    if bad:
        return [_flaw(criterion, evidence, flaw) for flaw in bad]
    if flaws:
        return [_flaw(criterion, evidence, max(flaws, key=lambda flaw: (flaw.high, flaw.value)))]
    return none_of(criterion, evidence, no_limit)


def judge_forbidden(criterion: Criterion, evidence: Evidence) -> list[Ruling]:
    """Every flaw or mark of the named kinds, whatever its size; one placed off the roll falls on all of it."""
    flaws = [*_of_kind(criterion, evidence), *_marks_of_kind(criterion, evidence)]
    return [_forbidden(criterion, evidence, flaw) for flaw in flaws] or none_of(criterion, evidence, _at_most)


def judge_unseen_flaws(criterion: Criterion, evidence: Evidence, _cuts: Sequence[Extent]) -> list[Ruling]:
    """Hold the roll when nothing was looked at that could have shown such flaws."""
    if not nothing_seen(evidence, _sources(criterion, evidence)):
        return []
    return [absent(criterion, evidence, evidence.whole, (criterion.subject,))]


def _of_kind(criterion: Criterion, evidence: Evidence) -> list[Flaw]:
    return [flaw for flaw in evidence.flaws if flaw.kind in criterion.kinds]


def _marks_of_kind(criterion: Criterion, evidence: Evidence) -> list[Flaw]:
    """The marks of the named kinds on the roll, as flaws."""
    marks = marks_within(evidence.marks, [evidence.whole]).filter(pl.col("kind").cast(pl.String).is_in(criterion.kinds))
    if criterion.subject:
        marks = marks.filter(
            pl.Series([owner(of, evidence) == criterion.subject for of in marks["source"]], dtype=pl.Boolean)
        )
    return [
        Flaw(
            kind=row["kind"],
            extent=Extent(
                along_from_m=row["along_m"] - row["length_mm"] / 2000.0,
                along_to_m=row["along_m"] + row["length_mm"] / 2000.0,
                across_from_mm=row["across_mm"] - row["width_mm"] / 2.0,
                across_to_mm=row["across_mm"] + row["width_mm"] / 2.0,
            ),
            value=max(row["length_mm"], row["width_mm"]),
            low=max(row["length_mm"], row["width_mm"]),
            high=max(row["length_mm"], row["width_mm"]),
            unit="mm",
            source=row["source"],
            note=f"mark {row['id']}",
        )
        for row in marks.sort("along_m", "across_mm").iter_rows(named=True)
    ]


def guarded(criterion: Criterion, evidence: Evidence, flaw: Flaw) -> Extent | None:
    """The flaw with its guards, inside the roll; a flaw without length or width gets half a millimetre each way."""
    along = max(criterion.guard_m, 0.0 if flaw.extent.length_m else _POINT_MM / 1000.0)
    across = max(criterion.guard_mm, 0.0 if flaw.extent.width_mm else _POINT_MM)
    return flaw.extent.grown(along_m=along, across_mm=across).meet(evidence.whole)


def _sources(criterion: Criterion, evidence: Evidence) -> tuple[str, ...]:
    return (criterion.subject,) if criterion.subject else tuple(evidence.coverage)


def _flaw(criterion: Criterion, evidence: Evidence, flaw: Flaw) -> Ruling:
    told = f"{flaw.kind} at {where(flaw.extent, evidence.whole)}"
    value = measured(flaw.value, flaw.low, flaw.high, flaw.unit, limit=criterion.limit)
    limit = f"the limit of {number(criterion.limit)} {criterion.unit}"
    if flaw.high <= criterion.limit:
        verdict, reason = Verdict.RELEASE, Reason.WITHIN_LIMIT
        why = f"{told}, the worst there is: {value}, within {limit}"
    elif flaw.low > criterion.limit:
        verdict, reason = Verdict(criterion.consequence.value), Reason.ABOVE_LIMIT
        why = f"{told}: {value}, above {limit}"
    else:
        verdict, reason, why = Verdict.HOLD, Reason.NOT_PROVEN, f"{told}: {value}, which doesn't settle {limit}"
    return rule(
        criterion,
        Found(
            value=flaw.value,
            low=flaw.low,
            high=flaw.high,
            margin=criterion.limit - flaw.value,
            conformance=_conformance(criterion, flaw),
        ),
        Word(verdict, reason, f"{why}; {flaw.note}" if flaw.note else why, brief=why),
        extent=guarded(criterion, evidence, flaw) or evidence.whole,
        source=flaw.source,
    )


def _conformance(criterion: Criterion, flaw: Flaw) -> float:
    """From the half of its own 95 % interval on the limit's side, taken as normal; NaN where it has no interval."""
    half = flaw.high - flaw.value if criterion.limit >= flaw.value else flaw.value - flaw.low
    if not (math.isfinite(half) and half > 0.0):
        return math.nan
    return conformance_probability(flaw.value, half / _REACH, upper=criterion.limit)


def _forbidden(criterion: Criterion, evidence: Evidence, flaw: Flaw) -> Ruling:
    told = f"{flaw.kind} of {number(flaw.value)} {flaw.unit} at {where(flaw.extent, evidence.whole)}"
    note = f" ({flaw.note})" if flaw.note else ""
    none = "none is allowed"
    return rule(
        criterion,
        Found(value=1.0, low=1.0, high=1.0, margin=criterion.limit - 1.0),
        Word(
            Verdict(criterion.consequence.value),
            Reason.FORBIDDEN_FOUND,
            f"{told}{note}; {none}",
            brief=f"{told}; {none}",
        ),
        extent=guarded(criterion, evidence, flaw) or evidence.whole,
        source=flaw.source,
    )


def none_of(
    criterion: Criterion, evidence: Evidence, limits: Callable[[Criterion, float], tuple[Found, str]]
) -> list[Ruling]:
    """That none was found, on the share that was looked at; nothing where nothing was."""
    sources = [source for source in _sources(criterion, evidence) if source in evidence.coverage]
    if nothing_seen(evidence, sources):
        return []
    whole = evidence.whole
    seen = _share_seen(evidence, [evidence.coverage[source] for source in sources])
    drawn = _share_seen(evidence, [evidence.sampled.get(source, evidence.coverage[source]) for source in sources])
    looked = " and ".join(sources)
    found, more = limits(criterion, drawn)
    part = f" ({share(drawn)} drawn by chance)" if 0.0 < drawn < seen and more else ""
    why = f"{_no_such(criterion)} found on the {share(seen)} that the {looked} looked at{part}{more}"
    return [rule(criterion, found, Word(Verdict.RELEASE, Reason.NONE_FOUND, why), extent=whole, source=looked)]


def _share_seen(evidence: Evidence, covers: Sequence[Coverage]) -> float:
    return min(area_seen_m2(evidence.whole, covers) / evidence.whole.area_m2, 1.0)


def _at_most(criterion: Criterion, seen: float) -> tuple[Found, str]:
    """How many there may be on the roll when none was found on a share of it (Garwood, one-sided).

    Only what was drawn by chance, or leaves nothing out, says so.
    """
    if not seen > 0.0:
        return Found(value=0.0, low=0.0, high=math.nan, margin=criterion.limit), ", of which none was drawn by chance"
    most = float(math.floor(rate_at_most(0, seen, criterion.confidence)))
    told = f": at most {number(most)} on the whole roll at {percent(criterion.confidence)} confidence"
    return Found(value=0.0, low=0.0, high=most, margin=criterion.limit), told


def no_limit(criterion: Criterion, _seen: float) -> tuple[Found, str]:
    """No limits: from which size on a flaw would have been seen isn't known."""
    return Found(value=0.0, low=math.nan, high=math.nan, margin=criterion.limit), ""


def _no_such(criterion: Criterion) -> str:
    if len(criterion.kinds) > _FEW_KINDS:
        return f"none of {len(criterion.kinds)} kinds"
    kinds = " or ".join(criterion.kinds)
    return "none" if kinds == criterion.name.casefold() else f"no {kinds}"
