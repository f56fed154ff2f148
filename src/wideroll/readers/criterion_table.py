"""``[[criteria]]`` of a product file: a misspelt word in it would never be found, and so always be met."""

import math
from collections.abc import Mapping, Sequence
from typing import Annotated, Final

from pydantic import Field, model_validator

from wideroll.errors import ArgumentError
from wideroll.readers.fields import FileModel, Finite, Metres, Millimetres, Name
from wideroll.release import Bound, Consequence, Criterion, Measurand, Region, check_criterion
from wideroll.roll import EXTENDED_KINDS, MARK_KINDS
from wideroll.workflow import FLAW_UNITS, READING_UNITS, SCAN, SHEETS, STRIPS
from wideroll.workflow.gather_sightings import SIGHTED_UNITS

__all__ = ["CriterionTable"]

BOTH: Final = f"{SCAN} and {SHEETS}"
"""Both sources together, for a rate."""
_SUBJECTS: Final = {Measurand.MARK_RATE: {SCAN, SHEETS, BOTH, ""}, Measurand.MARK_COUNT: {SCAN, ""}}
"""Those of some measurands; the others may name any one source."""


class CriterionTable(FileModel):
    """``[[criteria]]`` in a product file."""

    name: Name
    measurand: Measurand
    limit: Finite | Name
    """A grade's limit is the worst grade that is allowed."""
    unit: str = ""
    consequence: Consequence
    subject: str = ""
    kinds: tuple[str, ...] = ()
    least_size: Millimetres = 0.0
    least_contrast: Annotated[float, Field(ge=0, lt=1, strict=True)] = 0.0
    confidence: Annotated[float, Field(ge=0.5, lt=1, strict=True)] = 0.95
    risk: Annotated[float, Field(gt=0, le=0.5, strict=True)] | None = None
    good: Finite = math.nan
    producer_risk: Annotated[float, Field(gt=0, le=0.5, strict=True)] = 0.05
    window: Metres = 1.0
    guard_along: Metres = 0.0
    guard_across: Millimetres = 0.0
    region: Region = Region.ROLL
    lane: Millimetres = 0.0
    aim: Finite = 0.0
    bound: Bound = Bound.BOTH
    second_quality: Annotated[bool, Field(strict=True)] = False

    @model_validator(mode="after")
    def _risk_or_confidence(self) -> "CriterionTable":
        """They are one number, so that only one of them may be given."""
        if self.risk is not None and "confidence" in self.model_fields_set:
            raise ArgumentError(
                where=f"criterion {self.name}, risk",
                rule="is 1 − confidence, so that only one of the two may be given",
                value=self.risk,
                mend="Leave one of them out.",
            )
        return self

    @model_validator(mode="after")
    def _known_words(self) -> "CriterionTable":
        """Kinds of mark are checked with the criterion; the words of other evidence are known only here."""
        where = f"criterion {self.name}"
        if self.measurand is not Measurand.GRADE and not self.unit:
            raise ArgumentError(
                where=f"{where}, unit", rule="must be there, except for a grade", mend='Add it, for example "per m²".'
            )
        if self.measurand in {Measurand.FLAW, Measurand.FORBIDDEN}:
            marks = MARK_KINDS if self.measurand is Measurand.FORBIDDEN else ()
            for kind in self.kinds:
                _one_of(kind, {*FLAW_UNITS, *marks}, where=f"{where}, kinds")
        if self.measurand is Measurand.FLAW and self.kinds:
            _one_of(self.unit, {FLAW_UNITS[kind] for kind in self.kinds}, where=f"{where}, unit")
        if self.measurand is Measurand.GRADE:
            for kind in self.kinds:
                _one_of(kind, set(MARK_KINDS), where=f"{where}, kinds")
        elif isinstance(self.limit, str):
            raise ArgumentError(
                where=f"{where}, limit", rule="must be a number", value=self.limit, mend="Write it without quotes."
            )
        if self.measurand not in {Measurand.READING, Measurand.EVIDENCE_COUNT}:
            _one_of(self.subject, _SUBJECTS.get(self.measurand, {SCAN, SHEETS, STRIPS, ""}), where=f"{where}, subject")
        return self

    @model_validator(mode="after")
    def _can_be_counted(self) -> "CriterionTable":
        """Neither scan nor sheets count what has no one place."""
        uncounted = [kind for kind in self.kinds if kind in EXTENDED_KINDS]
        if uncounted and self.measurand in {Measurand.MARK_RATE, Measurand.LOCAL_MARK_RATE, Measurand.MARK_COUNT}:
            raise ArgumentError(
                where=f"criterion {self.name}, kinds",
                rule="what runs on or spreads out is never counted, so that the criterion would always pass",
                value=uncounted,
                mend='Use the measurand "flaw" or "grade" for them.',
            )
        return self

    @model_validator(mode="after")
    def _seen_by_its_source(self) -> "CriterionTable":
        """What only one source sees is met by that source's silence alone."""
        source = self._source()
        if self.subject and source and self.subject != source:
            raise ArgumentError(
                where=f"criterion {self.name}, subject",
                rule=f"these kinds are seen on the {source}",
                value=self.subject,
                mend="Correct it, or leave it out.",
            )
        return self

    def _source(self) -> str:
        """The source that sees the kinds of flaw; empty for other criteria.

        Raises:
            ArgumentError: when they are of two sources.
        """
        if self.measurand is Measurand.GRADE:
            return SHEETS
        if self.measurand not in {Measurand.FLAW, Measurand.FORBIDDEN}:
            return ""
        sources = {SHEETS if kind in SIGHTED_UNITS else SCAN for kind in self.kinds}
        if len(sources) > 1:
            raise ArgumentError(
                where=f"criterion {self.name}, kinds",
                rule="are either seen by examiners (metal, sighted …) or by the scan",
                value=list(self.kinds),
                mend="Make a criterion for each.",
            )
        return sources.pop() if sources else ""

    def check_subject(self, property_units: Mapping[str, str]) -> None:
        """Refuse a reading, or pieces of evidence, that nobody can bring; other properties are the product's own.

        Raises:
            ArgumentError: when the subject or its unit isn't known.
        """
        where = f"criterion {self.name}"
        if self.measurand is Measurand.READING:
            units = {**READING_UNITS, **property_units}
            _one_of(self.subject, set(units), where=f"{where}, subject")
            _one_of(self.unit, {units[self.subject]}, where=f"{where}, unit")
        elif self.measurand is Measurand.EVIDENCE_COUNT:
            _one_of(self.subject, {SCAN, SHEETS, STRIPS, "", *property_units}, where=f"{where}, subject")

    def build(self, scale: Sequence[str] = ()) -> Criterion:
        """The criterion; ``scale`` are the product's grades from the best."""
        criterion = Criterion(
            name=self.name,
            measurand=self.measurand,
            limit=self._limit(scale),
            unit="grade" if self.measurand is Measurand.GRADE else self.unit,
            consequence=self.consequence,
            subject=self.subject or self._source(),
            kinds=self.kinds,
            least_size_mm=self.least_size,
            least_contrast=self.least_contrast,
            confidence=self.confidence if self.risk is None else 1.0 - self.risk,
            good=self.good,
            producer_risk=self.producer_risk,
            window_m=self.window,
            guard_m=self.guard_along,
            guard_mm=self.guard_across,
            region=self.region,
            lane_mm=self.lane,
            aim=self.aim,
            bound=self.bound,
            second_quality=self.second_quality,
            grades=tuple(scale) if self.measurand is Measurand.GRADE else (),
        )
        check_criterion(criterion)
        return criterion

    def _limit(self, scale: Sequence[str]) -> float:
        if self.measurand is not Measurand.GRADE:
            return float(self.limit)
        where = f"criterion {self.name}, limit"
        if not scale:
            raise ArgumentError(
                where=where,
                rule="grades need the product's scale",
                value=self.limit,
                mend="Add [grades] to the product.",
            )
        _one_of(str(self.limit), set(scale), where=where)
        return float(scale.index(str(self.limit)) + 1)


def _one_of(word: str, known: set[str], *, where: str) -> None:
    if word not in known:
        raise ArgumentError(
            where=where,
            rule=f"must be one of {', '.join(sorted(repr(k) for k in known))}",
            value=word,
            mend="Correct its spelling; docs/reference/files.md lists them.",
        )
