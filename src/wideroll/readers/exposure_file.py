"""exposure.toml of a roll: with what light, for how long and behind which tablet its strips were exposed."""

from dataclasses import replace
from pathlib import Path
from typing import Annotated, Final

import numpy as np
from pydantic import Field, model_validator

from wideroll.errors import ArgumentError, InputError
from wideroll.readers.days import Day
from wideroll.readers.fields import FileModel, Finite, Name, Positive
from wideroll.readers.instrument_files import Instruments, not_there
from wideroll.readers.toml_files import placed, read_toml
from wideroll.sensitometry import (
    USUAL_TABLETS,
    Exposure,
    Floats,
    Sensitometer,
    Tablet,
    expose,
    expose_calibrated,
    step_tablet,
    usual_tablet,
)

__all__ = ["ExposureFile", "read_exposure"]

_LEAST_STEPS: Final = 5
_MOST_APART: Final = 0.08
"""Densities given inline may differ so much from the named tablet's: they may be nominal, and leave out the base of its
clear step (common practice). It is less than a step of the usual tablets."""


class ExposureFile(FileModel):
    """rolls/<roll>/strips/exposure.toml: how the strips were exposed."""

    illuminance_lx: Positive | None = None
    time_s: Positive | None = None
    steps: Annotated[int, Field(ge=_LEAST_STEPS, le=100, strict=True)] | None = None
    increment_density: Positive | None = None
    step_density: Annotated[tuple[Finite, ...], Field(min_length=_LEAST_STEPS)] | None = None
    tablet: Name | None = None
    sensitometer: Name | None = None
    filter_density: dict[Name, Annotated[float, Field(ge=0, le=10, allow_inf_nan=False, strict=True)]] = Field(
        default_factory=dict
    )
    exposed_on: Day | None = None

    @model_validator(mode="after")
    def _light_is_given(self) -> "ExposureFile":
        given = [value is not None for value in (self.illuminance_lx, self.time_s)]
        if not (all(given) or (self.sensitometer is not None and not any(given))):
            raise ArgumentError(
                where="light",
                rule="give illuminance_lx and time_s, or the sensitometer",
                mend="State the light on the tablet and for how long it shone.",
            )
        return self

    @model_validator(mode="after")
    def _one_tablet(self) -> "ExposureFile":
        named = [part is not None for part in (self.steps, self.increment_density)]
        whole = all(named) if self.step_density is None else not any(named)
        elsewhere = self.tablet is not None or self.sensitometer is not None
        none = self.step_density is None and not any(named)
        if not (whole or (none and elsewhere)):
            raise ArgumentError(
                where="step tablet",
                rule="give either steps and increment_density, or step_density",
                mend="For the usual tablet: steps = 21 and increment_density = 0.15.",
            )
        if self.step_density is not None and len(set(self.step_density)) < len(self.step_density):
            raise ArgumentError(
                where="step_density",
                rule="no two steps have the same density",
                value=list(self.step_density),
                mend="Take them from the tablet's calibration.",
            )
        return self

    def inline_densities(self) -> Floats | None:
        """Densities (n,) of the steps as given here; None where only a tablet or sensitometer is named."""
        if self.step_density is not None:
            return np.asarray(self.step_density, dtype=np.float64)
        if self.steps is not None and self.increment_density is not None:
            return step_tablet(self.steps, self.increment_density)
        return None


