"""A signed record shows what a chain alone can't: who stands for it, and that its end wasn't cut off."""

import json
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wideroll.errors import ArgumentError
from wideroll.record import (
    CHECKPOINT,
    append_event,
    broken_rule,
    canonical_bytes,
    checkpoint_json,
    checkpoint_of,
    digest,
    event_line,
    is_canonical,
    prove_record,
    public_key,
    read_line,
    sign_checkpoint,
    signature_holds,
    written,
)

BY = {"when_utc": "2026-03-01T08:00:00Z", "version": "0.1.0"}
_ADDED = (" ", "0", ".0", "e0", "E", "-", "\\u0061", "\n", '"', "9" * 9, "1e400", "\U0001f600")
FIRST, SECOND = bytes(32), bytes(range(32))
_TEXT = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), max_size=8)
_NAMES = _TEXT.filter(str.strip)
_PLAIN = st.none() | st.booleans() | st.integers(-(2**60), 2**60).map(float) | st.integers(-99, 2**53 - 1)
_VALUES = st.recursive(
    _PLAIN | st.floats(allow_nan=False, allow_infinity=False) | _TEXT,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(_TEXT, inner, max_size=3),
    max_leaves=8,
)


def _record(count, *, signers=()):
    """So many decisions, then a checkpoint of each signer."""
    events = []
    for n in range(count):
        last = events[-1] if events else None
        events.append(append_event(last, act="decide", who="R. Engineer", **BY, body={"roll": "4711", "n": n}))
    for who, secret in signers:
        one = sign_checkpoint(secret, len(events), events[-1].digest, who=who, **BY, says="seen")
        events.append(append_event(events[-1], act=CHECKPOINT, who=who, **BY, body=checkpoint_json(one)))
    return [written(event) for event in events]


@given(act=_NAMES, who=_NAMES, version=_NAMES, body=st.dictionaries(_TEXT, _VALUES, max_size=4))
def test_the_kept_text_hashes_to_what_the_whole_value_does(act, who, version, body):
    """An event's digest, made from its kept text, is that of the canonical bytes of the whole value."""
    event = append_event(None, act=act, who=who, when_utc=BY["when_utc"], version=version, body=body)
    row = written(event)
    whole = {name: value for name, value in row._asdict().items() if name != "digest"} | {"body": dict(event.body)}
    assert digest(canonical_bytes(whole)) == event.digest
    assert broken_rule(row, 1, row.previous) == ""
    assert read_line(event_line(row)) == row
    assert canonical_bytes(json.loads(event_line(row))).decode() == event_line(row)


@given(body=st.dictionaries(_TEXT, _VALUES, max_size=4), data=st.data())
def test_only_canonical_text_is_taken_for_it(body, data):
    """What is said to be canonical is what reading and writing gives back, however the text was changed."""
    text = canonical_bytes(body).decode()
    assert is_canonical(text)
    at = data.draw(st.integers(0, len(text)))
    added = data.draw(
        st.sampled_from([" ", "0", ".0", "e0", "E", "-", "\\u0061", "\n", '"', "9" * 9, "1e400", "\U0001f600"])
    )
    cut = data.draw(st.integers(0, 2))
    other = text[:at] + added + text[at + cut :]
    try:
        value = json.loads(other)
        said = isinstance(value, dict) and canonical_bytes(value).decode() == other
    except (ValueError, ArgumentError):
        said = False
    assert is_canonical(other) == said


@pytest.mark.parametrize(
    "text",
    [
        *(
            '{"a":1.0}',
            '{"a":1e-7}',
            '{"a":1e+21}',
            '{"a":1e16}',
            '{"a":-0}',
            '{"a":NaN}',
            '{"a":1,"a":1}',
            '{"b":1,"a":1}',
        ),
        *(
            '{"a":12345678901234567890}',
            '{"\U0001f600":1,"\ufb33":1}',
            '{"\ufb33":1,"\U0001f600":1}',
            '{"a":"\\u00e9"}',
            "[]",
            "{}x",
        ),
        *('{"a":1e-07}', '{"a":"\\ud800"}', '{"a":0.000001}', '{"a":100000000000000000000}', "", "1", '{"a":"\\/"}'),
    ],
)
def test_where_two_writers_differ_the_rfc_decides(text):
    """Exponents, long numbers, order beyond the basic plane and escapes are as RFC 8785 writes them."""
    try:
        value = json.loads(text)
        said = isinstance(value, dict) and canonical_bytes(value) == text.encode()
    except (ValueError, ArgumentError):
        said = False
    assert is_canonical(text) is said


def test_text_that_is_not_canonical_fails_though_its_digest_fits():
    """A body with white space or a key twice doesn't hold, even when someone reckoned the digest anew."""
    (row,) = _record(1)
    for body in ('{"n":0, "roll":"4711"}', '{"n":0,"roll":"4711","roll":"4712"}'):
        whole = (
            f'{{"act":"decide","body":{body},"number":1,"previous":"{row.previous}","version":"0.1.0",'
            f'"when_utc":"{row.when_utc}","who":"R. Engineer"}}'
        )
        forged = row._replace(body=body, digest=digest(whole.encode()))
        assert prove_record([forged]).why == "digest: its body isn't in canonical form"


