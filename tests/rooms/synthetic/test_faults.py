"""Unevenness, splices, wandering and fixed streaks, and the scanner's own faults, each against its rule worked out."""

import math
from dataclasses import replace

import numpy as np
import pytest

from wideroll.errors import ArgumentError
from wideroll.roll import Extent
from wideroll.synthetic import (
    DroppedLines,
    FaultyColumns,
    PlantedBand,
    PlantedMottle,
    PlantedSplice,
    PlantedStreak,
    WebRecipe,
    make_web,
)
from wideroll.synthetic.noise import draw_normal, mix

LEVEL = 100.0
STILL = WebRecipe(
    length_m=0.3,
    web_width_mm=80.0,
    field_mm=100.0,
    level=LEVEL,
    outside_level=200.0,
    profile_ripple=0.0,
    noise=0.0,
    line_gain=0.0,
    drift=0.0,
    edge_wander_mm=5.0,
    bead_mm=0.0,
    seed=3,
)
PITCH = STILL.pitch_mm
BAND = PlantedBand(
    extent=Extent(along_from_m=0.05, along_to_m=0.25, across_from_mm=20.0, across_to_mm=50.0),
    period_mm=17.0,
    amplitude=0.3,
    phase_rad=0.7,
)
WANDERER = PlantedStreak(
    across_mm=40.0,
    along_from_m=0.06,
    along_to_m=0.28,
    width_mm=1.5,
    contrast=0.5,
    wander_mm=3.0,
    wander_period_m=0.2,
)


def _drawn(**planted):
    """Signal over the level [along, across], and along and across of the pixels' middles on the web in mm."""
    web = make_web(replace(STILL, **planted))
    along = (np.arange(web.shape[0]) + 0.5)[:, None] * PITCH
    across = (np.arange(web.shape[1]) + 0.5)[None, :] * PITCH - web.datum_mm()[:, None]
    return web.rows() / LEVEL, along, across


def test_a_band_is_a_sine_in_its_rectangle_and_nowhere_else():
    """Every pixel whose middle lies in the extent is 1 + amplitude × sin, by the formula; all others are untouched."""
    drawn, along, across = _drawn(bands=(BAND,))
    inside = (along >= 50.0) & (along < 250.0) & (across >= 20.0) & (across < 50.0)
    wave = 1.0 + 0.3 * np.sin(2.0 * math.pi * (along - 50.0) / 17.0 + 0.7)
    expected = np.where(inside, wave, 1.0)
    on_web = (across > 0.3) & (across < 79.7)
    assert np.abs(drawn - expected)[on_web].max() < 0.0051
    assert inside.sum() > 60_000


def test_bands_on_one_another_multiply():
    """Where two bands lie, the signal is the product of both."""
    both = _drawn(bands=(BAND, replace(BAND, period_mm=5.0)))[0]
    one, other = _drawn(bands=(BAND,))[0], _drawn(bands=(replace(BAND, period_mm=5.0),))[0]
    assert np.abs(both - one * other)[:, 60:230].max() < 0.016


def test_a_splice_covers_the_whole_width_between_its_places():
    """All of the web on the tape's lines has another level, and the light past the edges doesn't."""
    drawn, along, across = _drawn(splices=(PlantedSplice(along_from_m=0.1, along_to_m=0.1051, contrast=-0.4),))
    taped = (along >= 100.0) & (along < 105.1)
    on_web, outside = (across > 0.3) & (across < 79.7), (across < -0.3) | (across > 80.3)
    assert set(drawn[on_web & taped]) == {0.6}
    assert set(drawn[on_web & ~taped]) == {1.0}
    assert set(drawn[outside]) == {2.0}
    assert taped.sum() == 17


def test_dropped_lines_and_faulty_columns_read_the_same_whatever_is_there():
    """Lines and columns have the counts told, over web, edges, marks and noise, and all others are untouched."""
    lines = (DroppedLines(first=100, lines=3), DroppedLines(first=999, counts=255))
    columns = (FaultyColumns(first=50), FaultyColumns(first=320, columns=5, counts=255))
    plain = replace(STILL, noise=0.02)
    image, clean = make_web(replace(plain, dropped=lines, faulty=columns)).rows(), make_web(plain).rows()
    expected = clean.copy()
    expected[:, 50] = 0
    expected[:, 320:325] = 255
    expected[100:103] = 0
    expected[999] = 255
    assert np.array_equal(image, expected)
    assert list(columns[1].across) == [320, 321, 322, 323, 324]


