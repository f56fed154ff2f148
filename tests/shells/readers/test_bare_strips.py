"""One file of somebody's own, in whichever form."""

import io
import itertools
import re
from collections.abc import Callable, Mapping
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from wideroll.errors import ArgumentError, InputError
from wideroll.readers import BareFile, read_bare_file
from wideroll.readers.wide_tables import Layout
from wideroll.sensitometry import Record, StripKind

STEPS = 6
TABLET = 0.15 * np.arange(STEPS)
CLEAR = 0.3
LOG_H = CLEAR - TABLET
Read = Callable[..., BareFile]
Densities = Mapping[str, Mapping[str, list[float | None]]]
FORMS = [*Layout, "exchange"]
_FIELD = {"red": "D_RED", "green": "D_GREEN", "blue": "D_BLUE", "visual": "D_VIS"}


@pytest.fixture
def read(tmp_path: Path) -> Read:
    """Read a text, or bytes, as a file of one's own."""

    def read(text: str | bytes, **more: object) -> BareFile:
        path = tmp_path / "mine.csv"
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        return read_bare_file(path, log_h_of_step=LOG_H, log_h_clear=CLEAR, **more)

    return read


def _cell(value: float | None, sign: str) -> str:
    return "-" if value is None else f"{value:.3f}".replace(".", sign)


def _lines(form: str, strips: Densities, sign: str) -> list[list[str]]:
    """The cells of a table, header first."""
    records = list(next(iter(strips.values())))
    steps = range(STEPS)
    if form == Layout.STRIPS_ABREAST:
        head = ["step", *(f"{name} {record}" for name in strips for record in records)]
        return [
            head,
            *(
                [str(step + 1), *(_cell(strips[name][record][step], sign) for name in strips for record in records)]
                for step in steps
            ),
        ]
    if form == Layout.LINE_PER_STRIP:
        head = ["strip", *(f"{record}_{step + 1}" for record in records for step in steps)]
        return [
            head,
            *([name, *(_cell(own[r][step], sign) for r in records for step in steps)] for name, own in strips.items()),
        ]
    if form == Layout.LINE_PER_RECORD:
        head = ["strip", "record", *(str(step + 1) for step in steps)]
        return [
            head,
            *(
                [name, record, *(_cell(own[record][step], sign) for step in steps)]
                for name, own in strips.items()
                for record in records
            ),
        ]
    return [
        ["strip", "step", *records],
        *(
            [name, str(step + 1), *(_cell(own[record][step], sign) for record in records)]
            for name, own in strips.items()
            for step in steps
        ),
    ]


def _written(form: str, strips: Densities, *, separator: str = ";", sign: str = ".") -> str:
    if form != "exchange":
        return "".join(separator.join(line) + "\n" for line in _lines(form, strips, sign))
    (_, _, *records), *sets = _lines(Layout.LONG, strips, sign)
    fields = ["STRIP", "STEP", *(_FIELD[record] for record in records)]
    body = "".join(f'"{name}" ' + " ".join(values) + "\n" for name, *values in sets)
    return (
        f'ISO28178\nORIGINATOR "a lab" # not us\nNUMBER_OF_FIELDS {len(fields)}\nBEGIN_DATA_FORMAT\n'
        f"{' '.join(fields)}\nEND_DATA_FORMAT\nNUMBER_OF_SETS {len(sets)}\nBEGIN_DATA\n{body}END_DATA\n"
    )


def _found(file: BareFile) -> Densities:
    """The densities in the order of the tablet's steps, as they were written."""
    assert all(np.array_equal(strip.log_h, np.sort(LOG_H)) for strip in file.strips)
    return {
        strip.name: {
            record.value: [None if np.isnan(d) else round(float(d), 3) for d in strip.density[record][::-1]]
            for record in strip.density
        }
        for strip in file.strips
    }


_NAMES = st.text(st.sampled_from("ABCab12 -äµ"), min_size=1, max_size=6).map(str.strip).filter(lambda name: name != "")


@st.composite
def _strips(draw: st.DrawFn) -> Densities:
    names = draw(st.lists(_NAMES, min_size=1, max_size=3, unique_by=str.lower))
    records = draw(st.sampled_from([["red"], ["visual"], ["red", "green", "blue"]]))
    density = st.none() | st.integers(0, 6000).map(lambda n: n / 1000)
    return {
        name: {record: draw(st.lists(density, min_size=STEPS, max_size=STEPS)) for record in records} for name in names
    }


