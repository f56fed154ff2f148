"""Processes that seal one roll at the same moment: one wins, and each other is told whose event stands."""

import os

from wideroll.store import OvertakenError, RecordStore, Standing

_WHEN = "2026-03-01T08:00:00Z"
_DESKS = 4


def _seal(database, who, begin, tell):
    """Wait for the word, seal, and tell who stands."""
    begun = Standing(acts=("decision", "cut"), roll="4711", number=0)
    with RecordStore(database) as record:
        record.standing(begun.acts, "4711")
        os.read(begin, 1)
        try:
            stands = record.append("decision", who, _WHEN, "0.1.0", {"roll": "4711"}, after=begun).who
        except OvertakenError as error:
            stands = error.event.who
    os.write(tell, f"{stands}\n".encode())


def test_of_processes_that_seal_at_once_one_wins(database):
    """On both databases, of four processes let loose together one adds its event and three are told whose it is."""
    RecordStore(database).close()
    begin, tell = os.pipe(), os.pipe()
    children = []
    for n in range(_DESKS):
        child = os.fork()
        if child == 0:
            try:
                _seal(database, f"desk {n}", begin[0], tell[1])
            finally:
                os._exit(0)
        children.append(child)
    os.write(begin[1], b"x" * _DESKS)
    for child in children:
        os.waitpid(child, 0)
    os.close(tell[1])
    with os.fdopen(tell[0]) as told:
        named = told.read().splitlines()
    for one in begin:
        os.close(one)
    with RecordStore(database) as record:
        (event,) = record.events()
        assert record.verify().intact
    assert named == [event.who] * _DESKS
