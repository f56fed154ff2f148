"""``[winding]`` of a product file: how its rolls are wound, for prints from lap to lap."""

from pydantic import model_validator

from wideroll.errors import ArgumentError
from wideroll.readers.fields import FileModel, PositiveMillimetres, SomeMillimetres
from wideroll.repeats import Winding

__all__ = ["WindingTable"]


class WindingTable(FileModel):
    """``[winding]`` in a product file."""

    thickness: PositiveMillimetres
    tolerance: SomeMillimetres = 0.0
    core_diameter: PositiveMillimetres
    full_diameter: PositiveMillimetres

    @model_validator(mode="after")
    def _can_be_wound(self) -> "WindingTable":
        if not self.tolerance < self.thickness:
            raise ArgumentError(
                where="winding.tolerance",
                rule="must be less than the thickness",
                value=f"{self.tolerance:g} mm of {self.thickness:g} mm",
                mend="Give the limits of the thickness either way, such as 0.004 mm.",
            )
        if not self.core_diameter < self.full_diameter:
            raise ArgumentError(
                where="winding.full_diameter",
                rule="must be greater than core_diameter",
                value=f"{self.full_diameter:g} mm on a core of {self.core_diameter:g} mm",
                mend="Give both outer diameters, of the bare core and of the longest roll on it.",
            )
        return self

    def build(self) -> Winding:
        """The winding."""
        return Winding(
            thickness_mm=self.thickness,
            tolerance_mm=self.tolerance,
            least_radius_mm=self.core_diameter / 2.0,
            most_radius_mm=self.full_diameter / 2.0,
        )
