"""How often the right roller is named, how often a series is seen that isn't there, how soon, and how fast.

Rolls are invented, seeds fixed (see bench/repeat_rolls). Right means: spacing within 0.4 %, the right roller first.

- Power at print probabilities 0.05 to 0.6 and each wander, on the same rolls as two plain ways: the fold (H-test at all
  spacings, every fourth roll, since it is slow) and the highest peak of scipy's periodogram; both name the roller next
  to their spacing.
- Two series in one lane, a roller that isn't in the table, two rollers 1 % apart, ten sheets of 3 m.
- Lap prints of particles wound in: found, and their radius; long and short rollers' series not taken for one.
- The watch: prints until a roller that begins to mark has its card, and cards on rolls of dirt.
- False series on rolls of dirt: one lane of 2,000 m, and whole webs of even and uneven dirt.
- Speed of one lane of 2,000 marks, and of a roll of 50,000 marks, on one core.
"""

import argparse
import json
import math
import sys
import time
from collections.abc import Callable, Iterable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

import repeat_rolls as rolls
from repeat_rolls.laps import LAPS, lap_print, lap_rival
from repeat_rolls.watching import alert, false_cards
from wideroll.repeats import ANOTHER, Series, SeriesSettings, find_series, name_roller

Floats = NDArray[np.float64]
CHANCES = {0.05: 0.90, 0.15: 0.99, 0.3: 0.99, 0.6: 0.99}
"""Print probabilities, and the share of rolls in which the right roller must be named."""
SHEETS, SHEET_M = 10, 3.0
TOLERANCE = 0.004
TIED = 0.2
LONG_RUN = 30


@dataclass(frozen=True, slots=True, kw_only=True)
class Size:
    """How much is run."""

    length_m: float
    count: int
    """Rolls of each cell."""
    webs: int
    """Whole webs of dirt, of each kind."""
    marks: int
    """Of the whole roll that is timed."""
    watched_m: float
    """Length of the rolls of dirt that are watched."""
    fold_each: int
    """The fold is tried on every so-manieth roll."""


FULL = Size(length_m=2000.0, count=200, webs=100, marks=50_000, watched_m=2000.0, fold_each=4)
QUICK = Size(length_m=400.0, count=6, webs=4, marks=5_000, watched_m=100.0, fold_each=3)


def is_right(series: Series, spacing: float, name: str) -> bool:
    """Whether a series has the spacing and names the roller."""
    return abs(series.spacing_m / spacing - 1.0) < TOLERANCE and series.candidates[0].roller == name


def power(number: int, *, chance: float, wander: float, size: Size) -> dict[str, float]:
    """One roll with one roller: right by each way, series found too many, seconds."""
    roller = rolls.ROLLERS[(5 * number) % len(rolls.ROLLERS)]
    seed = (round(1000 * chance), round(1e5 * wander), number)
    roll = rolls.draw(seed, (roller,), chance, wander, size.length_m)
    start = time.perf_counter()
    search = find_series(roll.along, roll.across, length_m=roll.length_m, rollers=rolls.ROLLERS)
    spent = time.perf_counter() - start
    found = {
        "series": float(len(search) > 0 and is_right(search[0], roll.spacings[0], roller.name)),
        "too many": float(len(search) > 1),
        "seconds": spent,
    }
    ways: dict[str, Callable[[rolls.Drawn], tuple[float, str]]] = {"periodogram": rolls.by_periodogram}
    if number % size.fold_each == 0:
        ways["fold"] = rolls.by_fold
    for way, look in ways.items():
        spacing, name = look(roll)
        found[way] = float(abs(spacing / roll.spacings[0] - 1.0) < TOLERANCE and name == roller.name)
    return found


def two_series(number: int, *, size: Size) -> dict[str, float]:
    """One lane with two rollers that print at 0.3: both named."""
    rng = np.random.default_rng((21, number))
    pair = tuple(rolls.ROLLERS[n] for n in rng.choice(len(rolls.ROLLERS), 2, replace=False))
    roll = rolls.draw((22, number), pair, 0.3, rolls.WANDERS[number % 3], size.length_m)
    search = find_series(roll.along, roll.across, length_m=roll.length_m, rollers=rolls.ROLLERS)
    wanted = zip(roll.spacings, roll.names, strict=True)
    both = all(any(is_right(one, spacing, name) for one in search) for spacing, name in wanted)
    return {"series": float(both), "too many": float(len(search) > len(pair))}


