"""How long a trace takes in a plant of 100,000 finished rolls.

- Trace: seconds of processor time at the median, from the plant's folder to the answer: the record is proven, the
  table of finished rolls is read, and so are the wide roll's marks and decision, each held against the record. The
  baseline finds the finished roll by reading the cut lists one after the other, as without the table.
- Sisters: the same with all finished rolls at risk, of a mark whose batch runs over ten wide rolls.
- Made anew: seconds to make the table from all cut lists, and after one more roll was decided.

python bench/tracing.py [--quick] [--json FILE]
"""

import json
import statistics
import sys
import tempfile
import time
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl

from counting import Figure, figure, run
from wideroll.acts.tracing import open_trace_desk
from wideroll.record import digest
from wideroll.roll import MARKS_SCHEMA
from wideroll.store import RecordStore, json_bytes, slit_rolls

MOST_S = 0.5
LANES, RUNS, LANE_MM, RUN_M = 40, 10, 34.0, 30.0
LENGTH_M, WIDTH_MM = RUNS * RUN_M, LANES * LANE_MM
ROLLS_OF_A_BATCH = 10
MARKS = 400
BY = ("R. Engineer", "2026-03-01T08:00:00Z", "0.1.0")
WHOLE = {"along_from_m": 0.0, "along_to_m": LENGTH_M, "across_from_mm": 0.0, "across_to_mm": WIDTH_MM}


def sections(quick: bool) -> Iterable[Iterator[Figure]]:  # noqa: FBT001  -- the option itself
    """One plant, all figures."""
    yield traced(60 if quick else 250, repeats=5 if quick else 15)


def traced(rolls: int, *, repeats: int) -> Iterator[Figure]:
    """Make a plant of so many wide rolls and trace in it."""
    with tempfile.TemporaryDirectory() as folder:
        plant = Path(folder) / "plant"
        write_plant(plant, rolls)
        count = rolls * LANES * RUNS
        yield figure(f"making the table of {count:,} finished rolls, s", seconds(lambda: open_trace_desk(plant), 1), "")
        decide(plant, [f"W-{rolls:04d}"])
        yield figure("bringing it up to date by one wide roll, s", seconds(lambda: open_trace_desk(plant), 1), "")
        name = f"W-{rolls * 3 // 4:04d}"
        number = f"{name}/{RUNS // 2:03d}-{LANES // 2:02d}"
        took = seconds(lambda: open_trace_desk(plant).trace(number, "7 m from core"), repeats)
        slow = seconds(lambda: by_reading(plant, number), 3)
        yield figure(f"trace among {count:,} finished rolls, s", took, "", most=MOST_S)
        yield figure("reading cut lists until it is found, times as long", slow / took, "trace", least=1.0)
        desk = open_trace_desk(plant)
        found = next(one for one in (desk.trace(label) for label in labels(name)) if one.seen)
        others = desk.sisters(found)
        carry = sum(sister.seen > 0 for sister in others.sisters)
        yield figure(f"of its {len(others.sisters):,} sisters, those with such a mark", carry, "", least=100)
        yield figure("finding its sisters, s", seconds(lambda: desk.sisters(found), 3), "", most=10.0 * MOST_S)


def labels(name: str) -> Iterator[str]:
    """The finished rolls of a wide roll."""
    return (f"{name}/{number + 1:03d}-{lane + 1:02d}" for number in range(RUNS) for lane in range(LANES))


def seconds(act: Callable[[], object], repeats: int) -> float:
    """Processor time at the median."""
    took = []
    for _ in range(repeats):
        began = time.process_time()
        act()
        took.append(time.process_time() - began)
    return statistics.median(took)


def by_reading(plant: Path, number: str) -> object:
    """The finished roll's parts, from the first cut list that has it."""
    for path in sorted((plant / "results").glob("*/cut.json")):
        data = path.read_bytes()
        digest(data)
        for one in slit_rolls(json.loads(data)):
            if one.number == number:
                return one
    return None


def write_plant(plant: Path, rolls: int) -> None:
    """The folder of a plant whose rolls were decided and cut."""
    plant.mkdir()
    (plant / "plant.toml").write_text(
        f'name = "Little Mere, line 1"\nweb_width = "{WIDTH_MM:g} mm"\ndatum_edge = "drive side"\nrollers = []\n'
        '[[scanners]]\nname = "line-end scanner"\nwavelength_nm = 850\n'
    )
    names = [f"W-{number:04d}" for number in range(rolls + 1)]
    for number, name in enumerate(names):
        write_roll(plant, name, number)
    decide(plant, names[:-1])


