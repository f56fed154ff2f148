"""properties.csv, with the gauges that measured and the product's list of properties."""

import math
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wideroll.errors import ArgumentError, InputError
from wideroll.readers.instrument_files import Instruments, read_instruments
from wideroll.readers.property_files import read_properties
from wideroll.readers.property_table import PropertyTable
from wideroll.roll import Extent, Place
from wideroll.workflow import Batch, Judged, PropertySpec, gather_properties

WHOLE = Extent(along_from_m=0.0, along_to_m=40.0, across_from_mm=0.0, across_to_mm=1380.0)
SPECS = (
    PropertySpec(name="thickness", unit="µm"),
    PropertySpec(name="friction", unit="ratio"),
    PropertySpec(name="drying temperature", unit="degC"),
    PropertySpec(name="tack", unit="tack units"),
)
HEADER = "property,value,unit,along,across,instrument,on"
GAUGES = """\
[[gauges]]
name = "TG-1"
measures = ["thickness"]
unit = "um"
common_standard_uncertainty = 0.3
repeatability = 0.2

[[gauges.calibrations]]
on = 2026-01-10
expires = 2026-07-10

[[gauges.calibrations]]
on = 2026-07-01
expires = "2026-12-31"
correction = -0.4

[[gauges]]
name = "T-1"
measures = ["drying temperature", "friction"]
unit = "degF"
common_standard_uncertainty = 1.8
calibrations = [ { on = 2026-07-01, expires = 2026-12-31, correction = 3.6 } ]

[[gauges]]
name = "new"
measures = ["thickness"]
unit = "um"
"""
Read = Callable[..., object]


@pytest.fixture
def read(tmp_path: Path) -> Read:
    """Read a table of these lines, by default in a plant with gauges."""

    def read(*lines: str, header: str = HEADER, gauges: str = GAUGES, specs=SPECS):
        (tmp_path / "properties.csv").write_text("\n".join([header, *lines]), encoding="utf-8")
        (tmp_path / "instruments.toml").write_text(gauges, encoding="utf-8")
        instruments = read_instruments(tmp_path / "instruments.toml")
        return read_properties(tmp_path / "properties.csv", specs, WHOLE, instruments=instruments)

    return read


def test_a_value_comes_in_the_products_unit_and_corrected(read):
    """5.1 mil are 129.54 µm, the gauge reads 0.4 too much; place, day and calibration go with it."""
    (one,) = read("thickness,5.1,mil,2 m,9 3/8 in,TG-1,2026-11-20")
    assert one.value == pytest.approx(129.54 - 0.4)
    assert one.place == Place(along_m=2.0, across_mm=238.125)
    assert (one.subject, one.on, one.line, one.instrument) == ("thickness", "2026-11-20", 2, "TG-1")
    assert (one.usable, one.calibration, one.shared_uncertainty) == (True, "calibrated 2026-07-01", 0.3)


def test_decimal_commas_and_both_signs_for_micro_are_read(read):
    """Semicolons with decimal commas say the same as commas with points; the micro sign may be the Greek letter."""
    (one,) = read(
        "thickness;130,2;\N{GREEK SMALL LETTER MU}m;2 m;700 mm;TG-1;2026-11-20", header=HEADER.replace(",", ";")
    )
    (other,) = read("thickness,130.2,\N{MICRO SIGN}m,2 m,700 mm,TG-1,2026-11-20")
    assert one == other


@pytest.mark.parametrize(
    ("cell", "uncertainty", "own"),
    [
        ("130", "", math.hypot(0.2, 1 / math.sqrt(12))),
        ("130.2", "-", math.hypot(0.2, 0.1 / math.sqrt(12))),
        ("1.3e2", "", math.hypot(0.2, 10 / math.sqrt(12))),
        ("130.20", "0.5", 0.5),
    ],
)
def test_a_value_errs_by_its_rounding_and_the_gauges_repeatability(read, cell, uncertainty, own):
    """Digits not written aren't known (rectangular, ± half a step); a stated uncertainty takes the place of both."""
    line = f"thickness,{cell},um,2 m,700 mm,TG-1,2026-11-20,{uncertainty}"
    (one,) = read(line, header=f"{HEADER},uncertainty")
    assert one.own_uncertainty == pytest.approx(own)


def test_a_temperature_is_converted_with_its_zero_and_its_errors_without(read):
    """68 degF is 20 degC; a correction of 3.6 degF is 2 degC, an uncertainty of 1.8 degF is 1 degC."""
    (one,) = read("drying temperature,68.0,degF,2 m,700 mm,T-1,2026-11-20")
    assert one.value == pytest.approx(22.0)
    assert one.shared_uncertainty == pytest.approx(1.0)
    assert one.own_uncertainty == pytest.approx(0.1 / 1.8 / math.sqrt(12))


