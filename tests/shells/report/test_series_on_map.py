"""Members of several series on the map can be told apart without colour."""

from dataclasses import replace
from xml.etree import ElementTree as ET

import numpy as np
import polars as pl
import pytest

from wideroll.report import draw_roll_map

SVG = "{http://www.w3.org/2000/svg}"
TURNS = 400


def _parse(svg):
    return ET.fromstring(svg)  # noqa: S314  # drawn here, not received


def _words(svg):
    return ["".join(text.itertext()) for text in _parse(svg).iter(f"{SVG}text")]


@pytest.fixture
def three(assessment):
    """Three series: two of many members in neighbouring lanes, one of few."""
    scan, (first, *_) = assessment.scan, assessment.repeats.series
    whole = assessment.whole
    rows, series = [scan.marks], []
    row = scan.marks.height
    for number, (across, count) in enumerate(((700.0, TURNS), (720.0, TURNS), (715.0, 12))):
        along = np.linspace(whole.along_from_m + 0.1 + number, whole.along_to_m - 0.1, count)
        one = pl.concat([scan.marks.head(1)] * count).with_columns(
            along_m=pl.Series(along), across_mm=pl.Series(np.full(count, across))
        )
        rows.append(one)
        extent = replace(first.extent, along_from_m=float(along[0]), along_to_m=float(along[-1]))
        series.append(
            replace(
                first,
                spacing_m=float(along[1] - along[0]),
                across_mm=across,
                extent=extent,
                members=tuple(range(row, row + count)),
                turns=tuple(range(count)),
            )
        )
        row += count
    marks = pl.concat(rows)
    search = replace(assessment.repeats, series=(first, *series), marks=marks.height)
    return replace(assessment, scan=replace(scan, marks=marks), repeats=search)


def test_each_series_has_a_sign_and_words_of_its_own(three):
    """The legend names each series, and each stands with its spacing on the map."""
    words = _words(draw_roll_map(three))
    assert {"repeat 1", "repeat 2", "repeat 3", "repeat 4"} <= set(words)
    assert sum(word.startswith("repeat ") and ", every " in word for word in words) == 4


def test_the_words_of_series_side_by_side_dont_lie_on_one_another(three):
    """Labels of neighbouring lanes stand at different places."""
    root = _parse(draw_roll_map(three))
    places = [
        (text.get("x"), text.get("y"), text.get("transform"))
        for text in root.iter(f"{SVG}text")
        if ", every " in "".join(text.itertext())
    ]
    assert len(places) == len(set(places)) == 4


def test_a_crowded_series_shows_all_members_and_a_few_signs(three):
    """Of 400 members each has its stroke, and no more than 48 carry the sign, so that it can be seen."""
    root = _parse(draw_roll_map(three))
    counts = [len(list(group.iter(f"{SVG}use"))) for group in root.iter(f"{SVG}g")]
    assert TURNS in counts
    assert 48 in counts
