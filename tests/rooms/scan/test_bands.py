"""Bands: periodic variation along."""

from dataclasses import replace

import numpy as np
import pytest

from wideroll.errors import ArgumentError
from wideroll.scan import LinePlaces, ScanSettings
from wideroll.scan.bands import find_bands, reduce_lines
from wideroll.scan.frame import make_frame
from wideroll.scan.spectra import chance, floors, low_pass, resolutions, windows

FRAME = make_frame(13_720, (0.1, 0.1), np.uint8, ScanSettings())
GROUPS = 8
BORDERS = np.linspace(0.0, 1368.0, GROUPS + 1).tolist()
GAIN = 0.004


def lay_rows(blocks, *, seed=1, wave=None, gain=GAIN, drift=0.0, mirrored=False, scale=1.0):
    """What is kept of blocks in gain noise; ``wave(along_m)`` is added to each group ``[group, line]``."""
    rng = np.random.Generator(np.random.PCG64(seed))
    lines, kept, reached = FRAME.block_lines, [], 0.0
    for block in range(blocks):
        noise = gain * rng.standard_normal(lines)
        if drift:
            walk = reached + np.cumsum(drift * rng.standard_normal(lines))
            reached, noise = walk[-1], noise + walk
        level = 1.0 + noise + 0.0004 * rng.standard_normal((GROUPS, lines))
        if wave is not None:
            level = level + wave(FRAME.along_m(1.0) * (block * lines + np.arange(lines) + 0.5))
        level = scale * (level[::-1] if mirrored else level)
        # Each block's profile takes up its own mean level.
        profile = level.mean(axis=1, keepdims=True)
        kept.append(
            reduce_lines((level / profile).astype(np.float32), block * lines, FRAME, expected=150.0 * profile[:, 0])
        )
    return kept


def everywhere(period_m, amplitude):
    """A wave over the whole width."""
    return lambda along: amplitude * np.sin(2.0 * np.pi * along / period_m)[None]


def some(period_m, amplitude, groups, span_m=(0.0, 1e9)):
    """A wave over some of the groups and a part of the length."""
    bearing = np.isin(np.arange(GROUPS), groups)[:, None]

    def shown(along):
        inside = (along >= span_m[0]) & (along < span_m[1])
        return bearing * (amplitude * inside * np.sin(2.0 * np.pi * along / period_m))

    return shown


@pytest.mark.parametrize("drift", [0.0, 1e-5, 1e-4])
def test_gain_noise_and_drift_have_no_bands(drift):
    """Neither white gain noise of 0.4 % nor a gain that drifts like a random walk shows a band."""
    assert find_bands(lay_rows(160, seed=3, drift=drift), BORDERS, FRAME) == ()


@pytest.mark.parametrize("drift", [0.0, 1e-4])
def test_noise_is_taken_for_a_line_no_more_often_than_is_said(drift):
    """Of all frequencies of noise, one in a hundred and one in ten thousand pass those probabilities, or fewer."""
    passed = np.zeros(3)
    rows = lay_rows(320, seed=5, drift=drift)
    for resolution in resolutions(rows, FRAME):
        waves = slice(resolution.first, resolution.last)
        for spectrum in windows(rows, resolution, FRAME):
            power = np.concatenate([spectrum.common[None], np.abs(spectrum.apart) ** 2])
            floor, worth = floors(power, resolution.samples)
            unlikely = chance(power[:, waves] / floor[:, waves], worth[waves])
            passed += [np.sum(unlikely < np.log(0.01)), np.sum(unlikely < np.log(0.0001)), unlikely.size]
    assert 0.5 < passed[0] / passed[2] / 0.01 < 1.1
    assert passed[1] / passed[2] / 0.0001 < 1.2


@pytest.mark.parametrize(
    ("period_m", "amplitude"), [(0.003, 0.002), (0.0123, 0.001), (0.039, 0.001), (0.041, 0.001), (0.5, 0.001)]
)
def test_chatter_over_the_whole_width_is_found_with_its_measures(period_m, amplitude):
    """A wave a quarter of the gain noise high is one band: period to 0.1 %, amplitude within 1.5 intervals."""
    bands = find_bands(lay_rows(160, seed=2, wave=everywhere(period_m, amplitude)), BORDERS, FRAME)
    assert len(bands) == 1
    band = bands[0]
    assert band.period_mm == pytest.approx(1000.0 * period_m, rel=1e-3)
    assert band.amplitude == pytest.approx(amplitude, abs=0.75 * (band.amplitude_high - band.amplitude_low))
    assert band.extent.length_m == pytest.approx(40.0, abs=0.1)
    assert (band.extent.across_from_mm, band.extent.across_to_mm) == (0.0, 1368.0)


