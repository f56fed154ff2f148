"""Square marks of whole pixels, to measure a scan's finding against its targets."""

import math
from collections.abc import Sequence
from typing import Final

import numpy as np

from wideroll.errors import ArgumentError
from wideroll.synthetic.planted import PlantedMark
from wideroll.synthetic.recipe import WebRecipe
from wideroll.synthetic.shapes import Block
from wideroll.synthetic.web import Web, make_web

__all__ = ["marks_grid"]

_DENSITY: Final = 300.0 / 56.0
_TARGETS: Final = ((3, 5.0), (7, 2.0))


def marks_grid(
    recipe: WebRecipe,
    *,
    seed: int,
    kinds: Sequence[tuple[int, float]] = _TARGETS,
    per_mpx: float = _DENSITY,
    apart: int = 12,
    margin: int = 24,
) -> tuple[PlantedMark, ...]:
    """Flat squares of n × n whole pixels, scattered over the raster of a recipe, none touching another.

    The web is cut into equal cells, some are picked, and in each a mark lies anywhere. As many are dark as bright, as
    many of one kind as of another. Each covers its pixels from border to border where the web's edge lies on the mark's
    middle line, and to a hundredth of a pixel on its others.

    Args:
        recipe: the web that they go on; marks that it has are not looked at.
        seed: another seed, other places.
        kinds: pairs of side in pixels and contrast in units of the pixel noise.
        per_mpx: how many for a million pixels of the raster, edges and all.
        apart: least number of pixels between two.
        margin: least number of pixels from the web's ends and from the rims beside its edges.

    Returns:
        The marks, in order along; their cause names their kind, such as ``"3×3 at 5"``.

    Raises:
        ArgumentError: when the web has no room for them, or an argument can't be.

    Example:
        >>> from dataclasses import replace
        >>> plain = WebRecipe(length_m=0.3, web_width_mm=90.0, field_mm=100.0, pitch_mm=0.1)
        >>> marks = marks_grid(plain, seed=1)
        >>> web = make_web(replace(plain, marks=marks))
        >>> len(marks), sorted(set(web.truth.marks["snr"].round(6)))
        (16, [2.0, 5.0])
    """
    _check(kinds, per_mpx, apart, margin)
    web = make_web(recipe)
    lines, columns = web.shape
    random = np.random.Generator(np.random.PCG64(seed))
    number = round(per_mpx * lines * columns / 1e6)
    across_px = int((recipe.web_width_mm - 2.0 * recipe.bead_mm) / recipe.pitch_mm) - 2 * margin
    along_px, needed = lines - 2 * margin, max(side for side, _ in kinds) + apart
    if number == 0:
        return ()
    deep, wide = _cut(number, along_px, across_px, needed)
    cells = np.sort(random.permutation(deep * wide)[:number])
    free = random.random((number, 2))
    first = cells // wide * (along_px / deep) + free[:, 0] * (along_px / deep - needed)
    aside = cells % wide * (across_px / wide) + free[:, 1] * (across_px / wide - needed)
    found = [
        _mark(web, margin + int(first[n]), margin + int(aside[n]), *kinds[turn // 2 % len(kinds)], dark=turn % 2 == 0)
        for n, turn in enumerate(random.permutation(number).tolist())
    ]
    return tuple(sorted(found, key=lambda mark: mark.along_m))


def _cut(number: int, along_px: int, across_px: int, needed: int) -> tuple[int, int]:
    """Cells along and across, about square, at least as many as there are marks."""
    shape = math.sqrt(number * max(along_px, 0) / across_px) if across_px > 0 else 0.0
    deep = max(1, round(shape))
    wide = math.ceil(number / deep)
    if min(along_px // deep, across_px // wide) < needed:
        raise ArgumentError(
            where="per_mpx",
            rule=f"each of {number} marks needs a cell of {needed} pixels each way on {along_px} × {across_px} pixels",
            value=(along_px // deep, across_px // wide),
            mend="Take fewer or smaller marks, or a larger web.",
        )
    return deep, wide


def _mark(web: Web, first: int, aside: int, side: int, snr: float, *, dark: bool) -> PlantedMark:
    recipe, places = web.recipe, web.places
    edge_mm = float(web.datum_mm(first + side // 2, first + side // 2 + 1)[0])
    column = math.ceil((edge_mm + recipe.bead_mm) / recipe.pitch_mm) + aside
    start, stop = places.along_m(float(first)), places.along_m(float(first + side))
    return PlantedMark(
        along_m=(start + stop) / 2.0,
        across_mm=(column + side / 2.0) * recipe.pitch_mm - edge_mm,
        length_mm=(stop - start) * 1000.0,
        width_mm=side * recipe.pitch_mm,
        contrast=(-snr if dark else snr) * recipe.noise,
        cause=f"{side}×{side} at {snr:g}",
        shape=Block(),
    )


def _check(kinds: Sequence[tuple[int, float]], per_mpx: float, apart: int, margin: int) -> None:
    rules = (
        (
            "kinds",
            kinds,
            bool(kinds) and all(side >= 1 for side, _ in kinds),
            "must have one or more, of 1 pixel or more",
        ),
        ("per_mpx", per_mpx, 0.0 <= per_mpx < math.inf, "must be finite and not negative"),
        ("apart", apart, apart >= 1, "must be 1 or more"),
        ("margin", margin, margin >= 0, "must not be negative"),
    )
    for where, value, holds, rule in rules:
        if not holds:
            raise ArgumentError(where=where, rule=rule, value=value, mend="Correct the argument.")
