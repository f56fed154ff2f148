"""What the record calls each act; a checkpoint's name is the record room's own."""

from typing import Final

from wideroll.workflow.complaint_model import COMPLAINT, RECALL

__all__ = [
    "BASE_PERIOD",
    "CALIBRATION",
    "CARD",
    "CARD_CLOSED",
    "CARD_GIVEN_BACK",
    "CARD_TAKEN",
    "COMPLAINT",
    "CUT",
    "DECISION",
    "EVIDENCE",
    "READING",
    "RECALL",
    "SIGHTING",
    "TAKE_IN",
]

TAKE_IN: Final = "take-in"
"""Raster, roll.toml and whatever else of a roll is no reading or sighting; plant.toml and the product with it."""
READING: Final = "reading"
"""Strips and measured properties of a roll."""
SIGHTING: Final = "sighting"
"""What examiners saw on a roll's sheets."""
CALIBRATION: Final = "calibration"
"""Instruments, processors and examiners of the plant; no roll."""
DECISION: Final = "decision"
"""Seals a decision, and supersedes the one before on the same roll."""
CUT: Final = "cut"
"""Puts a cut for the order book in the place of the one made with the standing decision."""
CARD: Final = "action card"
"""A watch raised a card."""
CARD_TAKEN: Final = "card taken"
"""Somebody sees to a card, whoever did before."""
CARD_GIVEN_BACK: Final = "card given back"
"""Nobody sees to it any more."""
CARD_CLOSED: Final = "card closed"
"""What was found behind a card, and what was done."""
BASE_PERIOD: Final = "base period"
"""Limits of control charts were frozen from a named base period."""

EVIDENCE: Final = (TAKE_IN, READING, SIGHTING, CALIBRATION)
"""The acts that name files which decisions rest on."""
