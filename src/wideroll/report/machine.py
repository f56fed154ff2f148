"""Results as plain values for JSON: the documented, versioned shapes that scripts may rely on."""

import dataclasses
import math
from collections.abc import Mapping
from enum import Enum
from fractions import Fraction
from typing import Any

import numpy as np
import polars as pl

from wideroll.examination import Origin, SightingLog
from wideroll.release import CostTable, Decision
from wideroll.repeats import SeriesSearch
from wideroll.report.cost_grids import cost_words
from wideroll.report.detection_grids import detected_words
from wideroll.report.pair_grids import PAIR_MEASURES
from wideroll.report.processor_grids import state_json
from wideroll.report.profile_grids import series_sentences
from wideroll.roll import Extent
from wideroll.scan import Chip, ScanResult
from wideroll.scan.detection import DetectionResult
from wideroll.scan.detection_limits import detection_table
from wideroll.sensitometry import IsoSpeed, Measure, RecordPair, SeriesChanges, StripResult
from wideroll.workflow import Assessment, Examination, StripRoom
from wideroll.workflow.strip_profiles import StripProfiles

__all__ = [
    "decision_json",
    "detection_json",
    "examination_json",
    "plain",
    "repeats_json",
    "scan_json",
    "strips_json",
]


def plain(value: Any) -> Any:
    """A value as JSON can hold it: dataclasses by field, enums by value, tables as rows, arrays as lists.

    Numbers that JSON doesn't have (NaN, infinite) become null.
    """
    if isinstance(value, Enum):
        return value.value
    if value is None or isinstance(value, str | bool | int):
        return value
    if isinstance(value, float | Fraction | np.generic):
        return _number(value)
    return _collection(value)


def _number(value: float | Fraction | np.generic) -> bool | int | float | None:
    if isinstance(value, np.integer | np.bool_):
        whole: bool | int = value.item()
        return whole
    number = float(value)
    return number if math.isfinite(number) else None


def _collection(value: Any) -> Any:
    if isinstance(value, pl.DataFrame):
        return [plain(row) for row in value.iter_rows(named=True)]
    if isinstance(value, Mapping):
        return {str(plain(key)): plain(item) for key, item in value.items()}
    if dataclasses.is_dataclass(value):
        return {field.name: plain(getattr(value, field.name)) for field in dataclasses.fields(value)}
    return [plain(item) for item in value]


def scan_json(scan: ScanResult, *, whole: Extent | None, marks: bool) -> dict[str, Any]:
    """``wideroll/scan/1``; the marks themselves only when asked for."""
    kinds = scan.marks["kind"].cast(pl.String).value_counts().sort("kind")
    return {
        "schema": "wideroll/scan/1",
        "lines": scan.lines,
        "columns": scan.columns,
        "pitch_mm": plain(scan.pitch_mm),
        "web_width_mm": plain(scan.web_width_mm),
        "noise": plain(scan.noise),
        "looked_at_share": None if whole is None else plain(scan.coverage.share(whole)),
        "unseen": plain(scan.coverage.unseen),
        "marks_by_kind": {row["kind"]: row["count"] for row in kinds.iter_rows(named=True)},
        "marks": plain(scan.marks) if marks else None,
        "streaks": plain(scan.streaks),
        "bands": [{**plain(band), "frequency_per_m": plain(band.frequency_per_m)} for band in scan.bands],
        "mottle": plain(scan.mottle),
        "splices": plain(scan.splices),
        "chips": [_chip(chip) for chip in scan.chips],
        "channels": plain(scan.channels),
        "channel_matches": plain(scan.channel_matches) if marks else None,
        "settings": plain(scan.settings),
    }


def detection_json(detection: DetectionResult) -> dict[str, Any]:
    """``wideroll/detection/1``: each curve with its table, and what was laid and found."""
    return {
        "schema": "wideroll/detection/1",
        **plain(detection),
        "injected": detection.injected,
        "curves": [
            {**plain(curve), "fits": curve.fits, "table": plain(detection_table(curve))} for curve in detection.curves
        ],
    }


def strips_json(room: StripRoom, profiles: StripProfiles | None = None) -> dict[str, Any]:
    """``wideroll/strips/1``; changes and profiles are empty where the strips have no roll."""
    series = profiles.series if profiles else ()
    return {
        "schema": "wideroll/strips/1",
        "runs": [
            {
                "run": run.run,
                "usable": run.usable,
                "why": run.why,
                "reference_strips": list(run.reference_strips),
                "void_strips": list(run.void_strips),
                "dye_shift": plain(run.dye_shift) if run.dye_shift else None,
            }
            for run in room.runs
        ],
        "processors": [state_json(state) for state in room.processors],
        "strips": [_strip(result) for result in room.results],
        "changes": [_changes(one.changes) for one in series],
        "profiles": [
            {**_of_series(one.changes), "along": plain(one.along), "across": plain(one.across)} for one in series
        ],
    }