def not_in_table(number: int, *, chance: float, size: Size) -> dict[str, float]:
    """A roller that the table doesn't hold: its spacing found, and called another."""
    roller = rolls.unknown(np.random.default_rng((31, number)))
    roll = rolls.draw((32, number), (roller,), chance, rolls.WANDERS[number % 3], size.length_m)
    search = find_series(roll.along, roll.across, length_m=roll.length_m, rollers=rolls.ROLLERS)
    return {"series": float(len(search) > 0 and is_right(search[0], roll.spacings[0], ANOTHER))}


def one_per_cent(number: int, *, size: Size) -> dict[str, float]:
    """Two rollers 1 % apart, one of which prints at 0.3: named first, or tied with the other."""
    rng = np.random.default_rng((41, number))
    table = rolls.near_pair(rng)
    roller = table[0] if number % 2 else table[-1]
    roll = rolls.draw((42, number), (roller,), 0.3, rolls.WANDERS[number % 3], size.length_m)
    search = find_series(roll.along, roll.across, length_m=roll.length_m, rollers=table)
    if not len(search):
        return {"series": 0.0, "tied": 0.0}
    first, second = search[0].candidates[:2]
    named = is_right(search[0], roll.spacings[0], roller.name)
    tied = roller.name in {first.roller, second.roller} and second.probability >= TIED
    return {"series": float(named or tied), "tied": float(tied)}


def from_sheets(number: int, *, size: Size) -> dict[str, float]:
    """Ten sheets of 3 m of a roll that prints at 0.6: the right roller among the first two."""
    roller = rolls.ROLLERS[(5 * number) % len(rolls.ROLLERS)]
    roll = rolls.draw((51, number), (roller,), 0.6, rolls.WANDERS[number % 3], size.length_m)
    each = roll.length_m / SHEETS
    starts = each * np.arange(SHEETS) + np.random.default_rng((52, number)).uniform(0.0, each - SHEET_M, SHEETS)
    sheets = [(float(start), float(start) + SHEET_M) for start in starts]
    series = name_roller(roll.along, roll.across, length_m=roll.length_m, rollers=rolls.ROLLERS, observed=sheets)
    names = [candidate.roller for candidate in series.candidates]
    return {"series": float(roller.name in names[:2]), "first": float(roller.name == names[0])}


def even_lane(number: int, *, size: Size) -> dict[str, float]:
    """One lane of even dirt: a series at the default, and at a stated 0.05."""
    roll = rolls.draw((61, number), (), 0.0, 0.0, size.length_m)
    return false_series(roll.along, roll.across, roll.length_m)


def whole_web(number: int, *, size: Size, uneven: bool) -> dict[str, float]:
    """42 m × 60 mm of dirt, even, or with a dirty stretch, a streak of marks and splashes."""
    rng = np.random.default_rng((71, number, int(uneven), size.count))
    along, across = rng.uniform(0.0, 42.0, 210), rng.uniform(0.0, 60.0, 210)
    if uneven:
        splash = rng.uniform(1.0, 41.0, (10, 1)) + 0.1 * rng.standard_normal((10, 6))
        aside = rng.uniform(5.0, 55.0, (10, 1)) + rng.standard_normal((10, 6))
        along = np.concatenate((along, rng.uniform(12.0, 15.0, 120), rng.uniform(20.0, 40.0, 40), splash.ravel()))
        across = np.concatenate((across, rng.uniform(0.0, 60.0, 120), np.full(40, 30.0), aside.ravel()))
    return false_series(along, across, 42.0)


def false_series(along: Floats, across: Floats, length_m: float) -> dict[str, float]:
    """Whether a series is seen, at the default false alarm and at 0.05."""
    settings = SeriesSettings(false_alarm=0.05)
    search = find_series(along, across, length_m=length_m, rollers=rolls.ROLLERS, settings=settings)
    strict = any(series.false_alarm <= SeriesSettings().false_alarm for series in search)
    return {"series": float(strict), "loose": float(len(search) > 0)}


def lane_speed() -> float:
    """Seconds for a lane of 2,000 marks of which a fifth are prints."""
    roll = rolls.draw((81,), (rolls.ROLLERS[10],), 0.35, 0.0005, 2000.0)
    along = np.concatenate((roll.along, np.random.default_rng(82).uniform(0.0, 2000.0, 2000)))[:2000]
    across = np.full(along.size, 300.0)
    return min(_seconds(along, across, 2000.0) for _ in range(3))