def test_a_streak_wanders_as_it_tells():
    """On every line the middle of the streak lies where ``across_at_mm`` says, from the wandering edge."""
    drawn, along, across = _drawn(streaks=(WANDERER,))
    on = (along[:, 0] > 60.0) & (along[:, 0] < 280.0)
    change = np.where((across > 1.0) & (across < 79.0), drawn - 1.0, 0.0)
    middle = (change * across).sum(axis=1)[on] / change.sum(axis=1)[on]
    told = [WANDERER.across_at_mm(at / 1000.0) for at in along[on, 0]]
    assert middle == pytest.approx(told, abs=0.01)
    assert np.ptp(middle) > 5.9
    assert (change.sum(axis=1)[on] * PITCH).mean() == pytest.approx(0.75, rel=0.02)


def test_a_fixed_streak_stays_in_its_columns_while_the_web_wanders():
    """The scanner's own pattern has the same columns on every line, counted from the start of the sweep."""
    fixed = replace(WANDERER, fixed=True, wander_mm=0.0, along_from_m=0.0, along_to_m=0.3)
    web = make_web(replace(STILL, streaks=(fixed,)))
    assert np.ptp(web.datum_mm()) > 0.3
    around = web.rows()[:, 120:150] / LEVEL - 1.0
    assert (around == around[0]).all()
    columns = (np.arange(120, 150) + 0.5) * PITCH
    assert (around[0] * columns).sum() / around[0].sum() == pytest.approx(40.0, abs=0.01)


def _mottled(mottle, **changed):
    plain = {"level": 120.0, "pitch_mm": 0.5, "web_width_mm": 300.0, "field_mm": 260.0, "datum_mm": -20.0}
    web = make_web(replace(STILL, **plain, length_m=1.0, edge_wander_mm=0.0, mottle=(mottle,), **changed))
    return web.rows() / 120.0 - 1.0


MOTTLE = PlantedMottle(size_mm=4.0, amplitude=0.1)


def test_mottle_has_its_amplitude_at_every_place():
    """Mean 0 and the standard deviation told, on the nodes of its lattice as between them, normally distributed."""
    drawn = np.concatenate([_mottled(MOTTLE, seed=seed) for seed in range(4)])
    # 65 × 250 nodes a web make so many independent numbers.
    nodes = 4.0 * 65.0 * 250.0
    assert drawn.mean() == pytest.approx(0.0, abs=5.0 * 0.1 / math.sqrt(nodes))
    assert drawn.std() == pytest.approx(0.1, rel=0.02)
    for phase in range(8):
        assert drawn[phase::8].std() == pytest.approx(0.1, rel=0.03)
        assert drawn[:, phase::8].std() == pytest.approx(0.1, rel=0.03)
    assert (np.abs(drawn) > 0.196).mean() == pytest.approx(0.05, abs=0.005)


def test_mottle_is_smooth_and_reaches_no_further_than_two_sizes():
    """Pixels beside one another are nearly the same, those twice the size apart have nothing to do with each other."""
    drawn = _mottled(MOTTLE)
    for picture in (drawn, drawn.T):
        assert np.corrcoef(picture[:-1].ravel(), picture[1:].ravel())[0, 1] > 0.97
        assert 0.1 < np.corrcoef(picture[:-8].ravel(), picture[8:].ravel())[0, 1] < 0.5
        assert abs(np.corrcoef(picture[:-16].ravel(), picture[16:].ravel())[0, 1]) < 0.03


