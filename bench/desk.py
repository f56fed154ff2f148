"""How fast the desk is in a browser's eyes, and whether it bears fifty people at once.

- Pages of a roll with 50,000 marks, its tiles and its marks in view, each asked for before: 95 of 100 stay below.
- The first page after the start of the process, its bytecode compiled as an installation has it.
- Fifty people at once, each with a session and from another process, for two minutes: nothing may fail.
- JavaScript of each page as it is sent.

Where others load the machine (more of them than it has cores), times are processor times, and the figures say so.

python bench/desk.py [--quick] [--json FILE]
"""

import os
import statistics
import sys
import tempfile
import time
from collections.abc import Iterable, Iterator
from functools import cache
from pathlib import Path

from counting import Figure, figure, run
from desking.looking import Clock, look_at_marks, look_at_page, look_at_tiles, p95
from desking.plant import MARKS, ROLL, make_plant, open_sessions
from desking.scripts import script_bytes
from desking.starting import Start, at_once, cold_start, running_desk
from wideroll.server.app import DeskApp, create_app
from wideroll.server.desk import DeskSettings

SOURCE = Path(__file__).resolve().parents[1] / "src"
PAGE_MS, TILE_MS, START_S, SCRIPT_KB = 150.0, 60.0, 1.0, 150.0
BUSY_START_S = 1.5
"""Of processor time: neighbours take caches and half of each core, so that the same start costs more of it."""
PEOPLE = 50
PAGES = {
    "decision": f"/rolls/{ROLL}",
    "map": f"/rolls/{ROLL}/map",
    "segment": f"/rolls/{ROLL}/map/1",
}
OPENED = (
    "/",
    *PAGES.values(),
    f"/rolls/{ROLL}/map/1?sort=-size_mm&page=3",
    f"/rolls/{ROLL}/shown/decision-map.svg",
    f"/rolls/{ROLL}/segments/1/worst/0/0_0.png",
    f"/rolls/{ROLL}/segments/1/mean/1/0_0.png",
    f"/rolls/{ROLL}/strips",
    f"/rolls/{ROLL}/repeats",
    f"/rolls/{ROLL}/examination",
    f"/api/rolls/{ROLL}/marks?from_m=0.2&to_m=0.6",
    "/cards",
    "/plant",
    "/record",
)
_FOLDER = tempfile.TemporaryDirectory()
"""Gone when the script ends."""


def sections(quick: bool) -> Iterable[Iterator[Figure]]:  # noqa: FBT001  -- the option itself
    """All of them."""
    yield pages(20 if quick else 200)
    yield tiles(60 if quick else 400)
    yield starts(3 if quick else 5)
    yield scripts()
    yield crowd(10.0 if quick else 120.0)


@cache
def plant() -> Path:
    """The plant that all of them look at."""
    root = Path(_FOLDER.name) / "plant"
    marks = make_plant(root)
    assert marks >= MARKS, marks
    return root


def desk() -> DeskApp:
    """A desk of one person in this process."""
    return create_app(DeskSettings(root=plant(), who="bench"))


def is_quiet() -> bool:
    """Whether nobody else loads the machine."""
    return os.getloadavg()[0] < (os.cpu_count() or 1)


def clock() -> tuple[Clock, str]:
    """What times are taken by, and its name."""
    return (time.perf_counter, "by the clock") if is_quiet() else (time.process_time, "processor time")


def pages(times: int) -> Iterator[Figure]:
    """Of a roll with many marks."""
    app = desk()
    by, words = clock()
    for name, path in PAGES.items():
        found = look_at_page(app, path, by, times=times)
        baseline = f"{words}; median {statistics.median(found):.0f}"
        yield figure(f"{name} page of a roll with {MARKS:,} marks, p95, ms", p95(found), baseline, most=PAGE_MS)


def tiles(many: int) -> Iterator[Figure]:
    """Tiles of all levels, and marks in view."""
    app = desk()
    by, words = clock()
    for name, (cold, warm) in {
        "tile": look_at_tiles(app, ROLL, by, most=many),
        "marks in view": look_at_marks(app, ROLL, by, times=many // 4),
    }.items():
        baseline = f"{words}; the first time: {p95(cold):.0f}"
        yield figure(f"{name} asked for before, p95, ms", p95(warm), baseline, most=TILE_MS)


def starts(times: int) -> Iterator[Figure]:
    """From the start of the process to the end of the first page."""
    kept = Path(_FOLDER.name) / "bytecode"
    cold_start(plant(), SOURCE, kept)
    quiet = is_quiet()
    found = [cold_start(plant(), SOURCE, kept) for _ in range(times)]
    taken = [one.wall_s if quiet else one.processor_s for one in found]
    words = _starts(found, quiet=quiet)
    most = START_S if quiet else BUSY_START_S
    yield figure("first page after the start, median, s", statistics.median(taken), words, most=most)
    yield figure("the same, worst, s", max(taken), words)


def _starts(found: list[Start], *, quiet: bool) -> str:
    other = [one.processor_s if quiet else one.wall_s for one in found]
    words = ("by the clock", "processor time") if quiet else ("processor time", "by the clock")
    return f"{words[0]}; {words[1]}: {statistics.median(other):.2f}, worst {max(other):.2f}"


def scripts() -> Iterator[Figure]:
    """The page with the most of it."""
    app = desk()
    sent = {path: script_bytes(app, path) / 1000.0 for path in (*PAGES.values(), f"/rolls/{ROLL}/strips", "/cards")}
    most = max(sent, key=lambda path: sent[path])
    yield figure("JavaScript of a page, compressed, kB", sent[most], f"the page with the most: {most}", most=SCRIPT_KB)


def crowd(seconds: float) -> Iterator[Figure]:
    """Many people at once."""
    sessions = open_sessions(plant(), PEOPLE, int(time.time()))
    with running_desk(plant(), SOURCE, Path(_FOLDER.name) / "bytecode") as (address, _):
        at_once(address, sessions[:1], OPENED, 5.0)
        found = at_once(address, sessions, OPENED, seconds)
    for wrong in sorted(set(found.wrong)):
        print(f"  {wrong}")
    words = (
        f"{len(found.times_ms)} answers, {len(found.times_ms) / seconds:.0f} a second, p95 {p95(found.times_ms):.0f} ms"
    )
    yield figure(f"errors of {PEOPLE} people at once in {seconds:.0f} s", len(found.wrong), words, most=0)


if __name__ == "__main__":
    sys.exit(run(__doc__, sections))
