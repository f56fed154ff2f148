"""Pictures and sheets about repeating series: the fold of a long one, evidence by spacing, what to sample next."""

import re
from dataclasses import replace
from xml.etree import ElementTree as ET

import numpy as np
import polars as pl
import pytest

from wideroll.repeats import (
    ANOTHER,
    NextSamples,
    PredictedMark,
    Prediction,
    Roller,
    SampleChoice,
    SampleSettings,
    Separation,
    SeriesSettings,
    find_series,
    spacing_evidence,
)
from wideroll.report.evidence_picture import draw_evidence, evidence_caption, evidence_grid
from wideroll.report.fold_picture import draw_fold
from wideroll.report.next_samples_picture import draw_samples, samples_caption
from wideroll.report.next_samples_sheet import SamplesHead, render_samples
from wideroll.report.next_samples_words import (
    also_here,
    choices_grid,
    foot_inch,
    predictions_grid,
    samples_words,
    telling_words,
)
from wideroll.roll import parse_length
from wideroll.workflow import CAUTION

SVG = "{http://www.w3.org/2000/svg}"
DIAMETERS = (80, 101.6, 120, 139.7, 160, 161.6, 180, 200, 202, 238.1, 240, 242, 250, 300, 303, 400, 480, 600)
ROLLERS = tuple(Roller(name=f"R{number:02d} idler {d:g}", diameter_mm=d) for number, d in enumerate(DIAMETERS, start=1))


def _parse(svg):
    return ET.fromstring(svg)  # noqa: S314  # drawn here, not received


def _words(svg):
    return ["".join(text.itertext()) for text in _parse(svg).iter(f"{SVG}text")]


@pytest.fixture(scope="module")
def found():
    """A series of a roller of 238.1 mm over 42 m, and its evidence by spacing."""
    rng = np.random.default_rng(2)
    turns = np.flatnonzero(rng.random(55) < 0.8)
    along, across = 0.3 + 0.7484 * turns + 0.003 * rng.standard_normal(turns.size), np.full(turns.size, 413.0)
    search = find_series(along, across, length_m=42.0, rollers=ROLLERS)
    told = spacing_evidence(along, across, search[0], length_m=42.0, rollers=ROLLERS)
    return search[0], told


@pytest.fixture
def long_series(assessment):
    """A series of 2,700 turns whose place wanders by 60 mm, and its marks."""
    rng = np.random.default_rng(3)
    turns = np.flatnonzero(rng.random(2700) < 0.6)
    course = 0.03 * np.sin(turns / 400.0)
    along = 0.3 + 0.7 * turns + course + 0.003 * rng.standard_normal(turns.size)
    marks = pl.DataFrame({"id": [str(n) for n in turns], "along_m": along, "across_mm": np.full(turns.size, 300.0)})
    first = assessment.repeats[0]
    series = replace(
        first,
        spacing_m=0.7,
        phase_m=0.3,
        across_mm=300.0,
        members=tuple(range(turns.size)),
        turns=tuple(turns.tolist()),
    )
    return series, marks


def _prediction(roller, probability, spacing, first, **other):
    marks = tuple(
        PredictedMark(
            turn=n, along_m=first + n * spacing, low_m=first + n * spacing - 0.02, high_m=first + n * spacing + 0.02
        )
        for n in range(int((46.0 - first) / spacing) + 1)
    )
    known = {"phase_known": True, "print_probability": 0.6} | other
    limits = {"spacing_low_m": spacing - 0.001, "spacing_high_m": spacing + 0.001}
    return Prediction(roller=roller, probability=probability, spacing_m=spacing, marks=marks, **limits, **known)


@pytest.fixture
def choice():
    """Three metres in which a roller, its double and a near one predict marks."""
    return SampleChoice(
        from_m=43.0,
        to_m=46.0,
        information_bits=1.2,
        error_bits=0.01,
        expected_probability=0.94,
        predictions=(
            _prediction("R07 lay-on", 0.5, 0.7, 43.2),
            _prediction("R12 guide", 0.3, 0.707, 43.3),
            _prediction(ANOTHER, 0.2, 1.4, 43.2),
        ),
    )


