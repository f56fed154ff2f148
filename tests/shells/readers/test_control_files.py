"""earlier.csv, logbook.csv and gauge studies: what is wrong in them is named with its line."""

import pytest

from wideroll.errors import InputError
from wideroll.readers.earlier_rolls import read_earlier
from wideroll.readers.gauge_study_file import read_gauge_study
from wideroll.readers.logbook_file import read_logbook

_HEAD = "roll,product,coated,batch,quantity,record,unit,value,area_m2\n"


def _earlier(tmp_path, *lines):
    path = tmp_path / "earlier.csv"
    path.write_text(_HEAD + "".join(f"{line}\n" for line in lines))
    return read_earlier(path, "line 2")


def test_earlier_rolls_are_read(tmp_path):
    """Counts keep their area, an unread value is none, and a roll is of the plant's line unless it says another."""
    spots, curl = _earlier(tmp_path, 'W-1,N5,2026-11-20,E-1,Spots,,marks,7,"52,5"', "W-1,N5,2026-11-20,E-1,curl,,mm,-,")
    assert (spots.value, spots.area_m2, spots.line, spots.batch) == (7.0, 52.5, "line 2", "E-1")
    assert (curl.value, curl.area_m2) == (None, None)
    assert read_earlier(tmp_path / "none.csv", "line 2") == ()


@pytest.mark.parametrize(
    ("lines", "words"),
    [
        (["W-1,N5,20.11.2026,E-1,curl,,mm,1,"], "line 2, column coated"),
        (["W-1,N5,2026-11-20,E-1,curl,,mm,1,", "W-1,N5,2026-11-20,E-1,curl,,mm,2,"], "listed once"),
        (["W-1,N5,2026-11-20,E-1,curl,,mm,1,", "W-1,N5,2026-11-21,E-1,speed,red,log H,2,"], "line 3, column roll"),
        (["W-1,N5,2026-11-20,E-1,Spots,,marks,7.5,50"], "whole number"),
        (["W-1,N5,2026-11-20,E-1,Spots,,marks,7,0"], "greater than 0"),
        (["W-1,N5,2026-11-20,E-1,curl,,mm,inf,"], "must be a number"),
        (["W-1,N5,2026-11-20,E-1,curl,,,1,"], "column unit"),
    ],
)
def test_faults_of_earlier_rolls_are_named(tmp_path, lines, words):
    """Each fault is told with its line and column."""
    with pytest.raises(InputError, match=words):
        _earlier(tmp_path, *lines)


def test_a_logbook_is_read(tmp_path):
    """Kinds are the same whatever their capitals; a day that is none is refused."""
    path = tmp_path / "logbook.csv"
    path.write_text("on,kind,what\n2026-11-20T06:30,Maintenance,pump overhauled\n")
    (one,) = read_logbook(path)
    assert (one.on, one.kind, one.name) == ("2026-11-20T06:30", "maintenance", "pump overhauled")
    path.write_text("on,kind,what\nMonday,maintenance,pump\n")
    with pytest.raises(InputError, match="line 2, column on"):
        read_logbook(path)


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        ("A,1,1.0\nA,1,1.1\n", "two operators and two parts"),
        ("A,1,1\nA,1,1\nA,2,1\nA,2,1\nB,1,1\nB,1,2\nB,2,1\n", "operator B, part 2"),
        ("A,1,1\nA,2,1\nB,1,1\nB,2,1\n", "twice or more"),
        ("A,1,-\n", "each reading must be there"),
    ],
)
def test_faults_of_a_gauge_study_are_named(tmp_path, rows, words):
    """Who lacks which reading is said."""
    path = tmp_path / "study.csv"
    path.write_text(f"operator,part,value\n{rows}")
    with pytest.raises(InputError, match=words):
        read_gauge_study(path)
