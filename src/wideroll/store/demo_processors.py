"""The invented lab's two processors: what ran through them, and which of the rolls' runs went where.

Everything here is made up. One is steady but for a single run; the other was adjusted early on, is steady again, then
creeps up in fog until the run that spoils strips of a roll.
"""

import csv
import io
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Final

import numpy as np

from wideroll.store.demo_scene import REFERENCE_RUNS

__all__ = ["processor_files", "runs_rows"]

_STEADY, _CREEPING = "tank-1", "tank-2"
_RUNS: Final = 30
_SEED: Final = 311
_FOG_SD, _FACTOR_SD, _READING_SD = 0.005, 0.006, 0.003
_RECORDS: Final = ("red", "green", "blue")
_WORDS: Final = ("minimum", "speed", "contrast")
_ABOVE_MINIMUM: Final = np.array([0.0, 0.55, 0.75])
"""Density of the reference film above its minimum at each of the three: what a factor acts on."""
_CHILLER_RUN, _CHILLER_FOG = 9, 0.05
_ADJUSTED_RUN, _BEFORE_ADJUSTED = 6, 0.025
_CREEP_FROM, _CREEP_FOG = 26, 0.004

_PROCESSORS_TOML: Final = """\
# The lab's processors, and how each is watched.
[[processors]]
name = "tank-1"
process = "colour negative, hanger line"
speed_log_h = -1.2
contrast_log_h = [-1.65, -0.45]
baseline_runs = 20
action_density = 0.06

[[processors]]
name = "tank-2"
process = "colour negative, roller line"
speed_log_h = -1.2
contrast_log_h = [-1.65, -0.45]
baseline_runs = 20
action_density = 0.06
"""

_PROCESSED: Final[Mapping[str, tuple[str, str]]] = {
    "P-311": (_STEADY, "2026-11-12T15:15"),
    "P-312": (_STEADY, "2026-11-13T09:10"),
    "P-313": (_CREEPING, "2026-11-13T13:40"),
}
"""Which processor each of the rolls' runs went through, and when."""


def processor_files() -> dict[str, str]:
    """Texts of processors.toml and of each processor's history, by their paths in the plant."""
    header = ("run", "processed_on", *(f"{r}_{w}" for r in _RECORDS for w in _WORDS), "adjusted", "note")
    return {
        "processors.toml": _PROCESSORS_TOML,
        **{f"processors/{name}.csv": _text([header, *_history(name)]) for name in (_STEADY, _CREEPING)},
    }


def runs_rows(runs: Iterable[str]) -> list[Sequence[str]]:
    """The rows of a roll's strips/runs.csv."""
    return [("run", "processor", "processed_on"), *((run, *_PROCESSED[run]) for run in runs)]


def _history(name: str) -> Iterator[Sequence[str]]:
    creeping = name == _CREEPING
    chance = np.random.Generator(np.random.PCG64(_SEED + creeping))
    for number in range(_RUNS):
        fog, note = _event(number, creeping=creeping)
        run = f"P-{250 + 2 * number + creeping}"
        day = f"2026-{10 + number // 25:02d}-{1 + number % 25:02d}T{13 if creeping else 9:02d}:30"
        adjusted = "yes" if creeping and number == _ADJUSTED_RUN else ""
        yield (run, day, *_departures(chance, fog), adjusted, note)
    for run, (processor, day) in _PROCESSED.items():
        if processor == name:
            yield (run, day, *_departures(chance, REFERENCE_RUNS[run], steady=True), "", "")


def _event(number: int, *, creeping: bool) -> tuple[float, str]:
    """Fog beside chance, and what the lab noted."""
    if not creeping:
        return (_CHILLER_FOG, "chiller was off") if number == _CHILLER_RUN else (0.0, "")
    if number < _ADJUSTED_RUN:
        return _BEFORE_ADJUSTED, ""
    note = "developer replaced" if number == _ADJUSTED_RUN else ""
    return _CREEP_FOG * max(0, number - _CREEP_FROM + 1), note


def _departures(chance: np.random.Generator, fog: float, *, steady: bool = False) -> Iterator[str]:
    """What is charted of each record: the run's own fog and factor are shared, the readings' errors are not."""
    if not steady:
        fog += chance.normal(0.0, _FOG_SD)
    factor = 0.0 if steady else chance.normal(0.0, _FACTOR_SD)
    for _ in _RECORDS:
        departures = np.array([fog, fog, 0.0]) + factor * _ABOVE_MINIMUM + chance.normal(0.0, _READING_SD, 3)
        yield from (f"{one:.3f}" for one in departures)


def _text(rows: Iterable[Sequence[str]]) -> str:
    out = io.StringIO(newline="")
    csv.writer(out, lineterminator="\n").writerows(rows)
    return out.getvalue()
