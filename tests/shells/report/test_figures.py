"""The figures: what must be in them, and that they are the same each time."""

import re
from dataclasses import replace
from itertools import permutations
from xml.etree import ElementTree as ET

import matplotlib as mpl
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wideroll.release.model import RegionVerdict, Verdict
from wideroll.report import (
    curves_caption,
    cut_head_of,
    draw_curves,
    draw_cut,
    draw_fold,
    draw_roll_map,
    fold_caption,
    roll_map_caption,
)
from wideroll.report.canvas import arrange_flags, width_in_along
from wideroll.report.curves import curves_grid
from wideroll.report.roll_map import unseen_parts
from wideroll.roll import Extent, empty_marks
from wideroll.sensitometry.model import Record

SVG = "{http://www.w3.org/2000/svg}"


def parse(svg):
    """The drawing as a tree."""
    return ET.fromstring(svg)  # noqa: S314  # drawn here, not received


def words(svg):
    """Every word drawn, in the order of drawing."""
    return ["".join(text.itertext()) for text in parse(svg).iter(f"{SVG}text")]


def test_figures_are_the_same_each_time_whatever_the_callers_settings(assessment):
    """Neither a second drawing nor someone else's plotting defaults change a byte."""
    plain = (draw_roll_map(assessment), draw_cut(assessment.plan, cut_head_of(assessment)))
    with mpl.rc_context({"font.size": 20.0, "axes.linewidth": 5.0, "svg.fonttype": "path"}):
        assert (draw_roll_map(assessment), draw_cut(assessment.plan, cut_head_of(assessment))) == plain


def test_the_map_says_where_head_tail_and_datum_edge_are(assessment):
    """Head to the left, tail to the right, and the datum edge by its name."""
    drawn = words(draw_roll_map(assessment))
    assert "head  ←  along, coated m  →  tail" in drawn
    assert "thick line: datum edge (operator side)" in drawn


def test_the_map_names_everything_it_shows(assessment):
    """Regions by number and verdict, batches, splice, sheets, the repeat, and a key for each kind of sign."""
    drawn = words(draw_roll_map(assessment))
    shown = {"1 cut out", "2 cut out", "3 hold", "batch A", "batch B", "splice", "S1", "S3", "repeat 1, every 748 mm"}
    keys = {"spot", "comet", "pinhole, bright", "streak", "repeating mark", "sample sheet", "not looked at", "hold"}
    assert shown | keys <= set(drawn)


def test_the_map_bins_very_many_marks(dense):
    """Above 2,000 marks the map stays small and says how many marks a square stands for."""
    svg = draw_roll_map(dense)
    assert any(re.fullmatch(r"\d+ to \d+ marks", word) for word in words(svg))
    assert len(svg) < 250_000


def test_a_crowd_of_regions_still_gets_numbers(assessment):
    """With many small regions their labels shorten to numbers and never lie on one another."""
    regions = tuple(
        RegionVerdict(
            extent=Extent(along_from_m=n * 0.7, along_to_m=n * 0.7 + 0.2, across_from_mm=0.0, across_to_mm=1380.0),
            verdict=Verdict.CUT_OUT,
            findings=(),
            why="",
        )
        for n in range(58)
    )
    drawn = words(draw_roll_map(replace(assessment, decision=replace(assessment.decision, regions=regions))))
    assert {"1", "30", "58"} <= set(drawn)


def test_unseen_parts_cover_what_no_scan_covered(assessment, bare):
    """Without a scan the whole roll is unseen; a scan that stops early leaves the rest unseen."""
    assert [part.extent for part in unseen_parts(bare)] == [bare.whole]
    scan = assessment.scan
    short = replace(scan, coverage=replace(scan.coverage, seen=(replace(assessment.whole, along_to_m=30.0),)))
    parts = unseen_parts(replace(assessment, scan=short))
    assert any(part.extent.along_from_m == 30.0 and part.extent.along_to_m == 42.0 for part in parts)


def test_the_map_caption_states_the_finding(assessment, bare):
    """The caption says how much isn't released, what was scanned, and that the scales differ."""
    caption = roll_map_caption(assessment)
    assert "3 parts are not released" in caption
    assert "98.3 %" in caption
    assert "times larger than along" in caption
    assert "not scanned" in roll_map_caption(bare)
    assert "No part of the roll" not in roll_map_caption(bare)


def test_curves_have_equal_scales_and_all_their_parts(assessment):
    """One unit of log H is as long as one of density, and each record carries its name."""
    result = assessment.strip_room.results[0]
    svg = draw_curves(result, assessment.product.aims)
    places = {}
    for text in parse(svg).iter(f"{SVG}text"):
        place = float(text.get("x", "nan")), float(text.get("y", "nan"))
        places.setdefault("".join(text.itertext()), []).append(place)
    along = places["−1.0"][0][0] - places["−2.0"][0][0]
    up = places["1.0"][0][1] - places["2.0"][0][1]
    assert along == pytest.approx(up, rel=0.01)
    assert {"red (cyan dye)", "green (magenta dye)", "blue (yellow dye)"} <= set(places)


