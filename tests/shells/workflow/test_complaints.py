"""Complaints as cases: what may follow on what, and what stands afterwards."""

from dataclasses import dataclass, field

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wideroll.errors import InputError, RecordError
from wideroll.record import append_event, canonical_bytes
from wideroll.workflow.complaint_fold import fold_complaints
from wideroll.workflow.complaint_model import ComplaintState, Finding, LookedAt, Touched
from wideroll.workflow.complaint_steps import (
    case_number,
    closing,
    finding_of,
    looking,
    opening,
    reopening,
    sample_asking,
    seeing,
    traced,
    with_photographs,
)
from wideroll.workflow.complaints import missing_next, next_step, of_batches, of_roll, still_open

TOUCHED = Touched(roll="W-1", batches=("E-1", "E-2"), along_from_m=10.0, along_to_m=10.5)
PHOTOGRAPH = {"complaints/C-0001/aa.jpg": ("frame.jpg", "aa")}
OPENING = opening(finished="W-1/001-01", saw="a scratch") | traced(at="1 m", trace={"schema": "t"}, touched=[TOUCHED])
UNTRACED = opening(finished="W-9/001-01", saw="fog")
FOUND = finding_of(Finding.OURS, why="streak 3", looked_at=[LookedAt.TRACE])


@dataclass
class Book:
    """A record that complaints are written to."""

    events: list = field(default_factory=list)

    def cases(self):
        """As they stand."""
        return fold_complaints(self.events)

    def take(self, number, body):
        """Add what may follow, and hand back the case."""
        whole = next_step(self.cases(), number, body)
        self.add("complaint", whole)
        return next(case for case in self.cases() if case.name == whole["case"])

    def add(self, act, body):
        """An event, whatever it says."""
        when, last = "2026-03-01T08:00:00+00:00", self.events[-1] if self.events else None
        self.events.append(append_event(last, act=act, who="C. Desk", when_utc=when, version="0.1.0", body=body))


@pytest.fixture
def book():
    """A record with one traced case in it."""
    book = Book()
    book.take(None, OPENING)
    return book


def test_a_case_goes_from_opening_to_closing(book):
    """A case waits for the samples it asked for, is found, and closes with its outcome; its history keeps each step."""
    assert book.take(1, sample_asking(["Sheet 3", "end piece"])).state is ComplaintState.WAITING
    assert book.take(1, looking(sample="sheet  3", saw="the same scratch")).state is ComplaintState.WAITING
    assert book.take(1, looking(sample="end piece", saw="", there=False)).state is ComplaintState.OPEN
    found = finding_of(Finding.OURS, why="seen on the sheet", looked_at=[LookedAt.SAMPLE, LookedAt.TRACE])
    assert book.take(1, found).state is ComplaintState.FOUND
    case = book.take(1, closing(outcome="replaced 10 rolls"))
    assert case.state is ComplaintState.CLOSED
    assert (case.finding, case.why, case.outcome) == (Finding.OURS, "seen on the sheet", "replaced 10 rolls")
    assert [step.step for step in case.steps] == ["opened", "asked", "looked", "looked", "found", "closed"]
    assert [(one.name, one.there, one.waited_for) for one in case.samples] == [
        ("Sheet 3", True, False),
        ("end piece", False, False),
    ]
    assert (case.rolls, case.batches, missing_next(case)) == (("W-1",), ("E-1", "E-2"), ())


def test_numbers_follow_one_another(book):
    """Each new case gets the next number, and its steps go to it alone."""
    second = book.take(None, UNTRACED)
    book.take(2, seeing(saw="the whole roll"))
    assert second.name == "C-0002"
    assert [case.saw for case in book.cases()] == [("a scratch",), ("fog", "the whole roll")]


@pytest.mark.parametrize("what", list(LookedAt))
def test_a_finding_rests_on_something_that_is_there(what):
    """A finding that names a trace, photograph or sample the case doesn't have is refused, and taken when it has it."""
    book = Book()
    book.take(None, UNTRACED)
    body = finding_of(Finding.LAB, why="fog to the edge", looked_at=[what])
    with pytest.raises(InputError, match="needs a look"):
        book.take(1, body)
    assert "get something to look at" in missing_next(book.cases()[0])[0]
    book.take(
        1,
        {
            LookedAt.TRACE: seeing(saw="") | traced(at="1 m", trace={}, touched=[TOUCHED]),
            LookedAt.PHOTOGRAPH: with_photographs(seeing(saw=""), PHOTOGRAPH),
            LookedAt.SAMPLE: looking(sample="sheet 3", saw="nothing"),
        }[what],
    )
    assert book.take(1, body).finding is Finding.LAB