def roll_speed(marks: int) -> tuple[float, int]:
    """Seconds for a whole roll of 1.38 m × 2,000 m with so many marks, two rollers among them; series found."""
    rng = np.random.default_rng(83)
    along, across = rng.uniform(0.0, 2000.0, marks), rng.uniform(0.0, 1380.0, marks)
    for row, place in ((7, 413.0), (12, 902.0)):
        made = rolls.prints(rng, rolls.ROLLERS[row].pitch_m, 0.2, 0.0005, 2000.0)
        along = np.concatenate((along, made))
        across = np.concatenate((across, rng.normal(place, 0.5, made.size)))
    start = time.perf_counter()
    search = find_series(along, across, length_m=2000.0, rollers=rolls.ROLLERS)
    return time.perf_counter() - start, len(search)


def _seconds(along: Floats, across: Floats, length_m: float) -> float:
    start = time.perf_counter()
    find_series(along, across, length_m=length_m, rollers=rolls.ROLLERS)
    return time.perf_counter() - start


def mean_of(pool: ProcessPoolExecutor, task: Callable[[int], dict[str, float]], count: int) -> dict[str, float]:
    """Means of what a task gives for each roll that has it."""
    found = list(pool.map(task, range(count), chunksize=max(1, count // 16)))
    keys = dict.fromkeys(key for one in found for key in one)
    return {key: float(np.mean([one[key] for one in found if key in one])) for key in keys}


def figure(name: str, value: float, **limits: Any) -> dict[str, object]:
    """A figure with its floor or ceiling, and whether that is met beyond chance."""
    floor, most, rolls_run = limits.get("floor"), limits.get("most"), limits.get("rolls", 0)
    met = True
    if floor is not None:
        met = value >= floor - 2.0 * math.sqrt(floor * (1.0 - floor) / rolls_run) if rolls_run else value >= floor
    if most is not None:
        met = value <= most + (2.0 * math.sqrt(most * (1.0 - most) / rolls_run) if rolls_run else 0.0)
    bound = f"at least {floor:g}" if floor is not None else f"at most {most:g}" if most is not None else ""
    baseline = str(limits.get("baseline", ""))
    return {"figure": name, "value": value, "baseline": baseline, "floor": bound, "met": met, "rolls": rolls_run}


def power_table(pool: ProcessPoolExecutor, size: Size) -> Iterable[dict[str, object]]:
    """Power by print probability and wander."""
    print(f"{size.length_m:g} m, {size.count} rolls a cell   series   fold  periodogram  one too many  s/roll")
    for chance, floor in CHANCES.items():
        for wander in rolls.WANDERS:
            cell = mean_of(pool, partial(power, chance=chance, wander=wander, size=size), size.count)
            print(f"p = {chance:<5} wander {100 * wander:4.2f} %     ", end="")
            print(f"{cell['series']:8.1%} {cell['fold']:6.1%} {cell['periodogram']:12.1%} ", end="")
            print(f"{cell['too many']:13.1%} {cell['seconds']:7.2f}", flush=True)
            baseline = f"fold {cell['fold']:.0%}, periodogram {cell['periodogram']:.0%}"
            name = f"right roller, p = {chance:g}, wander {100 * wander:g} %"
            limit = {"floor": floor} if size is FULL else {"floor": floor - 0.3}
            yield figure(name, cell["series"], baseline=baseline, rolls=size.count, **limit)
            yield figure(f"a series too many, {name[14:]}", cell["too many"], most=0.01, rolls=size.count)


def other_tables(pool: ProcessPoolExecutor, size: Size) -> Iterable[dict[str, object]]:
    """Two series, rollers not in the table or near one another, sheets, and false series."""
    slack = 0.0 if size is FULL else 0.3
    for name, task, floor, baseline in (
        ("both of two series in a lane, p = 0.3", partial(two_series, size=size), 0.95, "too many"),
        ("a roller not in the table called another, p = 0.3", partial(not_in_table, chance=0.3, size=size), 0.95, ""),
        ("the same at p = 0.15", partial(not_in_table, chance=0.15, size=size), 0.95, ""),
        ("rollers 1 % apart told apart or tied, p = 0.3", partial(one_per_cent, size=size), 0.95, "tied"),
        ("ten sheets of 3 m, p = 0.6: among the first two", partial(from_sheets, size=size), 0.80, "first"),
    ):
        cell = mean_of(pool, task, size.count)
        beside = f"{baseline} {cell[baseline]:.1%}" if baseline else ""
        print(f"{name:52} {cell['series']:7.1%}   {beside}", flush=True)
        yield figure(name, cell["series"], baseline=beside, floor=floor - slack, rolls=size.count)
    for name, task, count in (
        ("lanes of even dirt", partial(even_lane, size=size), size.count),
        ("webs of even dirt", partial(whole_web, size=size, uneven=False), size.webs),
        ("webs of uneven dirt", partial(whole_web, size=size, uneven=True), size.webs),
    ):
        cell = mean_of(pool, task, count)
        print(f"false series in {count} {name}: {cell['series']:.2%}; at a stated 5 %: {cell['loose']:.2%}", flush=True)
        yield figure(f"{name} with a false series", cell["series"], most=0.01, baseline=f"{cell['loose']:.1%} at 5 %")
        yield figure(f"{name} with one at a stated 5 %", cell["loose"], most=0.05, rolls=count)


def lap_table(pool: ProcessPoolExecutor, size: Size) -> Iterable[dict[str, object]]:
    """Lap prints by number of laps, and what rollers give."""
    for laps, floor in LAPS.items():
        cell = mean_of(pool, partial(lap_print, laps=laps), size.count)
        held = cell.get("held", math.nan)
        print(f"lap print of {laps} laps, p = 0.8: found {cell['series']:.1%}, radius in its limits {held:.1%}")
        floor_now = None if floor is None else floor - (0.0 if size is FULL else 0.3)
        yield figure(f"lap prints of {laps} laps found, p = 0.8", cell["series"], floor=floor_now, rolls=size.count)
    for turns in (20, 40, 200):
        cell = mean_of(pool, partial(lap_rival, turns=turns), size.count)
        print(f"a roller's {turns} turns, p = 0.8: taken for a lap print {cell['lap']:.1%}, named {cell['series']:.1%}")
        most = 0.01 if turns > LONG_RUN else None
        yield figure(f"rollers' runs of {turns} turns taken for lap prints", cell["lap"], most=most, rolls=size.count)


def watch_table(pool: ProcessPoolExecutor, size: Size) -> Iterable[dict[str, object]]:
    """Prints until the card, and cards on dirt."""
    found = list(pool.map(alert, range(size.count), chunksize=max(1, size.count // 16)))
    used = np.array([one["prints"] for one in found])
    within, right = (float(np.mean([one[key] for one in found])) for key in ("within 12", "right"))
    print(f"watch, p = 0.6: prints until the card {np.median(used):.0f} in the median, 95 of 100 by ", end="")
    print(f"{np.quantile(used, 0.95):.0f}; within 12 in {within:.1%}; right roller {right:.1%}", flush=True)
    slack = 0.0 if size is FULL else 0.3
    yield figure("watch: prints until the card, median", float(np.median(used)), most=12.0)
    yield figure("watch: card within 12 prints", within, floor=0.95 - slack, rolls=size.count)
    yield figure("watch: the card names the right roller", right, floor=0.99 - slack, rolls=size.count)
    cell = mean_of(pool, partial(false_cards, length_m=size.watched_m), size.webs)
    print(f"watch: {size.webs} rolls of dirt, {size.watched_m:g} m: with a card {cell['series']:.1%}, stated 1 %")
    yield figure("watch: rolls of dirt with a card", cell["series"], most=0.01, rolls=size.webs)


def speeds(size: Size) -> Iterable[dict[str, object]]:
    """Seconds on one core."""
    lane = lane_speed()
    print(f"a lane of 2,000 marks: {lane:.2f} s")
    yield figure("a lane of 2,000 marks, seconds", lane, most=1.0)
    whole, found = roll_speed(size.marks)
    print(f"a roll of {size.marks:,} marks in all lanes: {whole:.1f} s, {found} series")
    yield figure(f"a roll of {size.marks:,} marks, seconds", whole, most=20.0, baseline=f"{found} series of 2")


def main() -> int:
    """Print the tables; 1 when a figure falls below its floor."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--quick", action="store_true", help="few and short rolls")
    parser.add_argument("--json", type=Path, metavar="FILE", help="write the figures there")
    options = parser.parse_args()
    size = QUICK if options.quick else FULL
    find_series(np.arange(9.0), np.zeros(9), length_m=9.0, rollers=rolls.ROLLERS)  # compiled before the clock starts
    rolls.by_fold(rolls.draw((1,), (), 0.0, 0.0, 20.0))
    figures = list(speeds(size))
    with ProcessPoolExecutor(2) as pool:
        figures += power_table(pool, size)
        figures += other_tables(pool, size)
        figures += lap_table(pool, size)
        figures += watch_table(pool, size)
    for one in figures:
        print(f"{'ok  ' if one['met'] else 'FAIL'} {one['figure']}: {one['value']:.4g}, {one['floor']}")
    if options.json:
        options.json.write_text(json.dumps(figures, indent=2, sort_keys=True) + "\n", encoding="utf-8")
    return 0 if all(one["met"] for one in figures) else 1


if __name__ == "__main__":
    sys.exit(main())
