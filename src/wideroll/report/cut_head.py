"""What stands above a cut list: whose it is, whether it may be slit by, and the units it is written in."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Final

from wideroll.release.model import Verdict
from wideroll.report.quantities import show_number, show_span
from wideroll.roll import ShopUnits
from wideroll.slitting.model import Wish

__all__ = ["INCHES", "METRIC", "CutHead", "CutStatus", "CutUnits", "status_of", "units_of"]


class CutStatus(StrEnum):
    """Whether a cut list may be slit by."""

    RELEASED = "released"
    PROVISIONAL = "provisional: on hold"
    REJECTED = "rejected"
    WHAT_IF = "what-if: not the recorded plan"


_OF_VERDICT: Final = {
    Verdict.RELEASE: CutStatus.RELEASED,
    Verdict.CUT_OUT: CutStatus.RELEASED,
    Verdict.HOLD: CutStatus.PROVISIONAL,
    Verdict.REJECT: CutStatus.REJECTED,
}
_WARNINGS: Final = {
    CutStatus.RELEASED: "",
    CutStatus.PROVISIONAL: "PROVISIONAL: on hold, don't slit",
    CutStatus.REJECTED: "REJECTED: don't slit",
    CutStatus.WHAT_IF: "WHAT-IF: not the recorded plan, don't slit",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class CutUnits:
    """Units of the slitter's counter and of its knives, with so many decimals; film is planned in m and mm."""

    along: str
    along_m: float
    """Metres in one of them."""
    along_decimals: int
    across: str
    across_mm: float
    """Millimetres in one of them."""
    across_decimals: int
    area: str

    @property
    def area_m2(self) -> float:
        """Square metres in one unit of area."""
        return self.along_m * self.along_m

    def show_along(self, along_m: float) -> str:
        """A place or a length along, without its unit."""
        return show_number(along_m / self.along_m, self.along_decimals)

    def show_across(self, across_mm: float) -> str:
        """A place or a width across, without its unit."""
        return show_number(across_mm / self.across_mm, self.across_decimals)

    def show_stretch(self, from_m: float, to_m: float) -> str:
        """A stretch along, without its unit."""
        return show_span(from_m / self.along_m, to_m / self.along_m, "", self.along_decimals).rstrip()

    @property
    def area_decimals(self) -> int:
        """Decimals of an area."""
        return 2 if self.along == "m" else 1

    def show_area(self, area_m2: float) -> str:
        """An area, without its unit."""
        return show_number(area_m2 / self.area_m2, self.area_decimals)


METRIC: Final = CutUnits(
    along="m", along_m=1.0, along_decimals=2, across="mm", across_mm=1.0, across_decimals=3, area="m²"
)
INCHES: Final = CutUnits(
    along="ft", along_m=0.3048, along_decimals=2, across="in", across_mm=25.4, across_decimals=4, area="ft²"
)


def status_of(verdict: Verdict) -> CutStatus:
    """Whether the cut list of a roll with this verdict may be slit by; that of one on hold is provisional.

    Example:
        >>> status_of(Verdict.HOLD).value
        'provisional: on hold'
    """
    return _OF_VERDICT[verdict]


def units_of(shop_units: ShopUnits) -> CutUnits:
    """The units that a plant's ``shop_units`` stand for.

    Example:
        >>> units_of(ShopUnits.INCHES).show_along(30.48), units_of(ShopUnits.METRIC).show_across(34.975)
        ('100.00', '34.975')
    """
    return INCHES if shop_units is ShopUnits.INCHES else METRIC


@dataclass(frozen=True, slots=True, kw_only=True)
class CutHead:
    """The wound roll a cut list is for; ``facts`` are further pairs of name and value for its sheet."""

    roll: str
    status: CutStatus
    product: str = ""
    plant: str = ""
    datum_edge: str = "x = 0"
    units: CutUnits = METRIC
    facts: tuple[tuple[str, str], ...] = ()
    currency: str = ""
    """Of the values; empty where the product names none."""
    asked: Mapping[Wish, str] = field(default_factory=dict)
    """Places of wishes as they were written, where that was in other units."""

    @property
    def warning(self) -> str:
        """Why nothing may be slit by the list; empty where it may."""
        return _WARNINGS[self.status]

    def label(self, number: str) -> str:
        """A finished roll's number, from which the coated place can be found: no other roll of the plant has it.

        Example:
            >>> CutHead(roll="W-2041", status=CutStatus.RELEASED).label("003-07")
            'W-2041/003-07'
        """
        return f"{self.roll}/{number}"
