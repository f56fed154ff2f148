"""Profiles as figure and tables, and changes in words."""

import math
from dataclasses import replace
from xml.etree import ElementTree as ET

import numpy as np
import pytest

from wideroll.report.grid import rich_grid
from wideroll.report.machine import strips_json
from wideroll.report.profile_grids import change_sentences, changes_grid, profiles_grid
from wideroll.report.profile_picture import draw_profiles
from wideroll.roll import Extent
from wideroll.sensitometry import Border, Direction, Record, find_changes, profile
from wideroll.synthetic.placed_strips import PlacedRecipe, make_series
from wideroll.workflow import StripRoom
from wideroll.workflow.strip_profiles import SeriesProfiles, StripProfiles

_WHOLE = Extent(along_from_m=0.0, along_to_m=1200.0, across_from_mm=0.0, across_to_mm=1380.0)
_BORDERS = (Border(along_m=640.0, before="E-1", after="E-2"),)


def _profiles(count, borders=_BORDERS, **changed):
    """Two records of speed; only the first has what ``changed`` says."""
    rng = np.random.default_rng(1)
    places = tuple((float(s), float(rng.uniform(60, 1300))) for s in np.linspace(30, 1170, count))
    base = PlacedRecipe(places=places, own_sd=0.008, run_sd=0.003, seed=5)
    series = [
        replace(make_series(replace(base, **changed)), record=Record.RED),
        replace(make_series(replace(base, seed=6)), record=Record.GREEN),
    ]
    found = find_changes(series, borders)
    return StripProfiles(
        series=tuple(
            SeriesProfiles(
                changes=one,
                along=profile(one, Direction.ALONG, (0.0, 1200.0)),
                across=profile(one, Direction.ACROSS, (0.0, 1380.0)),
            )
            for one in found
        ),
        borders=borders,
        whole=_WHOLE,
        left_out=(),
    )


def test_a_step_is_told_with_place_size_interval_and_why():
    """A step's sentence names record, metre, batches, size, interval, unit, and that a trend doesn't explain it."""
    (sentence,) = change_sentences(_profiles(16, steps={640.0: 0.10}))
    assert sentence.startswith("Red speed: step at 640 m (E-1 to E-2) of +0.")
    assert " log H (0." in sentence
    assert sentence.endswith("a trend doesn't explain it (p < 0.001).")


def test_a_trend_is_told_as_a_change_from_end_to_end():
    """A trend's size is what it makes from the first strip to the last, and a step is said not to explain it."""
    (sentence,) = change_sentences(_profiles(16, trend_per_m=0.15 / 1200.0))
    assert sentence.startswith("Red speed: gradual trend of +0.1")
    assert "from the first strip to the last; a step at 640 m (E-1 to E-2) doesn't explain it" in sentence


def test_what_is_not_settled_is_said():
    """Three strips can't tell a step from a trend, and the sentence says so."""
    (sentence,) = change_sentences(_profiles(3, steps={640.0: 0.07}))
    assert "not settled: 3 strips can't tell a step from a trend" in sentence


def test_a_change_at_no_noted_border_asks_whether_one_was_noted_wrong():
    """A step far from the border noted is told with the strips it lies between."""
    text = " ".join(change_sentences(_profiles(24, steps={250.0: 0.12})))
    assert "the strips change most between" in text
    assert "no batch border is noted there; was one noted wrong?" in text


def test_no_change_is_a_finding_with_its_count():
    """Where nothing changes, one sentence says by how many strips and tests that was looked for."""
    (sentence,) = change_sentences(_profiles(8))
    assert sentence == "No change found along or across, by 8 strips in 8 tests."


def test_no_strip_is_not_taken_for_no_change():
    """Without strips nothing is said to be unchanged."""
    (sentence,) = change_sentences(_profiles(0))
    assert sentence == "No usable strip with a place: nothing is known of changes along or across."


@pytest.mark.parametrize("count", [0, 1, 3, 16])
def test_the_figure_is_drawn_whatever_the_strips(count):
    """The figure is well-formed, names its finding for a screen reader, and its batches in words."""
    profiles = _profiles(count, steps={640.0: 0.10})
    svg = draw_profiles(profiles)
    root = ET.fromstring(svg)  # noqa: S314  # drawn a line above, not received
    words = "".join(root.itertext())
    assert change_sentences(profiles)[0] in words
    assert "640 m: batch E-2" in words
    assert svg == draw_profiles(profiles)


def test_every_strip_of_the_figure_stands_in_its_table():
    """The data table has a row for each strip of each record."""
    assert len(profiles_grid(_profiles(8)).rows) == 16


def test_the_table_of_changes_fits_a_terminal():
    """Printed at 110 columns, no number is broken off."""
    profiles = _profiles(16, steps={640.0: 0.10})
    grid = changes_grid(profiles)
    assert [row[3].text for row in grid.rows] == ["step", "no change found"]
    assert rich_grid(grid).row_count == 2


def test_json_holds_changes_and_profiles_without_nan():
    """Changes and profiles come as plain values; what has no number is null."""
    document = strips_json(StripRoom(), _profiles(0))
    assert document["profiles"][0]["along"]["scatter_sd"] is None
    document = strips_json(StripRoom(), _profiles(16, steps={640.0: 0.10}))
    change = document["changes"][0]
    assert (change["measure"], change["record"], change["borders"][0]["kind"]) == ("speed", "red", "step")
    assert change["words"]
    assert all(math.isfinite(value) for value in document["profiles"][0]["along"]["value"])
    assert strips_json(StripRoom())["changes"] == []
