"""A roll of 40 m, 1 m wide, with as little evidence as a test needs."""

import polars as pl
import pytest

from wideroll.release import Consequence, Criterion, Evidence, Measurand
from wideroll.roll import MARKS_SCHEMA, Coverage, Extent


@pytest.fixture(scope="session")
def box():
    """Makes a part of the roll; full width unless said."""

    def make(from_m, to_m, from_mm=0.0, to_mm=1000.0):
        return Extent(along_from_m=from_m, along_to_m=to_m, across_from_mm=from_mm, across_to_mm=to_mm)

    return make


@pytest.fixture(scope="session")
def whole(box):
    """The roll: 40 m²."""
    return box(0.0, 40.0)


@pytest.fixture(scope="session")
def marks_at():
    """Makes a marks table from places along, or (along, across), all spots of 0.5 mm unless said."""

    def make(places, kind="spot", size_mm=0.5, source="line-1"):
        pairs = [place if isinstance(place, tuple) else (place, 500.0) for place in places]
        n = len(pairs)
        return pl.DataFrame(
            {
                "id": [f"m{number}" for number in range(n)],
                "along_m": [float(along) for along, _ in pairs],
                "across_mm": [float(across) for _, across in pairs],
                "length_mm": [size_mm] * n,
                "width_mm": [size_mm / 2] * n,
                "area_mm2": [0.2] * n,
                "contrast": [0.1] * n,
                "snr": [9.0] * n,
                "peak": [0.2] * n,
                "elongation": [1.0] * n,
                "angle_deg": [0.0] * n,
                "ring": [0.0] * n,
                "polarity": ["dark"] * n,
                "kind": [kind] * n,
                "rule": ["invented"] * n,
                "source": [source] * n,
            },
            schema=MARKS_SCHEMA,
        )

    return make


@pytest.fixture(scope="session")
def evidence(whole, marks_at):
    """Makes evidence of a roll that the scanner saw all of and found nothing on."""

    def make(marks=(), **given):
        table = marks if isinstance(marks, pl.DataFrame) else marks_at(list(marks))
        parts = {"coverage": {"scan": Coverage(seen=(whole,))}, "counts": {}} | given
        return Evidence(whole=whole, marks=table, **parts)

    return make


@pytest.fixture(scope="session")
def criterion():
    """Makes a criterion of a kind; each kind has what it needs."""
    needs = {
        Measurand.MARK_RATE: {"unit": "per m²", "limit": 1.0},
        Measurand.LOCAL_MARK_RATE: {"unit": "per m²", "limit": 5.0, "consequence": Consequence.CUT_OUT},
        Measurand.FLAW: {"unit": "%", "limit": 1.0, "kinds": ("streak",), "consequence": Consequence.CUT_OUT},
        Measurand.GRADE: {"unit": "grade", "limit": 2.0, "kinds": ("streak",), "grades": ("A", "B", "C")},
        Measurand.READING: {"unit": "log H", "limit": 0.05, "subject": "speed deviation"},
        Measurand.COVERAGE: {"unit": "share", "limit": 0.98, "subject": "scan"},
        Measurand.FORBIDDEN: {"unit": "sightings", "limit": 0.0, "kinds": ("metal",)},
        Measurand.EVIDENCE_COUNT: {"unit": "strips", "limit": 2.0, "subject": "strips"},
        Measurand.MARK_COUNT: {"unit": "marks", "limit": 2.0, "consequence": Consequence.CUT_OUT},
    }

    def make(measurand, **given):
        parts = {"name": str(measurand), "consequence": Consequence.HOLD} | needs[measurand] | given
        return Criterion(measurand=measurand, **parts)

    return make