@settings(max_examples=200, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    strips=_strips(),
    form=st.sampled_from(FORMS),
    separator_and_sign=st.sampled_from([(";", ","), (";", "."), ("\t", ","), ("\t", "."), (",", ".")]),
    ends=st.sampled_from(["\n", "\r\n", "\r"]),
    mark=st.sampled_from([b"", b"\xef\xbb\xbf"]),
)
def test_what_is_written_in_any_form_is_read_back(
    read: Read, strips: Densities, form: str, separator_and_sign: tuple[str, str], ends: str, mark: bytes
) -> None:
    """Any strips, in each form, with any separator, decimal sign, line end and byte order mark, come back equal."""
    separator, sign = separator_and_sign
    text = _written(form, strips, separator=separator, sign=sign)
    file = read(mark + text.replace("\n", ends).encode())
    assert _found(file) == {name: dict(own) for name, own in strips.items()}
    assert file.exposed_by == "step"
    assert str(form if form in set(Layout) else "ISO 28178") in file.form


SAMPLE = {
    "A": {"red": [0.1, 0.2, 0.3, 0.4, 0.5, 0.6], "green": [0.2, 0.3, 0.4, 0.5, 0.6, 0.7]},
    "B": {"red": [0.15, 0.25, 0.35, 0.45, 0.55, None], "green": [0.2, 0.3, 0.4, 0.5, 0.6, 0.7]},
}


@settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data(), form=st.sampled_from(FORMS))
def test_a_damaged_file_is_read_or_refused(read: Read, well_said, data: st.DataObject, form: str) -> None:
    """A file cut off anywhere, or with bytes put into it, gives strips that can be used or one well said error."""
    whole = _written(form, SAMPLE).encode()
    start = data.draw(st.integers(0, len(whole)))
    end = data.draw(st.integers(start, len(whole)))
    noise = data.draw(st.binary(max_size=8) | st.sampled_from([b";", b'"', b"\n", b"1,2", b"END_DATA", b"\xa0", b"#"]))
    try:
        file = read(whole[:start] + noise + whole[end:])
    except InputError as error:
        well_said(error, "mine.csv")
        return
    for strip in file.strips:
        assert np.isfinite(strip.log_h).all()
        assert np.all(np.diff(strip.log_h) > 0)
        assert all(len(d) == len(strip.log_h) for d in strip.density.values())


@settings(max_examples=200, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.binary(max_size=200))
def test_no_bytes_crash_the_reader(read: Read, well_said, data: bytes) -> None:
    """Bytes that were never a table give one well said error."""
    try:
        read(data)
    except InputError as error:
        well_said(error, "mine.csv")


@pytest.mark.parametrize("form", FORMS)
def test_the_order_of_lines_says_nothing(read: Read, form: str) -> None:
    """Steps, records or strips listed the other way round give the same readings."""
    if form == "exchange":
        head, data = _written(form, SAMPLE).split("BEGIN_DATA\n")
        sets = data.removesuffix("END_DATA\n").splitlines(keepends=True)
        text = f"{head}BEGIN_DATA\n{''.join(sets[::-1])}END_DATA\n"
    else:
        first, *lines = _written(form, SAMPLE).splitlines(keepends=True)
        text = first + "".join(lines[::-1])
    assert _found(read(text)) == SAMPLE


def test_step_density_and_log_h_say_the_same_as_steps(read: Read) -> None:
    """A tablet's measured densities, with or without steps, or exposures worked out already, give the same strip."""
    red = SAMPLE["A"]["red"]
    by_step = read(_written(Layout.LONG, {"mine": {"red": red}}))
    for head, cells in (
        ("step_density", [repr(float(d)) for d in TABLET]),
        ("step,step_density", [f"{n},{float(d)!r}" for n, d in enumerate(TABLET, 1)]),
        ("log_h", [repr(float(x)) for x in LOG_H]),
    ):
        rows = [f"{cell},{d}" for cell, d in zip(cells, red, strict=True)]
        file = read("\n".join([f"{head},red", *rows]))
        assert file.exposed_by == head.rsplit(",", maxsplit=1)[-1]
        np.testing.assert_allclose(file.strips[0].log_h, by_step.strips[0].log_h, atol=1e-12)
        np.testing.assert_array_equal(file.strips[0].density[Record.RED], by_step.strips[0].density[Record.RED])


