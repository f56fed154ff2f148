"""Mottle: unevenness by octave of size."""

import numpy as np
import pytest

from wideroll.errors import ArgumentError
from wideroll.scan.mottle import OCTAVES, block_mottle, find_mottle

NOISE = 0.002


def cells(shape=(120, 160), *, seed=1, noise=NOISE, patch=0, amplitude=0.0):
    """Cells of a web in noise, with squares of ``patch`` cells a side that differ by ``amplitude``."""
    rng = np.random.Generator(np.random.PCG64(seed))
    web = 1.0 + noise * rng.standard_normal(shape)
    if patch:
        squares = rng.standard_normal((-(-shape[0] // patch), -(-shape[1] // patch)))
        web += amplitude * np.kron(squares, np.ones((patch, patch)))[: shape[0], : shape[1]]
    return web.astype(np.float32)


def oracle(web):
    """Mean square of the diagonal differences of each octave, square by square."""
    found = []
    for octave in range(OCTAVES):
        side = 2**octave
        squares = []
        for i in range(0, web.shape[0] - 2 * side + 1, 2 * side):
            for j in range(0, web.shape[1] - 2 * side + 1, 2 * side):
                a, b, c, d = (
                    float(web[i + di : i + di + side, j + dj : j + dj + side].astype(np.float64).mean())
                    for di, dj in ((0, 0), (0, side), (side, 0), (side, side))
                )
                squares.append(((a - b - c + d) / 2.0) ** 2)
        found.append((len(squares), sum(squares)))
    return found


def test_sums_are_those_of_the_plain_definition():
    """In noise without marks, differences and their squares agree with four plain means each."""
    web = cells()
    for (count, squares, _), (wanted, total) in zip(block_mottle(web, NOISE**2), oracle(web), strict=True):
        assert count == (wanted if wanted >= 4 else 0)
        if wanted >= 4:
            assert squares == pytest.approx(total, rel=0.01)


def test_noise_alone_has_no_mottle():
    """What pixel noise explains leaves nothing: all intervals start at 0 and end below a fifth of the cells' noise."""
    sums = [block_mottle(cells(seed=seed), NOISE**2) for seed in range(20)]
    for scale in find_mottle(sums, (0.8, 0.8)):
        assert scale.amplitude_low == 0.0
        assert scale.amplitude_high < 0.25 * NOISE


@pytest.mark.parametrize("patch", [2, 4, 8])
def test_unevenness_shows_at_its_own_size(patch):
    """Squares that differ by 0.3 % show that amplitude at their size, less at larger and nothing at smaller ones."""
    sums = [block_mottle(cells(seed=seed, patch=patch, amplitude=0.003), NOISE**2) for seed in range(24)]
    scales = {round(scale.size_mm / 0.8): scale for scale in find_mottle(sums, (0.8, 0.8))}
    own = scales[patch]
    assert own.amplitude == pytest.approx(0.003, rel=0.04)
    assert own.amplitude_high - own.amplitude_low < 0.001
    assert scales[patch // 2].amplitude_low == 0.0
    assert scales[2 * patch].amplitude == pytest.approx(0.0015, rel=0.25)


def test_intervals_hold_the_truth_about_as_often_as_they_say():
    """Of forty sets of blocks at least thirty-four hold the amplitude in the 95 % interval."""
    held = 0
    for trial in range(40):
        sums = [block_mottle(cells(seed=100 * trial + k, patch=4, amplitude=0.002), NOISE**2) for k in range(8)]
        scale = find_mottle(sums, (0.8, 0.8))[2]
        held += scale.amplitude_low <= 0.002 <= scale.amplitude_high
    assert held >= 34


def test_streaks_and_line_gain_are_not_mottle():
    """What whole columns or whole lines have in common falls out."""
    rng = np.random.Generator(np.random.PCG64(9))
    web = cells()
    striped = web + 0.003 * rng.standard_normal((1, 160)) + 0.003 * rng.standard_normal((120, 1))
    for one, other in zip(block_mottle(web, 0.0), block_mottle(striped.astype(np.float32), 0.0), strict=True):
        assert other[1] == pytest.approx(one[1], rel=0.02)


def test_marks_are_not_mottle():
    """Dirt in two of a thousand cells, of up to half the signal, changes no amplitude by a tenth of the noise."""
    sums = []
    for seed in range(12):
        web = cells(seed=seed)
        rng = np.random.Generator(np.random.PCG64(1000 + seed))
        for i, j in zip(rng.integers(0, 120, 38), rng.integers(0, 160, 38), strict=True):
            web[i, j] *= rng.uniform(0.5, 0.95)
        sums.append(block_mottle(web, NOISE**2))
    for scale in find_mottle(sums, (0.8, 0.8)):
        assert scale.amplitude < 0.35 * NOISE / (scale.size_mm / 0.8)


def test_a_mirrored_web_is_as_uneven():
    """Turned about either axis a block gives the same sums."""
    web = cells((128, 128), patch=4, amplitude=0.003)
    for turned in (web[::-1], web[:, ::-1], web.T):
        assert block_mottle(turned, NOISE**2) == pytest.approx(block_mottle(web, NOISE**2), rel=1e-3)


def test_twice_the_unevenness_is_twice_the_amplitude():
    """Departures twice as great give squares four times as great."""
    web = cells(patch=4, amplitude=0.003)
    double = (1.0 + 2.0 * (web - 1.0)).astype(np.float32)
    assert block_mottle(double, 0.0)[:, 1] == pytest.approx(4.0 * block_mottle(web, 0.0)[:, 1], rel=1e-3)


def test_what_was_not_looked_at_is_left_out():
    """A dead column costs few squares, a block that shows nothing gives none, and neither adds mottle."""
    web = cells(patch=4, amplitude=0.003)
    holed = web.copy()
    holed[:, 37] = np.nan
    one, other = block_mottle(web, NOISE**2), block_mottle(holed, NOISE**2)
    assert 0.95 < other[1, 0] / one[1, 0] <= 1.0
    assert other[2, 1] / other[2, 0] == pytest.approx(one[2, 1] / one[2, 0], rel=0.05)
    assert not block_mottle(np.full((40, 40), np.nan, np.float32), NOISE**2).any()
    assert not block_mottle(np.ones((0, 40), np.float32), NOISE**2).any()


def test_nothing_looked_at_has_no_scales():
    """Without blocks, or with blocks too small for a difference, the answer is empty."""
    assert find_mottle([], (0.8, 0.8)) == ()
    assert find_mottle([block_mottle(np.ones((2, 2), np.float32), 0.0)], (0.8, 0.8)) == ()


def test_a_cell_must_have_a_size():
    """A size of 0 is refused."""
    with pytest.raises(ArgumentError, match="above 0"):
        find_mottle([], (0.8, 0.0))
