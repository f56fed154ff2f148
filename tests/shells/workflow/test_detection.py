"""The trial on a user's raster: bounded reading, the same result again, and rates with what was missed."""

import math
from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
import pytest

from wideroll.errors import ArgumentError, InputError
from wideroll.roll import Polarity
from wideroll.sampling import rate_limits
from wideroll.scan import LostLines, ScanSettings
from wideroll.scan.detection import DetectionTrial
from wideroll.scan.detection_limits import detection_probability, size_detected
from wideroll.store.plain import from_plain, to_plain
from wideroll.workflow.detection import measure_detection, spread_stretches, true_rate

TRIAL = DetectionTrial(
    sizes_px=(1.0, 2.0, 4.0, 8.0), contrasts_noise=(2.0, 4.0, 8.0, 12.0), marks_per_class=4, stretches=2
)
SETTINGS = ScanSettings(block_m=0.06)
GREY8 = np.dtype(np.uint8)


@dataclass
class NoiseWeb:
    """A web of even noise between bright edges; each line is made by itself."""

    lines: int = 4000
    columns: int = 700
    noise: float = 3.0
    height: int = 256
    lost: tuple[int, int] | None = None
    pitch_mm: tuple[float, float] = (0.1, 0.1)
    source: str = "line-1"
    dtype: np.dtype = GREY8
    made: list[int] = field(default_factory=list)

    def _rows(self, start: int, stop: int) -> np.ndarray:
        self.made += range(start, stop)
        rows = np.empty((stop - start, self.columns))
        for line in range(start, stop):
            rows[line - start] = np.random.Generator(np.random.PCG64(line)).normal(150.0, self.noise, self.columns)
        rows[:, :30] = rows[:, -30:] = 240.0
        return np.rint(rows).astype(np.uint8)

    def blocks(self, first: int = 0, stop: int | None = None) -> Iterator[np.ndarray]:
        """From any line to any other."""
        line, end = first, self.lines if stop is None else stop
        while line < end:
            stop = min(line + self.height, end)
            if self.lost and line < self.lost[1] and stop > self.lost[0]:
                stop = self.lost[0] if line < self.lost[0] else self.lost[1]
                if line >= self.lost[0]:
                    yield LostLines(lines=stop - line, why="segment-2.tif is cut short")
                    line = stop
                    continue
            yield self._rows(line, stop)
            line = stop


@pytest.fixture(scope="module")
def result():
    """The trial's result."""
    return measure_detection(NoiseWeb(), SETTINGS, trial=TRIAL)


def test_a_trial_gives_its_curves(result) -> None:
    """Dark, bright and both are fitted; stronger marks are found more often, and what a90 promises is so."""
    assert [curve.polarity for curve in result.curves] == [Polarity.DARK, Polarity.BRIGHT, None]
    assert result.injected + result.no_room + result.left_out == 4 * 4 * 2 * 4
    assert (result.strays, result.why) == (0, "")
    assert result.noise == pytest.approx(0.02, rel=0.1)
    both = result.curve()
    assert both.coefficients[2] > 0.0
    assert result.curve(Polarity.DARK).injected == both.injected / 2
    strongest = max(both.contrasts)
    bound = size_detected(both, strongest).bound
    sure = [one for one in both.tested if one.contrast == strongest and one.size_mm > bound]
    assert sure
    assert sum(one.hits for one in sure) >= 0.9 * sum(one.injected for one in sure)


def test_the_same_again(result) -> None:
    """The same raster, settings and seed give the same result, and however its blocks come."""
    assert measure_detection(NoiseWeb(height=999), SETTINGS, trial=TRIAL) == result


def test_a_raster_is_read_in_its_stretches_only(result) -> None:
    """Nothing of a long raster is read but the stretches on which marks are laid."""
    web = NoiseWeb()
    assert measure_detection(web, SETTINGS, trial=TRIAL) == result
    assert sorted(web.made) == [line for first, last in result.stretches for line in range(first, last)]


