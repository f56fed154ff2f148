"""How alike examiners and scanner see, from a plant's files."""

from pathlib import Path
from typing import Any

from wideroll.acts.other_rolls import scan_fingerprint
from wideroll.acts.plants import plant_files
from wideroll.acts.rolls import take_in_hand, tell_damage
from wideroll.readers import PlantFolder
from wideroll.report.agreement_grids import examiner_lines
from wideroll.report.machine import plain
from wideroll.scan import ScanResult
from wideroll.store import ResultsFolder
from wideroll.workflow import whole_web
from wideroll.workflow.agreement import agree
from wideroll.workflow.agreement_model import PlantAgreement, RollSeen
from wideroll.workflow.roll_rates import size_borders

__all__ = ["agree_looks", "agree_plant", "agreement_document"]


def agree_plant(plant: Path, roll: str | None = None) -> PlantAgreement:
    """How alike examiners and scanner see, and how much nobody saw.

    Args:
        plant: its folder.
        roll: one roll, scanned first where it wasn't; None takes all rolls, with the scans that are kept.

    Raises:
        InputError: when the folder isn't a plant, or a file has a fault.
    """
    files = plant_files(plant)
    notes: list[str] = []
    if roll is None:
        rolls = [_seen(files, name, _kept_scan(files, name, notes)) for name in files.rolls()]
    else:
        hand = take_in_hand(plant, roll)
        _seen(files, roll, None)  # a fault in the sheets shows before the long scan
        rolls = [_seen(files, roll, hand.desk.scan())]
        tell_damage(hand)
    return agree(rolls, notes=notes)


def agree_looks(plant: Path, roll: str) -> PlantAgreement:
    """How alike the examiners of one roll see; the scanner is left out, so that it takes no time.

    Args:
        plant: its folder.
        roll: its name.

    Raises:
        InputError: when the folder isn't a plant, or a file has a fault.
    """
    return agree([_seen(plant_files(plant), roll, None)])


def agreement_document(found: PlantAgreement) -> dict[str, Any]:
    """The agreement for machines.

    Args:
        found: of ``agree_plant``.
    """
    return {"schema": "wideroll/agreement/1", **plain(found), "examiners_toml": examiner_lines(found)}


def _seen(files: PlantFolder, roll: str, scan: ScanResult | None) -> RollSeen:
    card = files.card(roll)
    product = files.product(card.product)
    sheets = files.sheets(roll, whole_web(card.length_m, files.plant().web_width_mm))
    return RollSeen(
        roll=roll,
        sheets=sheets,
        looks=files.looks(roll, sheets),
        sightings=files.sightings(roll, sheets),
        scan=scan,
        scale=product.grades.grades if product.grades else (),
        borders_mm=size_borders(product.criteria),
    )


def _kept_scan(files: PlantFolder, roll: str, notes: list[str]) -> ScanResult | None:
    """The scan as it was kept, unless it is stale; none is started."""
    results = ResultsFolder(files.root / "results" / roll)
    kept = None
    if (results.path / "state" / "scan.json").is_file():
        kept = results.load_scan(scan_fingerprint(files, roll))
    if kept is None:
        notes.append(f"No scan of {roll} is kept, or it is stale: wideroll scan makes it.")
    return kept
