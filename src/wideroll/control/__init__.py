"""Many rolls, batches or runs to control charts.

Nothing here reads rolls, knows what was measured, or acts on a chart: numbers in time order come in, and limits, points
and broken rules go out. Limits say what the process does, never what the product may be: that is capability's question.
"""

from typing import TYPE_CHECKING

from wideroll.on_demand import on_demand

if TYPE_CHECKING:
    from wideroll.control.capability import capability
    from wideroll.control.change_model import (
        ChangePoint,
        ChangePoints,
        Coincidence,
        EventMatch,
        KindCoincidence,
        NotedEvent,
    )
    from wideroll.control.changes import find_changes
    from wideroll.control.coincidence import match_events
    from wideroll.control.counts import Correction, c_chart, u_chart
    from wideroll.control.cusum import cusum_chart
    from wideroll.control.freezing import freeze_counts, freeze_groups, freeze_values
    from wideroll.control.gauge import Readings, gauge_by_anova, gauge_by_ranges
    from wideroll.control.gauge_model import GaugeMethod, GaugePart, GaugeStudy, RangeBeyond, VarianceLine
    from wideroll.control.groups import range_chart, xbar_chart
    from wideroll.control.history import (
        HISTORY_SCHEMA,
        RollGroups,
        RollSeries,
        RollValue,
        group_series,
        history_table,
        roll_series,
        select_rolls,
        series_by_record,
    )
    from wideroll.control.individuals import individuals_chart, moving_range_chart
    from wideroll.control.joint import joint_chart
    from wideroll.control.lone import draw_in
    from wideroll.control.model import (
        BasePeriod,
        Capability,
        CapabilityIndex,
        Chart,
        ControlLimits,
        CusumChart,
        CusumSignal,
        FrozenRate,
        FrozenRecords,
        FrozenValues,
        JointChart,
        Normality,
        Overdispersion,
        RecordsChart,
        RuleBreak,
    )
    from wideroll.control.normality import normality
    from wideroll.control.pareto import ParetoLine, pareto
    from wideroll.control.prediction import outlier_limit, prediction_factor, single_level
    from wideroll.control.ranges import RangeConstants, range_constants
    from wideroll.control.records import balance, freeze_records, records_chart
    from wideroll.control.rules import RuleSet, run_rules
    from wideroll.control.series import is_base
    from wideroll.control.smoothing import ewma_chart
    from wideroll.control.tolerance import Sides, tolerance_factor

__all__ = [
    "HISTORY_SCHEMA",
    "BasePeriod",
    "Capability",
    "CapabilityIndex",
    "ChangePoint",
    "ChangePoints",
    "Chart",
    "Coincidence",
    "ControlLimits",
    "Correction",
    "CusumChart",
    "CusumSignal",
    "EventMatch",
    "FrozenRate",
    "FrozenRecords",
    "FrozenValues",
    "GaugeMethod",
    "GaugePart",
    "GaugeStudy",
    "JointChart",
    "KindCoincidence",
    "Normality",
    "NotedEvent",
    "Overdispersion",
    "ParetoLine",
    "RangeBeyond",
    "RangeConstants",
    "Readings",
    "RecordsChart",
    "RollGroups",
    "RollSeries",
    "RollValue",
    "RuleBreak",
    "RuleSet",
    "Sides",
    "VarianceLine",
    "balance",
    "c_chart",
    "capability",
    "cusum_chart",
    "draw_in",
    "ewma_chart",
    "find_changes",
    "freeze_counts",
    "freeze_groups",
    "freeze_records",
    "freeze_values",
    "gauge_by_anova",
    "gauge_by_ranges",
    "group_series",
    "history_table",
    "individuals_chart",
    "is_base",
    "joint_chart",
    "match_events",
    "moving_range_chart",
    "normality",
    "outlier_limit",
    "pareto",
    "prediction_factor",
    "range_chart",
    "range_constants",
    "records_chart",
    "roll_series",
    "run_rules",
    "select_rolls",
    "series_by_record",
    "single_level",
    "tolerance_factor",
    "u_chart",
    "xbar_chart",
]

on_demand(__name__)
