"""Through any chain of handling, places go back to where they were coated and out again exactly."""

from dataclasses import dataclass
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wideroll.errors import ArgumentError
from wideroll.roll import Genealogy, Handling, Stretch, WebPlace

HALF = Fraction(1, 2)
LONG, WIDE = 6, 4


@dataclass(frozen=True)
class _Web:
    """The slow obvious version: a roll is rows of labelled cells of 1 m by 1 mm, and each cell lies turned or not."""

    rows: tuple[tuple[tuple[tuple[str, int, int], bool], ...], ...]

    @property
    def wide(self):
        return len(self.rows[0])

    def taken(self, cut):
        rows = [row[cut["left"] : cut["right"]] for row in self.rows[cut["from"] : cut["to"]]]
        if cut["reversed"]:
            rows.reverse()
        if cut["mirrored"]:
            rows = [row[::-1] for row in rows]
        return tuple(tuple((label, turned is not cut["turned"]) for label, turned in row) for row in rows)


def _coated(name):
    return _Web(tuple(tuple(((name, i, j), False) for j in range(WIDE)) for i in range(LONG)))


@st.composite
def _cut(draw, webs, wide):
    name = draw(st.sampled_from(sorted(n for n, web in webs.items() if web.wide >= wide)))
    start = draw(st.integers(0, len(webs[name].rows) - 1))
    left = draw(st.integers(0, webs[name].wide - wide))
    return {
        "parent": name,
        "from": start,
        "to": draw(st.integers(start + 1, len(webs[name].rows))),
        "left": left,
        "right": left + wide,
        **{flag: draw(st.booleans()) for flag in ("reversed", "mirrored", "turned")},
    }


@st.composite
def _families(draw):
    """Steps of any kind: wound over, cut, slit, spliced of several parents; beside them each roll's slow version."""
    webs = {name: _coated(name) for name in ("A", "B")}
    steps = []
    for number in range(draw(st.integers(1, 5))):
        wide = draw(st.integers(1, max(web.wide for web in webs.values())))
        cuts = [draw(_cut(webs, wide)) for _ in range(draw(st.integers(1, 3)))]
        child = f"roll {number}"
        webs[child] = _Web(tuple(row for cut in cuts for row in webs[cut["parent"]].taken(cut)))
        steps.append(Handling(child=child, stretches=tuple(_stretch(cut) for cut in cuts)))
    return Genealogy.of(steps), webs


def _stretch(cut):
    return Stretch(
        parent=cut["parent"],
        from_m=Fraction(cut["from"]),
        to_m=Fraction(cut["to"]),
        across_from_mm=Fraction(cut["left"]),
        across_to_mm=Fraction(cut["right"]),
        **{flag: cut[flag] for flag in ("reversed", "mirrored", "turned")},
    )


def _cells(webs):
    for name, web in webs.items():
        for i, row in enumerate(web.rows):
            for j, (label, turned) in enumerate(row):
                yield WebPlace(roll=name, along_m=i + HALF, across_mm=j + HALF), label, turned


@settings(max_examples=50)
@given(_families())
def test_every_place_is_where_the_moved_cells_say(made):
    """Every cell of every roll goes back to the coated cell that the moved cells have there, turned as it is."""
    family, webs = made
    for place, (roll, i, j), turned in _cells(webs):
        coated = family.coated(place)
        assert coated == WebPlace(roll=roll, along_m=i + HALF, across_mm=j + HALF, turned=turned)


@settings(max_examples=50)
@given(_families())
def test_a_coated_place_leads_to_all_its_places_and_no_other(made):
    """From a coated cell all cells of finished rolls with its label are found, each once; one cut away, nowhere."""
    family, webs = made
    finished = {name: web for name, web in webs.items() if not family.children.get(name)}
    where = {}
    for place, label, _ in _cells(finished):
        where.setdefault(label, set()).add((place.roll, place.along_m, place.across_mm))
    for name in ("A", "B"):
        for place, label, _ in _cells({name: webs[name]}):
            found = [(one.roll, one.along_m, one.across_mm) for one in family.finished(place)]
            assert len(found) == len(set(found))
            assert set(found) == where.get(label, set())