@pytest.fixture
def answer(choice):
    """The whole answer about it."""
    shorter = replace(choice, to_m=44.0, information_bits=1.15)
    return NextSamples(
        separation=Separation.ADVISED,
        candidates=(("R07 lay-on", 0.5), ("R12 guide", 0.3), (ANOTHER, 0.2)),
        uncertainty_bits=1.49,
        choices=(choice, shorter),
        least_m=1.0,
        across_mm=412.75,
        spacing_m=0.7,
        can_sample=((42.0, 60.0),),
        tried=SampleSettings(),
        settings=SeriesSettings(),
    )


def test_each_roller_is_named_on_the_evidence_and_no_name_lies_on_another(found):
    """All 18 names stand above the curve, upright, at least a letter's height apart."""
    series, told = found
    svg = draw_evidence(told, series, ROLLERS)
    assert {roller.name for roller in ROLLERS} <= set(_words(svg))
    places = sorted(
        float(re.search(r"translate\(([\d.]+)", text.get("transform"))[1])
        for text in _parse(svg).iter(f"{SVG}text")
        if "".join(text.itertext()).startswith("R") and text.get("transform")
    )
    assert len(places) == len(ROLLERS)
    assert np.diff(places).min() > 7.0
    assert 30.0 < places[0] < places[-1] < 7.2 * 72.0


def test_the_evidence_marks_what_was_found_with_its_half_and_double(found):
    """The spacing found, its half and its double are marked in words, and the caption states the finding."""
    series, told = found
    drawn = " ".join(_words(draw_evidence(told, series, ROLLERS)))
    assert all(word in drawn for word in ("found, 748.", "half, 374.", "double, 1496."))
    said = evidence_caption(told, series)
    assert f"every {series.spacing_m * 1000.0:.1f} mm" in said
    assert "R10" in said
    assert "less likely" in said
    assert "No roller" in evidence_caption(
        told, replace(series, candidates=(replace(series.candidates[0], roller=ANOTHER),))
    )


def test_the_data_of_the_evidence_are_its_peaks(found):
    """The first row is the spacing found, with the rollers that turn there."""
    series, told = found
    grid = evidence_grid(told, ROLLERS)
    assert float(grid.rows[0][0].text) == pytest.approx(series.spacing_m * 1000.0, abs=1.0)
    assert "R10" in grid.rows[0][2].text
    heights = [float(row[1].text.replace("−", "-")) for row in grid.rows]
    assert heights == sorted(heights, reverse=True)


def test_a_line_without_rollers_still_has_its_evidence(found):
    """An empty table of rollers draws the curve alone."""
    series, told = found
    assert "log10 of the likelihood ratio" in _words(draw_evidence(told, replace(series, candidates=()), ()))


def test_a_long_series_is_folded_legibly(long_series):
    """Of thousands of turns the share printed is drawn, not each silent turn, and the bands follow the course."""
    series, marks = long_series
    svg = draw_fold(series, marks, SeriesSettings())
    key = next(word for word in _words(svg) if "filled diamond" in word)
    assert "share of turns printed" in key
    assert "about its course" in key
    assert "dash at left" not in key
    uses = list(_parse(svg).iter(f"{SVG}use"))
    assert len(uses) < 2.5 * len(series.members)
    assert svg.startswith("<svg")


def test_the_panel_of_a_fold_ends_where_its_axis_says(long_series):
    """Ticks are whole multiples of the jitter within the panel."""
    series, marks = long_series
    ticks = [
        float(w.replace("−", "-"))
        for w in _words(draw_fold(series, marks, SeriesSettings()))
        if re.fullmatch(r"−?\d+", w)
    ]
    assert any(tick < 0.0 and tick % 3.0 == 0.0 for tick in ticks)


