"""Laying marks and finding them again: what is laid is what was asked for, wherever the raster is cut."""

import itertools
import math

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wideroll.errors import ArgumentError
from wideroll.roll import Polarity
from wideroll.scan import ScanSettings, find_marks
from wideroll.scan.detection import ContrastUnit, DetectionPlan, DetectionTrial, Injected
from wideroll.scan.detection_inject import cover, inject
from wideroll.scan.detection_plan import plan_marks, site_pixels, web_columns
from wideroll.scan.detection_score import score_marks, tally_classes

PITCH = (0.1, 0.1)
INNER = ScanSettings(find_edges=False)
TRIAL = DetectionTrial(sizes_px=(2.0, 5.0, 9.0), contrasts=(0.1, 0.3), marks_per_class=3, stretches=1, guard_px=8)


def _plan(*marks, pitch_mm=PITCH, columns=200, first_column=0, seed=1):
    return DetectionPlan(
        first_line=0,
        lines=200,
        first_column=first_column,
        columns=columns,
        pitch_mm=pitch_mm,
        unit=ContrastUnit.SIGNAL,
        seed=seed,
        marks=marks,
    )


def _mark(line=60.3, column=80.6, size_mm=4.0, contrast=-0.3):
    return Injected(line=line, column=column, size_mm=size_mm, contrast=contrast, level=abs(contrast))


@pytest.fixture(scope="module")
def rows():
    """A web of even noise with two marks of its own, one dark, one bright."""
    noise = np.random.Generator(np.random.PCG64(3)).normal(140.0, 3.0, (700, 500))
    noise[100:106, 100:106] -= 50.0
    noise[300:306, 400:406] += 60.0
    return np.rint(noise).astype(np.uint8)


@pytest.fixture(scope="module")
def clean(rows):
    """Its scan."""
    return find_marks(rows, PITCH, INNER)


@pytest.fixture(scope="module")
def plan(rows, clean):
    """Marks laid out on it; the raster goes on before it."""
    return plan_marks(rows, 1000, clean, TRIAL)


@pytest.mark.parametrize(("contrast", "depth"), [(-0.3, np.uint8), (0.2, np.uint8), (-0.004, np.uint16)])
def test_the_contrast_on_flat_web_is_what_was_asked(contrast, depth) -> None:
    """Under the whole of a wide mark the flat signal changes by the contrast on average, even by less than a count."""
    flat = np.full((200, 200), 101, depth)
    laid = inject(flat, 0, _plan(_mark(size_mm=12.0, contrast=contrast)))
    _, _, share = cover(_mark(size_mm=12.0), PITCH)
    core = laid[40:80, 60:100]
    assert float(core.mean()) == pytest.approx(101.0 * (1.0 + contrast), abs=0.04)
    assert np.count_nonzero(laid != flat) <= share.size


@settings(max_examples=40, deadline=None)
@given(
    st.floats(20.0, 100.0),
    st.floats(20.0, 100.0),
    st.floats(0.1, 3.0),
    st.sampled_from([(0.1, 0.1), (0.4, 0.1), (0.1, 0.3)]),
)
def test_a_mark_covers_its_area(line, column, size_mm, pitch_mm) -> None:
    """The shares add up to the circle's area, none is above 1, and the rim is one pixel wide."""
    top, left, share = cover(_mark(line=line, column=column, size_mm=size_mm), pitch_mm)
    area = math.pi / 4.0 * size_mm**2 / (pitch_mm[0] * pitch_mm[1])
    assert share.sum() == pytest.approx(area, rel=0.02)
    assert 0.0 <= share.min() <= share.max() <= 1.0 + 1e-12
    weights = share.sum()
    # A pixel partly covered counts with its own middle, which tells in marks of a pixel or two.
    slack = 0.1 if size_mm > 3.0 * max(pitch_mm) else 0.5
    middle = ((np.arange(len(share)) + 0.5 + top) @ share.sum(axis=1)) / weights
    assert middle == pytest.approx(line, abs=slack)
    assert ((np.arange(share.shape[1]) + 0.5 + left) @ share.sum(axis=0)) / weights == pytest.approx(column, abs=slack)


@settings(max_examples=30, deadline=None)
@given(st.lists(st.integers(1, 699), max_size=6))
def test_any_cut_lays_the_same_pixels(rows, plan, cuts) -> None:
    """Laid block by block, however the blocks are cut, the raster is the same as laid in one go."""
    borders = [0, *sorted(set(cuts)), len(rows)]
    parts = [inject(rows[a:b], 1000 + a, plan) for a, b in itertools.pairwise(borders)]
    assert np.array_equal(np.concatenate(parts), inject(rows, 1000, plan))


def test_nothing_else_is_touched(rows, plan) -> None:
    """The rows that were handed in stay, and so does every pixel that no mark covers."""
    before = rows.copy()
    laid = inject(rows, 1000, plan)
    assert np.array_equal(rows, before)
    covered = np.zeros(rows.shape, np.bool_)
    for mark in plan.marks:
        top, left, share = cover(mark, PITCH)
        covered[top - 1000 : top - 1000 + share.shape[0], left : left + share.shape[1]] |= share > 0.0
    assert np.array_equal(laid[~covered], rows[~covered])
    assert (laid != rows)[covered].mean() > 0.5


