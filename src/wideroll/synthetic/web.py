"""Scanner rasters of invented webs, with the truth about what was planted on them.

The noise of each pixel is a hash of seed, line and column, so that a web takes no memory and any stretch of it can be
made by itself.
"""

import math
from dataclasses import dataclass

import numpy as np
import polars as pl
from numba import njit
from numpy.typing import NDArray

from wideroll.errors import ArgumentError
from wideroll.scan import LinePlaces
from wideroll.synthetic.drawing import lay_bands, lay_marks, lay_mottle, lay_streaks, sway
from wideroll.synthetic.faults import DroppedLines, FaultyColumns, PlantedBand, PlantedMottle, PlantedSplice
from wideroll.synthetic.noise import draw_normal, lay_noise, mix
from wideroll.synthetic.planted import PlantedMark, PlantedStreak, tabulate
from wideroll.synthetic.recipe import WebRecipe, check_recipe, in_channel
from wideroll.synthetic.scene import Here, Scene, lay_out

__all__ = ["Web", "WebRecipe", "WebTruth", "make_web"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WebTruth:
    """What was planted, and what the scanner did of itself.

    ``marks`` is the table of ``planted``, row by row, see ``tabulate``.
    """

    marks: pl.DataFrame
    planted: tuple[PlantedMark, ...]
    streaks: tuple[PlantedStreak, ...]
    bands: tuple[PlantedBand, ...] = ()
    mottle: tuple[PlantedMottle, ...] = ()
    splices: tuple[PlantedSplice, ...] = ()
    dropped: tuple[DroppedLines, ...] = ()
    faulty: tuple[FaultyColumns, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Web:
    """An invented web: ask it for lines."""

    recipe: WebRecipe
    truth: WebTruth
    scene: Scene
    """The same in the form that the loops use."""

    @property
    def shape(self) -> tuple[int, int]:
        """Lines and columns."""
        recipe = self.recipe
        lines = recipe.places.line(recipe.length_m) if recipe.places else recipe.length_m * 1000.0 / recipe.pitch_mm
        return round(lines), len(self.scene.web)

    @property
    def places(self) -> LinePlaces:
        """Where each line lies along."""
        return self.recipe.places or LinePlaces.steady(self.recipe.pitch_mm)

    def channel(self, name: str) -> "Web":
        """The same web as another channel of the scanner sees it, with its own truth.

        Everything lies where it lies in the first channel; profile, level, noise and line gain are the channel's own,
        and the contrast of each mark and streak is multiplied by its ``other_channel``.

        Raises:
            ArgumentError: when the recipe has no channel of that name.
        """
        names = [channel.name for channel in self.recipe.channels]
        if name not in names:
            raise ArgumentError(
                where="name of the channel",
                rule=f"must be one of {', '.join(names) or 'no further channels'}",
                value=name,
                mend="Add a WebChannel to the recipe.",
            )
        number = names.index(name)
        return _make(in_channel(self.recipe, self.recipe.channels[number]), number + 1)

    def rows(self, start: int = 0, stop: int | None = None) -> NDArray[np.uint8]:
        """Lines ``start`` up to, not including, ``stop`` (all that follow where None), the same however they are cut.

        Threads may call it at the same time; it lets them run.

        Returns:
            Counts ``[along, across]``. The middle of line i lies (i + 0.5) × pitch from the head, or where ``places``
            tells, that of column j (j + 0.5) × pitch from where the sweep starts.

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

    The signal of a pixel is level × profile across × gain of the line × drift along × everything planted that lies on
    it, with normal noise in proportion, rounded to counts; dropped lines and faulty columns come last. All but the
    scanner's own faults lie at their distance from the datum edge of each line, so they wander with the web. Marks have
    a flat top and half their contrast at their border (see ``shapes``). A line shows the web as it is at its middle,
    however far the lines lie apart.

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
    check_recipe(recipe)
    return _make(recipe, 0)


def _make(recipe: WebRecipe, channel: int) -> Web:
    truth = WebTruth(
        marks=tabulate(recipe.marks, noise=recipe.noise, level=recipe.level),
        planted=recipe.marks,
        streaks=recipe.streaks,
        bands=recipe.bands,
        mottle=recipe.mottle,
        splices=recipe.splices,
        dropped=recipe.dropped,
        faulty=recipe.faulty,
    )
    return Web(recipe=recipe, truth=truth, scene=lay_out(recipe, channel))


@njit(cache=True, nogil=True)
def _start(line: int, scene: Scene) -> float:
    """Where a line starts along, in pixels from the head."""
    if scene.knots.size == 0:
        return float(line)
    piece = min(max(int(np.searchsorted(scene.knots, line, side="right")) - 1, 0), scene.knots.size - 2)
    rise = (scene.metres[piece + 1] - scene.metres[piece]) / (scene.knots[piece + 1] - scene.knots[piece])
    return float((scene.metres[piece] + (line - scene.knots[piece]) * rise) / scene.pitch_m)


@njit(cache=True, nogil=True)
def _find(line: int, scene: Scene) -> Here:
    begin, end = _start(line, scene), _start(line + 1, scene)
    along_m = (begin + end) / 2.0 * scene.pitch_m
    return Here(begin, end, (begin + end) / 2.0 - 0.5, along_m, scene.datum + sway(scene.wander, along_m))


@njit(cache=True, nogil=True)
def _follow_edge(first: int, out: NDArray[np.float64], scene: Scene) -> None:
    for n in range(out.size):
        out[n] = _find(first + n, scene).edge


@njit(cache=True, nogil=True)
def _scan_lines(first: int, out: NDArray[np.uint8], scene: Scene) -> None:
    signal = np.empty(out.shape[1], dtype=np.float32)
    earliest = 0
    for row in range(out.shape[0]):
        line = first + row
        here = _find(line, scene)
        wobble = draw_normal(mix(scene.seed + 1, line), scene.normal)
        gain = np.float32((1.0 + scene.line_gain * wobble) * (1.0 + sway(scene.drift, here.along_m)))
        web_gain = gain * _splice_gain(here.at, scene)
        for column in range(signal.size):
            signal[column] = scene.web[column] * web_gain
        lay_mottle(here, signal, scene)
        lay_bands(here, signal, scene)
        lay_streaks(here, signal, scene)
        while earliest < scene.marks.size and scene.marks[earliest].first + scene.longest < here.at:
            earliest += 1
        lay_marks(here, signal, scene, earliest)
        _lay_edges(here.edge, gain, signal, scene)
        lay_noise(signal, mix(scene.seed, line), scene.normal, out[row])
        _lay_faults(line, out[row], scene)


@njit(cache=True, nogil=True)
def _splice_gain(at: float, scene: Scene) -> np.float32:
    gain = 1.0
    for n in range(scene.splices.size):
        if scene.splices[n].first <= at < scene.splices[n].last:
            gain *= 1.0 + scene.splices[n].contrast
    return np.float32(gain)


@njit(cache=True, nogil=True)
def _lay_edges(edge: float, gain: np.float32, signal: NDArray[np.float32], scene: Scene) -> None:
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
def _lay_faults(line: int, out: NDArray[np.uint8], scene: Scene) -> None:
    for n in range(scene.faulty.size):
        out[scene.faulty[n].first : scene.faulty[n].last] = scene.faulty[n].counts
    for n in range(scene.dropped.size):
        if scene.dropped[n].first <= line < scene.dropped[n].last:
            out[:] = scene.dropped[n].counts