@pytest.mark.parametrize("form", [Layout.LONG, Layout.LINE_PER_STRIP, Layout.LINE_PER_RECORD])
def test_reference_strips_are_told_from_check_strips(read: Read, form: Layout) -> None:
    """Columns kind and run say which strips are references and what they ran with."""
    head, *lines = _lines(form, SAMPLE, ".")
    about = {"A": ["check", "7"], "B": ["Reference", "7"]}
    rows = [[*head, "kind", "run"], *([*line, *about[line[0]]] for line in lines)]
    file = read("\n".join("\t".join(row) for row in rows))
    assert [(s.name, s.kind, s.run) for s in file.strips] == [
        ("A", StripKind.CHECK, "7"),
        ("B", StripKind.REFERENCE, "7"),
    ]


def test_cells_of_a_spreadsheet_are_read(read: Read) -> None:
    """Non-breaking spaces around a number, a typographic minus and empty lines are no fault."""
    rows = [f"{n}\t\u00a0−0,0{n}\u202f" for n in range(1, STEPS + 1)]
    file = read("step\tred\n\n" + "\n\t\n".join(rows))
    assert [round(float(d), 3) for d in file.strips[0].density[Record.RED]] == [
        -0.06,
        -0.05,
        -0.04,
        -0.03,
        -0.02,
        -0.01,
    ]


def test_numbers_in_quotes_may_have_commas(read: Read) -> None:
    """Where commas separate cells, quoted decimal commas are read."""
    rows = [f'{n},"0,{n}"' for n in range(1, STEPS + 1)]
    file = read("\n".join(["step,red", *rows]))
    assert file.strips[0].density[Record.RED][-1] == pytest.approx(0.1)


def test_a_pasted_table_is_named_by_its_columns(read: Read) -> None:
    """Cells alone are read when the columns are named, from any stream, and called after it."""
    text = "".join(f"{n}\t0,{n}\t1,{n}\n" for n in range(1, STEPS + 1))
    stream = io.BytesIO(text.encode())
    file = read("not this", pasted=stream, columns=("step", "red", "Green"))
    (strip,) = file.strips
    assert (file.source, strip.name, set(strip.density)) == (
        "standard input",
        "standard input",
        {Record.RED, Record.GREEN},
    )
    assert strip.density[Record.GREEN][-1] == pytest.approx(1.1)


def test_exchange_text_of_one_strip_needs_no_field_of_ours(read: Read) -> None:
    """Without a field that says the step, the sample's number is it, and fields that aren't needed are passed over."""
    sets = "".join(f'{n} "patch {n}" 0.{n} 50.0 7\n' for n in range(1, STEPS + 1))
    file = read(
        'CGATS.17\nKEYWORD "NOTE"\nBEGIN_DATA_FORMAT\nSAMPLE_ID SAMPLE_NAME\nD_VIS LAB_L NOTE END_DATA_FORMAT\n'
        f"BEGIN_DATA\n# first the clear one\n{sets}END_DATA\nREMARK done\n"
    )
    (strip,) = file.strips
    assert strip.name == "mine"
    assert strip.density[Record.VISUAL][::-1].tolist() == pytest.approx([0.1, 0.2, 0.3, 0.4, 0.5, 0.6])


ROWS = [f"{n},0.{n}" for n in range(1, STEPS + 1)]


def _table(header: str, *rows: str) -> str:
    return "\n".join([header, *rows])


