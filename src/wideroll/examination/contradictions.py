"""Statements about a mark that can't be true together."""

from collections.abc import Iterator, Mapping
from typing import Final

import numpy as np

from wideroll.examination.model import DensityChange, FilterColour, Layer, Seen, Sighting

__all__ = ["MOST_CONFLICT", "contradictions", "measured_apart"]

MOST_CONFLICT: Final = 20.0
"""Evidence at least so many times less probable together than piece by piece is in conflict."""

_Z: Final = 2.576
"""Two-sided 1 % of a normal distribution."""
_CHI2_3: Final = 11.345
_PLAIN_DENSITY: Final = 0.1
"""A change that no examiner overlooks (common practice)."""
_SURE: Final = 0.5


def contradictions(
    sighting: Sighting,
    *,
    change: DensityChange | None,
    amounts: tuple[tuple[float, ...], tuple[float, ...]],
    conflict: float,
    alone: Mapping[str, Mapping[Layer, float]],
) -> tuple[str, ...]:
    """What can't be true together, each in one clause."""
    found = [*_said(sighting), *_sections(sighting)]
    if change is not None:
        found += [*_seen_and_measured(sighting, change), *_both_ways(*amounts)]
    if conflict >= MOST_CONFLICT:
        found.append(f"all of it together is {conflict:.0f} times less probable than each by itself{_parties(alone)}")
    return tuple(found)


def measured_apart(first: DensityChange | None, second: DensityChange | None) -> tuple[str, ...]:
    """Whether two measurements can't be of one mark: chi-squared of their difference, at the 1 % level.

    χ² = d′·(V₁ + V₂)⁻¹·d with 3 degrees of freedom, beyond 11.34.
    """
    if first is None or second is None:
        return ()
    away = first.density - second.density
    if float(away @ np.linalg.solve(first.covariance + second.covariance, away)) <= _CHI2_3:
        return ()
    one, other = (", ".join(f"{value:+.2f}" for value in change.density.tolist()) for change in (first, second))
    return (f"measured {one} and, another way, {other} in red, green and blue",)


def _said(sighting: Sighting) -> Iterator[str]:
    by_look: dict[Seen, list[FilterColour]] = {}
    for colour in FilterColour:
        if colour in sighting.through:
            by_look.setdefault(sighting.through[colour], []).append(colour)
    darker, lighter, same = (by_look.get(look, []) for look in (Seen.DARKER, Seen.LIGHTER, Seen.SAME))
    if darker and lighter:
        yield f"darker through {_listed(darker)} but lighter through {_listed(lighter)}: excess and lack at one place"
    if sighting.embedded and sighting.wipes_off:
        yield "embedded, yet it wipes off"
    if sighting.embedded and len(same) == len(FilterColour):
        yield "embedded, yet it looks the same through red, green and blue"
    if sighting.metallic and (lighter or same):
        yield f"metallic, so opaque, yet not darker through {_listed([*lighter, *same])}"


def _sections(sighting: Sighting) -> Iterator[str]:
    hidden = [str(section) for section, shows in sighting.shows_in.items() if not shows]
    if sighting.metallic and hidden:
        yield f"metallic, so opaque, yet it doesn't show in {_listed(hidden)}"


def _seen_and_measured(sighting: Sighting, change: DensityChange) -> Iterator[str]:
    """Each answer against the density in its own third, at the 1 % level."""
    rows = zip(FilterColour, change.density.tolist(), change.standard_uncertainty.tolist(), strict=True)
    for colour, density, sd in rows:
        look = sighting.through.get(colour)
        measured = f"measured {density:+.2f} ± {sd:.2f} in {colour}"
        if look is Seen.SAME and abs(density) - _PLAIN_DENSITY > _Z * sd:
            yield f"the same through {colour}, yet {measured}"
        if (look is Seen.DARKER and density < -_Z * sd) or (look is Seen.LIGHTER and density > _Z * sd):
            yield f"{look} through {colour}, yet {measured}"


def _both_ways(amounts: tuple[float, ...], sds: tuple[float, ...]) -> Iterator[str]:
    """Surely more of one dye and surely less of another, each at the 1 % level."""
    names = ("cyan", "magenta", "yellow")
    rows = list(zip(names, amounts, sds, strict=True))
    more = [name for name, amount, sd in rows if amount > _Z * sd]
    less = [name for name, amount, sd in rows if amount < -_Z * sd]
    if more and less:
        yield f"measured excess of {_listed(more)} and lack of {_listed(less)} at one place"


def _parties(alone: Mapping[str, Mapping[Layer, float]]) -> str:
    """Which layer each kind of evidence prefers, where they differ."""
    said = []
    for kind, probability in alone.items():
        layer = max(probability, key=lambda one: probability[one])
        if probability[layer] >= _SURE:
            said.append((kind, layer))
    if len({layer for _, layer in said}) < 2:  # noqa: PLR2004  -- it takes two to differ
        return ""
    return ": " + ", ".join(f"{kind} say {layer}" for kind, layer in said)


def _listed(names: list[str] | list[FilterColour]) -> str:
    return " and ".join(names)
