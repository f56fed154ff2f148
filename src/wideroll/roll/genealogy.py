"""How places along a web move when it is wound, cut and joined: exact, invertible, piecewise.

A handling step turns one or more parent rolls into a child. Each stretch of the child comes from one stretch of one
parent, forwards or reversed (winding reverses: what was coated last comes off first). Metres are fractions, so going
there and back is exact.
"""

from dataclasses import dataclass
from fractions import Fraction
from typing import Self

from wideroll.errors import ArgumentError

__all__ = ["Handling", "Stretch"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretch:
    """A stretch of a parent roll, [from, to) in metres, taken into a child forwards or reversed."""

    parent: str
    from_m: Fraction
    to_m: Fraction
    reversed: bool = False

    def __post_init__(self) -> None:
        """Refuse an empty or inverted stretch."""
        if self.to_m <= self.from_m:
            raise ArgumentError(
                where=f"stretch of {self.parent}",
                rule="the end must lie after the start",
                value=(self.from_m, self.to_m),
                mend="Give from < to.",
            )

    @property
    def length_m(self) -> Fraction:
        """Length of the stretch."""
        return self.to_m - self.from_m


@dataclass(frozen=True, slots=True, kw_only=True)
class Handling:
    """One step: the child's stretches in the order they lie on the child.

    ``to_parent`` and ``to_child`` undo one another everywhere but on a join, which is the end of one stretch and the
    start of the next: ``to_parent`` then answers with the next.

    Raises:
        ArgumentError: when there is no stretch.

    Example:
        >>> rewound = Handling.rewind(parent="4711", child="4711-A", length_m=Fraction(1200))
        >>> cut_out = Handling(
        ...     child="4711-B",
        ...     stretches=(
        ...         Stretch(parent="4711-A", from_m=Fraction(0), to_m=Fraction(300)),
        ...         Stretch(parent="4711-A", from_m=Fraction(350), to_m=Fraction(1200)),
        ...     ),
        ... )
        >>> roll, place = cut_out.to_parent(Fraction(400))
        >>> rewound.to_parent(place)
        ('4711', Fraction(750, 1))
        >>> cut_out.to_child("4711-A", Fraction(320))
        ()
    """

    child: str
    stretches: tuple[Stretch, ...]

    def __post_init__(self) -> None:
        """Refuse a child that comes from nowhere."""
        if not self.stretches:
            raise ArgumentError(
                where=f"stretches of {self.child}", rule="at least one", value=(), mend="Name what the roll is made of."
            )

    @classmethod
    def rewind(cls, *, parent: str, child: str, length_m: Fraction) -> Self:
        """A whole roll wound onto another core: head and tail change places."""
        whole = Stretch(parent=parent, from_m=Fraction(0), to_m=length_m, reversed=True)
        return cls(child=child, stretches=(whole,))

    @property
    def length_m(self) -> Fraction:
        """Length of the child."""
        return sum((stretch.length_m for stretch in self.stretches), start=Fraction(0))

    def to_parent(self, along_m: Fraction) -> tuple[str, Fraction]:
        """Parent and place on it of a place on the child.

        Raises:
            ArgumentError: when the place lies outside the child.
        """
        start = Fraction(0)
        for stretch in self.stretches:
            end = start + stretch.length_m
            if start <= along_m < end or (along_m == end == self.length_m):
                into = along_m - start
                return stretch.parent, stretch.to_m - into if stretch.reversed else stretch.from_m + into
            start = end
        raise ArgumentError(
            where=f"place on {self.child}",
            rule=f"must lie between 0 and {float(self.length_m):g} m",
            value=float(along_m),
            mend="Measure from the end of the roll that is the head of this step.",
        )

    def to_child(self, parent: str, along_m: Fraction) -> tuple[Fraction, ...]:
        """All places on the child that came from a place on a parent, in their order; none if it was cut away.

        The borders of a stretch belong to it: a place where the web was cut may lie on two ends.
        """
        places: list[Fraction] = []
        start = Fraction(0)
        for stretch in self.stretches:
            if stretch.parent == parent and stretch.from_m <= along_m <= stretch.to_m:
                into = stretch.to_m - along_m if stretch.reversed else along_m - stretch.from_m
                places.append(start + into)
            start += stretch.length_m
        return tuple(dict.fromkeys(places))