@pytest.mark.parametrize(
    ("text", "where", "rule", "value"),
    [
        (_table("step,red", *ROWS[:-1]), "strip mine", "each of the tablet's 6 steps", "no step 6"),
        (_table("step,red", *ROWS, ROWS[0]), "line 8, column step", "read once; line 2 has it too", "1"),
        (_table("step;red", "1;0.1", "2;0,2"), "line 3, column red", "one decimal sign", "0,2"),
        (_table("log_h;red", "1;1.234,5"), "line 2, column red", "must be a number", "1.234,5"),
        (_table("log_h;red", "1;0 ,5"), "line 2, column red", "must be a number", "0 ,5"),
        (_table("log_h;red", "1;0\u00a05"), "line 2, column red", "must be a number", "0\u00a05"),
        (_table("log_h;red", "1;１"), "line 2, column red", "must be a number", "１"),
        (_table("step,red", "1,0,35"), "line 2", "decimal comma can't be told", "3 cells"),
        (_table("step;red", "1;0,3;5"), "line 2", "2 cells like the header", "3 cells"),
        (_table("step,red", "1"), "line 2", "2 cells like the header", "1 cells"),
        (_table("step,red,Red", "1,1,1"), "line 1", "each column once", "Red"),
        (_table("step,red,", "1,1,1"), "line 1, column 3", "printable", ""),
        (_table("step,red,a\x07 red", "1,1,1"), "line 1, column 3", "printable", "a\x07 red"),
        (_table("step,red,A red", "1,1,1"), "line 1", "of one layout", "red and A red"),
        (_table("strip,red_1,2", "1,1,1"), "line 1", "of one layout", "red_1 and 2"),
        (_table("step,red,colour", "1,1,1"), "line 1", "has the columns strip, kind, run, step", "colour"),
        (_table("step,kind,A red", "1,check,1"), "line 1", "has the columns step, step_density, log_h", "kind"),
        (_table("strip,step,red_1", "A,1,1"), "line 1", "has the columns strip, kind, run", "step"),
        (_table("strip,1,2", "A,1,1"), "line 1", "must have a column record", None),
        (_table("strip,red_1,red_01", "A,1,1"), "line 1", "each step once", "red_01"),
        (_table("record,1,01", "red,1,1"), "line 1", "each step once", "1, 01"),
        (_table("strip,red_1,red_2,green_1", "A,1,1,1"), "line 1", "the same steps", "no green_2"),
        (_table("strip,red_1", "A,1", "A,2"), "line 3, column strip", "one line; line 2", "A"),
        (_table("red_1", "1", "2"), "line 3, column strip", "one line; line 2", None),
        (_table("strip,red_7", "A,1"), "line 1, column red_7", "steps 1 to 6", "7"),
        (_table("strip,red_0", "A,1"), "line 1, column red_0", "steps 1 to 6", "0"),
        (
            _table("red_1,red_2,red_3,red_4,red_5,red_6", "1x,1,1,1,1,1"),
            "line 2, column red_1",
            "must be a number",
            "1x",
        ),
        (_table("strip,red_1", ",1"), "line 2, column strip", "must not be empty", None),
        (_table("record,1", "cyan,1"), "line 2, column record", "red, green, blue, visual", "cyan"),
        (_table("record,1", "red,1", "red,2"), "line 3", "one line of red", None),
        (
            _table("record,1,2,3,4,5,6", "red,1,1,1,1,1,1", "green,1,1,61,1,1,1"),
            "line 3, column 3",
            "between 0 and 6",
            "61",
        ),
        (_table("log_h,A red", "1,x"), "line 2, column A red", "must be a number", "x"),
        (_table("step,A red", "x,1"), "line 2, column step", "whole number", "x"),
        (_table("kind,step,red", "test,1,0.1"), "line 2, column kind", "check, reference", "test"),
        (_table("kind,step,red", "check,1,0", "reference,2,0"), "line 3, column kind", "one kind; line 2", "reference"),
        (_table("run,step,red", "1,1,0", "2,2,0"), "line 3, column run", "one run", "2"),
        (_table("kind,record,1", "check,red,1", "reference,green,1"), "line 3, column kind", "one kind", "reference"),
        (_table("strip,step,red", f"{'x' * 121},1,1"), "line 2, column strip", "1 to 120", None),
        (_table("strip,step,red", "a\x07,1,1"), "line 2, column strip", "printable", None),
        (_table("step_density,red", "0.1,1", "0.10,2"), "line 3, column step_density", "given once", "0.10"),
        (_table("step_density,red", "9,1"), "line 2, column step_density", "between 0 and 6", "9"),
        (_table("step,step_density,red", "1,0,1", "1,1,2"), "line 3, column step", "read once", "1"),
        (_table("log_h,red", "11,1"), "line 2, column log_h", "between -10 and 10", "11"),
        (_table("step_density,log_h,red", "1,1,1"), "header", "either a column step or a column log_h", None),
        (_table("log_h,red", *(f"{n / 1000},1" for n in range(1001))), "line 1002, column log_h", "at most 1000", None),
        (_table("1,0.1", "2,0.2"), "line 1", "must name the columns", "1, 0.1"),
        ("", "mine.csv", "a header and rows", None),
        ("# only a remark\n", "mine.csv", "a header and rows", None),
        ("step,red\n", "mine.csv", "rows below its header", None),
        ('step,red\n1,"0.1\n', "line 2", "must be CSV", None),
        (b"step,red\n1,0.1\n2,\xe9\n", "line 3, byte 17", "UTF-8", "xe9"),
        (b"step,red\n1,0\0", "line 2", "without NUL bytes", None),
        ("step,red\n1,0".encode("utf-16"), "mine.csv, line 1", "UTF-8", None),
        ("step,red\n1,0".encode("utf-16-le"), "mine.csv, line 1", "without NUL bytes", None),
        (b"x" * (4 * 2**20 + 1), "mine.csv", "at most 4 MiB", None),
    ],
)
def test_a_fault_in_a_table_is_named(
    read: Read, refused, text: str | bytes, where: str, rule: str, value: str | None
) -> None:
    """Whatever is wrong in a table of one's own is named with its line and column as the file has them."""
    with refused("mine.csv", where, rule=rule, value=value):
        read(text)


