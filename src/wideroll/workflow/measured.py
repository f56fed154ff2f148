"""What a decided roll adds to the history: one number for each thing that was measured of it."""

import math
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from functools import partial
from typing import Any, Final, TypeAlias

import polars as pl

from wideroll.control import RollValue, balance
from wideroll.errors import InputError
from wideroll.release.counting import SCAN, Counting, counted_marks, on_roll, sources_of
from wideroll.release.ground import area_seen_m2, area_within_m2
from wideroll.release.model import Measurand, Region, Verdict
from wideroll.roll import Extent, MarkKind
from wideroll.sensitometry import Measure, Record, StripResult, batch_mean
from wideroll.workflow.gather_readings import READING_UNITS, strip_series, usable_strips
from wideroll.workflow.model import Assessment

__all__ = ["BALANCE", "CUT_OUT_BY", "STRIP_READINGS", "measure_roll", "measured_document", "measured_values"]

STRIP_READINGS: Final[Mapping[str, str]] = {
    "speed": "speed deviation",
    "contrast": "contrast deviation",
    "minimum density": "minimum density deviation",
}
"""What strips are charted by, and the reading that criteria call it."""
BALANCE: Final = "balance"
CUT_OUT_BY: Final = "cut out by "
"""Before the name of a criterion: what it cut out of a roll, in m²."""
_SCHEMA: Final = "wideroll/measured/1"
_FIELDS: Final = ("quantity", "record", "part", "unit", "value", "area_m2")
_MARKS: Final = tuple(kind for kind in MarkKind if kind not in {MarkKind.STREAK, MarkKind.BAND})
"""Streaks and bands are measured as such."""

_Make: TypeAlias = partial[RollValue]


def measure_roll(assessment: Assessment) -> tuple[RollValue, ...]:
    """The roll's own values, each quantity and record once, and those of its strips and places beside them.

    Speed, contrast and minimum density are departures from aim, the mean over all usable strips of the roll as
    ``batch_mean`` weighs them; balance is the speed of a record less green's. Marks are counted on all that was looked
    at, also on what is cut out: the chart is of the process, not of what is sold. What isn't known has the value None.

    Args:
        assessment: of a decided roll.
    """
    card = assessment.card
    make = partial(
        RollValue,
        roll=card.name,
        product=card.product,
        line=assessment.plant.name,
        coated=card.coated,
        batch=", ".join(dict.fromkeys(batch.name for batch in card.batches)),
    )
    parts = (_strips, _properties, _marks, _rates, _flaws, _cut_out, _of_roll)
    return tuple(_each_once(value for part in parts for value in part(assessment, make)))


def measured_document(assessment: Assessment) -> dict[str, Any]:
    """``wideroll/measured/1``: the values as they are kept with the decision."""
    values = measure_roll(assessment)
    card = assessment.card
    return {
        "schema": _SCHEMA,
        "roll": card.name,
        "product": card.product,
        "line": assessment.plant.name,
        "coated": card.coated,
        "batch": ", ".join(dict.fromkeys(batch.name for batch in card.batches)),
        "values": [{name: getattr(value, name) for name in _FIELDS} for value in values],
    }


def measured_values(document: Any, *, where: str) -> tuple[RollValue, ...]:
    """The values of a document as ``measured_document`` made it.

    Raises:
        InputError: when it isn't one.

    Example:
        >>> head = {"roll": "W-1", "product": "N5", "line": "1", "coated": "2026-11-20", "batch": "E-5"}
        >>> value = {"quantity": "speed", "record": "red", "part": "", "unit": "log H", "value": 0.01, "area_m2": None}
        >>> found = measured_values({"schema": "wideroll/measured/1", **head, "values": [value]}, where="measured.json")
        >>> found[0].quantity, found[0].value
        ('speed', 0.01)
    """
    try:
        if document["schema"] != _SCHEMA:
            raise _not_measured(where, document["schema"])
        make = partial(RollValue, **{name: document[name] for name in ("roll", "product", "line", "coated", "batch")})
        return tuple(make(**{name: value[name] for name in _FIELDS}) for value in document["values"])
    except (KeyError, TypeError) as error:
        raise _not_measured(where, str(error)) from error


def _not_measured(where: str, value: object) -> InputError:
    return InputError(
        where=where, rule=f"must hold {_SCHEMA}", value=value, mend="Remove it and decide the roll again."
    )


def _each_once(values: Iterator[RollValue]) -> Iterator[RollValue]:
    """Names are the product's own: a criterion that is called as a property is told apart."""
    seen: set[tuple[str, str, str]] = set()
    for value in values:
        named = value
        while (named.quantity, named.record, named.part) in seen:
            named = replace(named, quantity=f"{named.quantity} (criterion)")
        seen.add((named.quantity, named.record, named.part))
        yield named


def _strips(assessment: Assessment, make: _Make) -> Iterator[RollValue]:
    usable = usable_strips(assessment.strip_room.results, assessment.whole)
    records = tuple(dict.fromkeys(one.record for result in usable for one in result.deviations))
    means: dict[str, dict[Record, float]] = {}
    for quantity, subject in STRIP_READINGS.items():
        for record in records:
            known = _known(usable, record, quantity)
            of = partial(make, quantity=quantity, record=record.value, unit=READING_UNITS[subject])
            mean = _mean(subject, known)
            means.setdefault(quantity, {})[record] = mean
            yield of(value=_finite(mean))
            yield from (of(part=result.strip.name, value=measure.value) for result, measure in known)
    yield from _balance(means.get("speed", {}), make)


