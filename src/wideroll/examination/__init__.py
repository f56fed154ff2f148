"""Sample sheets and sightings to layer, origin, examiners' agreement, and agreement with the scan.

Nothing here decides about the roll, and no evidence is thrown away: statements that can't be true together are said,
not averaged. Nothing here reads files, the clock or pictures.
"""

from typing import TYPE_CHECKING

from wideroll.on_demand import on_demand

if TYPE_CHECKING:
    from wideroll.examination.agreement import Weights, cohen_kappa, fleiss_kappa
    from wideroll.examination.capture import StratifiedCapture, chapman, stratified_chapman
    from wideroll.examination.density_evidence import density_change
    from wideroll.examination.entries import Entry, SightingLog, read_back
    from wideroll.examination.grade_model import (
        GradedSample,
        GradeFinding,
        GradeFit,
        GradeScale,
        MarkShape,
        Viewing,
        Visibility,
    )
    from wideroll.examination.grades import fit_grades, grade_probabilities, visibility_of
    from wideroll.examination.grading import judge_grade, shape_of, sighting_visibility
    from wideroll.examination.layer import ERROR_RATE, Reliability, locate_layer
    from wideroll.examination.matching import match_sightings
    from wideroll.examination.merging import merge_looks, pair_sightings
    from wideroll.examination.model import (
        Agreement,
        Capture,
        DensityChange,
        FilterColour,
        Layer,
        LayerPosterior,
        Match,
        Matching,
        Origin,
        OriginFinding,
        Section,
        Seen,
        SeenThing,
        Sheet,
        SheetLook,
        Sighting,
    )
    from wideroll.examination.origin import counts_against_film, find_origin
    from wideroll.examination.photograph import MarkPhotograph, Photograph
    from wideroll.examination.photometry import measure_photograph
    from wideroll.examination.reliability import PRIOR_WEIGHT, Answered, WrongShare, wrong_shares
    from wideroll.examination.visibility import contrast_sensitivity, predict_visibility, visual_density

__all__ = [
    "ERROR_RATE",
    "PRIOR_WEIGHT",
    "Agreement",
    "Answered",
    "Capture",
    "DensityChange",
    "Entry",
    "FilterColour",
    "GradeFinding",
    "GradeFit",
    "GradeScale",
    "GradedSample",
    "Layer",
    "LayerPosterior",
    "MarkPhotograph",
    "MarkShape",
    "Match",
    "Matching",
    "Origin",
    "OriginFinding",
    "Photograph",
    "Reliability",
    "Section",
    "Seen",
    "SeenThing",
    "Sheet",
    "SheetLook",
    "Sighting",
    "SightingLog",
    "StratifiedCapture",
    "Viewing",
    "Visibility",
    "Weights",
    "WrongShare",
    "chapman",
    "cohen_kappa",
    "contrast_sensitivity",
    "counts_against_film",
    "density_change",
    "find_origin",
    "fit_grades",
    "fleiss_kappa",
    "grade_probabilities",
    "judge_grade",
    "locate_layer",
    "match_sightings",
    "measure_photograph",
    "merge_looks",
    "pair_sightings",
    "predict_visibility",
    "read_back",
    "shape_of",
    "sighting_visibility",
    "stratified_chapman",
    "visibility_of",
    "visual_density",
    "wrong_shares",
]

on_demand(__name__)
