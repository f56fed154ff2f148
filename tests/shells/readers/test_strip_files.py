from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from wideroll.errors import InputError
from wideroll.readers import read_bare_strips, read_strips
from wideroll.roll import Extent, Place
from wideroll.sensitometry import Record, Strip, StripKind, log_exposure, step_tablet

STEPS = 7
LOG_H = log_exposure(100.0, 0.01, step_tablet(STEPS, 0.15))
EXPOSURE = f"illuminance_lx = 100\ntime_s = 0.01\nsteps = {STEPS}\nincrement_density = 0.15\n"
LISTED = "strip,kind,run,along,across\nS-1,check,P1,12.5 m,9 3/8 in\nref-1,reference,P1,-,-\n"
ROWS = [
    f"{name},{step},{0.2 + 0.1 * (STEPS - step):.2f},{visual}"
    for name, visual in (("S-1", 0.4), ("ref-1", 0.41))
    for step in range(1, STEPS + 1)
]
HEADER = "strip,step,red,visual"
WHOLE = Extent(along_from_m=0.0, along_to_m=40.0, across_from_mm=0.0, across_to_mm=1380.0)
Write = Callable[..., Path]


@pytest.fixture
def folder(tmp_path: Path) -> Write:
    """The strips of a roll, with one of its files replaced."""

    def write(*, exposure: str = EXPOSURE, strips: str = LISTED, rows: list[str] = ROWS, header: str = HEADER) -> Path:
        (tmp_path / "exposure.toml").write_text(exposure, encoding="utf-8")
        (tmp_path / "strips.csv").write_text(strips, encoding="utf-8")
        (tmp_path / "readings.csv").write_text("\n".join([header, *rows]), encoding="utf-8")
        return tmp_path

    return write


def _with(number: int, row: str) -> list[str]:
    return [*ROWS[:number], row, *ROWS[number + 1 :]]


def _same(one: Strip, other: Strip) -> None:
    assert (one.name, one.kind, one.run, one.place) == (other.name, other.kind, other.run, other.place)
    np.testing.assert_array_equal(one.log_h, other.log_h)
    assert set(one.density) == set(other.density)
    for record, density in one.density.items():
        np.testing.assert_array_equal(density, other.density[record])


def test_strips_as_the_lab_left_them(folder: Write) -> None:
    """Exposures ascend with their densities beside them, places come in metres and millimetres."""
    check, reference = read_strips(folder(), WHOLE)
    assert (check.name, check.kind, check.run) == ("S-1", StripKind.CHECK, "P1")
    assert check.place == Place(along_m=12.5, across_mm=238.125)
    np.testing.assert_allclose(check.log_h, np.sort(LOG_H))
    np.testing.assert_allclose(check.density[Record.RED], 0.2 + 0.1 * np.arange(STEPS))
    assert set(check.density) == {Record.RED, Record.VISUAL}
    assert reference.kind is StripKind.REFERENCE


def test_a_reference_strip_has_no_place(folder: Write) -> None:
    """A reference strip comes from no place on the roll; one with a place is a check strip under the wrong name."""
    assert read_strips(folder(), WHOLE)[1].place is None
    empty = LISTED.replace("ref-1,reference,P1,-,-", "ref-1,reference,P1,,-")
    assert read_strips(folder(strips=empty), WHOLE)[1].place is None
    placed = LISTED.replace("ref-1,reference,P1,-,-", "ref-1,reference,P1,1 m,400 mm")
    with pytest.raises(InputError, match="isn't cut from the roll"):
        read_strips(folder(strips=placed), WHOLE)


@settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(mixed=st.permutations(ROWS))
def test_the_order_of_the_rows_is_free(folder: Write, mixed: list[str]) -> None:
    """However the readings are ordered, reversed or mixed between strips, the strips are the same."""
    for rows in (mixed, ROWS[::-1]):
        for one, other in zip(read_strips(folder()), read_strips(folder(rows=rows)), strict=True):
            _same(one, other)


def test_a_tablet_of_its_own_densities(folder: Write) -> None:
    """A tablet given step by step is the same as one of equal steps, whichever end comes first."""
    densities = [round(0.15 * step, 2) for step in range(STEPS)]
    given_ = f"illuminance_lx = 100\ntime_s = 0.01\nstep_density = {densities}\n"
    for one, other in zip(read_strips(folder()), read_strips(folder(exposure=given_)), strict=True):
        np.testing.assert_allclose(one.log_h, other.log_h)
    reversed_ = f"illuminance_lx = 100\ntime_s = 0.01\nstep_density = {densities[::-1]}\n"
    check = read_strips(folder(exposure=reversed_))[0]
    np.testing.assert_allclose(check.log_h, np.sort(LOG_H))
    np.testing.assert_allclose(check.density[Record.RED], 0.2 + 0.1 * np.arange(STEPS)[::-1])


