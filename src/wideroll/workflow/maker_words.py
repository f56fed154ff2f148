"""What made a series, in few words."""

from collections.abc import Sequence
from typing import Final

from wideroll.repeats import Candidate, Series

__all__ = ["LAP_PRINT", "lap_words", "likely_makers", "maker_words"]

LAP_PRINT: Final = "lap print"
"""In place of a roller where a particle in the wound roll prints from lap to lap."""
_WORTH_SAYING: Final = 0.01
_TOGETHER: Final = 0.95
_MOST: Final = 3
_NEARLY_ALL: Final = 0.995


def maker_words(series: Series) -> str:
    """The likeliest roller with its probability, or where in the wound roll a particle sits.

    Example:
        >>> from wideroll.repeats import Candidate, find_series, Roller
        >>> import numpy as np
        >>> table = [Roller(name="T3", diameter_mm=223.0)]
        >>> maker_words(find_series(0.2 + 0.7 * np.arange(60), np.full(60, 300.0), length_m=42.0, rollers=table)[0])
        'T3 (over 99 %)'
    """
    if series.lap is not None:
        return f"{LAP_PRINT}, {lap_words(series)}{_or_else('a roller', series)}"
    if not series.candidates:
        return "no roller was compared"
    named = " or ".join(f"{one.roller} ({_percent(one.probability)})" for one in likely_makers(series.candidates))
    return f"{named}{_or_else('a ' + LAP_PRINT, series)}"


def _percent(probability: float) -> str:
    """Never all."""
    return "over 99 %" if probability > _NEARLY_ALL else f"{100.0 * probability:.0f} %"


def likely_makers(candidates: Sequence[Candidate]) -> tuple[Candidate, ...]:
    """The most probable candidates that have 95 % together, three at most: more than one isn't told apart.

    Example:
        >>> from wideroll.repeats import Candidate
        >>> tied = [Candidate(roller=name, probability=p, slip=0.0) for name, p in (("R1", 0.5), ("R2", 0.49))]
        >>> [one.roller for one in likely_makers(tied)]
        ['R1', 'R2']
    """
    taken: list[Candidate] = []
    for one in candidates[:_MOST]:
        if sum(other.probability for other in taken) < _TOGETHER:
            taken.append(one)
    return tuple(taken)


def _or_else(what: str, series: Series) -> str:
    return f"; or {what} ({_percent(series.other_kind)})" if series.other_kind >= _WORTH_SAYING else ""


def lap_words(series: Series) -> str:
    """Where in the wound roll a lap print begins; empty for a roller's series."""
    lap = series.lap
    if lap is None:
        return ""
    limits = f"{lap.radius_low_mm:.1f} to {lap.radius_high_mm:.1f}"
    return f"a particle wound in at radius {lap.radius_mm:.1f} mm ({limits}), {lap.per_lap_mm:+.2f} mm from lap to lap"