def test_of_several_channels_the_first_is_tried(result) -> None:
    """A raster of two channels gives the curve of its first one."""
    web = NoiseWeb()
    blocks = web.blocks

    def two(first: int = 0, stop: int | None = None) -> Iterator[np.ndarray]:
        return (np.stack([block, 255 - block], axis=2) for block in blocks(first, stop))

    web.blocks = two
    assert measure_detection(web, SETTINGS, trial=TRIAL) == result


def test_the_result_can_be_kept(result) -> None:
    """It goes to plain values and back to the same."""
    plain = to_plain(result)
    assert to_plain(from_plain(plain, type(result))) == plain
    assert from_plain(plain, type(result)).curves == result.curves


def test_stretches_are_spread() -> None:
    """They lie evenly between head and tail, don't overlap, and a short raster has one of all its lines."""
    found = spread_stretches(100_000, 13_720, (0.1, 0.1), ScanSettings(), DetectionTrial())
    assert found == ((10_000, 15_000), (35_000, 40_000), (60_000, 65_000), (85_000, 90_000))
    assert spread_stretches(50, 100, (0.1, 0.1), ScanSettings(), DetectionTrial()) == ((0, 50),)


def test_progress_is_told(progress) -> None:
    """Whoever watches is told each stretch's lines twice, and the end."""
    result = measure_detection(NoiseWeb(), SETTINGS, trial=TRIAL, progress=progress)
    lines = sum(last - first for first, last in result.stretches)
    assert progress.told[0] == ("probability of detection", 2 * lines, "lines")
    assert sum(progress.told[1:-1]) == 2 * lines
    assert progress.told[-1] == "finish"


def test_lost_lines_cut_a_stretch(result) -> None:
    """Of a stretch that lost lines its longest unbroken part is used, in its true place."""
    (first, last), other = result.stretches
    cut = measure_detection(NoiseWeb(lost=(first + 300, first + 350)), SETTINGS, trial=TRIAL)
    assert cut.stretches == ((first + 350, last), other)
    gone = measure_detection(NoiseWeb(lost=(first, last)), SETTINGS, trial=TRIAL)
    assert gone.stretches == (other,)


def test_progress_ends_when_reading_fails(raster, progress) -> None:
    """A raster that breaks gives its error, and the bar is taken away."""
    with pytest.raises(InputError, match=r"segment-2\.tif"):
        measure_detection(raster(breaks_at=64), trial=TRIAL, progress=progress)
    assert progress.told[-1] == "finish"


def test_a_raster_without_room_says_so() -> None:
    """Where no mark has room there is no curve, and the reason is told."""
    result = measure_detection(NoiseWeb(lines=40), SETTINGS, trial=TRIAL)
    assert (result.curves, result.tested) == ((), ())
    assert "several sizes and several contrasts" in result.why
    assert math.isnan(result.polarity_p)


def test_a_web_without_noise_needs_contrasts() -> None:
    """Without noise there is nothing to go by, unless contrasts are given as fractions."""
    with pytest.raises(ArgumentError, match="no noise to go by"):
        measure_detection(NoiseWeb(noise=0.0), SETTINGS, trial=TRIAL)


def test_a_rate_counts_what_was_missed(result) -> None:
    """The rate is the found rate over the probability; its limits are wider than either alone and hold both."""
    curve = result.curve()
    size, contrast = curve.sizes_mm[1] / 2.0, sorted({one.contrast for one in curve.tested})[1]
    p = detection_probability(curve, size, contrast)
    rate = true_rate(6, 12.0, curve, size_mm=size, contrast=contrast)
    found = rate_limits(6, 12.0)
    assert rate.rate == pytest.approx(0.5 / p.value)
    assert rate.high > found.high / p.low
    assert rate.low < found.low / p.high
    assert (rate.count, rate.extent, rate.confidence) == (6, 12.0, 0.95)


def test_a_class_never_tested_has_no_upper_limit(result) -> None:
    """Of marks smaller than any tested nobody can say how many were missed."""
    rate = true_rate(0, 12.0, result.curve(), size_mm=0.01, contrast=0.1)
    assert math.isnan(rate.rate)
    assert (rate.low, rate.high) == (0.0, math.inf)
