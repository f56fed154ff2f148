"""How fast a history of many rolls is asked and charted.

- One quantity of one product, line and span of days from 10,000 rolls in Parquet, charted with its changes and what
  was noted there; the baseline reads the whole table and picks the rows one by one.
- The overview of all that is charted.
- A decision's roll put into the history.

python bench/control.py [--quick] [--json FILE]
"""

import sys
import tempfile
import time
from collections.abc import Callable, Iterable, Iterator
from functools import partial
from pathlib import Path

import numpy as np
import polars as pl

from counting import Figure, figure, run
from wideroll.control import RollValue, individuals_chart, select_rolls
from wideroll.record import digest
from wideroll.store import RecordStore, json_bytes, write_whole
from wideroll.store.roll_history import update_history
from wideroll.workflow.charting import ChartTerms, chart_quantity, find_quantity, history_quantities
from wideroll.workflow.control_overview import control_overview
from wideroll.workflow.line_events import LineEvent

MOST_S = 2.0
QUANTITIES = ("curl", "thickness", "adhesion", "released share", "width", "haze")
RECORDS = ("red", "green", "blue")


def sections(quick: bool) -> Iterable[Iterator[Figure]]:  # noqa: FBT001  -- the option itself
    """All three."""
    with tempfile.TemporaryDirectory() as folder:
        yield asked(Path(folder), 2_000 if quick else 10_000, quick=quick)


def asked(folder: Path, rolls: int, *, quick: bool) -> Iterator[Figure]:
    """Seconds of a question, of the overview, and of one more roll."""
    table = list(values(rolls))
    with RecordStore(f"sqlite:///{folder}/wideroll.db") as record:
        kept = update_history(folder, record, lambda: table, mark="a")
        most = MOST_S * (2 if quick else 1)
        fast = timed(partial(chart, kept.path))
        slow = timed(partial(chart_slowly, kept.path))
        words = f"whole table read, picked row by row: {slow:.2f} s"
        yield figure(f"one quantity charted, of {rolls:,} rolls, s", fast, words, most=most)
        whole = timed(lambda: control_overview(pl.scan_parquet(kept.path), lambda *_: None))
        yield figure(f"overview of {rolls:,} rolls, s", whole, "", most=2 * MOST_S)
        decide(folder, record)
        more = timed(lambda: update_history(folder, record, lambda: table, mark="a"))
        made = timed(lambda: update_history(folder, record, lambda: table, mark="b"))
        yield figure(f"a roll put into a history of {rolls:,}, s", more, f"made anew: {made:.2f} s", most=most)


def values(rolls: int) -> Iterator[RollValue]:
    """Two products on two lines; single values, three records and counts of each roll."""
    chance = np.random.Generator(np.random.PCG64(8))
    for n in range(rolls):
        of = partial(
            RollValue,
            roll=f"W-{n:05d}",
            product=("N5", "P2")[n % 3 == 0],
            line=("1", "2")[n % 2],
            coated=f"{2016 + n // 1000}-{1 + n // 84 % 12:02d}-{1 + n // 3 % 28:02d}",
            batch=f"E-{n // 40}",
        )
        for quantity in QUANTITIES:
            yield of(quantity=quantity, value=float(chance.normal()), unit="mm")
        for quantity in ("speed", "contrast", "minimum density"):
            for record in RECORDS:
                yield of(quantity=quantity, record=record, value=float(chance.normal()), unit="log H")
        yield of(quantity="Spots", value=float(chance.poisson(40)), area_m2=float(chance.uniform(20, 60)), unit="marks")


def chart(path: Path) -> None:
    """As the command does it."""
    rolls = select_rolls(pl.scan_parquet(path), product="N5", line="2", first_day="2017-01-01")
    quantity = find_quantity(history_quantities(rolls), "curl")
    events = [LineEvent(on=f"{2016 + n // 12}-{1 + n % 12:02d}-05", kind="cleaning", name="R1") for n in range(100)]
    chart_quantity(rolls.filter(pl.col("quantity") == "curl"), quantity, terms=ChartTerms(), events=events)


def chart_slowly(path: Path) -> None:
    """The whole table, row by row, charted without changes."""
    rows = [
        row
        for row in pl.read_parquet(path).iter_rows(named=True)
        if row["quantity"] == "curl" and row["product"] == "N5" and row["line"] == "2" and row["coated"].year >= 2017
    ]
    rows.sort(key=lambda row: (row["coated"], row["roll"]))
    individuals_chart([row["value"] for row in rows], baseline=20)


def decide(folder: Path, record: RecordStore) -> None:
    """A decision on a roll with its measured values."""
    value = {"quantity": "curl", "record": "", "part": "", "unit": "mm", "value": 0.1, "area_m2": None}
    head = {"roll": "W-99999", "product": "N5", "line": "2", "coated": "2026-11-20", "batch": "E-1"}
    data = json_bytes({"schema": "wideroll/measured/1", **head, "values": [value]})
    write_whole(folder / "W-99999" / "measured.json", data)
    body = {"roll": "W-99999", "outputs": {"measured.json": digest(data)}}
    record.append("decision", "R. Engineer", "2026-12-01T08:00:00Z", "0.1.0", body)


def timed(act: Callable[[], object]) -> float:
    """Seconds of processor time."""
    started = time.process_time()
    act()
    return time.process_time() - started


if __name__ == "__main__":
    sys.exit(run(__doc__, sections))
