"""What the examiner's pages know of a roll: its sheets, planned and listed, and what was noted on them."""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, TypeVar
from urllib.parse import quote

from wideroll.errors import InputError
from wideroll.server.desk import Desk
from wideroll.server.examining.drafts import Draft, DraftSheet
from wideroll.server.examining.questions import Sheeted
from wideroll.server.rolls.data import check_roll

if TYPE_CHECKING:
    from wideroll.acts.examining_files import ExaminationFiles
    from wideroll.roll import Extent

__all__ = ["Basics", "address_of", "basics_of", "examination_of", "planned_of", "sheet_key", "sheeted"]

Value = TypeVar("Value")
_MOST_KEPT: Final = 64


@dataclass(frozen=True, slots=True, kw_only=True)
class Basics:
    """Of a roll and its plant, what entry needs."""

    roll: str
    whole: "Extent"
    inches: bool
    datum_edge: str
    grades: tuple[str, ...]
    loupe: str


def sheet_key(name: str) -> str:
    """A sheet's name as it stands in addresses, where a stroke would part it.

    Example:
        >>> sheet_key("3/4")
        '3∕4'
    """
    return name.replace("/", "\u2215")


def address_of(roll: str, sheet: str, end: str = "enter") -> str:
    """The address of one of a sheet's pages."""
    return f"/rolls/{quote(roll)}/examination/{quote(sheet_key(sheet), safe='')}/{end}"


def basics_of(desk: Desk, roll: str) -> Basics:
    """What entry needs, read anew when one of the files changed.

    Raises:
        FileNotFoundError: when there is no such roll.
        InputError: when a file has a fault.
    """
    root = desk.root
    card = root / "rolls" / check_roll(roll) / "roll.toml"
    if not card.is_file():
        raise FileNotFoundError(roll)
    return _kept(desk, ("basics", roll), _stamp(root, card), lambda: _basics(root, roll))


def examination_of(desk: Desk, basics: Basics) -> "ExaminationFiles":
    """What the roll's files hold of its examination.

    Raises:
        InputError: when one of them has a fault.
    """
    from wideroll.acts.examining import finish_sending  # noqa: PLC0415  (loads the rooms)
    from wideroll.acts.examining_files import read_examination  # noqa: PLC0415

    finish_sending(desk.root, basics.roll)
    return read_examination(desk.root, basics.roll, basics.whole)


def planned_of(desk: Desk, basics: Basics, length_mm: float, count: int | None) -> Any:
    """The sheets to take, ``acts.sampling.DrawnSheets``, or why none can be named, in words.

    Args:
        desk: at work.
        basics: of the roll.
        length_mm: of a sheet along.
        count: sheets to draw; None takes what a proof needs.
    """
    card = desk.root / "rolls" / basics.roll / "roll.toml"
    key = ("plan", basics.roll, length_mm, count)
    return _kept(desk, key, _stamp(desk.root, card), lambda: _planned(desk.root, basics.roll, length_mm, count))


def sheeted(basics: Basics, sheet: DraftSheet) -> Sheeted:
    """What the questions need to know of a sheet.

    Raises:
        InputError: when its places can't be read.
    """
    extent = extent_of(basics, sheet)
    unit = "in" if basics.inches else "mm"
    return Sheeted(
        along_unit=unit,
        across_unit=unit,
        datum_edge=basics.datum_edge,
        check_along=lambda cell: _check_along(extent, cell),
        check_across=lambda cell: _check_across(extent, cell),
        check_size=lambda cell: _check_size(extent, cell),
        grades=basics.grades,
        loupe=basics.loupe,
    )


def extent_of(basics: Basics, sheet: DraftSheet) -> "Extent":
    """The part of the web that a sheet in hand is.

    Raises:
        InputError: when its places can't be read.
    """
    from wideroll.acts.examining_files import ExaminationFiles  # noqa: PLC0415

    cells = {name: getattr(sheet, name) for name in ("along_from", "along_to", "across_from", "across_to")}
    return ExaminationFiles(folder=Path(), whole=basics.whole).extent_of(cells)


