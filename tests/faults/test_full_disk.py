"""Where no more fits on the disk, what was acknowledged stays, the error says so, and the record goes on afterwards."""

import resource
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from wideroll.errors import InputError
from wideroll.store import RecordStore

sys.path.insert(0, str(Path(__file__).parents[1]))

from private_postgresql import cluster

_BY = ("R. Engineer", "2026-03-01T08:00:00Z", "0.1.0")
_LONGEST = 300_000
_APPEND = """
import sys
from wideroll.errors import InputError
from wideroll.store import RecordStore
with RecordStore(sys.argv[1]) as record:
    for n in range(2000):
        try:
            body = {"n": n, "note": "n" * 2000}
            added = record.append("decide", "R. Engineer", "2026-03-01T08:00:00Z", "0.1.0", body)
        except InputError as error:
            print("refused", error.rule)
            break
        print(added.number, added.digest, flush=True)
"""


def _no_long_file():
    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (_LONGEST, _LONGEST))


def test_a_full_disk_loses_nothing_on_sqlite(tmp_path):
    """No file may grow beyond a limit: what doesn't fit is refused, the others are there, and it goes on."""
    url = f"sqlite:///{tmp_path / 'wideroll.db'}"
    RecordStore(url).close()
    done = subprocess.run(
        [sys.executable, "-c", _APPEND, url], check=True, capture_output=True, text=True, preexec_fn=_no_long_file
    )
    *told, last = done.stdout.splitlines()
    assert last == "refused the database must be there, free and writable"
    _all_there(url, dict(line.split() for line in told))


def test_a_full_disk_loses_nothing_on_postgresql():
    """The server may write no file beyond a limit: an append is refused, the others are there, and it goes on."""
    told = {}
    with cluster(file_blocks=3000) as server:
        url = server.new_database()
        with RecordStore(url) as record, pytest.raises(InputError, match="free and writable"):
            _append_until_refused(record, told)
        server.stop()
        server.start()
        _all_there(url, told)


def _append_until_refused(record, told):
    for n in range(3000):
        added = record.append("decide", *_BY, {"n": n, "note": f"{n:x}" * 400})
        told[str(added.number)] = added.digest


def _all_there(url, told):
    assert len(told) > 10
    with RecordStore(url) as record:
        assert record.verify().intact
        assert {str(row.number): row.digest for row in record.rows()} == told
        assert record.append("decide", *_BY, {}).number == len(told) + 1
