"""The strip room: each run with what judged it, each strip with its calibration, curves and readings."""

import math
from collections.abc import Iterator
from typing import Any

import numpy as np

from wideroll.release.words import number
from wideroll.report.evidence_grids import steps_left_out
from wideroll.report.explanation.node import Fact, Kind, Node
from wideroll.sensitometry import Deviation, Measure, Record, RunVerdict, Strip, StripKind, StripResult
from wideroll.workflow import Assessment

__all__ = ["run_nodes", "strip_nodes"]

_NUMBER = 3


def run_nodes(assessment: Assessment) -> Iterator[Node]:
    """Each process run: whether it can be believed and why, its reference strips, and its processor's charts."""
    states = {state.run: state for state in assessment.strip_room.processors}
    for run in assessment.strip_room.runs:
        facts = [
            Fact(name="why", value=run.why),
            Fact(name="reference strips", value=", ".join(run.reference_strips) or "none"),
        ]
        if state := states.get(run.run):
            facts.append(
                Fact(
                    name=f"processor {state.processor.name}", value=": ".join(filter(None, (state.standing, state.why)))
                )
            )
        if run.usable:
            facts.append(Fact(name="taken off its strips", value=_shift(run)))
        if run.void_strips:
            facts.append(Fact(name="strips to repeat", value=", ".join(run.void_strips)))
        yield Node(
            kind=Kind.RUN,
            title=f"run {run.run}: {'usable' if run.usable else 'void'}",
            facts=tuple(fact for fact in facts if fact.value),
            values={"run": run.run, "usable": run.usable, "reference_strips": list(run.reference_strips)},
        )


def _shift(run: RunVerdict) -> str:
    """The greatest departure of the reference strips in each record."""
    parts = []
    for record, curve in run.shift_density.items():
        known = np.flatnonzero(np.isfinite(curve.density))
        if known.size:
            worst = known[np.argmax(np.abs(curve.density[known]))]
            parts.append(f"{record} {curve.density[worst]:+.3f} at log H {curve.log_h[worst]:.2f}".replace("-", "−"))
    return f"reference less aim, at most {', '.join(parts)}" if parts else ""


def strip_nodes(assessment: Assessment) -> Iterator[Node]:
    """Each strip, its calibration, and each record's steps as read, corrected and fitted."""
    results = {result.strip.name: result for result in assessment.strip_room.results}
    for strip in assessment.strip_room.strips:
        result = results.get(strip.name)
        yield Node(
            kind=Kind.STRIP,
            title=f"strip {strip.name}: {_what(strip, result)}",
            facts=tuple(fact for fact in _strip_facts(strip, result) if fact.value),
            children=tuple(_curve(strip, result, record) for record in strip.density),
            values={"strip": strip.name, "run": strip.run, "usable": result.usable if result else None}
            | {"deviations": _deviations(result)},
        )


def _what(strip: Strip, result: StripResult | None) -> str:
    if strip.kind is StripKind.REFERENCE or result is None:
        return f"reference, run {strip.run}"
    place = "place not given"
    if strip.place is not None:
        place = f"{strip.place.along_m:.2f} m, {strip.place.across_mm:.0f} mm across"
    return f"check, run {strip.run}, {place}, {'usable' if result.usable else 'not usable'}"


def _strip_facts(strip: Strip, result: StripResult | None) -> Iterator[Fact]:
    if result is not None:
        yield Fact(name="why not", value=result.why)
        for deviation in result.deviations:
            told = ", ".join(_short(name, measure) for name, measure in _measures(deviation))
            yield Fact(name=f"{deviation.record} check less aim", value=told)
    yield Fact(name="note", value=strip.note)
    yield Fact(name="read by", value=strip.read_by or "a densitometer without a calibration on file")
    if strip.log_h_sd:
        yield Fact(name="exposure", value=f"level of log H known to {number(strip.log_h_sd)}")


def _measures(deviation: Deviation) -> tuple[tuple[str, Measure], ...]:
    return (
        ("speed", deviation.speed_log_h),
        ("contrast", deviation.contrast),
        ("minimum density", deviation.dmin_density),
        ("worst density", deviation.worst_density),
    )


def _short(name: str, measure: Measure) -> str:
    error = "" if math.isnan(measure.standard_uncertainty) else f" (u {number(measure.standard_uncertainty)})"
    far = " extrapolated" if measure.extrapolated else ""
    return f"{name} {_signed(measure.value)} {measure.unit}".rstrip() + error + far


def _signed(value: float) -> str:
    return f"+{number(value)}" if value > 0.0 else number(value)


def _deviations(result: StripResult | None) -> list[dict[str, Any]]:
    return [
        {
            "record": deviation.record.value,
            "measure": name,
            "value": measure.value,
            "standard_uncertainty": measure.standard_uncertainty,
            "degrees_of_freedom": measure.degrees_of_freedom,
            "run_uncertainty": measure.run_uncertainty,
            "batch_uncertainty": measure.batch_uncertainty,
            "extrapolated": measure.extrapolated,
            "unit": measure.unit,
        }
        for deviation in (result.deviations if result else ())
        for name, measure in _measures(deviation)
    ]


def _curve(strip: Strip, result: StripResult | None, record: Record) -> Node:
    fit = None if result is None else result.fits.get(record)
    read = strip.density[record]
    there = int(np.isfinite(read).sum())
    used = "" if fit is None else f", {int(fit.used.sum())} used"
    span = f"log H {_fixed(strip.log_h[0])} to {_fixed(strip.log_h[-1])}"
    facts = []
    if fit is not None and result is not None:
        spread = f"{number(fit.residual_sd)} density, {fit.degrees_of_freedom} degrees of freedom"
        facts.append(Fact(name="fit", value=f"residual standard deviation {spread}"))
        if left := steps_left_out(result, record):
            facts.append(Fact(name="left out", value=left))
    return Node(
        kind=Kind.CURVE,
        title=f"{record}: {there} of {read.size} steps read{used}, {span}",
        facts=tuple(facts),
        children=tuple(_steps(strip, result, record)),
        values={"record": record.value, "read": there},
    )


def _steps(strip: Strip, result: StripResult | None, record: Record) -> Iterator[Node]:
    fit = None if result is None else result.fits.get(record)
    corrected = None if result is None else result.strip.density.get(record)
    for step, (log_h, density) in enumerate(zip(strip.log_h, strip.density[record], strict=True)):
        values = {"log_h": float(log_h), "density": float(density)}
        told = f"log H {_fixed(log_h)}: read {_fixed(density)}"
        if corrected is not None:
            values["corrected"] = float(corrected[step])
            told += f", {_corrected(float(corrected[step]))}"
        if fit is None:
            yield Node(kind=Kind.STEP, title=told, values=values)
        else:
            used = bool(fit.used[step])
            yield Node(
                kind=Kind.STEP, title=f"{told}, {'used' if used else 'left out'}", values=values | {"used": used}
            )


def _corrected(density: float) -> str:
    return f"corrected {_fixed(density)}" if math.isfinite(density) else "no correction is known there"


def _fixed(value: float) -> str:
    if math.isnan(value):
        return "nothing"
    return f"{value:.{_NUMBER}f}".replace("-", "−")
