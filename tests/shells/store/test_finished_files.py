"""The table of finished rolls is kept as it was, and cut lists are read as they were written."""

from fractions import Fraction

import pytest

from wideroll.errors import InputError
from wideroll.report import CutHead, CutStatus, cut_json
from wideroll.roll import Extent
from wideroll.slitting import ByLength, CutRules, FinishedLength, SlitWidth, Spliced, plan_cut
from wideroll.store import load_finished, save_finished, slit_rolls, windings_of
from wideroll.workflow import Batch
from wideroll.workflow.finished_index import FinishedIndex, WideRoll
from wideroll.workflow.finished_rolls import finished_rows

WEB = Extent(along_from_m=0.0, along_to_m=20.0, across_from_mm=0.0, across_to_mm=120.0)


def _cut(finish, **said):
    width = SlitWidth(name="35 mm", width_mm=34.975, tolerance_mm=0.025, finish=finish, **said)
    plan = plan_cut(WEB, avoid=(), widths=(width,), rules=CutRules(edge_trim_mm=5.0, setup_m=0.0))
    return plan, cut_json(plan, CutHead(roll="W-1", status=CutStatus.RELEASED))


def _by_length(**said):
    return _cut(ByLength(lengths=(FinishedLength(length_m=6.0, value=7.5),)), **said)


def test_a_cut_list_gives_each_finished_roll_its_film():
    """Every piece of the plan is found again where it was coated, to the micrometre."""
    plan, cut = _by_length()
    rolls = slit_rolls(cut)
    rows = finished_rows(rolls, roll="W-1", slit="W-1", length_m=Fraction(20))
    assert len(rolls) == rows.height == len(plan.pieces) > 0
    for piece, row in zip(plan.pieces, rows.sort("finished").iter_rows(named=True), strict=True):
        assert row["finished"] == f"W-1/{piece.number}"
        extent = piece.extent
        assert row["along_from_nm"] * 1e-9 == pytest.approx(extent.along_from_m, abs=1e-6)
        assert row["along_to_nm"] * 1e-9 == pytest.approx(extent.along_to_m, abs=1e-6)
        assert row["across_from_nm"] * 1e-6 == pytest.approx(extent.across_from_mm, abs=1e-6)


def test_parts_of_a_spliced_roll_stand_in_the_slitters_order():
    """What was slit first is part 1 of the finished roll."""
    plan, cut = _cut(Spliced(length_m=25.0, value=9.0, most_splices=2, least_between_m=2.0))
    rolls = slit_rolls(cut)
    assert len(rolls) == len(plan.rolls)
    for one in rolls:
        starts = [part.slitter_from_m for part in one.parts]
        assert starts == sorted(starts)


def test_windings_come_from_the_cut_list():
    """How often film is wound over is what it was when the roll was cut; an older list says nothing, which is once."""
    _, cut = _by_length(windings=2)
    assert windings_of(cut) == {"35 mm": 2}
    assert {one.windings for one in slit_rolls(cut)} == {2}
    for width in cut["widths"]:
        del width["windings"]
    assert {one.windings for one in slit_rolls(cut)} == {1}


def test_something_else_is_no_cut_list():
    """A document without pieces is refused."""
    with pytest.raises(InputError, match="wideroll/cut/2"):
        slit_rolls({"schema": "other"})


def _index():
    _, cut = _by_length()
    rows = finished_rows(slit_rolls(cut), roll="W-1", slit="W-1", length_m=Fraction(20))
    batch = Batch(name="E-1", along_from_m=0.0, along_to_m=20.0)
    wide = WideRoll(
        name="W-1", product="p", status="released", length_m=20.0, key="k", batches=(batch,), windings={"35 mm": 1}
    )
    return FinishedIndex(rows=rows, rolls={"W-1": wide})


def test_the_table_is_read_back_as_it_was_saved(tmp_path):
    """Rows and wide rolls survive, and the same table gives the same bytes."""
    index = _index()
    save_finished(tmp_path, index)
    again = load_finished(tmp_path)
    assert again.rows.equals(index.rows)
    assert again.rolls == index.rolls
    before = (tmp_path / "results" / "finished.parquet").read_bytes()
    save_finished(tmp_path, again)
    assert (tmp_path / "results" / "finished.parquet").read_bytes() == before


@pytest.mark.parametrize("damage", [b"", b"PAR1 not a table", None])
def test_a_damaged_table_is_as_none(tmp_path, damage):
    """It is only kept to be quick: what can't be read is made anew."""
    path = tmp_path / "results" / "finished.parquet"
    if damage is None:
        save_finished(tmp_path, _index())
        damage = path.read_bytes()[:-9]
    path.parent.mkdir(exist_ok=True)
    path.write_bytes(damage)
    assert load_finished(tmp_path).rolls == {}
