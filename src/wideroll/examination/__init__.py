"""Sample sheets and sightings to layer, origin, examiners' agreement, and agreement with the scan.

Nothing here decides about the roll, and no evidence is thrown away: statements that can't be true together are said,
not averaged. Nothing here reads files, the clock or pictures.
"""

from wideroll.examination.agreement import cohen_kappa
from wideroll.examination.capture import chapman
from wideroll.examination.layer import ERROR_RATE, locate_layer
from wideroll.examination.matching import match_sightings
from wideroll.examination.model import (
    Agreement,
    Capture,
    FilterColour,
    Layer,
    LayerPosterior,
    Match,
    Matching,
    Origin,
    OriginFinding,
    Seen,
    Sheet,
    Sighting,
)
from wideroll.examination.origin import counts_against_film, find_origin

__all__ = [
    "ERROR_RATE",
    "Agreement",
    "Capture",
    "FilterColour",
    "Layer",
    "LayerPosterior",
    "Match",
    "Matching",
    "Origin",
    "OriginFinding",
    "Seen",
    "Sheet",
    "Sighting",
    "chapman",
    "cohen_kappa",
    "counts_against_film",
    "find_origin",
    "locate_layer",
    "match_sightings",
]
