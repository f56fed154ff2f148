"""Many handling steps together: from a finished roll to where it was coated, and from there to all that was made."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Self

from wideroll.errors import ArgumentError
from wideroll.roll.genealogy import Handling, Stretch, WebPlace

__all__ = ["Genealogy"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Genealogy:
    """The steps that made rolls from rolls; a roll that no step made is as it was coated.

    Args:
        made: the step that made each roll, by the roll's name.

    Example:
        >>> wound = Handling.rewind(parent="4711", child="4711-A", length_m=Fraction(1200))
        >>> lane = Stretch(
        ...     parent="4711-A",
        ...     from_m=Fraction(100),
        ...     to_m=Fraction(130),
        ...     across_from_mm=Fraction(35),
        ...     across_to_mm=Fraction(70),
        ... )
        >>> family = Genealogy.of([wound, Handling(child="4711-A/1", stretches=(lane,))])
        >>> place = WebPlace(roll="4711-A/1", along_m=Fraction(5), across_mm=Fraction(10))
        >>> coated = family.coated(place)
        >>> coated.roll, float(coated.along_m), float(coated.across_mm)
        ('4711', 1095.0, 45.0)
        >>> [one.roll for one in family.finished(coated)]
        ['4711-A/1']
    """

    made: dict[str, Handling]
    children: dict[str, tuple[str, ...]] = field(default_factory=dict)
    """Names of the rolls made of each roll, in the order of the steps."""

    @classmethod
    def of(cls, handlings: Iterable[Handling]) -> Self:
        """The family of some steps.

        Raises:
            ArgumentError: when two steps make one roll, or a roll comes from itself.
        """
        made: dict[str, Handling] = {}
        children: dict[str, dict[str, None]] = {}
        for step in handlings:
            if step.child in made:
                raise ArgumentError(
                    where=f"roll {step.child}",
                    rule="one step makes a roll",
                    value=step.child,
                    mend="Give what came of the second step a name of its own.",
                )
            made[step.child] = step
            for stretch in step.stretches:
                children.setdefault(stretch.parent, {})[step.child] = None
        family = cls(made=made, children={parent: tuple(names) for parent, names in children.items()})
        family._check_no_loop()
        return family

    def _check_no_loop(self) -> None:
        done: set[str] = set()
        for roll in self.made:
            path: dict[str, None] = {}
            self._climb(roll, path, done)

    def _climb(self, roll: str, path: dict[str, None], done: set[str]) -> None:
        if roll in done or roll not in self.made:
            return
        if roll in path:
            raise ArgumentError(
                where=f"roll {roll}", rule="no roll comes from itself", value=" from ".join(path), mend="Mend a step."
            )
        path[roll] = None
        for stretch in self.made[roll].stretches:
            self._climb(stretch.parent, path, done)
        del path[roll]
        done.add(roll)

    def from_coated(self, roll: str) -> Handling | None:
        """The one step that would make a roll straight from coated ones; None where it is as it was coated."""
        step = self.made.get(roll)
        while step is not None and any(stretch.parent in self.made for stretch in step.stretches):
            step = step.from_before(self.made)
        return step

    def coated(self, place: WebPlace) -> WebPlace:
        """Where a point was coated.

        Raises:
            ArgumentError: when the place lies outside its roll.
        """
        while place.roll in self.made:
            place = self.made[place.roll].place_on_parent(place)
        return place

    def finished(self, place: WebPlace) -> tuple[WebPlace, ...]:
        """Where a point lies on rolls of which nothing more was made, in the order of the steps; none if cut away."""
        if not self.children.get(place.roll):
            return (place,)
        found: dict[WebPlace, None] = {}
        for name in self.children[place.roll]:
            for on_child in self.made[name].places_on_child(place):
                found |= dict.fromkeys(self.finished(on_child))
        return tuple(found)

    def coated_stretches(self, roll: str, from_m: Fraction, to_m: Fraction) -> tuple[Stretch, ...]:
        """What a stretch of a roll was coated as, in the order the roll has it.

        Raises:
            ArgumentError: when the stretch is empty or reaches past the roll.
        """
        taken = Stretch(parent=roll, from_m=from_m, to_m=to_m)
        step = self.from_coated(roll)
        return (taken,) if step is None else step.over(taken)
