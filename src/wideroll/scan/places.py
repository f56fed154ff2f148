"""Where each line lies along the web: at a steady pitch, or as an encoder on the machine counted it."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final, overload

import numpy as np
from numpy.typing import NDArray

from wideroll.errors import ArgumentError

__all__ = ["LinePlaces"]

_LEAST_KNOTS: Final = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class LinePlaces:
    """Straight pieces between knots; before the first and after the last knot the nearest piece goes on.

    Raises:
        ArgumentError: when there are fewer than two knots, the two lists differ in length, or either doesn't rise.

    Example:
        >>> slowed = LinePlaces(lines=(0.0, 1000.0, 2000.0), metres=(0.0, 0.1, 0.15))
        >>> slowed.along_m(1500.0), round(slowed.along_m(3000.0), 6), round(slowed.pitch_mm(1500.0), 6)
        (0.125, 0.2, 0.05)
    """

    lines: tuple[float, ...]
    """Lines counted from the head; the start of line 0 is 0."""
    metres: tuple[float, ...]
    """Place of the start of each of them, from the head."""

    def __post_init__(self) -> None:
        """Refuse what doesn't place every line once."""
        if len(self.lines) < _LEAST_KNOTS or len(self.lines) != len(self.metres):
            raise ArgumentError(
                where="LinePlaces",
                rule="needs two or more lines, and a place for each",
                value=(len(self.lines), len(self.metres)),
                mend="Give each knot a line and a place.",
            )
        for name, values in (("lines", self.lines), ("metres", self.metres)):
            for n, (one, other) in enumerate(pairwise(values)):
                if not (np.isfinite(one) and np.isfinite(other) and one < other):
                    raise ArgumentError(
                        where=f"LinePlaces.{name}, entry {n + 2}",
                        rule=f"must be finite and above the one before, {one:g}",
                        value=other,
                        mend="Sort the knots; a web that ran backwards must be cut into two scans.",
                    )

    @classmethod
    def steady(cls, pitch_mm: float) -> "LinePlaces":
        """Every line the same distance after the one before."""
        return cls(lines=(0.0, 1.0), metres=(0.0, pitch_mm / 1000.0))

    @classmethod
    def counted(cls, lines: Sequence[float], metres: Sequence[float]) -> "LinePlaces":
        """As an encoder gives them: the place of the start of some lines."""
        return cls(lines=tuple(float(v) for v in lines), metres=tuple(float(v) for v in metres))

    @overload
    def along_m(self, line: float) -> float: ...
    @overload
    def along_m(self, line: NDArray[np.float64]) -> NDArray[np.float64]: ...
    def along_m(self, line: float | NDArray[np.float64]) -> float | NDArray[np.float64]:
        """Distance from the head to the start of a line (a fraction: to within it)."""
        piece = self._piece(line)
        knots, places = np.asarray(self.lines), np.asarray(self.metres)
        slope = np.diff(places) / np.diff(knots)
        found = places[piece] + (np.asarray(line) - knots[piece]) * slope[piece]
        return float(found) if np.ndim(found) == 0 else np.asarray(found)

    @overload
    def pitch_mm(self, line: float) -> float: ...
    @overload
    def pitch_mm(self, line: NDArray[np.float64]) -> NDArray[np.float64]: ...
    def pitch_mm(self, line: float | NDArray[np.float64]) -> float | NDArray[np.float64]:
        """Distance from one line to the next there."""
        slope = 1000.0 * np.diff(self.metres) / np.diff(self.lines)
        found = slope[self._piece(line)]
        return float(found) if np.ndim(found) == 0 else np.asarray(found)

    def line(self, along_m: float) -> float:
        """The line, with its fraction, at a place along."""
        piece = int(np.clip(np.searchsorted(self.metres, along_m, side="right") - 1, 0, len(self.lines) - 2))
        slope = (self.lines[piece + 1] - self.lines[piece]) / (self.metres[piece + 1] - self.metres[piece])
        return self.lines[piece] + (along_m - self.metres[piece]) * slope

    def _piece(self, line: float | NDArray[np.float64]) -> NDArray[np.int64]:
        return np.clip(np.searchsorted(self.lines, line, side="right") - 1, 0, len(self.lines) - 2)
