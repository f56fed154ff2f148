"""Exposures: what each step of a tablet, and the filters in the beam, let through to the film."""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from wideroll.errors import ArgumentError
from wideroll.sensitometry.model import Floats

__all__ = ["USUAL_TABLETS", "Tablet", "log_exposure", "step_tablet", "usual_tablet"]

_USUAL_STEPS: Final = 21
_USUAL_INCREMENT: Final = 0.15
USUAL_TABLETS: Final[Mapping[str, tuple[int, float]]] = MappingProxyType({"21x0.15": (21, 0.15), "31x0.10": (31, 0.10)})
"""Number of steps and density from step to step of the tablets in common use, by name (common practice)."""
_NO_FILTERS: Final[Mapping[str, float]] = MappingProxyType({})


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Tablet:
    """A step tablet: densities (n,) of its steps, and what its certificate says of them.

    ``standard_uncertainty`` (n,) is of each step by itself, ``common_standard_uncertainty`` of an error that all steps
    have in common; both in density. Dates are ISO 8601 days, empty where the tablet has no certificate.
    """

    name: str
    step_density: Floats
    standard_uncertainty: Floats
    common_standard_uncertainty: float = 0.0
    certified_on: str = ""
    expires_on: str = ""


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


def usual_tablet(name: str) -> Tablet:
    """A tablet in common use by its name, with its nominal densities and no certificate.

    Raises:
        ArgumentError: when no tablet in common use has the name.

    Example:
        >>> usual_tablet("31x0.10").step_density[[0, 1, 30]].tolist()
        [0.0, 0.1, 3.0]
    """
    if name not in USUAL_TABLETS:
        raise ArgumentError(
            where="tablet",
            rule=f"a tablet in common use is one of {', '.join(USUAL_TABLETS)}",
            value=name,
            mend="Correct the name, or give the densities of its steps.",
        )
    density = step_tablet(*USUAL_TABLETS[name])
    return Tablet(name=name, step_density=density, standard_uncertainty=np.zeros(len(density)))


def log_exposure(
    illuminance_lx: float,
    time_s: float,
    step_density: ArrayLike,
    *,
    filter_density: Mapping[str, float] = _NO_FILTERS,
) -> Floats:
    """log10 of the exposure (n,) in lx·s behind each step: log H = log10(E·t) − D of the step − D of each filter.

    In the order of the steps: a tablet that grows denser gives descending exposures.

    Args:
        illuminance_lx: at the plane of the tablet, without the filters of ``filter_density``.
        time_s: exposure time.
        step_density: densities (n,) of the tablet.
        filter_density: neutral and colour filters in the beam by name, each with its density to the light used.

    Raises:
        ArgumentError: when illuminance or time isn't positive and finite, a step's density isn't a finite number, or a
            filter's is negative.

    Example:
        >>> log_exposure(1000.0, 0.01, [0.0, 1.0]).tolist()
        [1.0, 0.0]
        >>> log_exposure(1000.0, 0.01, [0.0, 1.0], filter_density={"neutral": 2.0}).tolist()
        [-1.0, -2.0]
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
    for name, filtered in filter_density.items():
        if not (np.isfinite(filtered) and filtered >= 0.0):
            raise ArgumentError(
                where=f"filter_density {name}", rule="0 or more", value=filtered, mend="Give the filter's density."
            )
    log_h: Floats = np.log10(illuminance_lx * time_s) - density - sum(filter_density.values())
    return log_h


def _must_be_positive(where: str, value: float, mend: str) -> None:
    if not (np.isfinite(value) and value > 0.0):
        raise ArgumentError(where=where, rule="greater than 0", value=value, mend=mend)
