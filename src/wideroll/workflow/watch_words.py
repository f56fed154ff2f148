"""What an action card tells people to do."""

import math
from collections.abc import Sequence
from typing import Final

from wideroll.repeats import ANOTHER, Roller, Series, SeriesKind
from wideroll.workflow.maker_words import LAP_PRINT

__all__ = ["action_words", "named"]

_SURE: Final = 0.9
_NEAREST: Final = 2


def named(series: Series) -> tuple[str, float]:
    """What most probably made a series, and how probable that is."""
    if series.kind is SeriesKind.LAP or not series.candidates:
        return LAP_PRINT, 1.0
    return series.candidates[0].roller, series.candidates[0].probability


def action_words(series: Series, rollers: Sequence[Roller], datum_edge: str) -> str:
    """Where to look and for what, in a sentence or two.

    Example:
        >>> from wideroll.repeats import Candidate
        >>> from wideroll.roll import Extent
        >>> lay_on = Roller(name="R07 lay-on roller", diameter_mm=238.1, zone="after dryer 2")
        >>> seen = Extent(along_from_m=12.3, along_to_m=19.0, across_from_mm=412.0, across_to_mm=414.0)
        >>> series = Series(
        ...     spacing_m=0.7485,
        ...     spacing_low_m=0.748,
        ...     spacing_high_m=0.749,
        ...     phase_m=0.3,
        ...     across_mm=413.0,
        ...     extent=seen,
        ...     members=(0, 1),
        ...     turns=(16, 25),
        ...     print_probability=0.6,
        ...     drift=0.0,
        ...     log_evidence=40.0,
        ...     false_alarm=1e-9,
        ...     candidates=(Candidate(roller="R07 lay-on roller", probability=0.99, slip=0.0),),
        ... )
        >>> action_words(series, [lay_on], "drive side")
        'Look at R07 lay-on roller (after dryer 2), 413 mm from the drive side: a mark every 748.5 mm since 12.3 m.'
    """
    roller, _ = named(series)
    place = f"{series.across_mm:.0f} mm from the {datum_edge}"
    print_each = f"a mark every {1000.0 * series.spacing_m:.1f} mm since {series.extent.along_from_m:.1f} m."
    if roller == LAP_PRINT:
        return f"Look for a particle in the wound roll, {place}: {print_each}"
    if roller == ANOTHER:
        diameter = 1000.0 * series.spacing_m / math.pi
        what = f"Look for what turns with a diameter of {diameter:.1f} mm"
        return f"{what}, {place}: {print_each} It isn't in the table of rollers{_nearest(rollers, diameter)}."
    tables = {one.name: one for one in rollers}
    return f"Look at {' or '.join(_with_zone(one, tables) for one in _likely(series))}, {place}: {print_each}"


def _likely(series: Series) -> list[str]:
    """The most probable rollers, as many as together are probable enough."""
    chosen, total = [], 0.0
    for one in series.candidates:
        if total >= _SURE or one.roller == ANOTHER:
            break
        chosen.append(one.roller)
        total += one.probability
    return chosen


def _with_zone(name: str, tables: dict[str, Roller]) -> str:
    zone = tables[name].zone if name in tables else ""
    return f"{name} ({zone})" if zone else name


def _nearest(rollers: Sequence[Roller], diameter_mm: float) -> str:
    near = sorted(rollers, key=lambda one: abs(one.diameter_mm - diameter_mm))[:_NEAREST]
    return f"; nearest are {' and '.join(f'{one.name} ({one.diameter_mm:.1f} mm)' for one in near)}" if near else ""
