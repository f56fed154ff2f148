"""A bit flipped in a page of PostgreSQL's table of events is found and its event named, or it changed nothing."""

import random
import sys
from pathlib import Path

import pytest

from wideroll.errors import InputError, RecordError
from wideroll.record import sign_checkpoint
from wideroll.store import RecordStore

sys.path.insert(0, str(Path(__file__).parents[1]))

from private_postgresql import cluster

_BY = {"who": "R. Engineer", "when_utc": "2026-03-01T08:00:00Z", "version": "0.1.0"}
_EVENTS = 40
_FLIPS = 6


@pytest.mark.parametrize("checksums", [True, False])
def test_a_flipped_bit_in_a_page_is_found_or_changes_nothing(checksums):
    """With the server's check sums and without: verify names an event, or all are read as they were appended."""
    rng, found = random.Random(5), 0  # noqa: S311  -- places, no secrets
    with cluster() as server:
        url = server.new_database()
        with RecordStore(url) as record:
            for n in range(_EVENTS):
                record.append("note", *_BY.values(), {"roll": "4711", "n": n, "words": "n" * 300})
            rows, last = list(record.rows()), record.verify()
        kept = sign_checkpoint(bytes(32), _EVENTS, last.head, **_BY, says="")
        with server.connect(url) as connection:
            connection.execute("CHECKPOINT")
            (where,) = connection.execute("SELECT pg_relation_filepath('events')").fetchone()
        server.stop()
        if not checksums:
            server.without_checksums()
        path = server.data / where
        good = path.read_bytes()
        for _ in range(_FLIPS):
            bad = bytearray(good)
            bad[rng.randrange(len(bad))] ^= 1 << rng.randrange(8)
            path.write_bytes(bad)
            server.start()
            found += _found(url, kept, rows)
            server.stop("immediate")
            path.write_bytes(good)
    assert found >= (_FLIPS if checksums else _FLIPS // 2)


def _found(url, kept, rows):
    """Whether it was found; if not, all must be as before."""
    try:
        with RecordStore(url) as record:
            report = record.verify(kept=[kept])
            if report.intact:
                assert list(record.rows()) == rows
                return False
    except (RecordError, InputError) as error:
        assert url.partition("?")[0] in str(error)  # noqa: PT017  -- found when it was opened
        return True
    assert 1 <= report.first_bad <= _EVENTS
    assert report.why
    return True
