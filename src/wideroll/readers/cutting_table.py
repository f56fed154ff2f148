"""``[cutting]`` of a product file: what the slitter can do, and what its time costs."""

import math
from collections.abc import Sequence
from typing import Annotated, Final

from pydantic import Field, ValidatorFunctionWrapHandler, field_validator, model_validator

from wideroll.errors import ArgumentError
from wideroll.readers.fields import FileModel, PositiveMetres, PositiveMillimetres, SomeMetres, SomeMillimetres
from wideroll.readers.micrometres import check_micrometres
from wideroll.readers.winding_table import WindingTable
from wideroll.slitting import ByLength, ByMetre, CutRules, SlitWidth

__all__ = ["CuttingTable", "check_runs"]

_Some = Annotated[float, Field(ge=0, allow_inf_nan=False, strict=True)]
_SAME_M = 1e-6
_MOST_STEP_MM: Final = 100.0
"""No knife scale is as coarse: more is a slip of the unit."""


class CuttingTable(FileModel):
    """``[cutting]`` in a product file."""

    knife_step: PositiveMillimetres = 1.0
    edge_trim: SomeMillimetres = 8.0
    trim_between: SomeMillimetres = 0.0
    least_strip: SomeMillimetres = 0.0
    least_piece: SomeMetres = 5.0
    setup: SomeMetres = 2.0
    most_cross_cuts: Annotated[int, Field(ge=2, strict=True)] = 40
    setup_minutes: _Some = 0.0
    stop_minutes: _Some = 0.0
    value_per_minute: _Some = 0.0
    most_run: PositiveMetres | None = None
    most_diameter: PositiveMillimetres | None = None
    core_diameter: PositiveMillimetres | None = None
    thickness: PositiveMillimetres | None = None

    @field_validator("knife_step", mode="wrap")
    @classmethod
    def _knife_step_can_be_set(cls, given: object, to_mm: ValidatorFunctionWrapHandler) -> float:
        step_mm = float(to_mm(given))
        if step_mm > _MOST_STEP_MM:
            raise ArgumentError(
                where="length",
                rule=f"must be at most {_MOST_STEP_MM:g} mm",
                value=given,
                mend="Check its unit: it is how far apart the places for knives lie.",
            )
        check_micrometres(step_mm, given=given, where="length")
        return step_mm

    @model_validator(mode="after")
    def _core_and_thickness_are_for_a_diameter(self) -> "CuttingTable":
        for name in ("core_diameter", "thickness"):
            if getattr(self, name) is not None and self.most_diameter is None:
                raise ArgumentError(
                    where=f"cutting.{name}",
                    rule="goes with most_diameter",
                    value=f"{getattr(self, name):g} mm",
                    mend="Give the greatest diameter of a wound roll too, or leave this out.",
                )
        return self

    def build(self, winding: WindingTable | None = None) -> CutRules:
        """The rules; core and thickness are those of the winding where they aren't given here.

        Raises:
            ArgumentError: when a greatest diameter comes without a core or thickness, or is no greater than the core.
        """
        core, thickness = self._wound(winding) if self.most_diameter is not None else (0.0, 0.0)
        return CutRules(
            knife_step_mm=self.knife_step,
            edge_trim_mm=self.edge_trim,
            trim_between_mm=self.trim_between,
            least_strip_mm=self.least_strip,
            least_piece_m=self.least_piece,
            setup_m=self.setup,
            most_cross_cuts=self.most_cross_cuts,
            setup_minutes=self.setup_minutes,
            stop_minutes=self.stop_minutes,
            value_per_minute=self.value_per_minute,
            most_run_m=math.inf if self.most_run is None else self.most_run,
            most_diameter_mm=math.inf if self.most_diameter is None else self.most_diameter,
            core_diameter_mm=core,
            thickness_mm=thickness,
        )

    def _wound(self, winding: WindingTable | None) -> tuple[float, float]:
        """Diameter of the core and thickness of the film, in mm."""
        core = self.core_diameter or (winding.core_diameter if winding else None)
        thickness = self.thickness or (winding.thickness if winding else None)
        if core is None or thickness is None:
            raise ArgumentError(
                where="cutting.most_diameter",
                rule=f"the {'film' if thickness is None else 'core'} must be known to tell a length from a diameter",
                value=f"{self.most_diameter:g} mm",
                mend=f"Add {'thickness' if thickness is None else 'core_diameter'} here, or [winding] to the product.",
            )
        if self.most_diameter is not None and not core < self.most_diameter:
            raise ArgumentError(
                where="cutting.most_diameter",
                rule=f"must be greater than the core ({core:g} mm)",
                value=f"{self.most_diameter:g} mm",
                mend="Give both outer diameters, of the bare core and of the fullest roll.",
            )
        return core, thickness


def check_runs(widths: Sequence[SlitWidth], rules: CutRules) -> None:
    """Refuse film that is longer than the slitter winds without a stop: it could never be made.

    Raises:
        ArgumentError: naming the width, and the longest run.
    """
    for width in widths:
        finish = width.finish
        if isinstance(finish, ByMetre):
            named, longest_m = "least_piece", rules.least_piece_m
        elif isinstance(finish, ByLength):
            named, longest_m = "lengths", max(one.length_m for one in finish.lengths)
        else:
            named, longest_m = "spliced", finish.length_m / (finish.most_splices + 1)
        if longest_m > rules.run_m + _SAME_M:
            raise ArgumentError(
                where=f"width {width.name}, {named}",
                rule=f"must not be longer than the slitter winds without a stop ({rules.run_m:.6g} m)",
                value=f"{longest_m:.6g} m",
                mend="Correct the length, or most_run and most_diameter under [cutting].",
            )
