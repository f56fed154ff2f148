import json
from dataclasses import replace

import pytest

from wideroll.report.dye_grids import dyes_grid, has_dyes
from wideroll.report.evidence_grids import runs_grid
from wideroll.report.machine import strips_json
from wideroll.report.tables import rich_table
from wideroll.sensitometry import FilmDyes, FilmType, Record, StripKind
from wideroll.synthetic import StripRecipe, make_aims, make_strips
from wideroll.workflow import judge_strips

FILM = FilmType.COLOUR_NEGATIVE
AIMS = replace(make_aims(FILM), dyes=FilmDyes(matrix=[[0.96, 0.07, 0.00], [0.21, 0.88, 0.10], [0.13, 0.25, 0.90]]))


class Product:
    """As much of a product as the strip room asks for."""

    aims = AIMS
    reference_aims = AIMS
    process_limit_density = 0.04


@pytest.fixture(scope="module")
def room():
    """A good run with a strip on aim and one slow in all records, and a fogged run."""
    recipes = [
        StripRecipe(name=f"R{run}", film_type=FILM, run=run, kind=StripKind.REFERENCE, process_fog=fog, seed=int(run))
        for run, fog in (("1", 0.0), ("2", 0.08))
    ]
    slow = dict.fromkeys((Record.RED, Record.GREEN, Record.BLUE), 0.08)
    recipes += [
        StripRecipe(name="on aim", film_type=FILM, run="1", seed=11),
        StripRecipe(name="slow", film_type=FILM, run="1", seed=12, shift_log_h=slow),
        StripRecipe(name="fogged", film_type=FILM, run="2", seed=13, process_fog=0.08),
    ]
    return judge_strips(make_strips(recipes).strips, Product)


def texts(grid):
    """Each row's words, notes among them."""
    return [" | ".join(f"{cell.text} {cell.note}".strip() for cell in row) for row in grid.rows]


def test_each_strip_says_what_deviates_and_where_to_look(room):
    """What all records of a corrected strip share isn't put down to its run; of a void run's, it is looked at first."""
    on_aim, slow, fogged = texts(dyes_grid(room.results, room.runs))
    assert "no deviation is shown" in on_aim
    assert "all records deviate together" in slow
    assert "taken off already" in slow
    assert "all records deviate together" in fogged
    assert "isn't taken off" in fogged


def test_a_void_run_says_what_its_process_did(room):
    """The table of runs tells of the fogged run that all records deviate, and of the good run nothing."""
    good, void = texts(runs_grid(room.runs))
    assert "reference strips: all" not in good
    assert "reference strips: all records deviate together" in void


def test_json_holds_the_shift_and_null_without_dyes(room):
    """Kind, words, p-values and amounts of strips and runs can be written as JSON; without dyes there is null."""
    document = json.loads(json.dumps(strips_json(room)))
    slow = document["strips"][1]["dye_shift"]
    assert slow["kind"] == "process-wide"
    assert len(slow["amounts"]) == len(slow["log_h"]) == 3
    assert document["runs"][1]["dye_shift"]["kind"] == "process-wide"
    bare = replace(room, results=tuple(replace(result, dye_shift=None) for result in room.results))
    assert strips_json(bare)["strips"][0]["dye_shift"] is None


def test_the_table_is_shown_only_where_dyes_are_known(room):
    """Results without dyes have no such table; an empty one says why."""
    assert has_dyes(room.results)
    bare = [replace(result, dye_shift=None) for result in room.results]
    assert not has_dyes(bare)
    assert "dyes aren't known" in dyes_grid(bare).empty
    assert rich_table(dyes_grid(room.results, room.runs)).row_count == 3
