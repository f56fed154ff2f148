"""Calibration of a densitometer and of a sensitometer against a certified step tablet, and until when it holds.

Days are ISO 8601 text (``2026-10-01``), so that they compare as text; none is taken from a clock.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from wideroll.errors import ArgumentError
from wideroll.sensitometry.calibration_line import CalibrationLine, calibrate_line
from wideroll.sensitometry.exposure import Tablet, log_exposure
from wideroll.sensitometry.model import Floats, Record

__all__ = [
    "EXPOSURE",
    "Calibration",
    "calibrate_densitometer",
    "calibrate_sensitometer",
    "calibration_on",
    "check_day",
    "expired",
]

EXPOSURE: Final = "exposure"
"""What a sensitometer's one line is called; a densitometer's are called by their records."""

_DAY: Final = re.compile(r"\d{4}-(0[1-9]|1[0-2])-(0[1-9]|[12]\d|3[01])")
_LEAST_STEPS: Final = 5
_MOST_OFFSET: Final = 0.10
_MOST_GAIN: Final = 0.10
_MOST_SCATTER: Final = 0.03
"""Beyond these (density; ratio; density) an instrument isn't out of adjustment: something else was read (common
practice; one step of the usual tablets is 0.10 or 0.15)."""
_BENT: Final = 0.02
_BENT_P: Final = 0.01
"""A bend counts when it is larger (density; what a densitometer is usually trusted to) and as improbable by chance."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Calibration:
    """One calibration of an instrument: a line for each thing it measures, and the days it holds."""

    instrument: str
    """In words, such as ``densitometer D-2``."""
    tablet: str
    on: str
    expires: str
    """The last day it holds."""
    lines: Mapping[str, CalibrationLine]
    """By record, or by ``EXPOSURE`` for a sensitometer; empty where no line could be fitted."""
    why_unusable: str = ""
    """Why nothing may be measured by it whatever the day; empty when it may."""
    note: str = ""
    """What is to be known of a usable one, such as a lack of linearity."""


def calibrate_densitometer(
    name: str,
    tablet: Tablet,
    read: Mapping[Record, Sequence[float] | Floats],
    *,
    on: str,
    expires: str,
    repeatability_density: float = 0.0,
    most_density: float = np.inf,
    confidence: float = 0.95,
) -> Calibration:
    """The lines from what a densitometer reads to certified densities, one for each record.

    Steps beyond the instrument's range are left out. The calibration is unusable, with the reason, when fewer than five
    steps are left, when the readings can't be of the tablet named (gain off by more than 10 %, offset beyond 0.10,
    scatter beyond 0.03), or when the tablet's certificate didn't hold on the day. Lack of linearity is noted when it
    exceeds 0.02 in density and is significant at 1 %. (Limits are common practice.)

    Args:
        name: of the densitometer.
        tablet: with its certified densities.
        read: what the densitometer gave for each step (n,), by record.
        on: day of the calibration.
        expires: last day on which it holds.
        repeatability_density: standard deviation of one reading; 0 where it isn't known.
        most_density: greatest density the instrument reads.
        confidence: of the intervals of offset and gain.

    Raises:
        ArgumentError: when the number of readings isn't that of the tablet's steps, or the days are out of order.

    Example:
        >>> from wideroll.sensitometry import usual_tablet
        >>> tablet = usual_tablet("21x0.15")
        >>> read = {Record.VISUAL: tablet.step_density * 1.02 + 0.01}
        >>> made = calibrate_densitometer("D-2", tablet, read, on="2026-10-01", expires="2026-11-01")
        >>> round(made.lines["visual"].gain.value, 4), made.why_unusable
        (0.9804, '')
    """
    _check_days(f"calibration of densitometer {name}", on, expires)
    lines: dict[str, CalibrationLine] = {}
    reasons, notes = [_uncertified(tablet, on)], []
    for record, given in read.items():
        densities = _paired(f"densitometer {name}, {record.value}", given, tablet)
        inside = densities < most_density
        if inside.sum() < _LEAST_STEPS:
            reasons.append(f"{record.value}: only {inside.sum()} steps within its range, {_LEAST_STEPS} are needed")
            continue
        line = calibrate_line(
            densities[inside],
            tablet.step_density[inside],
            read_sd=repeatability_density,
            true_sd=tablet.standard_uncertainty[inside],
            common_sd=tablet.common_standard_uncertainty,
            confidence=confidence,
        )
        lines[record] = line
        reasons.append(_not_this_tablet(record.value, line, tablet.name))
        notes.append(_bent(record.value, line))
    return Calibration(
        instrument=f"densitometer {name}",
        tablet=tablet.name,
        on=on,
        expires=expires,
        lines=lines,
        why_unusable="; ".join(filter(None, reasons)),
        note="; ".join(filter(None, notes)),
    )