@pytest.mark.parametrize("side", [1, 4, 8, 16, 40])
def test_mottle_between_squares_is_as_told(side):
    """The means of squares of any side scatter as ``between_squares`` works out."""
    found = []
    for seed in range(6):
        summed = np.pad(_mottled(MOTTLE, seed=seed).cumsum(axis=0).cumsum(axis=1), ((1, 0), (1, 0)))
        along = (summed[side:] - summed[:-side])[:: max(side // 8, 1)]
        squares = (along[:, side:] - along[:, :-side]) / side**2
        found.append((squares**2).mean())
    assert math.sqrt(np.mean(found)) == pytest.approx(MOTTLE.between_squares(side * 0.5), rel=0.05)


def test_mottle_is_that_of_the_slow_reading_of_its_rule():
    """A few hundred pixels, each from the four nodes around it with weights whose squares add up to 1."""
    web = make_web(replace(STILL, level=120.0, mottle=(MOTTLE,)))
    drawn, normal, key = web.rows() / 120.0 - 1.0, web.scene.normal, int(web.scene.mottle[0]["key"])
    datum = web.datum_mm()
    random = np.random.Generator(np.random.PCG64(2))

    def weights(share):
        smooth = share**2 * (3.0 - 2.0 * share)
        return np.array([1.0 - smooth, smooth]) / math.hypot(smooth, 1.0 - smooth)

    for line, column in zip(
        random.integers(0, 1000, 300).tolist(), random.integers(60, 240, 300).tolist(), strict=True
    ):
        along, across = (line + 0.5) * PITCH / 4.0, ((column + 0.5) * PITCH - datum[line]) / 4.0
        row, cell = math.floor(along), math.floor(across)
        nodes = [
            [draw_normal(np.uint64(mix(key, ((row + down) << 32) + cell + right)), normal) for right in (0, 1)]
            for down in (0, 1)
        ]
        expected = 0.1 * weights(along - row) @ np.array(nodes) @ weights(across - cell)
        assert drawn[line, column] == pytest.approx(expected, abs=0.0043)


def test_mottle_of_another_number_or_seed_is_another():
    """Two mottles of one recipe, and those of two seeds, have nothing to do with each other."""
    one, other_seed = _mottled(MOTTLE), _mottled(MOTTLE, seed=4)
    assert abs(np.corrcoef(one.ravel(), other_seed.ravel())[0, 1]) < 0.03
    web = make_web(replace(STILL, mottle=(MOTTLE, MOTTLE)))
    assert len(set(web.scene.mottle["key"].tolist())) == 2


def test_the_truth_tells_everything_planted():
    """What was asked for stands in the truth as it was."""
    recipe = replace(
        STILL,
        streaks=(WANDERER,),
        bands=(BAND,),
        mottle=(MOTTLE,),
        splices=(PlantedSplice(along_from_m=0.1, along_to_m=0.12),),
        dropped=(DroppedLines(first=4),),
        faulty=(FaultyColumns(first=4),),
    )
    truth = make_web(recipe).truth
    for name in ("streaks", "bands", "mottle", "splices", "dropped", "faulty"):
        assert getattr(truth, name) == getattr(recipe, name)


@pytest.mark.parametrize(
    ("name", "wrong"),
    [
        ("bands", replace(BAND, period_mm=0.0)),
        ("bands", replace(BAND, amplitude=1.0)),
        ("bands", replace(BAND, phase_rad=math.nan)),
        ("mottle", replace(MOTTLE, size_mm=-1.0)),
        ("mottle", replace(MOTTLE, amplitude=math.inf)),
        ("splices", PlantedSplice(along_from_m=0.2, along_to_m=0.1)),
        ("splices", PlantedSplice(along_from_m=0.1, along_to_m=0.2, contrast=-1.1)),
        ("dropped", DroppedLines(first=-1)),
        ("dropped", DroppedLines(first=1, lines=0)),
        ("faulty", FaultyColumns(first=1, columns=0)),
        ("faulty", FaultyColumns(first=1, counts=256)),
        ("streaks", replace(WANDERER, wander_mm=-1.0)),
        ("streaks", replace(WANDERER, wander_period_m=0.0)),
        ("streaks", replace(WANDERER, fixed=True, across_mm=100.0)),
        ("streaks", replace(WANDERER, other_channel=-3.0)),
    ],
)
def test_impossible_faults_are_refused_by_name(name, wrong):
    """The error names the part of the recipe that can't be."""
    with pytest.raises(ArgumentError, match=name):
        make_web(replace(STILL, **{name: (wrong,)}))