def _exchange(
    *, fields: str = "SAMPLE_ID D_RED", sets: str | None = None, head: str = "", tail: str = "END_DATA"
) -> str:
    data = "".join(f"{n} 0.{n}\n" for n in range(1, STEPS + 1)) if sets is None else sets
    return f"CGATS.17\n{head}BEGIN_DATA_FORMAT\n{fields}\nEND_DATA_FORMAT\nBEGIN_DATA\n{data}{tail}\n"


@pytest.mark.parametrize(
    ("text", "where", "rule", "value"),
    [
        (_exchange(head="NUMBER_OF_SETS 7\n"), "NUMBER_OF_SETS", "what the file holds, 6", "7"),
        (_exchange(head="NUMBER_OF_FIELDS two\n"), "NUMBER_OF_FIELDS", "what the file holds, 2", "two"),
        (_exchange(tail=""), "line 5", "must end with END_DATA", None),
        (_exchange(fields="SAMPLE_ID D_CYAN"), "line 2, field D_CYAN", "the fields read are", "D_CYAN"),
        (_exchange(fields="SAMPLE_ID DENSITY"), "line 2, field DENSITY", "the fields read are", "DENSITY"),
        (_exchange(fields="D_RED D_RED"), "line 2, field D_RED", "each field once", "D_RED"),
        (_exchange(fields="SAMPLE_ID SAMPLE_ID"), "line 2, field SAMPLE_ID", "each field once", None),
        (_exchange(fields="SAMPLE_ID LAB_L"), "header", "at least one of the columns", None),
        (_exchange(fields="SAMPLE_NAME D_RED"), "header", "either a column step", None),
        (_exchange(sets="1 0.1\n1 0.2\n"), "line 7, field SAMPLE_ID", "each sample is there once; line 6", "1"),
        (_exchange(sets="1 0.1\n2 0.2 0.3\n"), "line 7", "each of the 2 fields", "3 values"),
        (_exchange(sets="1 0.1 2 0.2\n"), "line 6", "a set is a line", "4 values"),
        (
            _exchange(sets="1 0.1\n2 bright\n", fields="LOG_H D_RED"),
            "line 7, field D_RED",
            "must be a number",
            "bright",
        ),
        (
            _exchange(sets="1 0.1\n2 7.5\n", fields="STEP_DENSITY D_RED"),
            "line 7, field D_RED",
            "between 0 and 6",
            "7.5",
        ),
        (_exchange(sets="A1 0.1\n"), "line 6, field SAMPLE_ID", "whole number", "A1"),
        (_exchange(sets="1 0.1\n2 0,2\n"), "line 7, field D_RED", "one decimal sign", "0,2"),
        (_exchange(sets=""), "mine.csv", "at least one set", None),
        (_exchange(sets="1 0.1\n"), "strip mine", "6 steps", "no step 2, 3, 4, 5, 6"),
        (_exchange(sets='1 "0.1\n'), "line 6", "quotes must stand at both ends", None),
        (_exchange(sets='1 0"1"\n'), "line 6", "quotes must stand at both ends", None),
        (_exchange(fields=""), "line 2", "must name the fields", None),
        (_exchange(fields="a\x07"), "line 2", "printable name", None),
        (_exchange() + _exchange(), "line 14", "one table in a file", "a second BEGIN_DATA_FORMAT"),
        (_exchange() + "BEGIN_DATA\nEND_DATA\n", "line 13", "one table in a file", "a second BEGIN_DATA"),
        ("CGATS.17\nEND_DATA\n", "line 2", "must begin before it ends", "END_DATA"),
        ("CGATS.17\nBEGIN_DATA\nEND_DATA\n", "line 2", "BEGIN_DATA_FORMAT must stand before", None),
        ("CGATS.17\n", "mine.csv", "must have a section BEGIN_DATA_FORMAT", None),
        ("BEGIN_DATA_FORMAT\nD_RED\nEND_DATA_FORMAT\n", "mine.csv", "must have a section BEGIN_DATA", None),
        ("CGATS.17\nBEGIN_DATA_FORMAT\nD_RED\nBEGIN_DATA\n", "line 2", "must end with END_DATA_FORMAT", None),
        ("BEGIN_DATA_FORMAT D_RED END_DATA_FORMAT\nBEGIN_DATA 1\nEND_DATA\n", "line 2", "stand alone", "1"),
    ],
)
def test_a_fault_in_exchange_text_is_named(
    read: Read, refused, text: str, where: str, rule: str, value: str | None
) -> None:
    """Contradicted counts, missing ends, unknown fields and bad values are named with line and field."""
    with refused("mine.csv", where, rule=rule, value=value):
        read(text)


