"""What costs most: cut-outs by criterion, and closed action cards by cause."""

from pathlib import Path
from typing import Final

import polars as pl

from wideroll.acts.sealing import open_record
from wideroll.control import ParetoLine, pareto
from wideroll.store import CARD_CLOSED
from wideroll.workflow.measured import CUT_OUT_BY

__all__ = ["closed_causes", "cut_out_causes"]

_UNKNOWN: Final = "not known"


def cut_out_causes(rolls: pl.LazyFrame) -> tuple[ParetoLine, ...]:
    """What was cut out, in m², by criterion, the largest first.

    Args:
        rolls: of the history.
    """
    sums = (
        rolls.filter(pl.col("quantity").str.starts_with(CUT_OUT_BY))
        .group_by("quantity")
        .agg(pl.col("value").sum())
        .sort("quantity")
        .collect()
    )
    return pareto({name.removeprefix(CUT_OUT_BY): area for name, area in sums.rows()})


def closed_causes(plant: Path, rolls: set[str]) -> tuple[ParetoLine, ...]:
    """Cards of these rolls that were closed, by the cause noted, the most frequent first.

    Args:
        plant: its folder.
        rolls: their names.

    Raises:
        RecordError: when the record can't be read.
    """
    counts: dict[str, int] = {}
    store = open_record(plant)
    if store is not None:
        with store:
            for event in store.of_act(CARD_CLOSED):
                if event.body.get("roll") in rolls:
                    cause = str(event.body.get("cause") or "").strip() or _UNKNOWN
                    counts[cause] = counts.get(cause, 0) + 1
    return pareto(counts, unknown=_UNKNOWN, counted=True)