def _known(usable: Sequence[StripResult], record: Record, quantity: str) -> list[tuple[StripResult, Measure]]:
    found = [
        (result, {"speed": one.speed_log_h, "contrast": one.contrast, "minimum density": one.dmin_density}[quantity])
        for result in usable
        for one in result.deviations
        if one.record is record
    ]
    return [(result, measure) for result, measure in found if math.isfinite(measure.value)]


def _mean(subject: str, known: Sequence[tuple[StripResult, Measure]]) -> float:
    if not known:
        return math.nan
    series = strip_series(subject, known)
    if series is None:
        return math.fsum(measure.value for _, measure in known) / len(known)
    return batch_mean(series, [measure.batch_uncertainty for _, measure in known]).value


def _balance(speeds: Mapping[Record, float], make: _Make) -> Iterator[RollValue]:
    """Speeds against green's; positive is slower than green."""
    known = {record.value: (speed,) for record, speed in speeds.items() if math.isfinite(speed)}
    if Record.GREEN.value in known and len(known) > 1:
        for name, (value,) in balance(known, Record.GREEN.value).items():
            yield make(quantity=BALANCE, record=name, unit=READING_UNITS["speed deviation"], value=value)


def _properties(assessment: Assessment, make: _Make) -> Iterator[RollValue]:
    """The mean over places, and each place."""
    for spec in assessment.product.properties:
        places: dict[str, list[float]] = {}
        for one in assessment.measurements:
            if one.subject == spec.name and one.usable:
                named = f"{one.place.along_m:.2f} m, {one.place.across_mm:.0f} mm"
                places.setdefault(named, []).append(one.value)
        means = {place: math.fsum(values) / len(values) for place, values in places.items()}
        of = partial(make, quantity=spec.name, unit=spec.unit)
        yield of(value=math.fsum(means.values()) / len(means) if means else None)
        yield from (of(part=place, value=value) for place, value in means.items())


def _marks(assessment: Assessment, make: _Make) -> Iterator[RollValue]:
    """The scan's marks by kind."""
    area = _scanned_m2(assessment)
    evidence = assessment.evidence
    elsewhere = [source for source in evidence.coverage if source != SCAN]
    marks = evidence.marks.filter(on_roll(evidence) & ~pl.col("source").is_in(elsewhere))
    found = Counter(marks["kind"].cast(pl.String))
    for kind in _MARKS if area else ():
        yield make(quantity=f"marks: {kind.value}", unit="marks", value=float(found[kind.value]), area_m2=area)


def _rates(assessment: Assessment, make: _Make) -> Iterator[RollValue]:
    """What each criterion on a rate of the whole roll counts."""
    evidence = assessment.evidence
    for criterion in assessment.decision.criteria:
        if criterion.measurand is not Measurand.MARK_RATE or criterion.region is not Region.ROLL:
            continue
        marks = {source: counted_marks(criterion, evidence, source) for source in sources_of(criterion)}
        looks = Counting(criterion=criterion, evidence=evidence, marks=marks, cuts=()).looks_in(evidence.whole)
        if looks:
            count, area = sum(look.count for look in looks), math.fsum(look.area_m2 for look in looks)
            yield make(quantity=criterion.name, unit="marks", value=float(count), area_m2=area)


def _flaws(assessment: Assessment, make: _Make) -> Iterator[RollValue]:
    area, scan = _scanned_m2(assessment), assessment.scan
    if scan is None or not area:
        return
    counts = {"streaks": len(scan.streaks), "bands": len(scan.bands), "series": len(assessment.repeats.series)}
    for quantity, count in counts.items():
        yield make(quantity=quantity, unit=quantity, value=float(count), area_m2=area)


def _cut_out(assessment: Assessment, make: _Make) -> Iterator[RollValue]:
    """Area that was cut out, each place once, by the criteria that did it in equal shares."""
    decision = assessment.decision
    taken: list[Extent] = []
    shares: dict[str, float] = {}
    for region in decision.regions:
        if region.verdict not in {Verdict.CUT_OUT, Verdict.REJECT}:
            continue
        before = area_within_m2(assessment.whole, taken)
        taken.append(region.extent)
        area = area_within_m2(assessment.whole, taken) - before
        causes = tuple(dict.fromkeys(decision.findings[number].criterion for number in region.findings))
        for cause in causes:
            shares[cause] = shares.get(cause, 0.0) + area / len(causes)
    for cause, area in shares.items():
        yield make(quantity=f"{CUT_OUT_BY}{cause}", unit="m²", value=area)


def _of_roll(assessment: Assessment, make: _Make) -> Iterator[RollValue]:
    yield make(quantity="released share", unit="share", value=_finite(assessment.decision.released_share))
    costs = assessment.costs
    if costs is not None:
        per_m2 = costs.roll.release / assessment.whole.area_m2
        yield make(quantity="expected cost of a release", unit=f"{costs.currency} per m²", value=_finite(per_m2))


def _scanned_m2(assessment: Assessment) -> float:
    coverage = assessment.evidence.coverage.get(SCAN)
    return 0.0 if coverage is None else area_seen_m2(assessment.whole, [coverage])


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None
