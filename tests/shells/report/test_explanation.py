"""The tree behind a verdict, of assessments made by hand, and its lines."""

import math
from collections import Counter
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from wideroll.release import Bound, Consequence, Criterion, Measurand, Reason, Region, Verdict
from wideroll.release.looks import DetectedShare, Looked
from wideroll.release.model import Finding, Reading
from wideroll.report.explanation import Fact, Kind, Node, Origins, Segment, explain, explanation_json, outline, walk
from wideroll.report.explanation.criteria import MEANINGS, asked, rule_of_rate, rule_of_reading
from wideroll.roll import Extent

WEB = Extent(along_from_m=0.0, along_to_m=10.0, across_from_mm=0.0, across_to_mm=1000.0)
ORIGINS = Origins(roll="4711", fingerprint="f" * 64)
RATE = Criterion(name="Spots", measurand=Measurand.MARK_RATE, limit=3.0, unit="per m²", consequence=Consequence.REJECT)
SPEED = Criterion(
    name="Speed", measurand=Measurand.READING, limit=0.06, unit="log H", consequence=Consequence.HOLD, subject="speed"
)
LANES = (
    "rate of marks (spot) of 0.5 mm or more of contrast 5 % or more for each lane of 35 mm: "
    "at most 3 per m², risk 5 %; else reject"
)
WORDS = st.text(st.sampled_from("abc äµ−.,"), max_size=60)
TREES = st.recursive(
    st.builds(Node, kind=st.just(Kind.GROUP), title=WORDS),
    lambda below: st.builds(
        Node,
        kind=st.sampled_from([Kind.GROUP, Kind.FINDING]),
        title=WORDS,
        facts=st.lists(st.builds(Fact, name=WORDS, value=WORDS), max_size=2).map(tuple),
        children=st.lists(below, max_size=3).map(tuple),
    ),
    max_leaves=8,
)


def _finding(found, low, high, **more):
    return Finding(
        criterion="Spots",
        extent=WEB,
        limit=3.0,
        found=found,
        low=low,
        high=high,
        margin=3.0 - found,
        unit="per m²",
        verdict=Verdict.RELEASE,
        reason=Reason.WITHIN_LIMIT,
        why="Because.",
        source="scan",
        **more,
    )


def test_every_reason_has_its_meaning():
    """No reason code stands in a tree without a sentence about it."""
    assert set(MEANINGS) == set(Reason)


def test_each_finding_stands_once(assessment):
    """A finding that speaks of several parts is told under the first and only named under the others."""
    tree = explain(assessment, ORIGINS)
    told = Counter(node.values["finding"] for node in walk(tree) if node.kind is Kind.FINDING)
    assert told == dict.fromkeys(range(1, len(assessment.decision.findings) + 1), 1)


def test_nothing_known_is_explained_too(bare):
    """A roll without any evidence has a tree that says so."""
    tree = explain(bare, ORIGINS)
    assert tree.title == "4711: HOLD"
    assert "Nothing was looked at" in [node.title for node in walk(tree)]


def test_only_strips_that_are_asked_for(assessment):
    """Where only streaks are asked about, no strip is shown."""
    kinds = {node.kind for node in walk(explain(assessment, ORIGINS, about=("Streak contrast",)))}
    assert Kind.FINDING in kinds
    assert Kind.STRIP not in kinds


def test_the_json_holds_no_number_that_json_lacks(assessment):
    """What isn't known is null, so that every program can read the tree."""

    def check(value):
        assert not (isinstance(value, float) and not math.isfinite(value))
        for below in value.values() if isinstance(value, dict) else value if isinstance(value, list) else ():
            check(below)

    check(explanation_json(explain(assessment, ORIGINS)))


@pytest.mark.parametrize(
    ("criterion", "words"),
    [
        (RATE, "rate of marks: at most 3 per m², risk 5 %; else reject"),
        (SPEED, "reading of speed: within ± 0.06 log H, risk 5 %; else hold"),
        (replace(SPEED, aim=130.0, limit=3.0, unit="µm"), "reading of speed: within 130 ± 3 µm, risk 5 %; else hold"),
        (replace(SPEED, bound=Bound.LEAST, limit=2.0), "reading of speed: at least 2 log H, risk 5 %; else hold"),
        (
            replace(SPEED, measurand=Measurand.GRADE, subject="", kinds=("spot",), limit=2.0, grades=("A", "B", "C")),
            "grade (spot): no worse than B of A, B, C; else hold",
        ),
        (
            replace(RATE, region=Region.LANE, lane_mm=35.0, kinds=("spot",), least_size_mm=0.5, least_contrast=0.05),
            LANES,
        ),
        (
            replace(RATE, measurand=Measurand.COVERAGE, subject="scan", limit=0.98),
            "coverage by scan: at least 98 % of what isn't cut out; else reject",
        ),
    ],
)
def test_what_a_criterion_asks_in_words(criterion, words):
    """The line that stands over a finding says what is judged, its limit, how surely, and what follows otherwise."""
    assert asked(criterion) == words


@pytest.mark.parametrize(("count", "area", "share"), [(0, 4.0, 1.0), (17, 9.1, 1.0), (17, 9.1, 0.8), (400, 50.0, 0.5)])
def test_the_formula_of_a_rate_gives_its_limits(count, area, share):
    """Limits by the formula shown are those by chi-square quantiles; it is shown only where they are the finding's."""
    seen = area * share
    low = stats.chi2.ppf(0.05, 2 * count) / 2.0 / seen if count else 0.0
    high = stats.chi2.ppf(0.95, 2 * count + 2) / 2.0 / seen
    detected = DetectedShare(value=share, low=share, high=share)
    looks = (Looked(source="scan", parts=((count, area),), detected=detected),)
    told = rule_of_rate(_finding(count / seen, low, high, looks=looks), RATE)
    assert f"χ²(0.95; 2·{count} + 2)" in told
    assert "χ²" not in rule_of_rate(_finding(count / seen, low, high * 1.01, looks=looks), RATE)


