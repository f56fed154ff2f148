"""How fast and how well marks are found, against pipelines of general image operations on the same raster.

Each pipeline finds marks as well and as fast as its library lets it: background from part of the pixels, thresholds on
pixels and on sums over 3×3 and 7×7, components with hysteresis, and their measures. It has the raster in memory and
looks for no edges, streaks or overview. *Straight* ones work in floats all over, as the libraries' examples would have
it; the others are tuned to 8 bits and to this very task, *halved* ones look for faint marks in a picture of half the
size. A bare sum over the columns in one pass is the floor that nothing can beat. Times are of the processor, on one
core, the best of some runs, compiling left out.

python bench/scan.py [--quick] [--json FILE] [--plot FILE] [--markdown]
"""

import argparse
import json
import os
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import tifffile
from scipy.stats import norm

from scanning.apart import do_task, pair_ratio, run_task
from scanning.page import Row, draw, table
from scanning.pipelines import OURS, PIPELINES, PITCH, WHOLE, Pipeline, bare_sum, find_all
from scanning.score import Score, score_sets
from scanning.webs import BLOCK, COLUMNS, SETS, Web, make_web
from wideroll.readers import open_segments
from wideroll.scan import LostLines, MarkFinder, ScanSettings, find_marks

EDGES = ScanSettings()
RATE_FLOOR, TIFF_FLOOR = 1500.0, 1000.0
RATIO_FLOOR, REACH = 10.0, 0.95
RECALL_FLOOR, PRECISION_FLOOR, OFF_CEILING = 0.98, 0.99, 0.5
PAIR_FLOOR = 1.8
MEMORY_CEILING = 700.0
FALSE_CEILING = 1.0
END_CEILING_M = 0.5
TRIED_SNR, LAW_FLOOR, LAW_CEILING = 4.5, 0.8, 1.25
TRUTH, NORMAL = "truth", "normal noise"
Figures = Iterator[dict[str, Any]]


