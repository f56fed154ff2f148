"""Strip readings to curves, speed, contrast and deviations from aim.

No file is read here, no clock and no other room's result; nothing decides whether a roll is released. Arrays come in as
(n,) log H in lx·s, ascending, with a density for each; results keep the readings and fits they came from.
"""

from typing import TYPE_CHECKING

from wideroll.on_demand import on_demand

if TYPE_CHECKING:
    from wideroll.sensitometry.balance import compare_records, parallelism
    from wideroll.sensitometry.calibration import (
        Calibration,
        calibrate_densitometer,
        calibrate_sensitometer,
        calibration_on,
        check_day,
        expired,
    )
    from wideroll.sensitometry.calibration_line import CalibrationLine, calibrate_line
    from wideroll.sensitometry.change_place import ChangePlace, locate_change
    from wideroll.sensitometry.changes import BorderChange, ChangeKind, Drift, DriftKind, SeriesChanges, find_changes
    from wideroll.sensitometry.contrast import arc_angle, average_gradient, contrast_index, gamma
    from wideroll.sensitometry.curves import density_at, density_band, gradient_at, log_h_at
    from wideroll.sensitometry.deviations import compare, fit_aims
    from wideroll.sensitometry.dye_shifts import tell_dye_shift
    from wideroll.sensitometry.dye_spectra import DyeSet, dye_matrix, unmix_spectrum
    from wideroll.sensitometry.dyes import (
        DyeAmounts,
        DyeDeviations,
        SpectralFit,
        dye_amounts,
        unmix_densities,
        unmix_deviations,
    )
    from wideroll.sensitometry.exposure import USUAL_TABLETS, Tablet, log_exposure, step_tablet, usual_tablet
    from wideroll.sensitometry.filter_peak import FilterPeak, fit_filter_peak
    from wideroll.sensitometry.fitting import fit_curve
    from wideroll.sensitometry.instruments import (
        Densitometer,
        DensitometerStatus,
        Exposure,
        Sensitometer,
        expose,
        expose_calibrated,
        read_calibrated,
        read_within_range,
    )
    from wideroll.sensitometry.levels import (
        SPEED_DENSITY,
        density_at_log_h,
        latitude,
        maximum_density,
        minimum_density,
        speed_point,
        useful_range,
    )
    from wideroll.sensitometry.model import (
        SHAPE_SPREAD,
        AimOverlay,
        Aims,
        Construction,
        Curve,
        CurveFit,
        Deviation,
        DeviationCurve,
        Dye,
        DyeShift,
        FilmDyes,
        FilmType,
        Floats,
        IsoSpeed,
        Measure,
        Record,
        RecordPair,
        RunVerdict,
        ShiftKind,
        Strip,
        StripKind,
        StripResult,
    )
    from wideroll.sensitometry.overlay import overlay_aim
    from wideroll.sensitometry.placed import SUPPOSED_SCATTER, Border, DeviationSeries, PlacedDeviation, StripScatter
    from wideroll.sensitometry.placed_fit import PlacedFit, Term, fit_places, term
    from wideroll.sensitometry.placed_mean import batch_mean
    from wideroll.sensitometry.process import correct_strip, judge_run
    from wideroll.sensitometry.process_points import ControlPlaces, ProcessPoint, ProcessQuantity, process_points
    from wideroll.sensitometry.profiles import Direction, Profile, profile
    from wideroll.sensitometry.spectra import Spectrum, StatusDensity, status_density
    from wideroll.sensitometry.spectral_products import STATUS_A, STATUS_M, SpectralProduct, spectral_product
    from wideroll.sensitometry.speed import iso6_speed, iso2240_speed, iso5800_speed, iso_speed, round_speed
    from wideroll.sensitometry.strips import measure_strip

__all__ = [
    "SHAPE_SPREAD",
    "SPEED_DENSITY",
    "STATUS_A",
    "STATUS_M",
    "SUPPOSED_SCATTER",
    "USUAL_TABLETS",
    "AimOverlay",
    "Aims",
    "Border",
    "BorderChange",
    "Calibration",
    "CalibrationLine",
    "ChangeKind",
    "ChangePlace",
    "Construction",
    "ControlPlaces",
    "Curve",
    "CurveFit",
    "Densitometer",
    "DensitometerStatus",
    "Deviation",
    "DeviationCurve",
    "DeviationSeries",
    "Direction",
    "Drift",
    "DriftKind",
    "Dye",
    "DyeAmounts",
    "DyeDeviations",
    "DyeSet",
    "DyeShift",
    "Exposure",
    "FilmDyes",
    "FilmType",
    "FilterPeak",
    "Floats",
    "IsoSpeed",
    "Measure",
    "PlacedDeviation",
    "PlacedFit",
    "ProcessPoint",
    "ProcessQuantity",
    "Profile",
    "Record",
    "RecordPair",
    "RunVerdict",
    "Sensitometer",
    "SeriesChanges",
    "ShiftKind",
    "SpectralFit",
    "SpectralProduct",
    "Spectrum",
    "StatusDensity",
    "Strip",
    "StripKind",
    "StripResult",
    "StripScatter",
    "Tablet",
    "Term",
    "arc_angle",
    "average_gradient",
    "batch_mean",
    "calibrate_densitometer",
    "calibrate_line",
    "calibrate_sensitometer",
    "calibration_on",
    "check_day",
    "compare",
    "compare_records",
    "contrast_index",
    "correct_strip",
    "density_at",
    "density_at_log_h",
    "density_band",
    "dye_amounts",
    "dye_matrix",
    "expired",
    "expose",
    "expose_calibrated",
    "find_changes",
    "fit_aims",
    "fit_curve",
    "fit_filter_peak",
    "fit_places",
    "gamma",
    "gradient_at",
    "iso6_speed",
    "iso2240_speed",
    "iso5800_speed",
    "iso_speed",
    "judge_run",
    "latitude",
    "locate_change",
    "log_exposure",
    "log_h_at",
    "maximum_density",
    "measure_strip",
    "minimum_density",
    "overlay_aim",
    "parallelism",
    "process_points",
    "profile",
    "read_calibrated",
    "read_within_range",
    "round_speed",
    "spectral_product",
    "speed_point",
    "status_density",
    "step_tablet",
    "tell_dye_shift",
    "term",
    "unmix_densities",
    "unmix_deviations",
    "unmix_spectrum",
    "useful_range",
    "usual_tablet",
]

on_demand(__name__)
