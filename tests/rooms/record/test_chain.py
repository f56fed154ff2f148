"""A chain of events holds as it was written, and shows the first event that doesn't."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wideroll.errors import ArgumentError
from wideroll.record import GENESIS, append_event, verify_chain

WHEN = "2026-03-01T08:00:00Z"


def _append(previous, body, *, act="decide", who="R. Engineer", when=WHEN, version="0.1.0"):
    return append_event(previous, act=act, who=who, when_utc=when, version=version, body=body)


def _chain(count):
    events = []
    for number in range(count):
        events.append(_append(events[-1] if events else None, {"roll": "4711", "n": number, "share": 0.93}))
    return events


def test_events_are_numbered_and_linked_from_the_beginning():
    """The first event is number 1 and names the genesis hash; each other names the digest of the one before."""
    events = _chain(3)
    assert [event.number for event in events] == [1, 2, 3]
    assert [event.previous for event in events] == [GENESIS, events[0].digest, events[1].digest]
    assert len({event.digest for event in events}) == 3
    assert verify_chain(events).intact
    assert verify_chain(iter(events)).events == 3


def test_no_events_are_an_intact_chain():
    """A record in which nothing was done yet holds."""
    report = verify_chain([])
    assert (report.events, report.intact, report.first_bad, report.why) == (0, True, None, "")


def test_the_same_act_has_the_same_digest_everywhere():
    """The digest is of the canonical form, so it is the same on every machine and in every version."""
    event = _append(None, {"share": 0.93, "roll": "4711"})
    assert event.digest == "f5c63bd308c0fe1d787272c62805a10d261a8ca53ae89ad3322632baa40f7c20"
    assert event == _append(None, {"roll": "4711", "share": 0.93})


@pytest.mark.parametrize(
    ("change", "rule"),
    [
        ({"act": "seal"}, "digest"),
        ({"who": "nobody"}, "digest"),
        ({"when_utc": "2026-03-01T08:00:01Z"}, "digest"),
        ({"version": "0.1.1"}, "digest"),
        ({"body": {"roll": "4712"}}, "digest"),
        ({"body": {"share": float("nan")}}, "digest: the event has no canonical form"),
        ({"digest": "0" * 64}, "digest"),
        ({"previous": GENESIS}, "link"),
        ({"number": 7}, "number: 3 should follow, this is 7"),
    ],
)
def test_a_changed_field_is_found_at_its_event(change, rule):
    """Whatever is changed in an event, that event is the first bad one, and the rule it breaks is named."""
    events = _chain(5)
    events[2] = replace(events[2], **change)
    report = verify_chain(events)
    assert not report.intact
    assert report.first_bad == events[2].number
    assert report.why.startswith(rule)
    assert report.events == 3


def test_a_changed_event_sealed_anew_breaks_the_link_of_the_next():
    """Who changes an event and reckons its digest again is found one event later."""
    events = _chain(5)
    events[2] = _append(events[1], {"roll": "4711", "verdict": "release"})
    report = verify_chain(events)
    assert (report.first_bad, report.why.split(":")[0]) == (4, "link")


@given(count=st.integers(2, 7), data=st.data())
@settings(deadline=None, max_examples=80)
def test_events_left_out_moved_or_repeated_are_found(count, data):
    """Any order and choice of events other than the chain from its beginning is not intact."""
    events = _chain(count)
    chosen = data.draw(st.lists(st.sampled_from(range(count)), min_size=1, max_size=count + 1))
    report = verify_chain([events[index] for index in chosen])
    assert report.intact == (chosen == list(range(len(chosen))))


def test_an_event_keeps_what_was_sealed():
    """Changing the mapping that was handed in changes nothing in the event, and the body is as it will be read back."""
    regions = [1, 2]
    body = {"regions": regions, "pair": (3, 4), "share": 1.0}
    event = _append(None, body)
    regions.append(3)
    body["new"] = True
    assert event.body == {"regions": [1, 2], "pair": [3, 4], "share": 1}
    assert verify_chain([event]).intact


@pytest.mark.parametrize(
    "when", ["2026-03-01T08:00:00Z", "2026-03-01T08:00:00+00:00", "2026-12-31T23:59:60Z", "2026-03-01T08:00:00.123456Z"]
)
def test_times_in_utc_are_taken(when):
    """Both ways of writing UTC, fractions and leap seconds are times."""
    assert _append(None, {}, when=when).when_utc == when


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        ({"act": ""}, "act: must not be empty"),
        ({"who": "  "}, "who: must not be empty"),
        ({"version": ""}, "version: must not be empty"),
        ({"when": "2026-03-01T08:00:00"}, "when_utc: must be a time in UTC"),
        ({"when": "2026-03-01T08:00:00+01:00"}, "when_utc: must be a time in UTC"),
        ({"when": "2026-13-01T08:00:00Z"}, "when_utc: must be a time in UTC"),
        ({"when": "yesterday"}, "when_utc: must be a time in UTC"),
        ({"body": [1]}, "body: must be a mapping"),
        ({"body": {"share": float("inf")}}, "must have a canonical form"),
    ],
)
def test_an_event_that_says_too_little_is_refused(wrong, says):
    """Who, what, when and with which version must be said, in a form that lasts."""
    with pytest.raises(ArgumentError, match=says):
        _append(None, **({"body": {}} | wrong))