def test_amplitudes_lie_in_their_intervals():
    """Of twenty bands at least seventeen have their amplitude in its 95 % interval."""
    held = 0
    for seed in range(20):
        rows = lay_rows(48, seed=seed, wave=everywhere(0.0177, 0.0012))
        (band,) = find_bands(rows, BORDERS, FRAME)
        held += band.amplitude_low <= 0.0012 <= band.amplitude_high
    assert held >= 17


def test_a_band_of_some_metres_in_some_lanes_is_found_there():
    """A wave an eighth of the gain noise high, in two groups of eight for 15 m, has its extent both ways."""
    wave = some(0.0123, 0.0005, (2, 3), (10.0, 25.0))
    (band,) = find_bands(lay_rows(160, seed=3, wave=wave), BORDERS, FRAME)
    assert band.extent.along_from_m == pytest.approx(10.0, abs=1.5)
    assert band.extent.along_to_m == pytest.approx(25.0, abs=1.5)
    assert (band.extent.across_from_mm, band.extent.across_to_mm) == (342.0, 684.0)
    assert band.amplitude_low <= 0.0005 <= band.amplitude_high * 1.02


def test_a_strong_band_over_most_of_the_width_leaves_out_the_rest():
    """Over six groups of eight, standing out of the gain noise, it is those six and not the other two."""
    (band,) = find_bands(lay_rows(80, seed=4, wave=some(0.02, 0.004, range(6))), BORDERS, FRAME)
    assert (band.extent.across_from_mm, band.extent.across_to_mm) == (0.0, 1026.0)
    assert band.amplitude == pytest.approx(0.004, rel=0.1)


def test_a_faint_line_gain_pattern_of_facets_is_not_taken_for_a_longer_wave():
    """What repeats every 12 lines, faster than samples can follow, doesn't come back as a wave of millimetres."""
    facets = lambda along: 0.002 * np.sin(2.0 * np.pi * along / (12 * FRAME.along_m(1.0)))[None]  # noqa: E731
    assert find_bands(lay_rows(80, seed=6, wave=facets), BORDERS, FRAME) == ()


def test_harmonics_are_part_of_their_band():
    """A wave that isn't a sine is one band at its own period."""
    arches = lambda along: 0.004 * np.abs(np.sin(np.pi * along / 0.05))[None]  # noqa: E731
    bands = find_bands(lay_rows(80, seed=7, wave=arches), BORDERS, FRAME)
    assert [band.period_mm for band in bands] == [pytest.approx(50.0, rel=1e-3)]


def test_two_bands_are_two():
    """Waves of unrelated periods in different lanes are told apart."""
    one, other = some(0.0123, 0.002, (0, 1)), some(0.0311, 0.002, (5, 6))
    bands = find_bands(lay_rows(80, seed=8, wave=lambda along: one(along) + other(along)), BORDERS, FRAME)
    assert sorted(round(band.period_mm, 1) for band in bands) == [12.3, 31.1]
    assert {band.extent.across_from_mm for band in bands} == {0.0, 855.0}


def test_a_mirrored_web_has_mirrored_bands():
    """Seen from the other edge, a band lies in the mirrored lanes and has the same measures."""
    wave = some(0.0123, 0.001, (1, 2))
    (one,) = find_bands(lay_rows(48, seed=9, wave=wave), BORDERS, FRAME)
    (other,) = find_bands(lay_rows(48, seed=9, wave=wave, mirrored=True), BORDERS, FRAME)
    assert other.extent.across_from_mm == 1368.0 - one.extent.across_to_mm
    assert other.amplitude == pytest.approx(one.amplitude, rel=1e-3)


def test_the_level_does_not_change_a_band():
    """Half the signal shows the same band."""
    (one,), (other,) = (
        find_bands(lay_rows(48, seed=9, wave=everywhere(0.02, 0.002), scale=scale), BORDERS, FRAME)
        for scale in (1.0, 0.5)
    )
    assert other.amplitude == pytest.approx(one.amplitude, rel=1e-3)
    assert other.extent == one.extent


