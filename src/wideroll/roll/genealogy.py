"""How places move when a roll is wound over, cut, spliced or slit.

Each step makes a child roll from one or more parents. It is a list of stretches of web: each takes a stretch of one
parent, forwards or reversed (winding reverses: what was coated last comes off first), all its width or a lane of it.
Metres and millimetres are fractions, so going there and back is exact.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Self

from wideroll.errors import ArgumentError

__all__ = ["Handling", "Stretch", "WebPlace"]


@dataclass(frozen=True, slots=True, kw_only=True)
class WebPlace:
    """A point of one roll, exactly: along from its head, across from its datum edge, on one of its faces."""

    roll: str
    along_m: Fraction
    across_mm: Fraction
    turned: bool = False
    """On the face that isn't named: the one that faces inwards where the other faces out."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretch:
    """A stretch of a parent roll, [from, to) in metres, taken into a child forwards or reversed.

    Raises:
        ArgumentError: when it is empty or inverted, along or across, when one border across is given and the other
            isn't, or when a web whose width isn't given is to be mirrored.
    """

    parent: str
    from_m: Fraction
    to_m: Fraction
    reversed: bool = False
    across_from_mm: Fraction | None = None
    """With ``across_to_mm`` the lane of the parent that was taken; None for all its width."""
    across_to_mm: Fraction | None = None
    mirrored: bool = False
    """The child's datum edge is the edge that lay away from the parent's."""
    turned: bool = False
    """The child shows the face outwards that the parent turned inwards."""

    def __post_init__(self) -> None:
        """Refuse what no web can be."""
        low, high = self.across_from_mm, self.across_to_mm
        along = "the end must lie after the start"
        self._require(self.from_m < self.to_m, along, (self.from_m, self.to_m), "Give from < to.")
        both = "a lane has two edges"
        self._require((low is None) is (high is None), both, (low, high), "Give both, or none for all the width.")
        if low is not None and high is not None:
            past = "a lane's second edge must lie past its first"
            self._require(low < high, past, (low, high), "Give from < to across.")
        width = "mirroring needs the width"
        self._require(not self.mirrored or low is not None, width, None, "Give the edges of the web across.")

    def _require(self, holds: bool, rule: str, value: object, mend: str) -> None:  # noqa: FBT001
        if not holds:
            raise ArgumentError(where=f"stretch of {self.parent}", rule=rule, value=value, mend=mend)

    @property
    def length_m(self) -> Fraction:
        """Length of the stretch."""
        return self.to_m - self.from_m

    @property
    def width_mm(self) -> Fraction | None:
        """Width of the lane; None where it is all the parent's."""
        if self.across_from_mm is None or self.across_to_mm is None:
            return None
        return self.across_to_mm - self.across_from_mm

    def across_on_parent(self, across_mm: Fraction) -> Fraction:
        """Where on the parent a place across the child lies."""
        if self.across_from_mm is None or self.across_to_mm is None:
            return across_mm
        return self.across_to_mm - across_mm if self.mirrored else self.across_from_mm + across_mm

    def across_on_child(self, across_mm: Fraction) -> Fraction | None:
        """Where on the child a place across the parent lies; None where it isn't in the lane."""
        if self.across_from_mm is None or self.across_to_mm is None:
            return across_mm
        if not self.across_from_mm <= across_mm <= self.across_to_mm:
            return None
        return self.across_to_mm - across_mm if self.mirrored else across_mm - self.across_from_mm

    def along_on_parent(self, into_m: Fraction) -> Fraction:
        """Where on the parent a place lies that is so far into the stretch, as the child has it."""
        return self.to_m - into_m if self.reversed else self.from_m + into_m

    def along_on_child(self, along_m: Fraction) -> Fraction:
        """How far into the stretch, as the child has it, a place along the parent lies."""
        return self.to_m - along_m if self.reversed else along_m - self.from_m

    def of_grandparent(self, taken: Self) -> Self:
        """What ``taken``, a stretch of this one's child, is of this one's parent: both steps in one.

        Args:
            taken: along within this stretch, counted from where it starts on the child.
        """
        ends = sorted((self.along_on_parent(taken.from_m), self.along_on_parent(taken.to_m)))
        low, high = self.across_from_mm, self.across_to_mm
        if taken.across_from_mm is not None and taken.across_to_mm is not None:
            low, high = sorted(map(self.across_on_parent, (taken.across_from_mm, taken.across_to_mm)))
        return type(self)(
            parent=self.parent,
            from_m=ends[0],
            to_m=ends[1],
            reversed=self.reversed is not taken.reversed,
            across_from_mm=low,
            across_to_mm=high,
            mirrored=self.mirrored is not taken.mirrored,
            turned=self.turned is not taken.turned,
        )

    def part(self, from_m: Fraction, to_m: Fraction) -> Self:
        """The same lane of the same parent over a part of the stretch, in metres of the parent."""
        return replace(self, from_m=from_m, to_m=to_m)


