"""How alike examiners see one another's sheets, their own again, and what the scanner saw."""

from dataclasses import replace

import numpy as np
import polars as pl
import pytest

from wideroll.examination import FilterColour, Seen, Sheet, SheetLook, Sighting
from wideroll.roll import MARKS_SCHEMA, Coverage, Extent, MarkKind, Place
from wideroll.workflow import scan_web
from wideroll.workflow.agreement import agree
from wideroll.workflow.agreement_model import RollSeen

WHOLE = Extent(along_from_m=0.0, along_to_m=10.0, across_from_mm=0.0, across_to_mm=1000.0)
SHEET = Sheet(name="A", extent=replace(WHOLE, along_to_m=5.0), examiner="Berta")
LOOKS = (
    SheetLook(name="R1", sheet="A", examiner="Anna", blind=True),
    SheetLook(name="R2", sheet="A", examiner="Berta", blind=True),
    SheetLook(name="R3", sheet="A", examiner="Anna", blind=False),
)
SCALE = ("1", "2", "3")


def spot(number, look="", *, size_mm=0.5, **said):
    """Thing number so and so, each at a place of its own."""
    place = Place(along_m=0.05 + 0.04 * number, across_mm=100.0 + 7.0 * number)
    return Sighting(
        **(
            {"sheet": "A", "kind": MarkKind.SPOT, "place": place, "size_mm": size_mm, "through": {}, "look": look}
            | said
        )
    )


def roll(sightings, **fields):
    """A roll with one sheet and its looks."""
    return RollSeen(**({"roll": "T-1", "sheets": (SHEET,), "looks": LOOKS, "sightings": tuple(sightings)} | fields))


@pytest.fixture(scope="module")
def scanned(raster):
    """Makes a scan of the whole roll with marks where things are, of sizes in mm."""
    blank = scan_web(raster())

    def make(sizes):
        rows = [
            {
                "id": f"m{number}",
                "along_m": 0.05 + 0.04 * number,
                "across_mm": 100.0 + 7.0 * number,
                "length_mm": size,
                "width_mm": size,
                "area_mm2": size,
                **dict.fromkeys(("contrast", "snr", "peak", "angle_deg", "ring"), 0.0),
                "elongation": 1.0,
                "polarity": "dark",
                "kind": "spot",
                "rule": "invented",
                "source": "line-1",
            }
            for number, size in sizes.items()
        ]
        marks = pl.DataFrame(rows, schema=MARKS_SCHEMA)
        return replace(blank, marks=marks, coverage=Coverage(seen=(WHOLE,)))

    return make


def test_a_pair_of_examiners_and_a_repeated_look():
    """Both, one alone and the other alone are counted; an open look isn't compared; names are sorted."""
    seen = [*(spot(n) for n in range(12)), *(spot(n, "R1") for n in range(6, 16)), *(spot(n, "R2") for n in range(11))]
    found = agree([roll([*seen, spot(30, "R3")])])
    rows = {(p.first, p.second): (p.both, p.only_first, p.only_second) for p in found.pairs}
    assert rows == {("Anna", "Berta"): (6, 4, 6), ("Berta", "Berta"): (11, 1, 0)}
    assert [pair.repeated for pair in found.pairs] == [False, True]
    there = found.pairs[0].there.together
    assert there.total == pytest.approx(11 * 13 / 7 - 1)
    assert there.hidden == pytest.approx(there.total - 16)
    assert found.sheets == 1


def test_sizes_are_taken_class_by_class():
    """The number there is adds the classes that the products' criteria make."""
    small = [*(spot(n, size_mm=0.2) for n in range(8)), *(spot(n, "R1", size_mm=0.2) for n in range(6, 14))]
    large = [spot(n, look, size_mm=2.0) for n in range(20, 30) for look in ("", "R1")]
    plain, classed = (agree([roll([*small, *large], borders_mm=b)]).pairs[0] for b in ((), (1.0,)))
    assert classed.there.together.hidden > 3 * plain.there.together.hidden
    assert len(classed.there.classes) == 2


def test_kinds_and_grades_get_their_kappa():
    """Kinds are compared plainly, grades with linear weights on the product's scale, three looks with Fleiss' kappa."""
    grades, others = "112233112233", "112233122233"
    kinds = (MarkKind.SPOT, MarkKind.BUBBLE)
    seen = [
        spot(n, look, grade=g, kind=kinds[n % 2])
        for look, scale in (("", grades), ("R1", others), ("R2", grades))
        for n, g in enumerate(scale)
    ]
    found = agree([roll(seen, scale=SCALE)])
    kind, grade = found.pairs[0].judged
    assert (kind.what, kind.things, kind.alike, kind.agreement.kappa) == ("kind", 12, 12, pytest.approx(1.0))
    assert (grade.what, grade.things, grade.alike) == ("grade, 1 to 3", 12, 11)
    assert 0.8 < grade.agreement.kappa < 1.0
    assert [group.what for group in found.groups] == ["kind", "grade, 1 to 3"]
    assert 0.8 < found.groups[1].agreement.kappa < 1.0


