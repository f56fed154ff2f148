"""Density and size of the mark in a photograph, against its surround."""

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from wideroll.errors import ArgumentError
from wideroll.examination.model import DensityChange, FilterColour, Floats
from wideroll.examination.photograph import MarkPhotograph, Photograph, linear_light
from wideroll.examination.surround import Surround, find_surround, noise_of_means

__all__ = ["measure_photograph"]

Mask = NDArray[np.bool_]

_MOST_PIXELS: Final = 2_000_000
_SIDES: Final = (3, 5, 9, 15)
_STANDS_OUT: Final = 5.0
_ABOVE_NOISE: Final = 7.0
_LEAST_ACROSS: Final = 5.0
_MOST_ENDS: Final = 0.01
_MOST_SHARE: Final = 0.4
_LEAST_SURROUND: Final = 400
_EDGE_PIXELS: Final = 0.5
"""How well an edge is placed: half a pixel."""
_CAMERA: Final = 0.05
"""Share of a density that stray light and a camera that isn't quite what it says may take or add (common practice)."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Frame:
    """A photograph as densities, thinned where it is large."""

    density: Floats
    ends: NDArray[np.bool_]
    """Where a colour is at an end of the camera's range (rows, columns, 3)."""
    step: Floats
    """Half a code value as a density, for the rounding."""
    mm_per_pixel: float


def measure_photograph(
    photograph: Photograph, *, mm_per_pixel: float, scale_uncertainty: float = 0.01
) -> MarkPhotograph:
    """Density of the mark that stands out most, less that of its surround, in red, green and blue; and its size.

    D = −log10(light). The surround is a plane fitted to what doesn't stand out, so that uneven light from one side to
    the other drops out. The mark is what lies above half of its core's departure from the plane; its density is the
    mean over that, less a fifth of its width along either edge. The uncertainty is the scatter of means over
    patches of the surround as large as the mark, the rounding of the code values, and 5 % for stray light and the
    camera.

    Args:
        photograph: of one mark on a light box, its surround on both sides at least.
        mm_per_pixel: length of film in a pixel.
        scale_uncertainty: standard uncertainty of that, as a share.

    Returns:
        Densities and size, or why they can't be told: nothing stands out, the mark reaches the edge, is smaller than 5
        pixels, or has too little surround; or mark or surround are at the end of the camera's range.

    Raises:
        ArgumentError: when the scale or its uncertainty isn't positive.

    Example:
        >>> pixels = np.random.default_rng(1).normal(180.0, 2.0, (60, 80, 3))
        >>> pixels[20:40, 30:50, 0] -= 60.0
        >>> found = measure_photograph(Photograph(pixels=pixels.astype(np.uint8)), mm_per_pixel=0.01)
        >>> round(float(found.change.density[0]), 1), round(found.width_mm, 2)
        (0.4, 0.23)
    """
    for where, value in (("mm_per_pixel", mm_per_pixel), ("scale_uncertainty", scale_uncertainty)):
        if not (value > 0.0 and math.isfinite(value)):
            raise ArgumentError(where=where, rule="greater than 0 and finite", value=value, mend="Measure a scale.")
    frame = _frame(photograph, mm_per_pixel)
    found = _find(frame.density)
    if found is None:
        return MarkPhotograph(refused="nothing stands out from its surround", taken_for=photograph.taken_for)
    surround, mark = found
    refused = _reaches_edge(mark) or _too_small(mark) or _no_surround(mark, surround) or _at_the_ends(frame, mark)
    if not refused:
        clear = surround.clear & ~_widened(mark)
        refused = _ends_of(frame, clear, "surround")
    if refused:
        return MarkPhotograph(refused=refused, taken_for=photograph.taken_for)
    return _measured(frame, surround, mark, photograph, scale_uncertainty)


def _frame(photograph: Photograph, mm_per_pixel: float) -> _Frame:
    pixels, full = photograph.pixels, photograph.full
    light = linear_light(photograph)
    ends = (pixels == 0) | (pixels == full)
    bin_ = max(1, math.ceil(math.sqrt(pixels.shape[0] * pixels.shape[1] / _MOST_PIXELS)))
    if bin_ > 1:
        light, ends = _binned(light, bin_), _binned(ends.astype(np.float64), bin_) > _MOST_ENDS
    dark = linear_light(Photograph(pixels=np.full((1, 1, 3), 1, dtype=pixels.dtype), gamma=photograph.gamma)).min() / 2
    density = -np.log10(np.maximum(light, dark))
    # d(log10 light)/d(code) is about gamma/(ln 10 · code); a uniform rounding has a standard deviation of 1/√12 codes
    code = np.maximum(light, dark) ** (1.0 / (photograph.gamma or 2.2)) * full
    step = (photograph.gamma or 2.2) / (math.log(10.0) * math.sqrt(12.0)) / code
    return _Frame(density=density, ends=ends, step=step, mm_per_pixel=mm_per_pixel * bin_)


