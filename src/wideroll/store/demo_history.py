"""Sixty invented rolls from before the demo plant's record, what happened on the line, and a gauge study.

Everything here is made up. Two things are planted. The green record is slower with batches E-515 and E-516, and is back
with E-517. The thickness creeps up until the coating pump is overhauled. All else is chance.
"""

import csv
import io
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

import numpy as np

from wideroll.store.demo_scene import PRODUCT

__all__ = ["PLANTED", "Planted", "history_files"]

_ROLLS: Final = 60
_FIRST: Final = 1981
_SEED: Final = 1986
_START: Final = date(2026, 8, 3)
_DAYS_BETWEEN: Final = 1.6
_BATCH_ROLLS: Final = 10
_FIRST_BATCH: Final = 512
_RECORDS: Final = ("red", "green", "blue")
_ROLL_SD, _STRIP_SD, _OWN_SD = 0.003, 0.008, 0.004
_WEB_M: Final = 1.372
_SPOTS_PER_M2: Final = 0.9


@dataclass(frozen=True, slots=True, kw_only=True)
class Planted:
    """What is to be found again: rolls by number from the first of the sixty, counted from 0."""

    slow_from: int = 30
    slow_to: int = 50
    slow_log_h: float = 0.02
    slow_batch: str = "E-515"
    mended_batch: str = "E-517"
    creep_from: int = 18
    creep_to: int = 44
    creep_um: float = 0.09
    """Rise of the thickness from roll to roll."""
    creep_ended_by: str = "coating pump overhauled"


PLANTED: Final = Planted()

_LOGBOOK: Final = f"""\
# What happened on the line. Invented.
on,kind,what
2026-08-20,maintenance,dryer 1 filters changed
2026-09-11,setting,chill box half a degree colder
2026-10-11,maintenance,{PLANTED.creep_ended_by}
2026-10-28,maintenance,web cleaner belts changed
"""


def history_files() -> dict[str, str]:
    """Texts of earlier.csv, logbook.csv and a gauge study, by their paths in the plant."""
    columns = ("roll", "product", "coated", "batch", "quantity", "record", "part", "unit", "value", "area_m2")
    return {
        "earlier.csv": _table(columns, _earlier()),
        "logbook.csv": _LOGBOOK,
        "gauge-studies/densitometer.csv": _table(("operator", "part", "value"), _study()),
    }


def _earlier() -> Iterator[Sequence[str]]:
    chance = np.random.Generator(np.random.PCG64(_SEED))
    for number in range(_ROLLS):
        coated = _START + timedelta(days=int(number * _DAYS_BETWEEN))
        head = (f"W-{_FIRST + number}", PRODUCT, coated.isoformat(), f"E-{_FIRST_BATCH + number // _BATCH_ROLLS}")
        for row in (*_strips(chance, number), *_properties(chance, number), *_marks(chance), *_costs(chance, number)):
            yield (*head, *row)


def _strips(chance: np.random.Generator, number: int) -> Iterator[Sequence[str]]:
    """Records rise and fall together, and each a little by itself."""
    together = chance.normal(0.0, _ROLL_SD)
    means: dict[str, float] = {}
    for record in _RECORDS:
        slow = PLANTED.slow_log_h if record == "green" and PLANTED.slow_from <= number < PLANTED.slow_to else 0.0
        level = together + slow + chance.normal(0.0, _OWN_SD)
        strips = level + chance.normal(0.0, _STRIP_SD, 3)
        means[record] = float(strips.mean())
        for name, value in (("", means[record]), *((f"S-{n}", float(v)) for n, v in enumerate(strips, 1))):
            yield ("speed", record, name, "log H", f"{value:.4f}", "")
    for record in _RECORDS:
        yield ("contrast", record, "", "ratio", f"{chance.normal(0.0, 0.008):.4f}", "")
        yield ("minimum density", record, "", "density", f"{chance.normal(0.0, 0.003):.4f}", "")
    for record in ("red", "blue"):
        yield ("balance", f"{record} less green", "", "log H", f"{means[record] - means['green']:.4f}", "")


def _properties(chance: np.random.Generator, number: int) -> Iterator[Sequence[str]]:
    crept = PLANTED.creep_um * max(0, number - PLANTED.creep_from + 1) if number < PLANTED.creep_to else 0.0
    for name, unit, value in (
        ("thickness", "µm", 130.0 + crept + chance.normal(0.0, 0.45)),
        ("curl", "mm", 6.8 + chance.normal(0.0, 0.35)),
        ("adhesion", "N", 3.6 + chance.normal(0.0, 0.12)),
    ):
        yield (name, "", "", unit, f"{value:.2f}", "")


def _marks(chance: np.random.Generator) -> Iterator[Sequence[str]]:
    area = f"{chance.uniform(18.0, 58.0) * _WEB_M:.2f}"
    spots = chance.poisson(_SPOTS_PER_M2 * float(area))
    counts = {"Spots": spots, "streaks": chance.poisson(0.1), "series": chance.poisson(0.15)}
    for name, count in counts.items():
        yield (name, "", "", "marks" if name == "Spots" else name, str(count), area)


def _costs(chance: np.random.Generator, number: int) -> Iterator[Sequence[str]]:
    """What criteria cut out, of one roll in three."""
    if number % 3 == 1:
        of = ("Repeating marks", "Streaks", "Repeating marks", "Spots in a stretch")[number % 4]
        yield (f"cut out by {of}", "", "", "m²", f"{chance.gamma(2.0, 0.9):.2f}", "")
    yield ("released share", "", "", "share", f"{0.96 + chance.normal(0.0, 0.018):.4f}", "")
    yield ("expected cost of a release", "", "", "cost units per m²", f"{0.8 + chance.normal(0.0, 0.08):.3f}", "")


def _study() -> Iterator[Sequence[str]]:
    """Three people read five patches three times each; the second reads a little high."""
    chance = np.random.Generator(np.random.PCG64(_SEED + 1))
    for place, operator in enumerate(("A", "B", "C")):
        for patch, density in enumerate((0.24, 0.61, 1.08, 1.53, 2.02), 1):
            for _ in range(3):
                read = density + (0.004 if place == 1 else 0.0) + chance.normal(0.0, 0.003)
                yield (operator, f"patch {patch}", f"{read:.3f}")


def _table(columns: Sequence[str], rows: Iterator[Sequence[str]]) -> str:
    out = io.StringIO(newline="")
    out.write("# Invented.\n")
    csv.writer(out, lineterminator="\n").writerows([columns, *rows])
    return out.getvalue()
