"""Strip readings to curves, speed, contrast and deviations from aim.

No file is read here, no clock and no other room's result; nothing decides whether a roll is released. Arrays come in as
(n,) log H in lx·s, ascending, with a density for each; results keep the readings and fits they came from.
"""

from wideroll.sensitometry.contrast import arc_angle, average_gradient, contrast_index, gamma
from wideroll.sensitometry.curves import density_at, density_band, gradient_at, log_h_at
from wideroll.sensitometry.deviations import compare, fit_aims, parallelism
from wideroll.sensitometry.dyes import dye_amounts
from wideroll.sensitometry.exposure import log_exposure, step_tablet
from wideroll.sensitometry.fitting import fit_curve
from wideroll.sensitometry.levels import (
    SPEED_DENSITY,
    maximum_density,
    minimum_density,
    speed_point,
    useful_range,
)
from wideroll.sensitometry.model import (
    AimOverlay,
    Aims,
    Construction,
    Curve,
    CurveFit,
    Deviation,
    FilmType,
    Floats,
    IsoSpeed,
    Measure,
    Record,
    RunVerdict,
    Strip,
    StripKind,
    StripResult,
)
from wideroll.sensitometry.overlay import SHAPE_SPREAD, overlay_aim
from wideroll.sensitometry.process import correct_strip, judge_run
from wideroll.sensitometry.speed import iso6_speed, iso2240_speed, iso5800_speed, iso_speed, round_speed
from wideroll.sensitometry.strips import measure_strip

__all__ = [
    "SHAPE_SPREAD",
    "SPEED_DENSITY",
    "AimOverlay",
    "Aims",
    "Construction",
    "Curve",
    "CurveFit",
    "Deviation",
    "FilmType",
    "Floats",
    "IsoSpeed",
    "Measure",
    "Record",
    "RunVerdict",
    "Strip",
    "StripKind",
    "StripResult",
    "arc_angle",
    "average_gradient",
    "compare",
    "contrast_index",
    "correct_strip",
    "density_at",
    "density_band",
    "dye_amounts",
    "fit_aims",
    "fit_curve",
    "gamma",
    "gradient_at",
    "iso6_speed",
    "iso2240_speed",
    "iso5800_speed",
    "iso_speed",
    "judge_run",
    "log_exposure",
    "log_h_at",
    "maximum_density",
    "measure_strip",
    "minimum_density",
    "overlay_aim",
    "parallelism",
    "round_speed",
    "speed_point",
    "step_tablet",
    "useful_range",
]