def test_feet_and_inches_are_what_a_tape_shows():
    """A length is written in feet and eighths of an inch, and reads back within a sixteenth."""
    for metres in (0.0, 0.127, 0.3048, 1.0, 2.999):
        assert float(parse_length(foot_inch(metres)).m) == pytest.approx(metres, abs=0.0254 / 16 + 1e-9)
    assert foot_inch(0.3048) == "1 ft 0 in"


def test_places_of_one_candidate_only_are_told_from_shared_ones(choice):
    """The roller and its double share every other place; the near roller has its own."""
    lay_on, guide, double = choice.predictions
    assert also_here(choice, lay_on, lay_on.marks[0]) == (ANOTHER,)
    assert also_here(choice, lay_on, lay_on.marks[1]) == ()
    assert all(also_here(choice, guide, mark) == () for mark in guide.marks)
    assert also_here(choice, double, double.marks[0]) == ("R07 lay-on",)


def test_how_to_tell_candidates_apart_is_said(choice):
    """Each has a sentence with its spacing in millimetres and inches and the places that only it marks."""
    lines = telling_words(choice)
    assert "R07 lay-on: marks 700.0 mm apart (27 9/16 in). Only it would mark at 43.900 m and 45.300 m." in lines[0]
    assert lines[2].startswith("Something that isn't in the table: marks 1400.0 mm apart")
    assert "what is missing tells" in lines[2]
    twin = replace(choice, predictions=(choice.predictions[0], replace(choice.predictions[0], roller="R08 twin")))
    assert any("would mark alike here" in line for line in telling_words(twin))


def test_far_from_the_marks_only_distances_are_said(choice):
    """Where no place is known, none is listed, and the sentences give the distances."""
    lost = replace(choice, predictions=tuple(replace(one, phase_known=False) for one in choice.predictions))
    assert all("where they begin isn't known" in line for line in telling_words(lost))
    assert predictions_grid(lost).rows == ()
    assert "Only the distances" in samples_caption(lost)
    assert any("where it begins isn't known" in word for word in _words(draw_samples(lost)))


def test_the_drawing_has_a_row_a_candidate_in_metres_and_feet(choice):
    """Each candidate is named with its spacing; metres stand below, feet from the start above."""
    words = _words(draw_samples(choice))
    assert sum(", every " in word for word in words) == 3
    assert {"0′", "9′", "43.20", "44.60"} <= set(words)
    assert "along, metres from the head" in words


def test_the_answer_is_said_in_words(answer):
    """What to sample, what it would bring, and which shorter stretch tells nearly as much."""
    said = samples_words(answer)
    assert "Sample 43.00 to 46.00 m at 413 mm across" in said
    assert "94.0 % (now 50.0 %)" in said
    assert "1.00 m from 43.00 m tell nearly as much" in said
    assert len(choices_grid(answer).rows) == 2
    named = replace(answer, separation=Separation.NAMED, choices=(), least_m=None)
    assert "Nothing to tell apart: R07 lay-on" in samples_words(named)
    tied = replace(answer, separation=Separation.TIED, least_m=None)
    assert "No stretch that can be sampled tells R07 lay-on, R12 guide and another" in samples_words(tied)
    none = replace(answer, separation=Separation.NONE, candidates=(), choices=(), least_m=None)
    assert "No roller was compared" in samples_words(none)


def test_the_sheet_carries_what_people_need_at_the_machine(answer, choice):
    """Place in metres, feet and inches, drawing, how to tell apart, the caution, and no outside address."""
    head = SamplesHead(roll="W-1<", product="sheet-100", plant="Little Mere", datum_edge="drive side", series=2)
    page = render_samples(answer, choice, head)
    assert page == render_samples(answer, choice, head)
    for part in ("43.00 to 46.00 m", "141.1 to 150.9 ft", "16 1/4 in", "<svg", "How to tell them apart", "W-1&lt;"):
        assert part in page
    assert CAUTION.removeprefix("Caution: ").removeprefix("n") in page
    assert "http" not in page.replace("http://www.w3.org", "")
