"""Charts across rolls as plain values for JSON: the documented, versioned shapes that scripts may rely on."""

from collections.abc import Mapping, Sequence
from typing import Any

from wideroll.control.model import BasePeriod, CusumChart
from wideroll.report.control_grids import changes_words
from wideroll.report.machine import plain
from wideroll.workflow.control_model import ControlPanel, ControlView, OverviewLine, RecordChanges
from wideroll.workflow.control_overview import expected_by_chance

__all__ = ["chart_json", "overview_json"]


def overview_json(lines: Sequence[OverviewLine], *, rolls: int, left_out: Mapping[str, str]) -> dict[str, Any]:
    """``wideroll/control/1``: each chart in a line, the worst first."""
    return {
        "schema": "wideroll/control/1",
        "rolls": rolls,
        "left_out": dict(left_out),
        "expected_by_chance": plain(expected_by_chance(lines)),
        "charts": [plain(one) for one in lines],
    }


def chart_json(view: ControlView) -> dict[str, Any]:
    """``wideroll/control-chart/1``: points, limits, broken rules, changes and capability of one quantity."""
    return {
        "schema": "wideroll/control-chart/1",
        "what": view.what,
        "product": view.product,
        "line": view.line,
        "chart": view.kind.value,
        "limits_set_by": view.limits_set_by,
        "base": plain(_base(view.panels[0])),
        "rolls": [
            {"roll": roll, "coated": coated, "batch": batch}
            for roll, coated, batch in zip(view.rolls, view.coated, view.batches, strict=True)
        ],
        "missing": view.missing,
        "panels": [_panel(view, panel) for panel in view.panels],
        "changes": [_changes(view, of) for of in view.changes],
        "words": list(changes_words(view)),
        "capability": [
            {"record": one.record, "criterion": one.criterion, **plain(one.capability)} for one in view.capable
        ],
    }


def _base(panel: ControlPanel) -> BasePeriod | None:
    chart = panel.chart
    return chart.base if isinstance(chart, CusumChart) else chart.limits.base


def _panel(view: ControlView, panel: ControlPanel) -> dict[str, Any]:
    return {
        "name": panel.name,
        "record": panel.record,
        "unit": panel.unit,
        "rolls": list(view.rolls[panel.start :]),
        **_points(panel),
        "broken": [
            {"roll": roll, "rule": found.rule, "rolls": [view.rolls[panel.start + place] for place in found.points]}
            for roll, found in view.breaks(panel)
        ],
    }


def _points(panel: ControlPanel) -> dict[str, Any]:
    chart = panel.chart
    if isinstance(chart, CusumChart):
        kept = ("above", "below", "target", "sigma", "slack", "decision", "head_start", "signals")
        return {name: plain(getattr(chart, name)) for name in kept}
    each = chart.each or (chart.limits,) * len(chart.points)
    return {
        "points": plain(chart.points),
        "low": [plain(one.low) for one in each],
        "centre": [plain(one.centre) for one in each],
        "high": [plain(one.high) for one in each],
        "spread": plain(chart.spread) if chart.spread else None,
    }


def _changes(view: ControlView, of: RecordChanges) -> dict[str, Any]:
    return {
        "record": of.record,
        "levels": plain(of.found.levels),
        "caution": of.found.caution,
        "lone": list(of.lone),
        "changes": [
            {
                **plain(one.change),
                **{f"{name}_roll": view.rolls[getattr(one.change, name)] for name in ("at", "first", "last")},
                "step": plain(one.change.step),
                "noted": [{"kind": event.kind, "name": event.name} for event in one.events],
            }
            for one in of.match.changes
        ],
        "kinds": [{**plain(kind), "words": kind.words} for kind in of.match.kinds],
    }