def main() -> int:
    """Print the figures; 1 when one is below its floor."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument(
        "--quick", action="store_true", help="a smaller raster, fewer runs; straight ones on a slip of it"
    )
    parser.add_argument("--json", type=Path, help="write the figures here")
    parser.add_argument("--plot", type=Path, help="draw speed and recall here")
    parser.add_argument("--markdown", action="store_true", help="print the comparison as a table for a page")
    parser.add_argument("--apart", help=argparse.SUPPRESS)
    chosen = parser.parse_args()
    cv2.setNumThreads(1)
    if chosen.apart:
        return do_task(chosen.apart)
    cores = sorted(os.sched_getaffinity(0))
    # What is started from here stays on the same core; processor time counts every thread, so none helps unseen.
    os.environ.update(dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "POLARS_MAX_THREADS"), "1"))
    os.sched_setaffinity(0, {cores[-1]})
    rows, floor, figures = measure(cores, quick=chosen.quick)
    for one in figures:
        bounds = f"   floor {one['floor']:g}" if "floor" in one else ""
        bounds += f"   ceiling {one['ceiling']:g}" if "ceiling" in one else ""
        print(f"{one['figure']:<72} {one['value']:>10.4g} {one['unit']:<7} {one['baseline']}{bounds}")
    if chosen.json:
        chosen.json.write_text(json.dumps(figures, indent=1), encoding="utf-8")
    if chosen.plot:
        draw(rows, floor, chosen.plot)
    if chosen.markdown:
        print(table(rows, floor))
    kept = [one.get("floor", -np.inf) <= one["value"] <= one.get("ceiling", np.inf) for one in figures]
    return 0 if all(kept) else 1


def measure(cores: list[int], *, quick: bool) -> tuple[list[Row], float, list[dict[str, Any]]]:
    """The comparison, the speed of the bare sum, and all figures, the ones with floors last."""
    web = make_web(len(SETS) * (1 if quick else 5), seed=1)
    runs = 2 if quick else 3
    find_all(web.image[:BLOCK])
    found, spent = timed(lambda: find_all(web.image), runs)
    scores = score_sets(found, web.marks)
    memory = {} if quick else {name: peak_mb(name) for name in (OURS, *(one.name for one in PIPELINES))}
    mine = Row(name=OURS, library=OURS, straight=False, speed=rate(web, spent), scores=scores, peak_mb=memory.get(OURS))
    rows = [mine, *(row_of(one, web, quick=quick, peak=memory.get(one.name)) for one in PIPELINES)]
    sums = np.zeros(COLUMNS, np.uint32)
    bare_sum(web.image[:1], sums)
    floor = rate(web, timed(lambda: bare_sum(web.image, sums), runs)[1])
    figures = [
        *comparison(rows, floor),
        *finding("", scores),
        *with_edges(runs),
        *long_web(quick=quick),
        false_at_low(quick=quick),
        tiff_rate(web, runs),
        *two_at_once(cores, quick=quick),
    ]
    return rows, floor, sorted(figures, key=lambda one: "floor" in one or "ceiling" in one)


def figure(name: str, value: float, unit: str, baseline: str, **bounds: float) -> dict[str, Any]:
    """One figure as it is written; ``limit`` is a ceiling in words."""
    words = {"limit": f"at most {bounds['ceiling']:g}"} if "ceiling" in bounds and "floor" not in bounds else {}
    return {"figure": name, "value": float(value), "unit": unit, "baseline": baseline, **bounds, **words}


def timed(act: Callable[[], Any], runs: int, clock: Callable[[], float] = time.process_time) -> tuple[Any, float]:
    """What it gave, and its least time in seconds."""
    best, answer = np.inf, None
    for _ in range(runs):
        start = clock()
        answer = act()
        best = min(best, clock() - start)
    return answer, best


def rate(web: Web, seconds: float) -> float:
    """Mpx/s."""
    return web.image.size / seconds / 1e6


def row_of(one: Pipeline, web: Web, *, quick: bool, peak: float | None) -> Row:
    """A pipeline measured on part of the raster; its speed is of the pixels it had."""
    part = cut(
        web, len(SETS) * (1 if one.straight or quick else 2), COLUMNS // 16 if one.straight and quick else COLUMNS
    )
    found, spent = timed(lambda: one.find(part.image), 1 if one.straight or quick else 2)
    scores = score_sets(found, part.marks)
    return Row(
        name=one.name,
        library=one.library,
        straight=one.straight,
        speed=rate(part, spent),
        scores=scores,
        peak_mb=peak,
    )


def cut(web: Web, blocks: int, columns: int) -> Web:
    """The first blocks and columns; marks on the cut or beside it are not asked for, and hardly any lie there."""
    marks = web.marks
    inside = (marks[:, 0] < blocks * BLOCK) & (marks[:, 1] < columns - 10)
    return Web(image=np.ascontiguousarray(web.image[: blocks * BLOCK, :columns]), marks=marks[inside])


def peak_mb(name: str) -> float:
    """Greatest memory of a process that finds once in 70 Mpx held in memory, these included."""
    return float(run_task(task="pipeline", name=name, blocks=2)["peak_mb"])


def comparison(rows: list[Row], floor: float) -> Figures:
    """Speeds, and how the finder compares."""
    mine = rows[0]
    for row in rows[1:]:
        yield figure(f"{row.name}", row.speed, "Mpx/s", row.library)
        yield figure(f"{row.name}, least recall of the first three sets", row.recall, "", TRUTH)
        yield figure(f"{row.name}, least precision of them", row.precision, "", TRUTH)
        yield figure(f"wideroll over {row.name}", mine.speed / row.speed, "times", row.library)
    for row in rows:
        if row.peak_mb is not None:
            yield figure(f"{row.name}, peak memory with 70 MB of raster", row.peak_mb, "MB", row.library)
    yield figure("bare column sum", floor, "Mpx/s", "none")
    yield figure("share of the speed of a bare column sum", mine.speed / floor, "", "bare column sum")
    yield figure("find_marks in memory, everything on", mine.speed, "Mpx/s", "none", floor=RATE_FLOOR)
    able = [row for row in rows[1:] if row.keeps_up(mine)]
    for what, some in (
        ("straight general pipeline", [row for row in able if row.straight]),
        ("general pipeline", able),
    ):
        if some:
            best = max(some, key=lambda row: row.speed)
            bounds = {} if what.startswith("straight") else {"floor": RATIO_FLOOR}
            name = f"speed over the fastest {what} that reaches {REACH:g} of our recall"
            yield figure(name, mine.speed / best.speed, "times", best.name, **bounds)


def finding(where: str, scores: list[Score]) -> Figures:
    """Recall, precision and places for each set of marks."""
    for kind, score in zip(SETS, scores, strict=True):
        targeted = kind in SETS[:3]
        least, most, off = ({"floor": RECALL_FLOOR}, {"floor": PRECISION_FLOOR}, {"ceiling": OFF_CEILING})
        least, most, off = (bound if targeted else {} for bound in (least, most, off))
        yield figure(f"recall, {kind.name}{where}", score.recall, "", TRUTH, **least)
        yield figure(f"precision, {kind.name}{where}", score.precision, "", TRUTH, **most)
        yield figure(f"place error, median, {kind.name}{where}", score.off_median, "pixels", TRUTH, **off)
        yield figure(f"place error, 95 of 100, {kind.name}{where}", score.off_most, "pixels", TRUTH)
        yield figure(f"placed within half a pixel either way, {kind.name}{where}", score.within_half, "", TRUTH)


def with_edges(runs: int) -> Figures:
    """The same with the web's edges wandering in view."""
    web = make_web(len(SETS), seed=4, edges=True)
    found, spent = timed(lambda: find_all(web.image, EDGES), runs)
    yield figure("find_marks, edges in view", rate(web, spent), "Mpx/s", "none")
    yield from finding(", edges in view", score_sets(found, web.marks))