def test_a_finding_names_what_was_looked_at(book):
    """A finding without a look at anything is refused, although there is a trace."""
    with pytest.raises(InputError, match="This case has: trace"):
        book.take(1, finding_of(Finding.OURS, why="surely", looked_at=[]))


def test_a_sample_that_is_gone_is_no_look(book):
    """A retained sample that isn't there any more is no longer waited for, and no finding rests on it."""
    book.take(1, sample_asking(["sheet 3"]))
    book.take(1, looking(sample="sheet 3", saw="", there=False))
    with pytest.raises(InputError, match="got 'sample'"):
        book.take(1, finding_of(Finding.OURS, why="surely", looked_at=[LookedAt.SAMPLE]))


def test_closing_needs_a_finding(book):
    """A case without a finding can't be closed."""
    with pytest.raises(InputError, match="needs a finding"):
        book.take(1, closing(outcome="sorry"))


def test_a_closed_case_stays_as_it_is(book):
    """Nothing is added to a closed case until it is reopened with a reason; then it must be found anew."""
    book.take(1, FOUND)
    book.take(1, closing(outcome="replaced"))
    steps = [seeing(saw="more"), sample_asking(["a"]), looking(sample="a", saw="b"), FOUND, closing(outcome="again")]
    for body in steps:
        with pytest.raises(InputError, match="must be reopened"):
            book.take(1, body)
    case = book.take(1, reopening(why="a second roll came back"))
    assert (case.state, case.finding, case.outcome) == (ComplaintState.OPEN, None, "")
    with pytest.raises(InputError, match="needs a finding"):
        book.take(1, closing(outcome="again"))


def test_only_a_closed_case_is_reopened(book):
    """Reopening a case that isn't closed is refused."""
    with pytest.raises(InputError, match="only a closed case"):
        book.take(1, reopening(why="to be sure"))


def test_ours_asks_for_the_recall_list(book):
    """A finding of ours asks for the recall list until one is written for the case or its finished roll."""
    case = book.take(1, FOUND)
    assert "recall list" in missing_next(case)[0]
    book.add("recall", {"finished": "W-9/009-09", "rolls": ["x"]})
    assert book.cases()[0].recalls == ()
    book.add("recall", {"finished": "W-1/001-01", "rolls": ["W-1/001-02", "W-1/001-03"]})
    (case,) = book.cases()
    assert [one.rolls for one in case.recalls] == [("W-1/001-02", "W-1/001-03")]
    assert missing_next(case) == ("close it with its outcome",)
    book.add("recall", {"case": "C-0001", "rolls": ["W-1/001-04"]})
    assert len(book.cases()[0].recalls) == 2


def test_a_recall_list_from_before_the_case_counts_for_it():
    """Written from the trace before anybody opened the complaint, the list isn't asked for again; another roll's is."""
    book = Book()
    book.add("recall", {"finished": "W-1/001-01", "rolls": ["W-1/001-02"]})
    book.add("recall", {"finished": "W-9/009-09", "rolls": ["x"]})
    book.take(None, OPENING)
    (case,) = book.cases()
    assert [one.rolls for one in case.recalls] == [("W-1/001-02",)]
    assert missing_next(book.take(1, FOUND)) == ("close it with its outcome",)


def test_a_place_that_is_measured_again_moves_the_case(book):
    """A new place takes the place of the old, but the roll the case touched before keeps its steps in the record."""
    moved = Touched(roll="W-2", batches=("E-3",), along_from_m=1.0, along_to_m=2.0)
    case = book.take(1, seeing(saw="") | traced(at="2 m", trace={"schema": "t"}, touched=[moved]))
    assert (case.at, case.rolls, case.batches) == ("2 m", ("W-2",), ("E-3",))
    assert book.events[-1].body["rolls"] == ["W-1", "W-2"]