@pytest.mark.parametrize(
    ("instrument", "day", "why"),
    [
        ("TG-1", "2027-01-01", "gauge TG-1 had a calibration that expired on 2026-12-31, before 2027-01-01"),
        ("TG-1", "2026-01-09", "gauge TG-1 had no calibration on 2026-01-09"),
        ("new", "2026-11-20", "gauge new had no calibration on 2026-11-20"),
        ("TG-9", "2026-11-20", "instrument TG-9 is none of the plant's gauges"),
        ("", "2026-11-20", "no instrument is named, and the plant asks for a calibrated one"),
        ("-", "2026-11-20", "no instrument is named, and the plant asks for a calibrated one"),
    ],
)
def test_a_value_without_a_calibration_that_holds_is_no_evidence(read, instrument, day, why):
    """It comes back with the reason and the mend, not as an error."""
    (one,) = read(f"thickness,130,um,2 m,700 mm,{instrument},{day}")
    assert (one.usable, one.why_unusable) == (False, why)
    assert one.mend.endswith(".")


@pytest.mark.parametrize(
    ("day", "correction"), [("2026-01-10", 0.0), ("2026-06-30", 0.0), ("2026-07-01", -0.4), ("2026-12-31", -0.4)]
)
def test_the_newest_calibration_made_by_the_day_counts(read, day, correction):
    """First and last day included, the newer one as soon as it is made."""
    (one,) = read(f"thickness,130,um,2 m,700 mm,TG-1,{day}")
    assert one.value == pytest.approx(130.0 + correction)


def test_without_gauges_values_are_taken_as_they_are(read):
    """A plant that lists no gauge takes what comes and says that no calibration is on file, unless it asks for one."""
    line = "thickness,130,um,2 m,700 mm,the old one,2026-11-20"
    (one,) = read(line, gauges="")
    assert (one.usable, one.calibration, one.value) == (True, "no calibration on file", 130.0)
    (asked,) = read(line, gauges="calibration_required = true\n")
    assert asked.why_unusable == "instrument the old one is none of the plant's gauges"


def test_a_scale_of_the_products_own_needs_no_known_unit(read):
    """Values in the very words of the product are taken, whatever they mean."""
    (one,) = read("tack,7,tack units,2 m,700 mm,finger,2026-11-20", gauges="")
    assert one.value == 7.0


def test_no_file_and_an_empty_table_hold_no_values(read, tmp_path):
    """A roll needs no properties.csv; its header alone says that nothing was measured."""
    assert read_properties(tmp_path / "none.csv", SPECS, WHOLE) == ()
    assert read() == ()


@pytest.mark.parametrize(
    ("line", "column", "rule"),
    [
        ("thicknes,130,um,2 m,700 mm,TG-1,2026-11-20", "property", "thickness, friction, drying temperature, tack"),
        (",130,um,2 m,700 mm,TG-1,2026-11-20", "property", "must not be empty"),
        ("thickness,-,um,2 m,700 mm,TG-1,2026-11-20", "value", "must be a number"),
        ("thickness,1e999,um,2 m,700 mm,TG-1,2026-11-20", "value", "must be a number"),
        ("thickness,1e300,um,2 m,700 mm,TG-1,2026-11-20", "value", "at most 1e+12 in the product's unit"),
        ("thickness,0e400,um,2 m,700 mm,TG-1,2026-11-20", "value", "at most 1e+12"),
        ("thickness,-5e300,mil,2 m,700 mm,TG-1,2026-11-20", "value", "at most 1e+12"),
        ("thickness,about 130,um,2 m,700 mm,TG-1,2026-11-20", "value", "must be a number"),
        ("thickness,130,N,2 m,700 mm,TG-1,2026-11-20", "unit", "same kind as µm"),
        ("thickness,130,,2 m,700 mm,TG-1,2026-11-20", "unit", "must not be empty"),
        ("thickness,130,micrn,2 m,700 mm,TG-1,2026-11-20", "unit", "no unit known here"),
        ("tack,7,N,2 m,700 mm,TG-1,2026-11-20", "unit", "no unit known here"),
        ("thickness,130,um,41 m,700 mm,TG-1,2026-11-20", "along", "must lie on the roll"),
        ("thickness,130,um,2 m,1400 mm,TG-1,2026-11-20", "across", "must lie on the roll"),
        ("thickness,130,um,2,700 mm,TG-1,2026-11-20", "along", ""),
        ("thickness,130,um,2 m,700 mm,TG-1,20.11.2026", "on", "day of the calendar"),
        ("thickness,130,um,2 m,700 mm,TG-1,2026-02-30", "on", "day of the calendar"),
        ("friction,0.3,ratio,2 m,700 mm,TG-1,2026-11-20", "instrument", "gauge TG-1 measures thickness, not friction"),
        ("friction,0.3,ratio,2 m,700 mm,T-1,2026-11-20", "instrument", "gauge T-1 has the unit degF"),
    ],
)
def test_a_line_with_a_fault_is_refused_at_its_column(read, refused, line, column, rule):
    """The error names file, line and column, the rule, the value and the mend."""
    with refused("properties.csv", "line 2", f"column {column}", rule=rule):
        read(line)


