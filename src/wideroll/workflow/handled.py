"""What was done to a wide roll between coating and slitting: wound over, cut, joined with another."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction

from wideroll.errors import ArgumentError
from wideroll.roll import Handling, Stretch

__all__ = ["CutOut", "HandledRoll", "HandlingStep", "Joined", "WoundOver", "handle_roll"]


@dataclass(frozen=True, slots=True, kw_only=True)
class WoundOver:
    """The roll was wound onto another core: head and tail change places."""

    turned: bool = False
    """The other face looks outwards afterwards."""
    swapped: bool = False
    """The datum edge lies at the machine's other side afterwards."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CutOut:
    """A stretch was cut out and the ends joined, or an end was cut off; metres from the head, as the roll then lay."""

    from_m: Fraction
    to_m: Fraction


@dataclass(frozen=True, slots=True, kw_only=True)
class Joined:
    """Another wide roll, as its own handling left it, was put on at this one's tail or head."""

    roll: str
    at_tail: bool = True
    reversed: bool = False
    """The other roll's tail comes first along."""


HandlingStep = WoundOver | CutOut | Joined


@dataclass(frozen=True, slots=True, kw_only=True)
class HandledRoll:
    """What came onto the slitter under a wide roll's name, and the steps that made it."""

    name: str
    length_m: Fraction
    steps: tuple[Handling, ...] = ()


def handle_roll(
    roll: str,
    length_m: Fraction,
    width_mm: Fraction,
    done: Sequence[HandlingStep],
    other: Callable[[str], HandledRoll] | None = None,
) -> HandledRoll:
    """Follow a wide roll from coating to the slitter.

    Args:
        roll: its name.
        length_m: as coated.
        width_mm: of the web.
        done: in order; each step's metres are those of the roll as the step before left it.
        other: another wide roll as its own handling left it, by its name.

    Raises:
        ArgumentError: when a cut reaches past the roll or leaves nothing of it.

    Example:
        >>> done = [WoundOver(), CutOut(from_m=Fraction(300), to_m=Fraction(350))]
        >>> handled = handle_roll("4711", Fraction(1200), Fraction(1380), done)
        >>> handled.name, handled.length_m
        ('4711 after step 2', Fraction(1150, 1))
    """
    now, steps = HandledRoll(name=roll, length_m=length_m), list[Handling]()
    for number, step in enumerate(done, start=1):
        stretches, before = _stretches(now, width_mm, step, other)
        made = Handling(child=f"{roll} after step {number}", stretches=tuple(stretches))
        steps += [one for one in before if one not in steps]
        steps.append(made)
        now = HandledRoll(name=made.child, length_m=made.length_m)
    return HandledRoll(name=now.name, length_m=now.length_m, steps=tuple(steps))


def _stretches(
    now: HandledRoll, width_mm: Fraction, step: HandlingStep, other: Callable[[str], HandledRoll] | None
) -> tuple[list[Stretch], tuple[Handling, ...]]:
    match step:
        case WoundOver():
            return [_wound(now, width_mm, step)], ()
        case CutOut():
            return list(_left(now, width_mm, step)), ()
        case Joined():
            if other is None:
                raise ArgumentError(
                    where="joined", rule="the other roll must be known", value=step.roll, mend="Give ``other``."
                )
            added = other(step.roll)
            both = [
                _taken(now.name, Fraction(0), now.length_m, width_mm),
                _taken(added.name, Fraction(0), added.length_m, width_mm, turned_about=step.reversed),
            ]
            return (both if step.at_tail else both[::-1]), added.steps


def _wound(now: HandledRoll, width_mm: Fraction, step: WoundOver) -> Stretch:
    return Stretch(
        parent=now.name,
        from_m=Fraction(0),
        to_m=now.length_m,
        reversed=True,
        across_from_mm=Fraction(0),
        across_to_mm=width_mm,
        mirrored=step.swapped,
        turned=step.turned,
    )


def _left(now: HandledRoll, width_mm: Fraction, step: CutOut) -> Iterator[Stretch]:
    if not (0 <= step.from_m < step.to_m <= now.length_m) or step.to_m - step.from_m == now.length_m:
        raise ArgumentError(
            where="cut out",
            rule=f"must lie within the roll's {float(now.length_m):g} m, as it then was, and leave some of it",
            value=f"{float(step.from_m):g} to {float(step.to_m):g} m",
            mend="Measure from the head of the roll as the step before left it.",
        )
    if step.from_m > 0:
        yield _taken(now.name, Fraction(0), step.from_m, width_mm)
    if step.to_m < now.length_m:
        yield _taken(now.name, step.to_m, now.length_m, width_mm)


def _taken(parent: str, from_m: Fraction, to_m: Fraction, width_mm: Fraction, *, turned_about: bool = False) -> Stretch:
    return Stretch(
        parent=parent,
        from_m=from_m,
        to_m=to_m,
        reversed=turned_about,
        across_from_mm=Fraction(0),
        across_to_mm=width_mm,
    )
