"""Sisters of a traced finished roll as a table, and as a recall list for those who must find them."""

import csv
import io
from collections.abc import Iterator, Sequence
from typing import Any, Final

from wideroll.report.grid import Cell, Column, Grid
from wideroll.report.machine import plain
from wideroll.report.trace_words import TraceHead
from wideroll.workflow.sisters_model import Look, Sister, SisterList
from wideroll.workflow.tracing_model import Trace

__all__ = ["recall_csv", "sister_sentences", "sisters_grid", "sisters_json"]

_SHOWN: Final = 20
_LOOKS_SHOWN: Final = 3
_POINT_M: Final = 0.05
"""Shorter stretches are shown as a place."""
_COLUMNS: Final = (
    "finished_roll",
    "why",
    "risk",
    "risk_low",
    "risk_high",
    "expected",
    "seen",
    "where_to_look",
    "order",
    "width",
    "quality",
    "length_m",
    "wide_roll",
)


def sisters_json(found: SisterList) -> dict[str, Any]:
    """The sisters as they stand under ``sisters`` of ``wideroll/trace/1``."""
    listed: dict[str, Any] = plain(found)
    return listed


def sister_sentences(found: SisterList) -> Iterator[str]:
    """What was looked for, how many there are, and what the risks leave out."""
    yield f"Looked through for {'; '.join(suspect.words for suspect in found.suspects)}."
    seen = sum(sister.seen > 0 for sister in found.sisters)
    many = f"{len(found.sisters)} finished rolls share" if len(found.sisters) != 1 else "1 finished roll shares"
    yield f"{many} something with it; in {seen} the scan saw the same."
    yield from found.notes


def sisters_grid(found: SisterList, head: TraceHead, *, most: int = _SHOWN) -> Grid:
    """The sisters, most at risk first.

    Args:
        found: the list.
        head: the shop's units.
        most: so many are shown.
    """
    known = any(sister.risk is not None for sister in found.sisters)
    return Grid(
        caption=f"Other finished rolls, {'most at risk first' if known else 'by what they share, the risk unknown'}",
        columns=(
            Column(head="finished roll", keep=True),
            Column(head="shares"),
            Column(head="risk"),
            Column(head="expected", number=True),
            Column(head=f"where to look, {head.units.along} from outer end"),
            Column(head="order"),
        ),
        rows=tuple(
            (
                Cell(text=sister.finished, tone="strong" if sister.seen else ""),
                Cell(text=", ".join(link.value for link in sister.links)),
                Cell(text=_risk(sister), note=_limits(sister)),
                Cell(text="–" if sister.expected is None else f"{sister.expected:.2f}"),
                Cell(text=_where(sister.look, head)),
                Cell(text=sister.order),
            )
            for sister in found.sisters[:most]
        ),
        left_out=max(0, len(found.sisters) - most),
        empty="No other finished roll shares stretch, lane, batch or repeat series with it.",
    )


def _risk(sister: Sister) -> str:
    if sister.risk is None:
        return "unknown"
    if sister.seen:
        return "seen by the scan"
    return f"{sister.risk:.2g}" if sister.risk else "none seen"


def _limits(sister: Sister) -> str:
    known = sister.risk_low is not None and sister.risk_high is not None
    return (
        "" if sister.seen or not known or not sister.risk_high else f"{sister.risk_low:.2g} to {sister.risk_high:.2g}"
    )


def _where(looks: Sequence[Look], head: TraceHead) -> str:
    shown = [_look(look, head) for look in looks[:_LOOKS_SHOWN]]
    more = [f"and {len(looks) - _LOOKS_SHOWN} more"] if len(looks) > _LOOKS_SHOWN else []
    return "; ".join([*shown, *more])


def _look(look: Look, head: TraceHead) -> str:
    units = head.units
    short = look.to_m - look.from_m < _POINT_M
    at = units.show_along(look.from_m) if short else units.show_stretch(look.from_m, look.to_m)
    across = "" if look.edge_mm is None else f", {head.across(look.edge_mm)} {units.across} from its edge"
    return f"{at}{across} ({look.what})"


def recall_csv(trace: Trace, found: SisterList) -> str:
    """A recall list: a line for the traced finished roll, then one for each sister at risk, the most so first.

    Sisters that the scan looked at, and saw none in, are left out.

    Places in metres from the outer end, and in millimetres from the edge that was nearer the datum edge and, after the
    slash, from the other one.

    Args:
        trace: of the finished roll that was complained of.
        found: its sisters.
    """
    buffer = io.StringIO()
    writer = csv.writer(buffer, lineterminator="\n")
    writer.writerow(_COLUMNS)
    writer.writerow(_first(trace))
    for sister in found.at_risk:
        numbers = (sister.risk, sister.risk_low, sister.risk_high, sister.expected)
        writer.writerow(
            (
                sister.finished,
                ", ".join(link.value for link in sister.links),
                *("unknown" if number is None else f"{number:.4f}" for number in numbers),
                sister.seen,
                "; ".join(_plain_look(look) for look in sister.look),
                sister.order,
                sister.width,
                sister.quality,
                f"{sister.length_m:.3f}",
                sister.roll,
            )
        )
    return buffer.getvalue()


def _first(trace: Trace) -> tuple[object, ...]:
    where = f"{trace.from_m:.3f} to {trace.to_m:.3f} m"
    about = (trace.order, trace.width, trace.quality, f"{trace.length_m:.3f}", trace.roll)
    return (trace.finished, "complained of", "", "", "", "", "", where, *about)


def _plain_look(look: Look) -> str:
    span = f"{look.from_m:.3f} m" if look.from_m == look.to_m else f"{look.from_m:.3f} to {look.to_m:.3f} m"
    known = look.edge_mm is not None and look.other_edge_mm is not None
    across = f" at {look.edge_mm:.1f}/{look.other_edge_mm:.1f} mm" if known else ""
    return f"{span}{across} ({look.what})"