@pytest.mark.parametrize("cell", ["0", "-1", "some", "nan", "1e300"])
def test_an_uncertainty_that_is_none_is_refused(read, refused, cell):
    """Nothing measured is exact; who doesn't know the uncertainty leaves the cell empty."""
    with refused("column uncertainty", rule="must be"):
        read(f"thickness,130,um,2 m,700 mm,TG-1,2026-11-20,{cell}", header=f"{HEADER},uncertainty")


def test_a_product_without_properties_takes_none(read, refused):
    """A table without anything in the product to measure it by is refused, with where to add it."""
    with refused("column property", rule="the product's properties: none"):
        read("thickness,130,um,2 m,700 mm,TG-1,2026-11-20", specs=())


@pytest.mark.parametrize("missing", HEADER.split(","))
def test_each_column_is_needed(read, refused, missing):
    """Where, when, by what and in which unit go with each value."""
    names = [name for name in HEADER.split(",") if name != missing]
    with refused("line 1", rule="the header must have the columns"):
        read(header=",".join(names))


@pytest.mark.parametrize(
    ("gauges", "rule"),
    [
        (GAUGES.replace("2026-01-10", "2026-08-10").replace("2026-07-10", "2026-08-10"), "each is made after"),
        (GAUGES.replace("expires = 2026-07-10", "expires = 2026-01-01"), "expires on the day it was made or later"),
        (GAUGES.replace('"T-1"', '"TG-1"'), "each name is given once"),
        (GAUGES.replace("repeatability = 0.2", "repeatability = -0.2"), "greater than or equal to 0"),
        (GAUGES.replace('measures = ["thickness"]', "measures = []"), "too short"),
        (GAUGES.replace('["thickness"]', '["thickness", "thickness"]'), "each name is given once"),
        (GAUGES.replace("repeatability", "repeatable"), "no such field"),
        (GAUGES.replace("repeatability = 0.2", "repeatability = 1e300"), "less than or equal to"),
    ],
)
def test_a_gauge_with_a_fault_is_refused(read, refused, gauges, rule):
    """In instruments.toml as everywhere: the file, the field and the rule."""
    with refused("instruments.toml", rule=rule):
        read(gauges=gauges)


def test_a_property_of_the_product_file():
    """Name and unit are needed; it is judged at each place, and its scatter isn't known, unless the file says so."""
    assert PropertyTable(name="curl", unit="mm").build().judged is Judged.EACH_PLACE
    spec = PropertyTable(name="curl", unit="mm", judged="mean", scatter=0.5).build()
    assert (spec.judged, spec.scatter) == (Judged.MEAN, 0.5)
    assert math.isnan(PropertyTable(name="curl", unit="mm").build().scatter)


@pytest.mark.parametrize("name", ["speed deviation", "scan", "Sheets", "strips", "batches", " curl"])
def test_a_property_must_not_be_called_like_something_else(name):
    """A criterion's subject means one thing."""
    with pytest.raises((ArgumentError, ValueError), match="none of wideroll's own words"):
        PropertyTable(name=name, unit="mm")


def test_instruments_without_gauges_have_none():
    """What was written before gauges were known reads as before."""
    assert Instruments(tablets={}, densitometers={}, sensitometers={}).gauges == {}


@given(value=st.from_regex(r"[+-]?[0-9]{1,4}([.,][0-9]{0,4})?([eE][+-]?[0-9]{1,3})?", fullmatch=True))
def test_whatever_number_stands_in_a_cell_is_told_or_refused(tmp_path_factory, value):
    """No number breaks what follows: it is refused, or the batch's summary is made of it."""
    path = tmp_path_factory.mktemp("p") / "properties.csv"
    lines = [f"thickness;{value};mil;{along} m;70 mm;-;2026-11-20" for along in (1, 2, 3)]
    path.write_text("\n".join([HEADER.replace(",", ";"), *lines]), encoding="utf-8")
    try:
        values = read_properties(path, SPECS, WHOLE)
    except InputError:
        return
    batch = Batch(name="E-1", along_from_m=0.0, along_to_m=40.0)
    (reading,) = gather_properties(values, SPECS, [(batch, WHOLE)]).readings
    assert math.isfinite(reading.value)
    assert reading.standard_uncertainty >= 0.0
