"""The invented lab's instruments: what instruments.toml says of them, and what is true of them.

The sensitometer gives a little more light than it is set to; the densitometer reads a little off. The strips of the
demo carry both errors, which the calibrations in the file take off again.
"""

from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import Final

import numpy as np

from wideroll.sensitometry import Floats, Record, Strip, step_tablet

__all__ = [
    "DENSITOMETER",
    "EXPOSURE_TOML",
    "READ_ON",
    "as_read",
    "instruments_toml",
    "working_densities",
]

DENSITOMETER: Final = "D-1"
READ_ON: Final = "2026-11-13"
_SENSITOMETER: Final = "S-1"
_WORKING_TABLET: Final = "T-21"
_CHECK_TABLET: Final = "T-31"

EXPOSURE_TOML: Final = f'sensitometer = "{_SENSITOMETER}"\nexposed_on = 2026-11-12\n'

_ILLUMINANCE_LX: Final = 75.0
_TIME_S: Final = 0.01
_LIGHT_LOG_H: Final = 0.018
"""How much more the sensitometer gives than it is set to."""
_FOUND_SD: Final = 0.004
_TRUE_SCALES: Final[Mapping[Record, tuple[float, float]]] = {
    Record.RED: (0.012, 0.985),
    Record.GREEN: (-0.008, 1.012),
    Record.BLUE: (0.015, 1.018),
}
"""True density = offset + gain · reading of the densitometer, (offset, gain)."""
_REPEATABILITY: Final = 0.003
_CERTIFICATE_SD: Final = 0.004
_CLEAR: Final = 0.05
_MADE_SD: Final = 0.006
"""Density of a tablet's clear step, and how far its steps are from what they were made to be."""
_MOST_DENSITY: Final = 4.0
_SEED: Final = 1931

_HEAD: Final = f"""\
# The lab's instruments. Invented.

[[tablets]]
name = "{_WORKING_TABLET}"
step_density = {{working}}
standard_uncertainty = {_CERTIFICATE_SD}
common_standard_uncertainty = 0.002
certified_on = 2026-01-19
expires_on = 2027-01-18

[[tablets]]
name = "{_CHECK_TABLET}"
step_density = {{check}}
standard_uncertainty = {_CERTIFICATE_SD}
common_standard_uncertainty = 0.002
certified_on = 2026-01-19
expires_on = 2027-01-18

[[sensitometers]]
name = "{_SENSITOMETER}"
illuminance_lx = {_ILLUMINANCE_LX}
time_s = {_TIME_S}
tablet = "{_WORKING_TABLET}"

[[sensitometers.calibrations]]
on = 2026-07-01
expires = 2026-12-31
standard_uncertainty_log_h = {_FOUND_SD}
common_standard_uncertainty_log_h = 0.003
log_h = {{found}}

[[densitometers]]
name = "{DENSITOMETER}"
status = "M"
most_density = {_MOST_DENSITY}
repeatability_density = {_REPEATABILITY}
"""


def working_densities() -> Floats:
    """True densities (21,) of the working tablet, less what the sensitometer gives too much: as exposures are made."""
    return _true_densities()[0] - _LIGHT_LOG_H


def as_read(strip: Strip) -> Strip:
    """The strip as the densitometer shows it, which reads each record by a scale of its own."""
    shown = {record: _shown(record, density) for record, density in strip.density.items()}
    return replace(strip, density=shown)


def instruments_toml() -> str:
    """instruments.toml: certificates, and two calibrations of the densitometer, of which the first has expired."""
    noise = np.random.Generator(np.random.PCG64(_SEED + 1))
    working, check = _true_densities()
    certified = [_near(true, _CERTIFICATE_SD, noise) for true in (working, check)]
    level = np.log10(_ILLUMINANCE_LX * _TIME_S) + _LIGHT_LOG_H
    found = _near(level - working, _FOUND_SD, noise)
    text = _HEAD.format(working=_listed(certified[0]), check=_listed(certified[1]), found=_listed(found))
    for on, expires in (("2026-10-01", "2026-11-01"), ("2026-11-02", "2026-12-02")):
        text += f'\n[[densitometers.calibrations]]\non = {on}\nexpires = {expires}\ntablet = "{_CHECK_TABLET}"\n'
        for record in _TRUE_SCALES:
            text += f"read.{record} = {_listed(_near(_shown(record, check), _REPEATABILITY, noise))}\n"
    return text


def _true_densities() -> tuple[Floats, Floats]:
    """Of the working tablet (21,) and of the check tablet (31,): no step is just what it was made to be."""
    made = np.random.Generator(np.random.PCG64(_SEED))
    working = _near(step_tablet(21, 0.15) + _CLEAR, _MADE_SD, made)
    return working, _near(step_tablet(31, 0.10) + _CLEAR, _MADE_SD, made)


def _shown(record: Record, density: Floats) -> Floats:
    offset, gain = _TRUE_SCALES[record]
    return (density - offset) / gain


def _near(values: Floats, sd: float, noise: np.random.Generator) -> Floats:
    return values + sd * noise.standard_normal(len(values))


def _listed(values: Iterable[float]) -> str:
    return f"[{', '.join(f'{value:.3f}' for value in values)}]"
