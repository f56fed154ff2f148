"""What a process run puts on the control charts of its processor.

Per record, three departures of the reference strips from their aims, in density: at the minimum, at a stated log H
(where a change of speed shows), and of the difference between two stated log H (where a change of contrast shows).
Common practice of process control.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from wideroll.errors import ArgumentError
from wideroll.sensitometry.model import Aims, Floats, Record, RunVerdict

__all__ = ["ControlPlaces", "ProcessPoint", "ProcessQuantity", "process_points"]


class ProcessQuantity(StrEnum):
    """What is charted of each record."""

    MINIMUM = "minimum density"
    SPEED = "speed density"
    CONTRAST = "contrast density"


@dataclass(frozen=True, slots=True, kw_only=True)
class ControlPlaces:
    """Where on the reference film's curve a processor is watched, as log10 of exposure in lx·s."""

    speed_log_h: float
    contrast_log_h: tuple[float, float]
    """Where the lesser and the greater exposure is."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ProcessPoint:
    """One departure of a run's reference strips from their aims, in density, with its standard uncertainty."""

    record: Record
    quantity: ProcessQuantity
    value: float
    standard_uncertainty: float


def process_points(run: RunVerdict, reference_aims: Aims, places: ControlPlaces) -> tuple[ProcessPoint, ...]:
    """The run's points for the charts of its processor, record by record.

    Each is a weighted sum w·d of the run's shift d (reference less aim, from the fitted curves, mean of the run's
    reference strips), so its standard uncertainty is √(w C wᵀ), C the shift's covariance. Between steps the shift is
    interpolated linearly. The minimum is taken where the aim's density is least among the steps.

    Args:
        run: judged; a void one has points too when its reference strips could be read.
        reference_aims: of the reference film.
        places: where on the curve.

    Returns:
        Three points a record; none when no reference strip could be read.

    Raises:
        ArgumentError: when a place lies outside what the reference strips and their aims cover.

    Example:
        >>> from wideroll.sensitometry import Curve, FilmType
        >>> x = np.linspace(-3.0, 0.0, 21)
        >>> aims = Aims(
        ...     film_type=FilmType.BLACK_AND_WHITE,
        ...     curves={Record.VISUAL: Curve(log_h=x, density=0.2 + (x + 3.0) / 2.0)},
        ...     tolerance_density=0.05,
        ... )
        >>> shift = {Record.VISUAL: Curve(log_h=x, density=0.02 + 0.01 * (x + 3.0))}
        >>> run = RunVerdict(run="7", usable=True, why="", reference_strips=("R",), void_strips=(), shift_density=shift)
        >>> places = ControlPlaces(speed_log_h=-1.5, contrast_log_h=(-2.0, -1.0))
        >>> [round(point.value, 4) for point in process_points(run, aims, places)]
        [0.02, 0.035, 0.01]
    """
    return tuple(
        point
        for record, curve in run.shift_density.items()
        if len(curve.log_h)
        for point in _points(run, reference_aims, places, record)
    )


def _points(run: RunVerdict, reference_aims: Aims, places: ControlPlaces, record: Record) -> tuple[ProcessPoint, ...]:
    curve = run.shift_density[record]
    _check_places(places, curve.log_h, run.run)
    least = np.zeros(len(curve.log_h))
    least[int(np.argmin(reference_aims.curves[record].at(curve.log_h)))] = 1.0
    low, high = places.contrast_log_h
    weights: Mapping[ProcessQuantity, Floats] = {
        ProcessQuantity.MINIMUM: least,
        ProcessQuantity.SPEED: _weights(places.speed_log_h, curve.log_h),
        ProcessQuantity.CONTRAST: _weights(high, curve.log_h) - _weights(low, curve.log_h),
    }
    covariance = run.shift_covariance.get(record)
    return tuple(
        ProcessPoint(
            record=record,
            quantity=quantity,
            value=float(weight @ curve.density),
            standard_uncertainty=0.0
            if covariance is None
            else math.sqrt(max(float(weight @ covariance @ weight), 0.0)),
        )
        for quantity, weight in weights.items()
    )


def _weights(x: float, nodes: Floats) -> Floats:
    """Of the nodes (n,) in linear interpolation at x."""
    return np.array([float(np.interp(x, nodes, unit)) for unit in np.eye(len(nodes))])


def _check_places(places: ControlPlaces, log_h: Floats, run: str) -> None:
    low, high = places.contrast_log_h
    if not low < high:
        raise ArgumentError(
            where="contrast_log_h", rule="two log H, the lesser first", value=(low, high), mend="Change the two."
        )
    for place in (places.speed_log_h, low, high):
        if not log_h[0] <= place <= log_h[-1]:
            raise ArgumentError(
                where=f"run {run}",
                rule=f"the chart's log H must lie where its reference strips were read and have an aim, "
                f"{log_h[0]:.2f} to {log_h[-1]:.2f}",
                value=f"{place:g}",
                mend="Choose another log H for the processor, or expose the reference strips further.",
            )
