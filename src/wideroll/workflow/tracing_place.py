"""Where on a finished roll something was seen, read as people say it, and how far off that may be."""

import math
import re
from fractions import Fraction
from typing import Final

import polars as pl

from wideroll.errors import InputError
from wideroll.roll import parse_length
from wideroll.workflow.tracing_model import Asked, End, FinishedFilm, HalfWidth

__all__ = ["finished_interval", "half_widths", "read_asked"]

MEASURED_M: Final = 0.1
MEASURED_SHARE: Final = 0.01
COUNTER_M: Final = 0.05
COUNTER_SHARE: Final = 0.001
SPLICE_M: Final = 0.05
_ENDS: Final = {"outer end": End.OUTER, "core": End.CORE, "inner end": End.CORE}
_ASKED: Final = re.compile(
    r"\s*(?P<from>.+?)(?:\s+to\s+(?P<to>.+?))?(?:\s+from\s+(?:the\s+)?(?P<end>outer end|core|inner end))?\s*",
    re.IGNORECASE,
)
_MEND: Final = "Write it like '14 ft 3 in from outer end', '4.3 m from core' or '4 m to 5.5 m from core'."


def read_asked(text: str, *, where: str = "--at") -> Asked:
    """Read a place on a finished roll; where no end is named, it is measured from the outer one.

    Raises:
        InputError: when it isn't one or two lengths and an end, is negative, or ends before it starts.

    Example:
        >>> asked = read_asked("14 ft 3 in from outer end")
        >>> float(asked.from_m), asked.end.value
        (4.3434, 'outer end')
    """
    match = _ASKED.fullmatch(text)
    if match is None:
        raise InputError(where=where, rule="a place is a length and an end", value=text, mend=_MEND)
    first = parse_length(match["from"], where=where).m
    last = first if match["to"] is None else parse_length(match["to"], where=where).m
    if first < 0 or last < first:
        rule = "must not be negative" if first < 0 else "the stretch must not end before it starts"
        raise InputError(where=where, rule=rule, value=text, mend=_MEND)
    end = _ENDS[(match["end"] or "outer end").lower()]
    return Asked(words=text.strip(), from_m=first, to_m=last, end=end)


def finished_interval(film: FinishedFilm, asked: Asked | None, within_m: float | None) -> tuple[float, float, float]:
    """From and to on the finished roll, from its outer end, and half the width of what was added on each side.

    Args:
        film: the finished roll.
        asked: where; None for all of it.
        within_m: half the width of the interval; None to take the rule of ``half_widths``.

    Raises:
        InputError: when the place lies past the roll's other end.
    """
    length = Fraction(int(film.rows["to_nm"].max() or 0), 10**9)  # type: ignore[arg-type]  # whole nanometres
    if asked is None:
        return 0.0, float(length), 0.0
    if asked.to_m > length:
        raise InputError(
            where=f"place on {film.number}",
            rule=f"must lie within its {float(length):.6g} m",
            value=asked.words,
            mend="Check the number of the finished roll, the unit, and the end it was measured from.",
        )
    ends = (asked.from_m, asked.to_m) if asked.end is End.OUTER else (length - asked.to_m, length - asked.from_m)
    half = math.hypot(*(one.metres for one in half_widths(film, asked))) if within_m is None else within_m
    return max(0.0, float(ends[0]) - half), min(float(length), float(ends[1]) + half), half


def half_widths(film: FinishedFilm, asked: Asked) -> tuple[HalfWidth, ...]:
    """What the place may be off by, each part as half of an interval that holds it in about 19 of 20 cases.

    The parts are independent, so the whole is the root of the sum of their squares.

    Args:
        film: the finished roll.
        asked: where.
    """
    measured = float(asked.to_m)
    splices = _splices_between(film, asked)
    counted = f"{COUNTER_M:g} m and {COUNTER_SHARE:.1%} of the wide roll's length"
    parts = [
        HalfWidth(
            why=f"{MEASURED_M:g} m and {MEASURED_SHARE:.0%} of the length measured on the finished roll",
            metres=MEASURED_M + MEASURED_SHARE * measured,
        ),
        HalfWidth(
            why=f"{counted}, by the counters of scanner and slitter",
            metres=COUNTER_M + COUNTER_SHARE * film.wide_m,
        ),
    ]
    if splices:
        parts.append(
            HalfWidth(why=f"{SPLICE_M:g} m at each splice on the way ({splices})", metres=SPLICE_M * math.sqrt(splices))
        )
    return tuple(parts)


def _splices_between(film: FinishedFilm, asked: Asked) -> int:
    """Its own splices between the end that was measured from and the place."""
    joins = film.rows.filter(pl.col("part") > 1)["from_nm"]
    length = int(film.rows["to_nm"].max() or 0)  # type: ignore[arg-type]  # whole nanometres
    away = joins if asked.end is End.OUTER else length - joins
    return int((away < int(asked.to_m * 10**9)).sum())