def test_a_checkpoint_says_who_signed_and_how_far():
    """Two people's signatures are told; signed is what trusted keys cover, the checkpoint itself included."""
    rows = _record(3, signers=[("R. Engineer", FIRST), ("A. Second", SECOND)])
    report = prove_record(rows)
    assert [(one.who, one.events) for one in report.checkpoints] == [("R. Engineer", 3), ("A. Second", 4)]
    assert (report.intact, report.events, report.signed, report.head) == (True, 5, 5, rows[-1].digest)
    assert prove_record(rows, trusted=[public_key(FIRST).hex()]).signed == 4
    assert prove_record(rows, trusted=["00" * 32]).signed == 0


@pytest.mark.parametrize(
    ("field", "value"),
    [
        *(("events", 2), ("head", "ab" * 32), ("who", "Nobody"), ("says", "agreed"), ("event", 2)),
        *(("key", "00" * 32), ("signature", "00" * 64), ("when_utc", "2026-03-02T08:00:00Z"), ("version", "0.2.0")),
    ],
)
def test_a_changed_checkpoint_is_found(field, value):
    """Whatever is changed in a checkpoint, its signature doesn't fit any more, and its event is named."""
    rows = _record(3)
    one = sign_checkpoint(FIRST, 3, rows[-1].digest, who="R. Engineer", **BY, says="seen")
    forged = replace(one, **{field: value})
    assert not signature_holds(forged)
    last = append_event(read_event(rows[-1]), act=CHECKPOINT, who="R. Engineer", **BY, body=checkpoint_json(forged))
    report = prove_record([*rows, written(last)])
    assert (report.first_bad, report.why) == (4, "signature: a checkpoint isn't signed with the key it names")


def read_event(row):
    """The event of a row."""
    last = append_event(None, act=row.act, who=row.who, when_utc=row.when_utc, version=row.version, body={})
    return replace(last, number=row.number, digest=row.digest)


def test_a_checkpoint_of_another_place_is_found():
    """A good signature made under another record or number doesn't hold here, nor does an event without one."""
    rows = _record(3)
    for body, why in (
        (checkpoint_json(sign_checkpoint(FIRST, 2, rows[1].digest, who="R. Engineer", **BY, says="")), "up to here"),
        ({"schema": "wideroll/checkpoint/1"}, "must hold a checkpoint"),
    ):
        last = append_event(read_event(rows[-1]), act=CHECKPOINT, who="R. Engineer", **BY, body=body)
        report = prove_record([*rows, written(last)])
        assert report.first_bad == 4
        assert why in report.why


def test_events_cut_off_at_the_end_are_found_by_a_kept_checkpoint():
    """A chain cut short still holds; a checkpoint kept elsewhere names the first event that is missing."""
    rows = _record(5)
    kept = sign_checkpoint(FIRST, 5, rows[-1].digest, who="R. Engineer", **BY, says="")
    assert prove_record(rows, kept=[kept]).intact
    assert prove_record(rows[:3]).intact
    report = prove_record(rows[:3], kept=[kept])
    assert (report.first_bad, report.why) == (4, "tail: R. Engineer signed 5 events, the record ends after 3")
    assert prove_record([], kept=[kept]).first_bad == 1


def test_a_record_made_anew_is_found_by_a_kept_checkpoint():
    """Who rewrites everything from an event on makes a chain that holds, but not the one that was signed."""
    rows = _record(5)
    kept = sign_checkpoint(FIRST, 4, rows[3].digest, who="R. Engineer", **BY, says="")
    other = rows[:2]
    for n in range(3):
        last = append_event(read_event(other[-1]), act="decide", who="Nobody", **BY, body={"n": n})
        other.append(written(last))
    assert prove_record(other).intact
    report = prove_record(other, kept=[kept])
    assert (report.first_bad, report.why) == (4, "signature: R. Engineer signed another event of this number")


def test_a_checkpoint_comes_back_as_json_and_nothing_else_is_one():
    """Reading what was written gives it back; a field too few, too many or of another kind is none."""
    one = sign_checkpoint(FIRST, 3, "ab" * 32, who="R. Engineer", **BY, says="“µ”", event=2)
    value = checkpoint_json(one)
    assert checkpoint_of(json.loads(canonical_bytes(value))) == one
    for other in (value | {"more": 1}, value | {"events": True}, value | {"key": "00"}, value | {"schema": "x"}, {}):
        assert checkpoint_of(other) is None
    with pytest.raises(ArgumentError, match="must be one of the record's 3 events"):
        sign_checkpoint(FIRST, 3, "ab" * 32, who="R. Engineer", **BY, says="", event=4)
    with pytest.raises(ArgumentError, match="must have 32 bytes"):
        public_key(b"short")


@pytest.mark.parametrize("line", ["", "{}", "[1]", '{"act":1}', "x", '{"act":"a"} '])
def test_a_line_that_is_no_event_is_refused(line):
    """A line of a bundle that isn't an event is one clear error."""
    with pytest.raises(ArgumentError, match="must be an event in canonical JSON"):
        read_line(line)