def test_a_scan_that_starts_later_has_its_bands_later():
    """Lines counted from a place further on move a band by that much."""
    rows = lay_rows(48, seed=9, wave=everywhere(0.02, 0.002))
    later = [
        replace(row, first_line=row.first_line + 70_000, first_sample=row.first_sample + 70_000 // row.step)
        for row in rows
    ]
    (one,), (other,) = (find_bands(some_rows, BORDERS, FRAME) for some_rows in (rows, later))
    assert other.extent.along_from_m == pytest.approx(one.extent.along_from_m + 7.0)
    assert other.amplitude == pytest.approx(one.amplitude, rel=1e-6)


def test_lines_not_looked_at_make_no_band():
    """A splice every two metres, left out, is not a wave."""
    rng = np.random.Generator(np.random.PCG64(1))
    kept = []
    for block in range(80):
        level = (1.0 + GAIN * rng.standard_normal(2500) + np.zeros((GROUPS, 1))).astype(np.float32)
        used = np.ones(2500, np.bool_)
        if block % 8 == 0:
            level[:, 1000:1300], used[1000:1300] = 0.2, False
        kept.append(reduce_lines(level, block * 2500, FRAME, used=used))
    assert kept[0].weights is not None
    assert find_bands(kept, BORDERS, FRAME) == ()


def test_a_band_keeps_its_period_where_the_web_slows_down():
    """Where an encoder says that lines lie half as far apart, a wave of the web is still one band, period and all."""
    lines, slowed = FRAME.block_lines, 40 * FRAME.block_lines
    places = LinePlaces.counted([0.0, slowed, 2 * slowed], [0.0, 10.0, 15.0])
    frame = make_frame(13_720, (0.1, 0.1), np.uint8, ScanSettings(), places)
    rng = np.random.Generator(np.random.PCG64(4))
    kept = []
    for block in range(80):
        along = places.along_m(block * lines + np.arange(lines) + 0.5)
        level = 1.0 + GAIN * rng.standard_normal(lines) + 0.002 * np.sin(2.0 * np.pi * along / 0.017)
        kept.append(reduce_lines(np.tile(level, (GROUPS, 1)).astype(np.float32), block * lines, frame))
    (band,) = find_bands(kept, BORDERS, frame)
    assert band.period_mm == pytest.approx(17.0, rel=2e-3)
    assert band.amplitude == pytest.approx(0.002, rel=0.06)
    assert band.extent.length_m == pytest.approx(15.0, abs=0.1)


def test_one_group_is_enough():
    """A narrow web with a single group of columns shows its bands too."""
    rows = lay_rows(48, seed=2, wave=everywhere(0.02, 0.002))
    alone = [replace(row, levels=row.levels[:1], expected=row.expected[:1]) for row in rows]
    (band,) = find_bands(alone, BORDERS[:2], FRAME)
    assert band.period_mm == pytest.approx(20.0, rel=1e-3)


def test_a_block_keeps_few_bytes():
    """What is kept of 2,500 lines in 8 groups is below 6 kB, about a sample for each millimetre."""
    row = lay_rows(1)[0]
    assert row.levels.nbytes + row.expected.nbytes < 6000
    assert 0.6 < row.step * 0.1 < 1.1


def test_reducing_is_the_plain_weighted_sum():
    """Samples away from the ends are the weighted means of the lines about them."""
    level = np.random.Generator(np.random.PCG64(3)).normal(1.0, 0.01, (2, 2500)).astype(np.float32)
    row = reduce_lines(level, 0, FRAME)
    taps, step = low_pass(row.step), row.step
    for sample in (5, 100, 200):
        start = sample * step - (len(taps) - step) // 2
        wanted = (level[:, start : start + len(taps)].astype(np.float64) - 1.0) @ taps
        assert row.levels[:, sample - row.first_sample].astype(np.float64) == pytest.approx(wanted, abs=1e-5)


@pytest.mark.parametrize("cut", [700, 1111, 2499])
def test_nothing_shows_where_blocks_meet(cut):
    """Two blocks have together the samples of one, wherever they meet and whatever their profiles' levels."""
    level = np.random.Generator(np.random.PCG64(3)).normal(1.0, 0.01, (2, 5000)).astype(np.float32)
    one = reduce_lines(level, 0, FRAME)
    parts = [reduce_lines(part, at, FRAME) for part, at in ((level[:, :cut], 0), (level[:, cut:], cut))]
    joined = np.zeros(one.levels.shape)
    for part in parts:
        first = part.first_sample - one.first_sample
        joined[:, first : first + part.levels.shape[1]] += part.levels
    assert joined == pytest.approx(one.levels.astype(np.float64), abs=2e-5)


def test_nothing_looked_at_has_no_bands():
    """No blocks, blocks without web and a scan of a few centimetres give an empty answer."""
    assert find_bands([], BORDERS, FRAME) == ()
    assert find_bands([None, None], BORDERS, FRAME) == ()
    assert find_bands([reduce_lines(np.ones((GROUPS, 300), np.float32), 0, FRAME)], BORDERS, FRAME) == ()


def test_borders_must_fit_the_groups():
    """Too few borders are refused with the number needed."""
    with pytest.raises(ArgumentError, match="9 borders"):
        find_bands(lay_rows(2), BORDERS[:-1], FRAME)