def long_web(*, quick: bool) -> Figures:
    """30 m of clean web with streaks, made as it is fed with fresh noise for each pixel, and a tenth of it."""
    columns = COLUMNS // 30 if quick else COLUMNS
    whole = run_task(task="stream", lines=300_000, columns=columns)
    wide = f"{columns} columns"
    ends = np.array(whole["ends_m"]).reshape(-1, 2)
    worst = float(ends.max()) if len(ends) else np.nan
    yield figure(f"fed in pieces, 300,000 lines of {wide}", whole["mpx_per_s"], "Mpx/s", "none")
    yield figure(f"peak memory, 300,000 lines of {wide}", whole["peak_mb"], "MB", "none", ceiling=MEMORY_CEILING)
    if not quick:
        short = run_task(task="stream", lines=30_000, columns=columns)["peak_mb"]
        yield figure(f"peak memory, 30,000 lines of {wide}", short, "MB", "none", ceiling=MEMORY_CEILING)
        yield figure("more memory for ten times the length", whole["peak_mb"] - short, "MB", "30,000 lines")
    per = whole["marks"] / whole["pixels"] * 1e9
    name = f"false marks in 10⁹ pixels of clean web, of {whole['pixels'] / 1e9:.2g} × 10⁹"
    yield figure(name, per, "", NORMAL, ceiling=FALSE_CEILING)
    what = "streaks of 10 m, 3 pixels, 0.1 of the pixel noise"
    yield figure(f"{what}: share found", len(ends) / whole["planted"], "", TRUTH, floor=1.0)
    yield figure(f"{what}: greatest error of an end", worst, "m", TRUTH, ceiling=END_CEILING_M)
    yield figure("streaks that nobody planted", whole["others"], "", TRUTH, ceiling=0.0)


def false_at_low(*, quick: bool) -> dict[str, Any]:
    """Count on a clean web at a threshold low enough to count, over what normal noise gives."""
    image = make_web(1 if quick else 2, seed=2, marked=False).image
    use = ScanSettings(find_edges=False, seed_snr=TRIED_SNR, least_pixels=1)
    ratio = find_marks(image, PITCH, use).marks.height / (2.0 * float(norm.sf(TRIED_SNR)) * image.size)
    name = f"false marks of a pixel at {TRIED_SNR:g} σ over those of normal noise"
    return figure(name, ratio, "times", NORMAL, floor=LAW_FLOOR, ceiling=LAW_CEILING)


def tiff_rate(web: Web, runs: int) -> dict[str, Any]:
    """By the wall's clock, from a file that was read once before."""
    image = web.image[: BLOCK * len(SETS) * 2]
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "web.tif"
        tifffile.imwrite(file, image)
        file.read_bytes()
        _, spent = timed(lambda: read_through(file), runs, time.perf_counter)
    name = "from an uncompressed TIFF in the page cache, by the wall's clock"
    return figure(name, image.size / spent / 1e6, "Mpx/s", "none", floor=TIFF_FLOOR)


def read_through(file: Path) -> None:
    """The reader's blocks into the finder."""
    raster = open_segments([file], pitch_mm=PITCH, source="scanner")
    finder = MarkFinder(raster.columns, PITCH, raster.dtype, WHOLE)
    for part in raster.blocks():
        if isinstance(part, LostLines):
            finder.lose(part)
        else:
            finder.feed(part)
    finder.finish()


def two_at_once(cores: list[int], *, quick: bool) -> Figures:
    """Two processes against one."""
    if len(cores) < 2:
        print("two processes at once: left out, there is only one core")
        return
    ratio = pair_ratio((cores[0], cores[1]), seconds=0.6 if quick else 3.0, rounds=1 if quick else 3)
    yield figure("two processes at once over one", ratio, "times", "one process", floor=PAIR_FLOOR)


if __name__ == "__main__":
    sys.exit(main())
