"""Stretches of the web in which marks lie denser than a limit, beyond what chance would do."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from wideroll.release.ground import across_whole, seen_along
from wideroll.release.limits import rate_at_least, rate_at_most
from wideroll.release.model import Criterion
from wideroll.roll import Coverage, Extent

__all__ = ["Places", "Window", "dense_stretches", "densest_window"]

Floats: TypeAlias = NDArray[np.float64]

_LEAST_REACH_M: Final = 0.0005
"""Half the shortest stretch, so that a region is never empty."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Places:
    """Marks in order along: place and half their length along, in metres, each (n,)."""

    along_m: Floats
    reach_m: Floats

    def keep(self, chosen: NDArray[np.bool_]) -> "Places":
        """Some of the marks."""
        return Places(along_m=self.along_m[chosen], reach_m=self.reach_m[chosen])


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """The marks in one window, and the part of the web they speak of."""

    extent: Extent
    count: int
    area_m2: float
    rate: float
    low: float
    high: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Windows:
    """One window from each mark: row of its first mark, row after its last, area in m² and lower limit per m²."""

    first: NDArray[np.intp]
    after: NDArray[np.intp]
    area_m2: Floats
    low: Floats


def densest_window(places: Places, whole: Extent, coverage: Coverage, criterion: Criterion) -> Window | None:
    """The window whose rate is most surely high; None where there are no marks."""
    if not len(places.along_m):
        return None
    windows = _windows(places, whole, coverage, (), criterion)
    worst = int(np.argmax(windows.low))
    return _describe(windows, worst, _window_at(places, windows, worst, whole, criterion), criterion)


def dense_stretches(places: Places, whole: Extent, coverage: Coverage, criterion: Criterion) -> tuple[Window, ...]:
    """Stretches over the full width, each with the worst window in it; what is left has no such window.

    A window of ``window_m`` is too dense when the lower limit of its rate is above the limit. Windows that share marks
    make one stretch, from the first of these marks to the last. A lone mark ahead of the dense part is left out when
    the gap after it speaks for the limit's rate rather than the stretch's. The search is repeated on what is left until
    no window there is too dense.
    """
    found: list[Window] = []
    cuts: list[Extent] = []
    left = places
    while len(left.along_m):
        windows = _windows(left, whole, coverage, cuts, criterion)
        dense = np.flatnonzero(windows.low > criterion.limit)
        if not len(dense):
            break
        fresh = [_stretch(left, windows, group, whole, criterion) for group in _groups(windows, dense)]
        found += fresh
        cuts += [stretch.extent for stretch in fresh]
        outside = np.ones(len(left.along_m), dtype=np.bool_)
        for stretch in fresh:
            box = stretch.extent
            outside &= (left.along_m < box.along_from_m) | (left.along_m >= box.along_to_m)
        left = left.keep(outside)
    return _merged(found)


def _windows(
    places: Places, whole: Extent, coverage: Coverage, cuts: Sequence[Extent], criterion: Criterion
) -> _Windows:
    along = places.along_m
    length = min(criterion.window_m, whole.length_m)
    first = np.arange(len(along))
    after = np.searchsorted(along, along + length, side="left")
    after = np.maximum(after, first + 1)
    seen = seen_along(whole, coverage, cuts)
    # A window holding the same marks may lie anywhere between starting at the first and ending at the last of them;
    # where the web was only partly looked at, the better seen of both is fairer than a sliver.
    last = along[after - 1]
    area = np.maximum(seen.between(along, along + length), seen.between(last - length, last))
    area = np.where(area > 0.0, area, length * whole.width_mm / 1000.0)
    return _Windows(
        first=first, after=after, area_m2=area, low=rate_at_least(after - first, area, criterion.confidence)
    )


def _groups(windows: _Windows, dense: NDArray[np.intp]) -> list[NDArray[np.intp]]:
    """Too dense windows that share marks, together."""
    apart = windows.first[dense[1:]] >= np.maximum.accumulate(windows.after[dense])[:-1]
    return np.split(dense, np.flatnonzero(apart) + 1)


def _stretch(places: Places, windows: _Windows, group: NDArray[np.intp], whole: Extent, criterion: Criterion) -> Window:
    first, last = int(windows.first[group[0]]), int(windows.after[group].max()) - 1
    first, last = _trimmed(places.along_m, first, last, criterion.limit, whole.width_mm / 1000.0)
    reach = np.maximum(places.reach_m[first : last + 1], _LEAST_REACH_M)
    rows = places.along_m[first : last + 1]
    extent = across_whole(
        whole, float((rows - reach).min()) - criterion.guard_m, float((rows + reach).max()) + criterion.guard_m
    )
    worst = int(group[np.argmax(windows.low[group])])
    return _describe(windows, worst, extent, criterion)


def _trimmed(along: Floats, first: int, last: int, limit: float, width_m: float) -> tuple[int, int]:
    """Leave out lone marks at both ends.

    A gap t between marks is likelier at the limit's rate λ₀ than at the stretch's own λ₁ once
    t > ln(λ₁/λ₀) / ((λ₁ − λ₀) · width) (likelihood ratio of exponential gaps).
    """
    length = float(along[last] - along[first])
    if length <= 0.0 or limit <= 0.0:
        return first, last
    rate = (last - first + 1) / (length * width_m)
    if rate <= limit:
        return first, last
    gap = math.log(rate / limit) / ((rate - limit) * width_m)
    while first < last and along[first + 1] - along[first] > gap:
        first += 1
    while last > first and along[last] - along[last - 1] > gap:
        last -= 1
    return first, last


def _window_at(places: Places, windows: _Windows, row: int, whole: Extent, criterion: Criterion) -> Extent:
    """The window as drawn: from its first mark, moved back where it would leave the roll."""
    length = min(criterion.window_m, whole.length_m)
    start = min(float(places.along_m[windows.first[row]]), whole.along_to_m - length)
    return across_whole(whole, start, start + length)


def _describe(windows: _Windows, row: int, extent: Extent, criterion: Criterion) -> Window:
    count = int(windows.after[row] - windows.first[row])
    area = float(windows.area_m2[row])
    return Window(
        extent=extent,
        count=count,
        area_m2=area,
        rate=count / area,
        low=float(windows.low[row]),
        high=rate_at_most(count, area, criterion.confidence),
    )


def _merged(found: Sequence[Window]) -> tuple[Window, ...]:
    """Overlapping stretches as one, described by the worse."""
    done: list[Window] = []
    for stretch in sorted(found, key=lambda window: window.extent):
        if done and stretch.extent.along_from_m <= done[-1].extent.along_to_m:
            joined = replace(done[-1].extent, along_to_m=max(done[-1].extent.along_to_m, stretch.extent.along_to_m))
            done[-1] = replace(max(done[-1], stretch, key=lambda window: window.low), extent=joined)
        else:
            done.append(stretch)
    return tuple(done)
