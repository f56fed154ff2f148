"""The command that scans many rolls at once, or one roll in shares."""

import os
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path
from typing import Annotated, Any

import typer

from wideroll.acts.rolls import RollInHand, take_in_hand, tell_damage
from wideroll.cli.app import app
from wideroll.cli.console import print_json, print_table, tell
from wideroll.cli.options import Json, PlantArg
from wideroll.errors import InputError
from wideroll.farm import scan_in_shares, scan_many
from wideroll.readers import PlantFolder, SegmentedRaster
from wideroll.report import farm_table
from wideroll.scan import ScanResult, ScanSettings
from wideroll.scan.overview import OverviewRows
from wideroll.workflow import Progress, Raster, Silent

__all__ = ["farm"]


@app.command()
def farm(
    plant: PlantArg,
    rolls: Annotated[
        list[str] | None, typer.Argument(metavar="[ROLL]...", help="Names of rolls; all that were scanned, if none.")
    ] = None,
    *,
    scheduler: Annotated[
        str | None, typer.Option(metavar="ADDRESS", help="Of a Dask scheduler; without it, processes are started here.")
    ] = None,
    workers: Annotated[int | None, typer.Option(min=1, help="Processes to start; by default one a core.")] = None,
    as_json: Json = False,
) -> None:
    """Scan many rolls at once, or one roll in shares, and keep the results; what is kept and fresh isn't done again.

    \b
    Examples:
      wideroll farm demo                                          all rolls of a plant
      wideroll farm demo W-2042 --workers 4                       one roll in shares
      wideroll farm demo --scheduler tcp://10.0.0.5:8786          on other machines
    """
    chosen = tuple(dict.fromkeys(rolls or ())) or _scanned_rolls(plant)
    many = workers or os.cpu_count() or 1
    if len(chosen) == 1:
        done = [_scan_in_shares(plant, chosen[0], (scheduler, many))]
    else:
        tasks = [_Task(plant=plant.resolve(), roll=roll) for roll in chosen]
        done = scan_many(tasks, _scan_one, scheduler=scheduler, workers=many)
        for one in done:
            for note in one.notes:
                tell(f"{one.roll}: {note}")
    if as_json:
        print_json({"schema": "wideroll/farm/1", "rolls": [one.facts for one in done]})
    else:
        print_table(farm_table([one.facts for one in done]))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Task:
    plant: Path
    roll: str

    def __str__(self) -> str:
        """As errors name it."""
        return self.roll


@dataclass(frozen=True, slots=True, kw_only=True)
class _Done:
    roll: str
    facts: dict[str, Any]
    notes: tuple[str, ...] = ()


@dataclass(slots=True)
class _Noted(Silent):
    """On a worker nobody watches; what should be known is handed back with the result."""

    notes: list[str] = field(default_factory=list)

    def note(self, message: str) -> None:
        self.notes.append(message)


def _scanned_rolls(plant: Path) -> tuple[str, ...]:
    files = PlantFolder(plant)
    found = tuple(roll for roll in files.rolls() if (plant / "rolls" / roll / "scan").is_dir())
    if not found:
        raise InputError(
            where=str(plant / "rolls"), rule="a roll must have been scanned", mend="Put the scanner's files there."
        )
    return found


def _scan_one(task: _Task) -> _Done:
    """On a worker."""
    hand, noted = take_in_hand(task.plant, task.roll), _Noted()
    scan = replace(hand.desk, progress=noted).scan()
    damage = (f"{one.file} was damaged ({one.why}); it was made anew." for one in dict.fromkeys(hand.results.damage))
    return _Done(roll=task.roll, facts=_facts(hand, scan), notes=(*noted.notes, *damage))


def _scan_in_shares(plant: Path, roll: str, cluster: tuple[str | None, int]) -> _Done:
    hand = take_in_hand(plant, roll)
    scan = hand.desk.scan(partial(_by_workers, cluster))
    tell_damage(hand)
    return _Done(roll=roll, facts=_facts(hand, scan))


def _by_workers(
    cluster: tuple[str | None, int],
    raster: Raster,
    settings: Sequence[ScanSettings],
    *,
    chips_of: Collection[str],
    seen: Callable[[OverviewRows], None] | None,
    progress: Progress,
) -> list[ScanResult]:
    """Channel after channel, each in shares."""
    if not isinstance(raster, SegmentedRaster):
        raise TypeError(raster)
    return [
        scan_in_shares(
            raster,
            settings=one,
            scheduler=cluster[0],
            workers=cluster[1],
            progress=progress,
            channel=number if raster.channels > 1 else None,
            chips_of=chips_of,
            seen=seen if number == 0 else None,
        )
        for number, one in enumerate(settings)
    ]


def _facts(hand: RollInHand, scan: ScanResult | None) -> dict[str, Any]:
    roll = hand.desk.card.name
    if scan is None:
        raise InputError(
            where=str(hand.root / "rolls" / roll / "scan"),
            rule="the roll has no scan",
            mend="Put the scanner's files there.",
        )
    return {
        "roll": roll,
        "lines": scan.lines,
        "marks": scan.marks.height,
        "streaks": len(scan.streaks),
        "bands": len(scan.bands),
        "looked_at_share": scan.coverage.share(hand.desk.whole),
    }
