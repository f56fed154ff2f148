"""Lines that take back other lines."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wideroll.errors import ArgumentError
from wideroll.examination import Entry, read_back


def test_a_line_that_is_taken_back_stays_in_the_log(sighting):
    """What was taken back no longer holds, and is still there with what took it back."""
    lines = [
        Entry(name="1", sighting=sighting()),
        Entry(name="2", sighting=sighting(2.0)),
        Entry(name="u", takes_back="1"),
    ]
    log = read_back(lines)
    assert log.sightings == (lines[1].sighting,)
    assert log.entries == tuple(lines)
    assert log.taken_back == ((lines[0], lines[2]),)


def test_a_correction_replaces_and_can_be_taken_back_itself(sighting):
    """A line with a sighting that takes back another stands in its place; taken back, the first holds again."""
    first = Entry(name="1", sighting=sighting())
    better = Entry(name="2", sighting=sighting(3.0), takes_back="1")
    assert read_back([first, better]).sightings == (better.sighting,)
    log = read_back([first, better, Entry(name="3", takes_back="2")])
    assert log.sightings == (first.sighting,)
    assert [before.name for before, _ in log.taken_back] == ["2"]


@pytest.mark.parametrize(
    ("lines", "rule"),
    [
        ([("1", ""), ("1", "")], "a name of its own"),
        ([("1", "2"), ("2", "")], "stands before it"),
        ([("1", "1")], "stands before it"),
        ([("1", ""), ("2", "1"), ("3", "1")], "taken back once, and 2 did so"),
    ],
)
def test_what_cant_be_taken_back_is_refused(lines, rule):
    """Names given twice, lines that don't stand before, and lines taken back already are refused."""
    with pytest.raises(ArgumentError, match=rule):
        read_back([Entry(name=name, takes_back=back) for name, back in lines])


@settings(deadline=None)
@given(data=st.data())
def test_agrees_with_reading_backwards(sighting, data):
    """The oracle reads from the end: a line holds unless a later line that holds takes it back."""
    count = data.draw(st.integers(1, 9))
    entries: list[Entry] = []
    for number in range(count):
        open_names = [e.name for e in entries if e.name not in {b.name for b, _ in read_back(entries).taken_back}]
        back = data.draw(st.sampled_from(["", *open_names]))
        said = None if back and data.draw(st.booleans()) else sighting(float(number))
        entries.append(Entry(name=str(number), sighting=said, takes_back=back))
    holds: dict[str, bool] = {}
    for entry in reversed(entries):
        later = [e for e in entries if e.takes_back == entry.name and holds[e.name]]
        holds[entry.name] = not later
    assert read_back(entries).sightings == tuple(e.sighting for e in entries if e.sighting and holds[e.name])


@settings(deadline=None)
@given(data=st.data())
def test_the_log_only_grows(sighting, data):
    """Adding a line changes no line before it."""
    count = data.draw(st.integers(1, 6))
    entries = tuple(Entry(name=str(n), sighting=sighting(float(n))) for n in range(count))
    back = Entry(name="u", takes_back=data.draw(st.sampled_from([e.name for e in entries])))
    assert read_back([*entries, back]).entries[:-1] == read_back(entries).entries