def calibrate_sensitometer(
    name: str,
    working_tablet: Tablet,
    log_h: Sequence[float] | Floats,
    *,
    exposure_lxs: float,
    on: str,
    expires: str,
    standard_uncertainty_log_h: float = 0.0,
    common_standard_uncertainty_log_h: float = 0.0,
) -> Calibration:
    """The line from the exposures a sensitometer is set to give to those it was found to give.

    Found exposures come from film of one batch exposed in it behind its working tablet and matched, density for
    density, with the same film behind a certified tablet in certified light (common practice). With P the density of a
    step of the working tablet, the line is: found log H − log₁₀(E·t) = offset + gain · (−P).

    Args:
        name: of the sensitometer.
        working_tablet: the one in it.
        log_h: found log H (n,) in lx·s behind each step.
        exposure_lxs: nominal light on the tablet times nominal time.
        on: day of the calibration.
        expires: last day on which it holds.
        standard_uncertainty_log_h: of each found value by itself; 0 where it isn't known.
        common_standard_uncertainty_log_h: of an error all found values have in common, such as that of the light.

    Raises:
        ArgumentError: when the number of values isn't that of the tablet's steps, the exposure isn't positive, or the
            days are out of order.

    Example:
        >>> from wideroll.sensitometry import usual_tablet
        >>> tablet = usual_tablet("21x0.15")
        >>> days = {"on": "2026-10-01", "expires": "2027-04-01"}
        >>> found = log_exposure(80.0, 0.01, tablet.step_density)
        >>> made = calibrate_sensitometer("S-1", tablet, found, exposure_lxs=0.75, **days)
        >>> round(made.lines["exposure"].offset.value, 3)  # log10 of 80/75
        0.028
    """
    _check_days(f"calibration of sensitometer {name}", on, expires)
    found = _paired(f"sensitometer {name}, log_h", log_h, working_tablet)
    level = log_exposure(exposure_lxs, 1.0, [0.0])[0]
    line = calibrate_line(
        -working_tablet.step_density,
        found - level,
        read_sd=working_tablet.standard_uncertainty,
        true_sd=standard_uncertainty_log_h,
        common_sd=common_standard_uncertainty_log_h,
    )
    reasons = (_uncertified(working_tablet, on), _not_this_tablet("", line, working_tablet.name, most_offset=np.inf))
    return Calibration(
        instrument=f"sensitometer {name}",
        tablet=working_tablet.name,
        on=on,
        expires=expires,
        lines={EXPOSURE: line},
        why_unusable="; ".join(filter(None, reasons)),
        note=_bent("", line),
    )


def calibration_on(calibrations: Sequence[Calibration], day: str) -> Calibration | None:
    """The newest calibration made on the day or before it, expired or not; None when there is none.

    Example:
        >>> calibration_on([], "2026-11-20") is None
        True
    """
    check_day("day", day)
    made = [calibration for calibration in calibrations if calibration.on <= day]
    return max(made, key=lambda calibration: calibration.on, default=None)


def expired(what: str, expires: str, day: str) -> str:
    """Why something of which ``expires`` is the last day doesn't hold on a day; empty when it does.

    Example:
        >>> expired("densitometer D-2's calibration of 2026-10-01", "2026-11-01", "2026-11-20")
        "densitometer D-2's calibration of 2026-10-01 expired on 2026-11-01"
        >>> expired("its calibration", "2026-11-01", "2026-11-01")
        ''
    """
    late = check_day("day", day) > check_day("expires", expires)
    return f"{what} expired on {expires}" if late else ""


def check_day(where: str, day: str) -> str:
    """The day, if it is one.

    Raises:
        ArgumentError: when it isn't written as year, month and day.

    Example:
        >>> check_day("read_on", "2026-11-20")
        '2026-11-20'
    """
    if not _DAY.fullmatch(day):
        raise ArgumentError(where=where, rule="a day such as 2026-11-20", value=day, mend="Write year, month, day.")
    return day


def _check_days(where: str, on: str, expires: str) -> None:
    if check_day(where, expires) < check_day(where, on):
        raise ArgumentError(
            where=where,
            rule="expires on the day it was made or later",
            value=f"made {on}, expires {expires}",
            mend="Correct the two days; they may have changed places.",
        )


def _paired(where: str, values: Sequence[float] | Floats, tablet: Tablet) -> Floats:
    given = np.asarray(values, dtype=np.float64)
    steps = len(tablet.step_density)
    if given.shape != (steps,) or not np.isfinite(given).all():
        raise ArgumentError(
            where=where,
            rule=f"a finite value for each of the {steps} steps of tablet {tablet.name}",
            value=given.size,
            mend="Read each step, or name the tablet that was read.",
        )
    return given


def _uncertified(tablet: Tablet, on: str) -> str:
    if tablet.certified_on and on < tablet.certified_on:
        return f"tablet {tablet.name} was certified on {tablet.certified_on}, after the calibration"
    return expired(f"tablet {tablet.name}'s certificate", tablet.expires_on, on) if tablet.expires_on else ""


def _not_this_tablet(what: str, line: CalibrationLine, tablet: str, *, most_offset: float = _MOST_OFFSET) -> str:
    """Why the readings can't be of the tablet they are said to be of; empty when they can."""
    prefix = f"{what}: " if what else ""
    if line.gain.value <= 0.0:
        return f"{prefix}the readings run against tablet {tablet}; was it read from its other end?"
    if abs(line.gain.value - 1.0) > _MOST_GAIN:
        return f"{prefix}a gain of {line.gain.value:.2f} against tablet {tablet}; was another tablet read?"
    if line.residual_sd > _MOST_SCATTER:
        return f"{prefix}readings scatter {line.residual_sd:.3f} about tablet {tablet}; was another tablet read?"
    if abs(line.offset.value) > most_offset:
        off = f"{line.offset.value:+.2f}".replace("-", "−")
        return f"{prefix}an offset of {off} against tablet {tablet}; was a step skipped, or no zero set?"
    return ""


def _bent(what: str, line: CalibrationLine) -> str:
    if not (abs(line.bend) > _BENT and line.bend_p_value < _BENT_P):
        return ""
    prefix = f"{what}: " if what else ""
    return f"{prefix}not linear, up to {abs(line.bend):.3f} off the straight line (p = {line.bend_p_value:.1g})"
