"""How fast and how well marks are found, against a chain of general image operations on the same raster.

The baseline finds the same marks with numpy and scipy: profile and line gain by medians, noise by column, two
thresholds, labels, measures. It needs the whole raster at once and finds no edges, streaks or overview. A bare sum over
the columns in one pass is the floor that nothing can beat. All run in memory on one core; times are of the processor,
the best of some runs.

python bench/scan.py [--quick] [--json FILE]
"""

import argparse
import json
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy import ndimage
from scipy.spatial import cKDTree
from scipy.stats import norm

from wideroll.scan import ScanSettings, find_marks

PITCH = (0.3, 0.3)
COLUMNS = 4640
LEVEL, SIGMA, GAIN = 150.0, 3.0, 0.005
WHOLE = ScanSettings(find_edges=False)
RATE_FLOOR = 100.0
RATIO_FLOOR = 2.0
RECALL_FLOOR = 0.98
PRECISION_FLOOR = 0.99
FALSE_FLOOR = 0.8
FALSE_CEILING = 1.25
TRIED_SNR = 4.5
Places = NDArray[np.float64]


def main() -> int:
    """Print the figures; 1 when one is below its floor."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--quick", action="store_true", help="a smaller raster, fewer runs")
    parser.add_argument("--json", type=Path, help="write the figures here")
    chosen = parser.parse_args()
    figures = measure(lines=3000 if chosen.quick else 12000, runs=3 if chosen.quick else 5)
    for figure in figures:
        bounds = f"   floor {figure['floor']:g}" if "floor" in figure else ""
        bounds += f", ceiling {figure['ceiling']:g}" if "ceiling" in figure else ""
        print(f"{figure['figure']:<58} {figure['value']:>10.4g} {figure['unit']:<6} {figure['baseline']}{bounds}")
    if chosen.json:
        chosen.json.write_text(json.dumps(figures, indent=1), encoding="utf-8")
    kept = [f.get("floor", -np.inf) <= f["value"] <= f.get("ceiling", np.inf) for f in figures]
    return 0 if all(kept) else 1


def measure(*, lines: int, runs: int) -> list[dict[str, Any]]:
    """All figures, the ones with floors last."""
    image, truth = make_raster(lines, marks=lines * COLUMNS // 186_000, seed=1)
    find_marks(image[:900], PITCH, WHOLE)
    ours, ours_s = timed(lambda: places_found(image), runs)
    theirs, theirs_s = timed(lambda: general_chain(image), runs)
    sums = np.zeros(COLUMNS, np.uint32)
    bare_sum(image, sums)
    _, bare_s = timed(lambda: bare_sum(image, sums), runs)
    recall, precision = score(ours, truth)
    their_recall, their_precision = score(theirs, truth)
    false = false_marks(lines, seed=2)
    size = image.size / 1e6
    chain, floor = "numpy and scipy chain", "bare column sum"
    return [
        figure("general chain", size / theirs_s, "Mpx/s", chain),
        figure("recall of the general chain", their_recall, "", chain),
        figure("precision of the general chain", their_precision, "", chain),
        figure("share of the speed of a bare column sum", bare_s / ours_s, "", floor),
        figure("find_marks, with streaks and overview", size / ours_s, "Mpx/s", "", floor=RATE_FLOOR),
        figure("speed over the general chain", theirs_s / ours_s, "times", chain, floor=RATIO_FLOOR),
        figure("recall, 3 to 8 pixels wide, 8 to 16 times the noise", recall, "", "truth", floor=RECALL_FLOOR),
        figure("precision", precision, "", "truth", floor=PRECISION_FLOOR),
        figure(
            f"false marks of a pixel at {TRIED_SNR:g} σ over those of normal noise",
            false,
            "times",
            "normal noise",
            floor=FALSE_FLOOR,
            ceiling=FALSE_CEILING,
        ),
    ]


def figure(name: str, value: float, unit: str, baseline: str, **bounds: float) -> dict[str, Any]:
    """One figure as it is written."""
    return {"figure": name, "value": float(value), "unit": unit, "baseline": baseline, **bounds}


def timed(act: Callable[[], Any], runs: int) -> tuple[Any, float]:
    """What it gave, and its least processor time in seconds."""
    best, answer = np.inf, None
    for _ in range(runs):
        start = time.process_time()
        answer = act()
        best = min(best, time.process_time() - start)
    return answer, best


def make_raster(lines: int, *, marks: int, seed: int) -> tuple[NDArray[np.uint8], Places]:
    """A web that fills the raster, and the centres of its marks in pixels ``[mark, (along, across)]``."""
    rng = np.random.Generator(np.random.PCG64(seed))
    profile = (LEVEL * (1.0 - 0.1 * np.linspace(-1.0, 1.0, COLUMNS) ** 2)).astype(np.float32)
    web = np.repeat(profile[None], lines, axis=0)
    rooms = rng.choice((lines // 40) * (COLUMNS // 40), marks, replace=False)
    truth = []
    for room in rooms.tolist():
        i, j = room // (COLUMNS // 40) * 40 + 8, room % (COLUMNS // 40) * 40 + 8
        high, wide = rng.integers(3, 9, 2).tolist()
        web[i : i + high, j : j + wide] *= 1.0 + rng.choice([-1.0, 1.0]) * rng.uniform(8.0, 16.0) * SIGMA / LEVEL
        truth.append((i + high / 2.0, j + wide / 2.0))
    web *= 1.0 + GAIN * rng.standard_normal((lines, 1), np.float32)
    for start in range(0, lines, 1000):
        part = web[start : start + 1000]
        part += SIGMA * rng.standard_normal(part.shape, np.float32)
    return np.clip(np.rint(web), 0, 255).astype(np.uint8), np.array(truth).reshape(-1, 2)


def places_found(image: NDArray[np.uint8]) -> Places:
    """Our marks in pixels."""
    marks = find_marks(image, PITCH, WHOLE).marks
    return np.column_stack([marks["along_m"].to_numpy() * 1000.0 / PITCH[0], marks["across_mm"].to_numpy() / PITCH[1]])


def general_chain(image: NDArray[np.uint8]) -> Places:
    """The same finding with general operations, as well as a reasonable hand would chain them."""
    profile = np.median(image[::16], axis=0).astype(np.float32)
    gain = np.median(image[:, ::16] / profile[::16], axis=1).astype(np.float32)
    away = image / gain[:, None] - profile
    sample = np.abs(away[::16])
    away /= ndimage.median_filter(1.4826 * np.median(sample, axis=0), 33)
    return np.concatenate([labelled(-away), labelled(away)])


def labelled(signed: NDArray[np.float32]) -> Places:
    """Centres of groups beyond 3 that reach 6 and have 2 pixels; measured on their pixels only, which is quickest."""
    labels, _ = ndimage.label(signed > 3.0, np.ones((3, 3)))
    seeds = np.unique(labels[signed > 6.0])
    where = np.flatnonzero(labels)
    where = where[np.isin(labels.ravel()[where], seeds)]
    group = np.searchsorted(seeds, labels.ravel()[where])
    line, column = np.divmod(where, signed.shape[1])
    area = np.bincount(group, minlength=len(seeds))
    # The same measures as ours, though only the centres are compared: peak and box.
    np.maximum.at(np.zeros(len(seeds), np.float32), group, signed.ravel()[where])
    for place in (line, column):
        np.minimum.at(np.full(len(seeds), signed.size), group, place)
        np.maximum.at(np.zeros(len(seeds), np.int64), group, place)
    centres = np.column_stack([np.bincount(group, place, len(seeds)) for place in (line + 0.5, column + 0.5)])
    return np.asarray((centres / area[:, None])[area >= 2])


@njit(nogil=True)
def bare_sum(image: NDArray[np.uint8], sums: NDArray[np.uint32]) -> None:
    """Read every pixel once."""
    for i in range(image.shape[0]):
        for j in range(image.shape[1]):
            sums[j] += image[i, j]


def score(found: Places, truth: Places) -> tuple[float, float]:
    """Recall and precision; a mark counts when a centre lies within a pixel and a half."""
    if not len(found):
        return 0.0, 0.0
    hit = cKDTree(found).query(truth)[0] < 1.5
    true = cKDTree(truth).query(found)[0] < 1.5
    return float(hit.mean()), float(true.mean())


def false_marks(lines: int, *, seed: int) -> float:
    """Count on a clean web at a threshold low enough to count, over what normal noise gives."""
    image, _ = make_raster(lines, marks=0, seed=seed)
    use = ScanSettings(find_edges=False, seed_snr=TRIED_SNR, least_pixels=1)
    count = find_marks(image, PITCH, use).marks.height
    assert find_marks(image, PITCH, WHOLE).marks.is_empty(), "a clean web shows marks at the default settings"
    return count / (2.0 * float(norm.sf(TRIED_SNR)) * image.size)


if __name__ == "__main__":
    sys.exit(main())
