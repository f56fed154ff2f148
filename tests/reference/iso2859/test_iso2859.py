"""The tables of ISO 2859-1 against the transcription beside this file."""

import csv
import itertools
from pathlib import Path

import pytest

from wideroll.errors import ArgumentError
from wideroll.sampling import Severity, acceptance_plan, code_letter
from wideroll.sampling.acceptance_tables import LETTERS, LEVELS, LIMITS, NORMAL, NOT_KNOWN, SAMPLE_SIZES, TIGHTENED

HERE = Path(__file__).parent


def rows(name):
    """Rows of a table as issued."""
    lines = [line for line in (HERE / name).read_text().splitlines() if not line.startswith("#")]
    return list(csv.DictReader(lines))


def test_code_letters_agree_with_table_1():
    """Both ends of each row of lot sizes have the printed letter at each level."""
    table = rows("iso2859-1_table1_code_letters.csv")
    assert len(table) == 15
    for row in table:
        ends = row["lot"].removesuffix("+").split("-")
        for size in (int(ends[0]), int(ends[-1])):
            for level in LEVELS:
                assert code_letter(size, level) == row[level]


def test_plans_agree_with_table_2a():
    """Each seen cell has the printed acceptance number or arrow, and its letter the printed sample size."""
    table = rows("iso2859-1_table2A_excerpt.csv")
    assert len(table) == 11
    for row in table:
        assert SAMPLE_SIZES[row["letter"]] == int(row["n"])
        for limit, cell in zip(LIMITS, NORMAL[row["letter"]], strict=True):
            printed = row[f"AQL{limit}"]
            assert cell == printed.split("/")[0]
            if "/" in printed:
                assert int(printed.split("/")[1]) == int(cell) + 1


@pytest.mark.parametrize(
    ("lot", "aql", "used", "size", "accept"),
    [(501, 2.5, "J", 80, 5), (1200, 2.5, "J", 80, 5), (3201, 2.5, "L", 200, 10), (151, 1.0, "H", 50, 1)],
)
def test_worked_look_ups(lot, aql, used, size, accept):
    """The worked look-ups come out, with the arrow followed."""
    plan = acceptance_plan(lot, aql)
    assert (plan.used, plan.sample_size, plan.accept, plan.reject) == (used, size, accept, accept + 1)
    assert plan.seen


def test_rows_from_memory_keep_the_tables_diagonals():
    """What is from memory follows the pattern that the seen cells have: one row down is one limit to the left."""
    for one, other in itertools.pairwise(LETTERS):
        for table in (NORMAL, TIGHTENED):
            assert table[one][1:] == table[other][:-1]


def test_tightened_is_never_milder():
    """At the same sample size tightened inspection accepts no more than normal."""
    for letter in LETTERS:
        for normal, tightened in zip(NORMAL[letter], TIGHTENED[letter], strict=True):
            if normal.isdigit() and tightened.isdigit():
                assert int(tightened) <= int(normal)


def test_what_is_not_known_is_refused():
    """A cell that nobody saw or remembers, and a limit outside the excerpt, are errors and not guesses."""
    assert TIGHTENED["J"][0] == NOT_KNOWN
    with pytest.raises(ArgumentError, match="isn't known here"):
        acceptance_plan(800, 0.65, severity=Severity.TIGHTENED)
    with pytest.raises(ArgumentError, match="limits known here"):
        acceptance_plan(800, 0.4)
    assert not acceptance_plan(800, 2.5, severity=Severity.TIGHTENED).seen
