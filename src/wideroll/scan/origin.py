"""Whether a line belongs to the web or to the scanner.

The scanner's own pattern keeps its column of the raster; what lies on the web keeps its distance from the datum edge.
Where the web wandered, that tells them apart; so does the scan of another roll by the same scanner.
"""

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

from wideroll.errors import ArgumentError
from wideroll.scan.model import Streak, StreakOrigin

__all__ = ["compare_scans", "judge_length", "judge_origin"]

_LEAST_WANDER_MM: Final = 1.0
_STILL_MM: Final = 0.4
"""What keeps its place deviates from it by less."""
_PLAIN: Final = 2.5
"""So many times less than the other way."""
_SAME_PLACE_MM: Final = 1.5
_ALIKE: Final = 2.0
"""Contrasts of the same line differ by no more than this factor from roll to roll."""
_SURE: Final = 1.5
"""So many times the threshold must a line reach in another scan before its absence says something."""


def judge_origin(line: Streak, *, on_web_mm: float, on_raster_mm: float, wander_mm: float) -> Streak:
    """Tell the origin where the web wandered enough; else the line stays as it is, with an empty ``why``.

    Args:
        line: As found.
        on_web_mm: Deviation of its place from the mean, measured from the datum edge.
        on_raster_mm: The same measured from the raster's first column; NaN for both where nothing tells them.
        wander_mm: How far the datum edge wandered across the raster along the line.
    """
    less, more = min(on_web_mm, on_raster_mm), max(on_web_mm, on_raster_mm)
    enough = wander_mm >= max(_LEAST_WANDER_MM, line.width_mm)
    if not (enough and less <= _STILL_MM and more >= _PLAIN * less):
        return line
    if on_web_mm < on_raster_mm:
        why = f"It keeps its place on the web, which wandered by {wander_mm:.1f} mm across the raster."
        return replace(line, origin=StreakOrigin.WEB, why=why)
    why = f"It keeps column {line.column:.0f} of the raster, across which the web wandered by {wander_mm:.1f} mm."
    return replace(line, origin=StreakOrigin.SCANNER, why=why)


def judge_length(line: Streak, *, wander_mm: float) -> Streak:
    """Tell the origin of a line that the web's wandering didn't tell, by whether it lasts the whole length."""
    if line.why:
        return line
    if not line.whole_length:
        return replace(line, origin=StreakOrigin.WEB, why="It starts or ends within the scan.")
    why = (
        "It is there from end to end, and the web wandered too little to tell it from the scanner's own pattern: "
        f"{wander_mm:.1f} mm."
    )
    return replace(line, origin=StreakOrigin.UNDECIDED, why=why)


def compare_scans(
    streaks: Sequence[Streak],
    others: Sequence[Sequence[Streak]],
    *,
    pitch_mm: float,
    lengths_m: Sequence[float],
    streak_snr: float = 7.0,
) -> tuple[Streak, ...]:
    """Tell undecided lines apart by scans of other rolls by the same scanner.

    A line that another roll shows too, from end to end, in the same column, of the same sign and similar contrast, is
    the scanner's. One that no other roll shows is the web's, if one of them is long enough to have shown it. All
    other lines stay as they are.

    Args:
        streaks: Of this roll.
        others: Of each other roll.
        pitch_mm: Width of a column.
        lengths_m: Length of each other scan: a faint line needs metres.
        streak_snr: What a line had to reach in the other scans.

    Raises:
        ArgumentError: when the scans and lengths differ in number or a size isn't above 0.

    Example:
        >>> compare_scans((), [()], pitch_mm=0.1, lengths_m=[1500.0])
        ()
    """
    if len(others) != len(lengths_m):
        raise ArgumentError(
            where="lengths_m",
            rule=f"needs one length for each of the {len(others)} other scans",
            value=len(lengths_m),
            mend="Give the length of each scan.",
        )
    for where, size in (("pitch_mm", pitch_mm), ("streak_snr", streak_snr), *(("lengths_m", v) for v in lengths_m)):
        if not size > 0.0:
            raise ArgumentError(where=where, rule="must be above 0", value=size, mend="Correct it.")
    scans = list(zip(others, lengths_m, strict=True))
    return tuple(
        _compare(line, scans, pitch_mm, streak_snr) if line.origin is StreakOrigin.UNDECIDED else line
        for line in streaks
    )


def _compare(
    line: Streak, scans: Sequence[tuple[Sequence[Streak], float]], pitch_mm: float, streak_snr: float
) -> Streak:
    near = [
        other
        for streaks, _ in scans
        for other in streaks
        if other.polarity is line.polarity
        and abs(other.column - line.column) * pitch_mm <= max(_SAME_PLACE_MM, line.width_mm / 2.0)
    ]
    same = [
        other
        for other in near
        if (other.whole_length or other.origin is StreakOrigin.SCANNER)
        and 1.0 / _ALIKE <= other.contrast / line.contrast <= _ALIKE
    ]
    if same:
        why = f"Another roll's scan by the same scanner shows it too, in column {same[0].column:.0f} of the raster."
        return replace(line, origin=StreakOrigin.SCANNER, why=why)
    own = line.extent.length_m
    visible = sum(line.snr * (length / own) ** 0.5 >= _SURE * streak_snr for _, length in scans)
    if near or not visible:
        return line
    who, shows = ("Another roll's scan", "does") if visible == 1 else (f"{visible} other rolls' scans", "do")
    why = f"{who} by the same scanner would show it if it were the scanner's own, and {shows} not."
    return replace(line, origin=StreakOrigin.WEB, why=why)
