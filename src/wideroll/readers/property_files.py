"""properties.csv of a roll: values of measured properties, with their units and instruments."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from pathlib import Path
from typing import Final

from wideroll.errors import ArgumentError
from wideroll.readers.csv_tables import Row, read_table
from wideroll.readers.days import iso_day
from wideroll.readers.gauge_tables import MOST_NUMBER
from wideroll.readers.instrument_files import Instruments
from wideroll.readers.units import UnitChange, unit_change
from wideroll.roll import Extent, Place
from wideroll.workflow.property_model import Gauge, Measurement, PropertySpec, gauge_calibration_on

__all__ = ["read_properties"]

_NEEDED: Final = ("property", "value", "unit", "along", "across", "instrument", "on")
_ALLOWED: Final = ("uncertainty", "sample", "note")
_NOT_NAMED: Final = {"", "-"}
_NO_FILE: Final = "no calibration on file"
_NAME_IT: Final = "Name the gauge of instruments.toml that measured it, or measure again with one."


@dataclass(frozen=True, slots=True, kw_only=True)
class _Checked:
    """What an instrument's calibration makes of a value, in the product's unit."""

    correction: float = 0.0
    common: float = 0.0
    repeatability: float = 0.0
    calibration: str = _NO_FILE
    why_unusable: str = ""
    mend: str = ""


def read_properties(
    path: Path, specs: Sequence[PropertySpec], whole: Extent, *, instruments: Instruments | None = None
) -> tuple[Measurement, ...]:
    """The values of a roll's properties in the product's units; none when the file isn't there.

    A value whose gauge isn't known, or had no calibration that held that day, comes back with the reason, not as an
    error. A value's own standard uncertainty is the one its row states; else the gauge's repeatability together with
    the rounding of the number as written, a step of the last digit divided by √12 (JCGM 100:2008, F.2.2.1, from
    memory).

    Args:
        path: of properties.csv.
        specs: the product's properties.
        whole: the roll, on which all places must lie.
        instruments: what the plant has; without gauges, and where no calibration is required, values are taken as they
            are.

    Raises:
        InputError: naming the file, line and column.
    """
    if not path.is_file():
        return ()
    known = {spec.name: spec for spec in specs}
    rows = read_table(path, needed=_NEEDED, allowed=_ALLOWED, may_be_empty=True)
    return tuple(_measurement(row, known, whole, instruments) for row in rows)


def _measurement(
    row: Row, known: Mapping[str, PropertySpec], whole: Extent, instruments: Instruments | None
) -> Measurement:
    spec = _spec(row, known)
    change = _change(row, spec.unit)
    day = _day(row)
    checked = _checked(row, spec, day, instruments)
    value = change.value(_number(row, "value")) + checked.correction
    _check_size(row, "value", value)
    return Measurement(
        subject=spec.name,
        place=_place(row, whole),
        value=value,
        own_uncertainty=_own(row, change, checked.repeatability),
        instrument=_instrument(row),
        on=day,
        shared_uncertainty=checked.common,
        calibration=checked.calibration,
        sample=row.cells.get("sample", ""),
        note=row.cells.get("note", ""),
        line=row.line,
        why_unusable=checked.why_unusable,
        mend=checked.mend,
    )


def _spec(row: Row, known: Mapping[str, PropertySpec]) -> PropertySpec:
    name = row.text("property")
    if name not in known:
        raise row.refuse(
            "property",
            rule=f"must be one of the product's properties: {', '.join(known) or 'none'}",
            mend="Correct the name, or add the property to the product's file.",
        )
    return known[name]


def _change(row: Row, unit: str) -> UnitChange:
    try:
        return unit_change(row.text("unit"), unit)
    except ArgumentError as error:
        raise row.refuse("unit", rule=error.rule, mend=error.mend) from error


def _number(row: Row, column: str) -> float:
    number = row.number(column)
    if math.isnan(number):
        raise row.refuse(column, rule="must be a number", mend="Leave the line out where nothing was measured.")
    return number


def _own(row: Row, change: UnitChange, repeatability: float) -> float:
    """Standard uncertainty of the value's own error, in the product's unit."""
    if row.cells.get("uncertainty", "") in _NOT_NAMED:
        step = float(Decimal(1).scaleb(_exponent(row.text("value"))))
        _check_size(row, "value", change.difference(step))
        return math.hypot(abs(change.difference(step)) / math.sqrt(12.0), repeatability)
    stated = abs(change.difference(_number(row, "uncertainty")))
    if row.number("uncertainty") <= 0.0:
        raise row.refuse("uncertainty", rule="must be greater than 0", mend="Leave it empty where it isn't known.")
    _check_size(row, "uncertainty", stated)
    return stated


def _check_size(row: Row, column: str, value: float) -> None:
    """A slip of the keyboard, of which no square may overflow."""
    if not abs(value) <= MOST_NUMBER:
        raise row.refuse(column, rule=f"must be at most {MOST_NUMBER:g} in the product's unit", mend="Correct it.")


def _exponent(cell: str) -> int:
    """Power of ten of the last digit written."""
    found = Decimal(cell.replace("−", "-").replace(",", ".")).as_tuple().exponent
    return found if isinstance(found, int) else 0


def _instrument(row: Row) -> str:
    name = row.cells.get("instrument", "")
    return "" if name in _NOT_NAMED else name


def _checked(row: Row, spec: PropertySpec, day: str, instruments: Instruments | None) -> _Checked:
    gauges = {} if instruments is None else instruments.gauges
    name = _instrument(row)
    if not gauges and not (instruments is not None and instruments.calibration_required):
        return _Checked()
    if not name:
        return _Checked(why_unusable="no instrument is named, and the plant asks for a calibrated one", mend=_NAME_IT)
    gauge = gauges.get(name)
    if gauge is None:
        return _Checked(why_unusable=f"instrument {name} is none of the plant's gauges", mend=_NAME_IT)
    if spec.name not in gauge.measures:
        raise row.refuse(
            "instrument",
            rule=f"gauge {name} measures {', '.join(gauge.measures)}, not {spec.name}",
            mend="Correct the instrument or the property, or add the property to the gauge in instruments.toml.",
        )
    return _calibrated(row, gauge, spec, day)


def _calibrated(row: Row, gauge: Gauge, spec: PropertySpec, day: str) -> _Checked:
    try:
        change = unit_change(gauge.unit, spec.unit)
    except ArgumentError as error:
        raise row.refuse(
            "instrument",
            rule=f"gauge {gauge.name} has the unit {gauge.unit}, which {error.rule}",
            mend="Correct the gauge's unit in instruments.toml, or the property's in the product's file.",
        ) from error
    made = gauge_calibration_on(gauge.calibrations, day)
    if made is None or made.expires < day:
        when = f"no calibration on {day}" if made is None else f"a calibration that expired on {made.expires}"
        return _Checked(
            calibration="not calibrated" if made is None else f"calibration expired {made.expires}",
            why_unusable=f"gauge {gauge.name} had {when}" + (f", before {day}" if made else ""),
            mend=f"Calibrate {gauge.name} and measure again, or measure with a gauge whose calibration holds.",
        )
    found = _Checked(
        correction=change.difference(made.correction),
        common=abs(change.difference(gauge.common_standard_uncertainty)),
        repeatability=abs(change.difference(gauge.repeatability)),
    )
    return replace(found, calibration=f"calibrated {made.on}")


def _day(row: Row) -> str:
    try:
        return iso_day(row.text("on"))
    except ArgumentError as error:
        raise row.refuse("on", rule=error.rule, mend=error.mend) from error


def _place(row: Row, whole: Extent) -> Place:
    place = Place(along_m=float(row.length("along").m), across_mm=float(row.length("across").mm))
    if not whole.contains(place):
        column = "across" if whole.along_from_m <= place.along_m < whole.along_to_m else "along"
        size = f"{whole.length_m:g} m long and {whole.width_mm:g} mm wide"
        raise row.refuse(column, rule=f"the place must lie on the roll, {size}", mend="Correct it.")
    return place
