"""``[[criteria]]`` of a product file: a misspelt word in it would never be found, and so always be met."""

from typing import Annotated

from pydantic import Field, model_validator

from wideroll.errors import ArgumentError
from wideroll.readers.fields import FileModel, Finite, Metres, Millimetres, Name
from wideroll.release import Consequence, Criterion, Measurand, check_criterion
from wideroll.roll import MARK_KINDS
from wideroll.workflow import FLAW_UNITS, READING_UNITS, SCAN, SHEETS, STRIPS

__all__ = ["CriterionTable"]


class CriterionTable(FileModel):
    """``[[criteria]]`` in a product file."""

    name: Name
    measurand: Measurand
    limit: Finite
    unit: str
    consequence: Consequence
    subject: str = ""
    kinds: tuple[str, ...] = ()
    least_size: Millimetres = 0.0
    confidence: Annotated[float, Field(ge=0.5, lt=1, strict=True)] = 0.95
    risk: Annotated[float, Field(gt=0, le=0.5, strict=True)] | None = None
    window: Metres = 1.0
    guard_along: Metres = 0.0
    guard_across: Millimetres = 0.0

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
        if self.measurand in {Measurand.FLAW, Measurand.FORBIDDEN}:
            marks = MARK_KINDS if self.measurand is Measurand.FORBIDDEN else ()
            for kind in self.kinds:
                _one_of(kind, {*FLAW_UNITS, *marks}, where=f"{where}, kinds")
        if self.measurand is Measurand.FLAW and self.kinds:
            _one_of(self.unit, {FLAW_UNITS[kind] for kind in self.kinds}, where=f"{where}, unit")
        if self.measurand is Measurand.READING:
            _one_of(self.subject, set(READING_UNITS), where=f"{where}, subject")
            _one_of(self.unit, {READING_UNITS[self.subject]}, where=f"{where}, unit")
        else:
            _one_of(self.subject, {SCAN, SHEETS, STRIPS, ""}, where=f"{where}, subject")
        return self

    def build(self) -> Criterion:
        """The criterion."""
        criterion = Criterion(
            name=self.name,
            measurand=self.measurand,
            limit=self.limit,
            unit=self.unit,
            consequence=self.consequence,
            subject=self.subject,
            kinds=self.kinds,
            least_size_mm=self.least_size,
            confidence=self.confidence if self.risk is None else 1.0 - self.risk,
            window_m=self.window,
            guard_m=self.guard_along,
            guard_mm=self.guard_across,
        )
        check_criterion(criterion)
        return criterion


def _one_of(word: str, known: set[str], *, where: str) -> None:
    if word not in known:
        raise ArgumentError(
            where=where,
            rule=f"must be one of {', '.join(sorted(repr(k) for k in known))}",
            value=word,
            mend="Correct its spelling; docs/reference/files.md lists them.",
        )