@dataclass(frozen=True, slots=True, kw_only=True)
class Handling:
    """One step: the child's stretches in the order they lie on the child.

    ``to_parent`` and ``to_child`` undo one another everywhere but on a join, which is the end of one stretch and the
    start of the next: ``to_parent`` then answers with the next.

    Raises:
        ArgumentError: when there is no stretch, or stretches are of different widths.

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
        >>> both = cut_out.from_before({"4711-A": rewound})
        >>> both.to_parent(Fraction(400))
        ('4711', Fraction(750, 1))
    """

    child: str
    stretches: tuple[Stretch, ...]

    def __post_init__(self) -> None:
        """Refuse a child that comes from nowhere, or whose edges don't run through."""
        if not self.stretches:
            raise ArgumentError(
                where=f"stretches of {self.child}", rule="at least one", value=(), mend="Name what the roll is made of."
            )
        widths = {stretch.width_mm for stretch in self.stretches} - {None}
        if len(widths) > 1:
            raise ArgumentError(
                where=f"stretches of {self.child}",
                rule="all must be of one width",
                value=tuple(sorted(float(width) for width in widths if width is not None)),
                mend="Give lanes of one width.",
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

    @property
    def starts_m(self) -> tuple[Fraction, ...]:
        """Where each stretch starts on the child, and the child's length."""
        starts = [Fraction(0)]
        for stretch in self.stretches:
            starts.append(starts[-1] + stretch.length_m)
        return tuple(starts)

    def to_parent(self, along_m: Fraction) -> tuple[str, Fraction]:
        """Parent and place on it of a place on the child.

        Raises:
            ArgumentError: when the place lies outside the child.
        """
        stretch, into_m = self._at(along_m)
        return stretch.parent, stretch.along_on_parent(into_m)

    def place_on_parent(self, place: WebPlace) -> WebPlace:
        """The same point of film on the parent.

        Raises:
            ArgumentError: when the place lies outside the child along.
        """
        stretch, into_m = self._at(place.along_m)
        return WebPlace(
            roll=stretch.parent,
            along_m=stretch.along_on_parent(into_m),
            across_mm=stretch.across_on_parent(place.across_mm),
            turned=place.turned is not stretch.turned,
        )

    def _at(self, along_m: Fraction) -> tuple[Stretch, Fraction]:
        """The stretch that holds a place, and how far into it the place lies."""
        start = Fraction(0)
        for stretch in self.stretches:
            end = start + stretch.length_m
            if start <= along_m < end or (along_m == end == self.length_m):
                return stretch, along_m - start
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
        places = [
            start + stretch.along_on_child(along_m)
            for start, stretch in zip(self.starts_m, self.stretches, strict=False)
            if stretch.parent == parent and stretch.from_m <= along_m <= stretch.to_m
        ]
        return tuple(dict.fromkeys(places))

    def places_on_child(self, place: WebPlace) -> tuple[WebPlace, ...]:
        """All points of the child that came from a point of a parent, in their order; none if it was cut away."""
        found: dict[WebPlace, None] = {}
        for start, stretch in zip(self.starts_m, self.stretches, strict=False):
            across_mm = stretch.across_on_child(place.across_mm)
            in_it = stretch.parent == place.roll and stretch.from_m <= place.along_m <= stretch.to_m
            if in_it and across_mm is not None:
                along_m = start + stretch.along_on_child(place.along_m)
                turned = place.turned is not stretch.turned
                found[WebPlace(roll=self.child, along_m=along_m, across_mm=across_mm, turned=turned)] = None
        return tuple(found)

    def over(self, taken: Stretch) -> tuple[Stretch, ...]:
        """What a stretch of the child is of its parents, in the order that it has them.

        Raises:
            ArgumentError: when the stretch reaches past the child.
        """
        if taken.from_m < 0 or taken.to_m > self.length_m:
            self._at(taken.from_m if taken.from_m < 0 else taken.to_m)
        parts = []
        for start, stretch in zip(self.starts_m, self.stretches, strict=False):
            low, high = max(taken.from_m, start), min(taken.to_m, start + stretch.length_m)
            if low < high:
                parts.append(stretch.of_grandparent(taken.part(low - start, high - start)))
        return tuple(reversed(parts)) if taken.reversed else tuple(parts)

    def from_before(self, before: Mapping[str, Self]) -> Self:
        """The same child made straight from the parents of its parents.

        Args:
            before: the steps that made parents, by the parent's name; what isn't there stays as it is.

        Raises:
            ArgumentError: when a stretch reaches past its parent.
        """
        parts = [
            before[stretch.parent].over(stretch) if stretch.parent in before else (stretch,)
            for stretch in self.stretches
        ]
        return type(self)(child=self.child, stretches=tuple(one for part in parts for one in part))