def test_what_was_not_read_is_nan(folder: Write) -> None:
    """A dash leaves a hole at its step and record, and nowhere else."""
    check = read_strips(folder(rows=_with(0, "S-1,1,-,0.4")))[0]
    assert np.isnan(check.density[Record.RED]).tolist() == [False] * (STEPS - 1) + [True]
    assert np.isfinite(check.density[Record.VISUAL]).all()


def test_no_strips_were_taken(tmp_path: Path) -> None:
    """A roll without a folder of strips has none, which is no error."""
    assert read_strips(tmp_path / "strips") == ()


@pytest.mark.parametrize(
    ("rows", "where", "rule", "value"),
    [
        (_with(2, "# gone"), "readings.csv, strip S-1", "each of the tablet's 7 steps", "no step 3"),
        ([r for r in ROWS if r.startswith("ref") or ",4," in r], "strip S-1", "7 steps", "no step 1, 2, 3, 5, 6, 7"),
        (_with(2, "S-1,2,0.5,0.4"), "line 4, column step", "line 3 has it too", "2"),
        ([*ROWS, "S-1,8,0.1,0.1"], "line 16, column step", "steps 1 to 7", "8"),
        (_with(2, "S-1,0,0.5,0.4"), "line 4, column step", "steps 1 to 7", "0"),
        (_with(2, "S-1,3rd,0.5,0.4"), "line 4, column step", "a whole number", "3rd"),
        (_with(2, "S-1,3,4.1x,0.4"), "line 4, column red", "must be a number", "4.1x"),
        (_with(2, 'S-1,3,"4,1x",0.4'), "line 4, column red", "must be a number", "4,1x"),
        (_with(2, "S-1,3,,0.4"), "line 4, column red", "must not be empty", None),
        (_with(2, "S-1,3,NaN,0.4"), "line 4, column red", "must be a number", "NaN"),
        (_with(2, "S-1,3,0.4,-inf"), "line 4, column visual", "must be a number", "-inf"),
        (_with(2, "S-1,3,41,0.4"), "line 4, column red", "between 0 and 6", "41"),
        (_with(2, "S-1,3,0.4,-0.6"), "line 4, column visual", "between 0 and 6", "-0.6"),
        (_with(2, ",3,0.4,0.4"), "line 4, column strip", "must not be empty", None),
        (ROWS[:STEPS], "strips.csv, line 3, column strip", "has readings in readings.csv", "ref-1"),
        ([*ROWS, "S-2,1,0.1,0.1"], "readings.csv, line 16, column strip", "is listed in strips.csv", "S-2"),
    ],
)
def test_a_fault_in_the_readings_is_named(
    folder: Write, refused, rows: list[str], where: str, rule: str, value: str | None
) -> None:
    """Missing, repeated and unknown steps, text in numbers and slips of the point are named with their line."""
    with refused(where, rule=rule, value=value):
        read_strips(folder(rows=rows), WHOLE)


@pytest.mark.parametrize(
    ("old", "new", "where", "rule", "value"),
    [
        ("S-1,check", "S-1,test", "line 2, column kind", "check, reference", "test"),
        ("ref-1,reference,P1,-,-", "S-1,check,P1,2 m,5 in", "line 3, column strip", "listed once", "S-1"),
        ("S-1,check,P1", "S-1,check,", "line 2, column run", "must not be empty", None),
        ("12.5 m", "12.5", "line 2, column along", "a number and a unit", "12.5"),
        ("12.5 m", "-", "line 2, column along", "a number and a unit", "-"),
        ("12.5 m", "40 m", "line 2, column along", "lie on the roll, 40 m long and 1380 mm wide", "40 m"),
        ("12.5 m", "-1 m", "line 2, column along", "lie on the roll", "-1 m"),
        ("9 3/8 in", "60 in", "line 2, column across", "lie on the roll", "60 in"),
    ],
)
def test_a_fault_in_the_list_is_named(
    folder: Write, refused, old: str, new: str, where: str, rule: str, value: str | None
) -> None:
    """Unknown kinds, strips listed twice, and places without a unit or off the roll are named with their line."""
    assert old in LISTED
    with refused("strips.csv", where, rule=rule, value=value):
        read_strips(folder(strips=LISTED.replace(old, new)), WHOLE)


