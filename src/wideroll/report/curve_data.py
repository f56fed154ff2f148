"""A strip's curves in numbers: points and fits for machines, and what a read-out over the figure says."""

import math
from typing import Any, Final

import numpy as np

from wideroll.report.frames import Frame
from wideroll.report.machine import plain
from wideroll.report.theme import RECORDS
from wideroll.sensitometry import density_at
from wideroll.sensitometry.model import Aims, CurveFit, Floats, Record, StripResult

__all__ = ["READ_OUT_STEP", "curves_json", "read_out_json"]

READ_OUT_STEP: Final = 0.01
"""Of log H, from one place that is read out to the next."""
_DECIMALS: Final = 4


def curves_json(result: StripResult, aims: Aims | None) -> dict[str, Any]:
    """Points, fit and aim of each record, with all digits.

    Args:
        result: the strip, fitted.
        aims: of the product.
    """
    return {
        "strip": result.strip.name,
        "tolerance_density": None if aims is None else aims.tolerance_density,
        "records": {record.value: _record_json(record, fit, aims) for record, fit in result.fits.items()},
    }


def _record_json(record: Record, fit: CurveFit, aims: Aims | None) -> dict[str, Any]:
    aim = None if aims is None else aims.curves.get(record)
    return {
        "log_h": plain(fit.log_h),
        "density": plain(fit.density),
        "used": plain(fit.used),
        "fit": dict(zip(("low", "rise", "place", "k", "q"), plain(fit.parameters), strict=True)),
        "covariance": plain(fit.covariance),
        "fitted_from_log_h": fit.log_h_range[0],
        "fitted_to_log_h": fit.log_h_range[1],
        "residual_sd": plain(fit.residual_sd),
        "aim": None if aim is None else {"log_h": plain(aim.log_h), "density": plain(aim.density)},
    }


def read_out_json(result: StripResult, aims: Aims | None, frame: Frame) -> dict[str, Any]:
    """Densities at each hundredth of log H between the figure's ends, as they are read out.

    Args:
        result: the strip, as it is drawn.
        aims: as it is drawn with.
        frame: where the scales lie on the figure.
    """
    first, last = math.ceil(frame.x_from / READ_OUT_STEP), math.floor(frame.x_to / READ_OUT_STEP)
    places = np.arange(first, last + 1, dtype=np.float64) * np.float64(READ_OUT_STEP)
    return {
        "frame": plain(frame),
        "first": first,
        "step": READ_OUT_STEP,
        "tolerance": None if aims is None else aims.tolerance_density,
        "records": [_read_record(record, fit, aims, places) for record, fit in result.fits.items()],
    }


def _read_record(record: Record, fit: CurveFit, aims: Aims | None, places: Floats) -> dict[str, Any]:
    aim = None if aims is None else aims.curves.get(record)
    used = np.isfinite(fit.density)
    return {
        "name": record.value,
        "label": RECORDS[record].label,
        "colour": RECORDS[record].colour,
        "fitted": list(fit.log_h_range),
        "density": _short(density_at(fit, places)),
        "aim": None if aim is None else _short(aim.at(places)),
        "readings": [
            [round(float(x), _DECIMALS), round(float(d), _DECIMALS), bool(kept)]
            for x, d, kept in zip(fit.log_h[used], fit.density[used], fit.used[used], strict=True)
        ],
    }


def _short(values: Floats) -> list[float | None]:
    return [round(float(one), _DECIMALS) if math.isfinite(one) else None for one in values]
