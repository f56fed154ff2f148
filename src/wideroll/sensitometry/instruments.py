"""Instruments of a lab: what their calibrations make of exposures and readings, and when these are no evidence."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from types import MappingProxyType
from typing import Final

import numpy as np

from wideroll.sensitometry.calibration import EXPOSURE, Calibration, calibration_on, expired
from wideroll.sensitometry.exposure import Tablet, log_exposure
from wideroll.sensitometry.model import Floats, Record, Strip

__all__ = [
    "Densitometer",
    "DensitometerStatus",
    "Exposure",
    "Sensitometer",
    "expose",
    "expose_calibrated",
    "read_calibrated",
    "read_within_range",
]

_NO_FILTERS: Final[Mapping[str, float]] = MappingProxyType({})


class DensitometerStatus(StrEnum):
    """What a densitometer's channels see: status M for film to be printed, A for film to be looked at (ISO 5-3)."""

    M = "M"
    A = "A"
    VISUAL = "visual"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Densitometer:
    """A densitometer with its calibrations; ``most_density`` is the greatest density it reads."""

    name: str
    status: DensitometerStatus
    most_density: float
    calibrations: tuple[Calibration, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sensitometer:
    """A sensitometer with its working tablet and its calibrations."""

    name: str
    illuminance_lx: float
    time_s: float
    tablet: Tablet
    calibrations: tuple[Calibration, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Exposure:
    """What a film got behind each step of a tablet, in the order of its steps."""

    log_h: Floats
    """log10 of exposure (n,) in lx·s."""
    log_h_sd: float = 0.0
    """Standard uncertainty of its level: the greatest that the calibration leaves at any step."""
    why_unusable: str = ""


def expose(
    tablet: Tablet,
    illuminance_lx: float,
    time_s: float,
    *,
    filter_density: Mapping[str, float] = _NO_FILTERS,
    exposed_on: str = "",
) -> Exposure:
    """The exposures behind a tablet in light that is taken as given.

    Args:
        tablet: when it has a certificate that expires, this must hold on ``exposed_on``.
        illuminance_lx: on the tablet.
        time_s: exposure time.
        filter_density: see ``log_exposure``.
        exposed_on: the day; not looked at where it is empty.

    Raises:
        ArgumentError: when an exposure is impossible, see ``log_exposure``.

    Example:
        >>> from wideroll.sensitometry import usual_tablet
        >>> expose(usual_tablet("21x0.15"), 100.0, 0.01).log_h[0].item()
        0.0
    """
    why = ""
    if tablet.expires_on and exposed_on:
        why = expired(f"tablet {tablet.name}'s certificate", tablet.expires_on, exposed_on)
        why = f"{why}; the strips were exposed on {exposed_on}" if why else ""
    log_h = log_exposure(illuminance_lx, time_s, tablet.step_density, filter_density=filter_density)
    return Exposure(log_h=log_h, log_h_sd=tablet.common_standard_uncertainty, why_unusable=why)


def expose_calibrated(
    sensitometer: Sensitometer, *, filter_density: Mapping[str, float] = _NO_FILTERS, exposed_on: str
) -> Exposure:
    """The exposures that a calibrated sensitometer gave behind its working tablet on a day.

    log H = log₁₀(E·t) + offset − gain · D of the step − D of each filter. Without a calibration that holds on the day
    the exposures are unusable, with the reason.

    Raises:
        ArgumentError: when an exposure is impossible, see ``log_exposure``, or the day isn't one.

    Example:
        >>> from wideroll.sensitometry import usual_tablet
        >>> lamp = Sensitometer(name="S-1", illuminance_lx=100.0, time_s=0.01, tablet=usual_tablet("21x0.15"))
        >>> expose_calibrated(lamp, exposed_on="2026-11-20").why_unusable
        'sensitometer S-1 had no calibration when the strips were exposed on 2026-11-20'
    """
    lamp = f"sensitometer {sensitometer.name}"
    calibration = calibration_on(sensitometer.calibrations, exposed_on)
    why = _why_not(lamp, calibration, f"the strips were exposed on {exposed_on}", exposed_on)
    if calibration is None or EXPOSURE not in calibration.lines:
        nominal = log_exposure(
            sensitometer.illuminance_lx,
            sensitometer.time_s,
            sensitometer.tablet.step_density,
            filter_density=filter_density,
        )
        return Exposure(log_h=nominal, why_unusable=why)
    added, covariance = calibration.lines[EXPOSURE].at(-sensitometer.tablet.step_density)
    level = log_exposure(sensitometer.illuminance_lx, sensitometer.time_s, [0.0], filter_density=filter_density)[0]
    sd = float(np.sqrt(np.diag(covariance).max()))
    return Exposure(log_h=level + added, log_h_sd=sd, why_unusable=why)


def read_within_range(strip: Strip, densitometer: Densitometer) -> Strip:
    """The strip without readings at or over the densitometer's range: they become NaN, and its note counts them.

    Example:
        >>> from wideroll.sensitometry import StripKind
        >>> x = np.arange(3.0)
        >>> strip = Strip(name="1", kind=StripKind.CHECK, run="7", log_h=x, density={Record.VISUAL: 2.0 * x})
        >>> meter = Densitometer(name="D-2", status=DensitometerStatus.VISUAL, most_density=3.0)
        >>> read_within_range(strip, meter).note
        'visual: 1 reading at or over the range of densitometer D-2 (3.00) left out'
    """
    density: dict[Record, Floats] = {}
    notes = [strip.note]
    for record, readings in strip.density.items():
        over = readings >= densitometer.most_density
        density[record] = np.where(over, np.nan, readings)
        if over.any():
            many = f"{over.sum()} reading{'s' if over.sum() > 1 else ''} at or over the range"
            limit = f"{densitometer.name} ({densitometer.most_density:.2f})"
            notes.append(f"{record.value}: {many} of densitometer {limit} left out")
    return replace(strip, density=density, note=_joined(notes))


def read_calibrated(strip: Strip, densitometer: Densitometer, read_on: str) -> Strip:
    """The strip with calibrated densities: offset + gain · reading, with the covariance the steps share.

    Readings over the instrument's range are left out, see ``read_within_range``. Without a calibration that holds on
    the day, and covers the records read, the strip is unusable, with the reason.

    Raises:
        ArgumentError: when the day isn't one.

    Example:
        >>> from wideroll.sensitometry import StripKind
        >>> x = np.arange(3.0)
        >>> strip = Strip(name="1", kind=StripKind.CHECK, run="7", log_h=x, density={Record.VISUAL: x})
        >>> meter = Densitometer(name="D-2", status=DensitometerStatus.VISUAL, most_density=3.0)
        >>> read_calibrated(strip, meter, "2026-11-20").why_unusable
        'densitometer D-2 had no calibration when the strip was read on 2026-11-20'
    """
    within = read_within_range(strip, densitometer)
    meter = f"densitometer {densitometer.name}"
    calibration = calibration_on(densitometer.calibrations, read_on)
    why = _why_not(meter, calibration, f"the strip was read on {read_on}", read_on)
    lines = calibration.lines if calibration is not None else {}
    missing = [record.value for record in within.density if record not in lines]
    if calibration is not None and not why and missing:
        why = f"{meter}'s calibration of {calibration.on} doesn't cover {', '.join(missing)}"
    density, shared = dict(within.density), dict(within.shared_covariance)
    for record, readings in within.density.items():
        if record in lines:
            density[record], shared[record] = lines[record].at(readings)
    return replace(
        within,
        density=density,
        shared_covariance=shared,
        read_by=f"{meter}, {calibration.on}" if calibration is not None else meter,
        why_unusable=_joined([strip.why_unusable, why]),
    )


def _why_not(instrument: str, calibration: Calibration | None, deed: str, day: str) -> str:
    """Why nothing an instrument did on a day is evidence; empty when it is."""
    if calibration is None:
        return f"{instrument} had no calibration when {deed}"
    of = f"{instrument}'s calibration of {calibration.on}"
    late = expired(of, calibration.expires, day)
    if late:
        return f"{late}; {deed}"
    return f"{of} can't be used: {calibration.why_unusable}" if calibration.why_unusable else ""


def _joined(parts: Sequence[str]) -> str:
    return "; ".join(part for part in parts if part)
