"""What made a series, in few words."""

from typing import Final

from wideroll.repeats import Series

__all__ = ["LAP_PRINT", "lap_words", "maker_words"]

LAP_PRINT: Final = "lap print"
"""In place of a roller where a particle in the wound roll prints from lap to lap."""
_WORTH_SAYING: Final = 0.01


def maker_words(series: Series) -> str:
    """The likeliest roller with its probability, or where in the wound roll a particle sits.

    Example:
        >>> from wideroll.repeats import Candidate, find_series, Roller
        >>> import numpy as np
        >>> table = [Roller(name="T3", diameter_mm=223.0)]
        >>> maker_words(find_series(0.2 + 0.7 * np.arange(60), np.full(60, 300.0), length_m=42.0, rollers=table)[0])
        'T3 (99 %)'
    """
    if series.lap is not None:
        return f"{LAP_PRINT}, {lap_words(series)}{_or_else('a roller', series)}"
    if not series.candidates:
        return "no roller was compared"
    best = series.candidates[0]
    return f"{best.roller} ({100.0 * best.probability:.0f} %){_or_else('a ' + LAP_PRINT, series)}"


def _or_else(what: str, series: Series) -> str:
    return f"; or {what} ({100.0 * series.other_kind:.0f} %)" if series.other_kind >= _WORTH_SAYING else ""


def lap_words(series: Series) -> str:
    """Where in the wound roll a lap print begins; empty for a roller's series."""
    lap = series.lap
    if lap is None:
        return ""
    limits = f"{lap.radius_low_mm:.1f} to {lap.radius_high_mm:.1f}"
    return f"a particle wound in at radius {lap.radius_mm:.1f} mm ({limits}), {lap.per_lap_mm:+.2f} mm from lap to lap"
