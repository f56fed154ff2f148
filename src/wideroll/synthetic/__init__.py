"""Webs, strips and examiners with known truth: what is returned is the data *and* the truth.

Nothing here reads or writes files, and no judgement is made here: the rooms must find out for themselves. The same
recipe and seed give the same bytes.
"""

from typing import TYPE_CHECKING

from wideroll.on_demand import on_demand

if TYPE_CHECKING:
    from wideroll.synthetic.examiners import SheetSet, SightingTruth, chance_to_see, examine_sheets, make_sheets
    from wideroll.synthetic.faults import DroppedLines, FaultyColumns, PlantedBand, PlantedMottle, PlantedSplice
    from wideroll.synthetic.grid import marks_grid
    from wideroll.synthetic.looks import DYE_MATRIX, LookedAt, look_at_marks
    from wideroll.synthetic.photographs import DrawnMark, draw_photograph
    from wideroll.synthetic.planted import (
        PlantedMark,
        PlantedStreak,
        plant_comet,
        plant_hole,
        plant_ring,
        plant_scratch,
        tabulate,
    )
    from wideroll.synthetic.recipe import WebChannel, WebRecipe
    from wideroll.synthetic.scatter import WoundParticle, pinholes, print_laps, print_roller, scatter_dirt
    from wideroll.synthetic.shapes import Block, Comet, Ellipse, Line, Ring, Shape
    from wideroll.synthetic.strips import (
        StripRecipe,
        StripSet,
        StripTruth,
        aim_curves,
        aim_parameters,
        make_aims,
        make_strips,
    )
    from wideroll.synthetic.web import Web, WebTruth, make_web

__all__ = [
    "DYE_MATRIX",
    "Block",
    "Comet",
    "DrawnMark",
    "DroppedLines",
    "Ellipse",
    "FaultyColumns",
    "Line",
    "LookedAt",
    "PlantedBand",
    "PlantedMark",
    "PlantedMottle",
    "PlantedSplice",
    "PlantedStreak",
    "Ring",
    "Shape",
    "SheetSet",
    "SightingTruth",
    "StripRecipe",
    "StripSet",
    "StripTruth",
    "Web",
    "WebChannel",
    "WebRecipe",
    "WebTruth",
    "WoundParticle",
    "aim_curves",
    "aim_parameters",
    "chance_to_see",
    "draw_photograph",
    "examine_sheets",
    "look_at_marks",
    "make_aims",
    "make_sheets",
    "make_strips",
    "make_web",
    "marks_grid",
    "pinholes",
    "plant_comet",
    "plant_hole",
    "plant_ring",
    "plant_scratch",
    "print_laps",
    "print_roller",
    "scatter_dirt",
    "tabulate",
]

on_demand(__name__)
