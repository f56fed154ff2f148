"""Several looks at one sheet into the things that are on it, each counted once."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from wideroll.errors import ArgumentError
from wideroll.examination.matching import pair_places
from wideroll.examination.model import SeenThing, Sighting
from wideroll.roll import MarkKind

__all__ = ["merge_looks", "pair_sightings"]

_SHAPES: Final = (frozenset({MarkKind.STREAK}), frozenset({MarkKind.BAND}), frozenset({MarkKind.FOG}))
"""Kinds whose place counts across only, along only, and nowhere on the sheet."""


def pair_sightings(
    first: Sequence[Sighting], second: Sequence[Sighting], tolerance_along_m: float, tolerance_across_mm: float
) -> tuple[tuple[int, int], ...]:
    """Which sightings of two looks at one sheet are the same thing: as many pairs as can be, nearest in all.

    A streak is paired with a streak by its place across, a band with a band by its place along, fog with fog; all else
    by both, whatever kind it was taken for (optimal assignment, in units of the tolerances).

    Args:
        first: sightings of one look.
        second: of the other, on the same sheet.
        tolerance_along_m: greatest difference along, in metres.
        tolerance_across_mm: greatest difference across, in millimetres.

    Returns:
        Row numbers of both, in order of the first.

    Raises:
        ArgumentError: when a tolerance isn't above 0.

    Example:
        >>> from wideroll.roll import Place
        >>> place = {"first": (1.0, 100.0), "second": (1.01, 102.0), "far": (1.0, 900.0)}
        >>> spots = {
        ...     name: Sighting(
        ...         sheet="A", kind=MarkKind.SPOT, place=Place(along_m=a, across_mm=x), size_mm=0.4, through={}
        ...     )
        ...     for name, (a, x) in place.items()
        ... }
        >>> pair_sightings([spots["first"]], [spots["far"], spots["second"]], 0.02, 4.0)
        ((0, 1),)
    """
    for name, value in (("tolerance_along_m", tolerance_along_m), ("tolerance_across_mm", tolerance_across_mm)):
        if not value > 0.0:
            raise ArgumentError(
                where=name, rule="must be greater than 0", value=value, mend="Give how well a place is known."
            )
    along, across = tolerance_along_m, tolerance_across_mm
    tolerances = ((along, across), (math.inf, across), (along, math.inf), (math.inf, math.inf))
    found: list[tuple[int, int]] = []
    for shape, tolerance in enumerate(tolerances):
        ours, theirs = ([n for n, one in enumerate(look) if _shape(one) == shape] for look in (first, second))
        places = (_places([first[n] for n in ours]), _places([second[n] for n in theirs]))
        found += [(ours[row], theirs[column]) for row, column in pair_places(*places, np.array(tolerance))]
    return tuple(sorted(found))


def merge_looks(
    sightings: Sequence[Sighting], tolerance_along_m: float, tolerance_across_mm: float
) -> tuple[SeenThing, ...]:
    """The things that were seen on the sheets, each once however many looks saw it.

    The looks at a sheet are taken in the order in which they first come, its own first look before all others. Each
    further look is paired with what was seen until then; what it alone saw is added. The first look's words hold, but
    what any look calls metallic stays metallic, and a density measured in a later look counts where the first
    measured none. Nothing is averaged: where looks say different things, ``differs`` says so.

    Args:
        sightings: of all looks at all sheets.
        tolerance_along_m: greatest difference along of sightings of one thing, in metres.
        tolerance_across_mm: the same across, in millimetres.

    Raises:
        ArgumentError: when a tolerance isn't above 0.

    Example:
        >>> from wideroll.roll import Place
        >>> spot = Sighting(
        ...     sheet="A", kind=MarkKind.SPOT, place=Place(along_m=1.0, across_mm=100.0), size_mm=0.4, through={}
        ... )
        >>> (thing,) = merge_looks([spot, replace(spot, kind=MarkKind.BUBBLE, look="R1")], 0.01, 4.0)
        >>> thing.differs
        'spot, in look R1 bubble'
    """
    by_look: dict[tuple[str, str], list[int]] = {}
    for number, sighting in enumerate(sightings):
        by_look.setdefault((sighting.sheet, ""), [])
        by_look.setdefault((sighting.sheet, sighting.look), []).append(number)
    things: dict[str, list[list[int]]] = {}
    for (sheet, _), look in by_look.items():
        known = things.setdefault(sheet, [])
        firsts = [sightings[one[0]] for one in known]
        pairs = pair_sightings(firsts, [sightings[n] for n in look], tolerance_along_m, tolerance_across_mm)
        for row, column in pairs:
            known[row].append(look[column])
        again = {look[column] for _, column in pairs}
        known += [[number] for number in look if number not in again]
    ordered = sorted(one for known in things.values() for one in known)
    return tuple(_thing([sightings[n] for n in one]) for one in ordered)


def _thing(seen: Sequence[Sighting]) -> SeenThing:
    first, *others = seen
    return SeenThing(
        sighting=replace(
            first,
            metallic=any(one.metallic for one in seen),
            density=next((one.density for one in seen if one.density is not None), None),
        ),
        seen=tuple(seen),
        differs="; ".join(clause for other in others for clause in _differences(first, other)),
    )


def _differences(first: Sighting, other: Sighting) -> Iterator[str]:
    """Each in one clause; what one of them didn't answer is no difference."""
    look = f"in look {other.look}" if other.look else "in the first look"
    if first.kind is not other.kind:
        yield f"{first.kind}, {look} {other.kind}"
    if first.grade and other.grade and first.grade != other.grade:
        yield f"grade {first.grade}, {look} {other.grade}"
    for colour, answer in first.through.items():
        if colour in other.through and other.through[colour] is not answer:
            yield f"{answer} through {colour}, {look} {other.through[colour]}"
    for section, shows in first.shows_in.items():
        if section in other.shows_in and other.shows_in[section] != shows:
            yield f"{_shows(shows)} in {section}, {look} it {_shows(other.shows_in[section])}"
    if None not in {first.embedded, other.embedded} and first.embedded != other.embedded:
        yield f"{_depth(first)}, {look} {_depth(other)}"
    if None not in {first.wipes_off, other.wipes_off} and first.wipes_off != other.wipes_off:
        yield f"{_wipes(first)}, {look} it {_wipes(other)}"
    if first.metallic != other.metallic:
        yield f"{_metal(first)}, {look} {_metal(other)}"


def _shows(shows: bool) -> str:  # noqa: FBT001  -- an answer
    return "shows" if shows else "doesn't show"


def _depth(one: Sighting) -> str:
    return "embedded" if one.embedded else "on top"


def _wipes(one: Sighting) -> str:
    return "wipes off" if one.wipes_off else "doesn't wipe off"


def _metal(one: Sighting) -> str:
    return "metallic" if one.metallic else "not called metallic"


def _shape(sighting: Sighting) -> int:
    return next((n for n, kinds in enumerate(_SHAPES, 1) if sighting.kind in kinds), 0)


def _places(sightings: Sequence[Sighting]) -> NDArray[np.float64]:
    return np.array([[one.place.along_m, one.place.across_mm] for one in sightings]).reshape(-1, 2)