def read_exposure(path: Path, instruments: Instruments | None) -> Exposure:
    """What each step of the tablet gave the film, as exposure.toml and instruments.toml say.

    Args:
        path: of exposure.toml.
        instruments: what the plant has; None where it has no instruments.toml.

    Raises:
        InputError: naming the file and field: a name that isn't known, a tablet or light that contradicts the one
            named, or no day of exposure where a certificate or calibration has an end.
    """
    file = read_toml(path, ExposureFile)
    required = instruments is not None and instruments.calibration_required
    with placed(path):
        lamp = _sensitometer(file, instruments, path)
        tablet = _tablet(file, lamp, instruments, path)
        _check_inline(file, tablet, path)
        calibrated = lamp is not None and (bool(lamp.calibrations) or required)
        if file.exposed_on is None and (calibrated or tablet.expires_on):
            what = f"sensitometer {file.sensitometer}" if calibrated else f"tablet {tablet.name}"
            raise InputError(
                where=f"{path}, field exposed_on",
                rule=f"the field must be there, since {what} is held to its dates",
                mend="Write the day on which the strips were exposed.",
            )
        if lamp is not None and calibrated:
            return expose_calibrated(lamp, filter_density=file.filter_density, exposed_on=file.exposed_on or "")
        made = expose(
            tablet,
            (file.illuminance_lx or 0.0) if lamp is None else lamp.illuminance_lx,
            (file.time_s or 0.0) if lamp is None else lamp.time_s,
            filter_density=file.filter_density,
            exposed_on=file.exposed_on or "",
        )
    why = "the plant asks for a calibrated sensitometer, and exposure.toml names none" if required else ""
    return replace(made, why_unusable="; ".join(filter(None, (made.why_unusable, why))))


def _sensitometer(file: ExposureFile, instruments: Instruments | None, path: Path) -> Sensitometer | None:
    if file.sensitometer is None:
        return None
    known = {} if instruments is None else instruments.sensitometers
    lamp = known.get(file.sensitometer)
    if lamp is None:
        where = f"{path}, field sensitometer"
        raise not_there(where, "sensitometers", known, file.sensitometer)
    for field, here, there in (
        ("illuminance_lx", file.illuminance_lx, lamp.illuminance_lx),
        ("time_s", file.time_s, lamp.time_s),
    ):
        if here is not None and here != there:
            raise InputError(
                where=f"{path}, field {field}",
                rule=f"must be that of sensitometer {lamp.name} ({there:g}), for which its calibration holds",
                value=here,
                mend="Take the field out, or name the sensitometer that was used.",
            )
    return lamp


def _tablet(file: ExposureFile, lamp: Sensitometer | None, instruments: Instruments | None, path: Path) -> Tablet:
    if lamp is not None:
        if file.tablet not in {None, lamp.tablet.name}:
            raise InputError(
                where=f"{path}, field tablet",
                rule=f"must be the working tablet of sensitometer {lamp.name}, {lamp.tablet.name}",
                value=file.tablet,
                mend="Take the field out, or name the sensitometer that was used.",
            )
        return lamp.tablet
    if file.tablet is not None:
        known = {} if instruments is None else instruments.tablets
        if file.tablet in known:
            return known[file.tablet]
        if file.tablet in USUAL_TABLETS:
            return usual_tablet(file.tablet)
        where, names = f"{path}, field tablet", [*known, *USUAL_TABLETS]
        raise not_there(where, "tablets", names, file.tablet)
    density = file.inline_densities()
    if density is None:
        raise InputError(where=str(path), rule="a tablet must be given", mend="Give steps and increment_density.")
    return Tablet(name="of exposure.toml", step_density=density, standard_uncertainty=np.zeros(len(density)))


def _check_inline(file: ExposureFile, tablet: Tablet, path: Path) -> None:
    """Densities given inline beside a named tablet must be that tablet's."""
    density = file.inline_densities()
    if density is None:
        return
    if len(density) != len(tablet.step_density):
        raise InputError(
            where=f"{path}, field {'steps' if file.step_density is None else 'step_density'}",
            rule=f"tablet {tablet.name} has {len(tablet.step_density)} steps",
            value=len(density),
            mend="Name the tablet that was used, or take its steps out of exposure.toml.",
        )
    apart = np.abs(density - tablet.step_density)
    if apart.max() > _MOST_APART:
        step = int(apart.argmax())
        raise InputError(
            where=f"{path}, field {'increment_density' if file.step_density is None else 'step_density'}",
            rule=f"step {step + 1} of tablet {tablet.name} has a density of {tablet.step_density[step]:.2f}",
            value=round(float(density[step]), 3),
            mend="Name the tablet that was used, or take its steps out of exposure.toml.",
        )
