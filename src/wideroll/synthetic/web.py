"""Scanner rasters of invented webs, with the truth about what was planted on them.

The noise of each pixel is a hash of seed, line and column, so that a web takes no memory and any stretch of it can be
made by itself.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np
import polars as pl
from numba import njit
from numpy.typing import NDArray
from scipy.special import ndtri

from wideroll.errors import ArgumentError
from wideroll.synthetic.planted import PlantedMark, PlantedStreak, tabulate

__all__ = ["Web", "WebRecipe", "WebTruth", "make_web"]

_SOFT_PIXELS: Final = 0.75
"""Half the width, in pixels, over which the border of a mark or streak fades: a pixel's own width and a little blur."""
_TABLE_BITS: Final = 16
_PROFILE_WAVES: Final = 5
_WANDER_PERIODS_M: Final = (3.0, 7.0, 17.0, 41.0)
_DRIFT_PERIODS_M: Final = (9.0, 29.0, 83.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class WebRecipe:
    """A web to make. Shares are of the signal; levels are counts of the 8-bit scanner (0 to 255)."""

    length_m: float
    web_width_mm: float = 1380.0
    field_mm: float = 1400.0
    """Width that the scanner sweeps."""
    datum_mm: float = 10.0
    """Mean distance of the web's datum edge from the start of the first pixel."""
    pitch_mm: float = 0.3
    """Size of a pixel, along and across."""
    level: float = 150.0
    """Mean signal through the web."""
    outside_level: float = 250.0
    """Mean signal past the web's edges."""
    profile_ripple: float = 0.06
    """Greatest departure of the scanner's fixed, smooth profile across."""
    noise: float = 0.02
    """Standard deviation of a pixel."""
    line_gain: float = 0.006
    """Standard deviation of a line's gain."""
    drift: float = 0.02
    """Greatest slow departure along."""
    edge_wander_mm: float = 0.8
    """Greatest departure of the web sideways; both edges move together."""
    bead_mm: float = 3.0
    """Width of the thick rim of the coating beside each edge."""
    bead_contrast: float = -0.05
    """Signed contrast of the rim at the edge itself; it fades inwards."""
    seed: int = 0
    marks: tuple[PlantedMark, ...] = ()
    streaks: tuple[PlantedStreak, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WebTruth:
    """What was planted.

    ``marks`` is the table of ``planted``, row by row, see ``tabulate``.
    """

    marks: pl.DataFrame
    planted: tuple[PlantedMark, ...]
    streaks: tuple[PlantedStreak, ...]


class _Scene(NamedTuple):
    """A web in the numbers that the loops need; lengths across in pixels, along in metres."""

    pitch_m: float
    seed: int
    line_gain: float
    datum: float
    width: float
    bead: float
    bead_contrast: float
    web: NDArray[np.float32]
    outside: NDArray[np.float32]
    normal: NDArray[np.float32]
    """Standard normal quantiles over √2: the sum of two picked at random is standard normal."""
    noise: float
    wander: NDArray[np.float64]
    drift: NDArray[np.float64]
    marks: NDArray[np.float64]
    """Rows of first line, last line, middle along (in lines), across, half length, half width, contrast."""
    longest: float
    streaks: NDArray[np.float64]
    """Rows of first line, line after the last, across, half width, contrast."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Web:
    """An invented web: ask it for lines."""

    recipe: WebRecipe
    truth: WebTruth
    scene: _Scene
    """The same in the form that the loops use."""

    @property
    def shape(self) -> tuple[int, int]:
        """Lines and columns."""
        return _pixels(self.recipe.length_m * 1000.0, self.recipe), len(self.scene.web)

    def rows(self, start: int = 0, stop: int | None = None) -> NDArray[np.uint8]:
        """Lines ``start`` up to, not including, ``stop`` (all that follow where None), the same however they are cut.

        Threads may call it at the same time; it lets them run.

        Returns:
            Counts ``[along, across]``. The middle of line i lies (i + 0.5) × pitch from the head, that of column j
            (j + 0.5) × pitch from where the sweep starts.

        Raises:
            ArgumentError: when the lines aren't lines of the web in order.
        """
        first, last = self._lines(start, stop)
        out = np.empty((last - first, self.shape[1]), dtype=np.uint8)
        _scan_lines(first, out, self.scene)
        return out

    def datum_mm(self, start: int = 0, stop: int | None = None) -> NDArray[np.float64]:
        """Distance in mm of the datum edge from the start of the first pixel, for each line as in ``rows``.

        Raises:
            ArgumentError: when the lines aren't lines of the web in order.
        """
        first, last = self._lines(start, stop)
        out = np.empty(last - first)
        _follow_edge(first, out, self.scene)
        return out * self.recipe.pitch_mm

    def _lines(self, start: int, stop: int | None) -> tuple[int, int]:
        last = self.shape[0] if stop is None else stop
        if not 0 <= start <= last <= self.shape[0]:
            raise ArgumentError(
                where="lines of the web",
                rule=f"must satisfy 0 ≤ start ≤ stop ≤ {self.shape[0]}",
                value=(start, stop),
                mend="Ask for lines that the web has.",
            )
        return start, last


def make_web(recipe: WebRecipe) -> Web:
    """A web with its truth; lines are made when they are asked for.

    The signal of a pixel is level × profile across × gain of the line × drift along × every mark, streak and rim that
    lies on it, with normal noise in proportion, rounded to counts. Marks and streaks lie at their distance from the
    datum edge of each line, so they wander with the web. A mark is an ellipse with a flat top, half its contrast at its
    border.

    Raises:
        ArgumentError: when a size isn't positive, a share is negative or a mark or streak doesn't lie on the web.

    Example:
        >>> spot = PlantedMark(along_m=0.15, across_mm=30.0, length_mm=3.0, width_mm=3.0, contrast=-0.5)
        >>> web = make_web(WebRecipe(length_m=0.3, web_width_mm=60.0, field_mm=80.0, marks=(spot,)))
        >>> web.shape
        (1000, 267)
        >>> image = web.rows(400, 600)
        >>> bool(image[100, 130:136].mean() < 0.6 * image[:, 150].mean())
        True
        >>> web.truth.marks.select("along_m", "across_mm", "polarity").row(0)
        (0.15, 30.0, 'dark')
    """
    _check(recipe)
    truth = WebTruth(marks=tabulate(recipe.marks, noise=recipe.noise), planted=recipe.marks, streaks=recipe.streaks)
    return Web(recipe=recipe, truth=truth, scene=_lay_out(recipe))


def _pixels(length_mm: float, recipe: WebRecipe) -> int:
    return round(length_mm / recipe.pitch_mm)


def _lay_out(recipe: WebRecipe) -> _Scene:
    random = np.random.Generator(np.random.PCG64(recipe.seed))
    pitch = recipe.pitch_mm
    columns = _pixels(recipe.field_mm, recipe)
    cycles = _waves(random, recipe.profile_ripple, [1.0 / (wave + 1.0) for wave in range(_PROFILE_WAVES)])
    share = (np.arange(columns) + 0.5) / columns
    profile = 1.0 + (cycles[:, :1] * np.sin(math.pi * share / cycles[:, 1:2] + cycles[:, 2:])).sum(axis=0)
    marks = _mark_rows(recipe)
    return _Scene(
        pitch_m=pitch / 1000.0,
        seed=int(random.integers(2**62)),
        line_gain=recipe.line_gain,
        datum=recipe.datum_mm / pitch,
        width=recipe.web_width_mm / pitch,
        bead=recipe.bead_mm / pitch,
        bead_contrast=recipe.bead_contrast,
        web=(recipe.level * profile).astype(np.float32),
        outside=(recipe.outside_level * profile).astype(np.float32),
        normal=_normal_table(),
        noise=recipe.noise,
        wander=_waves(random, recipe.edge_wander_mm / pitch, _WANDER_PERIODS_M),
        drift=_waves(random, recipe.drift, _DRIFT_PERIODS_M),
        marks=marks,
        longest=float((marks[:, 1] - marks[:, 0]).max(initial=0.0)),
        streaks=_streak_rows(recipe),
    )


def _waves(random: np.random.Generator, greatest: float, periods: Sequence[float]) -> NDArray[np.float64]:
    """Rows of amplitude, period and phase whose sum never departs from 0 by more than ``greatest``."""
    number = len(periods)
    share = random.uniform(0.3, 1.0, number)
    phase = random.uniform(0.0, 2.0 * math.pi, number)
    return np.column_stack([greatest * share / share.sum(), np.asarray(periods), phase])


def _normal_table() -> NDArray[np.float32]:
    number = 1 << _TABLE_BITS
    quantiles: NDArray[np.float64] = ndtri((np.arange(number) + 0.5) / number)
    table: NDArray[np.float32] = (quantiles / (quantiles.std() * math.sqrt(2.0))).astype(np.float32)
    return table


def _mark_rows(recipe: WebRecipe) -> NDArray[np.float64]:
    pitch = recipe.pitch_mm
    rows = []
    for mark in recipe.marks:
        middle, half = mark.along_m * 1000.0 / pitch - 0.5, mark.length_mm / pitch / 2.0
        reach = half + _SOFT_PIXELS
        first, last = math.ceil(middle - reach), math.floor(middle + reach)
        rows.append([first, last, middle, mark.across_mm / pitch, half, mark.width_mm / pitch / 2.0, mark.contrast])
    table = np.array(rows, dtype=np.float64).reshape(-1, 7)
    return table[np.argsort(table[:, 0], kind="stable")]


def _streak_rows(recipe: WebRecipe) -> NDArray[np.float64]:
    pitch = recipe.pitch_mm
    rows = [
        [
            math.ceil(streak.along_from_m * 1000.0 / pitch - 0.5),
            math.ceil(streak.along_to_m * 1000.0 / pitch - 0.5),
            streak.across_mm / pitch,
            streak.width_mm / pitch / 2.0,
            streak.contrast,
        ]
        for streak in recipe.streaks
    ]
    return np.array(rows, dtype=np.float64).reshape(-1, 5)


@njit(cache=True, nogil=True)
def _mix(seed: int, counter: int) -> np.uint64:
    """64 random bits of a counter (the finaliser of SplitMix64, [steele2014])."""
    x = np.uint64(seed) + np.uint64(counter) * np.uint64(0x9E3779B97F4A7C15)
    x = (x ^ (x >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    x = (x ^ (x >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    return x ^ (x >> np.uint64(31))


@njit(cache=True, nogil=True)
def _sway(waves: NDArray[np.float64], along_m: float) -> float:
    total = 0.0
    for wave in range(waves.shape[0]):
        total += waves[wave, 0] * math.sin(2.0 * math.pi * along_m / waves[wave, 1] + waves[wave, 2])
    return total


@njit(cache=True, nogil=True)
def _follow_edge(first: int, out: NDArray[np.float64], scene: _Scene) -> None:
    for line in range(out.size):
        out[line] = scene.datum + _sway(scene.wander, (first + line + 0.5) * scene.pitch_m)


@njit(cache=True, nogil=True)
def _scan_lines(first: int, out: NDArray[np.uint8], scene: _Scene) -> None:
    signal = np.empty(out.shape[1], dtype=np.float32)
    noise = (scene.normal * scene.noise).astype(np.float32)
    earliest = 0
    for row in range(out.shape[0]):
        line = first + row
        key = _mix(scene.seed, line)
        gain_key = _mix(scene.seed + 1, line)
        along_m = (line + 0.5) * scene.pitch_m
        wobble = scene.normal[gain_key & np.uint64(0xFFFF)] + scene.normal[gain_key >> np.uint64(48)]
        gain = np.float32((1.0 + scene.line_gain * wobble) * (1.0 + _sway(scene.drift, along_m)))
        edge = scene.datum + _sway(scene.wander, along_m)
        for column in range(signal.size):
            signal[column] = scene.web[column] * gain
        _lay_streaks(line, edge, signal, scene)
        while earliest < len(scene.marks) and scene.marks[earliest, 0] + scene.longest < line:
            earliest += 1
        _lay_marks(line, edge, signal, scene, earliest)
        _lay_edges(edge, gain, signal, scene)
        _add_noise(signal, key, noise, out[row])


@njit(cache=True, nogil=True)
def _inside(distance: float) -> float:
    """Share of its contrast that a shape has at a place ``distance`` pixels outside its border (inside: negative)."""
    t = min(max(0.5 - 0.5 * distance / _SOFT_PIXELS, 0.0), 1.0)
    return t * t * (3.0 - 2.0 * t)


@njit(cache=True, nogil=True)
def _lay_streaks(line: int, edge: float, signal: NDArray[np.float32], scene: _Scene) -> None:
    for n in range(scene.streaks.shape[0]):
        if not scene.streaks[n, 0] <= line < scene.streaks[n, 1]:
            continue
        middle, half = edge + scene.streaks[n, 2] - 0.5, scene.streaks[n, 3]
        reach = half + _SOFT_PIXELS
        for column in range(max(0, math.ceil(middle - reach)), min(signal.size, math.floor(middle + reach) + 1)):
            signal[column] *= np.float32(1.0 + scene.streaks[n, 4] * _inside(abs(column - middle) - half))


@njit(cache=True, nogil=True)
def _lay_marks(line: int, edge: float, signal: NDArray[np.float32], scene: _Scene, earliest: int) -> None:
    for n in range(earliest, scene.marks.shape[0]):
        if scene.marks[n, 0] > line:
            break
        if scene.marks[n, 1] < line:
            continue
        away, middle = line - scene.marks[n, 2], edge + scene.marks[n, 3] - 0.5
        long, wide = scene.marks[n, 4], scene.marks[n, 5]
        reach = wide + _SOFT_PIXELS
        for column in range(max(0, math.ceil(middle - reach)), min(signal.size, math.floor(middle + reach) + 1)):
            aside = column - middle
            radius = math.hypot(away / long, aside / wide)
            slope = math.hypot(away / (long * long), aside / (wide * wide))
            # Distance from an ellipse to first order; exact for a circle, and at the centre the lesser half size.
            distance = radius * (radius - 1.0) / slope if slope > 0.0 else -min(long, wide)
            signal[column] *= np.float32(1.0 + scene.marks[n, 6] * _inside(distance))


@njit(cache=True, nogil=True)
def _lay_edges(edge: float, gain: np.float32, signal: NDArray[np.float32], scene: _Scene) -> None:
    far = edge + scene.width
    rim = scene.bead + 1.0
    near_end = min(signal.size, max(0, math.ceil(edge + rim)))
    far_start = min(signal.size, max(near_end, math.floor(far - rim)))
    for column in range(signal.size - far_start + near_end):
        j = column if column < near_end else column - near_end + far_start
        web = max(0.0, min(j + 1.0, far) - max(float(j), edge))
        depth = max(0.0, min(j + 0.5 - edge, far - j - 0.5))
        t = 1.0 - depth / scene.bead if depth < scene.bead else 0.0
        rise = 1.0 + scene.bead_contrast * t * t * (3.0 - 2.0 * t)
        signal[j] = np.float32(web * rise) * signal[j] + np.float32(1.0 - web) * scene.outside[j] * gain


@njit(cache=True, nogil=True)
def _add_noise(signal: NDArray[np.float32], key: np.uint64, noise: NDArray[np.float32], out: NDArray[np.uint8]) -> None:
    """A 32-bit hash per pixel picks two entries of the table; constants of the mixer by [wellons2018].

    Every product is cut to 32 bits at once, so that the loop runs in vectors.
    """
    first, second = np.uint32(key & np.uint64(0xFFFFFFFF)), np.uint32(key >> np.uint64(32))
    for column in range(signal.size):
        x = np.uint32(np.uint32(np.uint32(column) * np.uint32(0x9E3779B1)) + first)
        x = np.uint32(np.uint32(x ^ (x >> np.uint32(16))) * np.uint32(0x7FEB352D))
        x = np.uint32(x ^ (x >> np.uint32(15)))
        x = np.uint32(np.uint32(x + second) * np.uint32(0x846CA68B))
        x = np.uint32(x ^ (x >> np.uint32(16)))
        value = signal[column] * (np.float32(1.0) + noise[x & np.uint32(0xFFFF)] + noise[x >> np.uint32(16)])
        out[column] = np.uint8(np.int32(min(max(value + np.float32(0.5), np.float32(0.0)), np.float32(255.0))))


def _check(recipe: WebRecipe) -> None:
    for name in ("length_m", "web_width_mm", "field_mm", "pitch_mm"):
        value = getattr(recipe, name)
        _require(name, value, holds=0.0 < value < math.inf, rule="must be finite and greater than 0")
    shares = ("profile_ripple", "noise", "line_gain", "drift")
    for name in ("level", "outside_level", *shares, "edge_wander_mm", "bead_mm", "seed"):
        value = getattr(recipe, name)
        _require(name, value, holds=0.0 <= value < math.inf, rule="must be finite and not negative")
    for name in ("datum_mm", "bead_contrast"):
        value = getattr(recipe, name)
        _require(name, value, holds=math.isfinite(value), rule="must be finite")
    for mark in recipe.marks:
        on_web = 0.0 <= mark.along_m < recipe.length_m and 0.0 <= mark.across_mm < recipe.web_width_mm
        _require("marks", mark, holds=on_web, rule="the centre of a mark must lie on the web")
        _require_shape("marks", mark, mark.length_mm, mark.width_mm)
    for streak in recipe.streaks:
        on_web = 0.0 <= streak.across_mm < recipe.web_width_mm and streak.along_from_m <= streak.along_to_m
        _require("streaks", streak, holds=on_web, rule="a streak must lie on the web and end after it starts")
        _require_shape("streaks", streak, streak.width_mm)


def _require_shape(where: str, planted: PlantedMark | PlantedStreak, *sizes_mm: float) -> None:
    holds = all(0.0 < size < math.inf for size in sizes_mm) and -1.0 <= planted.contrast < math.inf
    _require(where, planted, holds=holds, rule="sizes must be greater than 0, the contrast not below -1, all finite")


def _require(where: str, value: object, *, holds: bool, rule: str) -> None:
    if not holds:
        raise ArgumentError(where=where, rule=rule, value=value, mend="Correct the recipe.")