def _binned(values: Floats, size: int) -> Floats:
    rows, columns = values.shape[0] // size * size, values.shape[1] // size * size
    blocks = values[:rows, :columns].reshape(rows // size, size, columns // size, size, -1)
    means: Floats = blocks.mean(axis=(1, 3))
    return means


def _find(density: Floats) -> tuple[Surround, Mask] | None:
    """Surround and mark, averaged over as few pixels as tell one from the other."""
    for side in _SIDES:
        if min(density.shape[:2]) < 3 * side:
            break
        surround = find_surround(density, side=side)
        mark = _find_mark(surround)
        if mark is not None:
            return surround, mark
    return None


def _find_mark(surround: Surround) -> Mask | None:
    """The region that departs most from the surround, where it does so by more than half of its core's departure.

    None where half of that isn't well above the noise.
    """
    labels, count = ndimage.label(surround.strength > _STANDS_OUT)
    if not count:
        return None
    weight = ndimage.sum_labels(surround.strength, labels, np.arange(1, count + 1))
    rough = labels == 1 + int(np.argmax(weight))
    mean = surround.residual[rough].mean(axis=0)
    weights = np.linalg.solve(surround.covariance, mean)
    signal = surround.smooth @ weights
    core = float(np.quantile(signal[rough], 0.75))
    if core < _ABOVE_NOISE * math.sqrt(float(weights @ surround.covariance @ weights)):
        return None
    parts, found = ndimage.label(signal > 0.5 * core)
    sizes = ndimage.sum_labels(rough, parts, np.arange(1, found + 1))
    filled: Mask = ndimage.binary_fill_holes(parts == 1 + int(np.argmax(sizes)))
    return filled


def _runs_through(mark: Mask) -> tuple[bool, bool]:
    """Whether it reaches from top to bottom, and from left to right."""
    return bool(mark[0].any() and mark[-1].any()), bool(mark[:, 0].any() and mark[:, -1].any())


def _reaches_edge(mark: Mask) -> str:
    down, across = _runs_through(mark)
    touched = [bool(edge.any()) for edge in (mark[0], mark[-1], mark[:, 0], mark[:, -1])]
    if (down and not any(touched[2:])) or (across and not any(touched[:2])) or not any(touched):
        return ""
    return "the mark reaches the edge of the photograph, so that there is no surround on that side"


def _across_pixels(mark: Mask) -> float:
    down, across = _runs_through(mark)
    if down or across:
        return float(mark.sum()) / float(mark.shape[0 if down else 1])
    return _axes(mark)[1]


def _axes(mark: Mask) -> tuple[float, float]:
    """Long and short axis of the ellipse with the same second moments, in pixels."""
    places = np.argwhere(mark).astype(np.float64)
    spread = np.cov(places.T) if len(places) > 1 else np.zeros((2, 2))
    short, long = np.sqrt(np.maximum(np.linalg.eigvalsh(spread), 0.0))
    return 4.0 * float(long), 4.0 * float(short)


def _too_small(mark: Mask) -> str:
    pixels = _across_pixels(mark)
    if pixels >= _LEAST_ACROSS:
        return ""
    return f"the mark is {pixels:.1f} pixels across: below {_LEAST_ACROSS:g} blur hides its density; come nearer"


def _widened(mark: Mask) -> Mask:
    reach = 2 + math.ceil(0.25 * _across_pixels(mark))
    wide: Mask = ndimage.binary_dilation(mark, iterations=reach)
    return wide


def _no_surround(mark: Mask, surround: Surround) -> str:
    clear = int((surround.clear & ~_widened(mark)).sum())
    if clear >= max(_LEAST_SURROUND, int(mark.sum())) and mark.mean() <= _MOST_SHARE:
        return ""
    return f"too little surround: {clear} pixels beside a mark of {int(mark.sum())}"


def _at_the_ends(frame: _Frame, mark: Mask) -> str:
    return _ends_of(frame, mark, "mark")


def _ends_of(frame: _Frame, where: Mask, name: str) -> str:
    shares = frame.ends[where].mean(axis=0)
    for colour, share in zip(FilterColour, shares.tolist(), strict=True):
        if share > _MOST_ENDS:
            return f"{share:.0%} of the {name} is at the end of the camera's range in {colour}: expose again"
    return ""


def _core(mark: Mask) -> Mask:
    """A fifth of its width away from its edge, where it is blurred, if that leaves a quarter of it."""
    pixels = max(1, int(0.2 * _across_pixels(mark)))
    inner: Mask = ndimage.binary_erosion(mark, iterations=pixels, border_value=1)
    return inner if inner.sum() >= mark.sum() / 4.0 else mark


def _measured(
    frame: _Frame, surround: Surround, mark: Mask, photograph: Photograph, scale_uncertainty: float
) -> MarkPhotograph:
    core = _core(mark)
    clear = surround.clear & ~_widened(mark)
    noise = noise_of_means(surround.residual, clear, int(core.sum()))
    if noise is None:
        return MarkPhotograph(
            refused="too little surround to tell its unevenness by: show more of it", taken_for=photograph.taken_for
        )
    change: Floats = surround.residual[core].mean(axis=0) - surround.residual[clear].mean(axis=0)
    rounding = np.diag((frame.step[core].mean(axis=0)) ** 2 / core.sum() + 1e-8)
    covariance = noise + rounding + _CAMERA**2 * np.outer(change, change)
    down, across = _runs_through(mark)
    through = down or across
    long, short = (math.nan, _across_pixels(mark)) if through else _axes(mark)
    size = short if through else long
    return MarkPhotograph(
        change=DensityChange(density=change, covariance=covariance),
        length_mm=long * frame.mm_per_pixel,
        width_mm=short * frame.mm_per_pixel,
        size_standard_uncertainty_mm=frame.mm_per_pixel * math.hypot(_EDGE_PIXELS, scale_uncertainty * size),
        mark_pixels=int(mark.sum()),
        surround_pixels=int(clear.sum()),
        taken_for=photograph.taken_for,
    )
