"""What would reach a customer if a part of the roll were released, criterion by criterion."""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final, TypeAlias

from wideroll.release.conformance import conformance_probability, standard_uncertainty_of
from wideroll.release.costs_sums import Chance, Rate
from wideroll.release.counting import RATES, counted_marks, sources_of
from wideroll.release.ground import area_seen_m2, area_within_m2
from wideroll.release.model import (
    Criterion,
    Decision,
    Evidence,
    Finding,
    Measurand,
    Reading,
    Reason,
)
from wideroll.release.summary import left_aside
from wideroll.release.tolerance import tolerance_of
from wideroll.roll import Coverage, Extent, marks_within

__all__ = ["PER", "Escapes", "Film", "escapes"]

PER: Final[Mapping[Measurand, str]] = {
    Measurand.MARK_RATE: "mark",
    Measurand.LOCAL_MARK_RATE: "mark",
    Measurand.FLAW: "flaw",
    Measurand.GRADE: "flaw",
    Measurand.FORBIDDEN: "flaw",
    Measurand.READING: "m²",
}
"""What has a cost by each kind of criterion; the others speak of evidence, which no customer gets."""

_SHEETS: Final = "sheets"
_SLIVER: Final = 1e-9
_SILENT: Final = frozenset(
    {
        *(Reason.EVIDENCE_MISSING, Reason.EVIDENCE_VOID, Reason.NOT_LOOKED_AT, Reason.NOT_JUDGED),
        *(Reason.EXTRAPOLATED, Reason.CONTRADICTED),
    }
)
_JEFFREYS: Final = 0.5
"""Added to a count: Jeffreys' prior for a Poisson rate is a gamma of the shape ½."""
Term: TypeAlias = Chance | Rate | None
"""None is an unknown one."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Film:
    """A rectangle of the roll without what is taken out of it."""

    box: Extent
    holes: tuple[Extent, ...] = ()

    @property
    def area_m2(self) -> float:
        """What is left."""
        return self.within(self.box)

    def within(self, part: Extent, also: Sequence[Extent] = ()) -> float:
        """Area in m² of this film that lies in a part of the roll, other holes left out too."""
        inside = self.box.meet(part)
        if inside is None:
            return 0.0
        return max(inside.area_m2 - area_within_m2(inside, [*self.holes, *also]), 0.0)

    def seen(self, part: Extent, covers: Sequence[Coverage], also: Sequence[Extent] = ()) -> float:
        """The same, of what at least one source looked at."""
        inside = self.box.meet(part)
        return 0.0 if inside is None else area_seen_m2(inside, covers, [*self.holes, *also])

    def holds(self, part: Extent) -> bool:
        """Whether any of a part lies on it."""
        return self.within(part) > _SLIVER * self.box.area_m2 or (part.area_m2 == 0.0 and bool(self.box.meet(part)))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Case:
    """One criterion, and the cost of one thing that it speaks of, for a film."""

    criterion: Criterion
    cost: float
    evidence: Evidence
    findings: tuple[Finding, ...]
    cuts: tuple[Extent, ...]
    film: Film

    @property
    def sources(self) -> tuple[str, ...]:
        c = self.criterion
        return sources_of(c) if c.subject or c.measurand in RATES else tuple(self.evidence.coverage)

    @property
    def covers(self) -> list[Coverage]:
        return [self.evidence.coverage[name] for name in self.sources if name in self.evidence.coverage]

    def chance(self, probability: float, number: float) -> Chance:
        return Chance(criterion=self.criterion.name, probability=probability, number=number, cost=self.cost)

    def known_marks(self, film: Film, parts: Sequence[Extent]) -> float:
        """How many marks the criterion counts in parts of a film, by the source that found the most there."""
        counts = [0]
        for source in self.sources:
            marks = marks_within(counted_marks(self.criterion, self.evidence, source), [film.box])
            marks = marks_within(marks, parts)
            counts.append(marks.height - marks_within(marks, film.holes).height)
        return float(max(counts))


@dataclass(frozen=True, slots=True, kw_only=True)
class Escapes:
    """All that would escape with a film, and the criteria of which that isn't known."""

    chances: tuple[Chance, ...]
    rates: tuple[Rate, ...]
    unknown: tuple[str, ...]

    def expected(self, criterion: str) -> float:
        """How many of one criterion's marks, flaws or square metres."""
        return math.fsum(one.expected for one in self._terms if one.criterion == criterion)

    @property
    def cost(self) -> float:
        """The expected cost of all that is known."""
        return math.fsum(one.expected * one.cost for one in self._terms)

    @property
    def _terms(self) -> list[Chance | Rate]:
        return [*self.chances, *self.rates]


def escapes(decision: Decision, evidence: Evidence, costs: Mapping[str, float], film: Film) -> Escapes:
    """What would escape with the film by each criterion that has a cost."""
    chances: list[Chance] = []
    rates: list[Rate] = []
    unknown: list[str] = []
    for criterion in decision.criteria:
        if criterion.name not in costs:
            continue
        case = _Case(
            criterion=criterion,
            cost=costs[criterion.name],
            evidence=evidence,
            findings=tuple(one for one in decision.findings if one.criterion == criterion.name),
            cuts=left_aside(criterion, decision, evidence.whole),
            film=film,
        )
        terms = list(_terms(case))
        rates += [term for term in terms if isinstance(term, Rate)]
        chances += [term for term in terms if isinstance(term, Chance)]
        unknown += [criterion.name] if None in terms else []
    return Escapes(chances=tuple(chances), rates=tuple(rates), unknown=tuple(unknown))