def test_names_of_columns_go_with_a_table_without_any(read: Read, refused) -> None:
    """Columns can't be named for exchange text, nor for a table whose header names them."""
    with refused("mine.csv", rule="names its own fields"):
        read(_exchange(), columns=("step", "red"))
    with refused("mine.csv, line 1", rule="has no header", value="step"):
        read(_table("step,red", *ROWS), columns=("step", "red"))
    with refused("mine.csv, line 1", rule="2 cells like the header"):
        read("1\t0,1\t0,2\n", columns=("step", "red"))
    with refused("mine.csv, option --columns", rule="each column once"):
        read("1\t0,1\t0,2\n", columns=("step", "red", "RED"))


def test_a_file_out_of_reach_is_refused(tmp_path: Path, refused) -> None:
    """A missing file, a folder: each is named with what to do."""
    with refused("nowhere.csv", rule="must be there"):
        read_bare_file(tmp_path / "nowhere.csv", log_h_of_step=LOG_H)
    with refused(tmp_path.name, rule="must be readable"):
        read_bare_file(tmp_path, log_h_of_step=LOG_H)


def test_densities_of_steps_need_the_light_before_them(tmp_path: Path) -> None:
    """Exposures behind a measured tablet can't be told without the light on it."""
    path = tmp_path / "mine.csv"
    path.write_text("step_density,red\n0,1\n")
    with pytest.raises(ArgumentError, match="log_h_clear"):
        read_bare_file(path, log_h_of_step=LOG_H)


def test_layouts_are_never_mixed_up() -> None:
    """No two layouts have a column of densities in common."""
    heads = {form: set(_lines(form, SAMPLE, ".")[0]) - {"strip", "step", "record"} for form in Layout}
    assert all(not heads[one] & heads[other] for one, other in itertools.combinations(Layout, 2))


def test_the_examples_of_the_reference_are_one_strip(tmp_path: Path) -> None:
    """Each form that the reference shows is read, and all of them say the same."""
    page = (Path(__file__).parents[3] / "docs" / "reference" / "files.md").read_text(encoding="utf-8")
    section = page.split("### Readings of your own\n")[1].split("\n### ")[0]
    examples = re.findall(r"^```\n(.*?)^```$", section, re.MULTILINE | re.DOTALL)
    tablet = LOG_H[:5]
    files = []
    for number, text in enumerate(examples):
        (path := tmp_path / f"{number}.csv").write_text(text, encoding="utf-8")
        files.append(read_bare_file(path, log_h_of_step=tablet))
    assert len({file.form for file in files}) == 5
    for file in files:
        (strip,) = file.strips
        assert strip.name == "A"
        assert strip.density[Record.RED].tolist() == [1.32, 1.74, 2.1, 2.33, 2.41]
        assert strip.density[Record.GREEN].tolist() == [1.55, 1.9, 2.21, 2.4, 2.52]
