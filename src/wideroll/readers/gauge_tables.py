"""``[[gauges]]`` of instruments.toml: what measures thickness, friction and the like, and how it was calibrated."""

from typing import Annotated, Final

from pydantic import Field, model_validator

from wideroll.errors import ArgumentError
from wideroll.readers.days import Day, days_in_order
from wideroll.readers.fields import FileModel, Finite, Name, each_once
from wideroll.workflow.property_model import Gauge, GaugeCalibration

__all__ = ["MOST_NUMBER", "GaugeCalibrationTable", "GaugeTable"]

MOST_NUMBER: Final = 1e12
"""No property, in whatever unit, has a larger one."""
_NotNegative = Annotated[float, Field(ge=0, le=MOST_NUMBER, allow_inf_nan=False, strict=True)]


class GaugeCalibrationTable(FileModel):
    """``[[gauges.calibrations]]`` in instruments.toml."""

    on: Day
    expires: Day
    correction: Finite = 0.0

    @model_validator(mode="after")
    def _lasts(self) -> "GaugeCalibrationTable":
        if self.expires < self.on:
            raise ArgumentError(
                where=f"calibration of {self.on}",
                rule="expires on the day it was made or later",
                value=self.expires,
                mend="Correct the two days; they may have changed places.",
            )
        return self

    def build(self) -> GaugeCalibration:
        """The calibration."""
        return GaugeCalibration(on=self.on, expires=self.expires, correction=self.correction)


class GaugeTable(FileModel):
    """``[[gauges]]`` in instruments.toml."""

    name: Name
    measures: Annotated[tuple[Name, ...], Field(min_length=1)]
    unit: Name
    common_standard_uncertainty: _NotNegative = 0.0
    repeatability: _NotNegative = 0.0
    calibrations: tuple[GaugeCalibrationTable, ...] = ()

    @model_validator(mode="after")
    def _ordered(self) -> "GaugeTable":
        each_once(f"gauge {self.name}, measures", self.measures)
        days_in_order(f"gauge {self.name}", [made.on for made in self.calibrations])
        return self

    def build(self) -> Gauge:
        """The gauge."""
        return Gauge(
            name=self.name,
            measures=self.measures,
            unit=self.unit,
            common_standard_uncertainty=self.common_standard_uncertainty,
            repeatability=self.repeatability,
            calibrations=tuple(made.build() for made in self.calibrations),
        )
