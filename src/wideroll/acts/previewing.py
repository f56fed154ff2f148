"""What a decision on a roll would say, before anybody seals it."""

from pathlib import Path
from typing import Any

from wideroll.acts.rolls import take_in_hand, tell_damage
from wideroll.acts.sealing import decision_document, drop_changed_stages
from wideroll.errors import InputError
from wideroll.report.decision_grids import coverage_grid, decision_grid, missing_grid, regions_grid
from wideroll.report.grid_json import grid_json
from wideroll.store import json_bytes, read_bytes
from wideroll.workflow import assess_roll

__all__ = ["preview"]


def preview(root: Path, roll: str) -> dict[str, Any]:
    """Look at all evidence of a roll as it is now; costly stages are kept, and nothing is decided or sealed.

    Args:
        root: the plant's folder.
        roll: its name.

    Returns:
        ``fingerprint`` of what was looked at, ``verdict``, ``why``, ``tables`` as ``report.grid_json`` gives them,
        ``standing`` whether a decision stands, and ``same`` whether it says the same of the same evidence.

    Raises:
        InputError: when a file has a fault, or the disk refuses.
        RecordError: when the record doesn't hold.
    """
    hand = take_in_hand(root, roll)
    drop_changed_stages(hand)
    found = assess_roll(hand.desk)
    tell_damage(hand)
    document, decision = decision_document(hand, found), found.decision
    grids = (
        decision_grid(decision),
        coverage_grid(decision.coverage, found.whole),
        missing_grid(decision.missing, found.whole),
        regions_grid(decision, found.whole),
    )
    try:
        stands: bytes | None = read_bytes(hand.results.path / "decision.json")
    except InputError:
        stands = None
    return {
        "fingerprint": hand.fingerprint,
        "verdict": decision.verdict.value,
        "why": decision.why,
        "tables": [grid_json(grid) for grid in grids],
        "standing": stands is not None,
        "same": stands == json_bytes(document),
    }
