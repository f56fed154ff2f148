"""How fast the record is verified and appended to.

- Verification: events a second on one core, by processor time, of a record in SQLite; and of the median
  stretch of 10,000. The baseline reads each event and writes it anew as canonical JSON.
- Appending: milliseconds at the median, each event on the disk. The baseline writes as many bytes to a file and syncs.

python bench/record.py [--quick] [--json FILE]
"""

import json
import os
import statistics
import sys
import tempfile
import time
from collections.abc import Callable, Iterable, Iterator
from itertools import pairwise
from pathlib import Path

from sqlalchemy import create_engine

from counting import Figure, figure, run
from wideroll.record import Event, Written, append_event, canonical_bytes, digest, prove_record, written
from wideroll.store import RecordStore

LEAST_A_SECOND = 50_000
MOST_MS = 5.0
STRETCH = 10_000
_INSERT = "INSERT INTO events VALUES (?, ?, ?, ?, ?, ?, ?, ?)"
BY = {"who": "R. Engineer", "when_utc": "2026-03-01T08:00:00Z", "version": "0.1.0"}


def sections(quick: bool) -> Iterable[Iterator[Figure]]:  # noqa: FBT001  -- the option itself
    """Both."""
    yield verified(30_000 if quick else 1_000_000, quick=quick)
    yield appended(100 if quick else 1000, quick=quick)


def body(number: int) -> dict[str, object]:
    """As long as that of an act in the middle of the day: a reading, a sighting, a sign-off."""
    return {"roll": f"W-{number % 997}", "sheet": number % 40, "kind": "comet", "size_mm": 0.3125, "inputs": "5f" * 32}


def events(count: int) -> Iterator[Event]:
    """A chain; made with the room's own function."""
    last = None
    for number in range(count):
        last = append_event(last, act="sighting", **BY, body=body(number))
        yield last


def verified(count: int, *, quick: bool) -> Iterator[Figure]:
    """Events a second."""
    with tempfile.TemporaryDirectory() as folder:
        url = f"sqlite:///{folder}/wideroll.db"
        fill(url, count)
        with RecordStore(url) as record:
            marks = [time.process_time()]
            report = prove_record(marked(record.rows(), marks))
            marks.append(time.process_time())
            started = time.process_time()
            slow = sum(slowly(row) for row, _ in zip(record.rows(), range(STRETCH), strict=False))
            baseline = STRETCH / (time.process_time() - started)
    assert report.intact
    assert report.events == count
    assert slow == STRETCH
    median = STRETCH / statistics.median(b - a for a, b in pairwise(marks[:-1]))
    whole = count / (marks[-1] - marks[0])
    words = f"read and written again: {baseline:,.0f}"
    # A short run on a busy machine says little: half the speed is asked for.
    yield figure(
        f"events verified a second, of {count:,}", whole, words, least=LEAST_A_SECOND / 2 if quick else LEAST_A_SECOND
    )
    yield figure("the same, median stretch of 10,000", median, words)


def marked(rows: Iterable[Written], marks: list[float]) -> Iterator[Written]:
    """The rows, with the processor time noted every so many."""
    for number, row in enumerate(rows, start=1):
        yield row
        if number % STRETCH == 0:
            marks.append(time.process_time())


def slowly(row: Written) -> bool:
    """Verify an event the long way."""
    fields = dict(zip(Written._fields, row, strict=True))
    said = fields.pop("digest")
    return digest(canonical_bytes(fields | {"body": json.loads(row[5])})) == said


def fill(url: str, count: int) -> None:
    """Put the events in, many in a transaction; the guard of the database looks at each."""
    RecordStore(url).close()
    engine = create_engine(url)
    with engine.begin() as connection:
        rows = []
        for event in events(count):
            rows.append(tuple(written(event)))
            if len(rows) == STRETCH or event.number == count:
                connection.exec_driver_sql(_INSERT, rows)
                rows = []
    engine.dispose()


def appended(count: int, *, quick: bool) -> Iterator[Figure]:
    """Milliseconds an append."""
    with tempfile.TemporaryDirectory() as folder:
        with RecordStore(f"sqlite:///{folder}/wideroll.db") as record:
            times = [timed(lambda n=n: record.append("sighting", *BY.values(), body(n))) for n in range(count)]
        with Path(folder, "plain").open("wb") as file:

            def plain() -> None:
                file.write(b"x" * 600)
                file.flush()
                os.fsync(file.fileno())

            bare = [timed(plain) for _ in range(count)]
    words = f"bare write and fsync: {statistics.median(bare):.2g} ms"
    yield figure(
        "an append on SQLite, ms at the median", statistics.median(times), words, most=MOST_MS * (4 if quick else 1)
    )


def timed(act: Callable[[], object]) -> float:
    """Milliseconds of one act."""
    started = time.perf_counter()
    act()
    return 1000.0 * (time.perf_counter() - started)


if __name__ == "__main__":
    sys.exit(run(__doc__, sections))