def test_pixels_stay_within_their_type() -> None:
    """A mark stronger than the pixels can hold stops at their limits, and one over the border is cut."""
    laid = inject(np.full((9, 9), 200, np.uint8), 0, _plan(_mark(4.0, 4.0, 0.6, 0.9), _mark(0.0, 8.5, 0.4), columns=9))
    assert laid.max() == 255
    assert laid[0, 8] == 140


def test_the_same_seed_lays_the_same(rows, clean, plan) -> None:
    """The same arguments give the same plan; another seed or another stretch gives another."""
    assert plan_marks(rows, 1000, clean, TRIAL) == plan
    other = DetectionTrial(sizes_px=(2.0, 5.0, 9.0), contrasts=(0.1, 0.3), marks_per_class=3, stretches=1, seed=2)
    assert plan_marks(rows, 1000, clean, other).marks != plan.marks


def test_marks_keep_away(rows, clean, plan) -> None:
    """All classes are laid; none is closer than the guard to another, to the raster's border or to a mark there."""
    assert len(plan.marks) == 3 * 2 * 2 * 3
    assert plan.no_room == plan.left_out == 0
    half = np.array([mark.size_mm / 0.2 for mark in plan.marks])
    places = np.array([(mark.line - 1000, mark.column) for mark in plan.marks])
    assert ((places - half[:, None] >= 8) & (places + half[:, None] <= np.array(rows.shape) - 8)).all()
    apart = np.abs(places[:, None] - places[None]) - half[:, None, None] - half[None, :, None]
    assert (apart.max(axis=2)[~np.eye(len(half), dtype=bool)] >= 16).all()
    for row in clean.marks.iter_rows(named=True):
        beside = np.abs(places - [row["along_m"] * 1e4, row["across_mm"] * 10.0]) - half[:, None]
        assert (beside.max(axis=1) >= 8).all()
    assert clean.marks.height == 2


