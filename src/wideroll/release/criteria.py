"""Whether a criterion can be judged at all."""

import math
from collections.abc import Iterator
from typing import TypeAlias

from wideroll.errors import ArgumentError
from wideroll.release.model import Consequence, Criterion, Measurand
from wideroll.roll import MARK_KINDS

__all__ = ["check_criterion"]

Broken: TypeAlias = tuple[str, str, object, str]
"""Field, rule, value, mend."""


def check_criterion(criterion: Criterion) -> None:
    """Refuse a criterion that can't be judged; ``decide`` does so itself, a reader may do it earlier.

    Raises:
        ArgumentError: when a number is outside its range, or the measurand needs a subject, kinds or a unit that isn't
            given.

    Example:
        >>> from dataclasses import replace
        >>> metal = Criterion(
        ...     name="metal",
        ...     measurand=Measurand.FORBIDDEN,
        ...     limit=0,
        ...     unit="sightings",
        ...     consequence=Consequence.HOLD,
        ...     kinds=("metal",),
        ... )
        >>> check_criterion(metal)
        >>> check_criterion(replace(metal, guard_m=-1.0))
        Traceback (most recent call last):
        wideroll.errors.ArgumentError: criterion metal, guard_m: must be 0 or more, got -1.0. Give 0 or more.
    """
    for field, rule, value, mend in (*_numbers(criterion), *_parts(criterion), *_evidence(criterion)):
        raise ArgumentError(where=f"criterion {criterion.name}, {field}", rule=rule, value=value, mend=mend)


def _numbers(c: Criterion) -> Iterator[Broken]:
    if not c.name:
        yield "name", "must not be empty", c.name, "Name the line as the product's people call it."
    for field in ("limit", "least_size_mm", "guard_m", "guard_mm"):
        value = getattr(c, field)
        if not (math.isfinite(value) and value >= 0.0):
            yield field, "must be 0 or more", value, "Give 0 or more."
    if not 0.5 <= c.confidence < 1.0:  # noqa: PLR2004 - below a half the two limits would change places
        yield "confidence", "must be at least 0.5 and below 1", c.confidence, "Give for example 0.95."
    if not (math.isfinite(c.window_m) and c.window_m > 0.0):
        yield "window_m", "must be greater than 0", c.window_m, "Give the length of a stretch in metres."


def _parts(c: Criterion) -> Iterator[Broken]:
    """Criteria that find parts of the roll."""
    of = c.measurand
    if of in {Measurand.MARKS_PER_M2, Measurand.MARKS_PER_M2_LOCAL}:
        if not any(area in c.unit for area in ("m²", "m2", "m⁻²")):
            yield "unit", "the limit must be per m²", c.unit, "Convert it: 1 per ft² is 10.764 per m²."
        unknown = [kind for kind in c.kinds if kind not in MARK_KINDS]
        if unknown:
            yield "kinds", "must be kinds of mark", unknown, f"Give some of {', '.join(MARK_KINDS)}."
    if of in {Measurand.FLAW, Measurand.FORBIDDEN} and not c.kinds:
        yield "kinds", "must name at least one kind of flaw", c.kinds, 'Give for example ["streak"].'
    if of is Measurand.FORBIDDEN and c.limit > 0.0:
        yield "limit", "what is forbidden has the limit 0", c.limit, 'Give 0, or use "flaw" with a limit.'


def _evidence(c: Criterion) -> Iterator[Broken]:
    """Criteria that ask for evidence."""
    of = c.measurand
    if of is Measurand.READING and not c.subject:
        yield "subject", "must name a reading", c.subject, 'Give for example "speed deviation".'
    if of not in {Measurand.COVERAGE, Measurand.EVIDENCE_COUNT}:
        return
    if not c.subject:
        yield "subject", "must name a source of evidence", c.subject, 'Give for example "scan", "sheets" or "strips".'
    if c.consequence is not Consequence.HOLD:
        yield "consequence", "missing evidence can only hold", c.consequence.value, 'Give "hold".'
    if of is Measurand.COVERAGE and c.limit > 1.0:
        yield "limit", "a share is at most 1", c.limit, "Give 0.98 for 98 %."
