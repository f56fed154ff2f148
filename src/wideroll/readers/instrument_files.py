"""instruments.toml of a plant: its step tablets, densitometers, sensitometers and gauges with their calibrations."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Annotated, Final

import numpy as np
from pydantic import Field, model_validator

from wideroll.errors import ArgumentError, InputError
from wideroll.readers.days import Day, days_in_order
from wideroll.readers.fields import FileModel, Finite, Name, Positive, each_once
from wideroll.readers.gauge_tables import GaugeTable
from wideroll.readers.toml_files import placed, read_toml
from wideroll.sensitometry import (
    USUAL_TABLETS,
    Calibration,
    Densitometer,
    DensitometerStatus,
    Floats,
    Record,
    Sensitometer,
    Tablet,
    calibrate_densitometer,
    calibrate_sensitometer,
    step_tablet,
    usual_tablet,
)
from wideroll.workflow.property_model import Gauge

__all__ = [
    "DensitometerCalibrationTable",
    "DensitometerTable",
    "Instruments",
    "InstrumentsFile",
    "SensitometerCalibrationTable",
    "SensitometerTable",
    "TabletTable",
    "not_there",
    "read_instruments",
]

_LEAST_STEPS: Final = 5
_LEAST_DENSITY, _MOST_DENSITY = -0.5, 6.0
_NotNegative = Annotated[float, Field(ge=0, allow_inf_nan=False, strict=True)]
_Density = Annotated[float, Field(gt=_LEAST_DENSITY, le=_MOST_DENSITY, allow_inf_nan=False, strict=True)]
_Readings = Annotated[tuple[_Density, ...], Field(min_length=_LEAST_STEPS)]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Instruments:
    """The instruments of a plant by name."""

    tablets: Mapping[str, Tablet]
    densitometers: Mapping[str, Densitometer]
    sensitometers: Mapping[str, Sensitometer]
    calibration_required: bool = False
    """Whether strips exposed or read, and properties measured, without a calibration are no evidence."""
    gauges: Mapping[str, Gauge] = field(default_factory=dict)


class TabletTable(FileModel):
    """``[[tablets]]`` in instruments.toml."""

    name: Name
    steps: Annotated[int, Field(ge=_LEAST_STEPS, le=100, strict=True)] | None = None
    increment_density: Positive | None = None
    step_density: Annotated[tuple[_Density, ...], Field(min_length=_LEAST_STEPS)] | None = None
    standard_uncertainty: _NotNegative | tuple[_NotNegative, ...] = 0.0
    common_standard_uncertainty: _NotNegative = 0.0
    certified_on: Day | None = None
    expires_on: Day | None = None

    @model_validator(mode="after")
    def _whole(self) -> "TabletTable":
        named = [part is not None for part in (self.steps, self.increment_density)]
        if not (all(named) if self.step_density is None else not any(named)):
            raise ArgumentError(
                where=f"tablet {self.name}",
                rule="give either steps and increment_density, or step_density",
                mend="A certified tablet has step_density, from its certificate.",
            )
        count = len(self.densities())
        if np.unique(self.densities()).size < count:
            raise ArgumentError(
                where=f"tablet {self.name}, step_density",
                rule="no two steps have the same density",
                value=list(self.step_density or ()),
                mend="Take them from the tablet's certificate.",
            )
        if isinstance(self.standard_uncertainty, tuple) and len(self.standard_uncertainty) != count:
            raise ArgumentError(
                where=f"tablet {self.name}, standard_uncertainty",
                rule=f"one for all, or one for each of the {count} steps",
                value=len(self.standard_uncertainty),
                mend="Take them from the tablet's certificate.",
            )
        if self.certified_on and self.expires_on and self.expires_on < self.certified_on:
            raise ArgumentError(
                where=f"tablet {self.name}",
                rule="expires on the day it was certified or later",
                value=f"certified {self.certified_on}, expires {self.expires_on}",
                mend="Correct the two days; they may have changed places.",
            )
        return self

    def densities(self) -> Floats:
        """Densities (n,) of the steps."""
        if self.step_density is not None:
            return np.asarray(self.step_density, dtype=np.float64)
        return step_tablet(self.steps or 0, self.increment_density or 0.0)

    def build(self) -> Tablet:
        """The tablet."""
        density = self.densities()
        return Tablet(
            name=self.name,
            step_density=density,
            standard_uncertainty=np.broadcast_to(np.asarray(self.standard_uncertainty, np.float64), density.shape),
            common_standard_uncertainty=self.common_standard_uncertainty,
            certified_on=self.certified_on or "",
            expires_on=self.expires_on or "",
        )


class DensitometerCalibrationTable(FileModel):
    """``[[densitometers.calibrations]]`` in instruments.toml."""

    on: Day
    expires: Day
    tablet: Name
    read: Annotated[dict[Record, _Readings], Field(min_length=1)]


class DensitometerTable(FileModel):
    """``[[densitometers]]`` in instruments.toml."""

    name: Name
    status: DensitometerStatus
    most_density: Annotated[float, Field(gt=0, le=_MOST_DENSITY, allow_inf_nan=False, strict=True)]
    repeatability_density: _NotNegative = 0.0
    calibrations: tuple[DensitometerCalibrationTable, ...] = ()

    @model_validator(mode="after")
    def _channels(self) -> "DensitometerTable":
        colours = [r.value for c in self.calibrations for r in c.read if r is not Record.VISUAL]
        if self.status is DensitometerStatus.VISUAL and colours:
            raise ArgumentError(
                where=f"densitometer {self.name}",
                rule="of status visual reads visual only",
                value=colours[0],
                mend="Correct its status, M or A, or the record.",
            )
        days_in_order(f"densitometer {self.name}", [c.on for c in self.calibrations])
        return self

    def build(self, tablets: Mapping[str, Tablet]) -> Densitometer:
        """The densitometer, calibrated."""
        return Densitometer(
            name=self.name,
            status=self.status,
            most_density=self.most_density,
            calibrations=tuple(self._calibration(table, tablets) for table in self.calibrations),
        )

    def _calibration(self, table: DensitometerCalibrationTable, tablets: Mapping[str, Tablet]) -> Calibration:
        return calibrate_densitometer(
            self.name,
            _tablet(f"densitometer {self.name}, calibration of {table.on}, tablet", table.tablet, tablets),
            table.read,
            on=table.on,
            expires=table.expires,
            repeatability_density=self.repeatability_density,
            most_density=self.most_density,
        )


class SensitometerCalibrationTable(FileModel):
    """``[[sensitometers.calibrations]]`` in instruments.toml."""

    on: Day
    expires: Day
    log_h: Annotated[tuple[Finite, ...], Field(min_length=_LEAST_STEPS)]
    standard_uncertainty_log_h: _NotNegative = 0.0
    common_standard_uncertainty_log_h: _NotNegative = 0.0


class SensitometerTable(FileModel):
    """``[[sensitometers]]`` in instruments.toml."""

    name: Name
    illuminance_lx: Positive
    time_s: Positive
    tablet: Name
    calibrations: tuple[SensitometerCalibrationTable, ...] = ()

    @model_validator(mode="after")
    def _ordered(self) -> "SensitometerTable":
        days_in_order(f"sensitometer {self.name}", [c.on for c in self.calibrations])
        return self

    def build(self, tablets: Mapping[str, Tablet]) -> Sensitometer:
        """The sensitometer, calibrated."""
        tablet = _tablet(f"sensitometer {self.name}, tablet", self.tablet, tablets)
        made = tuple(
            calibrate_sensitometer(
                self.name,
                tablet,
                table.log_h,
                exposure_lxs=self.illuminance_lx * self.time_s,
                on=table.on,
                expires=table.expires,
                standard_uncertainty_log_h=table.standard_uncertainty_log_h,
                common_standard_uncertainty_log_h=table.common_standard_uncertainty_log_h,
            )
            for table in self.calibrations
        )
        return Sensitometer(
            name=self.name,
            illuminance_lx=self.illuminance_lx,
            time_s=self.time_s,
            tablet=tablet,
            calibrations=made,
        )


class InstrumentsFile(FileModel):
    """instruments.toml."""

    calibration_required: Annotated[bool, Field(strict=True)] = False
    tablets: tuple[TabletTable, ...] = ()
    densitometers: tuple[DensitometerTable, ...] = ()
    sensitometers: tuple[SensitometerTable, ...] = ()
    gauges: tuple[GaugeTable, ...] = ()

    @model_validator(mode="after")
    def _names_once(self) -> "InstrumentsFile":
        each_once("tablets", (*USUAL_TABLETS, *(tablet.name for tablet in self.tablets)))
        each_once("densitometers", (densitometer.name for densitometer in self.densitometers))
        each_once("sensitometers", (sensitometer.name for sensitometer in self.sensitometers))
        each_once("gauges", (gauge.name for gauge in self.gauges))
        return self

    def build(self) -> Instruments:
        """The instruments."""
        tablets = {table.name: table.build() for table in self.tablets}
        return Instruments(
            tablets=tablets,
            densitometers={table.name: table.build(tablets) for table in self.densitometers},
            sensitometers={table.name: table.build(tablets) for table in self.sensitometers},
            calibration_required=self.calibration_required,
            gauges={table.name: table.build() for table in self.gauges},
        )


def read_instruments(path: Path) -> Instruments | None:
    """instruments.toml; None where the plant has none.

    Raises:
        InputError: naming the file and field.
    """
    if not path.is_file():
        return None
    with placed(path):
        return read_toml(path, InstrumentsFile).build()


def not_there(where: str, what: str, known: Iterable[str], value: str) -> InputError:
    """The error for the name of an instrument that the plant doesn't have."""
    return InputError(
        where=where,
        rule=f"must be one of instruments.toml's {what}: {', '.join(known) or 'none'}",
        value=value,
        mend="Correct the name, or add it to instruments.toml.",
    )


def _tablet(where: str, name: str, tablets: Mapping[str, Tablet]) -> Tablet:
    if name in tablets:
        return tablets[name]
    if name in USUAL_TABLETS:
        return usual_tablet(name)
    found = not_there(where, "tablets", [*tablets, *USUAL_TABLETS], name)
    raise ArgumentError(where=found.where, rule=found.rule, value=found.value, mend=found.mend)
