"""Many rolls, batches or runs to control charts.

Nothing here reads rolls, knows what was measured, or acts on a chart: numbers in time order come in, and limits, points
and broken rules go out. Limits say what the process does, never what the product may be: that is capability's question.
"""

from wideroll.control.capability import capability
from wideroll.control.counts import c_chart, u_chart
from wideroll.control.individuals import individuals_chart, moving_range_chart
from wideroll.control.joint import joint_chart
from wideroll.control.model import Capability, Chart, ControlLimits, JointChart, RuleBreak
from wideroll.control.prediction import outlier_limit, prediction_factor, single_level
from wideroll.control.rules import run_rules

__all__ = [
    "Capability",
    "Chart",
    "ControlLimits",
    "JointChart",
    "RuleBreak",
    "c_chart",
    "capability",
    "individuals_chart",
    "joint_chart",
    "moving_range_chart",
    "outlier_limit",
    "prediction_factor",
    "run_rules",
    "single_level",
    "u_chart",
]
