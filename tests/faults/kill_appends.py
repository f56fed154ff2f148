"""Kill processes that append to the record at random moments, and look whether anything acknowledged was lost.

python tests/faults/kill_appends.py [--kills 200] [--seed 1] [--url URL]

Without an address it runs on SQLite in a temporary folder and on a private PostgreSQL cluster, whose server is also
stopped as by a power cut now and then. Prints one line for each database; exit code 1 when an event was lost or
the record doesn't hold.
"""

import argparse
import os
import random
import signal
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from private_postgresql import cluster
from wideroll.errors import WiderollError
from wideroll.store import RecordStore

_WHEN = "2026-03-01T08:00:00Z"
_LONGEST_S = 0.25
_FEW = 20
_LENGTH = random.Random(0)  # noqa: S311  -- no secret


def _append_until_killed(url: str, tell: int, who: str) -> None:
    """Append for ever; after each append say its digest, which is the acknowledgement."""
    with RecordStore(url) as record:
        while True:
            added = record.append("decide", who, _WHEN, "0.1.0", {"roll": "4711", "note": "n" * _LENGTH.randrange(999)})
            os.write(tell, f"{added.number} {added.digest}\n".encode())


def kill_one(url: str, rng: random.Random, who: str) -> dict[int, str]:
    """Start two appenders, kill both at a random moment, and return what was acknowledged."""
    read, write = os.pipe()
    children = []
    for name in (f"{who} a", f"{who} b"):
        child = os.fork()
        if child == 0:
            os.close(read)
            try:
                _append_until_killed(url, write, name)
            except WiderollError:  # the server was stopped: nothing more is acknowledged
                signal.pause()
            os._exit(1)
        children.append(child)
    os.close(write)
    with os.fdopen(read, "rb") as told:
        # The first acknowledgement comes when a connection is made; then any moment is as good as another.
        lines = [told.readline()]
        signal.setitimer(signal.ITIMER_REAL, rng.uniform(0.0005, _LONGEST_S))
        signal.sigwait({signal.SIGALRM})
        for child in children:
            os.kill(child, signal.SIGKILL)
        lines += told.readlines()
    for child in children:
        os.waitpid(child, 0)
    return {int(number): digest for number, digest in (line.decode().split() for line in lines if line.endswith(b"\n"))}


def kill_many(url: str, kills: int, seed: int, *, now_and_then: Callable[[], None] | None = None) -> str:
    """Kill so many times; what is wrong afterwards, in words, and empty when nothing is."""
    rng = random.Random(seed)  # noqa: S311  -- moments, no secrets
    acknowledged: dict[int, str] = {}
    for n in range(kills):
        acknowledged |= kill_one(url, rng, f"appender {n}")
        if now_and_then is not None and n % _FEW == _FEW - 1:
            now_and_then()
    with RecordStore(url) as record:
        report = record.verify()
        there = {row[0]: row[7] for row in record.rows()}
    lost = [number for number, digest in acknowledged.items() if there.get(number) != digest]
    print(
        f"{url.partition(':')[0]}: {kills} times two appenders killed, {len(acknowledged)} events acknowledged, "
        f"{len(there)} there, {len(lost)} lost, verify: {'holds' if report.intact else report.why}",
        flush=True,
    )
    if lost:
        return f"lost: events {lost[:9]}"
    return "" if report.intact else f"event {report.first_bad}: {report.why}"


def main() -> int:
    """Run on both databases or the one named."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--kills", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--url", help="one empty database instead")
    options = parser.parse_args()
    signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGALRM})
    if options.url:
        return bool(kill_many(options.url, options.kills, options.seed))
    with tempfile.TemporaryDirectory() as folder:
        wrong = kill_many(f"sqlite:///{folder}/wideroll.db", options.kills, options.seed)

    with cluster(fsync=True) as server:

        def power_cut() -> None:
            server.stop("immediate")
            server.start()

        wrong += kill_many(server.new_database(), options.kills, options.seed, now_and_then=power_cut)
    return bool(wrong)


if __name__ == "__main__":
    sys.exit(main())