def test_room_that_runs_out_is_counted(rows, clean) -> None:
    """With more marks than places, the rest is counted as without room."""
    many = DetectionTrial(sizes_px=(2.0, 5.0), contrasts=(0.1, 0.3), marks_per_class=100, stretches=1)
    crowded = plan_marks(rows, 0, clean, many)
    assert len(crowded.marks) + crowded.no_room == 2 * 2 * 2 * 100
    high, wide = site_pixels(PITCH, many)
    assert len(crowded.marks) <= (700 // high) * (500 // wide)
    assert len({(mark.size_mm, mark.contrast) for mark in crowded.marks}) == 8


def test_stretches_share_the_marks(rows, clean) -> None:
    """Over all stretches each class has the marks asked for, and no stretch is left without a class."""
    trial = DetectionTrial(sizes_px=(2.0, 5.0), contrasts=(0.1, 0.3), marks_per_class=5, stretches=3, guard_px=8)
    plans = [plan_marks(rows, 0, clean, trial, stretch=n) for n in range(3)]
    laid = [(mark.size_mm, mark.contrast) for one in plans for mark in one.marks]
    assert {laid.count(kind) for kind in laid} == {5}
    assert all(len({(mark.size_mm, mark.contrast) for mark in one.marks}) == 8 for one in plans)


def test_contrast_by_the_local_noise(rows, clean) -> None:
    """In units of the noise at the place, the contrast is that multiple, though one side is noisier."""
    noisy = rows.astype(np.float64)
    noisy[:, 250:] += np.random.Generator(np.random.PCG64(9)).normal(0.0, 6.0, (700, 250))
    noisy = np.rint(noisy).astype(np.uint8)
    trial = DetectionTrial(
        sizes_px=(2.0, 5.0), contrasts_noise=(2.0, 4.0), unit=ContrastUnit.NOISE, stretches=1, guard_px=16
    )
    laid = plan_marks(noisy, 0, clean, trial).marks
    shares = {
        side: np.mean(
            [abs(mark.contrast) / mark.level for mark in laid if (mark.column > 280) == side and within(mark)]
        )
        for side, within in ((False, lambda m: m.column < 220), (True, lambda _: True))
    }
    assert shares[False] == pytest.approx(3.0 / 140.0, rel=0.05)
    assert shares[True] == pytest.approx(math.hypot(3.0, 6.0) / 140.0, rel=0.05)


def test_what_cant_be_shown_is_left_out(rows, clean) -> None:
    """Bright marks past the greatest value, and dark ones below black, are left out and counted."""
    trial = DetectionTrial(sizes_px=(2.0, 5.0), contrasts=(0.5, 1.0), marks_per_class=2, stretches=1, guard_px=8)
    laid = plan_marks(rows, 0, clean, trial)
    assert laid.left_out == 8
    assert {mark.contrast for mark in laid.marks} == {-0.5, 0.5}
    assert {mark.contrast for mark in plan_marks(rows, 0, clean, trial, saturation=200).marks} == {-0.5}


def test_a_scan_of_other_lines_is_refused(rows, clean) -> None:
    """A plan needs the scan of its own rows, and contrasts."""
    with pytest.raises(ArgumentError, match="must be the scan of these rows"):
        plan_marks(rows[:-1], 0, clean, TRIAL)
    with pytest.raises(ArgumentError, match="fractions of the signal"):
        plan_marks(rows, 0, clean, DetectionTrial())
    with pytest.raises(ArgumentError, match="at least 200 columns"):
        inject(rows[:, :50], 0, _plan(_mark()))


def test_edges_stay_outside() -> None:
    """The web's columns lie inside both edges and their beads, wherever the web wanders in the stretch."""
    rows = np.full((400, 600), 150, np.uint8)
    for line in range(400):
        rows[line, : 30 + line // 40] = 250
        rows[line, 560 + line // 40 :] = 250
    first, last = web_columns(rows, (0.5, 0.5), ScanSettings(edge_bead_mm=4.0))
    assert 39 + 8 <= first <= 39 + 14
    assert 560 - 14 <= last <= 560 - 8
    assert web_columns(rows, (0.5, 0.5), INNER) == (0, 600)
    assert web_columns(rows[:, 100:500], (0.5, 0.5), ScanSettings()) == (0, 400)


def _table(*marks):
    return pl.DataFrame(
        [{"along_m": a, "across_mm": c, "polarity": p} for a, c, p in marks],
        schema={"along_m": pl.Float64, "across_mm": pl.Float64, "polarity": pl.String},
    )


def test_hits_need_place_and_polarity() -> None:
    """A mark is hit within half its size and 1.5 pixels, by a mark of its polarity; what lies elsewhere is a stray."""
    laid = _plan(_mark(50.0, 50.0, 1.0), _mark(50.0, 120.0, 1.0, 0.3), _mark(150.0, 60.0, 1.0))
    dark, bright = Polarity.DARK.value, Polarity.BRIGHT.value
    found = _table((0.00564, 4.36, dark), (0.005, 12.0, dark), (0.0150, 6.66, dark))
    scored = score_marks(laid, found, found.clear())
    assert (scored.hits, scored.strays) == ((True, False, False), 2)
    both = _table((0.005, 5.0, bright), (0.005, 12.0, bright), (0.015, 6.0, dark))
    assert score_marks(laid, both, both.clear()).hits == (False, True, True)


def test_what_was_there_before_is_no_hit() -> None:
    """A mark of the clean scan at the same place and polarity is taken out before matching, and is no stray."""
    laid = _plan(_mark(50.0, 50.0, 1.0))
    found = _table((0.00505, 5.0, "dark"))
    assert score_marks(laid, found, _table((0.005, 5.0, "dark"))).hits == (False,)
    assert score_marks(laid, found, _table((0.005, 5.0, "dark"))).strays == 0
    assert score_marks(laid, found, _table((0.005, 5.0, "bright"))).hits == (True,)


def test_strong_marks_are_found_and_faint_ones_not(rows, clean, plan) -> None:
    """On the web with its own marks every mark of 5 pixels and more at 14 times the noise is found, nothing else is."""
    found = find_marks(inject(rows, 1000, plan), PITCH, INNER)
    scored = score_marks(plan, found.marks, clean.marks)
    by_class = {(one.size_mm, one.contrast, one.polarity): one for one in tally_classes([scored])}
    assert sum(one.injected for one in by_class.values()) == len(plan.marks)
    assert all(one.hits == one.injected for (s, c, _), one in by_class.items() if s > 0.4 and c > 0.2)
    assert scored.strays == 0
    unlaid = find_marks(rows, PITCH, INNER)
    assert not any(score_marks(plan, unlaid.marks, clean.marks).hits)


def test_a_place_in_the_raster_counts_from_its_start() -> None:
    """Found places are moved by the stretch's first line and the scanned web's first column."""
    laid = DetectionPlan(
        first_line=500,
        lines=100,
        first_column=40,
        columns=100,
        pitch_mm=PITCH,
        unit=ContrastUnit.SIGNAL,
        seed=1,
        marks=(_mark(550.0, 90.0, 0.5),),
    )
    assert score_marks(laid, _table((0.005, 5.0, "dark")), _table()).hits == (True,)
    with pytest.raises(ArgumentError, match="marks table"):
        score_marks(laid, _table().drop("polarity"), _table())


@pytest.mark.parametrize(
    "wrong", [{"sizes_px": (1.0,)}, {"contrasts": (0.1, 0.1)}, {"contrasts_noise": (0.0, 1.0)}, {"stretches": 0}]
)
def test_a_trial_that_teaches_nothing_is_refused(wrong) -> None:
    """One size only, a contrast twice or 0, or no stretch is refused with the field's name."""
    with pytest.raises(ArgumentError, match=f"DetectionTrial.{next(iter(wrong))}"):
        DetectionTrial(**wrong)