def test_cases_are_found_by_what_they_touch(book):
    """A case shows on its wide roll and on each batch it may come from, and closed ones aren't open."""
    book.take(None, UNTRACED)
    book.take(1, FOUND)
    cases = book.cases()
    assert [case.number for case in of_roll(cases, "W-1")] == [1]
    assert [case.number for case in of_batches(cases, ["E-2", "E-7"])] == [1]
    assert of_roll(cases, "W-9") == of_batches(cases, ["E-7"]) == ()
    book.take(1, closing(outcome="replaced"))
    assert [case.number for case in still_open(book.cases())] == [2]


def test_a_sample_is_asked_for_once(book):
    """A sample that is waited for, or named twice, isn't asked for again; one that was looked at may be."""
    with pytest.raises(InputError, match="named once"):
        sample_asking(["sheet 3", "Sheet 3"])
    with pytest.raises(InputError, match="named once"):
        sample_asking([])
    book.take(1, sample_asking(["sheet 3"]))
    with pytest.raises(InputError, match="asked for again"):
        book.take(1, sample_asking(["SHEET 3"]))
    book.take(1, looking(sample="sheet 3", saw="a scratch"))
    case = book.take(1, sample_asking(["sheet 3"]))
    assert [(one.waited_for, one.there, one.saw) for one in case.samples] == [(True, True, ("a scratch",))]


@pytest.mark.parametrize("text", ["", "  \n", "x" * 2001, "red\x1b[31m", "a\u0000b", "\udc80"])
def test_words_are_words(text):
    """Empty, endless and unprintable texts are refused, and the field is named."""
    with pytest.raises(InputError, match="--saw"):
        opening(finished="W-1/001-01", saw=text)
    with pytest.raises(InputError, match="--why"):
        reopening(why=text)


@pytest.mark.parametrize("text", ["", "C-", "C-0000", "0", "-1", "C-1.5", "case 3", "٣"])
def test_what_is_no_number_of_a_case(text):
    """A text that is no number of a case is refused with an example."""
    with pytest.raises(InputError, match="C-0003"):
        case_number(text)


def test_an_unknown_case_is_refused(book):
    """A step of a case that isn't there is refused, and the last cases are named."""
    with pytest.raises(InputError, match="The last are: C-0001"):
        book.take(7, seeing(saw="more"))


@pytest.mark.parametrize(
    "body",
    [
        {"case": "C-0009", "step": "seen", "saw": "x"},
        {"case": "C-0001", "step": "sung"},
        {"case": "first", "step": "seen"},
        {"step": "seen"},
        {"case": "C-0001", "step": "found", "finding": "theirs", "why": "x", "looked_at": []},
        {"case": "C-0001", "step": "asked", "samples": "sheet 3"},
        {"case": "C-0001", "step": "seen", "saw": 3},
    ],
)
def test_an_event_that_is_no_step_is_named(book, body):
    """An event of the record that isn't a step of a complaint is named by its number."""
    book.add("complaint", body)
    with pytest.raises(RecordError, match="event 2"):
        book.cases()


_STEPS = {
    "see": seeing(saw="more"),
    "photograph": with_photographs(seeing(saw=""), PHOTOGRAPH),
    "ask": sample_asking(["sheet 3"]),
    "look": looking(sample="sheet 3", saw="a scratch"),
    "find": finding_of(Finding.LAB, why="fog", looked_at=[LookedAt.SAMPLE]),
    "close": closing(outcome="told"),
    "reopen": reopening(why="new"),
}


@given(st.lists(st.sampled_from(sorted(_STEPS)), max_size=12))
def test_any_order_of_steps_obeys_the_rules(order):
    """Whatever is tried in whatever order, a step is taken just when a plain account of the rules allows it."""
    book = Book()
    book.take(None, UNTRACED)
    closed = found = looked = waiting = False
    for name in order:
        allowed = closed if name == "reopen" else not closed
        allowed &= {"find": looked, "close": found, "ask": not waiting}.get(name, True)
        before = len(book.events)
        try:
            case = book.take(1, _STEPS[name])
        except InputError:
            assert not allowed
            assert len(book.events) == before
            continue
        assert allowed
        waiting = (waiting or name == "ask") and name != "look"
        looked |= name == "look"
        found = (found or name == "find") and name != "reopen"
        closed = (closed or name == "close") and name != "reopen"
        assert (case.closed, case.finding is not None) == (closed, found)
        assert any(one.waited_for for one in case.samples) == waiting
        assert bool(missing_next(case)) != closed
        assert canonical_bytes(dict(book.events[-1].body))
