"""A trace as one JSON document: ``wideroll/trace/1``, in metres and millimetres whatever the shop's units are."""

from typing import Any

from wideroll.report.machine import plain
from wideroll.workflow.tracing_model import Trace

__all__ = ["trace_json"]


def trace_json(trace: Trace) -> dict[str, Any]:
    """``wideroll/trace/1``: coated places from the head and the datum edge, places on the finished roll from its ends.

    Args:
        trace: of a place on a finished roll, or of all of it.
    """
    return {"schema": "wideroll/trace/1", **plain(trace), "seen": trace.seen}
