"""Webs, strips and examiners with known truth: what is returned is the data *and* the truth.

Nothing here reads or writes files, and no judgement is made here: the rooms must find out for themselves. The same
recipe and seed give the same bytes.
"""

from wideroll.synthetic.examiners import SheetSet, SightingTruth, chance_to_see, make_sheets
from wideroll.synthetic.planted import PlantedMark, PlantedStreak, pinholes, print_roller, scatter_dirt, tabulate
from wideroll.synthetic.strips import (
    StripRecipe,
    StripSet,
    StripTruth,
    aim_curves,
    aim_parameters,
    make_aims,
    make_strips,
)
from wideroll.synthetic.web import Web, WebRecipe, WebTruth, make_web

__all__ = [
    "PlantedMark",
    "PlantedStreak",
    "SheetSet",
    "SightingTruth",
    "StripRecipe",
    "StripSet",
    "StripTruth",
    "Web",
    "WebRecipe",
    "WebTruth",
    "aim_curves",
    "aim_parameters",
    "chance_to_see",
    "make_aims",
    "make_sheets",
    "make_strips",
    "make_web",
    "pinholes",
    "print_roller",
    "scatter_dirt",
    "tabulate",
]
