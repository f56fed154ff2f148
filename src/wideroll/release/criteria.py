"""Whether a criterion can be judged at all."""

import math
from collections.abc import Iterator
from typing import Final, TypeAlias

from wideroll.errors import ArgumentError
from wideroll.release.model import Bound, Consequence, Criterion, Measurand, Region
from wideroll.release.rate_units import RATE_UNITS
from wideroll.roll import MARK_KINDS

__all__ = ["check_criterion"]

SCAN: Final = "scan"
_NOT_NEGATIVE: Final = ("least_size_mm", "least_contrast", "guard_m", "guard_mm", "lane_mm")
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
    for field, rule, value, mend in (
        *_numbers(criterion),
        *_rates(criterion),
        *_parts(criterion),
        *_readings(criterion),
        *_evidence(criterion),
        *_finished(criterion),
    ):
        raise ArgumentError(where=f"criterion {criterion.name}, {field}", rule=rule, value=value, mend=mend)


def _numbers(c: Criterion) -> Iterator[Broken]:
    if not c.name:
        yield "name", "must not be empty", c.name, "Name the line as the product's people call it."
    one_sided = c.measurand is Measurand.READING and c.bound is not Bound.BOTH
    if one_sided and not math.isfinite(c.limit):
        yield "limit", "must be a number", c.limit, "Give the limit in the reading's unit."
    for field in _NOT_NEGATIVE if one_sided else ("limit", *_NOT_NEGATIVE):
        value = getattr(c, field)
        if not (math.isfinite(value) and value >= 0.0):
            yield field, "must be 0 or more", value, "Give 0 or more."
    if not 0.5 <= c.confidence < 1.0:  # noqa: PLR2004 - below a half the two limits would change places
        yield "confidence", "must be at least 0.5 and below 1", c.confidence, "Give for example 0.95."
    if not 0.0 < c.producer_risk <= 0.5:  # noqa: PLR2004 - beyond a half most good film would be kept back
        yield "producer_risk", "must be above 0 and at most 0.5", c.producer_risk, "Give for example 0.05."
    if not math.isfinite(c.aim):
        yield "aim", "must be a number", c.aim, "Give the aim in the reading's unit."
    if not (math.isfinite(c.window_m) and c.window_m > 0.0):
        yield "window_m", "must be greater than 0", c.window_m, "Give the length of a stretch in metres."


def _rates(c: Criterion) -> Iterator[Broken]:
    """Criteria on rates of marks, by what they are per and the region they are judged for."""
    of, rates = c.measurand, (Measurand.MARK_RATE, Measurand.LOCAL_MARK_RATE)
    in_lanes = c.region in {Region.LANE, Region.LANE_AND_BATCH}
    if c.region is not Region.ROLL and of is not Measurand.MARK_RATE:
        yield "region", f"only a {Measurand.MARK_RATE} is judged region by region", c.region.value, "Leave it out."
    if in_lanes and not c.lane_mm > 0.0:
        yield "lane_mm", "must be above 0 where lanes are judged", c.lane_mm, "Give the width of a lane."
    if of not in rates:
        return
    unit = RATE_UNITS.get(c.unit)
    if unit is None:
        yield "unit", f"must be one of {', '.join(RATE_UNITS)}", c.unit, "Correct it."
    elif unit.per_length and not in_lanes:
        yield "unit", "a limit per length goes with lanes", c.unit, 'Give region = "lane" and its width.'
    unknown = [kind for kind in c.kinds if kind not in MARK_KINDS]
    if unknown:
        yield "kinds", "must be kinds of mark", unknown, f"Give some of {', '.join(MARK_KINDS)}."
    if math.isfinite(c.good) and not 0.0 <= c.good < c.limit:
        yield "good", "must be 0 or more and below the limit", c.good, "Give a rate that ought to be released."


def _parts(c: Criterion) -> Iterator[Broken]:
    """Criteria that find parts of the roll."""
    of = c.measurand
    if of is Measurand.GRADE and not (c.grades and c.limit.is_integer() and 1.0 <= c.limit <= len(c.grades)):
        yield "limit", "must be the place of a grade on the scale", c.limit, "Give one of the product's grades."
    if of in {Measurand.FLAW, Measurand.GRADE, Measurand.FORBIDDEN} and not c.kinds:
        yield "kinds", "must name at least one kind of flaw", c.kinds, 'Give for example ["streak"].'
    if of is Measurand.FORBIDDEN and c.limit > 0.0:
        yield "limit", "what is forbidden has the limit 0", c.limit, 'Give 0, or use "flaw" with a limit.'


def _readings(c: Criterion) -> Iterator[Broken]:
    """Criteria on readings, whose limits lie about an aim or on one side."""
    if c.measurand is not Measurand.READING:
        return
    if not c.subject:
        yield "subject", "must name a reading", c.subject, 'Give for example "speed deviation".'
    if c.bound is not Bound.BOTH and c.aim:
        yield "aim", f"a limit of at {c.bound} has no aim", c.aim, 'Leave it out, or give bound = "both".'
    if math.isnan(c.good):
        return
    if c.bound is Bound.BOTH and not 0.0 <= c.good < c.limit:
        yield "good", "must be 0 or more and below the limit", c.good, "Give a distance from the aim that is good."
    if c.bound is Bound.MOST and not c.good < c.limit:
        yield "good", "must be below the limit", c.good, "Give a value that ought to be released."
    if c.bound is Bound.LEAST and not c.good > c.limit:
        yield "good", "must be above the limit", c.good, "Give a value that ought to be released."


def _finished(c: Criterion) -> Iterator[Broken]:
    """What bears upon the cut: marks in a finished roll, and film of second quality."""
    counted = c.measurand is Measurand.MARK_COUNT
    if c.second_quality and (counted or c.consequence is not Consequence.CUT_OUT):
        what = c.measurand.value if counted else c.consequence.value
        mend = 'Leave it out, or give the consequence "cut out".'
        yield "second_quality", "goes with what is cut out where it lies", what, mend
    if not counted:
        return
    if not float(c.limit).is_integer():
        yield "limit", "must be a whole number of marks", c.limit, "Give 0, 1, 2 or more."
    if c.consequence is not Consequence.CUT_OUT:
        yield "consequence", "too many marks in a roll can only be cut out", c.consequence.value, 'Give "cut out".'
    if c.subject not in {"", SCAN}:
        yield "subject", "only the scan sees every place of a finished roll", c.subject, "Leave it out."
    unknown = [kind for kind in c.kinds if kind not in MARK_KINDS]
    if unknown:
        yield "kinds", "must be kinds of mark", unknown, f"Give some of {', '.join(MARK_KINDS)}."


def _evidence(c: Criterion) -> Iterator[Broken]:
    """Criteria that ask for evidence."""
    of = c.measurand
    if of not in {Measurand.COVERAGE, Measurand.EVIDENCE_COUNT}:
        return
    if not c.subject:
        yield "subject", "must name a source of evidence", c.subject, 'Give for example "scan", "sheets" or "strips".'
    if c.consequence is not Consequence.HOLD:
        yield "consequence", "missing evidence can only hold", c.consequence.value, 'Give "hold".'
    if of is Measurand.COVERAGE and c.limit > 1.0:
        yield "limit", "a share is at most 1", c.limit, "Give 0.98 for 98 %."