def test_readings_of_no_record_are_refused(folder: Write, refused) -> None:
    """A table of steps without a densitometer's channel says nothing."""
    rows = [row.rsplit(",", 2)[0] for row in ROWS]
    with refused("readings.csv, header", rule="red, green, blue, visual"):
        read_strips(folder(rows=rows, header="strip,step"))


def test_a_strip_read_twice_under_two_names_is_refused(folder: Write, refused) -> None:
    """No two strips read alike in every step and record: one of them is a copy."""
    rows = [*ROWS[:STEPS], *(row.replace("S-1", "ref-1") for row in ROWS[:STEPS])]
    with refused("strips.csv, line 3, column strip", rule="readings of its own; strip S-1 has the same", value="ref-1"):
        read_strips(folder(rows=rows))


@pytest.mark.parametrize("name", ["exposure.toml", "strips.csv", "readings.csv"])
def test_each_of_the_three_files_is_needed(folder: Write, refused, name: str) -> None:
    """A folder of strips without one of its files is incomplete, not empty."""
    where = folder()
    (where / name).unlink()
    with refused(name, rule="must be there"):
        read_strips(where)


@pytest.fixture
def bare(tmp_path: Path):
    """Read a file of somebody's own."""

    def read(text: str) -> tuple[Strip, ...]:
        path = tmp_path / "mine.csv"
        path.write_text(text, encoding="utf-8")
        return read_bare_strips(path, log_h_of_step=LOG_H)

    return read


def test_bare_files_by_step_and_by_log_h_are_the_same(bare) -> None:
    """Numbered steps, or their exposures: one strip, named after its file."""
    by_step = "step;visual\n" + "\n".join(f"{s};{0.2 + 0.1 * s}" for s in range(1, STEPS + 1))
    by_log_h = "visual;log_h\n" + "\n".join(f"{0.2 + 0.1 * s};{float(LOG_H[s - 1])!r}" for s in range(1, STEPS + 1))
    (one,), (other,) = bare(by_step), bare(by_log_h.replace(".", ","))
    assert (one.name, one.run, one.place) == ("mine", "", None)
    _same(one, other)


def test_several_strips_in_one_bare_file(bare) -> None:
    """With a column strip there are as many strips as names, in the order they come."""
    rows = [f"{name},{step},{0.1 * step}" for step in range(1, STEPS + 1) for name in ("b", "a")]
    assert [strip.name for strip in bare("\n".join(["strip,step,red", *rows]))] == ["b", "a"]


@pytest.mark.parametrize(
    ("text", "where", "rule"),
    [
        ("visual\n0.2\n", "mine.csv, header", "either a column step or a column log_h"),
        ("step,log_h,visual\n1,0,0.2\n", "mine.csv, header", "either a column step or a column log_h"),
        ("log_h\n0.2\n", "mine.csv, header", "at least one of the columns"),
        ("log_h,visual\n-1,0.2\n0,0.3\n-1.0,0.4\n", "line 4, column log_h", "given once"),
        ("log_h,visual\n-,0.2\n0,0.3\n", "line 2, column log_h", "must be a number"),
        ("log_h,visual\n-inf,0.2\n0,0.3\n", "line 2, column log_h", "must be a number"),
        ("strip,log_h,visual\na,-1,0.2\n,0,0.3\n", "line 3, column strip", "must not be empty"),
        ("step,visual\n1,0.2\n", "mine.csv, strip mine", "each of the tablet's 7 steps"),
    ],
)
def test_a_fault_in_a_bare_file_is_named(bare, refused, text: str, where: str, rule: str) -> None:
    """A file of one's own is read as strictly as a plant's."""
    with refused(where, rule=rule):
        bare(text)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    rows=st.lists(
        st.tuples(
            st.sampled_from(["a", "b", ""]),
            st.sampled_from(["1", "2", "-1", "", "-", "x", "1,5", "9"]),
            st.sampled_from(["0.2", "0,3", "-", "", "9", "nan"]),
        ),
        max_size=9,
    ),
    column=st.sampled_from(["step", "log_h"]),
)
def test_no_bare_file_crashes_the_reader(bare, well_said, rows: list[tuple[str, str, str]], column: str) -> None:
    """Whatever stands in the cells, there are whole strips of finite ascending exposures, or an input error."""
    try:
        strips = bare("\n".join([f"strip;{column};red", *(";".join(row) for row in rows)]))
    except InputError as error:
        well_said(error, "mine.csv")
        return
    for strip in strips:
        assert np.all(np.diff(strip.log_h) > 0)
        assert np.isfinite(strip.log_h).all()
        assert len(strip.density[Record.RED]) == len(strip.log_h)