@settings(max_examples=50)
@given(_families(), st.integers(0, 996), st.integers(0, 996))
def test_there_and_back_is_exact(made, part, across):
    """Any place, not only a cell's middle, is among the finished places of where it was coated, exactly."""
    family, webs = made
    for name in (name for name in webs if not family.children.get(name)):
        web = webs[name]
        along_m, across_mm = Fraction(part, 997) * len(web.rows), Fraction(across, 997) * web.wide
        place = WebPlace(roll=name, along_m=along_m, across_mm=across_mm)
        assert place in family.finished(family.coated(place))


@settings(max_examples=50)
@given(_families())
def test_one_step_from_the_coated_rolls_does_what_all_steps_do(made):
    """The composed step gives every place the coated place that the steps one after the other give."""
    family, webs = made
    for name, web in webs.items():
        whole = family.from_coated(name)
        if whole is None:
            assert name in {"A", "B"}
            continue
        assert whole.length_m == len(web.rows)
        assert {stretch.parent for stretch in whole.stretches} <= {"A", "B"}
        for place, _, _ in _cells({name: web}):
            assert whole.place_on_parent(place) == family.coated(place)


@settings(max_examples=60)
@given(_families())
def test_every_metre_comes_from_one_metre(made):
    """The stretches of a roll, laid end to end, are as long as the roll, and a part of it is the parts of its parts."""
    family, webs = made
    for name, web in webs.items():
        long = Fraction(len(web.rows))
        middle = long * Fraction(3, 7)
        both = [*family.coated_stretches(name, Fraction(0), middle), *family.coated_stretches(name, middle, long)]
        assert sum(one.length_m for one in both) == long


def test_two_steps_that_make_one_roll_are_refused():
    """A roll is made once."""
    step = Handling.rewind(parent="A", child="B", length_m=Fraction(10))
    with pytest.raises(ArgumentError, match="roll B: one step makes a roll"):
        Genealogy.of([step, step])


def test_a_roll_made_of_itself_is_refused():
    """Steps that go round in a ring name the roll."""
    steps = [
        Handling.rewind(parent="C", child="B", length_m=Fraction(10)),
        Handling.rewind(parent="B", child="C", length_m=Fraction(10)),
    ]
    with pytest.raises(ArgumentError, match="no roll comes from itself"):
        Genealogy.of(steps)


@pytest.mark.parametrize(
    ("fields", "rule"),
    [
        ({"across_from_mm": Fraction(0)}, "a lane has two edges"),
        ({"across_from_mm": Fraction(5), "across_to_mm": Fraction(5)}, "second edge must lie past its first"),
        ({"mirrored": True}, "mirroring needs the width"),
    ],
)
def test_a_lane_that_can_not_be_is_refused(fields, rule):
    """One edge, no width, or a mirror without a width has no place across."""
    with pytest.raises(ArgumentError, match=rule):
        Stretch(parent="A", from_m=Fraction(0), to_m=Fraction(1), **fields)


def test_stretches_of_different_widths_are_refused():
    """A roll's edges run through."""
    lanes = tuple(
        Stretch(
            parent="A",
            from_m=Fraction(0),
            to_m=Fraction(1),
            across_from_mm=Fraction(0),
            across_to_mm=Fraction(wide),
        )
        for wide in (16, 35)
    )
    with pytest.raises(ArgumentError, match="all must be of one width"):
        Handling(child="B", stretches=lanes)


def test_a_stretch_past_its_parent_is_refused():
    """What was never there can't have been taken."""
    step = Handling.rewind(parent="A", child="B", length_m=Fraction(10))
    with pytest.raises(ArgumentError, match="between 0 and 10 m"):
        step.over(Stretch(parent="B", from_m=Fraction(5), to_m=Fraction(11)))