def setting_before(draft: Draft, sheet: str) -> Mapping[str, str]:
    """How the sheet that was begun last before this one is looked at."""
    others = [one for one in draft.sheets if one.sheet != sheet and one.setting and one.began_utc]
    return max(others, key=lambda one: one.began_utc).setting if others else {}


def _basics(root: Path, roll: str) -> Basics:
    from wideroll.acts.plants import plant_files  # noqa: PLC0415
    from wideroll.roll.lengths import ShopUnits  # noqa: PLC0415
    from wideroll.workflow import whole_web  # noqa: PLC0415

    files = plant_files(root)
    plant, card = files.plant(), files.card(roll)
    grades = files.product(card.product).grades
    return Basics(
        roll=roll,
        whole=whole_web(card.length_m, plant.web_width_mm),
        inches=plant.shop_units is ShopUnits.INCHES,
        datum_edge=plant.datum_edge,
        grades=() if grades is None else grades.grades,
        loupe="" if grades is None else f"{grades.viewing.magnification:g}",
    )


def _planned(root: Path, roll: str, length_mm: float, count: int | None) -> Any:
    from wideroll.acts.sampling import draw_sheets  # noqa: PLC0415
    from wideroll.errors import WiderollError  # noqa: PLC0415
    from wideroll.sampling import SheetSize  # noqa: PLC0415

    try:
        return draw_sheets(root, roll, SheetSize(length_m=length_mm / 1000.0), count=count)
    except WiderollError as error:
        return f"{error.rule}. {error.mend}"


def _check_along(extent: "Extent", cell: str) -> None:
    from wideroll.roll import Place, parse_length  # noqa: PLC0415

    place = Place(along_m=extent.along_from_m + float(parse_length(cell).m), across_mm=extent.across_from_mm)
    if not extent.contains(place):
        rule = f"the place must lie on the sheet, which is {extent.length_m * 1000:g} mm long"
        raise InputError(where="along", rule=rule, value=cell, mend="Measure it again.")


def _check_across(extent: "Extent", cell: str) -> None:
    from wideroll.roll import Place, parse_length  # noqa: PLC0415

    place = Place(along_m=extent.along_from_m, across_mm=float(parse_length(cell).mm))
    if not extent.contains(place):
        rule = f"the place must lie on the sheet, {extent.across_from_mm:g} to {extent.across_to_mm:g} mm across"
        raise InputError(where="across", rule=rule, value=cell, mend="Measure it again, from the datum edge.")


def _check_size(extent: "Extent", cell: str) -> None:
    from wideroll.roll import parse_length  # noqa: PLC0415

    longest = math.hypot(extent.length_m * 1000, extent.width_mm)
    if not 0 < parse_length(cell).mm <= longest:
        rule = f"must be greater than 0 and have room on the sheet, at most {longest:.0f} mm"
        raise InputError(where="size", rule=rule, value=cell, mend="Measure it again.")


def _stamp(root: Path, card: Path) -> tuple[Any, ...]:
    paths = (root / "plant.toml", root / "cleanings.csv", card, *sorted((root / "products").glob("*")))
    return tuple((path.name, path.stat().st_mtime_ns, path.stat().st_size) for path in paths if path.is_file())


def _kept(desk: Desk, key: tuple[Any, ...], stamp: tuple[Any, ...], make: Callable[[], Value]) -> Value:
    kept: dict[tuple[Any, ...], tuple[Any, Any]] = desk.parts.setdefault("examining", {})
    if key not in kept or kept[key][0] != stamp:
        while len(kept) >= _MOST_KEPT:
            kept.pop(next(iter(kept)), None)
        kept[key] = (stamp, make())
    found: Value = kept[key][1]
    return found