def test_two_sources_are_added_in_the_formula():
    """Counts and areas of two sources stand as a sum where their detection is known."""
    looks = (Looked(source="sheets", parts=((1, 2.0),)), Looked(source="scan", parts=((4, 8.0),)))
    low, high = stats.chi2.ppf(0.05, 10) / 20.0, stats.chi2.ppf(0.95, 12) / 20.0
    told = rule_of_rate(_finding(0.5, low, high, looks=looks), RATE)
    assert "(2 m² + 8 m²)" in told


def test_sources_that_contradict_are_told_apart():
    """Where limits are the widest of each source by itself, the rule says so and how improbable their difference is."""
    looks = (Looked(source="sheets", parts=((40, 4.0),)), Looked(source="scan", parts=((10, 50.0),)))
    low, high = stats.chi2.ppf(0.05, 20) / 100.0, stats.chi2.ppf(0.95, 82) / 8.0
    told = rule_of_rate(_finding(50 / 54, low, high, looks=looks), RATE)
    assert "the widest of each source by itself" in told
    assert "under 0.001" in told


def test_the_formula_of_a_reading_gives_its_probability():
    """The conformance probability shown with its formula is Student's."""
    reading = Reading(
        subject="speed",
        extent=WEB,
        value=0.02,
        low=0.0,
        high=0.06,
        unit="log H",
        source="strips",
        standard_uncertainty=0.02,
        degrees_of_freedom=5.0,
    )
    p = float(np.diff(stats.t.cdf([(-0.06 - 0.02) / 0.02, (0.06 - 0.02) / 0.02], 5.0))[0])
    finding = replace(_finding(0.02, 0.0, 0.06), limit=0.06, unit="log H", conformance=p)
    assert f"= {p:.2f}; needed 0.95" in rule_of_reading(finding, SPEED, reading)
    assert "F(" not in rule_of_reading(replace(finding, conformance=0.99), SPEED, reading)


def test_a_place_lies_in_one_file_of_the_scan():
    """The border between two files belongs to the later one, and no file holds what was never scanned."""
    files = (
        Segment(name="a", along_from_m=0.0, along_to_m=1.0),
        Segment(name="b", along_from_m=1.0, along_to_m=2.0),
        Segment(name="c", along_from_m=3.0, along_to_m=4.0),
    )
    origins = Origins(roll="4711", fingerprint="", segments=files)
    found = [origins.segment_at(along) for along in (0.0, 1.0, 2.5, 3.0)]
    assert [one.name if one else None for one in found] == ["a", "b", None, "c"]


@given(TREES, st.integers(min_value=60, max_value=120))
def test_lines_fit_and_lose_no_word(tree, width):
    """Lines are at most as wide as asked where no word is wider, and hold every word of the tree in its order."""
    lines = list(outline(tree, width=width))
    words = [
        word
        for node in walk(tree)
        for text in (node.title, *(f"{fact.name}: {fact.value}" for fact in node.facts))
        for word in text.split()
    ]
    assert " ".join(lines).split() == words
    room = max(width, 40 + 2 * (3 + max(_depths(tree))))
    assert all(len(line) <= room or len(line.split()) == 1 for line in lines)


def _depths(tree, depth=0):
    yield depth
    for child in tree.children:
        yield from _depths(child, depth + 1)


def test_long_lists_are_shortened_in_words():
    """Of many marks the first are shown, with how many more there are; a part that isn't released shows more."""
    marks = tuple(Node(kind=Kind.MARK, title=f"mark {n}") for n in range(50))
    short = list(outline(Node(kind=Kind.EVIDENCE, title="scan", children=marks)))
    assert short[-1].strip() == "and 47 more marks: --json has all"
    part = Node(kind=Kind.PART, title="Part 1", children=(Node(kind=Kind.EVIDENCE, title="scan", children=marks),))
    assert list(outline(part))[-1].strip() == "and 30 more marks: --json has all"


def test_alike_findings_are_counted_unless_asked_for():
    """A criterion met in many regions shows its worst in an outline; asked for, all; in JSON, always all."""
    findings = tuple(Node(kind=Kind.FINDING, title=f"finding {n}", alike=n > 2) for n in range(1, 6))
    group = Node(kind=Kind.GROUP, title="Criteria that are met", children=findings)
    assert list(outline(group)) == [
        "Criteria that are met",
        "  finding 1",
        "  finding 2",
        "  and 3 more findings, none of them worse: --about or --json has all",
    ]
    assert len(list(outline(group, brief=False))) == 6
    assert len(explanation_json(group)["children"]) == 5


def test_of_a_criterion_that_is_met_everywhere_the_worst_are_shown(assessment):
    """Those with the least margin stay, whatever order they stand in."""
    many = tuple(_finding(found, 0.0, 2.9) for found in (0.5, 2.0, 0.7, 2.5, 0.1))
    decision = replace(assessment.decision, findings=many, regions=(), criteria=(RATE,))
    tree = explain(replace(assessment, decision=decision), ORIGINS)
    shown = {node.values["found"]: node.alike for node in walk(tree) if node.kind is Kind.FINDING}
    assert shown == {0.5: True, 2.0: False, 0.7: True, 2.5: False, 0.1: True}