def test_too_few_are_said_in_words():
    """Three things give no number for what nobody saw and no kappa, but a reason."""
    seen = [spot(n, look, grade="1") for n in range(3) for look in ("", "R1")]
    (pair,) = [p for p in agree([roll(seen, scale=SCALE)]).pairs if not p.repeated]
    assert pair.there is None
    assert all(one.agreement is None and "too few" in one.why for one in pair.judged)
    same = [spot(n, look, grade="1") for n in range(12) for look in ("", "R1")]
    (pair,) = [p for p in agree([roll(same, scale=SCALE)]).pairs if not p.repeated]
    assert all("all were judged the same" in one.why for one in pair.judged)


def test_handling_dirt_is_nobody_s_miss():
    """What wipes off and only one look noted counts neither for nor against."""
    seen = [*(spot(n, look) for n in range(12) for look in ("", "R1")), spot(40, wipes_off=True, embedded=False)]
    (pair,) = [p for p in agree([roll(seen)]).pairs if not p.repeated]
    assert (pair.both, pair.only_first, pair.only_second) == (12, 0, 0)


def test_scanner_against_examiners_by_size(scanned):
    """Each thing is in the class of the scanner's size where it saw it, else of the examiner's."""
    seen = [*(spot(n, size_mm=0.3) for n in range(10)), *(spot(n, "R1", size_mm=2.0) for n in range(10, 22))]
    scan = scanned({**dict.fromkeys(range(5, 10), 0.4), **dict.fromkeys(range(12, 26), 1.5)})
    found = agree([roll(seen, scan=scan, borders_mm=(1.0,))]).scanner
    counts = [(one.both, one.first - one.both, one.second - one.both) for one in found.classes]
    assert counts == [(5, 5, 0), (10, 2, 4)]
    assert found.there.together.total == pytest.approx(sum(one.total for one in found.there.classes))
    assert found.plain.total == pytest.approx(23 * 20 / 16 - 1)


def test_where_the_scanner_did_not_look_it_missed_nothing(scanned):
    """Things outside the scan's coverage aren't held against it, and a roll without scan isn't compared."""
    seen = [spot(n) for n in range(12)]
    scan = scanned({})
    blind = replace(scan, coverage=Coverage(seen=(replace(WHOLE, across_to_mm=130.0),)))
    counts = [agree([roll(seen, scan=one)]).scanner.plain.first for one in (scan, blind)]
    assert counts == [12, 5]
    assert agree([roll(seen)]).scanner is None


def test_hits_are_what_others_saw_each_once(scanned):
    """A mark that scanner and another examiner saw is one trial; what the examiner alone saw is none."""
    seen = [spot(n) for n in range(10)] + [spot(n, "R1") for n in range(5, 15)]
    hits = {one.examiner: one for one in agree([roll(seen, scan=scanned(dict.fromkeys(range(8, 20), 0.5)))]).hits}
    assert (hits["Berta"].marks, hits["Berta"].seen) == (15, 5)
    assert (hits["Anna"].marks, hits["Anna"].seen) == (20, 10)
    assert "at least 60 marks" in hits["Anna"].why


def test_sizes_that_are_seen_come_back(scanned):
    """Over enough marks an examiner's a50 is near the one the sightings were made with."""
    random = np.random.Generator(np.random.PCG64(2))
    sizes = {n: float(size) for n, size in enumerate(np.exp(random.uniform(np.log(0.1), np.log(2.0), 110)).round(2))}
    seen = [spot(n, size_mm=size) for n, size in sizes.items() if random.random() < 1.0 / (1.0 + (0.4 / size) ** 5)]
    (hit,) = [one for one in agree([roll(seen, scan=scanned(sizes))]).hits if one.examiner == "Berta"]
    assert hit.marks == 110
    assert hit.curve.a50.size_mm == pytest.approx(0.4, rel=0.2)
    assert hit.curve.rises


def test_answers_become_a_proposal():
    """Unlike answers to one question raise the examiner's share, kind by kind; others stay usual."""
    looks = dict.fromkeys(FilterColour, Seen.DARKER)
    other = looks | {FilterColour.RED: Seen.SAME}
    seen = [spot(n, look, through=looks, embedded=True) for n in range(12) for look in ("", "R2")]
    seen += [spot(n, look, through=t) for n in range(12, 16) for look, t in (("", looks), ("R2", other))]
    (berta,) = agree([roll(seen)]).answers
    assert berta.examiner == "Berta"
    assert sorted(berta.shares) == ["filters", "touch"]
    assert berta.shares["filters"].answers == 96
    assert berta.proposed.filters > berta.proposed.touch
    assert berta.proposed.sections == 0.1
    assert berta.proposed.filters == round(berta.shares["filters"].share, 3)


def test_rolls_are_taken_together():
    """Two rolls give the sum of their counts; no roll gives nothing."""
    seen = [spot(n, look) for n in range(6) for look in ("", "R1")]
    one, two = agree([roll(seen)]), agree([roll(seen), roll(seen, roll="T-2")])
    assert two.pairs[0].both == 2 * one.pairs[0].both
    assert two.rolls == ("T-1", "T-2")
    assert agree([]).pairs == ()
