"""Exposures: what each step of a tablet lets through to the film."""

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from wideroll.errors import ArgumentError
from wideroll.sensitometry.model import Floats

__all__ = ["log_exposure", "step_tablet"]

_USUAL_STEPS: Final = 21
_USUAL_INCREMENT: Final = 0.15


def step_tablet(steps: int = _USUAL_STEPS, increment: float = _USUAL_INCREMENT) -> Floats:
    """Densities (steps,) of a step tablet whose first step is clear.

    The usual tablet has 21 steps of 0.15, half a stop each (common practice).

    Raises:
        ArgumentError: when there are fewer than two steps or the increment isn't positive.

    Example:
        >>> step_tablet()[[0, 1, 20]].tolist()
        [0.0, 0.15, 3.0]
    """
    if steps < 2:  # noqa: PLR2004 (one step is no tablet)
        raise ArgumentError(where="steps", rule="at least 2", value=steps, mend="Give the number of steps, such as 21.")
    _must_be_positive("increment", increment, "Give the density from step to step, such as 0.15.")
    return np.round(np.arange(steps) * increment, 12)


def log_exposure(illuminance_lx: float, time_s: float, step_density: ArrayLike) -> Floats:
    """log10 of the exposure (n,) in lx·s behind each step: log H = log10(E·t) − D of the step.

    In the order of the steps: a tablet that grows denser gives descending exposures.

    Args:
        illuminance_lx: at the plane of the tablet, filters included.
        time_s: exposure time.
        step_density: densities (n,) of the tablet.

    Raises:
        ArgumentError: when illuminance or time isn't positive and finite, or a step's density isn't a finite number.

    Example:
        >>> log_exposure(1000.0, 0.01, [0.0, 1.0]).tolist()
        [1.0, 0.0]
    """
    _must_be_positive("illuminance_lx", illuminance_lx, "Give the illuminance at the tablet in lux.")
    _must_be_positive("time_s", time_s, "Give the exposure time in seconds.")
    density = np.asarray(step_density, dtype=np.float64)
    if density.ndim != 1 or not np.isfinite(density).all():
        raise ArgumentError(
            where="step_density",
            rule="a finite density for each step, (n,)",
            value=step_density,
            mend="Give the tablet's densities in the order of its steps.",
        )
    log_h: Floats = np.log10(illuminance_lx * time_s) - density
    return log_h


def _must_be_positive(where: str, value: float, mend: str) -> None:
    if not (np.isfinite(value) and value > 0.0):
        raise ArgumentError(where=where, rule="greater than 0", value=value, mend=mend)
