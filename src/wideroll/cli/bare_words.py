"""What the command shows of readings of the user's own: tables, JSON and figures."""

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from wideroll.cli.bare_readings import BareRoom
from wideroll.cli.console import print_table, say, tell
from wideroll.report import draw_curves, process_runs_table, rich_table, strips_table
from wideroll.report.dye_grids import dyes_grid, has_dyes
from wideroll.report.evidence_grids import measures_grid
from wideroll.report.machine import strips_json
from wideroll.report.pair_grids import pairs_grid
from wideroll.report.svg import slug
from wideroll.sensitometry import Aims, Strip, StripKind, StripResult
from wideroll.store import write_whole

__all__ = ["bare_json", "show_bare", "write_figures"]


def bare_json(bare: BareRoom) -> dict[str, Any]:
    """``wideroll/strips/1`` with what the file and the options said."""
    document = strips_json(bare.room)
    strips = [
        {**shown, "kind": result.strip.kind.value}
        for shown, result in zip(document["strips"], bare.room.results, strict=True)
    ]
    return {
        **document,
        "strips": strips,
        "source": bare.file.source,
        "form": bare.file.form,
        "status": bare.status.value if bare.status else None,
        "product": bare.product.name if bare.product else None,
        "assumed": list(bare.assumed),
    }


def show_bare(bare: BareRoom) -> None:
    """Where the readings come from, then each strip with its measures; with aims, runs and deviations first."""
    status = f"status {bare.status.value}" if bare.status else "status not stated"
    say(f"{bare.file.source}: {bare.file.form}; {status}")
    if bare.room.runs:
        print_table(process_runs_table(bare.room.runs))
    if bare.product is not None:
        print_table(strips_table(bare.room.results))
    if has_dyes(bare.room.results):
        print_table(rich_table(dyes_grid(bare.room.results, bare.room.runs)))
    for result in bare.room.results:
        say(_title(result.strip) + (f": {result.why}" if result.why else ""))
        print_table(rich_table(measures_grid(result)))
        if result.pairs:
            print_table(rich_table(pairs_grid(result)))


def write_figures(results: Sequence[StripResult], aims: Aims | None, path: Path) -> None:
    """One figure for one strip; for several, numbered and named for their strips beside it."""
    for number, result in enumerate(results, 1):
        own = path.with_stem(f"{path.stem}-{number}-{slug(result.strip.name)}") if len(results) > 1 else path
        write_whole(own, draw_curves(result, aims, wide=True).encode())
        tell(f"figure: {own}")


def _title(strip: Strip) -> str:
    about = [strip.kind.value] if strip.kind is StripKind.REFERENCE else []
    about += [f"run {strip.run}"] if strip.run else []
    return f"strip {strip.name}" + (f" ({', '.join(about)})" if about else "")
