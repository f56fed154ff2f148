import math
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from wideroll.errors import InputError
from wideroll.readers.csv_tables import Row, read_table
from wideroll.roll import Side

COLUMNS = ("strip", "step", "red")


@pytest.fixture
def read(tmp_path: Path):
    """Read a table from its text or bytes."""

    def read(text: str | bytes, **options: object) -> list[Row]:
        path = tmp_path / "table.csv"
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        return read_table(path, **({"needed": COLUMNS} | options))

    return read


def _cells(rows: list[Row]) -> list[tuple[str, ...]]:
    return [tuple(row.cells[column] for column in COLUMNS) for row in rows]


@pytest.mark.parametrize(
    "text",
    [
        "strip,step,red\nS-1,1,0.21\n",
        "strip;step;red\nS-1;1;0.21\n",
        "strip\tstep\tred\nS-1\t1\t0.21\n",
        "\ufeffstrip,step,red\r\nS-1,1,0.21\r\n",
        "strip,step,red\rS-1,1,0.21",
        "# read by the lab\n\n  \nStrip, STEP ,Red\n#half way\nS-1 , 1,0.21\n\n",
        'red,strip,step\n"0.21","S-1","1"\n',
        "strip;step;red\nS-1;1;0.21\n;;\n;\n",
    ],
    ids=["comma", "semicolon", "tab", "BOM and CRLF", "CR", "remarks and blanks", "quotes and order", "blank cells"],
)
def test_one_table_many_spellings(read, text: str) -> None:
    """Separator, quotes, line ends, a BOM, remarks, blank lines, case and order of the columns change nothing."""
    assert _cells(read(text)) == [("S-1", "1", "0.21")]


def test_line_numbers_are_those_of_the_file(read) -> None:
    """An error points at the line an editor shows, whatever was left out above it, or stands inside a cell."""
    rows = read("# a remark\n\nstrip;step;red\nS\u2028\x0c1;1;0.21\n\nS-2;2;0.3\n")
    assert [row.line for row in rows] == [4, 6]
    assert rows[1].where("red").endswith("table.csv, line 6, column red")


@pytest.mark.parametrize(
    ("cell", "value"),
    [("0.21", 0.21), ("0,21", 0.21), ("-0.02", -0.02), ("−0,02", -0.02), ("+1", 1.0), (".5", 0.5), ("1e-2", 0.01)],
)
def test_numbers_with_point_or_comma(read, cell: str, value: float) -> None:
    """A decimal point and a decimal comma are the same, and a minus is a minus."""
    assert read(f"strip;step;red\nS-1;1;{cell}\n")[0].number("red") == value


def test_a_dash_is_not_read(read) -> None:
    """A dash stands for a reading that wasn't taken."""
    assert math.isnan(read("strip,step,red\nS-1,1,-\n")[0].number("red"))


@pytest.mark.parametrize(
    "cell", ["4,1x", "x", "nan", "inf", "-inf", "1e999", "0_1", "1.234,5", "1 2", "٣", "0x1", "--1", "=1+1"]
)
def test_what_is_no_number_is_refused(read, refused, cell: str) -> None:
    """No text is bent into a number, and none becomes infinite."""
    row = read(f"strip;step;red\nS-1;1;{cell}\n")[0]
    with refused("table.csv, line 2, column red", rule="must be a number", value=cell):
        row.number("red")


@pytest.mark.parametrize("cell", ["1.0", "-1", "+1", "one", "²", "9" * 5000])
def test_what_is_no_whole_number_is_refused(read, refused, cell: str) -> None:
    """A step is counted in plain digits, and not in thousands of them."""
    row = read(f"strip,step,red\nS-1,{cell},0.2\n")[0]
    with refused("line 2, column step", rule="must be a whole number"):
        row.whole("step")


def test_an_empty_cell_is_refused_where_one_is_needed(read, refused) -> None:
    """A needed cell that is empty, or missing from the table, is named."""
    row = read("strip,step,red\nS-1,,0.2\n")[0]
    for column in ("step", "no such column"):
        with refused(f"column {column}", rule="must not be empty"):
            row.text(column)


@pytest.mark.parametrize("cell", ["12", "3 parsec", "", "nine inches", "1/0 in", "9" * 400 + " m"])
def test_lengths_need_a_number_and_a_unit(read, refused, cell: str) -> None:
    """A length without a unit, with an unknown one, or longer than any web is refused at its cell."""
    row = read(f'strip,step,red\nS-1,1,"{cell}"\n')[0]
    with refused("line 2, column red", rule=""):
        row.length("red")


