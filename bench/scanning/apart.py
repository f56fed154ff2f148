"""What must run in a process of its own: peak memory, the long web, and two finders at once.

A process's greatest memory is read from ``VmHWM``: ``ru_maxrss`` of a new process begins with what its parent held.
"""

import json
import os
import resource
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import numpy as np

from scanning.pipelines import OURS, PIPELINES, PITCH, WHOLE, find_all
from scanning.webs import PlantedStreak, make_web, stream_web
from wideroll.scan import MarkFinder

__all__ = ["do_task", "pair_ratio", "run_task"]

_SCRIPT = Path(__file__).resolve().parents[1] / "scan.py"
_STREAK_LINES = 100_000
_SEEDS = {"stream": 11, "pipeline": 12, "steady": 13}


def run_task(**task: Any) -> dict[str, Any]:
    """Do a task in a new process on this process's core, and give its answer."""
    out = subprocess.run(_command(task), check=True, stdout=subprocess.PIPE, text=True)  # noqa: S603  -- ourselves
    return dict(json.loads(out.stdout))


def do_task(text: str) -> int:
    """What the new process does."""
    task = json.loads(text)
    kind = {"stream": _stream, "pipeline": _pipeline, "steady": _steady}[task.pop("task")]
    answer = kind(**task)
    if answer is not None:
        print(json.dumps(answer))
    return 0


def pair_ratio(cores: tuple[int, int], *, seconds: float, rounds: int) -> float:
    """Throughput of two finders at once over that of one alone, each on a core and a raster of its own."""
    pair = [_start(core) for core in cores]
    try:
        for one in pair:
            _ask(one)
        alone = [max(_rates([one], seconds)[0] for _ in range(rounds)) for one in pair]
        both = max(sum(_rates(pair, seconds)) for _ in range(rounds))
    finally:
        for one in pair:
            one.communicate("stop\n")
    return 2.0 * both / sum(alone)


def _command(task: dict[str, Any]) -> list[str]:
    return [sys.executable, str(_SCRIPT), "--apart", json.dumps(task)]


def _start(core: int) -> "subprocess.Popen[str]":
    command = _command({"task": "steady", "core": core})
    return subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)  # noqa: S603


def _ask(one: "subprocess.Popen[str]", word: str = "") -> str:
    assert one.stdin is not None
    assert one.stdout is not None
    if word:
        one.stdin.write(word + "\n")
        one.stdin.flush()
        return ""
    return one.stdout.readline()


def _rates(group: list["subprocess.Popen[str]"], seconds: float) -> list[float]:
    for one in group:
        _ask(one, str(seconds))
    return [float(_ask(one)) for one in group]


def _steady(core: int) -> None:
    os.sched_setaffinity(0, {core})
    image = make_web(1, seed=_SEEDS["steady"]).image
    find_all(image)
    print("ready", flush=True)
    for line in sys.stdin:
        if line.startswith("stop"):
            return
        begun, pixels, spent = time.perf_counter(), 0, 0.0
        while spent < float(line):
            find_all(image)
            pixels += image.size
            spent = time.perf_counter() - begun
        print(pixels / spent, flush=True)


def _pipeline(name: str, blocks: int) -> dict[str, float]:
    image = make_web(blocks, seed=_SEEDS["pipeline"]).image
    before = _peak_mb()
    finders = {OURS: find_all, **{one.name: one.find for one in PIPELINES}}
    finders[name](image)
    return {"peak_mb": _peak_mb(), "before_mb": before, "raster_mb": image.nbytes / 1e6}


def _stream(lines: int, columns: int) -> dict[str, Any]:
    """The finder over a clean web with streaks, made as it goes."""
    planted = _plan(lines, columns)
    finder = MarkFinder(columns, PITCH, np.uint8, WHOLE)
    spent = 0.0
    for rows in stream_web(lines, columns, planted, seed=_SEEDS["stream"]):
        begun = time.process_time()
        finder.feed(rows)
        spent += time.process_time() - begun
    found = finder.finish()
    ends, taken = [], set()
    for streak in planted:
        at_mm, from_m, to_m = (streak.column + 1.5) * PITCH[1], streak.first_line * 1e-4, streak.end_line * 1e-4
        near = [k for k, one in enumerate(found.streaks) if abs(one.across_mm - at_mm) < 0.5]
        taken.update(near)
        if near:
            best = max(
                (found.streaks[k] for k in near), key=lambda one: one.extent.along_to_m - one.extent.along_from_m
            )
            ends.append([abs(best.extent.along_from_m - from_m), abs(best.extent.along_to_m - to_m)])
    return {
        "peak_mb": _peak_mb(),
        "pixels": lines * columns,
        "marks": found.marks.height,
        "planted": len(planted),
        "ends_m": ends,
        "others": len(found.streaks) - len(taken),
        "mpx_per_s": lines * columns / spent / 1e6,
    }


def _plan(lines: int, columns: int) -> tuple[PlantedStreak, ...]:
    """Streaks of 10 m at a tenth of the pixel noise, of either polarity, far from one another."""
    if lines < 2 * _STREAK_LINES:
        return ()
    places = range(columns // 24, columns - 100, max(columns // 12, 120))
    # No start lies on a round number of lines, where a finder may cut its blocks.
    starts = np.linspace(0.15, 0.85, len(places)) * (lines - _STREAK_LINES) + 1111 + 137 * np.arange(len(places))
    return tuple(
        PlantedStreak(
            column=column,
            first_line=int(start),
            end_line=int(start) + _STREAK_LINES,
            snr=0.1 if k % 2 else -0.1,
        )
        for k, (column, start) in enumerate(zip(places, starts, strict=True))
    )


def _peak_mb() -> float:
    try:
        lines = Path("/proc/self/status").read_text(encoding="utf-8").splitlines()
    except OSError:
        return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024 / 1e6
    return next(float(line.split()[1]) * 1024 / 1e6 for line in lines if line.startswith("VmHWM"))
