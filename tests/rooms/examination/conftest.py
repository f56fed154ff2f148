"""Sightings, sheets and marks with as little said as a test needs."""

import polars as pl
import pytest

from wideroll.examination import Sheet, Sighting
from wideroll.roll import MARKS_SCHEMA, Extent, MarkKind, Place


@pytest.fixture(scope="session")
def sighting():
    """Makes a spot on a sheet."""

    def make(along_m=1.0, across_mm=100.0, *, sheet="A", kind=MarkKind.SPOT, through=None, **said):
        return Sighting(
            sheet=sheet,
            kind=kind,
            place=Place(along_m=along_m, across_mm=across_mm),
            size_mm=0.5,
            through=through or {},
            **said,
        )

    return make


@pytest.fixture(scope="session")
def sheet():
    """Two metres of web."""
    extent = Extent(along_from_m=0.0, along_to_m=2.0, across_from_mm=0.0, across_to_mm=1000.0)
    return Sheet(name="A", extent=extent, examiner="E1")


@pytest.fixture(scope="session")
def marks_at():
    """Makes the scanner's marks at places (metres, millimetres)."""

    def make(*places):
        return pl.DataFrame(
            {
                "id": [f"m{number}" for number in range(len(places))],
                "along_m": [float(along) for along, _ in places],
                "across_mm": [float(across) for _, across in places],
                "length_mm": [0.5] * len(places),
                "width_mm": [0.5] * len(places),
                "area_mm2": [0.2] * len(places),
                "contrast": [0.1] * len(places),
                "snr": [9.0] * len(places),
                "peak": [0.2] * len(places),
                "elongation": [1.0] * len(places),
                "angle_deg": [0.0] * len(places),
                "ring": [0.0] * len(places),
                "polarity": ["dark"] * len(places),
                "kind": ["spot"] * len(places),
                "rule": ["invented"] * len(places),
                "source": ["line-1"] * len(places),
            },
            schema=MARKS_SCHEMA,
        )

    return make