def test_the_caption_tells_curve_and_readings_apart(assessment):
    """It gives the curve's departure, the farthest reading with its place, and each reading that was left out."""
    result = assessment.strip_room.results[0]
    green = result.fits[Record.GREEN]
    density = green.density.copy()
    density[8] += 0.05
    moved = replace(result, fits={**result.fits, Record.GREEN: replace(green, density=density, faulty_steps=(3,))})
    caption = curves_caption(moved, assessment.product.aims)
    assert "its curve lies at most 0.020 density from aim" in caption
    assert re.search(r"farthest reading is \+0\.0[5-7]\d at log H −2\.20 \(green\)", caption)
    assert "Green: step at log H −2.95 left out: off the curve." in caption


def test_curves_caption_says_inside_or_outside(assessment):
    """The caption compares the worst departure with the tolerance."""
    first, _, off, void = assessment.strip_room.results
    aims = assessment.product.aims
    assert "within the band" in curves_caption(first, aims)
    assert "outside the band" in curves_caption(off, aims)
    assert "Not usable as evidence" in curves_caption(void, aims)


def test_curves_without_fits_or_aims_are_drawn_empty(assessment):
    """A strip that couldn't be fitted, and aims that lack the record, still give a figure that says so."""
    result = assessment.strip_room.results[0]
    aims = assessment.product.aims
    blank = replace(result, fits={}, measures=(), deviations=(), usable=False, why="too few steps")
    assert "no curve could be fitted" in curves_caption(blank, aims)
    assert draw_curves(blank, aims).startswith("<svg")
    assert draw_curves(replace(result, deviations=()), replace(aims, curves={})).startswith("<svg")


def test_the_curves_table_shows_a_missing_step_as_missing(assessment):
    """A step that wasn't read is a dash in the figure's data, not a number."""
    grid = curves_grid(assessment.strip_room.results[0], assessment.product.aims)
    assert len(grid.rows) == assessment.strip_room.results[0].strip.log_h.size
    assert grid.rows[-1][1].text == "–"


@given(
    feet=st.lists(st.floats(0.0, 42.0), max_size=12),
    texts=st.lists(st.sampled_from(["1 hold", "12 cut out", "3 reject"]), min_size=12, max_size=12),
)
@settings(max_examples=60, deadline=None)
def test_no_leader_runs_through_a_label(feet, texts):
    """However crowded the flags, no leader passes through another's words and no words lie on others."""
    whole = Extent(along_from_m=0.0, along_to_m=42.0, across_from_mm=0.0, across_to_mm=1380.0)
    items = [(foot, 900.0, text, "#000000") for foot, text in zip(feet, texts, strict=False)]
    flags = arrange_flags(whole, items, rows=4)
    halves = [width_in_along(whole, flag.text) / 2.0 for flag in flags]
    for (one, half), (other, wide) in permutations(zip(flags, halves, strict=True), 2):
        apart = abs(one.text_m - other.text_m)
        assert apart > half
        assert one.row != other.row or apart >= half + wide - 1e-9


def test_what_is_cut_out_lies_over_what_is_held(assessment):
    """Where a part is both cut out and on hold the map shows it as cut out, whatever the order of the list."""
    part = Extent(along_from_m=21.0, along_to_m=42.0, across_from_mm=0.0, across_to_mm=1380.0)
    both = [
        RegionVerdict(extent=part, verdict=verdict, findings=(), why="") for verdict in (Verdict.CUT_OUT, Verdict.HOLD)
    ]
    for regions in (both, both[::-1]):
        svg = draw_roll_map(replace(assessment, decision=replace(assessment.decision, regions=tuple(regions))))
        # the last of a tint is its key in the legend
        assert svg.index("#fbf0d5") < svg.index("#fae5da")


def test_narrow_unseen_parts_are_drawn_and_named(assessment):
    """The edge beads, 4 mm of 1380, are drawn wide enough to be seen and have their own key."""
    assert "not looked at, narrow" in words(draw_roll_map(assessment))
    whole = assessment.scan.coverage
    wide = replace(assessment.scan, coverage=replace(whole, unseen=whole.unseen[2:]))
    assert "not looked at, narrow" not in words(draw_roll_map(replace(assessment, scan=wide)))


def test_folded_members_stand_above_one_another(assessment):
    """The axis shows the few millimetres that jitter spans, and the caption gives spacing and print probability."""
    series = assessment.repeats[0]
    svg = draw_fold(series, assessment.scan.marks, assessment.repeats.settings)
    groups = [group for group in parse(svg).iter(f"{SVG}g") if "#8f1d2c" in group.get("style", "")]
    diamonds = [use for group in groups for use in group.iter(f"{SVG}use")]
    across = np.array([float(use.get("x")) for use in diamonds])
    assert len(diamonds) == 2 * len(series.members)
    assert np.ptp(across) > 12.0
    assert {"−15", "−3", "3", "15"} <= set(words(svg))
    assert "748.2 mm" in fold_caption(series)
    assert "86.0 %" in fold_caption(series)


def test_a_scan_without_marks_says_none_were_found(assessment):
    """A clean scan is drawn and described as clean, which differs from no scan."""
    clean = replace(
        assessment,
        scan=replace(assessment.scan, marks=empty_marks(), streaks=()),
        repeats=replace(assessment.repeats, series=(), marks=0),
    )
    assert "No mark was found" in roll_map_caption(clean)
    assert "not looked at: no scan" not in words(draw_roll_map(clean))