def write_roll(plant: Path, name: str, number: int) -> None:
    """A wide roll's card, marks, decision and cut list."""
    folder = plant / "results" / name
    (plant / "rolls" / name).mkdir(parents=True)
    (folder / "state").mkdir(parents=True)
    (plant / "rolls" / name / "roll.toml").write_text(
        f'product = "negative-100"\nlength = "{LENGTH_M:g} m"\n\n[[batches]]\n'
        f'name = "E-{number // ROLLS_OF_A_BATCH}"\nalong_from = "0 m"\nalong_to = "{LENGTH_M:g} m"\n'
    )
    marks(number).write_parquet(folder / "marks.parquet")
    (folder / "cut.json").write_bytes(json_bytes(cut(name)))
    said = {"series": [], "criteria": [], "findings": [], "process_runs": [], "inputs": {}}
    (folder / "decision.json").write_bytes(json_bytes(said))
    seen = {"value": {"streaks": [], "coverage": {"seen": [WHOLE], "unseen": []}}}
    (folder / "state" / "scan.json").write_bytes(json_bytes(seen))


def marks(number: int) -> pl.DataFrame:
    """Spots scattered over a wide roll, one of them in each lane and run."""
    rng = np.random.Generator(np.random.PCG64(number))
    across = (np.repeat(np.arange(LANES), MARKS // LANES) + rng.uniform(0.2, 0.8, MARKS)) * LANE_MM
    plain = {name: np.zeros(MARKS) for name, kind in MARKS_SCHEMA.items() if kind == pl.Float64}
    table = {
        **plain,
        "id": [f"{number:06d}{rank:06d}" for rank in range(MARKS)],
        "along_m": rng.uniform(0.0, LENGTH_M, MARKS),
        "across_mm": across,
        "length_mm": rng.uniform(0.5, 1.5, MARKS),
        "width_mm": rng.uniform(0.5, 1.5, MARKS),
        "elongation": np.ones(MARKS),
        "snr": np.full(MARKS, 9.0),
        "polarity": ["dark"] * MARKS,
        "kind": ["spot"] * MARKS,
        "rule": [""] * MARKS,
        "source": ["line-end scanner"] * MARKS,
    }
    return pl.DataFrame({name: table[name] for name in MARKS_SCHEMA}, schema=MARKS_SCHEMA)


def cut(name: str) -> dict[str, Any]:
    """A cut list as ``wideroll/cut/2``, of what a trace reads of it."""
    pieces, rolls = [], []
    for run_number in range(RUNS):
        for lane in range(LANES):
            number = f"{run_number + 1:03d}-{lane + 1:02d}"
            low = RUN_M * run_number
            pieces.append(
                {
                    "roll": number,
                    "part": 1,
                    "slitter_from_m": low,
                    "slitter_to_m": low + RUN_M,
                    "extent": {"across_from_mm": LANE_MM * lane, "across_to_mm": LANE_MM * (lane + 1)},
                }
            )
            said = {"width": "35 mm", "quality": "first", "order": None, "length_m": RUN_M}
            rolls.append({"number": number, "label": f"{name}/{number}", **said})
    widths = [{"name": "35 mm", "windings": 1}]
    return {"schema": "wideroll/cut/2", "status": "released", "pieces": pieces, "rolls": rolls, "widths": widths}


def decide(plant: Path, names: Iterable[str]) -> None:
    """Put the rolls' decisions into the record."""
    bodies = []
    for name in names:
        folder = plant / "results" / name
        files = ("cut.json", "decision.json", "marks.parquet", "state/scan.json")
        outputs = {file: digest((folder / file).read_bytes()) for file in files}
        said = {"roll": name, "product": "negative-100", "verdict": "release", "why": "all criteria are met"}
        bodies.append({**said, "outputs": outputs})
    with RecordStore(f"sqlite:///{plant / 'wideroll.db'}") as record:
        record.append_all("decision", *BY, bodies)


if __name__ == "__main__":
    sys.exit(run(__doc__, sections))
