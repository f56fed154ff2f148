"""The figures of a roll's repeating series, written to a folder."""

from pathlib import Path

from wideroll.acts.rolls import RollInHand
from wideroll.cli.console import tell
from wideroll.errors import InputError
from wideroll.repeats import SeriesKind, SeriesSearch, spacing_evidence
from wideroll.report import draw_fold, draw_roll_map
from wideroll.report.evidence_picture import draw_evidence
from wideroll.scan import ScanResult
from wideroll.store.files import write_whole
from wideroll.workflow import assess_roll

__all__ = ["write_figures"]


def write_figures(folder: Path, hand: RollInHand, scan: ScanResult, search: SeriesSearch) -> None:
    """Fold and evidence of each series, and the map of the roll with all members, as SVG.

    A lap print's spacing changes from lap to lap: it has no one spacing to fold at, and stands on the map only.

    Raises:
        InputError: when the folder's name is taken by a file.
    """
    if folder.exists() and not folder.is_dir():
        raise InputError(where=str(folder), rule="must be a folder", mend="Name another folder.")
    folder.mkdir(parents=True, exist_ok=True)
    along, across = scan.marks["along_m"].to_numpy(), scan.marks["across_mm"].to_numpy()
    for number, series in enumerate(search, start=1):
        if series.kind is SeriesKind.LAP:
            continue
        _write(folder / f"fold-{number}.svg", draw_fold(series, scan.marks, search.settings, key=f"fold-{number}"))
        evidence = spacing_evidence(
            along,
            across,
            series,
            length_m=search.length_m,
            rollers=hand.desk.plant.rollers,
            observed=search.observed,
            settings=search.settings,
        )
        drawn = draw_evidence(evidence, series, hand.desk.plant.rollers, key=f"evidence-{number}")
        _write(folder / f"evidence-{number}.svg", drawn)
    _write(folder / "map.svg", draw_roll_map(assess_roll(hand.desk)))


def _write(path: Path, text: str) -> None:
    write_whole(path, text.encode())
    tell(f"figure: {path}")