def _terms(case: _Case) -> Iterator[Term]:
    if any(one.reason in _SILENT and case.film.holds(one.extent) for one in case.findings):
        yield None
    of = case.criterion.measurand
    if of is Measurand.MARK_RATE:
        for finding in case.findings:
            yield from _rate(case, finding) if case.film.holds(finding.extent) else ()
    elif of is Measurand.LOCAL_MARK_RATE:
        yield from _stretches(case)
    elif of is Measurand.READING:
        yield from _readings(case)
    else:
        yield from _found(case)
        yield from _elsewhere(case)


def _rate(case: _Case, finding: Finding) -> Iterator[Term]:
    """Marks outside the cuts by their rate; inside them those known, and by the rate where nobody looked."""
    looked = math.fsum(look.area_m2 for look in finding.looks)
    effective = math.fsum(look.area_m2 * look.detected.value for look in finding.looks)
    if finding.reason in _SILENT or not effective > 0.0:
        yield None
        return
    film, of, cuts = case.film, finding.extent, case.cuts
    beside = film.within(of, cuts)
    inside = film.within(of) - beside
    seen_inside = film.seen(of, case.covers) - film.seen(of, case.covers, cuts)
    yield Rate(
        criterion=case.criterion.name,
        shape=sum(look.count for look in finding.looks) + _JEFFREYS,
        looked_m2=effective,
        film_m2=beside + max(inside - seen_inside, 0.0),
        cost=case.cost,
        sheet_share=film.within(of) / film.area_m2,
    )
    part = film.box.meet(of)
    if part is not None and inside > _SLIVER * part.area_m2:
        marks = case.known_marks(Film(box=part, holes=film.holes), cuts)
        yield case.chance(1.0, marks * looked / effective)


def _stretches(case: _Case) -> Iterator[Term]:
    """The marks in stretches that are too dense."""
    for finding in case.findings:
        if finding.reason is Reason.ABOVE_LIMIT and case.film.holds(finding.extent):
            yield case.chance(1.0, case.known_marks(case.film, [finding.extent]))


def _readings(case: _Case) -> Iterator[Term]:
    """Film beyond the limit; of several readings for one stretch, such as three records, by the worst."""
    stretches: dict[Extent, list[float]] = {}
    for reading in case.evidence.readings:
        if reading.subject == case.criterion.subject and case.film.holds(reading.extent):
            stretches.setdefault(reading.extent, []).append(_conformance(case.criterion, reading))
    for extent, within in stretches.items():
        known = not any(math.isnan(one) for one in within)
        yield case.chance(1.0 - min(within), case.film.within(extent)) if known else None


def _conformance(c: Criterion, reading: Reading) -> float:
    """Of any reading: findings list only those that fail, or the worst."""
    error, freedom = reading.standard_uncertainty, reading.degrees_of_freedom
    if math.isnan(error):
        error = standard_uncertainty_of(reading.value, reading.low, reading.high, degrees_of_freedom=freedom)
    if reading.extrapolated or math.isnan(reading.value) or math.isnan(error):
        return math.nan
    tolerance = tolerance_of(c)
    return conformance_probability(
        reading.value, error, lower=tolerance.lower, upper=tolerance.upper, degrees_of_freedom=freedom
    )


def _found(case: _Case) -> Iterator[Term]:
    """The flaws that were found on the film and are, or may be, beyond their limit."""
    for finding in case.findings:
        bad = _bad(finding)
        if case.film.holds(finding.extent) and bad != 0.0:
            yield None if math.isnan(bad) else case.chance(bad, 1.0)


def _elsewhere(case: _Case) -> Iterator[Term]:
    """Flaws where nobody looked, by the rate of those found where somebody did."""
    film = case.film
    seen = area_seen_m2(case.evidence.whole, case.covers)
    unseen = film.area_m2 - film.seen(film.box, case.covers)
    if seen > 0.0 and unseen > _SLIVER * film.box.area_m2:
        known = [bad for finding in case.findings if not math.isnan(bad := _bad(finding))]
        yield Rate(
            criterion=case.criterion.name,
            shape=math.fsum(known) + _JEFFREYS,
            looked_m2=seen,
            film_m2=unseen,
            cost=case.cost,
            sheet_share=float(_SHEETS in case.sources),
        )


def _bad(finding: Finding) -> float:
    """The probability that what was found is a flaw beyond its limit; NaN where it isn't known."""
    if finding.reason is Reason.FORBIDDEN_FOUND:
        return 1.0
    if finding.reason is Reason.NONE_FOUND:
        return 0.0
    if math.isfinite(finding.conformance):
        return 1.0 - finding.conformance
    return math.nan if finding.reason is Reason.NOT_PROVEN else float(finding.reason is Reason.ABOVE_LIMIT)