def examination_json(examination: Examination, log: SightingLog) -> dict[str, Any]:
    """``wideroll/examination/1``."""
    return {
        "schema": "wideroll/examination/1",
        "sheets": plain(examination.sheets),
        "looks": plain(examination.looks),
        "sightings": plain(examination.examined),
        "matching": plain(examination.matching),
        "taken_back": [{"line": plain(before), "by": plain(after)} for before, after in log.taken_back],
    }


def repeats_json(search: SeriesSearch) -> dict[str, Any]:
    """``wideroll/repeats/1``."""
    return {"schema": "wideroll/repeats/1", **plain(search)}


def decision_json(assessment: Assessment) -> dict[str, Any]:
    """``wideroll/decision/1``, without the fingerprint of its inputs."""
    decision: Decision = assessment.decision
    return {
        "schema": "wideroll/decision/1",
        "roll": assessment.card.name,
        "product": assessment.product.name,
        "plant": assessment.plant.name,
        "length_m": plain(assessment.card.length_m),
        "version": assessment.version,
        "verdict": decision.verdict.value,
        "why": decision.why,
        "released_share": plain(decision.released_share),
        "findings": plain(decision.findings),
        "regions": plain(decision.regions),
        "missing": plain(decision.missing),
        "coverage": plain(decision.coverage),
        "criteria": plain(decision.criteria),
        "put_down_to_handling": [
            plain(found.sighting) for found in assessment.examination.examined if found.origin.origin is Origin.HANDLING
        ],
        "series": plain(assessment.repeats.series),
        "process_runs": strips_json(assessment.strip_room)["runs"],
        "processors": [state_json(state) for state in assessment.strip_room.processors],
        "detected": [{**plain(one), "words": detected_words(one)} for one in assessment.detected],
        "costs": _costs(assessment.costs),
    }


def _costs(table: CostTable | None) -> dict[str, Any] | None:
    return None if table is None else {**plain(table), "words": list(cost_words(table))}


def _of_series(changes: SeriesChanges) -> dict[str, Any]:
    series = changes.series
    return {"measure": series.measure, "record": series.record.value, "unit": series.unit}


def _changes(changes: SeriesChanges) -> dict[str, Any]:
    return {
        **_of_series(changes),
        "points": plain(changes.series.points),
        "scatter": plain(changes.series.scatter),
        "borders": plain(changes.borders),
        "drifts": plain(changes.drifts),
        "place": plain(changes.place),
        "level": changes.level,
        "words": list(series_sentences(changes)),
    }


def _chip(chip: Chip) -> dict[str, Any]:
    lines, columns = chip.pixels.shape
    return {
        "mark": chip.mark,
        "first_line": int(chip.first_line),
        "first_column": int(chip.first_column),
        "lines": lines,
        "columns": columns,
    }


def _strip(result: StripResult) -> dict[str, Any]:
    return {
        "strip": result.strip.name,
        "run": result.strip.run,
        "place": plain(result.strip.place),
        "usable": result.usable,
        "why": result.why,
        "note": result.strip.note,
        "records": {
            record.value: {
                "parameters": plain(fit.parameters),
                "residual_sd": plain(fit.residual_sd),
                "readings_used": int(fit.used.sum()),
            }
            for record, fit in result.fits.items()
        },
        "measures": [_measure(measure) for measure in result.measures],
        "deviations": [
            {
                "record": deviation.record.value,
                "measures": [
                    _measure(measure)
                    for measure in (
                        deviation.speed_log_h,
                        deviation.contrast,
                        deviation.dmin_density,
                        deviation.worst_density,
                    )
                ],
                "curve": plain(deviation.curve) if deviation.curve else None,
            }
            for deviation in result.deviations
        ],
        "pairs": [_pair(pair) for pair in result.pairs],
        "dye_shift": plain(result.dye_shift) if result.dye_shift else None,
        "speed": None if result.speed is None else _speed(result.speed),
    }


def _pair(pair: RecordPair) -> dict[str, Any]:
    measures = {name: _measure(getattr(pair, name)) for name in PAIR_MEASURES}
    curve = {"log_h": plain(pair.log_h), "off": plain(pair.off), "off_half": plain(pair.off_half)}
    return {"first": pair.first.value, "second": pair.second.value, **measures, **curve}


def _speed(speed: IsoSpeed) -> dict[str, Any]:
    return {
        "words": str(speed),
        "arithmetic": speed.class_arithmetic,
        "degrees": speed.class_degrees,
        "unrounded_degrees": plain(speed.degrees),
        "note": speed.note,
    }


def _measure(measure: Measure) -> dict[str, Any]:
    fields: dict[str, Any] = plain(measure)
    fields.pop("construction")
    return fields
