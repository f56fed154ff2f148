"""What was noted on a roll's sheets, in tables."""

from typing import TYPE_CHECKING, Any
from urllib.parse import quote

from wideroll.server.desk import Desk

if TYPE_CHECKING:
    from wideroll.acts.examining_files import ExaminationFiles

__all__ = ["agreement_grids", "gone_table", "listed_table", "noted_table"]


def listed_table(files: "ExaminationFiles") -> dict[str, Any]:
    """Each look at each sheet."""
    from wideroll.report.grid_json import grid_json  # noqa: PLC0415  (loads what draws)
    from wideroll.report.looked_grids import listed_grid  # noqa: PLC0415

    if files.sheets and "sightings.csv" not in files.texts:
        return grid_json(listed_grid((), (), files.log))
    return grid_json(listed_grid(files.sheets, files.looks, files.log))


def noted_table(files: "ExaminationFiles") -> dict[str, Any]:
    """Each sighting that holds; its photograph is led to from its line."""
    from wideroll.report.grid_json import grid_json  # noqa: PLC0415
    from wideroll.report.looked_grids import noted_grid  # noqa: PLC0415

    table = grid_json(noted_grid(files.log, files.sheets))
    for row, sighting in zip(table["rows"], files.log.sightings, strict=True):
        if sighting.photograph:
            row[-1]["link"] = (
                f"/rolls/{quote(files.folder.parent.name)}/examination/photographs/{quote(sighting.photograph)}"
            )
    return table


def gone_table(files: "ExaminationFiles") -> dict[str, Any] | None:
    """Lines that were taken back, by which and why; None where none was."""
    from wideroll.report.grid_json import grid_json  # noqa: PLC0415
    from wideroll.report.sighting_words import taken_back_grid  # noqa: PLC0415

    return grid_json(taken_back_grid(files.log)) if files.log.taken_back else None


def agreement_grids(desk: Desk, roll: str) -> tuple[dict[str, Any], ...]:
    """How alike the examiners of the roll see; nothing where no sheet has two blind looks.

    Raises:
        InputError: when a file has a fault.
    """
    from wideroll.acts.agreement import agree_looks  # noqa: PLC0415
    from wideroll.report.agreement_grids import judged_grid, looks_grid  # noqa: PLC0415
    from wideroll.report.grid_json import grid_json  # noqa: PLC0415

    found = agree_looks(desk.root, roll)
    return (grid_json(looks_grid(found.pairs)), grid_json(judged_grid(found))) if found.pairs else ()