def test_answers_and_choices(read, refused) -> None:
    """Yes, no and nothing said are told apart; another word is refused with the words that are known."""
    rows = [read(f"strip,step,red\nS-1,1,{cell}\n")[0] for cell in ("YES", "no", "")]
    assert [row.answer("red") for row in rows] == [True, False, None]
    assert [row.answer("wipes_off") for row in rows] == [None] * 3
    row = read("strip,step,red\nS-1,1,perhaps\n")[0]
    with refused("line 2, column red", rule="must be one of yes, no, empty", value="perhaps"):
        row.answer("red")
    with refused("line 2, column red", rule="must be one of emulsion, base", value="perhaps"):
        row.choice("red", Side, tuple(Side))


@pytest.mark.parametrize(
    ("text", "where", "rule", "value"),
    [
        ("", "table.csv", "a header and rows", None),
        ("\n# only a remark\n", "table.csv", "a header and rows", None),
        ("strip,step,red\n", "table.csv", "rows below its header", None),
        ("S-1,1,0.21\nS-1,2,0.3\n", "line 1", "must have the columns strip, step, red", "no strip, step, red"),
        ("strip,red\nS-1,0.2\n", "line 1", "must have the columns", "no step"),
        ("strip,step,red,rde\nS-1,1,1,1\n", "line 1", "the columns are strip, step, red", "rde"),
        ("strip,step,red,\nS-1,1,1,\n", "line 1", "the columns are strip, step, red", "''"),
        ("strip,step,red,Red\nS-1,1,1,1\n", "line 1", "each column once", "red"),
        ("strip,step,red\nS-1,1\n", "line 2", "3 cells like the header", "2 cells"),
        ("strip,step,red\n\nS-1,1,0,21\n", "line 3", "3 cells like the header", "4 cells"),
        ('strip,step,red\n"S-1,1,0.2\n', "line 2", "must be CSV", "unexpected end"),
        ('strip,step,red\n"S"-1,1,0.2\n', "line 2", "must be CSV", "expected after"),
        (b"strip,step,red\nS\xff,1,0.2\n", "byte 16", "must be UTF-8", None),
        ("strip,step,red\n".encode("utf-16"), "byte 0", "must be UTF-8", None),
    ],
)
def test_a_faulty_table_is_refused(read, refused, text: str, where: str, rule: str, value: str | None) -> None:
    """Each fault of a table's form is named with its line."""
    with refused("table.csv", where, rule=rule, value=None if value == "''" else value):
        read(text)


def test_a_table_may_be_allowed_to_be_empty(read) -> None:
    """Where nothing seen is an answer, a header without rows is one; a file without a header isn't."""
    assert read("strip,step,red\n", may_be_empty=True) == []
    with pytest.raises(InputError, match="header"):
        read("", may_be_empty=True)


def test_nul_bytes_are_nothing_special(read, refused) -> None:
    """A NUL, as a disk after a power cut leaves, is part of a cell that is then no number."""
    row = read("strip,step,red\nS-1,1,\x00\x00\n")[0]
    with pytest.raises(InputError, match="must be a number"):
        row.number("red")
    with refused("table.csv", rule="must have the columns"):
        read(bytes(500))


def test_a_folder_in_place_of_a_table(tmp_path: Path, refused) -> None:
    """A folder where the table should be is refused, and so is nothing at all."""
    with refused(str(tmp_path), rule="must be readable", value="directory"):
        read_table(tmp_path, needed=COLUMNS)
    with refused("none.csv", rule="must be there"):
        read_table(tmp_path / "none.csv", needed=COLUMNS)


@settings(max_examples=200, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    text=st.one_of(
        st.binary(max_size=60),
        st.text(alphabet='strip,step;\t"\n\r0.1 -#\x00\x1c\x85\u2028', max_size=60),
        st.text(alphabet='S1,;"\n\r\t-.0#\x00\x1c é', max_size=60).map("strip,step,red\n".__add__),
    )
)
def test_no_text_crashes_the_reader(read, well_said, text: str | bytes) -> None:
    """Whatever a file holds, there are rows with the header's cells, or an input error in one line."""
    try:
        for row in read(text):
            assert set(row.cells) == set(COLUMNS)
            for read_cell in (row.number, row.whole, row.length, row.answer):
                try:
                    read_cell("red")
                except InputError as error:
                    well_said(error, f"line {row.line}")
    except InputError as error:
        well_said(error, "table.csv")
